"""A slip's base rate is the class's, and a slip recurs by the odds against it."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from quiz.learning.model import by_chance, observe, replay, standing
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.refit import ENOUGH_LEARNERS, refit, report
from quiz.learning.slip_rates import LEAST_RATE, class_slip_rates, slip_losses
from quiz.learning.state import DAY, Answered

START = 1.7e9
KEY = ("take-off", "left-in")
NAME = "take-off left-in"


def event(number: int, made: bool) -> Answered:
    explained = ((KEY,),) if made else ()
    verdict = "slip" if made else "right"
    return Answered(START + number * DAY / 10, "net", ("take-off",), verdict, explained, could_show=(KEY,))


def with_slips(at: set[int], of: int = 40) -> list[Answered]:
    return [event(number, number in at) for number in range(of)]


def by_chance_alone(rate: float, seed: int, of: int = 220) -> list[Answered]:
    """Make a learner who makes the slip with the same small chance each time, with no belief behind it."""
    rng = random.Random(seed)
    return [event(number, rng.random() < rate) for number in range(of)]


def test_the_class_s_rate_is_its_share_drawn_towards_the_shipped_one() -> None:
    """By hand, a beta posterior: (3 × 4 made + 20 × .1) of (3 × 40 + 20) is .1."""
    scattered = {3, 13, 23, 33}
    assert class_slip_rates([with_slips(scattered)] * 3, NUMBERS) == {NAME: pytest.approx(14 / 140)}
    assert class_slip_rates([with_slips(scattered)] * 2, NUMBERS) == {}, "two learners are no class"
    assert class_slip_rates([with_slips(set())] * 3, NUMBERS) == {NAME: LEAST_RATE}
    nobody_knows = [replace(one, could_show=None) for one in with_slips(scattered)]
    assert class_slip_rates([nobody_knows] * 3, NUMBERS) == {}


def test_whoever_holds_the_belief_is_left_out_of_the_rate() -> None:
    holder, others = with_slips(set(range(40))), [with_slips({3, 13, 23, 33})] * 3
    assert standing(replay(holder), START + 4 * DAY)
    assert class_slip_rates([holder, *others], NUMBERS) == class_slip_rates(others, NUMBERS)


def test_a_slip_recurs_by_odds_against_the_class() -> None:
    """Two in a row are 2 ln(.8/.1) = 4.2 of evidence; where the class makes it twice as often, 2 ln(.8/.2) = 2.8."""
    able = [replace(event(number, False), could_show=()) for number in range(30)]
    log = [*able, event(30, True), event(31, True)]
    end = log[-1].at
    often, seldom = (replace(NUMBERS, slips={NAME: rate}) for rate in (0.2, 0.05))
    assert KEY not in standing(replay(log, often), end)
    evidence = [replay(log, one).slips[KEY[0]][KEY[1]].evidence for one in (often, NUMBERS, seldom)]
    assert evidence == sorted(evidence)
    assert evidence[0] < evidence[1]
    other = replace(NUMBERS, slips={"take-off twice": 0.2})
    assert replay(log, other) == replay(log), "the rate of another slip changes nothing"


def test_by_chance_alone_the_odds_for_a_belief_do_not_grow() -> None:
    """A likelihood ratio has a mean of 1 where chance alone is at work (Wald 1945); against too low a rate it grows."""
    true = 0.17
    logs = [by_chance_alone(true, seed) for seed in range(60)]
    own = replace(NUMBERS, slips=class_slip_rates(logs, NUMBERS))

    def mean_ratio(numbers: Numbers) -> float:
        able = replay([replace(event(number, False), could_show=()) for number in range(30)], numbers)
        asked = event(30, False)
        p = by_chance(asked, KEY, observe(able, asked).seen, numbers)
        return true * numbers.slip_recurs / p + (1 - true) * (1 - numbers.slip_recurs) / (1 - p)

    assert mean_ratio(NUMBERS) > 1.3
    assert mean_ratio(own) == pytest.approx(1, abs=0.05)


def test_rates_are_offered_only_where_they_foresee_slips_of_others_better() -> None:
    logs = {number: by_chance_alone(0.02, number) for number in range(ENOUGH_LEARNERS)}
    offer = refit(logs, random.Random(1), dated="2031-01-01", free=())
    assert offer.slips is not None
    assert offer.slips.wins
    assert offer.accepted
    assert offer.numbers.slips == {NAME: LEAST_RATE}
    assert "the class's own rate of 1 slip" in "\n".join(report(offer))
    same = {number: by_chance_alone(0.1, number) for number in range(ENOUGH_LEARNERS)}
    offer = refit(same, random.Random(1), dated="2031-01-01", free=())
    assert offer.slips is not None
    assert not offer.slips.wins
    assert offer.numbers.slips == {}


def test_two_sets_of_rates_are_judged_on_the_same_chances() -> None:
    logs = [by_chance_alone(0.15, seed) for seed in range(6)]
    own = replace(NUMBERS, slips=class_slip_rates(logs, NUMBERS))
    before, after = (slip_losses(logs, NUMBERS, one) for one in (NUMBERS, own))
    assert [chances for _, chances in before] == [chances for _, chances in after]
