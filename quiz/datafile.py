"""The data file as a whole: recognised as ours, opened or refused, made ready. Asking it is store.py's."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from platformdirs import user_data_path
from sqlite_utils import Database

from quiz.errors import QuizError
from quiz.schema import MIGRATIONS

APPLICATION_ID = 0x324D5244
"""Bytes 68 to 71 of every data file of ours: "2MRD"."""
PATIENCE = 5.0
"""Seconds to wait for another process that is writing."""
MOST_IDLE = 16
READERS_PATIENCE_MS = 200
"""How long whoever deletes something waits for readers who still look at the log from before."""

_MAGIC = b"SQLite format 3\x00"
_LOCKED = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_NO_ROOM = (sqlite3.SQLITE_FULL,)
_OUT_OF_REACH = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR)
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class Refused(QuizError):
    """A data file that will not be opened; it is left as it was."""

    def __init__(self, path: Path, why: str, way_out: str) -> None:
        super().__init__(f"data file {path}: {why}; {way_out}")


class NoFile(Refused):
    """There is no data file where one was expected."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, "there is no such file", "give one with --data")


class Busy(QuizError):
    """Another process kept the data file to itself for longer than anyone should wait."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"data file {path}: another program has it locked; try again in a moment")


class NotKept(QuizError):
    """The data file could not be written to, so that nothing of this change was kept; what was there before stands."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"data file {path}: {why}; nothing of this change was kept, and what was there before stands")
        self.why = why


class DataFile:
    """One data file, open for the life of the process.

    An anchor connection stays open, since closing the last one would take the write-ahead log away. Every writer of
    this process takes one lock first: SQLite's own waiting sleeps, and would be ten times slower.
    """

    def __init__(self, path: Path, patience: float) -> None:
        self.path = path
        self.patience = patience
        self._lock = threading.Lock()
        self._anchor: Database | None = None
        self._idle: list[Database] = []
        self._is: tuple[int, int] | None = None
        self._traces = False
        """Whether what was deleted may still stand in the log beside the file."""

    @classmethod
    def open(cls, path: Path, *, patience: float = PATIENCE) -> DataFile:
        """Open the data file, made anew where there is none.

        Raises
        ------
        Refused
            When it is not ours, is locked, corrupt or cannot be written, or was written by a newer version.
        """
        file = cls(path, patience)
        fresh = is_fresh(path)
        try:
            file._anchor = file._connect(fresh=fresh)
            file._make_ready(file._anchor, fresh=fresh)
            file._is = _identity(path)
        except sqlite3.Error as error:
            file.close()
            raise refusal(path, error) from error
        except Refused:
            file.close()
            raise
        return file

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
        """
        if _identity(self.path) != self._is:
            raise NotKept(self.path, "it was moved or replaced while it was in use; stop the app and start it anew")
        try:
            return self._idle.pop()
        except IndexError:
            return self.connect()

    def give_back(self, db: Database) -> None:
        """Take a lent connection back."""
        if self._anchor is None or db.conn.in_transaction or len(self._idle) >= MOST_IDLE:
            db.conn.close()
        else:
            self._idle.append(db)

    def connect(self) -> Database:
        """Open a connection that is closed by whoever opened it."""
        return self._connect(fresh=False)

    @contextmanager
    def writing(self, db: Database) -> Iterator[None]:
        """Hold the only writing transaction there is; what was written stands once the block is left without error.

        Raises
        ------
        Busy
            When another process has the file locked.
        NotKept
            When the disk is full or does not take it, or the file turns out to be damaged.
        """
        with self._lock:
            try:
                try:
                    db.conn.execute("BEGIN IMMEDIATE")
                    yield
                    db.conn.execute("COMMIT")
                    if self._traces:
                        self._wipe(db, wait_ms=0)
                except BaseException:
                    if db.conn.in_transaction:
                        db.conn.execute("ROLLBACK")
                    raise
            except sqlite3.DatabaseError as error:
                code = code_of(error)
                if code in _LOCKED:
                    raise Busy(self.path) from error
                if code in _NO_ROOM:
                    raise NotKept(self.path, "the disk is full") from error
                if code in _OUT_OF_REACH:
                    raise NotKept(self.path, f"the disk does not take it ({error})") from error
                if code in _DAMAGED:
                    raise NotKept(self.path, "it is damaged, so a backup is to be restored") from error
                raise

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
        # Whoever deletes themselves is overwritten, not only let go.
        conn.execute("PRAGMA secure_delete = ON")
        return db

    def _make_ready(self, db: Database, *, fresh: bool) -> None:
        conn = db.conn
        conn.execute("PRAGMA foreign_keys = OFF")
        conn.execute("BEGIN IMMEDIATE")
        try:
            if not fresh:
                self._inspect(db)
            # The mark is set before the switch to a write-ahead log, so that it stands in the file itself.
            conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            MIGRATIONS.apply(db)
            conn.execute("COMMIT")
        except BaseException:
            if conn.in_transaction:
                conn.execute("ROLLBACK")
            raise
        conn.execute("PRAGMA foreign_keys = ON")
        if fresh:
            # Before the log beside it is made, which takes the file's own mode: answers are nobody else's business.
            self.path.chmod(0o600)
        conn.execute("PRAGMA journal_mode = WAL")

    def _inspect(self, db: Database) -> None:
        verdict = db.conn.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise corrupt(self.path, verdict)
        refuse_newer(self.path, db)


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


def open_data(path: Path | None, *, make: bool = True) -> DataFile:
    """Open a data file, by default the one in the user's data folder; `make` it if it is not there.

    Raises
    ------
    Refused
        When it cannot be opened.
    """
    path = data_path(path)
    if not make and not path.exists():
        raise NoFile(path)
    return DataFile.open(path)


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
    if not head.startswith(_MAGIC) or int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        raise Refused(path, "this is not a data file of Two Meridians", "it was left as it is; give another file")
    return False


def corrupt(path: Path, verdict: str) -> Refused:
    """Say that a file is damaged."""
    return Refused(path, f"it is damaged ({verdict.splitlines()[0]})", "put a backup in its place; it was not changed")


def refusal(path: Path, error: sqlite3.Error) -> Refused:
    """Say why a file cannot be opened, in the words of a person."""
    code = code_of(error)
    if code in _LOCKED:
        return Refused(path, "another program has it locked", "close that program, or give another file with --data")
    if code in _NO_ROOM:
        return Refused(path, "the disk is full", "make room, or give a file on another disk with --data")
    if code in _OUT_OF_REACH:
        return Refused(path, f"it cannot be written ({error})", "give another file with --data")
    return corrupt(path, str(error))


def code_of(error: sqlite3.Error) -> int:
    """Return the primary result code of an SQLite error, such as SQLITE_BUSY; 0 where it has none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF
