"""Whole examinations in the data file: what was begun, every act, and what was shown at the end.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cases.patients.patient import Patient
from quiz.learning.state import SlipKey
from quiz.storage.store import Store


@dataclass(frozen=True)
class Examination:
    """An examination that was begun."""

    id: str
    learner: int
    patient: Patient
    begun_at: float
    closed_at: float | None = None
    set_in: int | None = None
    """The set of patients of a class that it belongs to; None: the learner's own choice."""
    set_place: int | None = None
    """Which of its patients, from 0."""


@dataclass(frozen=True)
class KeptAct:
    """One act as it was kept. `at` is in seconds since 1970, `minute` by the examination's own clock."""

    examination: str
    place: int
    learner: int
    at: float
    minute: float
    what: str
    side: str | None
    value: dict[str, Any]
    sent_as: str


@dataclass(frozen=True)
class ExaminationMark:
    """What an examination showed of its steps."""

    examination: str
    learner: int
    at: float
    verdict: str
    steps: tuple[str, ...]
    explanations: tuple[tuple[SlipKey, ...], ...]
    could_show: tuple[SlipKey, ...]
    failed: str
    after_answer: int
    """The number of the learner's last answer by then; 0 where there was none."""


def begin(store: Store, one: Examination) -> None:
    """Keep that an examination was begun."""
    store.add("examinations", one)


def of_id(store: Store, examination_id: str) -> Examination | None:
    """Return one examination."""
    return store.fetch_one(Examination, "SELECT * FROM examinations WHERE id = ?", examination_id)


def latest_of(store: Store, learner_id: int, *, most: int) -> list[Examination]:
    """Return a learner's examinations, the latest first."""
    sql = "SELECT * FROM examinations WHERE learner = ? ORDER BY begun_at DESC, rowid DESC LIMIT ?"
    return store.fetch_as(Examination, sql, learner_id, most)


def all_of(store: Store, learner_id: int) -> list[Examination]:
    """Return all examinations of a learner, the earliest first."""
    return store.fetch_as(Examination, "SELECT * FROM examinations WHERE learner = ? ORDER BY rowid", learner_id)


def acts_of(store: Store, examination_id: str) -> list[KeptAct]:
    """Return the acts of an examination in their order."""
    return store.fetch_as(
        KeptAct, "SELECT * FROM examination_acts WHERE examination = ? ORDER BY place", examination_id
    )


def add_act(store: Store, act: KeptAct) -> bool:
    """Add an act; False where its form was sent before."""
    return store.add("examination_acts", act, conflict="ON CONFLICT (examination, sent_as) DO NOTHING") > 0


def close(store: Store, examination_id: str, *, now: float) -> None:
    """End an examination; one that has ended stays as it is."""
    store.change("UPDATE examinations SET closed_at = ? WHERE id = ? AND closed_at IS NULL", now, examination_id)


def add_mark(store: Store, mark: ExaminationMark) -> bool:
    """Add what an examination showed; False when it has a mark, which then stands."""
    return store.add("examination_marks", mark, conflict="ON CONFLICT (examination) DO NOTHING") > 0


def last_answer(store: Store, learner_id: int) -> int:
    """Return the number of a learner's last answer; 0 where there is none."""
    rows = store.fetch("SELECT max(id) FROM answers WHERE learner = ?", learner_id)
    return int(rows[0][0] or 0)


def answer_numbers(store: Store, learner_id: int) -> dict[str, int]:
    """Return the numbers of a learner's answers in the log, by the case."""
    return {row[0]: row[1] for row in store.fetch("SELECT dealt, id FROM answers WHERE learner = ?", learner_id)}


def mark_of(store: Store, examination_id: str) -> ExaminationMark | None:
    """Return what an examination showed; None while it is under way, or where it was given up."""
    return store.fetch_one(ExaminationMark, "SELECT * FROM examination_marks WHERE examination = ?", examination_id)


def marks_of(store: Store, learner_id: int) -> list[ExaminationMark]:
    """Return what all examinations of a learner showed, the earliest first."""
    sql = "SELECT * FROM examination_marks WHERE learner = ? ORDER BY at, rowid"
    return store.fetch_as(ExaminationMark, sql, learner_id)
