"""Numbers that learners are promised in words: each test here fails when the number moves, and no law would.

What is promised is said in the rooms' signs and in docstrings; where a number has a source, it is beside the number.
"""

from __future__ import annotations

import dataclasses
import math
import random
from collections.abc import Callable
from contextlib import closing

import pytest

from cases.curriculum.register import case_type
from cases.optics.lens import SphCyl
from cases.optics.vergence import is_clinic_value, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import draw
from cases.procedure.kinds import Cross, Lens
from cases.procedure.marking import mark
from cases.procedure.randomness import Chance
from quiz.learning.catalogue import Catalogue, TypeInfo
from quiz.learning.model import fold, form_at, outlook, replay
from quiz.learning.parameters import NUMBERS
from quiz.learning.scheduler import choose
from quiz.learning.state import DAY, Answered, LearnerState, SlipKey
from quiz.learning.words import settled
from quiz.storage.datafile import DataFile
from quiz.storage.store import Dealt, Learner, Store
from tests.conftest import NOON

BEFORE_ONE = math.nextafter(1.0, 0.0)


class Falling(Chance):
    """Chance that always falls the same way."""

    def __init__(self, unit: float) -> None:
        super().__init__("")
        self.falls = unit

    def unit(self) -> float:
        return self.falls


# --- both ends of every range ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("low", "high"), [(0, 1), (1, 3), (-2, 2), (7, 7), (1, 180)])
def test_a_whole_number_is_drawn_from_its_whole_range_every_one_as_often(low: int, high: int) -> None:
    count = high - low + 1
    drawn = [Falling((place + 0.5) / count).whole(low, high) for place in range(count)]
    assert drawn == list(range(low, high + 1))
    assert (Falling(0.0).whole(low, high), Falling(BEFORE_ONE).whole(low, high)) == (low, high)


def test_a_stepped_number_reaches_both_ends() -> None:
    assert (Falling(0.0).stepped(-1.5, 0.75), Falling(BEFORE_ONE).stepped(-1.5, 0.75)) == (-1.5, 0.75)
    assert [Falling((place + 0.5) / 4).stepped(0, 1.5, 0.5) for place in range(4)] == [0, 0.5, 1, 1.5]


def test_a_choice_reaches_its_first_and_last_and_an_order_every_order() -> None:
    assert (Falling(0.0).among("abc"), Falling(BEFORE_ONE).among("abc")) == ("a", "c")
    orders = {"".join(Chance(str(seed)).shuffled("abc")) for seed in range(60)}
    assert orders == {"abc", "acb", "bac", "bca", "cab", "cba"}


def test_what_happens_with_a_chance_happens_below_it_and_not_at_it() -> None:
    assert Falling(0.399).happens(0.4)
    assert not Falling(0.4).happens(0.4)


# --- 0.04 D of the clinic's rounding ---------------------------------------------------------------------------------


@pytest.mark.parametrize("quarter", [0.75, 1.5, 2.0, 3.25])
@pytest.mark.parametrize("side", [-1, 1])
def test_the_clinic_rounds_within_four_hundredths_of_a_quarter_and_no_further(quarter: float, side: int) -> None:
    within, beyond = 100 / (quarter + side * 0.0395), 100 / (quarter + side * 0.0405)
    assert (is_clinic_value(within), is_clinic_value(beyond)) == (True, False)
    assert working_vergence(within) == quarter
    assert working_vergence(beyond) == pytest.approx(quarter + side * 0.0405, abs=1e-12)
    assert not is_clinic_value(100 / (quarter + side * 0.12)), "an eighth is no lens that a clinic takes off"


# --- 0.125 D and 2° of an explanation --------------------------------------------------------------------------------

STRONG = SphCyl(1.0, -2.0, 90)


