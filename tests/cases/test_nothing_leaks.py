"""No working, question, figure, prompt, slip, norm or JSON tells from memory, or names a file of ours.

A rule of this project: see tests/leaks.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from cases.claims import all_claims
from cases.curriculum.register import all_families, all_skills, all_slips, all_types, case_type
from cases.evidence.sources import all_sources, cited
from cases.optics.norms import NORMS
from cases.optics.tolerances import AGREEMENT, LENS_TABLES
from cases.procedure.case_type import Case, draw
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.documents import case_document, type_document
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from cases.recall.prompts import all_groups, all_prompts
from tests.leaks import leaks


@pytest.mark.parametrize(
    "text",
    [
        "a textbook (from memory)",
        "derived in DEVELOPERS.md",
        "see reflex.py",
        "optometryzone.com",
        "teaching page",
    ],
)
def test_a_leak_is_seen(text: str) -> None:
    assert leaks(["Taken off: 1.50 D.", f"Source: {text}."]) != []


def said_of(case: Case) -> Iterator[str]:
    """Yield every text that a case shows, before marking and after."""
    kind = case.type
    yield kind.title
    yield kind.question(case.findings)
    yield from kind.found(case.findings)
    for run in (case.run, *(one.run for one in case.singles)):
        yield from (line.says for line in run.lines)
    for field in (*kind.asks, *kind.findings.fields):
        yield field.label
        if isinstance(field.kind, Choice | Marks | Order):
            yield from (option.label for option in field.kind.options)
    if (figure := kind.figure(case.findings, "f")) is not None:
        yield figure.svg
    yield json.dumps(case_document(case), ensure_ascii=False)


@pytest.mark.parametrize("type_id", all_types())
def test_no_case_leaks(type_id: str) -> None:
    kind = case_type(type_id)
    cases = (draw(kind, seed, Settings(level=level)) for seed, level in enumerate(LEVELS))
    assert leaks(text for case in cases for text in said_of(case)) == []
    assert leaks([json.dumps(type_document(kind), ensure_ascii=False)]) == []


def test_no_claim_leaks() -> None:
    assert (
        leaks(text for one in all_prompts() for text in (one.question, one.answer, one.because, one.group.title)) == []
    )
    assert leaks(text for one in all_slips().values() for text in (one.title, one.tells)) == []
    assert leaks(one.title for one in all_skills().values()) == []
    assert leaks(one.title for one in all_families()) == []
    assert leaks(f"{one.title} {one.notice}" for one in all_groups()) == []
    assert leaks(f"{one.title}: {cited(one.sources)}" for one in all_claims()) == []
    assert leaks(one.label for one in NORMS) == []
    assert leaks(one.title for one in LENS_TABLES) == []
    assert leaks(one.compared for one in AGREEMENT) == []


def test_no_source_that_is_named_leaks() -> None:
    named = [one for one in all_sources().values() if one.named]
    assert leaks(f"{one.cite} {one.title} {one.finding}" for one in named) == []
