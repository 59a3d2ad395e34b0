"""A refit learns from some learners, is judged on others, and is turned down unless it clearly predicts better."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from quiz.learning.model import chance, expected, fold
from quiz.learning.parameters import NUMBERS
from quiz.learning.pooling import pooled_priors
from quiz.learning.refit import ENOUGH_LEARNERS, FREE, FittedRange, TooFew, intervals, losses, refit
from quiz.learning.state import DAY, Answered, LearnerState

START = 1.7e9
EACH = 210
"""Answers of each learner: twelve of them make 2,520."""
ONLY = tuple(one for one in FREE if one.name in ("start", "careless"))


def event(number: int, right: bool) -> Answered:
    step = f"step-{number % 30}"
    return Answered(START + number * DAY / 10, step, (step,), "right" if right else "wrong")


def steady(chance: float, seed: int) -> list[Answered]:
    """Make a learner who is right with the same chance every time: nothing like what memory starts from."""
    rng = random.Random(seed)
    return [event(number, rng.random() < chance) for number in range(EACH)]


def as_foretold(seed: int) -> list[Answered]:
    """Make a learner whose answers come with exactly the chance that memory gives them: nothing is left to learn."""
    rng, state, log = random.Random(seed), LearnerState(), list[Answered]()
    for number in range(EACH):
        asked = event(number, True)
        log.append(event(number, rng.random() < expected(state, asked)))
        fold(state, log[-1])
    return log


def test_the_loss_is_the_surprise_at_each_answer_before_it_was_taken_in() -> None:
    # by hand: a first answer has the chance of a new step, the second that of the state after the first
    log = steady(0.5, 1)[:2]
    first = expected(LearnerState(), log[0])
    second = expected(fold(LearnerState(), log[0]), log[1])
    by_hand = -sum(math.log(p if one.right else 1 - p) for p, one in zip((first, second), log, strict=True))
    assert losses([log], NUMBERS) == pytest.approx([by_hand])


def test_learners_unlike_the_numbers_change_them_and_the_offer_is_accepted() -> None:
    logs = {number: steady(0.95, number) for number in range(ENOUGH_LEARNERS)}
    offer = refit(logs, random.Random(1), dated="2031-01-01", free=ONLY)
    assert offer.accepted
    assert offer.numbers.start > NUMBERS.start + 1
    assert offer.numbers.dated == "2031-01-01"
    for one in offer.candidates:
        kept = replace(one.numbers, start=NUMBERS.start, careless=NUMBERS.careless, dated="", steps={}, types={})
        assert kept == replace(NUMBERS, dated="", steps={}, types={})
    assert (offer.fitted_on, offer.judged_on) == (8, 4)
    best = offer.best
    assert best.loss_after == pytest.approx(best.loss_before - best.fall)
    assert best.fall > 2 * best.standard_error > 0
    for found in offer.fitted:
        assert found.interval is None or found.interval.low <= found.value <= found.interval.high


def test_learners_like_the_numbers_bring_no_accepted_offer() -> None:
    logs = {number: as_foretold(number) for number in range(ENOUGH_LEARNERS)}
    offer = refit(logs, random.Random(1), dated="2031-01-01", free=ONLY)
    assert not offer.accepted


def test_a_fit_that_does_not_carry_over_to_the_judges_is_turned_down() -> None:
    # the same shuffle as refit makes: the judges are the first third after it
    order = list(range(ENOUGH_LEARNERS))
    random.Random(1).shuffle(order)
    judges = set(order[:4])
    logs = {number: as_foretold(number) if number in judges else steady(0.95, number) for number in order}
    offer = refit(logs, random.Random(1), dated="2031-01-01", free=ONLY)
    assert offer.numbers.start > NUMBERS.start + 1
    assert offer.best.loss_after > offer.best.loss_before
    assert not offer.accepted


def test_what_the_judges_answered_does_not_reach_the_fit() -> None:
    order = list(range(ENOUGH_LEARNERS))
    random.Random(1).shuffle(order)
    logs = {number: steady(0.9, number) for number in order}
    others = logs | {number: steady(0.2, number) for number in order[:4]}
    a, b = (refit(one, random.Random(1), dated="", free=ONLY).candidates for one in (logs, others))
    assert [one.numbers for one in a] == [one.numbers for one in b]


def test_priors_from_other_learners_go_most_of_the_way_to_their_shares() -> None:
    # One easy and one hard step, 60 learners who answer each once: the chance goes from where it stood before most of
    # the way to the share that was right; the shrinking towards the common mean takes the rest.
    rng = random.Random(3)
    logs = [
        [
            Answered(START, "easy", ("easy",), "right" if rng.random() < 0.9 else "wrong"),
            Answered(START + DAY, "hard", ("hard",), "right" if rng.random() < 0.3 else "wrong"),
        ]
        for _ in range(60)
    ]
    found = pooled_priors(logs, NUMBERS, passes=8)
    fresh = LearnerState.new(found)
    for step in ("easy", "hard"):
        share = sum(event.right for log in logs for event in log if event.type == step) / 60
        gap = abs(chance(fresh, (step,), START, type_id=step) - share)
        assert gap < 0.6 * abs(chance(LearnerState(), (step,), START, type_id=step) - share)
        assert found.steps[step].variance > NUMBERS.strength_variance
    assert found.steps["hard"].mean < found.start < found.steps["easy"].mean


def test_a_prior_of_few_answers_stays_near_the_common_mean() -> None:
    logs = [[Answered(START + n, f"s{n % 4}", (f"s{n % 4}",), "right" if n % 4 else "wrong") for n in range(8)]] * 20
    rare = [[Answered(START, "rare", ("rare",), "wrong")]]
    found = pooled_priors([*logs, *rare], NUMBERS)
    assert found.steps["s0"].mean < found.steps["rare"].mean < found.start
    assert found.steps["rare"].variance > found.steps["s0"].variance


def test_what_a_log_says_nothing_of_has_no_interval_or_a_wide_one() -> None:
    # no answer was given among options or after a long wait within one step: half of the slope is 0
    logs = [steady(0.7, number) for number in range(6)]
    unused = FittedRange("learn_spaced", 0.02, 3.0)
    (found,) = intervals(logs, NUMBERS, replace(NUMBERS, learn_right=0.0, learn_shown=0.0), (unused,))
    assert found.interval is None


@pytest.mark.parametrize(("learners", "each"), [(1, 3000), (11, 300), (40, 50), (0, 0)])
def test_too_small_a_log_is_turned_away_in_words(learners: int, each: int) -> None:
    log = steady(0.5, 1)
    logs = dict.fromkeys(range(learners), (log * 20)[:each])
    with pytest.raises(TooFew, match=r"too few .*2,500 answers of at least 12 learners"):
        refit(logs, random.Random(1), dated="2031-01-01")
