"""What the pages of own cases receive: the form of a type, and a case as learners will see it with all that follows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby

from flask import url_for

from cases.curriculum.bench_types import stage_of
from cases.curriculum.case_list import LONGEST_WORDS
from cases.curriculum.register import all_families
from cases.procedure.case_type import Case, CaseType
from quiz.classroom.drills import LONGEST_TITLE
from quiz.classroom.own_cases import TITLE, WORDS
from quiz.practice.forms import Input, Shown, Words, shown
from quiz.practice.own_findings.working_out import computing_types, inputs_for
from quiz.practice.titles import slip_at_step, step_title, type_title
from quiz.storage.class_queries import Class
from quiz.storage.classroom.own_case_queries import OwnCase
from quiz.web.pictures import Picture, picture

ABOUT = (
    Input(
        TITLE,
        "Name of the case",
        Words(),
        help="For you and the other preceptors. Learners do not see it.",
        required=True,
        size=40,
        most=LONGEST_TITLE,
    ),
    Input(
        WORDS,
        "Words before the findings",
        Words("long"),
        help="Learners read them first. May be empty. Write nothing about a real patient.",
        usual="",
        most=LONGEST_WORDS,
    ),
)


@dataclass(frozen=True)
class CaseShown:
    """A case as learners see it, and all that follows from it."""

    found: tuple[str, ...]
    question: str
    picture: Picture | None
    answers: tuple[tuple[str, str], ...]
    lines: tuple[tuple[str, str], ...]
    """Step, and what it does."""
    slips: tuple[tuple[str, str], ...]
    """What a learner does wrong, and the answer that this gives."""
    warnings: tuple[str, ...]
    at_the_bench: bool


def case_shown(case: Case, warnings: tuple[str, ...] = ()) -> CaseShown:
    """Show a case that was looked over."""
    asks = case.type.asks
    return CaseShown(
        found=case.found,
        question=case.type.question(case.findings),
        picture=picture(case.type.figure(case.findings, "own")),
        answers=tuple((ask.label, ask.kind.write(case.truth[ask.name])) for ask in asks),
        lines=tuple((step_title(line.step), line.says) for line in case.run.lines),
        slips=tuple(
            (
                slip_at_step(one.slips[0].step, one.slips[0].slip),
                "; ".join(ask.kind.write(one.answer[ask.name]) for ask in asks),
            )
            for one in case.singles
        ),
        warnings=warnings,
        at_the_bench=stage_of(case.type.id) is not None,
    )


@dataclass(frozen=True)
class CaseForm:
    """What the form of an own case receives."""

    class_id: int
    class_name: str
    number: int | None
    """Of a case that is changed; None where it is a new one."""
    type_id: str
    title: str
    """Of the type."""
    about: tuple[Shown, ...]
    parts: tuple[tuple[str, tuple[Shown, ...]], ...]
    """Fields of findings that stand together, under a name or ""."""
    problem: str | None
    faulty: bool
    shown: CaseShown | None
    texts: Mapping[str, str]
    """What was typed, to be saved as it was checked."""
    action: str
    drawn: str
    """Where the form is filled with a drawn case."""


def case_form(
    what: Class,
    case_type: CaseType,
    texts: Mapping[str, str],
    *,
    number: int | None = None,
    faults: Mapping[str, str] | None = None,
    seen: CaseShown | None = None,
    seed: int = 1,
) -> CaseForm:
    """Show the form of a case with what was typed; `seed` is that of the next drawn case to begin from."""
    faults = faults or {}
    findings = shown(inputs_for(case_type), texts, faults, before="finding-").values()
    new = url_for("own_cases.new", class_id=what.id, type_id=case_type.id)
    return CaseForm(
        class_id=what.id,
        class_name=what.name,
        number=number,
        type_id=case_type.id,
        title=case_type.title,
        about=tuple(shown(ABOUT, texts, faults).values()),
        parts=tuple((legend, tuple(ones)) for legend, ones in groupby(findings, key=lambda one: one.input.entry)),
        problem=faults.get(""),
        faulty=bool(faults),
        shown=seen,
        texts={name: text for name, text in texts.items() if name != "do"},
        action=new if number is None else url_for("own_cases.change", class_id=what.id, number=number),
        drawn=f"{new}?seed={seed}",
    )


@dataclass(frozen=True)
class CaseLink:
    """One own case in a list."""

    id: int
    title: str
    type: str
    preceptor: str
    drills: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class CasesPage:
    """What the list of own cases receives."""

    class_id: int
    class_name: str
    cases: tuple[CaseLink, ...]
    families: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    """Families with the types of which a case can be written: address and title."""
    drills: int
    """How many drills can be taken elsewhere."""
    may: bool
    problem: str | None = None


def case_link(one: OwnCase, drills: list[tuple[int, str]]) -> CaseLink:
    """Show one own case in a list."""
    return CaseLink(one.id, one.title, type_title(one.type), one.preceptor, tuple(drills))


def type_links(what: Class) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """List the types of which a case can be written, by family."""
    types = computing_types().values()
    return tuple(
        (
            family.title,
            tuple(
                (url_for("own_cases.new", class_id=what.id, type_id=one.id), one.title)
                for one in types
                if one.family == family
            ),
        )
        for family in all_families()
        if any(one.family == family for one in types)
    )
