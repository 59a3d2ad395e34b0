"""Moves everything from a data file to a database of PostgreSQL, or back: in one transaction, and looked at afterwards.

What is moved is every row of every table, with the numbers under which rows are known, and the numbers that were given
to rows which are gone: nobody gets those again. Then each table is read back and compared.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quiz.errors import QuizError
from quiz.storage import soundness
from quiz.storage.datafile import DataFile, Refused, Where, named, open_data
from quiz.storage.engines import postgres_schema
from quiz.storage.engines.address import Address
from quiz.storage.engines.opening import not_installed, open_database

ROWS_AT_ONCE = 1000
Row = tuple[Any, ...]


class NotTheSame(QuizError):
    """What arrived is not what was sent; nothing was kept of it."""

    def __init__(self, where: Where, table: str) -> None:
        super().__init__(
            f"{named(where)}: table {table} did not arrive as it was sent, so nothing was kept there; "
            "is the app still running on what you move? Stop it first"
        )


@dataclass(frozen=True)
class Moved:
    """One table that was moved."""

    table: str
    rows: int
    digest: str
    """SHA-256 of its rows in their order; the same on both sides."""


@dataclass(frozen=True)
class _Plan:
    """How the rows of one table are asked for, alike on both engines."""

    table: str
    columns: tuple[str, ...]
    order: str

    @property
    def names(self) -> str:
        return ", ".join(f'"{one}"' for one in self.columns)

    @property
    def question(self) -> str:
        return f"SELECT {self.names} FROM {self.table} ORDER BY {self.order}"  # noqa: S608 - names from the schema


def move(where: Where, to: Where) -> list[Moved]:
    """Move everything into an empty database, or a file that is not there yet; what is moved stays as it was.

    Raises
    ------
    Refused
        When one of them cannot be opened, or there is something in `to`.
    NotTheSame
    """
    if isinstance(where, Address) == isinstance(to, Address):
        way_out = "give a data file with --data and a postgresql:// address with --to, or the other way round"
        raise Refused(to, "it is of the same kind as what is moved", way_out)
    if isinstance(to, Address):
        if not isinstance(where, Path):
            raise TypeError
        return _into_database(where, to)
    if not isinstance(where, Address):
        raise TypeError
    return _into_file(where, to)


def _plans() -> list[_Plan]:
    """Return all tables with their columns, those that others name first or last alike: links come afterwards."""
    found = []
    with closing(sqlite3.connect(":memory:")) as conn:
        for kind, _, sql in postgres_schema.embedded():
            if kind == "table":
                conn.execute(sql)
        for table in postgres_schema.tables():
            columns = conn.execute("SELECT name, pk FROM pragma_table_info(?) ORDER BY cid", [table]).fetchall()
            names = [row[0] for row in columns]
            keys = [row[0] for row in sorted(columns, key=lambda row: row[1]) if row[1]]
            if postgres_schema.has_rowid(table):
                names, keys = [*names, "rowid"], ["rowid"]
            found.append(_Plan(table, tuple(names), ", ".join(f'"{one}"' for one in keys)))
    return found


class _Digest:
    """Counts rows and takes their SHA-256 as they pass."""

    def __init__(self, plan: _Plan) -> None:
        self._plan, self._sum, self.rows = plan, hashlib.sha256(), 0

    def passing(self, rows: Iterator[Row]) -> Iterator[Row]:
        for row in rows:
            self.rows += 1
            self._sum.update(repr(tuple(bytes(one) if isinstance(one, memoryview) else one for one in row)).encode())
            yield row

    def moved(self) -> Moved:
        return Moved(self._plan.table, self.rows, self._sum.hexdigest())


def _in_file(conn: sqlite3.Connection, plan: _Plan) -> Iterator[Row]:
    rows = conn.execute(plan.question)
    while turn := rows.fetchmany(ROWS_AT_ONCE):
        yield from map(tuple, turn)


# --- into a database ------------------------------------------------------------------------------------------------


def _into_database(path: Path, address: Address) -> list[Moved]:
    with closing(open_data(path, make=False)) as file, closing(file.connect().conn) as source:
        source.execute("BEGIN")  # one moment of it, whoever writes meanwhile
        _refuse_zero_bytes(source, path)
        target = _psycopg(address)
        with closing(target):
            done = []
            with target.transaction():
                _refuse_full(target, address)
                postgres_schema.make_new(target, whole=False)
                for plan in _plans():
                    sent = _Digest(plan)
                    _copy(target, plan, sent.passing(_in_file(source, plan)))
                    arrived = _Digest(plan)
                    for _ in arrived.passing(_in_database(target, plan)):
                        pass
                    if sent.moved() != arrived.moved():
                        raise NotTheSame(address, plan.table)
                    done.append(sent.moved())
                _count_on(target, source)
                postgres_schema.finish(target)
            target.execute(b"ANALYZE")
    return done


def _psycopg(address: Address) -> Any:
    try:
        import psycopg
    except ImportError as error:
        raise not_installed(address, error) from error
    try:
        conn = psycopg.connect(address.with_password, autocommit=True, cursor_factory=psycopg.RawCursor)
    except psycopg.Error as error:
        why = address.hidden(soundness.plain(str(error).strip()))
        raise Refused(address, f"it cannot be reached ({why})", "start it, or put its address right") from error
    return conn


def _refuse_full(target: Any, address: Address) -> None:
    there = postgres_schema.tables_there(target)
    if there:
        raise Refused(address, f"there is something in it ({', '.join(there[:3])})", "give an empty database")


def _refuse_zero_bytes(source: sqlite3.Connection, path: Path) -> None:
    """Refuse texts that PostgreSQL cannot hold; the app keeps none, another hand may have."""
    for plan in _plans():
        for name in plan.columns:
            sql = (
                f'SELECT 1 FROM {plan.table} WHERE typeof("{name}") = \'text\' AND instr("{name}", char(0)) > 0 LIMIT 1'  # noqa: S608
            )
            if source.execute(sql).fetchone():
                raise Refused(
                    path, f"{plan.table}.{name} holds a zero byte, which PostgreSQL has not", "remove it first"
                )


def _copy(target: Any, plan: _Plan, rows: Iterator[Row]) -> None:
    with target.cursor() as cursor, cursor.copy(f"COPY {plan.table} ({plan.names}) FROM STDIN".encode()) as copy:
        for row in rows:
            copy.write_row(row)


def _in_database(conn: Any, plan: _Plan) -> Iterator[Row]:
    with conn.cursor() as cursor:
        for row in cursor.stream(plan.question.encode(), size=ROWS_AT_ONCE):
            yield tuple(row)


def _count_on(target: Any, source: sqlite3.Connection) -> None:
    """Let numbers go on after the last that was ever given."""
    given = dict(source.execute("SELECT name, seq FROM sqlite_sequence").fetchall())
    for plan in _plans():
        column = "id" if "id" in plan.columns and plan.order == '"id"' else "rowid"
        if column not in plan.columns:
            continue
        last = target.execute(f'SELECT coalesce(max("{column}"), 0) FROM {plan.table}'.encode()).fetchone()[0]  # noqa: S608
        last = max(last, given.get(plan.table, 0))
        if last:
            target.execute(b"SELECT setval(pg_get_serial_sequence($1, $2), $3)", [plan.table, column, last])


# --- into a file ----------------------------------------------------------------------------------------------------


def _into_file(address: Address, path: Path) -> list[Moved]:
    if path.exists():
        raise Refused(path, "there is a file of that name", "give the name of a new one")
    open_database(address, make=False).close()  # brought up to date, or refused in words
    source = _psycopg(address)
    with closing(source):
        try:
            with closing(DataFile.open(path)) as file, closing(file.connect().conn) as target, source.transaction():
                source.execute(b"SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
                done = _filled(target, source, path)
            _refuse_damaged(path)
        except BaseException:
            for each in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
                each.unlink(missing_ok=True)
            raise
    return done


def _refuse_damaged(path: Path) -> None:
    with closing(sqlite3.connect(path)) as conn:
        found = next(filter(None, soundness.damage(conn, pages="integrity_check", references=True)), None)
    if found:
        raise Refused(path, f"what arrived does not hold together ({found})", "run `check` on the database")


def _filled(target: sqlite3.Connection, source: Any, path: Path) -> list[Moved]:
    guards = target.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    target.execute("PRAGMA foreign_keys = OFF")
    target.execute("BEGIN IMMEDIATE")
    # A guard that adds rows by itself would add them twice.
    for name, _ in guards:
        target.execute(f"DROP TRIGGER {name}")
    done = []
    for plan in _plans():
        target.execute(f"DELETE FROM {plan.table}")  # noqa: S608 - the new file's own key of cookies
        sent, arrived = _Digest(plan), _Digest(plan)
        places = ", ".join("?" * len(plan.columns))
        sql = f"INSERT INTO {plan.table} ({plan.names}) VALUES ({places})"  # noqa: S608 - names from the schema
        target.executemany(sql, sent.passing(_in_database(source, plan)))
        for _ in arrived.passing(_in_file(target, plan)):
            pass
        if sent.moved() != arrived.moved():
            raise NotTheSame(path, plan.table)
        done.append(sent.moved())
    for (table,) in target.execute("SELECT name FROM sqlite_sequence").fetchall():
        last = source.execute(
            b"SELECT last_value FROM pg_sequences WHERE schemaname = current_schema() "
            b"AND sequencename = split_part(pg_get_serial_sequence($1, 'id'), '.', 2)",
            [table],
        ).fetchone()
        target.execute("UPDATE sqlite_sequence SET seq = max(seq, ?) WHERE name = ?", [(last and last[0]) or 0, table])
    for _, sql in guards:
        target.execute(sql)
    target.execute("COMMIT")
    return done
