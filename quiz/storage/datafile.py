"""The data file as a whole: recognised as ours, opened or refused, made ready. Asking it is store.py's.

`DataFile` is the embedded engine, the default; the other one, PostgreSQL, is in engines/.
"""

from __future__ import annotations

import hashlib
import os
import shlex
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlite_utils import Database

from cases.errors import CaseError
from quiz.errors import QuizError
from quiz.storage import soundness
from quiz.storage.engines.address import Address
from quiz.storage.schema import MIGRATIONS

APPLICATION_ID = 0x324D5244
"""Bytes 68 to 71 of every data file of ours: "2MRD"."""
PATIENCE = 5.0
"""Seconds to wait for another process that is writing."""
LEAST_PATIENCE = 0.01
MOST_IDLE = 16
BACKUPS_TRIED = 3
PAGES_AT_ONCE = 16 * 1024 * 1024
"""Bytes of a file whose pages are looked over before it is served, in some 0.1 s; a larger one's meanwhile."""
READERS_PATIENCE_MS = 200
"""How long the person who deletes something waits for readers who still look at the log from before."""

NOT_AS_WRITTEN = (ValueError, TypeError, LookupError, AttributeError, RecursionError, QuizError, CaseError)
"""What making a row into something raises where a cell does not hold what was written into it."""
_MAGIC = b"SQLite format 3\x00"
_LOCKED = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_NO_ROOM = (sqlite3.SQLITE_FULL,)
_OUT_OF_REACH = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR)
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


Where = Path | Address
"""What `--data` names."""


def named(where: Where) -> str:
    """Return what a message begins with: which data file, or which database."""
    return f"data file {where}" if isinstance(where, Path) else f"database {where}"


class Refused(QuizError):
    """A data file or a database that will not be opened; it is left as it was."""

    def __init__(self, path: Where, why: str, way_out: str) -> None:
        super().__init__(f"{named(path)}: {why}; {way_out}")


class Damaged(Refused):
    """A data file that is damaged. `what` says where, as far as that is known; `way_out` how to put a backup back."""

    def __init__(self, path: Where, what: str, way_out: str) -> None:
        super().__init__(path, f"it is damaged ({what})", way_out)
        self.what, self.way_out = what, way_out


class NoFile(Refused):
    """There is no data file where one was expected."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            path, "there is no such file", "make it with `serve` or `add-preceptor`, or give another with --data"
        )


class NotOurs(Refused):
    """A file that does not begin as a data file of ours does."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, "this is not a data file of Two Meridians", "it was left as it is; give another file")


class Busy(QuizError):
    """Another process kept the data file to itself for longer than anyone should wait."""

    def __init__(self, path: Where) -> None:
        super().__init__(f"{named(path)}: another program has it locked; try again in a moment")


class Away(QuizError):
    """The database cannot be reached. What was being changed is kept whole or not at all."""

    def __init__(self, address: Address, why: str) -> None:
        super().__init__(f"{named(address)}: it cannot be reached ({why}); try again in a moment")


class NotKept(QuizError):
    """The data file could not be written to, so that nothing of this change was kept; what was there before stands."""

    def __init__(self, path: Where, why: str) -> None:
        super().__init__(f"{named(path)}: {why}; nothing of this change was saved; what was there before is unchanged")
        self.why = why


