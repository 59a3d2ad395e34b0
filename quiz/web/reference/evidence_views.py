"""What a learner is told of sources: in a sentence beside a claim, and on a page of claims by strength."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cases.claims import KINDS, THRESHOLDS, Claim, all_claims
from cases.evidence import sources
from cases.evidence.sources import UNPUBLISHED, all_sources, cited, strength_of
from quiz.accuracy import patterns

EXPLAINED = {
    sources.STANDARD: (
        "Standards, official guidance, product information",
        "A standards body, an authority or a maker says so.",
    ),
    sources.STUDY: (
        "Trials and cohorts",
        "It was measured in patients, often in few: see what each study found.",
    ),
    sources.CASE_REPORT: ("Case reports", "It has happened to somebody. How often it happens is not known."),
    sources.TEXTBOOK: (
        "Textbooks, models and other papers",
        "People who know the field have written it; they may differ.",
    ),
    sources.DERIVATION: (
        "Worked out from definitions",
        "It follows from optics or arithmetic. The tests of this app work it out again by another route.",
    ),
    sources.COMMON_PRACTICE: (
        "Common practice",
        "This is what teachers and clinics do. No published source was read for it, so your clinic may differ.",
    ),
}
"""For a learner: what each strength is called, and what it is worth."""
READ = {
    "page": "The passage was read.",
    "excerpt": "An excerpt was read.",
    "abstract": "The abstract was read.",
    "summary": "A summary by others was read.",
}


@dataclass(frozen=True)
class SourceLine:
    """A source as it is cited, with what it found and how it was read."""

    cite: str
    title: str
    finding: str
    read: str


@dataclass(frozen=True)
class ClaimLine:
    """A claim, and what it rests on where the heading does not say so."""

    title: str
    sources: str


@dataclass(frozen=True)
class ClaimGroup:
    """The claims of one kind."""

    title: str
    claims: tuple[ClaimLine, ...]


@dataclass(frozen=True)
class StrengthLines:
    """What rests on sources of one strength, the strongest of a claim deciding."""

    id: str
    title: str
    explained: str
    count: int
    sources: tuple[SourceLine, ...]
    groups: tuple[ClaimGroup, ...]


def capital(words: str) -> str:
    """Begin with a capital."""
    return f"{words[:1].upper()}{words[1:]}"


def told(*keys: str) -> str:
    """Tell what the sources of these keys are, as a sentence."""
    return f"{capital(cited(keys))}."


def all_strengths() -> tuple[StrengthLines, ...]:
    """Return every strength with its sources and claims, from strong to weak; those of the accuracy log too."""
    claims = (*all_claims(), *(Claim(THRESHOLDS, one.says, one.sources) for one in patterns.THRESHOLDS))
    return tuple(_strength_lines(strength, claims) for strength in EXPLAINED)


def _strength_lines(strength: str, every: Sequence[Claim]) -> StrengthLines:
    title, explained = EXPLAINED[strength]
    claims = [one for one in every if strength_of(one.sources) == strength]
    return StrengthLines(
        strength.replace(" ", "-"),
        title,
        explained,
        len(claims),
        tuple(
            SourceLine(
                f"{one.cite[:1].upper()}{one.cite[1:]}",
                one.title if one.author else "",
                one.finding,
                READ.get(one.read, ""),
            )
            for one in all_sources().values()
            if one.named and one.strength == strength
        ),
        tuple(
            ClaimGroup(
                kind,
                tuple(
                    ClaimLine(one.title, "" if cited(one.sources) == UNPUBLISHED else told(*one.sources))
                    for one in claims
                    if one.kind == kind
                ),
            )
            for kind in KINDS
            if any(one.kind == kind for one in claims)
        ),
    )