@pytest.mark.parametrize("kind", [Lens(), Cross()], ids=["lens", "cross"])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_slip_explains_a_lens_within_an_eighth_and_two_degrees(kind: Lens | Cross, side: int) -> None:
    assert kind.alike(SphCyl(1.0 + side * 0.125, -2.0, 90), STRONG)
    assert not kind.alike(SphCyl(1.0 + side * 0.13, -2.0, 90), STRONG)
    assert kind.alike(SphCyl(1.0, -2.0 + side * 0.125, 90), STRONG)
    assert not kind.alike(SphCyl(1.0, -2.0 + side * 0.13, 90), STRONG)
    assert kind.alike(SphCyl(1.0, -2.0, 90 + side * 2), STRONG)
    assert not kind.alike(SphCyl(1.0, -2.0, 90 + side * 2.1), STRONG)


def test_a_weak_cylinder_hides_as_much_axis_as_leaves_two_hundredths_of_a_dioptre() -> None:
    """What is left, 2C·sin δ, is 0.02 D at 2.29° for 0.25 DC and at 4.59° for 0.125 DC."""
    for cylinder, within, beyond in ((0.25, 2.25, 2.35), (0.125, 4.5, 4.7)):
        lens = SphCyl(0.0, -cylinder, 90)
        assert Lens().alike(SphCyl(0.0, -cylinder, 90 + within), lens)
        assert not Lens().alike(SphCyl(0.0, -cylinder, 90 + beyond), lens)


def test_a_slip_explains_a_power_within_an_eighth_and_an_axis_within_two_degrees() -> None:
    assert (quantities.POWER.alike(1.125, 1.0), quantities.POWER.alike(1.13, 1.0)) == (True, False)
    assert (quantities.AXIS.alike(179, 1), quantities.AXIS.alike(178.9, 1)) == (True, False)


def test_an_answer_an_eighth_from_a_slips_is_explained_and_a_little_further_is_not() -> None:
    case = draw(case_type("net-sphere"), 1)
    asked = case.type.asks[0].name
    # The slip furthest out on one side, so that nothing lies beyond it that could explain the answer.
    furthest = max(case.singles, key=lambda one: abs(one.answer[asked] - case.truth[asked]))
    out = math.copysign(1, furthest.answer[asked] - case.truth[asked])
    near, far = ({asked: furthest.answer[asked] + out * more} for more in (0.125, 0.135))
    assert furthest in mark(case, near).explanations
    assert furthest not in mark(case, far).explanations


# --- words that are earned -------------------------------------------------------------------------------------------

START = 19_676 * DAY
"""The first moment of a UTC day."""
LEFT_IN: SlipKey = ("take-off", "left-in")
TURNED: SlipKey = ("read", "turned")


def answered(at_day: float, verdict: str = "right", steps: tuple[str, ...] = ("read",), **more: object) -> Answered:
    return Answered(START + at_day * DAY, "net", steps, verdict, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("days", "is_settled"),
    [((0, 1), False), ((0, 1, 1.2), False), ((0, 1, 2), False), ((0, 1, 6.9), False), ((0, 1, 7), True)],
)
def test_settled_is_right_on_three_days_over_a_week_and_neither_two_nor_three_times(
    days: tuple[float, ...], is_settled: bool
) -> None:
    # Ten times on the first day, so that it is solid and only the days are wanting.
    state = replay([*(answered(n / 1000) for n in range(10)), *(answered(day) for day in days[1:])])
    now = START + days[-1] * DAY
    assert (settled(state, ("read",), now), settled(state, ("read",), now, type_id="net")) == (is_settled,) * 2


def test_a_step_right_by_half_was_not_right_that_day() -> None:
    state = fold(LearnerState(), answered(0, steps=("read", "take-off")))
    fold(state, answered(1, "slip", ("read", "take-off"), explanations=((LEFT_IN,), (TURNED,))))
    assert [state.steps[step].days.count for step in ("read", "take-off")] == [1, 1]
    fold(state, answered(2, "slip", ("read", "take-off"), explanations=((LEFT_IN,),)))
    assert [state.steps[step].days.count for step in ("read", "take-off")] == [2, 1], "read was right on that day"


