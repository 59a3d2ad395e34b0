"""What the page of a marked case receives: the verdict, slips by name, what differs, and the workings side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_skills, all_slips
from cases.curriculum.steps import FORM_WORDS
from cases.errors import CaseError
from cases.figures.lenses import power_cross
from cases.notation.prescription import write_prescription
from cases.procedure.case_type import Case, Slipped
from cases.procedure.chain import Line, SlipRef
from cases.procedure.fields import Field
from cases.procedure.kinds import Cross, Kind, Lens
from cases.procedure.marking import Mark
from quiz.practice.dealt_cases import Marked, Place
from quiz.storage.store import Sitting
from quiz.web.pictures import Picture, picture

SHOWN_AT_MOST = 3
"""Explanations set side by side: more would not be read."""


@dataclass(frozen=True)
class Compared:
    """One thing asked: what was given, what is right, and how they differ."""

    label: str
    given: str
    right: str
    differs: str


@dataclass(frozen=True)
class SlipWords:
    """A slip by name, with what a kind preceptor would say."""

    step: str
    title: str
    tells: str


@dataclass(frozen=True)
class Cell:
    """One line of a working beside the right one."""

    says: str
    note: str
    """"" where it is right; else "slipped here" or "follows from it"."""


@dataclass(frozen=True)
class WorkingRow:
    """One step: the right line, and the same step in each explanation."""

    step: str
    right: str
    others: tuple[Cell, ...]

    @property
    def same(self) -> bool:
        """Whether every explanation has the right line here."""
        return bool(self.others) and all(not one.note and one.says == self.right for one in self.others)


@dataclass(frozen=True)
class MarkPage:
    """What the page of a marked case receives."""

    place: Place
    credited: bool
    heading: str
    lead: str
    found: tuple[str, ...]
    question: str
    compared: tuple[Compared, ...]
    as_lens: str | None
    slips: tuple[tuple[SlipWords, ...], ...]
    columns: tuple[str, ...]
    rows: tuple[WorkingRow, ...]
    picture: Picture | None
    title: str
    sources: tuple[str, ...]
    why: str
    probe_follows: bool
    stands: bool
    """Whether another answer came in after this one, which stands."""
    sitting: Sitting
    over: bool
    on_bench: bool = False
    """Whether it was answered at the bench."""
    drill: int | None = None
    """The drill that it was a case of."""
    late: bool = False
    """Whether it came after that drill's time."""

    @property
    def same(self) -> int:
        """How many lines of the working are right in every explanation."""
        return sum(row.same for row in self.rows)


def mark_page(done: Marked, place: Place, sitting: Sitting, *, probe_follows: bool, stands: bool = False) -> MarkPage:
    """Show a marked case."""
    mark, case = done.mark, done.mark.case
    told = mark.explanations[:SHOWN_AT_MOST]
    heading, lead = _verdict(mark, len(done.answer.hints))
    return MarkPage(
        place=place,
        credited=mark.credited,
        heading=heading,
        lead=lead,
        found=case.type.found(case.findings),
        question=case.type.question(case.findings),
        compared=tuple(_compared(ask, mark, done.answer.given) for ask in case.type.asks),
        as_lens=_as_lens(mark),
        slips=tuple(tuple(_slip_words(ref) for ref in one.slips) for one in told),
        columns=_columns(told),
        rows=_rows(case, told),
        picture=_both(mark),
        title=case.type.title,
        sources=case.type.sources,
        why=done.dealt.why,
        probe_follows=probe_follows,
        stands=stands,
        sitting=sitting,
        over=sitting.ended_at is not None,
        on_bench=stage_of(done.dealt.type) is not None,
        drill=sitting.drill,
        late=done.answer.late,
    )


def _verdict(mark: Mark, hints: int) -> tuple[str, str]:
    aided = f" {_lines(hints)} of the working had been shown." if hints else ""
    match mark.verdict:
        case "right":
            return "Right", f"That is it.{aided}"
        case "equivalent":
            form = FORM_WORDS[mark.case.form or "minus"]
            return (
                "The right lens, in the other form",
                f"Counted as right: it is the same lens. Asked for was {form}.{aided}",
            )
        case "near":
            return "Right, within the tolerance", f"Not to the last hundredth, but near enough to count.{aided}"
        case "slip" if mark.twins:
            number = {2: "two", 3: "three"}.get(len(mark.explanations), "few")
            return f"One of these {number}", "More than one slip leads to your answer, and it does not say which."
        case "slip":
            pair = len(mark.explanations[0].slips) > 1
            many = " More than one pair leads there; the likeliest reading comes first." if _several(mark) else ""
            return ("Two steps slipped" if pair else "One step slipped"), (
                f"Each is a small thing; together they gave your answer.{many}" if pair else "The rest of it held."
            )
        case _:
            return (
                "Not this time",
                "No slip that is known here, and no two together, lead to your answer. Go through the working once.",
            )


