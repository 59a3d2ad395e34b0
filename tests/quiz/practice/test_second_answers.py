"""What a miss does to memory by its doubts; the answer meant where one was mistyped; and "I don't know"."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from cases.curriculum.register import case_type
from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.procedure import marking
from cases.procedure.explaining import Explanation, explain
from cases.procedure.marking import mark_text
from quiz.learning import model
from quiz.learning.state import Answered, LearnerState
from quiz.practice import dealing, dealt_cases
from quiz.practice.beforehand import beforehand
from quiz.practice.dealt_cases import SentBack, UnknownCase
from quiz.storage import projection
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Answer, Learner, Store
from tests.conftest import NOON, deal, slipped, written
from tests.quiz.learning.test_model import blame

LEFT_IN = ("take-off-distance", "distance-left-in")
HABIT = ("distance-in-dioptres", "always-one-fifty")


def given(store: Store, learner: Learner, texts: dict[str, str], *, now: float = NOON + 5) -> Answer:
    waiting = store.open_case(learner.id)
    assert waiting is not None
    dealing.take(store, learner, waiting.id, texts, None, now=now)
    kept = store.answer_to(waiting.id)
    assert kept is not None
    return kept


def missed(**more: object) -> Answered:
    return Answered(NOON, "net-sphere", ("distance-in-dioptres", "take-off-distance"), "wrong", **more)  # type: ignore[arg-type]


# --- shares ----------------------------------------------------------------------------------------------------------


def test_a_hundredth_of_a_doubt_moves_memory_by_a_hundredth() -> None:
    """Against the same miss undiagnosed: a slip's count is its share, and strengths lie as far apart as the share."""
    plain = model.fold(LearnerState(), missed())
    hundredth = model.fold(LearnerState(), missed(explanations=((LEFT_IN,),), shares=(0.01,)))
    surely = model.fold(LearnerState(), missed(explanations=((LEFT_IN,),), shares=(1.0,)))
    assert hundredth.slips["take-off-distance"]["distance-left-in"].count == pytest.approx(0.01)
    for step in plain.steps:
        moved = abs(hundredth.steps[step].strength - plain.steps[step].strength)
        whole = abs(surely.steps[step].strength - plain.steps[step].strength)
        assert 0 < moved < 0.03 * whole


def test_one_sure_explanation_folds_as_it_always_did() -> None:
    before = model.fold(LearnerState(), missed(explanations=((LEFT_IN,),)))
    now = model.fold(LearnerState(), missed(explanations=((LEFT_IN,),), shares=(1.0,)))
    assert now.to_json() == before.to_json()


def test_no_slip_at_all_folds_as_an_undiagnosed_miss() -> None:
    assert model.fold(LearnerState(), missed(shares=())).to_json() == model.fold(LearnerState(), missed()).to_json()


def test_blame_is_all_of_the_miss_whatever_explains_it() -> None:
    event = missed(explanations=((LEFT_IN,), (HABIT,)), shares=(0.5, 0.2))
    assert math.fsum(blame(LearnerState(), event).values()) == pytest.approx(1.0)


