"""What drills and moments look like in words: open or closed, until when. Times are this computer's own."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quiz.class_store import Drill


def moment(at: float) -> str:
    """Write a moment in this computer's own time: "Tue 3 Mar 2026, 14:05"."""
    when = datetime.fromtimestamp(at).astimezone()
    return f"{when:%a} {when.day} {when:%b %Y, %H:%M}"


def state_words(drill: Drill, now: float) -> str:
    """Say whether a drill is open, and until when."""
    if drill.state == "draft":
        return "draft: no learner sees it"
    if drill.state == "closed":
        return "closed"
    if drill.opens_at is not None and now < drill.opens_at:
        return f"opens {moment(drill.opens_at)}"
    if drill.closes_at is None:
        return "open"
    return f"open until {moment(drill.closes_at)}" if now < drill.closes_at else f"closed {moment(drill.closes_at)}"


@dataclass(frozen=True)
class DrillRow:
    """One drill in a list."""

    id: int
    title: str
    length: str
    state: str


def drill_row(drill: Drill, now: float) -> DrillRow:
    """Return a drill as a list shows it."""
    return DrillRow(drill.id, drill.title, drill.length, state_words(drill, now))
