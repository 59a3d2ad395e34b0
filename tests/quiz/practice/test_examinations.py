"""Whole examinations are kept act by act: reload, a form sent twice and a second tab lose or double nothing."""

from __future__ import annotations

import json

import pytest

from cases.curriculum.examination_evidence import EVERYTHING
from cases.curriculum.register import all_skills, all_slips
from cases.optics.lens import SphCyl
from cases.patients.examination.act_json import read_act, value_document
from cases.patients.examination.acts import BadAct
from cases.patients.patient import SIDES
from quiz.exports import own_data
from quiz.learning import model
from quiz.practice import dealing, progress
from quiz.practice.examining import examinations
from quiz.practice.examining.examinations import Done, OverAlready, UnknownExamination
from quiz.practice.forms import BadFields
from quiz.storage import progress_queries, projection, retention_queries
from quiz.storage.store import Learner, Store
from quiz.web.examination.act_forms import read_form
from quiz.web.examination.end_views import _eye, _verdict, end_page
from quiz.web.examination.views import examination_page
from tests.cases.patients.examination.scripts import Script, patient_of
from tests.conftest import NOON, NOT_TAKEN, lots, written

SET_UP: list[Done] = [("room", "dim", None), ("target", 6.0, None), ("seat", 50.0, None)]


@pytest.fixture
def begun(store: Store, learner: Learner) -> str:
    return examinations.begin_vignette(store, learner, "dev", now=NOON, lots=lots())


def test_what_was_done_is_read_again_as_it_was(store: Store, learner: Learner, begun: str) -> None:
    done: list[Done] = [
        *SET_UP,
        ("sight", (5.0, 0.0), None),
        ("lens", ("cylinder", SphCyl(0, -0.5, 20)), "right"),
        ("drops", "tropicamide", None),
        ("wait", 30.0, None),
        ("near check", None, "right"),
        ("end point", 110.0, "right"),
        ("write", SphCyl(-1, -0.5, 175), "right"),
    ]
    examinations.do(store, learner, begun, done, sent_as="a", now=NOON)
    again = examinations.own(store, learner, begun)
    assert [(one.what, one.value, one.side) for one in again.acts[-len(done) :]] == done
    assert again.minute > 30
    assert again.examined.record.written == {"right": SphCyl(-1, -0.5, 175)}


def test_a_form_sent_twice_is_one_act(store: Store, learner: Learner, begun: str) -> None:
    for _ in range(2):
        stands = examinations.do(store, learner, begun, [("take off", 1.5, None)], sent_as="b", now=NOON)
    assert stands.examined.record.taken == dict.fromkeys(SIDES, 1.5)


def test_an_examination_begun_with_ticks_goes_on_with_values(store: Store, learner: Learner, begun: str) -> None:
    """What an earlier version kept: ticks in place of values, and a lens to fog. It opens, and is ended as now."""
    before: list[Done] = [*SET_UP, ("lens", ("sphere", SphCyl(2)), "left"), ("note", "distance", None)]
    before += [("note", "vision", None), ("end point", 180.0, "right"), ("write", SphCyl(-2), "right")]
    examinations.do(store, learner, begun, before, sent_as="old", now=NOON)
    page = examination_page(examinations.own(store, learner, begun), {}, sent_as="x", faults={}, whole=True)
    assert page.record.entries == {}
    record = {"do": "record", "distance": "50", "drops": "dry", "taken-right": "2.00", "vision-left": "6/30"}
    done = read_form(record, examinations.own(store, learner, begun))
    assert [one[0] for one in done] == ["take off", "entry", "entry", "entry"]
    examinations.do(store, learner, begun, done, sent_as="new", now=NOON)
    assert read_form(record, examinations.own(store, learner, begun)) == []
    examinations.hand_in(store, learner, begun, now=NOON)
    end = end_page(examinations.own(store, learner, begun), undo=None, put_right="", of=None)
    assert ("Vision", "noted", "right 6/38, left 6/30, letter chart") in end.notes
    assert not any("no working distance" in one or "no vision" in one for one in end.left_out)


