"""Words that are earned: days with a night between them, mistakes that are gone, one rule for steps and types."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from quiz.learning.model import fold, replay, standing
from quiz.learning.state import DAY, Answered, LearnerState, SlipKey
from quiz.learning.words import recurring, settled, slips_on, word

START = 19_676 * DAY
"""The first moment of a UTC day."""
STEPS = ("read", "take-off")
LEFT_IN: SlipKey = ("take-off", "left-in")


def answer(at_day: float, verdict: str = "right", steps: tuple[str, ...] = STEPS, **more: object) -> Answered:
    return Answered(START + at_day * DAY, "net", steps, verdict, **more)  # type: ignore[arg-type]


def slipped(at_day: float) -> Answered:
    return answer(at_day, "slip", explanations=((LEFT_IN,),))


def said(state: LearnerState, at_day: float) -> set[str]:
    """Return the words of the two steps and of their type."""
    now = START + at_day * DAY
    return {word(state, (step,), now) for step in STEPS} | {word(state, STEPS, now, type_id="net")}


def many(at_day: float, times: int = 20) -> Iterable[Answered]:
    return (answer(at_day + number / 1000) for number in range(times))


@pytest.mark.parametrize(
    ("later", "words"),
    [
        ((), {"right so far"}),  # one afternoon, all right
        ((0.3,), {"right so far"}),  # the same day
        ((0.99, 1.0), {"solid"}),  # a night and a day later
        ((1.0,), {"solid"}),
    ],
)
def test_solid_takes_two_days_with_a_night_between(later: tuple[float, ...], words: set[str]) -> None:
    state = replay([*many(0), *(answer(day) for day in later)])
    assert said(state, max(later, default=0) + 0.1) == words


def test_two_utc_days_without_a_night_between_are_one() -> None:
    late, early = 0.9, 1.05  # 3.6 hours apart, over midnight
    assert said(replay([*many(late), answer(early)]), 1.1) == {"right so far"}
    assert said(replay([*many(late), answer(late + 0.35)]), 1.3) == {"solid"}


def test_settled_takes_three_days_over_a_week_and_no_slip_since() -> None:
    state = replay([*many(0), answer(2), answer(8)])
    now = START + 8.1 * DAY
    assert settled(state, ("read",), now)
    assert settled(state, STEPS, now, type_id="net")
    assert not settled(replay([*many(0), answer(2), answer(5)]), ("read",), START + 5.1 * DAY)
    assert not settled(state, ("read",), START + 400 * DAY)


def test_days_with_help_or_with_a_miss_are_no_days() -> None:
    shown = replay([*many(0), *(answer(day, hints=("read",)) for day in (1, 4, 8))])
    assert word(shown, ("take-off",), START + 8 * DAY) == "solid"
    assert shown.types["net"].days.count == shown.steps["read"].days.count == 1
    missed = replay([*(answer(day, "wrong") for day in (0, 1, 2)), *many(3)])
    assert {missed.steps[step].days.count for step in STEPS} == {1}


def test_a_type_is_never_in_a_better_word_than_a_step_of_it() -> None:
    order = ("solid", "right so far", "fading", "unsure", "not met")
    state = replay([*many(0), answer(2), answer(5), slipped(6), slipped(6.1), *many(6.2)])
    for day in (6.3, 8, 12, 20, 60, 200):
        now = START + day * DAY
        least = max((word(state, (step,), now) for step in STEPS), key=order.index)
        assert order.index(word(state, STEPS, now, type_id="net")) >= order.index(least)


def test_a_recurring_mistake_is_gone_after_three_right_answers_over_two_days() -> None:
    state = replay([answer(-1), slipped(0), slipped(0.1)])
    assert list(recurring(state, START + 0.2 * DAY)) == [LEFT_IN]
    for number in range(10):
        fold(state, answer(0.2 + number / 100, could_show=(LEFT_IN,)))
    assert not standing(state, START + 0.4 * DAY), "its count is worn down by the same afternoon"
    assert list(recurring(state, START + 0.4 * DAY)) == [LEFT_IN], "and the mistake is not gone yet"
    assert word(state, ("take-off",), START + 0.4 * DAY) == "unsure"
    fold(state, answer(1.2, could_show=()))
    assert list(recurring(state, START + 1.3 * DAY)) == [LEFT_IN], "this one could not have shown it"
    fold(state, answer(1.3, could_show=(LEFT_IN,)))
    assert recurring(state, START + 1.4 * DAY) == {}


def test_a_mistake_made_again_begins_anew_and_waiting_mends_nothing() -> None:
    state = replay(
        [answer(-1), slipped(0), slipped(0.1), answer(0.2), answer(1.2), slipped(1.3), answer(2.2), answer(2.3)]
    )
    assert list(recurring(state, START + 2.4 * DAY)) == [LEFT_IN]
    assert list(recurring(state, START + 300 * DAY)) == [LEFT_IN]
    fold(state, answer(3.2))
    assert recurring(state, START + 3.3 * DAY) == {}


def test_when_a_step_is_likely_to_slip() -> None:
    state = replay([*many(0), answer(2), answer(6)])
    at = slips_on(state, "read", START + 6 * DAY, within_days=3000)
    assert at is not None
    assert at > START + 7 * DAY
    assert slips_on(state, "read", at, within_days=1) == at, "it is so by then"
    assert slips_on(state, "read", START + 6 * DAY, within_days=1) is None
