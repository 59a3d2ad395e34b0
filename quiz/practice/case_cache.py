"""Cases made recently, kept in memory, so that a case is not worked out again when it is dealt, marked and looked at.

A case follows from its type, seed, findings and words alone, so what is kept here can never be out of date.
"""

from __future__ import annotations

from typing import Any

from cases.curriculum.register import case_type
from cases.procedure.case_type import Case
from quiz.lru_cache import LockedCache
from quiz.storage.rows import write_json

MOST = 1000
"""Some 30 kB each."""

_Key = tuple[str, int, str, str]
_kept: LockedCache[_Key, Case] = LockedCache(MOST)


def _key(type_id: str, seed: int, findings: Any, words: str = "") -> _Key:
    return type_id, seed, write_json(findings), words


def case(type_id: str, seed: int, findings: Any, words: str = "") -> Case:
    """Make the case of a type, seed, findings in JSON and words round them, or return the one that was made before.

    Raises
    ------
    CaseError
        When this version no longer has the type, or its findings have changed.
    """
    key = _key(type_id, seed, findings, words)
    found = _kept.get(key)
    if found is not None:
        return found
    one = case_type(type_id)
    made = one.case(one.findings.from_json(findings), seed, words)
    _kept.keep(key, made)
    return made


def keep(drawn: Case, findings: Any) -> None:
    """Keep a case that was drawn just now, unless it would be another when made from its findings in JSON."""
    if drawn.type.findings.from_json(findings) == drawn.findings:
        _kept.keep(_key(drawn.type.id, drawn.seed or 0, findings), drawn)
