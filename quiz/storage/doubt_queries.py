"""Marked cases that their learner found doubtful, in the data file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quiz.storage.store import Store


@dataclass(frozen=True)
class Doubt:
    """A marked case that its learner found doubtful, and what they said of it."""

    dealt: str
    learner: int
    at: float
    note: str


def add_doubt(store: Store, doubt: Doubt) -> bool:
    """Keep a doubt, inside `store.writing()`; say whether it is new. The first word on a case stands."""
    return store.add("doubts", doubt, conflict="ON CONFLICT (dealt) DO NOTHING") > 0


def doubt_of(store: Store, dealt_id: str) -> Doubt | None:
    """Return the doubt about a case."""
    return store.fetch_one(Doubt, "SELECT * FROM doubts WHERE dealt = ?", dealt_id)


def doubts_of(store: Store, learners: Iterable[int]) -> list[Doubt]:
    """Return what these learners doubted, the latest first."""
    found = (store.fetch_as(Doubt, "SELECT * FROM doubts WHERE learner = ?", one) for one in learners)
    return sorted((doubt for each in found for doubt in each), key=lambda one: -one.at)
