"""Lists of cases that are kept: a short digest that tells one list from another, and the file that holds a list.

A seed gives other cases once the drawing of a type changes; findings give the same case for good.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.procedure.case_type import Case
from cases.procedure.kinds import number_from

FORMAT = "two-meridians cases, version 1"
LONGEST = 1_000
"""Cases in one file."""
LONGEST_WORDS = 400
"""Characters of what stands before the findings of a case that a person wrote."""

_BETWEEN_DIGITS = re.compile(r"[\s-]")
_DIGEST = re.compile(r"[0-9A-F]{8}")


class NotTheseCases(CaseError):
    """A digest was given that belongs to other cases."""

    def __init__(self, given: str, found: str) -> None:
        super().__init__(
            f"check code {given} was given, and these cases have {found}: the sheet with {given} was printed from "
            f"other cases, or before a change in how a type is drawn. Print its key from the cases that were saved "
            f"with it, or print the sheet and its key again and hand out both"
        )


class BadDigest(CaseError):
    """A text that is no digest."""

    def __init__(self, given: str) -> None:
        super().__init__(
            f"check code “{given[:40]}”: give the eight letters and digits at the top of the sheet, such as 3F9A-21C7"
        )


class BadFile(CaseError):
    """A file of kept cases that cannot be used."""


@dataclass(frozen=True)
class CaseList:
    """Cases in their order, with what a worksheet says about them. `seed` is that of the first case."""

    cases: tuple[Case, ...]
    seed: int
    level: str

    @property
    def digest(self) -> str:
        """The digest of the cases."""
        return digest_of(self.cases)


VERSIONS = ("A", "B")


def in_version(listed: CaseList, version: str) -> CaseList:
    """Return the same cases as version A has them, in their own order, or B in another; the seed fixes it.

    The digest is of the order too, so that a key fits its own version alone.
    """
    if version != "B":
        return listed
    places = range(len(listed.cases))
    order = sorted(places, key=lambda place: hashlib.sha256(f"{listed.seed} B {place}".encode()).digest())
    if order == list(places):
        order = [*order[1:], *order[:1]]
    return replace(listed, cases=tuple(listed.cases[place] for place in order))


def identity(type_id: str, findings: Any, words: str = "") -> tuple[Any, ...]:
    """Return what fixes a case: its type's id, its findings as JSON, and the words round it where there are any."""
    return (type_id, findings, words) if words else (type_id, findings)


def identity_of(case: Case) -> tuple[Any, ...]:
    """Return what fixes a case, as `identity` does."""
    return identity(case.type.id, case.type.findings.to_json(case.findings), case.words)


def digest(listed: Iterable[tuple[Any, ...]]) -> str:
    """Return eight hexadecimal signs, such as "3F9A-21C7", from the `identity` of each case in order.

    They are the first 32 bits of a SHA-256: two different lists share them once in four thousand million.
    """
    text = json.dumps(list(listed), sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    found = hashlib.sha256(text.encode()).hexdigest()[:8].upper()
    return f"{found[:4]}-{found[4:]}"


def digest_of(cases: Iterable[Case]) -> str:
    """Return the digest of cases, as `digest` does."""
    return digest(map(identity_of, cases))


def check_digest(given: str, found: str) -> None:
    """Refuse a digest, in any spacing and either case, that is not the one found.

    Raises
    ------
    BadDigest, NotTheseCases
    """
    plain = _BETWEEN_DIGITS.sub("", given[:40]).upper()
    if not _DIGEST.fullmatch(plain):
        raise BadDigest(given)
    if plain != found.replace("-", ""):
        raise NotTheseCases(f"{plain[:4]}-{plain[4:]}", found)


def write(kept: CaseList) -> str:
    """Write a list as JSON, one case a line, with its digest."""
    head = {"format": FORMAT, "seed": kept.seed, "level": kept.level, "digest": kept.digest}
    about = "".join(f"  {_json(name)}: {_json(value)},\n" for name, value in head.items())
    lines = ",\n    ".join(map(_line, kept.cases))
    return f'{{\n{about}  "cases": [\n    {lines}\n  ]\n}}\n'


def _line(case: Case) -> str:
    words = {"words": case.words} if case.words else {}
    findings = case.type.findings.to_json(case.findings)
    return _json({"type": case.type.id, "seed": case.seed, "findings": findings, **words})


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def read(text: str) -> CaseList:
    """Read what `write` wrote.

    Raises
    ------
    BadFile
        When it is no such file, when it was changed since, or when a case in it cannot be read by this version.
    """
    given, listed = _document(text)
    cases = tuple(_case(number, one) for number, one in enumerate(listed, 1))
    kept = CaseList(cases, _whole(given.get("seed"), "seed"), str(given.get("level")))
    if kept.digest != given.get("digest"):
        raise BadFile(
            f"the file says that its cases have the check code {str(given.get('digest'))[:20]}, and they have "
            f"{kept.digest}: it was changed after it was saved; use an unchanged copy"
        )
    return kept


def _document(text: str) -> tuple[Mapping[str, Any], Sequence[Any]]:
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadFile(f"the file is not JSON ({error}): give one that `sheet --keep` wrote") from error
    if not isinstance(given, Mapping) or given.get("format") != FORMAT or not isinstance(given.get("cases"), list):
        raise BadFile(f"the file does not contain “{FORMAT}”: give one that `sheet --keep` wrote")
    if not 1 <= len(given["cases"]) <= LONGEST:
        raise BadFile(f"the file has {len(given['cases'])} cases: 1 to {LONGEST} can be used")
    return given, given["cases"]


def _case(number: int, given: Any) -> Case:
    try:
        if not isinstance(given, dict):
            raise BadFile("it is not an object with type, seed and findings")
        one = case_type(str(given.get("type")))
        words = str(given.get("words", ""))[:LONGEST_WORDS]
        return one.case(one.findings.from_json(given.get("findings")), _whole(given.get("seed"), "seed"), words)
    except CaseError as error:
        raise BadFile(f"case {number} of the file cannot be read by this version: {error}") from error


def _whole(given: object, name: str) -> int:
    number = number_from(given, name)
    if number != int(number):
        raise BadFile(f"{name} {number:g}: a whole number is needed")
    return int(number)
