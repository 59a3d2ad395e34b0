"""Logs of millions of answers for `engines.py`, put in with the indexes made at the end.

Each block copies the sittings, cases and answers that one learner practised through the app, under other numbers,
earlier than the block after it and than what was practised. Numbers of cases are as scattered as the app's are.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg

from quiz.storage.engines import postgres_schema
from quiz.storage.engines.address import Address

FILLING = (
    *("fsync=off", "synchronous_commit=off", "full_page_writes=off", "wal_level=minimal", "max_wal_senders=0"),
    *("autovacuum=off", "max_wal_size=4GB", "shared_buffers=2GB", "maintenance_work_mem=1GB"),
)
"""Settings of a server that is being filled, on the disk; it is started again as `SAFE` for what is measured."""
BLOCK_S = 5000
"""Seconds from the beginning of one block to the next: longer than the hundred cases of one."""
AT_ONCE = 2000
"""Blocks in one transaction: what is written is in the log beside the file too, until it is in the file."""
_TABLES = ("sittings", "dealt", "answers")


def columns(table: str) -> list[str]:
    """Return the names of a table's columns, as the embedded schema has them."""
    with closing(sqlite3.connect(":memory:")) as conn:
        for kind, _, sql in postgres_schema.embedded():
            if kind == "table":
                conn.execute(sql)
        return [str(row[0]) for row in conn.execute("SELECT name FROM pragma_table_info(?)", [table])]


def _scattered(key: str) -> str:
    return f"'case-' || substr(md5({key} || '-' || n), 1, 15)"


def _copies(table: str, blocks: int) -> str:
    """Return the statement that adds blocks of a table, `n` in `numbers`, from its own rows in `own_` and its name."""
    earlier = f"- {BLOCK_S}.0 * ({blocks + 1} - n)"
    key = "dealt" if table == "answers" else "id"
    values = {name: f"{name} {earlier}" for name in ("at", "dealt_at", "closed_at", "started_at", "ended_at")}
    values["sitting"] = "sitting + (SELECT max(id) FROM own_sittings) * n"
    values[key] = "id + (SELECT max(id) FROM own_sittings) * n" if table == "sittings" else _scattered(key)
    here = [name for name in columns(table) if (table, name) != ("answers", "id")]
    chosen = ", ".join(values.get(name, name) for name in here)
    order = {"sittings": "id", "dealt": "dealt_at", "answers": "at"}[table]
    return (
        f"INSERT INTO {table} ({', '.join(here)}) "  # noqa: S608 - names of ours
        f"SELECT {chosen} FROM own_{table} CROSS JOIN numbers ORDER BY n, own_{table}.{order}"
    )


def grow_file(path: Path, blocks: int) -> None:
    """Add blocks to a data file that nobody has open; a file that breaks off half-way is worth nothing."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.create_function("md5", 1, lambda text: hashlib.md5(text.encode()).hexdigest(), deterministic=True)  # noqa: S324
        for setting in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -2000000", "foreign_keys = OFF"):
            conn.execute(f"PRAGMA {setting}")
        kinds = "SELECT name, sql FROM sqlite_master WHERE type = ? AND sql IS NOT NULL AND tbl_name IN (?, ?, ?)"
        indexes = conn.execute(kinds, ["index", *_TABLES]).fetchall()
        for name, _ in indexes:
            conn.execute(f"DROP INDEX {name}")
        for table in _TABLES:
            conn.execute(f"CREATE TEMP TABLE own_{table} AS SELECT * FROM {table}")  # noqa: S608
        for first in range(1, blocks + 1, AT_ONCE):
            conn.execute("BEGIN")
            conn.execute("DROP TABLE IF EXISTS temp.numbers")
            conn.execute(
                "CREATE TEMP TABLE numbers AS WITH RECURSIVE c(n) AS "
                "(SELECT ?1 UNION ALL SELECT n + 1 FROM c WHERE n < ?2) SELECT n FROM c",
                [first, min(first + AT_ONCE - 1, blocks)],
            )
            for table in _TABLES:
                conn.execute(_copies(table, blocks))
            conn.execute("COMMIT")
        for _, sql in indexes:
            conn.execute(sql)
        conn.execute("PRAGMA journal_mode = WAL")


def grow_database(address: Address, blocks: int) -> None:
    """Add blocks to a database, and tell the planner of them."""
    with psycopg.connect(address.with_password, autocommit=True) as conn:
        conn.execute(b"SET session_replication_role = replica")
        found = conn.execute(
            b"SELECT indexname::text, indexdef FROM pg_indexes "
            b"WHERE tablename = ANY(%s) AND indexname NOT LIKE '%%key'",
            [list(_TABLES)],
        ).fetchall()
        for name, _ in found:
            conn.execute(f"DROP INDEX {name}".encode())
        for table in _TABLES:
            conn.execute(f"CREATE TEMP TABLE own_{table} AS SELECT * FROM {table}".encode())  # noqa: S608
        for first in range(1, blocks + 1, AT_ONCE):
            numbers = f"generate_series({first}, {min(first + AT_ONCE - 1, blocks)})"
            conn.execute(b"DROP TABLE IF EXISTS numbers")
            conn.execute(f"CREATE TEMP TABLE numbers AS SELECT * FROM {numbers} AS n".encode())  # noqa: S608
            for table in _TABLES:
                conn.execute(_copies(table, blocks).encode())
        for _, sql in found:
            conn.execute(sql.encode())
        conn.execute(b"SELECT setval(pg_get_serial_sequence('sittings', 'id'), max(id)) FROM sittings")
        conn.execute(b"VACUUM (ANALYZE)")
