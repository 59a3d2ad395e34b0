"""Backups of the data file: made while learners answer, and put back. Whether a file is sound is checks.py's question.

A backup holds everything: answers, names, password hashes and the key that cookies are signed with, so that a class
goes on after a restore as if nothing had been. It is to be kept as safe as the data file itself.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from quiz.errors import QuizError
from quiz.storage import class_queries, soundness
from quiz.storage.datafile import (
    PATIENCE,
    DataFile,
    NoFile,
    NotOurs,
    Refused,
    code_of,
    corrupt,
    is_fresh,
    refusal,
    refuse_newer,
)
from quiz.storage.organisation import school_queries
from quiz.storage.platform import earlier_runs, lti_queries
from quiz.storage.platform.earlier_runs import EarlierRun
from quiz.storage.safekeeping.carried_platforms import (
    PLATFORMS,
    SENT,
    CarriedPlatforms,
    PlatformsSince,
    platforms_since,
)
from quiz.storage.safekeeping.gone_list import (
    GONE,
    GONE_PRECEPTORS,
    Gone,
    GonePreceptor,
    read_gone,
    read_gone_preceptors,
)
from quiz.storage.store import Store

_BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a file while it is in use."""


class BadPlace(QuizError):
    """A backup that cannot be written where it was asked for."""


