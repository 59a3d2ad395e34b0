"""One line of findings on a page: what was understood and what follows, or the types that a word names."""

from __future__ import annotations

from dataclasses import dataclass

from flask import url_for

from cases.notation.finding_line import LONGEST_LINE, read_finding_line
from cases.notation.tokens import NotationError
from quiz.practice.line_sums import LineResult, line_result
from quiz.practice.working_out import types_by_words
from quiz.web.work.type_links import TypeLink, type_link


@dataclass(frozen=True)
class ShownSum:
    """One result, with the link to its working."""

    label: str
    value: str
    beside: str
    working: str


@dataclass(frozen=True)
class ShownReading:
    """One reading of a line."""

    says: str
    differs: str
    sums: tuple[ShownSum, ...]
    warnings: tuple[str, ...]
    missing: str


@dataclass(frozen=True)
class LineView:
    """What the field for one line shows under it."""

    text: str = ""
    problem: str = ""
    readings: tuple[ShownReading, ...] = ()
    types: tuple[TypeLink, ...] = ()
    """Types that the words name, where the line is no findings."""


def line_view(text: str, form: str) -> LineView:
    """Read a line as findings, else as words of the trade that name types."""
    text = text.strip()
    if not text:
        return LineView()
    try:
        readings = read_finding_line(text)
    except NotationError as error:
        words = text if len(text) <= LONGEST_LINE else ""
        found = tuple(type_link(one) for one in types_by_words(words))
        return LineView(text, "" if found else str(error), types=found)
    return LineView(text, readings=tuple(_shown(line_result(one, form)) for one in readings))


def _shown(result: LineResult) -> ShownReading:
    sums = tuple(
        ShownSum(one.label, one.value, one.beside, url_for("work.one", type_id=one.type_id, **one.texts))  # type: ignore[arg-type]
        for one in result.sums
    )
    return ShownReading(result.line.says, result.line.differs, sums, result.warnings, result.missing)