def test_what_is_weighed_is_kept_and_taken_in(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    kept = given(store, learner, {"power": case.type.asks[0].kind.write(case.truth["power"] + 0.25)})
    assert (kept.verdict, kept.explanations) == ("wrong", ())
    assert kept.weighed is not None
    assert kept.weighed[0].kind == "arithmetic"
    event = projection.event_of(kept)
    assert event.shares == tuple(one.probability for one in kept.weighed if one.slips)
    assert math.fsum(event.shares or ()) < 0.3


def test_an_answer_from_before_is_taken_in_as_it_was(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "two-spheres")
    kept = given(store, learner, slipped(case, "distance-left-in"))
    old = dataclasses.replace(kept, weighed=None)
    event = projection.event_of(old)
    assert (event.explanations, event.shares) == (kept.explanations, None)


def test_the_mark_stays_what_it_was_when_memory_moves_on(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere", wanted=lambda one: one.shows("always-one-fifty"))
    dealt = store.open_case(learner.id)
    assert dealt is not None
    kept = given(store, learner, slipped(case, "always-one-fifty"))
    for number in range(4):
        again = deal(store, learner, "net-sphere", seed=9 + number, wanted=lambda one: one.shows("always-one-fifty"))
        given(store, learner, slipped(again, "always-one-fifty"), now=NOON + 60 * number + 30)
    done = dealing.marked(store, learner, dealt.id)
    assert done is not None
    assert done.mark.verdict == kept.verdict
    weighed = {(one.kind, one.slips): one.probability for one in kept.weighed or ()}
    for one in done.mark.weighed:
        assert weighed[one.kind, tuple((ref.step, ref.slip) for ref in one.slips)] == one.probability


def test_the_page_of_a_miss_takes_the_weights_from_the_log(
    store: Store, learner: Learner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Explanations are weighed when the answer comes and at no other time, and the page says the same of them."""
    weighings = []

    def counted(*given: Any) -> tuple[Explanation, ...]:
        weighings.append(given)
        return explain(*given)

    monkeypatch.setattr(marking, "explain", counted)
    case = deal(store, learner, "two-spheres")
    dealt = store.open_case(learner.id)
    assert dealt is not None
    right = case.truth["prescription"]
    one_meridian_out = SphCyl.from_meridians(right.axis, right.sphere + 0.25, right.sphere + right.cylinder)
    given(store, learner, {"prescription": write_prescription(one_meridian_out)})
    assert len(weighings) == 1
    done = dealing.marked(store, learner, dealt.id)
    assert done is not None
    assert len(weighings) == 1
    fresh = explain(case, [done.mark.read_as or {}])
    assert done.mark.weighed[0].kind == fresh[0].kind == "arithmetic"
    assert done.mark.weighed[0].step == fresh[0].step is not None


def test_a_slip_made_lately_is_likelier_and_a_step_that_is_known_is_not_doubted() -> None:
    case = case_type("net-sphere").case_from_json({"gross": 1.0, "distance_cm": 50})
    state = LearnerState()
    for number in range(3):
        event = Answered(NOON + number, "net-sphere", case.skills, "slip", explanations=((HABIT,),))
        model.fold(state, event)
    assert mark_text(case, "-0.50", beforehand(state, case, NOON + 60)).verdict == "slip"
    sure = LearnerState()
    for number in range(20):
        model.fold(sure, Answered(NOON + number * 3600, "net-sphere", case.skills, "right"))
    known = mark_text(case, "-0.50", beforehand(sure, case, NOON + 21 * 3600))
    assert known.named == ()
    assert known.weighed[0].kind == "arithmetic"


# --- I don't know ----------------------------------------------------------------------------------------------------


def test_not_knowing_blames_no_slip_and_guesses_nothing(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    dealt = store.open_case(learner.id)
    assert dealt is not None
    assert dealing.give_up(store, learner, dealt.id, now=NOON + 5).outcome == "new"
    kept = store.answer_to(dealt.id)
    assert kept is not None
    assert (kept.did_not_know, kept.given, kept.explanations, kept.weighed) == (True, {}, (), ())
    state = projection.cases_of(store, learner.id)
    assert state.slips == {}
    assert set(state.steps) == set(case.skills), "the steps are met"
    assert state.types["net-sphere"].right == 0
    assert dealing.give_up(store, learner, dealt.id, now=NOON + 9).outcome == "repeat"
    assert dealing.take(store, learner, dealt.id, written(case), None, now=NOON + 9).outcome == "other"
    with pytest.raises(UnknownCase):
        dealing.retype(store, learner, dealt.id, written(case), now=NOON + 9)


# --- I mistyped ------------------------------------------------------------------------------------------------------


def test_the_answer_meant_is_kept_beside_the_first_and_counts_half(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    first = given(store, learner, slipped(case, "distance-left-in"))
    with pytest.raises(SentBack):
        dealing.retype(store, learner, first.dealt, {"power": "?"}, now=NOON + 20)
    assert dealing.retype(store, learner, first.dealt, written(case), now=NOON + 20)
    assert not dealing.retype(store, learner, first.dealt, written(case), now=NOON + 30), "once"
    assert store.answer_to(first.dealt) == first, "the log keeps the first"
    done = dealing.marked(store, learner, first.dealt)
    assert done is not None
    assert done.mark.verdict == "right"
    state = projection.cases_of(store, learner.id)
    assert state.slips == {}
    unlearnt = LearnerState()
    right = model.fold(unlearnt.copy(), dataclasses.replace(projection.event_of(first), verdict="right"))
    for step in case.skills:
        start = model.outlook(unlearnt, step, NOON).x
        assert start < state.steps[step].strength < right.steps[step].strength
        assert state.steps[step].days.count == 0, "half an answer is no day"


def test_a_right_answer_and_a_choice_cannot_have_been_mistyped(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    assert not dealt_cases.can_retype(given(store, learner, written(case)))


def test_a_file_with_both_is_sound_and_folds_to_the_same(data_file: DataFile, store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    first = given(store, learner, slipped(case, "distance-left-in"))
    dealing.retype(store, learner, first.dealt, written(case), now=NOON + 20)
    deal(store, learner, "net-sphere", seed=4)
    dealt = store.open_case(learner.id)
    assert dealt is not None
    dealing.give_up(store, learner, dealt.id, now=NOON + 40)
    assert [one.words for one in check(data_file.where) if not one.good] == []
    assert all(one.as_kept for one in projection.rebuild(store))
