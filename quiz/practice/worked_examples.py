"""A type met for the first time: worked line by line, then with one line left out in its place, then alone.

Fading worked examples teach newcomers more than problems alone do (Sweller & Cooper 1985, Cogn Instr 2:59; Renkl &
Atkinson 2003, Educ Psychol 38:15), and those who know the steps less (Kalyuga et al. 2003, Educ Psychol 38:23), so
who is likely right is asked at once. The last line that gives a number is left out, since fading from the
end taught best (Renkl & Atkinson). The example is another case of the type than the one that is asked
then. Memory learns nothing from it: what was read was met, and not tested.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from cases.curriculum.bench_types import stage_of
from cases.errors import CaseError
from cases.evidence.sources import cited
from cases.notation.prescription import read_quantity
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.chain import Line
from cases.recall.prompts import prompts_for
from quiz.errors import QuizError
from quiz.learning import model
from quiz.learning.catalogue import TypeInfo
from quiz.learning.state import LearnerState
from quiz.practice import learners, what_to_practise
from quiz.practice.dealt_cases import Waiting
from quiz.practice.type_catalogue import catalogue_for
from quiz.storage import desk_queries, projection
from quiz.storage.store import Dealt, Learner, Store

PARTS = 3
"""Read, with a line left out, alone."""
KNOWN_ALREADY = 0.75
"""From this chance of a right answer on, a new type is asked at once; estimated 2026-11-30."""
EXACT = 0.011
"""A line is right within a hundredth, as it is printed."""
_NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?")


class NoExample(QuizError):
    """A case that no worked example goes before, or not any more."""

    def __init__(self) -> None:
        super().__init__("there is no worked example for this case: go on with the case, from Today")


@dataclass(frozen=True)
class LineNote:
    """What can be opened beside a line: why it is so, a prompt that is related to it, or a mistake to avoid in it."""

    heading: str
    words: str
    source: str


@dataclass(frozen=True)
class WorkedLine:
    """One line of the working."""

    before: str
    """The sentence, as far as the blank where it has one."""
    after: str
    blank: bool
    hidden: bool
    """Whether it rests on the line that is left out."""
    note: LineNote | None


@dataclass(frozen=True)
class Example:
    """A worked example as it is shown."""

    case: Case
    part: int
    lines: tuple[WorkedLine, ...]
    blank: int | None
    """The number, from 1, of the line that is left out."""
    answer: str
    """What that line says in the blank."""
    parts: int = PARTS
    """How many parts there are with the case itself: two where no line holds a number that can be left out."""


def wanted(store: Store, learner: Learner, one: Waiting, *, now: float) -> Example | None:
    """Return the part of a worked example that comes before a case; None where the case is asked at once."""
    dealt = one.dealt
    if dealt.drill is not None or dealt.lines_shown or stage_of(dealt.type) is not None:
        return None
    aim = what_to_practise.of_sitting(store, dealt.sitting)
    if aim is not None and aim.what in what_to_practise.TESTS:
        return None
    parts = _parts(store, learner, dealt.type)
    state = projection.cases_of(store, learner.id)
    info = catalogue_for(learners.settings_of(learner).for_drawing).by_id[dealt.type]
    begun = 0 < parts < PARTS - 1 and dealt.type not in state.types
    if not begun and (parts or not comes_worked(state, info, now)):
        return None
    found = example(learner, one, parts + 1)
    if found is not None and found.part == 1 and example(learner, one, 2) is None:
        return replace(found, parts=PARTS - 1)
    return found


def _parts(store: Store, learner: Learner, type_id: str) -> int:
    found = desk_queries.worked_of(store, learner.id).get(type_id)
    return 0 if found is None else found.parts


def comes_worked(state: LearnerState, one: TypeInfo, now: float) -> bool:
    """Say whether a type is worked before it is asked.

    Not the very first case of all, nor a type that was met, nor one whose steps were all met and are likely right.
    """
    if not state.answers or one.id in state.types or stage_of(one.id) is not None:
        return False
    if any(step not in state.steps for step in one.distinct):
        return True
    return model.chance(state, one.chain, now, type_id=one.id, options=one.options) < KNOWN_ALREADY


def example(learner: Learner, one: Waiting, part: int) -> Example | None:
    """Make one part of the worked example that goes before a case; None where none can be drawn or left out."""
    settings = learners.settings_of(learner).for_drawing
    try:
        case = draw(one.case.type, one.dealt.seed + part, settings)
    except CannotDraw:
        return None
    if part == 1:
        lines = tuple(_line(case, line) for line in case.run.lines)
        return Example(case, part, lines, None, "")
    blank = _blank(case)
    return None if blank is None else _with_blank(case, part, *blank)


def _line(case: Case, line: Line) -> WorkedLine:
    return WorkedLine(line.says, "", blank=False, hidden=False, note=note(case, line.step))


def _with_blank(case: Case, part: int, at: int, start: int, end: int) -> Example:
    lines = []
    for number, line in enumerate(case.run.lines):
        if number < at:
            lines.append(_line(case, line))
        elif number == at:
            before, after = line.says[:start], line.says[end:]
            lines.append(WorkedLine(before, after, blank=True, hidden=False, note=note(case, line.step)))
        else:
            lines.append(WorkedLine("", "", blank=False, hidden=True, note=None))
    return Example(case, part, tuple(lines), at + 1, case.run.lines[at].says[start:end])


def _blank(case: Case) -> tuple[int, int, int] | None:
    """Choose the line to leave out: the last that gives a number, with where it is printed."""
    for at in reversed(range(len(case.run.lines))):
        line = case.run.lines[at]
        given = {round(abs(one), 2) for one in _numbers(line.values)}
        printed = [one for one in _NUMBER.finditer(line.says) if round(abs(_value(one.group())), 2) in given]
        if printed and given:
            return at, printed[-1].start(), printed[-1].end()
    return None


def _numbers(values: Mapping[str, object]) -> list[float]:
    out: list[float] = []
    for value in values.values():
        parts = value if isinstance(value, tuple) else (value,)
        out += [float(one) for one in parts if isinstance(one, int | float) and not isinstance(one, bool)]
    return out


def _value(text: str) -> float:
    return float(text.replace("−", "-"))


def filled(found: Example) -> Example:
    """Return an example with the line that was left out, and all that rest on it."""
    lines = tuple(_line(found.case, line) for line in found.case.run.lines)
    return replace(found, lines=lines, blank=None)


def checked(found: Example, typed: str) -> str:
    """Say what is wrong with the line that was written into the blank; "" where it is right."""
    if not typed.strip():
        return "Nothing was written: give the number of this line."
    try:
        given = read_quantity(typed)
    except CaseError as error:
        return str(error)
    right = _value(found.answer)
    if abs(given - right) <= EXACT:
        return ""
    if right and abs(given + right) <= EXACT:
        return "The size is right, the sign is not. Look at the line once more."
    return "Not yet. Look at the line again, or show it."


def passed(store: Store, learner: Learner, dealt: Dealt, parts: int, *, now: float) -> None:
    """Keep that a learner went through this many parts of the example before a case, which counts from now."""
    with store.writing(learner.id):
        desk_queries.keep_worked(store, learner.id, dealt.type, parts, now=now)
        desk_queries.put_now(store, dealt.id, now=now)


def note(case: Case, step: str) -> LineNote | None:
    """Return what can be opened beside a line: a prompt that explains the step, else a related one, else a mistake.

    The mistake is one that would change the answer of this very case. None where there is nothing to say.
    """
    prompts = prompts_for(step)
    for prompt in [one for one in prompts if step in one.explains] or prompts[:1]:
        heading = "Why" if step in prompt.explains else "Related prompt"
        return LineNote(heading, f"{prompt.question} {prompt.answer} {prompt.because}", cited(prompt.sources))
    leading = {one.slips[0].slip for one in case.singles if one.slips[0].step == step}
    for slip in (slip for one in case.type.steps if one.skill.id == step for slip in one.slips):
        if slip.name.id in leading:
            words = f"This line would be wrong if you {slip.name.title}. {slip.name.tells}"
            return LineNote("Mistake to avoid", words, cited(slip.name.sources))
    return None
