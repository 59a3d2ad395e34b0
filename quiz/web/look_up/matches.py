"""What the words in the field of Look up name: terms of the reference, mistakes by name, prompts."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from cases.curriculum.register import all_slips
from cases.notation.finding_line import LONGEST_LINE
from cases.recall.glossary import TERMS
from cases.recall.prompts import all_prompts
from quiz.web.links import link

_LETTERS = re.compile(r"[a-z]+")
SHORTEST = 3
"""Letters of a word that is looked for."""
MOST = 6
"""Shown of each kind."""
CHAPTERS = (
    (
        "Conventions",
        "conventions",
        "angles degrees streak meridian gross net working distance with against form tolerance",
    ),
    ("How answers are read", "typing", "typing writing notation plano eighth cross"),
    ("Formulas", "formulas", "vergence net sine squared transpose power vector oblique vertex axis error residual"),
    ("Tables", "tables", "working distance dioptres drift axis error cylinder finished lens standard limits"),
    ("Norms", "norms", "norms allowance dark near lag cycloplegia"),
    ("Cases and their sources", "sources", "types families steps sources evidence"),
    ("Cautions", "cautions", "cautions drops dose refer referral amblyopia licence"),
)
"""Title, anchor and words of each chapter of the reference."""


@dataclass(frozen=True)
class Found:
    """One thing that the words name: a link, and a sentence about it."""

    url: str
    title: str
    says: str


@dataclass(frozen=True)
class Matches:
    """What was found, by kind."""

    chapters: tuple[Found, ...]
    terms: tuple[Found, ...]
    slips: tuple[Found, ...]
    prompts: tuple[Found, ...]

    def __bool__(self) -> bool:
        return bool(self.chapters or self.terms or self.slips or self.prompts)


def matches(text: str) -> Matches:
    """Look for every word of a text, by its beginning, among the terms, the mistakes and the prompts.

    Each word is held against every word of each of them, so that a text longer than any line names nothing.
    """
    looked_for = text.lower() if len(text) <= LONGEST_LINE else ""
    words = [word for word in _LETTERS.findall(looked_for) if len(word) >= SHORTEST]
    chapters = (
        Found(f"{link('reference.show')}#{anchor}", title, "")
        for title, anchor, about in CHAPTERS
        if _in(words, title, about)
    )
    terms = (
        Found(link("reference.term", term_id=one.id), one.title, one.says)
        for one in TERMS
        if _in(words, " ".join(one.words))
    )
    slips = (
        Found(link("reference.slips"), f"{one.title[:1].upper()}{one.title[1:]}", one.tells)
        for one in sorted(all_slips().values(), key=lambda one: one.title)
        if _in(words, one.title)
    )
    prompts = (
        Found(link("recall.show", group=one.group.id), one.question, one.answer)
        for one in all_prompts()
        if _in(words, one.question, one.answer)
    )
    return Matches(_first(chapters), _first(terms), _first(slips), _first(prompts))


def _in(words: list[str], *texts: str) -> bool:
    held = _LETTERS.findall(" ".join(texts).lower())
    return bool(words) and all(any(one.startswith(word) for one in held) for word in words)


def _first(found: Iterable[Found]) -> tuple[Found, ...]:
    return tuple(one for one, _ in zip(found, range(MOST), strict=False))
