"""Sittings that keep to certain types, because something asked for them: a reading of the accuracy log, for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cases.curriculum.register import all_types, case_type
from quiz.practice.settings import Length
from quiz.storage.rows import to_row
from quiz.storage.store import Learner, Store


@dataclass(frozen=True)
class KeptTo:
    """What a sitting keeps to."""

    types: tuple[str, ...]
    why: str
    """The line that says why a case came."""


def of_sitting(store: Store, sitting_id: int) -> KeptTo | None:
    """Return what a sitting keeps to; None for an ordinary one, and when this version has none of its types."""
    found = store.kept_to(KeptTo, sitting_id)
    known = tuple(one for one in found.types if one in all_types()) if found else ()
    return KeptTo(known, found.why) if found and known else None


def begin(store: Store, learner: Learner, types: Sequence[str], why: str, *, length: Length, now: float) -> int:
    """Begin a sitting of a length that keeps to these types, and return its number.

    A sitting under way ends here, and a case that was waiting is set aside.

    Raises
    ------
    UnknownType
        When there is no such type.
    """
    known = tuple(case_type(one).id for one in types)
    with store.writing():
        before = store.sitting_under_way(learner.id)
        if before is not None:
            store.end_sitting(before.id, now=now)
        left = store.open_case(learner.id)
        if left is not None:
            store.close_case(left.id, now=now)
        sitting = store.begin_sitting(learner.id, now=now, cases=length.cases, minutes=length.minutes)
        store.add("kept_to", {"sitting": sitting, **to_row(KeptTo(known, why))})
    return sitting
