"""The schema in PostgreSQL: made from the embedded one, recorded by the names of its migrations, brought up to date.

An empty database gets the newest schema at once. Which migrations that stands for is kept in it, so that one of a newer
version is refused, and an older one is brought up to date by running what is missing, translated as it runs.
"""

from __future__ import annotations

import secrets
import sqlite3
import time
from collections.abc import Iterable
from contextlib import closing
from functools import cache
from typing import Any, cast

import psycopg
from sqlite_utils import Database

from quiz.storage import soundness
from quiz.storage.datafile import Refused
from quiz.storage.engines.address import Address
from quiz.storage.engines.dialect import ROWID, is_link, schema_to_postgres
from quiz.storage.schema import MIGRATIONS

Connection = psycopg.Connection[Any]
VERSIONS = "data_schema"
_MAKING = 0x324D5246
"""The advisory lock that is held while a schema is made or changed."""
_TABLES = (
    "SELECT c.relname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace "
    "WHERE n.nspname = current_schema() AND c.relkind IN ('r', 'p') ORDER BY c.relname"
)
_THERE = (
    "SELECT 'table', tablename::text FROM pg_tables WHERE schemaname = current_schema() UNION ALL "
    "SELECT 'index', indexname::text FROM pg_indexes WHERE schemaname = current_schema() UNION ALL "
    "SELECT 'trigger', tgname::text FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D' UNION ALL "
    "SELECT 'link', conname::text FROM pg_constraint "
    "WHERE contype = 'f' AND connamespace = current_schema()::regnamespace"
)


@cache
def embedded() -> tuple[tuple[str, str, str], ...]:
    """Return the kind, name and statement of each part of the newest embedded schema, in the order of making."""
    with closing(sqlite3.connect(":memory:")) as conn:
        MIGRATIONS.apply(Database(conn))
        rows = conn.execute(
            "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' "
            "AND tbl_name NOT LIKE '_sqlite_%' ORDER BY rowid"
        )
        order = {"table": 0, "index": 1, "trigger": 2}
        return tuple(sorted(rows.fetchall(), key=lambda row: order[row[0]]))


def tables() -> list[str]:
    """Return the names of all tables, in the order in which they were made."""
    return [name for kind, name, _ in embedded() if kind == "table"]


def tables_there(conn: Connection) -> list[str]:
    """Return the names of whatever tables are in the database."""
    return [row[0] for row in conn.execute(_TABLES.encode())]


def has_rowid(table: str) -> bool:
    """Say whether a table's rows are known by the order in which they came, in a column of its own here."""
    made, _ = statements()
    return any(one.startswith(f"CREATE TABLE {table} (") and ROWID in one for one in made)