class InUse(QuizError):
    """A data file that is open elsewhere, so that another cannot take its place."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"data file {path}: it is in use; stop the app that serves it, then restore once more")


@dataclass(frozen=True)
class Restored:
    """What a restore did."""

    path: Path
    set_aside: Path | None
    """Where the data file went that stood there before."""
    removed_again: int = 0
    """Learners who had been deleted since the backup was made, and so were deleted from it too."""
    turned_away: int = 0
    """Preceptors who had been removed from a school since, and so were removed again, each school counted."""
    platforms: CarriedPlatforms = field(default_factory=CarriedPlatforms)
    """Course platforms that stay off, those that are on, and grades that stand."""


def backup(source: Path, to: Path, *, patience: float = PATIENCE) -> int:
    """Copy a data file as it is at one moment, while others go on writing to it; return the size in bytes.

    The copy is one file, readable by its owner alone, checked from end to end before it gets its name.

    Raises
    ------
    Refused
        When the data file is not ours, is damaged, or cannot be read.
    BadPlace
        When there is a file of that name already, or the copy cannot be written there.
    """
    if to.exists():
        raise BadPlace(f"backup {to}: there is something of that name already; give another, with the date perhaps")
    with _part_of(to) as part:
        snapshot(source, part, patience=patience)
        size = part.stat().st_size
        part.replace(to)
        _sync_folder(to)
    return size


def snapshot(source: Path, to: Path, *, patience: float = PATIENCE, restore_to: Path | None = None) -> None:
    """Copy a data file as it is at one moment into an empty file, and look the copy over from end to end.

    restore_to: the data file, where the source is a backup of it.

    Raises
    ------
    Refused, BadPlace
        As `backup` does.
    """
    if is_fresh(source):
        raise NoFile(source)
    with closing(sqlite3.connect(to, isolation_level=None)) as copy:
        try:
            _copied(source, copy, patience)
            # The copy is to be one file that holds all, whatever the log beside the source held.
            copy.execute("PRAGMA journal_mode = DELETE")
            found = next(filter(None, soundness.damage(copy, pages="integrity_check")), None)
            if found:
                raise corrupt(source, found, restore_to=restore_to)
            refuse_newer(source, Database(copy))
        except soundness.UNREADABLE as error:
            if code_of(error) in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
                raise BadPlace(f"backup {to.parent}: it cannot be written there ({error}); make room first") from error
            raise refusal(source, error, restore_to=restore_to) from error
    _sync(to)


def _copied(source: Path, copy: sqlite3.Connection, patience: float) -> None:
    where = f"{source.resolve().as_uri()}?mode=rw"
    with closing(sqlite3.connect(where, uri=True, timeout=patience, isolation_level=None)) as conn:
        # The moment of the copy is held from here on: a lock of another is met here, where waiting has an end.
        conn.execute("BEGIN")
        conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
        conn.backup(copy)
        conn.execute("COMMIT")


def digest_of(copy: Path) -> Path:
    """Return where the SHA-256 of a backup is written, where it was made with one."""
    return copy.with_name(f"{copy.name}.sha256")


def sha256_of(copy: Path) -> str:
    """Work out the SHA-256 of a backup, as hexadecimal digits."""
    with copy.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def restore(copy: Path, path: Path, *, now: float, patience: float = PATIENCE) -> Restored:
    """Put a backup in the place of a data file; the one that stood there is set aside under another name.

    Nobody may have the data file open. Sign-ins of preceptors and invitations end, or one taken since would be good
    again.
    Learners deleted since the backup was made are deleted from it too, and preceptors removed from a school are removed
    again, as far as that can still be known: from the data file that stood there, and from the lists beside the backup.
    Course platforms turned off since stay off, and grades sent since stand, as far as that is known from there.
    At every moment there is a whole data file of that name, before or after.

    Raises
    ------
    Refused
        When the backup or the data file is not ours, or the backup is damaged, newer than this version, or not what
        its digest says.
    InUse, BadPlace
    """
    if not copy.exists():
        raise NoFile(copy)
    _as_its_digest_says(copy)
    try:
        fresh = is_fresh(path)
    except NotOurs as error:
        why = "this is no data file of Two Meridians, or its first bytes are damaged"
        raise Refused(path, why, "move it to another place, then run the command once more") from error
    with _part_of(path) as part:
        snapshot(copy, part, patience=patience, restore_to=path)
        since, preceptors = _gone_since(path, fresh=fresh)
        gone = (*read_gone(copy.parent / GONE), *since)
        preceptors = [*read_gone_preceptors(copy.parent / GONE_PRECEPTORS), *preceptors]
        removed, turned_away = _made_ready(part, {one.learner: one for one in gone}, preceptors)
        platforms = _with_platforms(part, path, copy.parent / PLATFORMS, now)
        if not fresh:
            _as_it_was_owned(part, path)
        aside = None if fresh else _set_aside(path, now)
        part.replace(path)
        _sync_folder(path)
    return Restored(path, aside, removed, turned_away, platforms)


def _as_its_digest_says(copy: Path) -> None:
    try:
        said = digest_of(copy).read_text(encoding="ascii").split()
    except (OSError, UnicodeDecodeError):
        return
    if said[:1] != [sha256_of(copy)]:
        raise Refused(
            copy, "it is not what its digest says, so it was changed since it was made", "take another backup"
        )


def _gone_since(path: Path, *, fresh: bool) -> tuple[list[Gone], list[GonePreceptor]]:
    """Return who was deleted from the data file that stands there, as far as it can be read."""
    learners: list[Gone] = []
    preceptors: list[GonePreceptor] = []
    if fresh:
        return learners, preceptors
    where = f"{path.resolve().as_uri()}?mode=ro"
    with suppress(*soundness.UNREADABLE), closing(sqlite3.connect(where, uri=True)) as conn:
        rows = conn.execute("SELECT learner, created_at, on_day, by_whom FROM gone_learners").fetchall()
        learners = [Gone(int(row[0]), float(row[1]), str(row[2]), str(row[3])) for row in rows]
        rows = conn.execute("SELECT school, preceptor, added_at, on_day, taker FROM gone_preceptors").fetchall()
        preceptors = [GonePreceptor(int(row[0]), int(row[1]), float(row[2]), str(row[3]), row[4]) for row in rows]
    return learners, preceptors


def _made_ready(part: Path, gone: Mapping[int, Gone], preceptors: Sequence[GonePreceptor]) -> tuple[int, int]:
    with closing(DataFile.open(part, look=0)) as file, closing(Store(file)) as store, store.writing():
        store.change("DELETE FROM sign_ins WHERE preceptor IS NOT NULL")
        school_queries.end_all_invitations(store)
        _keep_runs_of_gone(store, gone.values())
        removed = class_queries.remove_again(store, gone.values())
        turned_away = school_queries.remove_people_again(store, preceptors)
    _in_one_file(part)
    _sync(part)
    return removed, turned_away


def _with_platforms(part: Path, path: Path, beside: Path, now: float) -> CarriedPlatforms:
    with closing(DataFile.open(part, look=0)) as file, closing(Store(file)) as store, store.writing():
        carried = _carry(store, platforms_since(path, beside, store.secret()), now=now)
    _in_one_file(part)
    _sync(part)
    return carried


def _keep_runs_of_gone(store: Store, gone: Iterable[Gone]) -> None:
    """Keep of learners who are about to be deleted again which drills they had begun; inside `writing()`."""
    for one in gone:
        if store.fetch("SELECT 1 FROM learners WHERE id = ? AND created_at = ?", one.learner, one.created_at):
            earlier_runs.keep_of_learner(store, one.learner, on_day=one.on_day)


def _carry(store: Store, since: PlatformsSince, *, now: float) -> CarriedPlatforms:
    """Take over into a backup what is known of platforms since it was made; inside `writing()`."""
    off, on = [], []
    for one in lti_queries.registrations(store):
        if one.state != "active":
            continue
        if since.active is not None and (one.issuer, one.client_id) not in since.active:
            lti_queries.keep_registration_state(store, one.id, "off")
            lti_queries.end_sign_ins_of(store, one.id)
            off.append(f"{one.id} ({one.name})")
        else:
            on.append(f"{one.id} ({one.name})")
    drills = {(int(row[0]), float(row[1])) for row in store.fetch("SELECT id, made_at FROM drills")}
    for drill, made_at, person, why, on_day, allowed_at in since.earlier:
        if (drill, made_at) in drills:
            earlier_runs.keep(store, EarlierRun(drill, person, why, on_day, allowed_at))
    return CarriedPlatforms(tuple(off), tuple(on), _held(store, since.sent, drills, now))


def _held(
    store: Store, sent: Iterable[tuple[int, float, str, str, float]], drills: set[tuple[int, float]], now: float
) -> int:
    """Keep of each grade that the backup does not know as sent that it stands; return how many there are."""
    known = {(row[0], row[2], row[3], row[4]) for row in store.fetch(SENT)}
    deleted = {(one.drill, one.person) for one in earlier_runs.earlier_runs(store) if one.why == "deleted"}
    day = datetime.fromtimestamp(now).astimezone().date().isoformat()
    held = set()
    for drill, made_at, issuer, subject, stamp in sent:
        who = earlier_runs.person(store, issuer, subject)
        if (drill, made_at) not in drills or (drill, issuer, subject, stamp) in known or (drill, who) in deleted:
            continue
        earlier_runs.keep(store, EarlierRun(drill, who, "restored", day, None))
        held.add((drill, who))
    return len(held)


def _in_one_file(path: Path) -> None:
    """Take in the log beside a file; fails where anyone else has the file open."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=0.2)) as conn:
        conn.execute("PRAGMA journal_mode = DELETE")


