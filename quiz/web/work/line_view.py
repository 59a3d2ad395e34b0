"""One line of findings on a page: what was understood and what follows, or the types that a word names."""

from __future__ import annotations

from dataclasses import dataclass

from flask import url_for

from cases.notation.finding_line import LONGEST_LINE, read_finding_line
from cases.notation.tokens import NotationError
from cases.optics.vergence import DISTANCE_RULE
from quiz.practice.own_findings.line_sums import LineResult, line_result
from quiz.practice.own_findings.working_out import computing_types, types_by_words
from quiz.web.work.type_links import ReferralLink, TypeLink, referral_link, type_link


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
    referral: ReferralLink | None


@dataclass(frozen=True)
class LineView:
    """What the field for one line shows under it."""

    text: str = ""
    problem: str = ""
    readings: tuple[ShownReading, ...] = ()
    types: tuple[TypeLink, ...] = ()
    """Types that the words name, where the line is no findings."""
    elsewhere: ReferralLink | None = None
    """The page that takes what this line cannot hold."""
    rule: str = ""
    """How a distance is turned into dioptres, where a reading has one."""


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
        return LineView(text, "" if found else str(error), types=found, elsewhere=_elsewhere(error.fault))
    rule = DISTANCE_RULE if any(one.distance_cm or one.working_lens for one in readings) else ""
    return LineView(text, readings=tuple(_shown(line_result(one, form)) for one in readings), rule=rule)


def _elsewhere(fault: str) -> ReferralLink | None:
    """Link the page for what one line is not read for."""
    if fault == "two-eyes":
        return ReferralLink("Several eyes are typed in rows:", url_for("day.show"), "the day's table")
    if fault == "vision":
        vision = computing_types()["expected-vision"]
        return ReferralLink("From a prescription to the vision to expect:", type_link(vision).url, vision.title)
    return None


def _shown(result: LineResult) -> ShownReading:
    sums = tuple(
        ShownSum(one.label, one.value, one.beside, url_for("work.one", type_id=one.type_id, **one.texts))  # type: ignore[arg-type]
        for one in result.sums
    )
    referral = referral_link(result.referral) if result.referral else None
    return ShownReading(result.line.says, result.line.differs, sums, result.warnings, result.missing, referral)