def test_nothing_is_called_neutral_where_nothing_comes_back(store: Store, learner: Learner) -> None:
    dark = examinations.begin_vignette(store, learner, "gwen", now=NOON, lots=lots())
    with pytest.raises(BadFields, match="Too dark to call neutral"):
        read_form({"do": "end-point", "streak": "15"}, examinations.own(store, learner, dark))
    examinations.do(store, learner, dark, [("lens", ("sphere", SphCyl(-7)), "right")], sent_as="l", now=NOON)
    assert read_form({"do": "end-point", "streak": "15"}, examinations.own(store, learner, dark))


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"distance": "three"}, "distance"),
        ({"read-at": "12:75"}, "read-at"),
        ({"drop-1-kind": "cyclopentolate", "drop-1-eyes": "both", "drop-1-minute": ""}, "drop-1-minute"),
        ({"lens-distance": "99"}, "lens-distance"),
    ],
)
def test_a_value_that_cannot_be_read_is_refused_at_its_field(
    store: Store, learner: Learner, begun: str, given: dict[str, str], field: str
) -> None:
    with pytest.raises(BadFields) as refused:
        read_form({"do": "record", **given}, examinations.own(store, learner, begun))
    assert set(refused.value.faults) == {field}


def test_a_second_tab_goes_on_from_where_the_first_is(store: Store, learner: Learner, begun: str) -> None:
    examinations.do(store, learner, begun, SET_UP, sent_as="first tab", now=NOON)
    stands = examinations.do(store, learner, begun, [("room", "dark", None)], sent_as="second tab", now=NOON)
    assert stands.examined.state.room == "dark"
    assert stands.examined.state.distance_cm == 50


def test_nothing_is_kept_of_what_cannot_be_done(store: Store, learner: Learner, begun: str) -> None:
    before = len(examinations.own(store, learner, begun).acts)
    with pytest.raises(BadAct, match="lit, dim, dark"):
        examinations.do(store, learner, begun, [*SET_UP, ("room", "blue", None)], sent_as="c", now=NOON)
    assert len(examinations.own(store, learner, begun).acts) == before


def test_after_the_end_nothing_is_added(store: Store, learner: Learner, begun: str) -> None:
    examinations.hand_in(store, learner, begun, now=NOON)
    with pytest.raises(OverAlready, match="handed in"):
        examinations.do(store, learner, begun, SET_UP, sent_as="d", now=NOON)


@pytest.mark.usefixtures("begun")
def test_an_act_that_was_kept_is_not_changed(store: Store) -> None:
    with pytest.raises(NOT_TAKEN, match="only ever added"), store.writing():
        store.change("UPDATE examination_acts SET minute = 9")


def test_another_learner_does_not_find_it(store: Store, learner: Learner, begun: str) -> None:
    other = Learner(learner.id + 1, "Bo", NOON, "{}", joined=False)
    with pytest.raises(UnknownExamination):
        examinations.own(store, other, begun)


@pytest.mark.parametrize("value", [None, 6.0, "dim", (5.0, -3.0), SphCyl(-1, -0.5, 20), ("fog", SphCyl(2))])
def test_a_value_is_read_as_it_was_written(value: object) -> None:
    document = value_document(value)  # type: ignore[arg-type]
    assert read_act(1, "note", document, "left").value == value


@pytest.mark.parametrize("document", [{"lens": [1, 2, 3, 4]}, {"number": "much"}, {"numbers": 3}])
def test_a_value_that_is_none_is_refused(document: dict[str, object]) -> None:
    with pytest.raises(BadAct, match="cannot be read"):
        read_act(1, "seat", document, None)


def test_an_act_of_no_name_is_refused() -> None:
    with pytest.raises(BadAct, match="no act has this name"):
        read_act(1, "sing", {}, None)


@pytest.mark.parametrize(("ages", "low", "high"), [(name, *ages) for name, ages in examinations.AGE_GROUPS.items()])
def test_a_drawn_patient_is_of_the_age_that_was_asked(ages: str, low: float, high: float) -> None:
    for number in range(8):
        assert low <= examinations.drawn(f"{number}", ages, "europe").age_y <= high


def test_now_and_then_a_reflex_is_one_to_refer() -> None:
    people = [examinations.drawn(f"{number}", "any", "europe") for number in range(150)]
    unsafe = [any(one.eye(side).unsafe for side in SIDES) for one in people]
    assert 2 <= sum(unsafe) <= 30


# --- what memory takes of it -------------------------------------------------------------------------------------

AT_50: list[Done] = [
    ("room", "dim", None),
    ("target", 6.0, None),
    ("seat", 50.0, None),
    ("lens", ("sphere", SphCyl(0.25)), "left"),
    ("end point", 175.0, "right"),
    ("lens", ("sphere", SphCyl(0.5)), "right"),
    ("end point", 85.0, "right"),
    ("lean in", None, "right"),
    ("take off", 1.5, "right"),
    ("note", "distance", None),
    ("note", "vision", None),
    ("write", SphCyl(-1, -0.5, 175), "right"),
]