def _as_it_was_owned(part: Path, path: Path) -> None:
    """Let the person who could use the file before use the new one."""
    was = path.stat()
    part.chmod(was.st_mode & 0o777)
    if hasattr(os, "chown"):
        with suppress(PermissionError):
            os.chown(part, was.st_uid, was.st_gid)


def _set_aside(path: Path, now: float) -> Path:
    try:
        _in_one_file(path)
    except sqlite3.OperationalError as error:
        if code_of(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise InUse(path) from error
        raise refusal(path, error) from error
    except soundness.UNREADABLE:
        pass  # damaged, which is why a backup is put in its place
    aside = _free_name(path, now)
    for end in _BESIDE:
        beside = Path(f"{path}{end}")
        if beside.exists():
            beside.rename(f"{aside}{end}")
    try:
        os.link(path, aside)
    except OSError:  # a file system without links
        shutil.copy2(path, aside)
    return aside


def _free_name(path: Path, now: float) -> Path:
    stem = f"{path}.before-restore-{time.strftime('%Y%m%d-%H%M%S', time.localtime(now))}"
    names = (Path(f"{stem}{f'-{number}' if number > 1 else ''}") for number in range(1, 1000))
    return next(one for one in names if not one.exists())


@contextmanager
def _part_of(path: Path) -> Iterator[Path]:
    """Make an empty file beside one that is to come, for its owner alone; it is gone when the block ends."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except OSError as error:
        raise BadPlace(f"{path}: nothing can be written there ({error.strerror}); give another place") from error
    try:
        yield part
    except OSError as error:
        raise BadPlace(f"{path}: it cannot be written ({error.strerror}); give another place") from error
    finally:
        for end in ("", *_BESIDE):
            with suppress(OSError):
                Path(f"{part}{end}").unlink(missing_ok=True)


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _sync_folder(path: Path) -> None:
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
