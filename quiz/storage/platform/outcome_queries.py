"""Every question to the data file about grades that are to be sent to platforms, and those that were.

Triggers of the schema make a grade due in the transaction in which a run ends. Functions that change anything must run
inside `store.writing()`.
"""

from __future__ import annotations

from dataclasses import dataclass

from quiz.storage.store import Store


@dataclass(frozen=True)
class DueGrade:
    """One learner's grade at one link, and how far its sending is."""

    link: int
    learner: int
    given: float | None
    """What was sent, or is being sent; None: still to be worked out."""
    maximum: float | None
    comment: str | None
    stamp: float | None
    """The time stamp that it was sent with, seconds since 1970; the next one's is later."""
    tries: int
    next_at: float | None
    """When it is to be sent; None: it was, or will not be."""
    sent_at: float | None
    last_error: str | None


def next_due(store: Store, now: float) -> DueGrade | None:
    """Return the grade that has been due the longest."""
    sql = (
        "SELECT * FROM lti_outcomes WHERE next_at IS NOT NULL AND next_at <= ? ORDER BY next_at, link, learner LIMIT 1"
    )
    return store.fetch_one(DueGrade, sql, now)


def claim(store: Store, due: DueGrade, until: float) -> bool:
    """Keep a grade from other processes until then; False where it is not due as it was read any more."""
    sql = "UPDATE lti_outcomes SET next_at = ? WHERE link = ? AND learner = ? AND next_at = ?"
    return store.change(sql, until, due.link, due.learner, due.next_at) == 1


def grade(store: Store, link: int, learner: int) -> DueGrade | None:
    """Return a learner's grade at a link."""
    return store.fetch_one(DueGrade, "SELECT * FROM lti_outcomes WHERE link = ? AND learner = ?", link, learner)


@dataclass(frozen=True)
class GradeThere:
    """How far a learner's grade for a drill is on its way to one course."""

    course: str
    given: float | None
    maximum: float | None
    next_at: float | None
    """When it is to be sent; None: it was, or will not be."""
    sent_at: float | None
    last_error: str | None

    @property
    def on_its_way(self) -> bool:
        """Whether it is about to be sent for the first time."""
        return self.next_at is not None and self.sent_at is None and self.last_error is None


def grades_in_courses(store: Store, drill: int, learner: int) -> list[GradeThere]:
    """Return how far a learner's grade is for each link of their courses that has a column for a drill."""
    return store.fetch_as(
        GradeThere,
        "SELECT c.title AS course, o.given, o.maximum, o.next_at, o.sent_at, o.last_error FROM lti_links k "
        "JOIN lti_contexts c ON c.id = k.context JOIN lti_users u ON u.context = c.id AND u.learner = ? "
        "LEFT JOIN lti_outcomes o ON o.link = k.id AND o.learner = u.learner "
        "WHERE k.drill = ? AND k.lineitem_url IS NOT NULL ORDER BY k.id",
        learner,
        drill,
    )


def grades_at(store: Store, link: int) -> list[DueGrade]:
    """Return the grades at a link."""
    return store.fetch_as(DueGrade, "SELECT * FROM lti_outcomes WHERE link = ? ORDER BY learner", link)


def make_due(store: Store, link: int, learner: int, now: float) -> None:
    """Let a grade be worked out and sent."""
    store.change(
        "INSERT INTO lti_outcomes (link, learner, next_at) VALUES (?1, ?2, ?3) ON CONFLICT (link, learner) DO UPDATE "
        "SET next_at = ?3, given = NULL, tries = 0, sent_at = NULL, last_error = NULL",
        link,
        learner,
        now,
    )


def make_ended_due(store: Store, learner: int) -> None:
    """Let the grades be sent of a learner's runs that ended before it was known who they are in a course."""
    store.change(
        "INSERT INTO lti_outcomes (link, learner, next_at) SELECT k.id, u.learner, s.ended_at FROM sittings s "
        "JOIN lti_links k ON k.drill = s.drill AND k.lineitem_url IS NOT NULL "
        "JOIN lti_users u ON u.context = k.context AND u.learner = s.learner "
        "WHERE s.learner = ? AND s.ended_at IS NOT NULL ON CONFLICT (link, learner) DO NOTHING",
        learner,
    )


def make_failed_due(store: Store, now: float, *, link: int | None = None) -> int:
    """Let every grade that could not be sent be tried again, at one link or at all; return how many there are."""
    return store.change(
        "UPDATE lti_outcomes SET next_at = ?1, tries = 0, given = NULL "
        "WHERE sent_at IS NULL AND (last_error IS NOT NULL OR next_at IS NOT NULL) AND (link = ?2 OR ?2 IS NULL)",
        now,
        link,
    )


def settle(store: Store, due: DueGrade) -> None:
    """Keep what is about to be sent, with its stamp."""
    store.change(
        "UPDATE lti_outcomes SET given = ?, maximum = ?, comment = ?, stamp = ? WHERE link = ? AND learner = ?",
        due.given,
        due.maximum,
        due.comment,
        due.stamp,
        due.link,
        due.learner,
    )


def hold(store: Store, due: DueGrade, why: str) -> None:
    """Keep a grade back, with the reason, until somebody lets it be sent."""
    store.change(
        "UPDATE lti_outcomes SET next_at = NULL, given = NULL, last_error = ? WHERE link = ? AND learner = ?",
        why,
        due.link,
        due.learner,
    )


def forget(store: Store, due: DueGrade) -> None:
    """Remove a grade for which there is no score."""
    store.change("DELETE FROM lti_outcomes WHERE link = ? AND learner = ?", due.link, due.learner)


def keep_sent(store: Store, due: DueGrade, now: float) -> None:
    """Keep that a grade was sent, unless another is due by now."""
    store.change(
        "UPDATE lti_outcomes SET sent_at = ?, next_at = NULL, last_error = NULL, tries = tries + 1 "
        "WHERE link = ? AND learner = ? AND given IS NOT NULL AND stamp = ?",
        now,
        due.link,
        due.learner,
        due.stamp,
    )


def keep_failed(store: Store, due: DueGrade, why: str, next_at: float | None, *, restamp: bool) -> None:
    """Keep why a grade could not be sent and when it is tried again; `restamp`: with a later time stamp."""
    given = "NULL" if restamp else "given"
    store.change(
        f"UPDATE lti_outcomes SET tries = tries + 1, next_at = ?, last_error = ?, given = {given} "  # noqa: S608
        "WHERE link = ? AND learner = ? AND given IS NOT NULL AND stamp = ?",
        next_at,
        why,
        due.link,
        due.learner,
        due.stamp,
    )