@cache
def statements() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what makes the tables, and what makes all that stands on them: indexes, links, guards."""
    first, then, links = [], [], []
    for _, _, sql in embedded():
        for one in schema_to_postgres(sql):
            if one.startswith("CREATE TABLE"):
                first.append(one)
            elif is_link(one):
                links.append(one)
            else:
                then.append(one)
    return tuple(first), (*then[: _first_guard(then)], *links, *then[_first_guard(then) :])


def _first_guard(found: list[str]) -> int:
    return next((place for place, one in enumerate(found) if one.startswith("CREATE FUNCTION")), len(found))


def all_migrations() -> list[str]:
    """Return the names of the migrations that this version knows, the oldest first."""
    with closing(sqlite3.connect(":memory:")) as conn:
        return [one.name for one in MIGRATIONS.pending(Database(conn))]


def make_ready(conn: Connection, address: Address, *, make: bool) -> None:
    """Make the schema in an empty database, or bring an older one up to date.

    Raises
    ------
    Refused
        When something else is in it, when a newer version wrote it, or when it is empty and is not to be made.
    """
    try:
        with conn.transaction():
            conn.execute(f"SELECT pg_advisory_xact_lock({_MAKING}, 0)".encode())
            there = tables_there(conn)
            if not there:
                if not make:
                    raise Refused(address, "it is empty", "give another with --data")
                make_new(conn)
                conn.execute(b"INSERT INTO app (name, value) VALUES ('secret', $1)", [secrets.token_hex(32)])
                return
            _bring_up_to_date(conn, address, there)
    except psycopg.Error as error:
        message = error.diag.message_primary or str(error)
        raise Refused(address, f"its tables cannot be made or read ({message})", "let its user make tables") from error


def make_new(conn: Connection, *, whole: bool = True) -> None:
    """Make the newest schema; not `whole`: its tables alone, for rows to be put in before `finish`."""
    if "plpgsql" not in {row[0] for row in conn.execute(b"SELECT lanname::text FROM pg_language")}:
        raise psycopg.errors.UndefinedObject("its language plpgsql is missing")
    encoding = conn.execute(b"SHOW server_encoding").fetchone()
    if encoding is None or encoding[0] != "UTF8":
        raise psycopg.errors.InvalidParameterValue("its encoding is not UTF8")
    made, _ = statements()
    for one in made:
        conn.execute(one.encode())
    conn.execute(
        f'CREATE TABLE {VERSIONS} (name TEXT COLLATE "C" PRIMARY KEY, done_at DOUBLE PRECISION NOT NULL)'.encode()
    )
    _record(conn, all_migrations())
    if whole:
        put_first_rows(conn)
        finish(conn)


@cache
def _first_rows() -> tuple[tuple[str, tuple[str, ...], tuple[Any, ...]], ...]:
    """Return the rows that migrations put into a new file, by table and columns, but the key of cookies."""
    with closing(sqlite3.connect(":memory:")) as conn:
        MIGRATIONS.apply(Database(conn))
        found = []
        for table in tables():
            rows = conn.execute(f"SELECT * FROM {table} WHERE ? <> 'app'", [table])  # noqa: S608 - names of ours
            columns = tuple(one[0] for one in rows.description)
            found += [(table, columns, tuple(row)) for row in rows]
        return tuple(found)


def put_first_rows(conn: Connection) -> None:
    """Put in what a new file has from its migrations."""
    for table, columns, row in _first_rows():
        names = ", ".join(f'"{one}"' for one in columns)
        places = ", ".join(f"${number}" for number in range(1, len(columns) + 1))
        conn.execute(f"INSERT INTO {table} ({names}) VALUES ({places})".encode(), list(row))  # noqa: S608
        if "id" in columns:
            conn.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), max(id)) FROM {table}".encode())  # noqa: S608


def finish(conn: Connection) -> None:
    """Make what stands on the tables: indexes, links, guards."""
    _, rest = statements()
    for one in rest:
        conn.execute(one.encode())


def _record(conn: Connection, names: Iterable[str]) -> None:
    for one in names:
        conn.execute(f"INSERT INTO {VERSIONS} VALUES ($1, $2)".encode(), [one, time.time()])  # noqa: S608


def _bring_up_to_date(conn: Connection, address: Address, there: list[str]) -> None:
    if VERSIONS not in there:
        some = ", ".join(there[:3])
        raise Refused(address, f"there are tables in it that are not ours ({some})", "give an empty database")
    known = all_migrations()
    done = {row[0] for row in conn.execute(f"SELECT name FROM {VERSIONS}".encode())}  # noqa: S608
    newer = sorted(done - set(known))
    if newer:
        raise Refused(
            address,
            f"a newer version of Two Meridians wrote it ({', '.join(newer)})",
            "use that version, or give another database with --data",
        )
    missing = [one for one in known if one not in done]
    if not missing:
        return
    with closing(sqlite3.connect(":memory:")) as embedded_conn:
        steps = {one.name: one for one in MIGRATIONS.pending(Database(embedded_conn))}
    for name in missing:
        # Migrations call nothing of it but `execute`.
        steps[name].fn(cast("Database", _Translating(conn)))
    _record(conn, missing)


class _Translating:
    """Runs the statements of a migration in PostgreSQL."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn

    def execute(self, sql: str, values: Any = ()) -> Any:
        found = None
        for one in schema_to_postgres(sql):
            found = self._conn.execute(one.encode(), list(values) if values else None)
        return found


def numbered(conn: Connection) -> frozenset[str]:
    """Return the tables whose rows have a number of their own, `id`."""
    rows = conn.execute(
        b"SELECT table_name::text FROM information_schema.columns WHERE table_schema = current_schema() "
        b"AND column_name = 'id' AND is_identity = 'YES'"
    )
    return frozenset(row[0] for row in rows)


@cache
def _meant() -> frozenset[tuple[str, str]]:
    """Return the kind and name of what the statements of the schema make, as far as they name it."""
    found = set[tuple[str, str]]()
    for one in (*statements()[0], *statements()[1]):
        words = one.replace("CREATE UNIQUE INDEX", "CREATE INDEX").split()
        if words[:2] in (["CREATE", "TABLE"], ["CREATE", "INDEX"], ["CREATE", "TRIGGER"]):
            found.add((words[1].lower(), words[2]))
        elif is_link(one):
            found.add(("link", words[5]))
    return frozenset(found)


def lacking(conn: Connection) -> list[str]:
    """Name each table, index, link and guard that is not there as it should be."""
    there = {(row[0], row[1]) for row in conn.execute(_THERE.encode())}
    return sorted(f"{kind} {name}" for kind, name in _meant() - there)


def unreadable(conn: Connection) -> str | None:
    """Look at every cell of every table; return which cannot be read, None where all can."""
    for table in tables():
        tests = soundness.tests_of(table)
        columns = ", ".join(f'"{name}"' for name in tests)
        with conn.cursor() as cursor:
            for row in cursor.stream(f"SELECT {columns} FROM {table}".encode()):  # noqa: S608 - names of ours
                for name, value in zip(tests, row, strict=True):
                    if not tests[name](value):
                        return f"column {name} of table {table} holds what cannot be read"
                if table == "answers" and soundness.is_changed(dict(zip(tests, row, strict=True))):
                    return "an answer is not as it was written: its checksum differs"
    return None
