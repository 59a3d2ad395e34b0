"""Every question to the data file about runs that were worked on paper and typed in by a preceptor.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass

from quiz.storage import projection, result_queries
from quiz.storage.store import Learner, Store


@dataclass(frozen=True)
class PaperRun:
    """A run through a drill on paper."""

    sitting: int
    preceptor: str
    """The name of the person who typed it in."""
    version: str
    """Of the sheet: "A", "B", or "" for the one sheet of all."""


def keep(store: Store, run: PaperRun) -> None:
    """Keep that a run was on paper."""
    store.add("paper_runs", run)


def runs_in(store: Store, drill_id: int) -> dict[int, PaperRun]:
    """Return the runs through a drill that were on paper, by learner."""
    sql = "SELECT p.*, s.learner FROM paper_runs p JOIN sittings s ON s.id = p.sitting WHERE s.drill = ?"
    return {
        row["learner"]: PaperRun(row["sitting"], row["preceptor"], row["version"]) for row in store.fetch(sql, drill_id)
    }


def run_of(store: Store, sitting_id: int) -> PaperRun | None:
    """Return how a run was on paper; None where it was not."""
    return store.fetch_one(PaperRun, "SELECT * FROM paper_runs WHERE sitting = ?", sitting_id)


def drills_on_paper(store: Store, class_id: int) -> dict[int, list[str]]:
    """Return the titles of the drills of a class that learners did on paper, by learner."""
    found: dict[int, list[str]] = {}
    sql = (
        "SELECT s.learner, d.title FROM paper_runs p JOIN sittings s ON s.id = p.sitting "
        "JOIN drills d ON d.id = s.drill WHERE d.class = ? ORDER BY d.id"
    )
    for learner, title in store.fetch(sql, class_id):
        found.setdefault(learner, []).append(title)
    return found


def take_back(store: Store, learner: Learner, run: PaperRun) -> None:
    """Remove a run that was on paper with its answers, and fold what is left again."""
    store.change("DELETE FROM sittings WHERE id = ? AND id IN (SELECT sitting FROM paper_runs)", run.sitting)
    projection.keep(store, learner.id, projection.refolded(store, learner.id))
    result_queries.tally_anew(store, learner)
