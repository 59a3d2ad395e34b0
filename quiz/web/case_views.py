"""What the page of a waiting case receives: its place, what was found and asked, and the fields for the answer."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cases.curriculum.bench_types import views_in_case
from cases.procedure.choices import Choice, Marks, Option, Order
from cases.procedure.fields import Field
from cases.recall.glossary import GlossaryTerm, terms_in
from quiz.practice.dealt_cases import Place, Waiting
from quiz.practice.sittings import GRACE_S
from quiz.storage.class_queries import Drill
from quiz.web.moving_views import MovingPage, moving_in_case
from quiz.web.pictures import Picture, telling

_DIGIT = re.compile(r"\d")
MANY_OPTIONS = 9
"""From this many on, options are set in columns across a wide page."""
CONFIDENCE_WORDS = {3: "I would write it down", 2: "I would check it first", 1: "I am guessing"}


@dataclass(frozen=True)
class AnswerField:
    """One thing asked, as the form shows it."""

    name: str
    label: str
    how: str
    """"text", "one" (radio buttons), "many" (boxes) or "order" (a list for every place)."""
    hint: str
    text: str
    chosen: tuple[str, ...]
    options: tuple[Option, ...]
    problem: str | None
    reads: str | None


@dataclass(frozen=True)
class DrillLine:
    """A drill open to the learner, and how far they are in it."""

    id: int
    title: str
    words: str


@dataclass(frozen=True)
class CasePage:
    """What the page of a waiting case receives."""

    id: str
    place: Place
    found: tuple[str, ...]
    question: str
    picture: Picture | None
    inputs: tuple[AnswerField, ...]
    problem: str | None
    """Why the answer was sent back, where it is not one field's fault."""
    confidences: Mapping[int, str]
    confidence: int | None
    lines: tuple[str, ...]
    """Lines of the working shown so far."""
    more_lines: int
    why: str
    first_visit: bool
    within: str = ""
    """How far the numbers asked for may be out and are still marked right."""
    drill: Drill | None = None
    """The drill that it is a case of."""
    closed: bool = False
    """Whether that drill is closed: what was dealt before may still be answered."""
    drills: tuple[DrillLine, ...] = ()
    """The drills open to someone who has never practised; to others the desk shows them."""
    withheld: bool = False
    """Whether workings and marks come at the end: of some drills, and of a mock paper."""
    seconds_left: int | None = None
    """Of what has its minutes; below 0 while an answer may still be on its way."""
    minutes: float | None = None
    """How long that runs in all."""
    at_bench: bool = False
    """Whether it was asked for at the bench."""
    moving: MovingPage | None = None
    """The moving picture of a case about movement."""

    @property
    def terms(self) -> tuple[GlossaryTerm, ...]:
        """Return the terms of the glossary that the case uses."""
        return terms_in((*self.found, self.question))

    @property
    def crowded(self) -> bool:
        """Whether so much is asked that a wide page gives the answer more room than the picture."""
        return len(self.inputs) > 1 or any(len(one.options) >= MANY_OPTIONS for one in self.inputs)

    @property
    def grace_seconds(self) -> int:
        """How long after its end a drill of minutes still takes an answer that is on its way."""
        return round(GRACE_S)

    @property
    def time_left(self) -> str:
        """Say how long it still runs: "4 min 5 s"."""
        minutes, seconds = divmod(max(0, self.seconds_left or 0), 60)
        return f"{minutes} min {seconds} s" if minutes else f"{seconds} s"

    @property
    def in_error(self) -> str | None:
        """Name the field to be put right."""
        return next((one.name for one in self.inputs if one.problem), None)

    @property
    def stuck(self) -> bool:
        """Whether what is to be put right holds no figure, as “?” and “don't know” do."""
        sent_back = [one.text for one in self.inputs if one.problem and one.how == "text"]
        return any(not _DIGIT.search(text) for text in sent_back)


def case_page(
    one: Waiting,
    place: Place,
    *,
    texts: Mapping[str, str] | None = None,
    problems: Mapping[str | None, str] | None = None,
    reads: Mapping[str, str] | None = None,
    confidence: int | None = None,
    first_visit: bool = False,
    drill: Drill | None = None,
    closed: bool = False,
    drills: tuple[DrillLine, ...] = (),
    withheld: bool = False,
    seconds_left: int | None = None,
    minutes: float | None = None,
) -> CasePage:
    """Show a waiting case, with what was typed so far and what is wrong with it."""
    case, lines = one.case, one.case.run.lines
    problems = problems or {}
    shown = one.dealt.lines_shown
    return CasePage(
        id=one.dealt.id,
        place=place,
        found=case.found,
        question=case.type.question(case.findings),
        within=case.type.marked_within,
        picture=telling(case.type.figure(case.findings, "found")),
        inputs=tuple(answer_field(ask, texts or {}, problems, reads or {}) for ask in case.type.asks),
        problem=problems.get(None),
        confidences=CONFIDENCE_WORDS,
        confidence=confidence,
        lines=tuple(line.says for line in lines[:shown]),
        more_lines=len(lines) - shown,
        why=one.dealt.why,
        first_visit=first_visit,
        drill=drill,
        closed=closed,
        drills=drills,
        withheld=withheld,
        seconds_left=seconds_left,
        minutes=minutes,
        at_bench=one.dealt.at_bench,
        moving=moving_in_case(views_in_case(case.type.id, case.findings)),
    )


def answer_field(
    ask: Field[Any], texts: Mapping[str, str], problems: Mapping[str | None, str], reads: Mapping[str, str]
) -> AnswerField:
    """Show one thing asked, with what was typed, what is wrong with it and how it reads."""
    match ask.kind:
        case Choice(options=options):
            how = "one"
        case Marks(options=options):
            how = "many"
        case Order(options=options):
            how = "order"
        case _:
            how, options = "text", ()
    text = texts.get(ask.name, "")
    return AnswerField(
        name=ask.name,
        label=ask.label,
        how=how,
        hint=ask.kind.hint if how == "text" else "",
        text=text,
        chosen=tuple(part.strip() for part in text.split(";")),
        options=options,
        problem=problems.get(ask.name),
        reads=reads.get(ask.name),
    )
