"""Every question to the data file about the cases that preceptors wrote.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from quiz.storage.rows import to_row
from quiz.storage.store import Store


@dataclass(frozen=True)
class NewCase:
    """A case as a preceptor wrote it."""

    title: str
    """For the preceptors: learners do not see it."""
    words: str
    """What stands before the findings; "" for nothing."""
    type: str
    findings: dict[str, Any]
    """As JSON holds them."""
    preceptor: str
    """The name of the person who wrote it."""


@dataclass(frozen=True)
class OwnCase(NewCase):
    """The same with its place in the data file."""

    id: int
    class_id: int
    made_at: float


_CASES = "SELECT c.*, c.class AS class_id FROM own_cases c"


def cases_of(store: Store, class_id: int) -> list[OwnCase]:
    """Return the own cases of a class, the earliest first."""
    return store.fetch_as(OwnCase, f"{_CASES} WHERE c.class = ? ORDER BY c.id", class_id)


def case_of_id(store: Store, number: int) -> OwnCase | None:
    """Return one of them."""
    return store.fetch_one(OwnCase, f"{_CASES} WHERE c.id = ?", number)


def cases_numbered(store: Store, numbers: Iterable[int]) -> list[OwnCase]:
    """Return some of them, in the order of their numbers given; those that are gone are left out."""
    found = (case_of_id(store, number) for number in numbers)
    return [one for one in found if one is not None]


def add(store: Store, class_id: int, case: NewCase, now: float) -> int:
    """Add one and return its number."""
    return store.add("own_cases", {**to_row(case), "class": class_id, "made_at": now})


def change(store: Store, number: int, case: NewCase) -> None:
    """Give one other words and findings; who wrote it first stays."""
    row = to_row(case)
    sql = "UPDATE own_cases SET title = ?, words = ?, findings = ? WHERE id = ?"
    store.change(sql, row["title"], row["words"], row["findings"], number)


def remove(store: Store, number: int) -> None:
    """Remove one."""
    store.change("DELETE FROM own_cases WHERE id = ?", number)


def drills_with(store: Store, number: int) -> list[tuple[int, str]]:
    """Return the drills that have a case: number and title, the newest first."""
    sql = (
        "SELECT d.id, d.title FROM drills d WHERE EXISTS "
        "(SELECT 1 FROM json_each(d.own_cases) WHERE CAST(value AS BIGINT) = ?1) "
        "AND d.class = (SELECT class FROM own_cases WHERE id = ?1) ORDER BY d.id DESC"
    )
    return [(row[0], row[1]) for row in store.fetch(sql, number)]
