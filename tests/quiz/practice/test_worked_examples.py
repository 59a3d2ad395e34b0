"""Worked examples: whole, then with a line left out, then alone; for every type, and nobody is tested by reading."""

from __future__ import annotations

import pytest

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from cases.procedure.settings import Settings
from cases.recall.prompts import prompts_for
from quiz.practice import dealing, worked_examples
from quiz.practice.dealt_cases import Waiting
from quiz.practice.worked_examples import Example, checked, filled
from quiz.storage import desk_queries, projection
from quiz.storage.store import Learner, Store
from tests.cases.worked import case_of
from tests.conftest import NOON, deal, lots, written


def waiting(store: Store, learner: Learner, type_id: str) -> Waiting:
    """Put a case of a type that was never met before a learner who has answered something."""
    with store.writing():
        store.change("UPDATE learners SET priors = '{}'")
    deal(store, learner, "distance-vergence", now=NOON)
    first = store.open_case(learner.id)
    assert first is not None
    dealing.give_up(store, learner, first.id, now=NOON + 5)
    deal(store, learner, type_id, now=NOON + 10)
    with store.writing():
        store.change("DELETE FROM worked")
    dealt = store.open_case(learner.id)
    assert dealt is not None
    return Waiting(dealt, dealing.case_of(dealt))


def part(store: Store, learner: Learner, one: Waiting) -> Example | None:
    return worked_examples.wanted(store, learner, one, now=NOON + 20)


def test_whole_then_a_line_left_out_then_alone(store: Store, learner: Learner) -> None:
    one = waiting(store, learner, "two-spheres")
    whole = part(store, learner, one)
    assert whole is not None
    assert [line.before for line in whole.lines] == [line.says for line in whole.case.run.lines]
    assert whole.case.findings != one.case.findings
    before = projection.cases_of(store, learner.id)
    worked_examples.passed(store, learner, one.dealt, 1, now=NOON + 60)
    second = part(store, learner, one)
    assert second is not None
    assert second.case.findings not in (whole.case.findings, one.case.findings)
    assert second.blank is not None
    assert all(checked(second, text) for text in ("", "+9.75", "soon"))
    assert checked(second, second.answer) == ""
    assert second.answer not in str([line.before for line in second.lines[second.blank - 1 :]])
    assert [line.before for line in filled(second).lines] == [line.says for line in second.case.run.lines]
    worked_examples.passed(store, learner, one.dealt, 2, now=NOON + 90)
    assert part(store, learner, one) is None
    assert projection.cases_of(store, learner.id) == before, "met, and not tested"
    kept = store.dealt(one.dealt.id)
    assert kept is not None
    assert kept.dealt_at == NOON + 90, "what was read before was no time spent on the case"


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_every_type_has_true_notes_at_its_lines_and_a_blank_that_its_own_line_fills(type_id: str) -> None:
    one = all_types()[type_id]
    for seed in range(1, 4):
        case = draw(one, seed, Settings())
        for line in case.run.lines:
            note = worked_examples.note(case, line.step)
            assert note is None or (note.words and note.source)
            if note is not None and note.heading == "Why":
                assert any(line.step in prompt.explains for prompt in prompts_for(line.step))
        blank = worked_examples._blank(case)
        if blank is not None:
            at, start, end = blank
            found = worked_examples._with_blank(case, 2, at, start, end)
            assert checked(found, found.answer) == ""


def test_a_prompt_is_called_why_only_where_it_explains_its_line_and_no_mistake_is_imputed() -> None:
    """By hand: with drops no fog is due, so that leaving it out is no mistake here, and fogging would be one."""
    lens = {"sphere": 2.0, "cylinder": -1.0, "axis": 90}
    case = case_of("hand-over", {"gross": lens, "drops": "working", "distance_cm": 50})
    fog = worked_examples.note(case, "start-fog")
    assert fog is not None
    assert fog.heading == "Mistake to avoid"
    assert "left the fog out" not in fog.words
    assert fog.words.startswith("This line would be wrong if you fogged")
    half = worked_examples.note(case_of("spherical-equivalent", {"rx": lens}), "halve-cylinder")
    white = worked_examples.note(draw(all_types()["odd-reflex"], 3, Settings()), "recognise-reflex")
    assert half is not None
    assert white is not None
    assert (half.heading, white.heading) == ("Why", "Related prompt")


def test_who_has_answered_nothing_or_knows_the_steps_is_asked_at_once(store: Store, learner: Learner) -> None:
    first = dealing.waiting(store, learner, now=NOON, lots=lots())
    assert part(store, learner, first) is None, "the very first case is asked at once"
    for number in range(12):
        case = deal(store, learner, "two-spheres", seed=number + 3, now=NOON + 100 * number)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        dealing.take(store, learner, dealt.id, written(case), None, now=NOON + 100 * number + 9)
    deal(store, learner, "net-sphere", now=NOON + 2000)
    with store.writing():
        store.change("DELETE FROM worked")
    dealt = store.open_case(learner.id)
    assert dealt is not None
    assert part(store, learner, Waiting(dealt, dealing.case_of(dealt))) is None
    assert desk_queries.worked_of(store, learner.id) == {}


@pytest.mark.parametrize("type_id", ["next-lens", "record-audit", "two-spheres"])
def test_as_many_parts_are_announced_as_come(store: Store, learner: Learner, type_id: str) -> None:
    """A working without a number has no line that can be left out: the case comes after the first part."""
    one = waiting(store, learner, type_id)
    announced, came = 0, 1
    for number in (1, 2, 3):
        found = part(store, learner, one)
        if found is None:
            break
        announced = announced or found.parts
        came += 1
        worked_examples.passed(store, learner, one.dealt, number, now=NOON + 60 * number)
    assert came == announced == (3 if type_id == "two-spheres" else 2)
