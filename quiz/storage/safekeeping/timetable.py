"""Backups on a timetable: a folder in which one is made every so often, each with a digest, the oldest thinned out.

Beside them stands who was deleted, by number alone (`gone.csv`, `gone-preceptors.csv`): an older backup that is put
back brings nobody back.
"""

from __future__ import annotations

import logging
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from quiz.errors import QuizError
from quiz.storage.class_queries import gone_learners
from quiz.storage.datafile import DataFile
from quiz.storage.organisation.school_queries import gone_preceptors
from quiz.storage.platform import lti_queries
from quiz.storage.safekeeping.backups import BadPlace, backup, digest_of, sha256_of
from quiz.storage.safekeeping.carried_platforms import PLATFORMS, write_platforms
from quiz.storage.safekeeping.gone_list import GONE, GONE_PRECEPTORS, write_gone, write_gone_preceptors, write_whole
from quiz.storage.store import Store

LOOK_S = 60.0
"""Seconds between two looks at whether a backup is due."""
AGAIN_S = 600.0
"""Seconds after which a backup that failed is tried again."""
LEAST_EVERY_S, MOST_EVERY_S = 600.0, 31 * 86400.0
LEAST_KEPT, MOST_KEPT = 2, 1000
_EVERY = re.compile(r"([0-9]{1,4}) ?(min|h|d)")
_NAME = re.compile(r"two-meridians-([0-9]{8}T[0-9]{6}Z)\.sqlite3")
_SECONDS = {"min": 60.0, "h": 3600.0, "d": 86400.0}


class BadTimetable(QuizError):
    """A time between backups, or a number of them, that cannot be."""


@dataclass(frozen=True)
class Made:
    """One backup of the folder."""

    path: Path
    at: float
    """When it was made, in seconds since 1970."""


def read_every(text: str) -> float:
    """Read a time between backups ("6h", "30min", "1d"), in seconds.

    Raises
    ------
    BadTimetable
    """
    found = _EVERY.fullmatch(text.strip())
    seconds = int(found[1]) * _SECONDS[found[2]] if found else 0.0
    if not LEAST_EVERY_S <= seconds <= MOST_EVERY_S:
        raise BadTimetable(f"a backup every {text[:20]}: write it like 6h, 30min or 1d, from 10min to 31d")
    return seconds


class Timetable:
    """Makes a backup when one is due; every question is answered from the folder, which a restart leaves as it is."""

    def __init__(self, folder: Path, *, every_s: float, keep: int) -> None:
        if not LEAST_KEPT <= keep <= MOST_KEPT:
            raise BadTimetable(f"{keep} backups to keep: give a number from {LEAST_KEPT} to {MOST_KEPT}")
        self.folder, self.every_s, self.keep = folder, every_s, keep
        self._problem = ""
        self.ask: Callable[[], str] | None = None
        """In a process that makes no backups itself: asks the one that does for the `last_problem`."""

    def last_problem(self) -> str:
        """Return why the last backup could not be made; "" when it could."""
        return self._problem if self.ask is None else self.ask()

    def begin(self) -> None:
        """Make the folder, for its owner alone.

        Raises
        ------
        BadPlace
        """
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            (probe := self.folder / ".probe").touch()
            probe.unlink()
        except OSError as error:
            raise BadPlace(f"backups {self.folder}: nothing can be written there ({error.strerror})") from error

    def made(self) -> list[Made]:
        """Return the backups in the folder, the newest first."""
        with suppress(OSError):
            return sorted(self._found(), key=lambda one: -one.at)
        return []

    def _found(self) -> Iterator[Made]:
        for path in self.folder.iterdir():
            if found := _NAME.fullmatch(path.name):
                yield Made(path, datetime.strptime(found[1], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC).timestamp())

    def is_due(self, now: float) -> bool:
        """Say whether the newest backup is older than it should be; one from the future does not count."""
        return not any(now - self.every_s < one.at <= now + LOOK_S for one in self.made())

    def make(self, file: DataFile, now: float) -> Made:
        """Make one backup, checked from end to end, with its digest; then remove the oldest beyond those kept.

        Raises
        ------
        Refused, BadPlace
        """
        stamp = datetime.fromtimestamp(now, UTC).strftime("%Y%m%dT%H%M%SZ")
        path = self.folder / f"two-meridians-{stamp}.sqlite3"
        backup(file.path, path)
        # As `sha256sum --check` reads it.
        write_whole(digest_of(path), f"{sha256_of(path)}  {path.name}\n")
        with closing(Store(file)) as store:
            write_gone(self.folder / GONE, gone_learners(store))
            write_gone_preceptors(self.folder / GONE_PRECEPTORS, gone_preceptors(store))
            active = [(one.issuer, one.client_id) for one in lti_queries.registrations(store) if one.state == "active"]
            write_platforms(self.folder / PLATFORMS, store.secret(), active)
        for old in self.made()[self.keep :]:
            old.path.unlink(missing_ok=True)
            digest_of(old.path).unlink(missing_ok=True)
        return Made(path, now)

    def run(self, file: DataFile, *, clock: Callable[[], float] = time.time) -> threading.Event:
        """Make backups as they fall due, in a thread of its own, until the event that is returned is set."""
        stop = threading.Event()

        def look() -> None:
            wait = 0.0
            while not stop.wait(wait):
                wait = LOOK_S if self._tried(file, clock()) else AGAIN_S

        threading.Thread(target=look, daemon=True, name="backups").start()
        return stop

    def _tried(self, file: DataFile, now: float) -> bool:
        if not self.is_due(now):
            return True
        try:
            self.make(file, now)
        except (QuizError, OSError) as error:
            self._problem = str(error)
            logging.getLogger("quiz").error("no backup was made: %s", error)  # noqa: TRY400 - one line says it
            return False
        self._problem = ""
        return True