def examined(store: Store, learner: Learner, done: list[Done], now: float, seed: int = 1) -> str:
    one = examinations.begin_vignette(store, learner, "dev", now=now, lots=lots(seed))
    examinations.do(store, learner, one, done, sent_as="all", now=now)
    examinations.hand_in(store, learner, one, now=now + 60)
    return one


def test_the_ledger_blames_its_step_and_credits_the_others(store: Store, learner: Learner) -> None:
    examined(store, learner, AT_50, NOON)
    state = projection.cases_of(store, learner.id)
    assert [*state.slips["distance-in-dioptres"]] == ["always-one-fifty"]
    steps, new = ("distance-in-dioptres", "write-record"), model.replay(())
    fresh = {step: model.outlook(new, step, NOON + 60).mastery for step in steps}
    now = {step: model.outlook(state, step, NOON + 60).mastery for step in fresh}
    assert now["distance-in-dioptres"] < fresh["distance-in-dioptres"]
    assert now["write-record"] > fresh["write-record"]


def test_a_slip_of_several_examinations_recurs_on_the_desk(store: Store, learner: Learner) -> None:
    for number in range(4):
        examined(store, learner, AT_50, NOON + 86400 * number, number)
    now = NOON + 4 * 86400
    standing = progress.standing_slips(store, learner, projection.told_of(store, learner), now)
    assert [one.key for one in standing] == [("distance-in-dioptres", "always-one-fifty")]


def test_memory_folded_anew_is_the_same(store: Store, learner: Learner) -> None:
    """Answers and examinations are taken in the order in which they came, also at one moment of a clock that stands."""
    for number in range(3):
        one = dealing.waiting(store, learner, now=NOON, lots=lots(number))
        dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON)
        examined(store, learner, AT_50, NOON, number)
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    events = list(projection.events_of(store, learner.id))
    assert [one.type == projection.EXAMINATION for one in events] == [False, True] * 3


def test_where_nothing_was_measured_memory_takes_nothing(store: Store, learner: Learner) -> None:
    examined(store, learner, SET_UP, NOON)
    assert list(projection.events_of(store, learner.id)) == []


def test_every_step_and_slip_of_an_examination_has_a_name() -> None:
    assert {step for step, _ in EVERYTHING} <= all_skills().keys()
    assert {slip for _, slip in EVERYTHING} <= all_slips().keys()


def test_own_data_holds_every_act(store: Store, learner: Learner) -> None:
    examined(store, learner, AT_50, NOON)
    lines = [json.loads(line) for line in own_data.json_lines(store, learner)]
    (found,) = [one for one in lines if one["kind"] == "examination"]
    assert found["patient"]["right"]["M"] == -1.75
    assert [one["what"] for one in found["acts"]][-1] == "write"
    assert ["distance-in-dioptres", "always-one-fifty"] in found["mark"]["explanations"][0]
    assert progress_queries.holdings(store, learner.id).examinations == 1


def test_examinations_are_deleted_for_their_age_like_answers(store: Store, learner: Learner) -> None:
    examined(store, learner, AT_50, NOON, 1)
    kept = examined(store, learner, AT_50, NOON + 86400, 2)
    with store.writing():
        retention_queries.remove_older(store, learner, NOON + 3600)
    assert [one.id for one in examinations.latest(store, learner)] == [kept]
    assert len(list(projection.events_of(store, learner.id))) == 1


def test_with_a_learner_all_their_examinations_go(store: Store, learner: Learner) -> None:
    examined(store, learner, AT_50, NOON)
    with store.writing():
        store.remove_learner(learner.id)
    assert store.fetch("SELECT 1 FROM examinations UNION ALL SELECT 1 FROM examination_acts") == []


def test_what_was_written_before_neutral_was_called_has_nothing_to_be_compared_with() -> None:
    written = Script(patient_of(SphCyl(1))).set_up().do("write", SphCyl(1), "right")
    measured = Script(patient_of(SphCyl(1))).set_up().measure("right")
    headings = []
    for script in (written, measured):
        eyes = tuple(_eye(script.patient, script.examined, side) for side in SIDES)
        headings.append(_verdict(script.patient, script.examined, eyes, "")[:2])
    assert headings[0] == (
        "Nothing to compare",
        "No eye was called neutral before you wrote its result, so there is nothing to compare.",
    )
    assert headings[1][0] == "No eye was both measured and written"
