"""Patients that a preceptor sets for a class, in the data file.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass

from cases.patients.patient import Patient
from quiz.storage.class_queries import Deletion
from quiz.storage.examining.examination_queries import Examination
from quiz.storage.rows import write_json
from quiz.storage.store import Store


@dataclass(frozen=True)
class SetExamination:
    """Patients set for a class: every learner examines the same ones, each once."""

    id: int
    class_: int
    title: str
    patients: tuple[Patient, ...]
    set_at: float
    closed_at: float | None = None


_SETS = "SELECT s.id, s.class AS class_, s.title, s.patients, s.set_at, s.closed_at FROM set_examinations s"


def add(store: Store, class_id: int, title: str, patients: tuple[Patient, ...], now: float) -> int:
    """Keep patients that are set for a class, and return their number."""
    row = {"class": class_id, "title": title, "patients": write_json(patients), "set_at": now}
    return store.add("set_examinations", row)


def sets_of(store: Store, class_id: int) -> list[SetExamination]:
    """Return what was set for a class, the latest first."""
    return store.fetch_as(SetExamination, f"{_SETS} WHERE s.class = ? ORDER BY s.id DESC", class_id)


def set_of_id(store: Store, number: int) -> SetExamination | None:
    """Return one set of patients."""
    return store.fetch_one(SetExamination, f"{_SETS} WHERE s.id = ?", number)


def open_for(store: Store, learner_id: int) -> list[SetExamination]:
    """Return what is open to a learner by a class, the earliest first."""
    sql = (
        f"{_SETS} JOIN members m ON m.class = s.class AND m.learner = ? JOIN classes c ON c.id = s.class "
        "WHERE s.closed_at IS NULL AND c.archived_at IS NULL AND c.removed_at IS NULL ORDER BY s.id"
    )
    return store.fetch_as(SetExamination, sql, learner_id)


def close(store: Store, number: int, *, now: float) -> None:
    """Close a set: nobody begins one of its patients any more."""
    store.change("UPDATE set_examinations SET closed_at = ? WHERE id = ? AND closed_at IS NULL", now, number)


def runs_of(store: Store, number: int) -> list[Examination]:
    """Return the examinations of a set."""
    return store.fetch_as(Examination, "SELECT * FROM examinations WHERE set_in = ? ORDER BY rowid", number)


def run_of(store: Store, number: int, place: int | None, learner_id: int) -> Examination | None:
    """Return a learner's examination of a set's patient."""
    sql = "SELECT * FROM examinations WHERE set_in = ? AND set_place = ? AND learner = ?"
    return store.fetch_one(Examination, sql, number, place, learner_id)


def deletions_in(store: Store, number: int) -> list[Deletion]:
    """Return what stays of learners who had begun a set and were deleted, day by day."""
    sql = (
        "SELECT on_day, by_whom, count(*) AS learners, NULL AS name, NULL AS number FROM set_deletions "
        "WHERE set_in = ? GROUP BY on_day, by_whom ORDER BY on_day, by_whom"
    )
    return store.fetch_as(Deletion, sql, number)
