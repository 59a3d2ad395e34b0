"""The sources: the file's own rules, what a learner is told of each; every claim names some, and no key is idle.

Decisions of this project; the details of each source are as its own title page, abstract or catalogue entry gives them.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from cases.claims import KINDS, THRESHOLDS, all_claims
from cases.curriculum.register import case_type
from cases.evidence.sources import (
    COMMON,
    COMMON_PRACTICE,
    DERIVATION,
    STRENGTHS,
    TEACHING_PAGE,
    UNPUBLISHED,
    BadSource,
    Source,
    UnknownSource,
    all_sources,
    check_sources,
    cited,
    cites,
    read_sources,
    strength_of,
)
from cases.evidence.thresholds import Threshold
from cases.procedure.chain import SlipName
from cases.procedure.documents import type_document
from quiz.accuracy import patterns

CORE = Path(__file__).resolve().parents[3] / "cases"
NAMED_IN_CODE = re.compile(r"Source:\s+((?:`[a-z0-9-]+`(?:,\s+)?)+)")

GOOD = """
[somebody-1970]
author = "Somebody"
year = 1970
title = "On lenses"
place = "A Journal 1:1"
strength = "trial or cohort"
read = "abstract"
[our-clinic]
about = "what our clinic does"
strength = "common practice"
"""


def test_a_good_file_is_read() -> None:
    somebody, clinic = read_sources(GOOD).values()
    assert (somebody.cite, somebody.named) == ("Somebody 1970, A Journal 1:1", True)
    assert (clinic.cite, clinic.named, clinic.read) == ("what our clinic does", False, "")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("year = 1970", "yaer = 1970", "somebody-1970.*unknown: yaer"),
        ('strength = "trial or cohort"', 'strength = "good"', "strength is one of standard, trial"),
        ('strength = "trial or cohort"', "", "strength is one of"),
        ('read = "abstract"', "", "read is one of page"),
        ('read = "abstract"', 'read = "twice"', "read is one of page"),
        ('strength = "common practice"', 'strength = "common practice"\nread = "page"', "leave read out"),
        ('about = "what our clinic does"', "", "give an author or a title"),
        (
            'about = "what our clinic does"',
            'author = "Somebody"\nyear = 1970\nplace = "A Journal 1:1"',
            "stands here once",
        ),
    ],
)
def test_a_bad_file_is_refused_with_its_reason(old: str, new: str, says: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(BadSource, match=says):
        read_sources(GOOD.replace(old, new))


def test_an_unknown_key_is_refused_wherever_sources_are_named() -> None:
    with pytest.raises(UnknownSource, match="“thibos-1979” is unknown: did you mean thibos-1997"):
        SlipName("slip", "slipped", "Do not.", ("thibos-1979",))
    with pytest.raises(UnknownSource, match="did you mean computed"):
        replace(case_type("net-sphere"), sources=("computd",))
    with pytest.raises(UnknownSource, match="add it to"):
        Threshold("A metre is long", ("zzz",))
    for use in (check_sources, cites):
        with pytest.raises(UnknownSource):
            use(("duane", "zzz"))


@pytest.mark.parametrize("keys", [(), ("duane", "duane")])
def test_no_key_and_a_key_twice_are_refused(keys: tuple[str, ...]) -> None:
    with pytest.raises(BadSource, match="name each source once"):
        SlipName("slip", "slipped", "Do not.", keys)


@pytest.mark.parametrize("source", all_sources().values(), ids=lambda source: source.key)
def test_a_source_says_what_is_known_of_it(source: Source) -> None:
    assert source.cite.strip(" ,.") == source.cite
    assert not source.finding or source.finding.endswith(".")
    assert source.year is None or 1850 < source.year < 2027
    assert bool(re.search(r"-\d{4}$", source.key)) <= (source.year is not None), "the key gives a year, the source none"


@pytest.mark.parametrize("weak", [one for one in all_sources().values() if not one.named], ids=lambda one: one.key)
def test_what_rests_on_a_teaching_page_alone_is_told_as_common_practice(weak: Source) -> None:
    assert cited((weak.key,)) == UNPUBLISHED
    assert strength_of((weak.key,)) == COMMON_PRACTICE
    assert cites(("duane", weak.key)) == (all_sources()["duane"].cite, UNPUBLISHED)


def test_what_was_cited_from_memory_is_told_as_common_practice() -> None:
    known = Source("book", "textbook", title="A Book", read="page")
    assert (known.named, known.shown_strength) == (True, "textbook")
    recalled = replace(known, read="memory")
    assert (recalled.named, recalled.shown_strength) == (False, COMMON_PRACTICE)


def test_common_practice_is_said_once_and_last() -> None:
    assert cites(("thibos-1997", "nfos-8", "streak-guide", COMMON))[1:] == (UNPUBLISHED,)


def test_the_strongest_source_gives_a_claim_its_strength() -> None:
    assert strength_of(("computed", "iso-8429", COMMON)) == "standard"
    assert strength_of(("nfos-8", "computed")) == DERIVATION
    assert STRENGTHS.index(TEACHING_PAGE) < STRENGTHS.index(COMMON_PRACTICE)


def keys_in_code() -> dict[str, str]:
    """Find the keys that docstrings of the core name, each with a file that names it."""
    return {
        key: path.name
        for path in CORE.rglob("*.py")
        for listed in NAMED_IN_CODE.findall(path.read_text(encoding="utf-8"))
        for key in re.findall(r"`(.+?)`", listed)
    }


def test_every_claim_names_known_sources_and_no_source_is_idle() -> None:
    claims = all_claims()
    assert {one.kind for one in claims} == set(KINDS)
    for one in claims:
        check_sources(one.sources)
    # The log's thresholds stand on the page of evidence too, and the core knows nothing of the log.
    named = {key for one in claims for key in one.sources}
    named |= {key for one in patterns.THRESHOLDS for key in one.sources}
    assert keys_in_code().keys() <= all_sources().keys()
    assert all_sources().keys() - named - keys_in_code().keys() == set(), "nothing names these: take them out"


def test_thresholds_of_a_file_of_types_are_claims_too() -> None:
    said = [one.title for one in all_claims() if one.kind == THRESHOLDS]
    assert "0.12 D is what a trial lens can show" in said
    assert len(said) == len(set(said)) >= 12


def test_other_peoples_scripts_are_given_what_a_learner_is_told() -> None:
    assert type_document(case_type("transpose"))["sources"] == ["computed from the definition", UNPUBLISHED]
