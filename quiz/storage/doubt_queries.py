"""What is said of single answers: by a learner, that a case is doubtful; by a preceptor, a remark for the learner."""

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


@dataclass(frozen=True)
class Remark:
    """What a preceptor wrote about an answer."""

    dealt: str
    preceptor: str
    """Their name."""
    note: str
    at: float


def keep_remark(store: Store, remark: Remark) -> None:
    """Keep a remark in place of the one before, inside `store.writing()`; one without words is taken back."""
    store.change("DELETE FROM remarks WHERE dealt = ?", remark.dealt)
    if remark.note:
        store.add("remarks", remark)


def remark_on(store: Store, dealt_id: str) -> Remark | None:
    """Return the remark on an answer."""
    return store.fetch_one(Remark, "SELECT * FROM remarks WHERE dealt = ?", dealt_id)


def remarks_for(store: Store, learner_id: int) -> list[Remark]:
    """Return the remarks on a learner's answers, the latest first."""
    sql = "SELECT r.* FROM remarks r JOIN dealt d ON d.id = r.dealt WHERE d.learner = ? ORDER BY r.at DESC, r.dealt"
    return store.fetch_as(Remark, sql, learner_id)
