"""Reporting a doubtful case: kept with a note, for a preceptor to look at or for a file that can be sent on."""

from __future__ import annotations

from quiz.storage import doubt_queries
from quiz.storage.doubt_queries import Doubt
from quiz.storage.store import Learner, Store

LONGEST = 500
"""Characters of a note."""


def report(store: Store, learner: Learner, dealt_id: str, note: str, *, now: float) -> None:
    """Keep that a learner doubts a case of theirs that was marked; a second report of it changes nothing."""
    said = " ".join(note.split())[:LONGEST]
    with store.writing():
        doubt_queries.add_doubt(store, Doubt(dealt_id, learner.id, now, said))


def note_of(store: Store, dealt_id: str) -> str | None:
    """Return what was said of a case that was reported, "" where nothing was; None where it was not."""
    found = doubt_queries.doubt_of(store, dealt_id)
    return None if found is None else found.note
