"""A calendar file (iCalendar, RFC 5545) of what may be forgotten when: a file, no feed, whose address would tell.

Needs icalendar, which no other page does, so it is loaded here when it is asked for.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from quiz.learning import words
from quiz.learning.state import DAY
from quiz.practice import learners
from quiz.practice.titles import step_title
from quiz.storage import projection
from quiz.storage.store import Learner, Store

AHEAD_DAYS = 90
NAMED_AT_MOST = 6


def fading_days(store: Store, learner: Learner, *, now: float) -> dict[date, tuple[str, ...]]:
    """Return the days from which steps may be forgotten without practice, with their titles.

    What may be forgotten already is named today.
    """
    state = projection.told_of(store, learner)
    out: dict[date, list[str]] = {}
    for step in state.steps:
        at = words.slips_on(state, step, now, within_days=AHEAD_DAYS)
        if at is not None:
            out.setdefault(datetime.fromtimestamp(at, UTC).date(), []).append(step_title(step))
    return {day: tuple(sorted(out[day])) for day in sorted(out)}


def calendar(store: Store, learner: Learner, *, now: float) -> bytes:
    """Write the days as all-day events, and the day of the exam."""
    from icalendar import Calendar, Event

    found = Calendar()
    found.add("prodid", "-//Two Meridians//what fades when//EN")
    found.add("version", "2.0")
    events = [
        (day, f"Two Meridians: {_words(steps)}", day.isoformat())
        for day, steps in fading_days(store, learner, now=now).items()
    ]
    exam = learners.settings_of(learner).exam_at
    if exam is not None and exam >= now - DAY:
        events.append((datetime.fromtimestamp(exam, UTC).date(), "Two Meridians: your exam", "exam"))
    for day, summary, name in events:
        event = Event()
        # The same file opened again replaces its events instead of doubling them.
        event.add("uid", f"{name}-{learner.id}@two-meridians")
        event.add("dtstamp", datetime.fromtimestamp(now, UTC))
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))
        event.add("summary", summary)
        event.add("transp", "TRANSPARENT")
        found.add_component(event)
    return bytes(found.to_ical())


def _words(steps: tuple[str, ...]) -> str:
    named = "; ".join(steps[:NAMED_AT_MOST])
    if len(steps) > NAMED_AT_MOST:
        return f"without practice you may forget: {named}; and others"
    return f"without practice you may forget: {named}"