def test_what_was_shown_beforehand_was_not_done_unaided() -> None:
    state = fold(LearnerState(), answered(0, steps=("read", "take-off"), hints=("read",)))
    assert "read" not in state.steps
    assert state.steps["take-off"].days.count == 1
    assert state.types["net"].days.count == 0
    fold(state, answered(1, steps=("read", "take-off")))
    assert state.types["net"].days.count == 1


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ((0, 1), "twice this week"),
        ((0, 1, 2), "three times this week"),
        ((0, 1, 2, 3), "four times or more this week"),
        ((0, 1, 2, 3, 3.5), "four times or more this week"),
        ((0, 6.9), "twice this week"),
        ((0, 7.1), "more than once in recent cases"),
    ],
)
def test_the_times_of_a_slip_this_week_are_counted_up_to_four(days: tuple[float, ...], words: str) -> None:
    made = [answered(day, "slip", ("take-off",), explanations=((LEFT_IN,),)) for day in days]
    # The oldest are forgotten first: those of the days before must not be what is counted.
    state = replay([*(dataclasses.replace(made[0], at=START - 9 * DAY) for _ in range(3)), *made])
    table = Catalogue(
        (TypeInfo("net", "all", "novice", ("take-off",), slips=(LEFT_IN,), title="net"),),
        {"take-off": "taking the distance off"},
        {"left-in": "left the distance in"},
    )
    why = choose(state, table, START + days[-1] * DAY, random.Random(1)).why
    assert why == f"You left the distance in: {words}."
    assert len(state.slips["take-off"]["left-in"].seen) == 4, "no more are kept than are told"


@pytest.mark.parametrize(
    ("fading_times", "share"), [(0.0, 0.6), (1.0, 0.8), (3.0, 0.9)], ids=["at once", "faded once", "faded thrice"]
)
def test_a_right_answer_teaches_six_tenths_when_massed_and_nears_the_whole_when_spaced(
    fading_times: float, share: float
) -> None:
    """(.6 + .4 r/(1 + r)) × 1.8 × the doubt, by hand: what is learnt beside what the answer tells about the learner.

    As shipped a right answer is evidence and no lesson (learn_right 0); a class's log may say otherwise.
    """
    teaching, told_only = (dataclasses.replace(NUMBERS, learn_right=lesson) for lesson in (1.8, 0.0))
    before = fold(LearnerState(), answered(0, "wrong"))
    at_day = fading_times * math.exp(before.steps["read"].log_fading)
    at = START + at_day * DAY
    doubt = 1 - outlook(before, "read", at, form=form_at(before, at)).mastery
    learnt, told = (
        fold(before.copy(), answered(at_day), numbers).steps["read"].strength for numbers in (teaching, told_only)
    )
    assert learnt - told == pytest.approx(share * 1.8 * doubt, abs=1e-9)


# --- a read after a change, inside one transaction -------------------------------------------------------------------


def _changed(store: Store, learner: Learner) -> None:
    store.rename_learner(learner.id, "Runa")


def _inserted(store: Store, learner: Learner) -> None:
    store.begin_sitting(learner.id, now=NOON, cases=5, minutes=None)


def _dealt(store: Store, learner: Learner) -> None:
    sitting = store.sittings_where("WHERE s.learner = ?", learner.id)[0]
    case = draw(case_type("net-sphere"), 1)
    findings = case.type.findings.to_json(case.findings)
    store.deal(
        Dealt("one", learner.id, sitting.id, case.type.id, 1, {}, findings, "New.", None, None, False, dealt_at=NOON)
    )


@pytest.mark.parametrize(
    ("change", "ask"),
    [
        (_changed, lambda store, learner: store.learner(learner.id)),
        (_inserted, lambda store, learner: store.sittings_where("WHERE s.learner = ?", learner.id)),
        (_dealt, lambda store, learner: store.open_case(learner.id)),
    ],
    ids=["change", "insert", "deal"],
)
def test_a_change_is_seen_by_the_next_read_of_its_own_transaction(
    data_file: DataFile,
    learner: Learner,
    change: Callable[[Store, Learner], None],
    ask: Callable[[Store, Learner], object],
) -> None:
    with closing(Store(data_file, remember=True)) as store, closing(Store(data_file)) as fresh:
        if change is _dealt:
            with store.writing():
                _inserted(store, learner)
        with store.writing():
            before = ask(store, learner)
            assert ask(store, learner) == before
            change(store, learner)
            seen = ask(store, learner)
        assert seen != before
        assert seen == ask(fresh, learner)
