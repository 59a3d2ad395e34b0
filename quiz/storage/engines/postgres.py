"""PostgreSQL as the engine, by psycopg and its pool: any number of app processes over one database.

A writing transaction of one learner's holds an advisory lock of theirs, and shares one that any other writing
transaction holds alone: so learners write side by side, and everything else is as if one wrote at a time
(DECISIONS.md).
"""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import lru_cache
from typing import Any

import psycopg
from psycopg.adapt import Loader
from psycopg.pq import TransactionStatus
from psycopg_pool import ConnectionPool, PoolTimeout

from quiz.errors import QuizError
from quiz.storage import soundness
from quiz.storage.datafile import NOT_AS_WRITTEN, PATIENCE, Away, Busy, Damaged, NotKept, Refused
from quiz.storage.engines import postgres_schema
from quiz.storage.engines.address import Address
from quiz.storage.engines.dialect import to_postgres

Connection = psycopg.Connection[Any]

MOST_CONNECTIONS = 24
"""Of one process. PostgreSQL lets a hundred in unless told otherwise."""
CONNECT_S = 3.0
"""Seconds for which a connection is waited for, and so the longest that a page says nothing while all is away."""
AGAIN_S = 1.0
"""Seconds after which the pool gives up on one attempt to connect: the next request makes another."""
IDLE_IN_TRANSACTION_S = 60
"""Seconds after which PostgreSQL ends a transaction of an app process that stands still, and frees its locks."""
ANYONE, LEARNER = 0x324D5244, 0x324D5245
"""First halves of the advisory locks' numbers: "2MRD" and the next."""
_SETTINGS = (
    "SET default_transaction_isolation = 'read committed'; SET lock_timeout = '{ms}ms'; SET jit = off; "
    # Each question is for a few rows: starting others to help takes longer than finding them.
    "SET max_parallel_workers_per_gather = 0; SET random_page_cost = 1.1; "
    "SET idle_in_transaction_session_timeout = '{idle}s'; SET client_min_messages = warning"
)
WAY_OUT = "stop the app that serves it and put a backup in its place with pg_restore"


class _Number(Loader):
    """Reads `numeric`, which sums of whole numbers are, as a whole number where it is one."""

    def load(self, data: Any) -> int | float:
        text = bytes(data).decode()
        return int(text) if text.lstrip("-").isdecimal() else float(text)


@lru_cache(1000)
def _row_of(names: tuple[str, ...]) -> type[tuple[Any, ...]]:
    """Make a row that is read by place and by name, as the embedded engine's are."""
    places = {name: place for place, name in reversed(list(enumerate(names)))}
    get = tuple.__getitem__

    class Row(tuple[Any, ...]):
        __slots__ = ()

        def __getitem__(self, key: Any) -> Any:
            return get(self, places[key] if key.__class__ is str else key)

        def keys(self) -> list[str]:
            return list(names)

    return Row


def _rows(cursor: psycopg.RawCursor[Any]) -> Callable[[Any], Any]:
    result = cursor.pgresult
    if result is None or not result.nfields:
        return tuple
    return _row_of(tuple((result.fname(number) or b"").decode() for number in range(result.nfields)))


