"""What preceptors wrote about single answers, for their learners to read, in the data file."""

from __future__ import annotations

from dataclasses import dataclass

from quiz.storage.store import Store


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
