"""Item analysis, spread of scores, before and after: against scipy and numpy, on invented answers."""

from __future__ import annotations

import random

import numpy as np
import pytest
from scipy import stats

from quiz.classroom.before_after import changes, paired_interval_of
from quiz.classroom.item_analysis import correlation_interval, items, point_biserial, spread
from quiz.learning.intervals import Interval, share_interval, z_for
from quiz.storage.item_queries import CaseAnswer


def invented(
    learners: int, places: int, *, seed: int = 1, backwards: int | None = None
) -> dict[tuple[int, int], CaseAnswer]:
    """Make up answers: abler learners are right more often, except on one case where they are right less often."""
    rng, out = random.Random(seed), {}
    for who in range(learners):
        able = rng.gauss(0, 1.5)
        for place in range(places):
            lean = -able if place == backwards else able
            out[who, place] = CaseAnswer(rng.gauss(0.3, 1) + lean > 0, rng.uniform(5, 90))
    return out


def test_discrimination_and_its_interval_are_scipys() -> None:
    """Source: scipy.stats.pointbiserialr and pearsonr(...).confidence_interval (Fisher's transformation)."""
    made = invented(58, 12)
    for one in items(12, made, range(58), {}):
        right = [made[who, one.place].right for who in range(58)]
        rest = [sum(made[who, each].right for each in range(12) if each != one.place) for who in range(58)]
        assert one.discrimination == pytest.approx(stats.pointbiserialr(right, rest).statistic, abs=1e-12)
        want = stats.pearsonr(right, rest).confidence_interval(0.95)
        assert one.discrimination_interval is not None
        assert one.discrimination_interval.low == pytest.approx(want.low, abs=1e-6)
        assert one.discrimination_interval.high == pytest.approx(want.high, abs=1e-6)
        assert one.median_seconds == pytest.approx(np.median([made[who, one.place].seconds for who in range(58)]))


def test_shares_have_wilsons_interval_also_where_it_is_widened() -> None:
    """Source: scipy.stats.binomtest(...).proportion_ci(method="wilson"); Bonferroni by scipy.stats.norm."""
    for right, of in ((21, 58), (0, 7), (7, 7), (250, 500)):
        for comparisons in (1, 40):
            level = 1 - 0.05 / comparisons
            want = stats.binomtest(right, of).proportion_ci(level, method="wilson")
            got = share_interval(right, of, z_for(comparisons))
            assert [got.low, got.high] == pytest.approx([want.low, want.high], abs=1e-9)
    assert z_for(40) == pytest.approx(stats.norm.ppf(1 - 0.025 / 40), abs=1e-9)


def test_only_a_case_whose_interval_says_so_is_one_to_look_at_again() -> None:
    """A discrimination of -.08 in 58 is noise (classroom.md); one that the abler surely miss is not."""
    noise = correlation_interval(-0.08, 58)
    assert noise is not None
    assert noise.holds(0)
    found = items(12, invented(200, 12, backwards=4), range(200), {})
    assert [one.place for one in found if one.look] == [4]
    assert found[4].against
    few = items(12, invented(6, 12, backwards=4), range(6), {})
    assert not any(one.look for one in few), "six learners cannot show it"


def test_seldom_is_a_sound_case_marked() -> None:
    """In 300 invented drills of sound cases, at most one in twenty has any case marked (widened for their number)."""
    marked = sum(any(one.look for one in items(10, invented(40, 10, seed=seed), range(40), {})) for seed in range(300))
    assert marked <= 15


@pytest.mark.parametrize(("wrong", "said"), [(40, True), (12, False)])
def test_a_wrong_answer_that_more_gave_than_the_right_one_is_said_where_it_is_sure(wrong: int, said: bool) -> None:
    made = {(who, place): CaseAnswer(who < 10, None) for who in range(58) for place in range(3)}
    (first, _, _) = items(3, made, range(58), {0: wrong})
    assert first.rather is said
    assert first.median_seconds is None
    assert first.discrimination is not None


def test_who_has_not_come_to_the_end_is_counted_nowhere_and_what_is_missing_is_not_right() -> None:
    made = {(1, 0): CaseAnswer(True, 1.0), (1, 1): CaseAnswer(True, 1.0), (2, 0): CaseAnswer(True, 1.0)}
    one, other = items(2, made, {1}, {})
    assert (one.answered, one.right, other.answered) == (1, 1, 1)
    one, other = items(2, made, {1, 2, 3}, {})
    assert (one.answered, other.answered, other.right) == (2, 1, 1)
    assert (one.discrimination, one.discrimination_interval) == (None, None), "right for all: nothing to tell apart"
    assert items(1, {}, (), {})[0].share is None


def test_point_biserial_of_what_does_not_vary_is_none() -> None:
    assert point_biserial([True, True], [1, 2]) is None
    assert point_biserial([True, False], [2, 2]) is None
    assert correlation_interval(0.5, 3) is None
    assert correlation_interval(1.0, 9) is None


def test_the_spread_of_scores_is_numpys() -> None:
    """Source: numpy mean, median, and std with ddof=1."""
    rng = random.Random(3)
    scores = [rng.randrange(21) for _ in range(58)]
    got = spread(scores)
    assert got.mean == pytest.approx(np.mean(scores))
    assert got.median == np.median(scores)
    assert got.sd == pytest.approx(np.std(scores, ddof=1))
    assert spread([]).mean is None
    assert spread([4]).sd is None


def test_before_and_after_is_the_paired_t_of_scipy() -> None:
    """Source: scipy.stats.ttest_rel(...).confidence_interval."""
    rng = random.Random(5)
    before = {who: (rng.randrange(5), 4 + rng.randrange(3)) for who in range(40)}
    after = {who: (min(of, good + rng.randrange(2)), of) for who, (good, of) in before.items() if who >= 10}
    after |= {99: (1, 1)}
    (one,) = changes({"take-off": before}, {"take-off": after, "other": after})
    pairs = [(before[who][0] / before[who][1], after[who][0] / after[who][1]) for who in range(10, 40)]
    want = stats.ttest_rel([late for _, late in pairs], [early for early, _ in pairs])
    assert one.learners == 30
    assert one.change == pytest.approx(np.mean([late - early for early, late in pairs]))
    assert one.interval is not None
    ends = want.confidence_interval(0.95)
    assert [one.interval.low, one.interval.high] == pytest.approx([ends.low, ends.high])
    assert one.sure == ("better" if want.pvalue < 0.05 else "")
    many = changes({f"s{each}": before for each in range(9)}, {f"s{each}": after for each in range(9)})
    assert {each.sure for each in many} == {"better" if want.pvalue < 0.05 / 9 else ""}, "widened for nine steps"


def test_a_change_is_said_only_where_its_interval_is_clear_of_none() -> None:
    assert paired_interval_of([0.5]) is None
    assert paired_interval_of([0.5, 0.5]) is None
    (one,) = changes({"s": {1: (1, 2), 2: (2, 2)}}, {"s": {1: (2, 2), 2: (1, 2)}})
    assert (one.change, one.sure) == (0.0, "")
    assert isinstance(one.interval, Interval)