class DataFile:
    """One data file, open for the life of the process.

    An anchor connection stays open, since closing the last one would take the write-ahead log away. Every writer of
    this process takes one lock first: SQLite's own waiting sleeps, and would be ten times slower.
    """

    wipes = True

    def __init__(self, path: Path, patience: float) -> None:
        self.path = path
        self.patience = patience
        self._lock = threading.Lock()
        self._anchor: Database | None = None
        self._idle: list[Database] = []
        self._is: tuple[int, int] | None = None
        self._traces = False
        """Whether what was deleted may still stand in the log beside the file."""
        self._blocked: tuple[float, float] | None = None
        """Since when another program has been met that keeps the file locked, and when last; by `time.monotonic`."""
        self.looked_over = True
        """Whether the file was looked over from end to end when it was opened."""
        self._damage: Damaged | None = None

    @classmethod
    def open(cls, path: Path, *, patience: float = PATIENCE, look: float | None = None) -> DataFile:
        """Open the data file, made again where there is none, and look it over.

        look: seconds of a processor after which looking it over is left to `look_over`; None to wait for the end of it.

        Raises
        ------
        Refused
            When it is not ours, is locked, damaged or cannot be written, or was written by a newer version.
        """
        file = cls(path, patience)
        fresh = is_fresh(path)
        try:
            with told(path):
                file._anchor = file._connect(fresh=fresh)
                file._make_ready(file._anchor, fresh=fresh, look=look)
                file._is = _identity(path)
        except BaseException:
            file.close()
            raise
        return file

    def look_over(self) -> Iterator[None]:
        """Look the file over from end to end in turns while it is in use; once it is found damaged nothing is lent.

        Raises
        ------
        Damaged
        """
        with self.reading():
            db = self.connect()
        with closing(db.conn):
            for found in soundness.damage(db.conn, pages="integrity_check", references=True):
                if found:
                    self._damage = corrupt(self.path, found)
                    raise self._damage
                yield
        self.looked_over = True

    def close(self) -> None:
        """Close the anchor, and every connection that waits to be lent."""
        while self._idle:
            self._idle.pop().conn.close()
        if self._anchor is not None:
            self._anchor.conn.close()
            self._anchor = None

    def lend(self) -> Database:
        """Lend a connection for one request or one command: one that was given back, or else a new one.

        Opening one costs as much as a small page, and one that has been used knows its questions already.

        Raises
        ------
        NotKept
            When the file was moved away or replaced since it was opened: nothing may be written to what is left of it.
        Damaged
            When it was found damaged since.
        """
        if self._damage is not None:
            raise self._damage
        if _identity(self.path) != self._is:
            raise NotKept(self.path, "it was moved or replaced while it was in use; stop the app and start it again")
        try:
            return self._idle.pop()
        except IndexError:
            pass
        with self.reading():
            return self.connect()

    def give_back(self, db: Database) -> None:
        """Take a lent connection back."""
        if self._anchor is None or db.conn.in_transaction or len(self._idle) >= MOST_IDLE:
            db.conn.close()
        else:
            self._idle.append(db)

    def connect(self) -> Database:
        """Open a connection that is closed by the person who opened it."""
        return self._connect(fresh=False)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Say in one line what stands in the way of reading: a lock, the disk, or what stands in the file.

        Raises
        ------
        Busy, NotKept
        Damaged
            When a page, a text or the JSON in a cell cannot be read.
        """
        try:
            yield
        except NOT_AS_WRITTEN as error:
            raise self._met(error) from error
        except sqlite3.DatabaseError as error:
            if is_damage(error):
                raise self._met(error) from error
            if code_of(error) in _LOCKED:
                raise Busy(self.path) from error
            if code_of(error) in _OUT_OF_REACH:
                raise NotKept(self.path, f"the disk cannot be read ({error})") from error
            raise

    @property
    def where(self) -> Path:
        """The file's path."""
        return self.path

    @property
    def name(self) -> str:
        """The file's path, as people are told it."""
        return str(self.path)

    def fetch(self, db: Database, sql: str, values: tuple[Any, ...]) -> list[Any]:
        """Return the rows that a question finds."""
        return db.conn.execute(sql, _bound(sql, values)).fetchall()

    def change(self, db: Database, sql: str, values: tuple[Any, ...]) -> int:
        """Carry a change out and return how many rows it met."""
        return db.conn.execute(sql, _bound(sql, values)).rowcount

    def add(self, db: Database, table: str, row: Mapping[str, Any], conflict: str) -> int:
        """Add a row and return its number; 0 where nothing was added."""
        names, holes = '", "'.join(row), ", ".join([f":{name}" for name in row])
        # Table and column names come from dataclasses and modules of ours, never from a request.
        done = db.conn.execute(f'INSERT INTO {table} ("{names}") VALUES ({holes}) {conflict}', row)  # noqa: S608
        return (done.lastrowid or 0) if done.rowcount else 0

    @contextmanager
    def writing(
        self,
        db: Database,
        *,
        learner: int | None = None,  # noqa: ARG002 - a file has one lock, whoever's rows are changed
        patience: float | None = None,
        waited: Callable[[float], None] = lambda _: None,
    ) -> Iterator[None]:
        """Hold the only writing transaction there is; what was written stands once the block is left without error.

        Who else has the file locked is waited for, by all together: `patience` seconds (by default the file's own)
        from the moment when the first of them met the lock. `waited` is told for how long.

        Raises
        ------
        Busy
            When another process has the file locked.
        NotKept
            When the disk is full or does not take it.
        Damaged
            When the file turns out to be damaged.
        """
        came = time.monotonic()
        self._begin(db, self.patience if patience is None else patience)
        waited(time.monotonic() - came)
        try:
            with self._writes_told():
                try:
                    yield
                    db.conn.execute("COMMIT")
                    if self._traces:
                        self._wipe(db, wait_ms=0)
                except BaseException:
                    if db.conn.in_transaction:
                        db.conn.execute("ROLLBACK")
                    raise
        finally:
            self._lock.release()

    def _begin(self, db: Database, patience: float) -> None:
        """Begin to write, holding the lock of this process."""
        began = time.monotonic()
        until = began + patience
        if not self._lock.acquire(timeout=self._wait(until)):
            raise Busy(self.path)
        try:
            with self._writes_told(), self._waiting(db, self._wait(until)):
                now = time.monotonic()
                first, _ = self._blocked or (now, now)
                # Set before it is known, so that the person who comes meanwhile counts from here too.
                self._blocked = first, now
                try:
                    db.conn.execute("BEGIN IMMEDIATE")
                except sqlite3.OperationalError:
                    self._blocked = first, time.monotonic()
                    raise
                self._blocked = None
        except BaseException:
            self._lock.release()
            raise

    def _wait(self, until: float) -> float:
        """Return for how long to wait yet for a lock that others may have been waiting for already, in seconds."""
        now, blocked = time.monotonic(), self._blocked
        if blocked is not None:
            first, last = blocked
            if now - last > self.patience:
                self._blocked = None  # nobody has met it since: that was another lock, long ago
            else:
                until = min(until, first + self.patience)
        return max(LEAST_PATIENCE, until - now)

    @contextmanager
    def _waiting(self, db: Database, seconds: float) -> Iterator[None]:
        """Let a connection wait no longer than this for the locks of others; asked for only where it is less."""
        less = seconds < 0.98 * self.patience
        if less:
            db.conn.execute(f"PRAGMA busy_timeout = {round(1000 * seconds)}")
        try:
            yield
        finally:
            if less:
                db.conn.execute(f"PRAGMA busy_timeout = {round(1000 * self.patience)}")

    @contextmanager
    def _writes_told(self) -> Iterator[None]:
        try:
            yield
        except soundness.UNREADABLE as error:
            code = code_of(error)
            if code in _LOCKED:
                raise Busy(self.path) from error
            if code in _NO_ROOM:
                raise NotKept(self.path, "the disk is full") from error
            if code in _OUT_OF_REACH:
                raise NotKept(self.path, f"the disk does not take it ({error})") from error
            if is_damage(error):
                raise self._met(error) from error
            raise

    def _met(self, error: Exception) -> Damaged:
        """Return the damage that was met; once SQLite itself has met some, nothing more is lent, or it would grow."""
        what = soundness.in_words(error)
        found = corrupt(self.path, what if is_damage(error) else f"a row cannot be read: {what}")
        if code_of(error) in _DAMAGED:
            self._damage = found
        return found

    def wipe(self, db: Database) -> None:
        """Empty the log beside the file, where what was just deleted stands in pages from before; outside `writing`.

        Where a reader is in the way, or the disk is, the next that writes tries again: nothing is lost by it.
        """
        with self._lock:
            self._wipe(db, wait_ms=READERS_PATIENCE_MS)

    def _wipe(self, db: Database, *, wait_ms: int) -> None:
        db.conn.execute(f"PRAGMA busy_timeout = {wait_ms}")
        try:
            self._traces = bool(db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0])
        except sqlite3.Error:
            self._traces = True
        finally:
            db.conn.execute(f"PRAGMA busy_timeout = {round(1000 * self.patience)}")

    def _connect(self, *, fresh: bool) -> Database:
        where = f"{self.path.resolve().as_uri()}?mode={'rwc' if fresh else 'rw'}"
        conn = sqlite3.connect(where, uri=True, timeout=self.patience, isolation_level=None, check_same_thread=False)
        conn.row_factory = sqlite3.Row
        db = Database(conn)
        conn.execute("PRAGMA foreign_keys = ON")
        conn.execute("PRAGMA synchronous = FULL")
        # Anyone who deletes themselves is overwritten, not only let go.
        conn.execute("PRAGMA secure_delete = ON")
        return db

    def _make_ready(self, db: Database, *, fresh: bool, look: float | None) -> None:
        conn, until = db.conn, time.monotonic() + self.patience
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute("BEGIN IMMEDIATE")
        try:
            if not fresh:
                self._inspect(db, look)
            # The mark is set before the switch to a write-ahead log, so that it stands in the file itself.
            conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            MIGRATIONS.apply(db)
            # So that a backup is known again by its first bytes, whatever else of the file can be read.
            conn.execute(f"PRAGMA user_version = {self._number(db)}")
            conn.execute("COMMIT")
        except BaseException:
            if conn.in_transaction:
                conn.execute("ROLLBACK")
            raise
        conn.execute("PRAGMA foreign_keys = ON")
        if fresh:
            # Before the log beside it is made, which takes the file's own mode: answers are nobody else's business.
            self.path.chmod(0o600)
        with self._waiting(db, max(LEAST_PATIENCE, until - time.monotonic())):
            conn.execute("PRAGMA journal_mode = WAL")

    def _number(self, db: Database) -> int:
        """Return a number that this data file and its backups have in common, from the key that they share."""
        key = db.conn.execute("SELECT value FROM app WHERE name = 'secret'").fetchone()
        if key is None:
            raise corrupt(self.path, "the key of cookies is not there")
        return int(hashlib.sha256(key[0].encode()).hexdigest()[:7], 16)

    def _inspect(self, db: Database, look: float | None) -> None:
        began = time.thread_time()  # not the clock's: on a busy machine as much is looked at
        small = look is None or self.path.stat().st_size <= PAGES_AT_ONCE
        self.looked_over = small
        for found in soundness.damage(db.conn, pages="quick_check" if small else "", references=small):
            if found:
                raise corrupt(self.path, found)
            if look is not None and time.thread_time() - began > look:
                self.looked_over = False
                break
        refuse_newer(self.path, db)

    def refuse_changed_schema(self) -> None:
        """Refuse a file whose tables, indexes or triggers are not this version's: without them answers may be lost.

        Raises
        ------
        Damaged
        """
        with told(self.path), closing(self.connect().conn) as conn:
            changed = soundness.schema_differences(conn)
        if changed:
            raise corrupt(self.path, f"its schema was changed: {', '.join(changed)}")


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Say in the words of a person why a file cannot be opened or read.

    Raises
    ------
    Refused
    """
    try:
        yield
    except soundness.UNREADABLE as error:
        raise refusal(path, error) from error


def refuse_newer(path: Path, db: Database) -> None:
    """Refuse a file to which a newer version has done what this one does not know.

    Raises
    ------
    Refused
        When there is a migration in it that is not known here.
    """
    newer = {one.name for one in MIGRATIONS.applied(db)} - known_migrations()
    if newer:
        raise Refused(
            path,
            f"a newer version of Two Meridians wrote it ({', '.join(sorted(newer))})",
            "use that version, or give another file with --data",
        )


def open_data(path: Path | None, *, make: bool = True, look: float | None = None) -> DataFile:
    """Open a data file, by default the one in the user's data folder; `make` it if it is not there.

    look: as `DataFile.open` has it.

    Raises
    ------
    Refused
        When it cannot be opened.
    """
    path = data_path(path)
    if not make and not path.exists():
        raise NoFile(path)
    file = DataFile.open(path, look=look)
    try:
        file.refuse_changed_schema()
    except Refused:
        file.close()
        raise
    return file


def data_path(path: Path | None) -> Path:
    """Return the path given, or that of the data file in the user's data folder, which is made if need be.

    Raises
    ------
    Refused
        When the folder cannot be made.
    """
    if path is not None:
        return path
    path = user_data_path("two-meridians", appauthor=False) / "answers.sqlite3"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refused(path, f"its folder cannot be made ({error.strerror})", "give a file with --data") from error
    return path


def _bound(sql: str, values: tuple[Any, ...]) -> Any:
    """Return values as sqlite3 takes them: by number where holes are numbered ("?1"), all of them; else in order.

    Python 3.12 warns of a sequence for numbered holes, and 3.14 refuses it.
    """
    return {str(number): value for number, value in enumerate(values, 1)} if "?1" in sql else values


def _identity(path: Path) -> tuple[int, int] | None:
    """Tell one file from another that took its name; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def known_migrations() -> set[str]:
    """Return the names of the migrations that this version knows."""
    with closing(sqlite3.connect(":memory:")) as conn:
        return {one.name for one in MIGRATIONS.pending(Database(conn))}


