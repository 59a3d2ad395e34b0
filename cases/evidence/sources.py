"""Every source once, by key: how strong it is, how it was read, and what a learner is told. Data: sources.toml."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any

from cases.errors import CaseError

STANDARD, STUDY, CASE_REPORT, TEXTBOOK = "standard", "trial or cohort", "case report", "textbook"
DERIVATION, TEACHING_PAGE, COMMON_PRACTICE = "derivation", "teaching page", "common practice"
STRENGTHS = (STANDARD, STUDY, CASE_REPORT, TEXTBOOK, DERIVATION, TEACHING_PAGE, COMMON_PRACTICE)
"""From strong to weak. A derivation is worked out from definitions and checked by a test, so nobody has to be asked."""
READ = ("page", "excerpt", "abstract", "summary", "memory")
"""What the author of the claim had read. A summary is somebody else's account of the source."""

COMMON = "common-practice"
"""The key of what the trade does and no source was found for."""
UNPUBLISHED = "common practice, no published source"
"""What a learner reads of it, and of whatever rests on a teaching page or on memory."""


class BadSource(CaseError):
    """sources.toml breaks one of its own rules; the message names the source."""

    def __init__(self, key: str, rule: str) -> None:
        super().__init__(f"source “{key}”: {rule}")


class UnknownSource(CaseError):
    """No source has this key."""

    def __init__(self, key: str, known: Iterable[str]) -> None:
        near = difflib.get_close_matches(key, tuple(known), n=1)
        hint = f"did you mean {near[0]}?" if near else "add it to sources.toml first"
        super().__init__(f"source “{key[:40]}” is unknown: {hint}")


@dataclass(frozen=True)
class Source:
    """One source. Details that are not known are empty, never guessed."""

    key: str
    strength: str
    title: str = ""
    about: str = ""
    """What it is in our own words, where it has no title or none is known."""
    author: str = ""
    year: int | None = None
    place: str = ""
    """Journal with volume and first page, publisher, or identifier."""
    part: str = ""
    """Page, table, chapter or section."""
    read: str = ""
    """One of `READ`; empty for a derivation and for common practice, where there is nothing to read."""
    finding: str = ""
    """What it says, in a sentence, as far as the project leans on it."""

    @property
    def named(self) -> bool:
        """Whether learners are told its name: not a teaching page, and not what was cited from memory."""
        return self.strength not in (TEACHING_PAGE, COMMON_PRACTICE) and self.read != "memory"

    @property
    def cite(self) -> str:
        """The source in one line, such as "Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367"."""
        year = f"{self.year}" if self.year and f"{self.year}" not in self.title else ""
        if self.author:
            return ", ".join(part for part in (f"{self.author} {year}".strip(), self.place, self.part) if part)
        words = ", ".join(part for part in (self.title, self.place, year, self.part) if part)
        return f"{words} ({self.about})" if words and self.about else words or self.about

    @property
    def shown_strength(self) -> str:
        """The strength as a learner is told it: that of common practice for whatever is not named."""
        return self.strength if self.named else COMMON_PRACTICE


_MAY_HAVE = {one.name for one in fields(Source)} - {"key"}


@cache
def all_sources() -> Mapping[str, Source]:
    """Return every source by key, in the order of sources.toml."""
    return read_sources(files("cases.evidence").joinpath("sources.toml").read_text(encoding="utf-8"))


def read_sources(text: str) -> dict[str, Source]:
    """Read sources from TOML in the form of sources.toml: one table a source, named by its key.

    Raises
    ------
    BadSource
        When a table has an unknown entry, or neither author nor title nor `about`, its strength or `read` is none of
        those there are, a published source does not say how it was read, or two are cited in the same words.
    """
    found = {key: _source(key, table) for key, table in tomllib.loads(text).items()}
    first: dict[str, str] = {}
    for key, one in found.items():
        if other := first.get(one.cite):
            raise BadSource(key, f"it is cited as {other} is: each source stands here once")
        first[one.cite] = key
    return found


def _source(key: str, table: dict[str, Any]) -> Source:
    if odd := table.keys() - _MAY_HAVE:
        raise BadSource(key, f"unknown: {', '.join(sorted(odd))}")
    one = Source(key, **{"strength": "", **table})
    if one.strength not in STRENGTHS:
        raise BadSource(key, f"strength is one of {', '.join(STRENGTHS)}")
    if not (one.title or one.author or one.about):
        raise BadSource(key, "give an author or a title, or say in `about` what it is")
    unread = one.strength in (DERIVATION, COMMON_PRACTICE)
    if one.read not in (("",) if unread else READ):
        raise BadSource(
            key, "nothing is read for it: leave read out" if unread else f"read is one of {', '.join(READ)}"
        )
    return one


def find_sources(keys: tuple[str, ...]) -> tuple[Source, ...]:
    """Return the sources of these keys.

    Raises
    ------
    UnknownSource
        With the nearest key there is.
    """
    known = all_sources()
    for key in keys:
        if key not in known:
            raise UnknownSource(key, known)
    return tuple(known[key] for key in keys)


def check_sources(keys: tuple[str, ...]) -> None:
    """Refuse keys that do not name sources.

    Raises
    ------
    UnknownSource
        With the nearest key there is.
    BadSource
        When there is no key at all, or one comes twice.
    """
    if not keys or len(set(keys)) < len(find_sources(keys)):
        raise BadSource(", ".join(keys) or "none", f"name each source once, or {COMMON} where there is none")


def cites(keys: tuple[str, ...]) -> tuple[str, ...]:
    """Give what a learner is told of these sources: those with a name, then once that the rest is common practice.

    Raises UnknownSource, as `find_sources` does.
    """
    named = tuple(one.cite for one in find_sources(keys) if one.named)
    return named if len(named) == len(keys) else (*named, UNPUBLISHED)


def cited(keys: tuple[str, ...]) -> str:
    """Give `cites` as one text for a page, a sentence without its capital and its full stop."""
    return "; ".join(cites(keys))


def strength_of(keys: tuple[str, ...]) -> str:
    """Return the strength of the strongest of these sources, as a learner is told it."""
    return min((one.shown_strength for one in find_sources(keys)), key=STRENGTHS.index)
