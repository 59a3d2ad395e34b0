"""What the desk asks the data file: what a sitting is for, worked examples, a learner's pace and mistakes.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass

from quiz.learning.state import SlipKey
from quiz.storage.rows import to_row
from quiz.storage.store import Answer, Row, Store

PAPER = "paper"
"""What a sitting is for whose marks come at its end: a mock paper."""
PAPERS_UNDER_WAY = (
    "SELECT k.sitting FROM kept_to k JOIN sittings s ON s.id = k.sitting "
    "WHERE s.learner = ?1 AND s.ended_at IS NULL AND k.what = 'paper'"
)
LOOKED_AT = 400
"""Answers looked back on for the last one that shows a mistake."""


@dataclass(frozen=True)
class WorkedExample:
    """How far a learner is through the worked example of a type."""

    type: str
    parts: int
    """1: read with every line; 2: and with one line left out."""
    at: float


def aim_of(store: Store, kind: type[Row], sitting_id: int) -> Row | None:
    """Return what a sitting is for; None where it is for nothing in particular."""
    return store.fetch_one(kind, "SELECT * FROM kept_to WHERE sitting = ?", sitting_id)


def keep_aim(store: Store, sitting_id: int, aim: object) -> None:
    """Keep what a sitting is for."""
    store.add("kept_to", {"sitting": sitting_id, **to_row(aim)})


def types_dealt_in(store: Store, sitting_id: int) -> list[str]:
    """Return the types of the cases dealt in a sitting, the earliest first."""
    return [row[0] for row in store.fetch("SELECT type FROM dealt WHERE sitting = ? ORDER BY dealt_at, id", sitting_id)]


def last_whole_sitting(store: Store, learner_id: int, *, minutes: float) -> float | None:
    """Return when a learner's latest sitting began that had this many minutes and used them; None without one."""
    sql = (
        "SELECT max(started_at) FROM sittings WHERE learner = ? AND drill IS NULL AND ended_at IS NOT NULL "
        "AND minutes >= ? AND ended_at - started_at >= 60 * minutes"
    )
    [row] = store.fetch(sql, learner_id, minutes)
    return None if row[0] is None else float(row[0])


def withheld(store: Store, learner_id: int) -> list[Answer]:
    """Return the answers of a learner's mock paper that is under way: its marks come at its end."""
    # There is none, or one: asked for first, so that no planner reads the whole log in search of none.
    return [one for row in store.fetch(PAPERS_UNDER_WAY, learner_id) for one in store.answers_in(row[0])]


def paces(store: Store, learner_id: int, *, most: int) -> list[tuple[str, float]]:
    """Return type and seconds of a learner's latest answers that were timed, the latest first."""
    sql = (
        "SELECT type, seconds FROM (SELECT type, seconds FROM answers WHERE learner = ? ORDER BY id DESC LIMIT ?) a "
        "WHERE seconds IS NOT NULL"
    )
    return [(row[0], float(row[1])) for row in store.fetch(sql, learner_id, most)]


def last_that_showed(store: Store, learner_id: int, key: SlipKey) -> Answer | None:
    """Return the latest of a learner's last answers that a mistake would explain, its marks told."""
    step, slip = key
    # The log writes JSON without spaces, so a slip at its step always reads like this.
    sql = (  # what is put in stands above
        f"SELECT * FROM (SELECT * FROM answers WHERE learner = ?1 ORDER BY id DESC LIMIT {LOOKED_AT}) a "  # noqa: S608
        "WHERE verdict IN ('slip', 'wrong') AND instr(explanations, ?2) > 0 AND (drill IS NULL OR EXISTS ("
        "SELECT 1 FROM drills d JOIN sittings s ON s.id = a.sitting "
        "WHERE d.id = a.drill AND (d.feedback = 'once' OR s.ended_at IS NOT NULL))) "
        f"AND sitting NOT IN ({PAPERS_UNDER_WAY}) ORDER BY id DESC LIMIT 1"
    )
    return store.fetch_one(Answer, sql, learner_id, f'["{step}","{slip}"]')


# --- worked examples ---------------------------------------------------------------------------------------------


def worked_of(store: Store, learner_id: int) -> dict[str, WorkedExample]:
    """Return how far a learner is through worked examples, by type."""
    found = store.fetch_as(WorkedExample, "SELECT type, parts, at FROM worked WHERE learner = ?", learner_id)
    return {one.type: one for one in found}


def keep_worked(store: Store, learner_id: int, type_id: str, parts: int, *, now: float) -> None:
    """Keep that a learner went through this many parts of a type's worked example; never fewer than before."""
    store.change(
        "INSERT INTO worked (learner, type, parts, at) VALUES (?1, ?2, ?3, ?4) "
        "ON CONFLICT (learner, type) DO UPDATE SET parts = max(worked.parts, ?3), at = ?4",
        learner_id,
        type_id,
        parts,
        now,
    )


def put_now(store: Store, dealt_id: str, *, now: float) -> None:
    """Let an open case count from now: what came before it on the screen was no time spent on it."""
    store.change("UPDATE dealt SET dealt_at = ? WHERE id = ? AND closed_at IS NULL", now, dealt_id)