def _several(mark: Mark) -> bool:
    return len(mark.explanations) > 1


def _lines(count: int) -> str:
    return "One line" if count == 1 else f"{count} lines"


def _compared(ask: Field[Any], mark: Mark, given: Mapping[str, str]) -> Compared:
    truth = mark.case.truth[ask.name]
    if mark.read_as is None:
        return Compared(ask.label, given.get(ask.name, ""), ask.kind.write(truth), "")
    value = mark.read_as[ask.name]
    given_words, right_words = ask.kind.write(value), ask.kind.write(truth)
    if ask.kind.same(value, truth):
        return Compared(ask.label, given_words, right_words, "nothing")
    # A kind without a measure of its own would only say once more what stands above.
    measured = type(ask.kind).differs is not Kind.differs
    return Compared(ask.label, given_words, right_words, ask.kind.differs(value, truth) if measured else "")


def _as_lens(mark: Mark) -> str | None:
    """Write the difference as a lens where a lens was asked for and the answer is another."""
    if mark.difference is None or not any(isinstance(ask.kind, Lens | Cross) for ask in mark.case.type.asks):
        return None
    return None if mark.verdict in ("right", "equivalent") else write_prescription(mark.difference, "minus")


def _slip_words(ref: SlipRef) -> SlipWords:
    name = all_slips()[ref.slip]
    return SlipWords(all_skills()[ref.step].title, name.title, name.tells)


def _columns(told: Sequence[Slipped]) -> tuple[str, ...]:
    if len(told) < 2:
        return ("Your line",) if told else ()
    return tuple(f"Your line, if {word}" for word in ("the first", "the second", "the third")[: len(told)])


def _rows(case: Case, told: Sequence[Slipped]) -> tuple[WorkingRow, ...]:
    """Set the right working beside the slipped ones, step by step; a step that only one of them has leaves a gap."""
    right = _by_step(case.run.lines)
    others = [_by_step(one.run.lines) for one in told]
    order = _merged([list(right), *(list(one) for one in others)])
    titles = all_skills()
    rows = []
    for key in order:
        line = right.get(key)
        cells = tuple(_cell(line, other.get(key)) for other in others)
        rows.append(WorkingRow(titles[key[0]].title, line.says if line else "Not needed here.", cells))
    return tuple(rows)


Turn = tuple[str, int]
"""A step, and how often it came before: a chain may pass through a step twice."""


def _by_step(lines: Sequence[Line]) -> dict[Turn, Line]:
    out: dict[Turn, Line] = {}
    for line in lines:
        count = 0
        while (line.step, count) in out:
            count += 1
        out[line.step, count] = line
    return out


def _merged(orders: Sequence[Sequence[Turn]]) -> list[Turn]:
    out = list(orders[0])
    for order in orders[1:]:
        at = 0
        for key in order:
            if key in out:
                at = out.index(key) + 1
            else:
                out.insert(at, key)
                at += 1
    return out


def _cell(right: Line | None, line: Line | None) -> Cell:
    if line is None:
        return Cell("Left out.", "follows from it")
    if line.slip is not None:
        return Cell(line.says, "slipped here")
    if right is not None and line.says == right.says:
        return Cell(line.says, "")
    return Cell(line.says, "follows from it")


def _both(mark: Mark) -> Picture | None:
    """Draw the power cross of the right lens with the learner's over it, where a lens was asked; else the findings."""
    case = mark.case
    for ask in case.type.asks:
        if isinstance(ask.kind, Lens | Cross):
            truth = case.truth[ask.name]
            given = None if mark.read_as is None or mark.verdict in ("right", "equivalent") else mark.read_as[ask.name]
            try:
                return picture(power_cross(truth, given, uid="both"))
            except CaseError:
                break
    return picture(case.type.figure(case.findings, "found"))
