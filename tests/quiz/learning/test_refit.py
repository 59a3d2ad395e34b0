"""A refit learns from some learners, is judged on others, and is turned down unless it clearly foretells better."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from quiz.learning.model import expected, fold
from quiz.learning.parameters import NUMBERS
from quiz.learning.refit import ENOUGH_LEARNERS, FREE, TooFew, losses, refit
from quiz.learning.state import DAY, Answered, LearnerState

START = 1.7e9
EACH = 210
"""Answers of each learner: twelve of them make 2,520."""
ONLY = tuple(one for one in FREE if one.name in ("start", "learn_right"))


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
    assert replace(offer.numbers, start=NUMBERS.start, learn_right=NUMBERS.learn_right, dated="") == replace(
        NUMBERS, dated=""
    )
    assert (offer.fitted_on, offer.judged_on) == (8, 4)
    assert offer.loss_after == pytest.approx(offer.loss_before - offer.fall)
    assert offer.fall > 2 * offer.standard_error > 0


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
    assert offer.loss_after > offer.loss_before
    assert not offer.accepted


def test_what_the_judges_answered_does_not_reach_the_fit() -> None:
    order = list(range(ENOUGH_LEARNERS))
    random.Random(1).shuffle(order)
    logs = {number: steady(0.9, number) for number in order}
    others = logs | {number: steady(0.2, number) for number in order[:4]}
    a, b = (refit(one, random.Random(1), dated="", free=ONLY).numbers for one in (logs, others))
    assert a == b


@pytest.mark.parametrize(("learners", "each"), [(1, 3000), (11, 300), (40, 50), (0, 0)])
def test_too_small_a_log_is_turned_away_in_words(learners: int, each: int) -> None:
    log = steady(0.5, 1)
    logs = dict.fromkeys(range(learners), (log * 20)[:each])
    with pytest.raises(TooFew, match=r"too few .*2,500 answers of at least 12 learners"):
        refit(logs, random.Random(1), dated="2031-01-01")