def is_fresh(path: Path) -> bool:
    """Say whether a file is still to be made; look at one that is there without touching it.

    Raises
    ------
    Refused
        When it is not ours, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        if not path.parent.is_dir():
            raise Refused(path, "its folder does not exist", "make the folder first, or give another file") from None
        return True
    except IsADirectoryError:
        raise Refused(path, "this is a folder", "give the name of a file in it") from None
    except OSError as error:
        raise Refused(path, f"it cannot be read ({error.strerror})", "give another file with --data") from error
    if not head:
        return True
    if not _is_ours(head):
        raise NotOurs(path)
    return False


def corrupt(path: Path, what: str, *, restore_to: Path | None = None) -> Damaged:
    """Say that a file is damaged, and which command puts which backup in its place.

    restore_to: the data file, where the damaged one is a backup of it.
    """
    to = restore_to or path
    found = _sound_backup(path, to)
    command = f"python -m quiz restore {_quoted(found) if found else 'BACKUP'} --data {_quoted(to)}"
    known = "is the newest sound backup beside it" if found else "no backup lies beside it: give one that you kept"
    where = f"`{command}` puts it in its place" if found else f"`{command}` puts a backup in its place"
    way_out = f"{found} {known}: {where}" if found else f"{where} ({known})"
    return Damaged(path, soundness.plain(what), f"stop the app that serves it; then {way_out}")


def _quoted(path: Path) -> str:
    return shlex.quote(str(path)) if os.name == "posix" else f'"{path}"'


def _sound_backup(damaged: Path, path: Path) -> Path | None:
    """Return the newest sound backup of a data file in the same folder, known by its first bytes."""
    whose = _head(path)[60:64] or _head(damaged)[60:64]
    found: list[tuple[float, Path]] = []
    with suppress(OSError):
        for one in path.resolve().parent.iterdir():
            mine = one.name in (damaged.name, path.name) or ".before-restore-" in one.name
            if not mine and one.is_file() and any(whose) and _is_ours(_head(one)) and _head(one)[60:64] == whose:
                found.append((one.stat().st_mtime, one))
    return next((one for _, one in sorted(found, reverse=True)[:BACKUPS_TRIED] if _is_sound(one)), None)


def _is_sound(path: Path) -> bool:
    try:
        # Nothing is to be made beside a backup, as SQLite otherwise would.
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)) as conn:
            return not any(soundness.damage(conn, pages="quick_check"))
    except sqlite3.Error:
        return False


def _head(path: Path) -> bytes:
    """Return the header of an SQLite file; nothing where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(100)
    except OSError:
        return b""


def _is_ours(head: bytes) -> bool:
    return head.startswith(_MAGIC) and int.from_bytes(head[68:72], "big") == APPLICATION_ID


def is_damage(error: Exception) -> bool:
    """Say whether an error of SQLite comes of what stands in the file, and not of what was asked."""
    return code_of(error) in _DAMAGED or isinstance(error, UnicodeDecodeError) or "decode to UTF-8" in str(error)


def refusal(path: Path, error: Exception, *, restore_to: Path | None = None) -> Refused:
    """Say why a file cannot be opened, in the words of a person."""
    code = code_of(error)
    if code in _LOCKED:
        return Refused(path, "another program has it locked", "close that program, or give another file with --data")
    if code in _NO_ROOM:
        return Refused(path, "the disk is full", "make room, or give a file on another disk with --data")
    if code in _OUT_OF_REACH:
        return Refused(path, f"it cannot be written ({error})", "give another file with --data")
    return corrupt(path, soundness.in_words(error), restore_to=restore_to)


def code_of(error: Exception) -> int:
    """Return the primary result code of an SQLite error, such as SQLITE_BUSY; 0 where it has none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF
