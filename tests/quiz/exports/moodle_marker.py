"""Marks answers to Moodle XML as its documentation says, since that platform is not available from a package registry.

Source: MoodleDocs, "Moodle XML format", "Embedded Answers (Cloze) question type" and "Numerical question type" (from
memory of the published pages): the first answer that matches counts; a number matches within its tolerance, both ends
included; a decimal comma is no number; marks of multiple answers add up and are not below 0.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import unescape
from xml.etree.ElementTree import Element

EMBEDDED = re.compile(r"\{1:(NUMERICAL|MULTICHOICE_V|MULTIRESPONSE):((?:\\.|[^\\}])*)\}")
BETWEEN = re.compile(r"(?<!\\)~")
FEEDBACK = re.compile(r"(?<!\\)#")
FRACTION = re.compile(r"=|%(-?[0-9.]+)%")
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)")


@dataclass(frozen=True)
class Listed:
    text: str
    fraction: float
    tolerance: float | None
    says: str


@dataclass(frozen=True)
class Part:
    """One field or one choice."""

    kind: str
    answers: tuple[Listed, ...]

    def mark(self, given: str | Sequence[str]) -> float:
        """Return the share of this part's mark: for a number its text, for a choice its label or labels."""
        if self.kind == "NUMERICAL":
            found = self.matched(str(given))
            return found.fraction if found else 0.0
        chosen = [given] if isinstance(given, str) else given
        total = math.fsum(one.fraction for one in self.answers if one.text in chosen)
        return min(1.0, max(0.0, total))

    def matched(self, text: str) -> Listed | None:
        if not NUMBER.fullmatch(text.strip()):
            return None
        value = float(text)
        return next((one for one in self.answers if abs(float(one.text) - value) <= (one.tolerance or 0) + 1e-12), None)


def parts_of(question: Element) -> list[Part]:
    """Return the parts of a question in the order in which they are asked."""
    kind = question.get("type")
    if kind == "cloze":
        text = str(question.findtext("questiontext/text"))
        return [Part(found[1], tuple(map(_embedded, BETWEEN.split(found[2])))) for found in EMBEDDED.finditer(text)]
    answers = tuple(_answer(one) for one in question.findall("answer"))
    single = question.findtext("single") != "false"
    name = {"numerical": "NUMERICAL"}.get(str(kind), "MULTICHOICE_V" if single else "MULTIRESPONSE")
    return [Part(name, answers)]


def full_mark(parts: Sequence[Part], given: Sequence[str | Sequence[str]]) -> bool:
    """Say whether every part has its whole mark."""
    return all(part.mark(one) > 0.9999 for part, one in zip(parts, given, strict=True))


def _answer(one: Element) -> Listed:
    tolerance = one.findtext("tolerance")
    text, says = str(one.findtext("text")), one.findtext("feedback/text") or ""
    fraction = float(str(one.get("fraction"))) / 100
    return Listed(unescape(text), fraction, None if tolerance is None else float(tolerance), unescape(says))


def _embedded(text: str) -> Listed:
    body, *says = FEEDBACK.split(text, maxsplit=1)
    found = FRACTION.match(body)
    fraction = 1.0 if found and found[0] == "=" else float(found[1]) / 100 if found else 0.0
    rest = body[found.end() :] if found else body
    number, _, tolerance = rest.partition(":")
    plain = NUMBER.fullmatch(number) and tolerance
    return Listed(
        number if plain else _plain(rest),
        fraction,
        float(tolerance) if plain else None,
        _plain(says[0]) if says else "",
    )


def _plain(text: str) -> str:
    return unescape(re.sub(r"\\(.)", r"\1", text))


def given_texts(parts: Sequence[Part], answer: Mapping[str, str]) -> list[str]:
    """Return the texts of an answer in the order of the parts."""
    return [text for _, text in zip(parts, answer.values(), strict=True)]
