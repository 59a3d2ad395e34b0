"""Rival forecasts against their published formulas worked by hand, and a log read from comma-separated lines."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from quiz.learning.answer_logs import BadLog, read_answer_log
from quiz.learning.comparison import TooFewLearners, as_markdown, compare
from quiz.learning.prediction_scores import (
    Forecasts,
    area_under_curve,
    by_tenth,
    by_wait,
    calibration_error,
    learner_interval,
    log_loss,
    paired_interval,
)
from quiz.learning.rivals import Constant, Elo, KnowledgeTracing, PerformanceFactors, TimeWindows, traced
from quiz.learning.state import Answered

HOUR, DAY = 3600.0, 86400.0


def event(at: float, right: bool, steps: tuple[str, ...] = ("a",), type_id: str = "t") -> Answered:
    return Answered(at, type_id, steps, "right" if right else "wrong")


# --- rivals ----------------------------------------------------------------------------------------------------------


def test_the_constant_is_the_share() -> None:
    one = Constant()
    one.train([[event(0, True), event(1, True)], [event(0, False), event(1, True)]])
    assert one.forecast([event(0, False)] * 2) == [0.75, 0.75]


def test_elo_moves_by_its_gain_times_the_surprise() -> None:
    # Pelánek 2016 by hand: all ratings 0, so .5 first. A right answer moves learner and step by 1/(1 + 0)·½ each, so
    # that the second chance is σ(1); the gains then are 1/1.05.
    first, second, third = Elo().forecast([event(0, True), event(1, False), event(2, True)])
    assert (first, second) == pytest.approx((0.5, 1 / (1 + math.exp(-1))))
    assert third == pytest.approx(1 / (1 + math.exp(-(1 - 2 * second / 1.05))))


def test_elo_learns_from_the_training_half_how_hard_a_type_is() -> None:
    one = Elo()
    one.train([[event(n, n % 4 == 0, type_id="hard"), event(n, True, type_id="easy")] for n in range(40)])
    hard, easy = (one.forecast([event(0, True, type_id=name)])[0] for name in ("hard", "easy"))
    assert hard < 0.5 < easy


def test_knowledge_tracing_follows_the_published_equations() -> None:
    # Corbett & Anderson 1995 by hand: K .4, T .1, G .2, S .1: right with .4·.9 + .6·.2 = .48; known after a right
    # answer .36/.48 = .75, with learning .775; after a wrong one .04/.52 = 1/13, with learning 1/13 + 12/13·.1.
    assert traced(0.4, 0.1, 0.2, 0.1, True) == pytest.approx((0.48, 0.775))
    assert traced(0.4, 0.1, 0.2, 0.1, False) == pytest.approx((0.48, 1 / 13 + 12 / 130))


def test_knowledge_tracing_finds_the_numbers_that_made_the_answers() -> None:
    rng = np.random.default_rng(5)
    logs = []
    for _ in range(300):
        known, log = rng.random() < 0.3, []
        for number in range(8):
            log.append(event(number, bool(rng.random() < (0.94 if known else 0.15))))
            known = known or rng.random() < 0.2
        logs.append(log)
    one = KnowledgeTracing()
    one.train(logs)
    assert one.numbers["a"] == pytest.approx((0.3, 0.2, 0.15, 0.06), abs=0.11)


def test_a_thousand_misses_leave_every_chance_between_0_and_1() -> None:
    one = KnowledgeTracing()
    log = [event(n, n % 5 != 0) for n in range(3000)]
    one.train([log])
    assert all(0 < chance < 1 for chance in one.forecast(log))


def test_performance_factors_weigh_successes_and_failures_by_step() -> None:
    # Pavlik, Cen & Koedinger 2009: logit = Σ β + γ·successes + ρ·failures, nothing else
    one = PerformanceFactors()
    log = [event(0, True), event(1, False, ("a", "b")), event(2, True, ("a", "b"))]
    found = list(one.features(log))
    assert found[0] == {"always": 1.0, ("start", "a"): 1.0, ("wins", "a"): 0, ("misses", "a"): 0}
    assert (found[2]["wins", "a"], found[2]["misses", "a"]) == (1, 1)
    assert (found[2]["wins", "b"], found[2]["misses", "b"]) == (0, 1)


def test_time_windows_count_log_attempts_and_successes_within_their_spans() -> None:
    # Choffin et al. 2019 by hand: before the last answer one success 30 minutes ago, one failure 2 days ago.
    one = TimeWindows()
    log = [event(0, False), event(2 * DAY - HOUR / 2, True), event(2 * DAY, True)]
    last = list(one.features(log))[-1]
    for span, tries, wins in ((0, 1, 1), (1, 1, 1), (2, 2, 1), (3, 2, 1), (4, 2, 1)):
        assert last["tries", span, "a"] == pytest.approx(math.log1p(tries))
        assert last["wins", span, "a"] == pytest.approx(math.log1p(wins))


def test_a_regression_without_features_that_tell_is_the_share() -> None:
    class Bare(PerformanceFactors):
        def features(self, log):  # type: ignore[no-untyped-def]
            return ({"always": 1.0} for _ in log)

    one = Bare()
    one.train([[event(n, n % 4 != 0) for n in range(400)]])
    assert one.forecast([event(0, True)])[0] == pytest.approx(0.75, abs=1e-4)


def test_nothing_of_an_answer_reaches_its_own_forecast() -> None:
    log = [event(n * HOUR, n % 3 != 0, ("a", "b")[: 1 + n % 2], f"t{n % 3}") for n in range(40)]
    turned = [*log[:-1], event(39 * HOUR, not log[-1].right, log[-1].steps, log[-1].type)]
    for one in (Elo(), PerformanceFactors(), KnowledgeTracing(), TimeWindows()):
        one.train([log] * 3)
        assert one.forecast(log) == one.forecast(turned)


# --- scores ----------------------------------------------------------------------------------------------------------


def test_scores_agree_with_hand_and_with_scipy() -> None:
    chances, right = np.array([0.9, 0.8, 0.3, 0.5]), np.array([1.0, 0.0, 0.0, 1.0])
    assert log_loss(chances, right) == pytest.approx(-math.log(0.9 * 0.2 * 0.7 * 0.5) / 4)
    # of the four pairs of a right answer and a miss, three are in order
    assert area_under_curve(chances, right) == 0.75
    rng = np.random.default_rng(1)
    many, came = rng.integers(0, 20, 300) / 20, (rng.random(300) < 0.4).astype(float)
    wins, misses = many[came == 1], many[came == 0]
    by_scipy = stats.mannwhitneyu(wins, misses).statistic / len(wins) / len(misses)
    assert area_under_curve(many, came) == pytest.approx(by_scipy)
    # by hand: bins .9 (gap −.1), .8 (+.8), .3 (+.3), .5 (−.5)
    assert calibration_error(chances, right) == pytest.approx((0.1 + 0.8 + 0.3 + 0.5) / 4)


def forecasts(learners: int, each: int = 30, gap: float = 0.0) -> Forecasts:
    rng = np.random.default_rng(2)
    chances = rng.uniform(0.2, 0.9, learners * each)
    right = (rng.random(len(chances)) < chances).astype(float)
    waits = np.tile([0.0, 10.0, 2 * HOUR, 3 * DAY, 20 * DAY, 90 * DAY], learners * each // 6)
    return Forecasts(np.clip(chances + gap, 0.01, 0.99), right, np.repeat(np.arange(learners), each), waits)


def test_an_interval_holds_its_score_and_narrows_with_learners() -> None:
    few, many = forecasts(10), forecasts(160)
    wide, narrow = (learner_interval(one, log_loss) for one in (few, many))
    assert wide.holds(log_loss(few.chances, few.right))
    assert narrow.holds(log_loss(many.chances, many.right))
    assert (narrow.high - narrow.low) < 0.5 * (wide.high - wide.low)
    mean, interval = paired_interval(forecasts(160), forecasts(160, gap=0.3))
    assert mean < 0
    assert interval.holds(mean)
    assert interval.high < 0


def test_groups_hold_every_answer_once() -> None:
    one = forecasts(20)
    assert sum(group.answers for group in by_tenth(one)) == sum(group.answers for group in by_wait(one)) == 600
    assert [group.answers for group in by_wait(one)] == [100] * 6
    assert [group.words for group in by_wait(one)][:2] == ["first of its type", "within the hour"]


# --- the log, and the whole comparison -------------------------------------------------------------------------------

HEAD = "learner,seconds,type,steps,right,slip"


def test_a_log_is_read() -> None:
    lines = [HEAD, "b,20,net,read+turn,1,", "b,10,net,read+turn,0,turn:left-in", "a,5,norm,,0,", "b,30,axis,read,0,off"]
    logs = read_answer_log(lines)
    assert list(logs) == ["b", "a"]
    assert [one.at for one in logs["b"]] == [10, 20, 30]
    assert (logs["b"][0].verdict, logs["b"][0].explanations) == ("slip", ((("turn", "left-in"),),))
    assert logs["b"][2].explanations == ((("read", "off"),),)
    assert (logs["a"][0].chain, logs["a"][0].verdict) == (("norm",), "wrong")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["learner,type,steps,right"], "line 1: no column seconds"),
        ([HEAD], "line 1: no answers"),
        ([HEAD, "a,soon,net,read,1,"], "line 2: seconds “soon”: write a number"),
        ([HEAD, "a,inf,net,read,1,"], "line 2: seconds “inf”"),
        ([HEAD, "a,1,net,read,yes,"], "line 2: right “yes”: write 1"),
        ([HEAD, "a,1,net,read+turn,0,off"], "line 2: slip “off”: 2 steps; name its step, such as read:off"),
        ([HEAD, "a,1,net"], "line 2: 6 columns named"),
        ([HEAD, ",1,net,read,1,"], "line 2: no learner; each row needs one"),
        ([HEAD, "a,1,,read,1,"], "line 2: no type; each row needs one"),
        ([HEAD.replace(",", ";"), "a;1;net;read;1;"], "line 1: its columns are separated by semicolons or tabs"),
        ([f"{HEAD},right", "a,1,net,read,1,,0"], "line 1: column right is there twice"),
    ],
)
def test_a_log_that_cannot_be_read_is_refused_with_its_line(lines: list[str], words: str) -> None:
    with pytest.raises(BadLog) as refused:
        read_answer_log(lines)
    assert words in str(refused.value)


def test_columns_may_stand_in_any_order_and_the_slip_may_be_missing() -> None:
    whole = read_answer_log([HEAD, "a,10,net,read,0,off", "b,20,net,read,1,"])
    other = ["right,slip,steps,mood,seconds,type,learner", "0,off,read,x,10,net,a", "1,,read,,20,net,b"]
    assert read_answer_log(other) == whole
    bare = read_answer_log(["type,steps,right,learner,seconds", "net,read,0,a,10", "net,read,1,b,20"])
    assert [bare[name][0].verdict for name in "ab"] == ["wrong", "right"], "a miss without a slip is one unexplained"


def test_what_is_no_utf8_text_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(f"{HEAD}\nAda,1,net,read,1,\n".encode() + "Zoë,2,net,read,1,\n".encode("latin-1"))
    with path.open(encoding="utf-8-sig") as lines, pytest.raises(BadLog, match="not UTF-8 text"):
        read_answer_log(lines)


def test_the_comparison_trains_on_one_half_and_judges_on_the_other() -> None:
    rng = np.random.default_rng(7)
    logs = {}
    for number in range(16):
        able = rng.normal(0.5, 1)
        logs[f"p{number}"] = [
            event(n * HOUR, bool(rng.random() < 1 / (1 + math.exp(-able))), (f"s{n % 3}",), f"t{n % 3}")
            for n in range(30)
        ]
    found = compare(logs)
    assert (found.trained_on, found.judged_on, found.answers) == (8, 8, 240)
    by_name = {one.name: one for one in found.scores}
    assert set(by_name) > {"constant", "Elo by step", "PFA", "BKT", "memory as shipped", found.best}
    assert by_name[found.best].against is None
    assert by_name[found.best].loss < by_name["constant"].loss
    assert all(one.loss_interval.holds(one.loss) for one in found.scores)
    text = "\n".join(as_markdown(found))
    assert "Trained on 8 learners, judged one answer ahead on 240 answers of 8 others." in text
    assert "| first of its type | 24 |" in text
    assert compare(logs) == found, "the same seed gives the same table"


def test_a_log_of_few_learners_is_refused() -> None:
    with pytest.raises(TooFewLearners, match=r"^1 learner in the log: .* at least 8"):
        compare({"one": [event(0, True)]})
