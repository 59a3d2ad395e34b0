"""How the engines find rows: nothing that a learner does, and no removal, reads a whole table of everybody's."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from typing import Any

import pytest
from sqlite_utils import Database

from quiz.practice import learners
from quiz.storage.datafile import DataFile
from quiz.storage.engines import postgres_schema
from quiz.storage.engines.dialect import to_postgres
from quiz.storage.engines.postgres import PostgresData
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Store
from tests.benchmarks.test_long_log import Desk
from tests.conftest import NOON, lots

SMALL = {
    ("lti_registrations", "school"): "a row for each course platform",
    ("lti_states", "registration"): "lives for minutes",
    ("lti_tickets", "link"): "lives for minutes",
    ("lti_tickets", "user"): "lives for minutes",
    ("school_invitations", "made_by"): "lives for days, and each school has a most",
    ("school_invitations", "preceptor"): "lives for days, and each school has a most",
}
"""Links between tables that are looked through from end to end, and why that is quick."""


def links() -> list[tuple[str, str, str]]:
    """Return each table and column that names a row of another table, and whether it does by TEXT or INTEGER."""
    with closing(sqlite3.connect(":memory:")) as conn:
        MIGRATIONS.apply(Database(conn))
        names = [name for kind, name, _ in postgres_schema.embedded() if kind == "table"]
        return [(name, *row) for name in names for row in conn.execute(_LINKS, [name])]


_LINKS = (
    'SELECT DISTINCT l."from", c.type FROM pragma_foreign_key_list(?1) l JOIN pragma_table_info(?1) c '
    'ON c.name = l."from"'
)


def whole_tables(store: Store, sql: str, values: tuple[Any, ...]) -> list[str]:
    """Return what a statement reads from end to end, by the plan of the engine."""
    if isinstance(store._file, PostgresData):
        # Tables of a test are small, and reading one whole is quick: it is asked what it does if it can avoid that.
        store._db.execute(b"SET enable_seqscan = off")
        rows = store._db.execute(b"EXPLAIN " + to_postgres(sql).sql.encode(), list(values)).fetchall()
        store._db.execute(b"SET enable_seqscan = on")
        return [row[0] for row in rows if "Seq Scan on" in row[0]]
    rows = store._db.conn.execute(f"EXPLAIN QUERY PLAN {sql}", values).fetchall()
    return [row[3] for row in rows if row[3].startswith("SCAN ")]


def test_what_a_removal_takes_along_is_found_by_an_index(store: Store) -> None:
    """Without one, removing a learner or the draft of a drill took 1.2 to 3.5 s behind ten million answers."""
    read = set()
    for table, column, kind in links():
        value = "1" if kind == "TEXT" else 1
        if whole_tables(store, f'SELECT 1 FROM {table} WHERE "{column}" = ?', (value,)):  # noqa: S608
            read.add((table, column))
    assert read == set(SMALL)


@pytest.mark.of_the_file("PostgreSQL plans by the rows that are there, and a test has few")
def test_a_case_reads_no_table_from_end_to_end(data_file: DataFile, store: Store, monkeypatch: Any) -> None:
    who = learners.add(store, "Imre", now=NOON)
    desk, asked = Desk(store, who.id, data_file, lots(), random.Random(1)), dict[str, tuple[Any, ...]]()

    def noting(given: Any) -> Any:
        def noted(db: Any, sql: str, values: tuple[Any, ...]) -> Any:
            asked[sql] = values
            return given(db, sql, values)

        return noted

    for name in ("fetch", "change"):
        monkeypatch.setattr(data_file, name, noting(getattr(data_file, name)))
    for _ in range(25):
        desk.answer(desk.deal())
    monkeypatch.undo()
    assert len(asked) > 10
    read = {sql: whole_tables(store, sql, values) for sql, values in asked.items()}
    # `a` is the latest few answers of the learner, found by an index.
    assert {sql: found for sql, found in read.items() if found not in ([], ["SCAN a"])} == {}