class PostgresData:
    """One database, open for the life of the process."""

    looked_over = True
    """PostgreSQL looks after its pages itself; what stands in the rows `check` reads."""

    wipes = False
    """PostgreSQL does not overwrite a row: `VACUUM` marks its place as free and leaves what is in it."""

    def __init__(self, address: Address, patience: float) -> None:
        self.address, self.patience = address, patience
        self._pool: ConnectionPool[Connection] | None = None
        self._numbered: frozenset[str] = frozenset()
        self._damage: Damaged | None = None

    @classmethod
    def open(cls, address: Address, *, make: bool = True, patience: float = PATIENCE) -> PostgresData:
        """Open the database; where it is empty, `make` the schema in it; bring an older one up to date.

        Raises
        ------
        Refused
            When it cannot be reached, is not ours, or was written by a newer version.
        """
        file = cls(address, patience)
        with file._first() as conn:
            postgres_schema.make_ready(conn, address, make=make)
            file._numbered = postgres_schema.numbered(conn)
        file._pool = ConnectionPool(
            address.with_password,
            kwargs=_HOW,
            min_size=1,
            max_size=MOST_CONNECTIONS,
            configure=file._configure,
            check=ConnectionPool.check_connection,
            reconnect_timeout=AGAIN_S,
            timeout=CONNECT_S,
            open=True,
        )
        return file

    @property
    def where(self) -> Address:
        """The address."""
        return self.address

    @property
    def name(self) -> str:
        """The address, without its password."""
        return str(self.address)

    @contextmanager
    def _first(self) -> Iterator[Connection]:
        try:
            conn = psycopg.connect(self.address.with_password, **_HOW)
        except psycopg.Error as error:
            raise Refused(
                self.address, f"it cannot be reached ({self.address.hidden(_said(error))})", _START_IT
            ) from error
        with conn:
            conn.autocommit = True
            self._configure(conn)
            yield conn

    def _configure(self, conn: Connection) -> None:
        conn.autocommit = True
        conn.adapters.register_loader("numeric", _Number)
        conn.execute(
            _SETTINGS.format(ms=round(1000 * self.patience), idle=IDLE_IN_TRANSACTION_S).encode(), prepare=False
        )

    def lend(self) -> Connection:
        """Lend a connection for one request or one command; one that the database has closed is none.

        Raises
        ------
        Away, Damaged
        """
        if self._damage is not None:
            raise self._damage
        pool = self._pool_of()
        try:
            return pool.getconn()
        except PoolTimeout as error:
            raise Away(self.address, "it does not answer") from error
        except psycopg.Error as error:
            raise Away(self.address, _said(error)) from error

    def give_back(self, db: Connection) -> None:
        """Take a lent connection back."""
        if self._pool is None:
            db.close()
        else:
            self._pool.putconn(db)

    def close(self) -> None:
        """Close every connection."""
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.close()

    def look_over(self) -> Iterator[None]:
        """Do nothing: a database is looked over when it is opened, and by `check`."""
        return iter(())

    def lacking(self) -> list[str]:
        """Name what the schema lacks, or has beyond what it should."""
        with self.reading(), self._pool_of().connection() as conn:
            return postgres_schema.lacking(conn)

    def unreadable(self) -> str | None:
        """Look at every cell of every row; return which one cannot be read, None where all can."""
        with self.reading(), self._pool_of().connection() as conn:
            return postgres_schema.unreadable(conn)

    def _pool_of(self) -> ConnectionPool[Connection]:
        if self._pool is None:
            raise Away(self.address, "the app is being stopped")
        return self._pool

    # --- asking and changing

    def fetch(self, db: Connection, sql: str, values: tuple[Any, ...]) -> list[Any]:
        """Return the rows that a question finds."""
        return db.execute(to_postgres(sql).sql.encode(), _taken(values)).fetchall()

    def change(self, db: Connection, sql: str, values: tuple[Any, ...]) -> int:
        """Carry a change out and return how many rows it met."""
        return db.execute(to_postgres(sql).sql.encode(), _taken(values)).rowcount

    def add(self, db: Connection, table: str, row: Mapping[str, Any], conflict: str) -> int:
        """Add a row and return its number, 1 where it has none; 0 where nothing was added."""
        done = db.execute(self._adding(table, tuple(row), conflict), _taken(tuple(row.values())))
        if table not in self._numbered:
            return max(0, done.rowcount)
        found = done.fetchone()
        return 0 if found is None else int(found[0])

    def _adding(self, table: str, names: tuple[str, ...], conflict: str) -> bytes:
        return _adding(table, names, conflict, numbered=table in self._numbered)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Say in one line what stands in the way of reading: the way to the database, or what stands in it.

        Raises
        ------
        Away, Busy, Damaged
        """
        try:
            yield
        except QuizError:
            raise
        except NOT_AS_WRITTEN as error:
            raise Damaged(self.address, f"a row cannot be read: {soundness.plain(str(error))}", WAY_OUT) from error
        except psycopg.Error as error:
            raise self._told(error) from error

    @contextmanager
    def writing(
        self,
        db: Connection,
        *,
        learner: int | None = None,
        patience: float | None = None,
        waited: Callable[[float], None] = lambda _: None,
    ) -> Iterator[None]:
        """Hold a writing transaction, alone in all the data or in one learner's; as `Engine.writing` has it.

        Raises
        ------
        Away
            When the way to the database breaks. What was done is then kept whole or not at all.
        Busy
            When others keep their locks for longer than `patience`.
        NotKept
            When the disk is full, or it is a copy that only reads.
        """
        came = time.monotonic()
        try:
            db.execute(_beginning(learner, patience, self.patience), prepare=False)
            waited(time.monotonic() - came)
            yield
            db.execute("COMMIT")
        except psycopg.Error as error:
            self._undo(db)
            told = self._told(error)
            if told is error:
                raise
            raise told from error
        except BaseException:
            self._undo(db)
            raise

    def _undo(self, db: Connection) -> None:
        with suppress(psycopg.Error):
            if db.info.transaction_status != TransactionStatus.IDLE:
                db.execute("ROLLBACK")

    def _told(self, error: psycopg.Error) -> Exception:
        if isinstance(error, _HELD_UP):
            return Busy(self.address)
        if isinstance(error, psycopg.errors.DiskFull):
            return NotKept(self.address, "the disk is full")
        if isinstance(error, psycopg.errors.ReadOnlySqlTransaction):
            return NotKept(self.address, "it only reads: it is a copy of another database")
        if isinstance(error, psycopg.errors.DataCorrupted | psycopg.errors.IndexCorrupted):
            self._damage = Damaged(self.address, _said(error), WAY_OUT)
            return self._damage
        if isinstance(error, psycopg.OperationalError | psycopg.InterfaceError):
            return Away(self.address, _said(error))
        return error

    def wipe(self, db: Connection) -> None:
        """Do nothing: README.md, "On PostgreSQL", says what an administrator of the database can do."""


# Each attempt to connect would be a line, of each connection; that the database is away the pages say and log.
logging.getLogger("psycopg.pool").setLevel(logging.CRITICAL)

_HOW: dict[str, Any] = {
    "cursor_factory": psycopg.RawCursor,
    "row_factory": _rows,
    "connect_timeout": round(CONNECT_S),
    "application_name": "two-meridians",
}
_HELD_UP = (
    psycopg.errors.LockNotAvailable,
    psycopg.errors.DeadlockDetected,
    psycopg.errors.SerializationFailure,
    psycopg.errors.QueryCanceled,
)
_START_IT = "start it, or put its address right: postgresql://USER@HOST:5432/NAME"


def _beginning(learner: int | None, patience: float | None, usual: float) -> bytes:
    """Begin, and take the locks, in one message."""
    words = ["BEGIN"]
    if patience is not None and patience < 0.98 * usual:
        words.append(f"SET LOCAL lock_timeout = '{max(10, math.ceil(1000 * patience))}ms'")
    if learner is None:
        words.append(f"SELECT pg_advisory_xact_lock({ANYONE}, 0)")
    else:
        words.append(f"SELECT pg_advisory_xact_lock_shared({ANYONE}, 0)")
        words.append(f"SELECT pg_advisory_xact_lock({LEARNER}, {int(learner) % 2**31})")
    return "; ".join(words).encode()


@lru_cache(1000)
def _adding(table: str, names: tuple[str, ...], conflict: str, *, numbered: bool) -> bytes:
    places = ", ".join(f"${number}" for number in range(1, len(names) + 1))
    columns = ", ".join(f'"{name}"' for name in names)
    back = " RETURNING id" if numbered else ""
    # Table and column names come from dataclasses and modules of ours, never from a request.
    return f"INSERT INTO {table} ({columns}) VALUES ({places}) {conflict}{back}".encode()  # noqa: S608


def _taken(values: tuple[Any, ...]) -> list[Any]:
    """Return values as PostgreSQL takes them: truths as 0 and 1, and no text with a zero byte, which it has not."""
    return [
        int(one)
        if one is True or one is False
        else one.replace("\x00", "\ufffd")
        if one.__class__ is str and "\x00" in one
        else one
        for one in values
    ]


def _said(error: Exception) -> str:
    """Return what the database says, in one line without names of users."""
    found = getattr(error, "diag", None)
    primary = found.message_primary if found is not None else None
    return soundness.plain(primary or str(error).strip() or type(error).__name__)
