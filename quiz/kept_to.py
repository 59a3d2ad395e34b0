"""Sittings that keep to certain types, because something asked for them: a reading of the accuracy log, for one."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cases.register import all_types, case_type
from quiz import people
from quiz.soundness import SHAPES
from quiz.store import Learner, Store, unpacked


@dataclass(frozen=True)
class KeptTo:
    """What a sitting keeps to."""

    types: tuple[str, ...]
    why: str
    """The line that says why a case came."""


def of_sitting(store: Store, sitting_id: int) -> KeptTo | None:
    """Return what a sitting keeps to; None for an ordinary one, and when this version has none of its types."""
    found = store.fetch_with(_kept_to, "SELECT types, why FROM kept_to WHERE sitting = ?", sitting_id)
    return found[0] if found and found[0].types else None


def _kept_to(row: Any) -> KeptTo:
    types = unpacked(row["types"], SHAPES["kept_to"]["types"], "types")
    return KeptTo(tuple(one for one in types if one in all_types()), row["why"])


def begin(store: Store, learner: Learner, types: Sequence[str], why: str, *, now: float) -> int:
    """Begin a sitting of the learner's usual length that keeps to these types, and return its number.

    A sitting under way ends here, and a case that was waiting is set aside.

    Raises
    ------
    UnknownType
        When there is no such type.
    """
    known = [case_type(one).id for one in types]
    length = people.settings_of(learner).length
    with store.writing():
        before = store.sitting_under_way(learner.id)
        if before is not None:
            store.end_sitting(before.id, now=now)
        left = store.open_case(learner.id)
        if left is not None:
            store.close_case(left.id, now=now)
        sitting = store.begin_sitting(learner.id, now=now, cases=length.cases, minutes=length.minutes)
        store.insert("INSERT INTO kept_to (sitting, types, why) VALUES (?, ?, ?)", sitting, json.dumps(known), why)
    return sitting
