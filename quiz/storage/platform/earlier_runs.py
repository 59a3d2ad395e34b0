"""Who of a course platform has had a run through a drill that the data file no longer holds.

A learner may delete themselves, and the grade that the platform has stays as it was sent: what is kept of them is that
this person there has had a run through this drill, as a digest, without a name, an answer or a grade. A restore keeps
the same of grades that were sent after the backup was made. Functions that change anything must run inside
`store.writing()`.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from quiz.storage.store import Store


@dataclass(frozen=True)
class EarlierRun:
    """One person of a platform and one drill."""

    drill: int
    person: str
    why: str
    """"deleted": with its learner; "restored": a backup from before it was put back."""
    on_day: str
    allowed_at: float | None
    """When a preceptor let another grade take the place of the one that was sent; None: it stands."""


def person(store: Store, issuer: str, subject: str) -> str:
    """Return what tells a person of a platform from others, and from which nothing can be read."""
    return hashlib.sha256(f"{store.secret()} {issuer} {subject}".encode()).hexdigest()


def _people(store: Store, learner: int) -> list[str]:
    """Return the person that a learner is on each platform that they came by."""
    rows = store.fetch(
        "SELECT DISTINCT r.issuer, u.subject FROM lti_users u JOIN lti_contexts c ON c.id = u.context "
        "JOIN lti_deployments d ON d.id = c.deployment JOIN lti_registrations r ON r.id = d.registration "
        "WHERE u.learner = ?",
        learner,
    )
    return [person(store, row[0], row[1]) for row in rows]


def keep_of_learner(store: Store, learner: int, *, on_day: str) -> None:
    """Keep of a learner who is about to be deleted which drills they had begun, where they came by a platform."""
    people = _people(store, learner)
    drills = store.fetch("SELECT DISTINCT drill FROM sittings WHERE learner = ? AND drill IS NOT NULL", learner)
    for row in drills if people else ():
        for one in people:
            keep(store, EarlierRun(row[0], one, "deleted", on_day, None))


def keep(store: Store, one: EarlierRun) -> None:
    """Keep one; where there is one already, it is made as given."""
    store.change(
        "INSERT INTO lti_earlier_runs (drill, person, why, on_day, allowed_at) VALUES (?, ?, ?, ?, ?) "
        "ON CONFLICT (drill, person) DO UPDATE SET why = excluded.why, on_day = excluded.on_day, "
        "allowed_at = excluded.allowed_at",
        one.drill,
        one.person,
        one.why,
        one.on_day,
        one.allowed_at,
    )


def earlier_run(store: Store, drill: int, learner: int) -> EarlierRun | None:
    """Return the earlier run of a learner through a drill that no preceptor has let be replaced."""
    if not store.fetch("SELECT 1 FROM lti_earlier_runs WHERE drill = ? AND allowed_at IS NULL LIMIT 1", drill):
        return None
    sql = "SELECT * FROM lti_earlier_runs WHERE drill = ? AND person = ? AND allowed_at IS NULL"
    found = (store.fetch_one(EarlierRun, sql, drill, one) for one in _people(store, learner))
    return next((one for one in found if one is not None), None)


def allow(store: Store, drill: int, learner: int, now: float) -> None:
    """Let a learner's next grade in a drill take the place of the one that was sent."""
    for one in _people(store, learner):
        sql = "UPDATE lti_earlier_runs SET allowed_at = ? WHERE drill = ? AND person = ?"
        store.change(sql, now, drill, one)


def earlier_runs(store: Store) -> list[EarlierRun]:
    """Return them all."""
    return store.fetch_as(EarlierRun, "SELECT * FROM lti_earlier_runs ORDER BY drill, person")
