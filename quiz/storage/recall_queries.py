"""Recall prompts that were put, and the log of marks on them, in the data file.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass

from quiz.storage.store import Store


@dataclass(frozen=True)
class Recall:
    """A recall prompt as it was put before a learner; `typed` is None until the answer was shown."""

    id: str
    learner: int
    prompt: str
    prompt_group: str
    why: str
    put_at: float
    typed: str | None = None
    closed_at: float | None = None
    dealt: str | None = None
    """The case beside which it came; None where it was asked for by itself."""


@dataclass(frozen=True)
class RecallMark:
    """One row of the log of recall marks, without its own number."""

    recall: str
    learner: int
    at: float
    prompt: str
    prompt_group: str
    typed: str
    had: bool


def recall_of_id(store: Store, recall_id: str) -> Recall | None:
    """Return a prompt that was put."""
    return store.fetch_one(Recall, "SELECT * FROM recalls WHERE id = ?", recall_id)


def open_recall(store: Store, learner_id: int, group_id: str) -> Recall | None:
    """Return the prompt of a group that waits for this learner's mark."""
    return store.fetch_one(
        Recall,
        "SELECT * FROM recalls WHERE learner = ? AND prompt_group = ? AND closed_at IS NULL",
        learner_id,
        group_id,
    )


def open_beside(store: Store, learner_id: int, dealt_id: str) -> Recall | None:
    """Return the prompt beside a case that waits for this learner's words."""
    return store.fetch_one(
        Recall, "SELECT * FROM recalls WHERE learner = ? AND dealt = ? AND closed_at IS NULL", learner_id, dealt_id
    )


def last_beside(store: Store, learner_id: int) -> Recall | None:
    """Return the latest prompt that came beside a case of this learner."""
    sql = "SELECT * FROM recalls WHERE learner = ? AND dealt IS NOT NULL ORDER BY rowid DESC LIMIT 1"
    return store.fetch_one(Recall, sql, learner_id)


def mark_of(store: Store, recall_id: str) -> RecallMark | None:
    """Return the mark on a prompt."""
    return store.fetch_one(RecallMark, "SELECT * FROM recall_marks WHERE recall = ?", recall_id)


def put_recall(store: Store, recall: Recall) -> None:
    """Put a prompt before a learner."""
    store.add("recalls", recall)


def show_recall(store: Store, recall_id: str, typed: str) -> None:
    """Record that the answer was shown, and what had been typed by then; the first time counts."""
    store.change("UPDATE recalls SET typed = ? WHERE id = ? AND typed IS NULL", typed, recall_id)


def close_recall(store: Store, recall_id: str, *, now: float) -> None:
    """Let a prompt wait no longer."""
    store.change("UPDATE recalls SET closed_at = ? WHERE id = ? AND closed_at IS NULL", now, recall_id)


def add_recall_mark(store: Store, mark: RecallMark) -> bool:
    """Add a recall mark to the log; False when that prompt has one, which then stands."""
    return store.add("recall_marks", mark, conflict="ON CONFLICT (recall) DO NOTHING") > 0


def recall_marks_of(store: Store, learner_id: int) -> list[RecallMark]:
    """Return all recall marks of a learner, the earliest first."""
    return store.fetch_as(RecallMark, "SELECT * FROM recall_marks WHERE learner = ? ORDER BY id", learner_id)
