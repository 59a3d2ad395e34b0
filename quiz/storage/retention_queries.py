"""What is deleted for its age: a learner's answers of before a day, and the day until which that was done.

The logs are only ever added to; the rows of `retired` are what lets their guards remove what is older.
"""

from __future__ import annotations

from dataclasses import dataclass

from quiz.storage import projection, result_queries
from quiz.storage.store import Learner, Store


@dataclass(frozen=True)
class Old:
    """How much of a learner's is older than a day."""

    answers: int
    recall_marks: int


def older(store: Store, learner_id: int, before: float) -> Old:
    """Count a learner's answers and recall marks of before a moment."""
    counts = [
        int(store.fetch(f"SELECT count(*) FROM {table} WHERE learner = ? AND at < ?", learner_id, before)[0][0])  # noqa: S608
        for table in ("answers", "recall_marks")
    ]
    return Old(*counts)


def remove_older(store: Store, learner: Learner, before: float) -> None:
    """Delete a learner's answers and recall marks of before a moment, and fold what is left again; in `writing()`."""
    store.change(
        "INSERT INTO retired (learner, before_at) VALUES (?1, ?2) "
        "ON CONFLICT (learner) DO UPDATE SET before_at = max(retired.before_at, ?2)",
        learner.id,
        before,
    )
    for case, log, by in (("dealt", "answers", "dealt"), ("recalls", "recall_marks", "recall")):
        sql = f"DELETE FROM {case} WHERE id IN (SELECT {by} FROM {log} WHERE learner = ? AND at < ?)"  # noqa: S608
        store.change(sql, learner.id, before)
    store.change(
        "DELETE FROM examinations WHERE learner = ?1 AND begun_at < ?2 AND NOT EXISTS "
        "(SELECT 1 FROM examination_acts a WHERE a.examination = examinations.id AND a.at >= ?2) AND NOT EXISTS "
        "(SELECT 1 FROM examination_marks m WHERE m.examination = examinations.id AND m.at >= ?2)",
        learner.id,
        before,
    )
    store.change(
        "DELETE FROM sittings WHERE learner = ? AND ended_at < ? "
        "AND NOT EXISTS (SELECT 1 FROM dealt d WHERE d.sitting = sittings.id)",
        learner.id,
        before,
    )
    projection.keep(store, learner.id, projection.refolded(store, learner.id))
    result_queries.tally_anew(store, learner)


def retired_before(store: Store, learner_id: int) -> float | None:
    """Return the moment before which a learner's answers were deleted for their age; None where none were."""
    return next((row[0] for row in store.fetch("SELECT before_at FROM retired WHERE learner = ?", learner_id)), None)
