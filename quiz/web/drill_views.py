"""What drills and moments look like in words: open or closed, until when, the score. Times are this computer's own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from quiz.classroom.drills import Outcome
from quiz.storage.class_queries import Allowance, Deletion, Drill
from quiz.storage.doubt_queries import Remark


def moment(at: float) -> str:
    """Write a moment in this computer's own time: "Tue 3 Mar 2026, 14:05"."""
    when = datetime.fromtimestamp(at).astimezone()
    return f"{day(when)}, {when:%H:%M}"


def day(when: date) -> str:
    """Write a day: "Tue 3 Mar 2026"."""
    return f"{when:%a} {when.day} {when:%b %Y}"


def iso_day(text: str) -> date:
    """Read a day that is kept as ISO 8601."""
    return date.fromisoformat(text)


def day_of(at: float) -> str:
    """Write the day of a moment in this computer's own time."""
    return day(datetime.fromtimestamp(at).astimezone())


def score_words(drill: Drill, came: Outcome) -> str:
    """Write a score: "3 of 4 right: 75 %", or "3 right in 5 minutes" where there is nothing that it is a share of."""
    if came.per_cent is None:
        return f"{came.right} right in {drill.length}"
    return f"{came.right} of {came.asked} right: {per_cent_words(came)}"


def per_cent_words(came: Outcome) -> str:
    """Write the share of a score, and say so where it is rounded down."""
    return f"{came.per_cent} %{' (rounded down)' if came.rounded_down else ''}"


@dataclass(frozen=True)
class RemarkView:
    """What a preceptor wrote about an answer, and who and when."""

    note: str
    by: str


def remark_view(one: Remark | None) -> RemarkView | None:
    """Return a remark as a page shows it."""
    return None if one is None else RemarkView(one.note, f"{one.preceptor}, {moment(one.at)}")


def deletion_words(one: Deletion) -> str:
    """Say what stays of learners who had begun a drill and are gone."""
    who = "Answers of a learner" if one.learners == 1 else f"Answers of {one.learners} learners"
    if one.name is not None and one.learners == 1:
        who = f"The answers of {one.name} ({one.number})" if one.number else f"The answers of {one.name}"
    by = ("their owner" if one.learners == 1 else "their owners") if one.by_whom == "owner" else "a preceptor"
    return f"{who} were deleted by {by} on {day(date.fromisoformat(one.on_day))}."


def state_words(drill: Drill, now: float) -> str:
    """Say whether a drill is open, and until when."""
    if drill.state == "draft":
        return "draft: no learner sees it"
    if drill.state == "closed":
        return f"closed {moment(drill.closed_at)}" if drill.closed_at is not None else "closed"
    if drill.opens_at is not None and now < drill.opens_at:
        return f"opens {moment(drill.opens_at)}"
    if drill.closes_at is None:
        return "open"
    return f"open until {moment(drill.closes_at)}" if now < drill.closes_at else f"closed {moment(drill.closes_at)}"


def allowance_words(given: Allowance) -> str:
    """Say what a learner has beyond the others."""
    words = [f"until {moment(given.closes_at)}"] if given.closes_at is not None else []
    words += [f"{given.extra_minutes:g} minutes more"] if given.extra_minutes else []
    words += [f"{given.extra_time} % extra time"] if given.extra_time else []
    return ", ".join(words)


@dataclass(frozen=True)
class DrillRow:
    """One drill in a list."""

    id: int
    title: str
    length: str
    state: str
    for_whom: str
    """The learner, the groups or the number of people whom it is for; "" where it is for all."""


def drill_row(drill: Drill, now: float, names: Mapping[int, str], chosen: str = "") -> DrillRow:
    """Return a drill as a list shows it; names are the learners' of its class, chosen for whom it is."""
    for_whom = names.get(drill.for_learner or 0, "") or chosen
    return DrillRow(drill.id, drill.title, drill.length, state_words(drill, now), for_whom)


def chosen_words(groups: Sequence[str], people: Sequence[str]) -> str:
    """Say for whom a drill is: groups by name, people by name where they are few; "" for the whole class."""
    few = list(people) if len(people) <= 3 else [f"{len(people)} people"]
    return ", ".join([*groups, *few])
