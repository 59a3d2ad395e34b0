"""What a restore takes over of course platforms from the data file that stood there, or from the list beside backups.

A platform that was turned off or removed since the backup was made stays off, and a grade that was sent since stands.
"""

from __future__ import annotations

import csv
import hashlib
import io
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from quiz.storage import soundness
from quiz.storage.safekeeping.gone_list import write_whole

PLATFORMS = "platforms.csv"
SENT = """SELECT k.drill, d.made_at, r.issuer, u.subject, o.stamp FROM lti_outcomes o JOIN lti_links k ON k.id = o.link
    JOIN drills d ON d.id = k.drill JOIN lti_contexts c ON c.id = k.context JOIN lti_users u ON u.context = c.id
    AND u.learner = o.learner JOIN lti_deployments p ON p.id = c.deployment
    JOIN lti_registrations r ON r.id = p.registration WHERE o.sent_at IS NOT NULL"""
_EARLIER = """SELECT e.drill, d.made_at, e.person, e.why, e.on_day, e.allowed_at FROM lti_earlier_runs e
    JOIN drills d ON d.id = e.drill"""
_ACTIVE = "SELECT issuer, client_id FROM lti_registrations WHERE state = 'active'"


@dataclass(frozen=True)
class PlatformsSince:
    """How course platforms were when the backup was put back."""

    active: frozenset[tuple[str, str]] | None = None
    """Issuer and client of each that was on; None: not known."""
    sent: Sequence[tuple[int, float, str, str, float]] = ()
    """Grades that were sent: drill, when that was made, issuer, subject, stamp."""
    earlier: Sequence[tuple[int, float, str, str, str, float | None]] = ()
    """Earlier runs: drill, when that was made, person, why, day, when another was allowed."""


@dataclass(frozen=True)
class CarriedPlatforms:
    """What was taken over."""

    turned_off: tuple[str, ...] = ()
    """Platforms that were on in the backup and are off now, each in words."""
    still_on: tuple[str, ...] = ()
    """Platforms that let people in, each in words."""
    grades_held: int = 0
    """Grades that were sent after the backup was made: no other takes their place by itself."""


def mark_of(secret: str) -> str:
    """Return what tells a data file from others, as the list beside its backups has it."""
    return hashlib.sha256(f"data file {secret}".encode()).hexdigest()[:16]


def write_platforms(path: Path, secret: str, active: Iterable[tuple[str, str]]) -> None:
    """Write which platforms are on, so that one that was turned off is not turned on by an older backup.

    active: issuer and client of each.
    """
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    mark = mark_of(secret)
    lines.writerows([("data_file", "issuer", "client_id"), (mark, "", ""), *((mark, *one) for one in active)])
    write_whole(path, text.getvalue())


def _read_platforms(path: Path, secret: str) -> PlatformsSince:
    """Read that list; one that is of another data file, cannot be read or is not there says nothing."""
    with suppress(OSError, UnicodeDecodeError, csv.Error, KeyError, TypeError):
        rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
        if rows and all(row["data_file"] == mark_of(secret) for row in rows):
            return PlatformsSince(frozenset((row["issuer"], row["client_id"]) for row in rows if row["issuer"]))
    return PlatformsSince()


def platforms_since(path: Path, beside: Path, secret: str) -> PlatformsSince:
    """Return how platforms were in the data file that stands there; where it cannot say so, as the list beside has it.

    secret: the backup's own; a file with another says nothing of its platforms.
    """
    where = f"{path.resolve().as_uri()}?mode=ro"
    with suppress(*soundness.UNREADABLE), closing(sqlite3.connect(where, uri=True)) as conn:
        known = conn.execute("SELECT value FROM app WHERE name = 'secret'").fetchone()
        if known is not None and known[0] == secret:
            active = frozenset((str(row[0]), str(row[1])) for row in conn.execute(_ACTIVE))
            sent = [(row[0], row[1], row[2], row[3], row[4]) for row in conn.execute(SENT)]
            earlier = list[tuple[int, float, str, str, str, float | None]]()
            with suppress(sqlite3.OperationalError):  # a file from before there was this table
                earlier = [(row[0], row[1], row[2], row[3], row[4], row[5]) for row in conn.execute(_EARLIER)]
            return PlatformsSince(active, sent, earlier)
    return _read_platforms(beside, secret)
