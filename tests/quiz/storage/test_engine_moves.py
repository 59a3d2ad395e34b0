"""Everything is moved to PostgreSQL and back: the same rows, exports and memories, and never over what is there."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from quiz import demo
from quiz.exports import answers, own_data
from quiz.practice import dealing, learners
from quiz.storage import projection, result_queries
from quiz.storage.datafile import DataFile, Refused, Where
from quiz.storage.engines import moving
from quiz.storage.engines.address import Address
from quiz.storage.engines.opening import open_engine
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import NOON, lots, written
from tests.fixtures.make import HERE, newest
from tests.postgres_server import server
from tests.quiz.web.test_server import quiz


@pytest.fixture
def address() -> Iterator[Address]:
    one = server().empty()
    yield one
    server().drop(one)


@pytest.fixture(params=["demo", "fixture"])
def filled(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Fill a file: the invented class, or what is kept of the newest schema."""
    path = tmp_path / "class.sqlite3"
    if request.param == "fixture":
        with closing(sqlite3.connect(path)) as conn:
            conn.executescript((HERE / f"{newest()}.sql").read_text(encoding="utf-8"))
    else:
        monkeypatch.setattr(demo, "TREES", demo.TREES[:2])
        monkeypatch.setattr(demo, "SITTINGS", 2)
        with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
            demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None)
            gone = learners.add(store, "Gone", now=NOON)
            learners.remove(store, gone.id, now=NOON)
    return path


def exported(where: Where) -> list[str]:
    """Return every learner's own data, and all answers as CSV and as xAPI statements."""
    found = []
    with closing(open_engine(where)) as file, closing(Store(file)) as store:
        for one in store.learners():
            found += [*own_data.json_lines(store, one), *own_data.answers_csv(store, one)]
        everyone = list(result_queries.answers_for_export(store, [one.id for one in store.learners()]))
        found += [*answers.answers_csv(store, [1, 2], everyone), *answers.statements(store, everyone)]
    return found


def wrong_in(where: Where) -> list[str]:
    return [one.words for one in check(where) if not one.good]


def test_there_and_back_everything_is_the_same(filled: Path, address: Address, tmp_path: Path) -> None:
    before, back = exported(filled), tmp_path / "back.sqlite3"
    there = moving.move(filled, address)
    assert sum(one.rows for one in there) > 50
    assert exported(address) == before
    assert wrong_in(address) == []
    assert moving.move(address, back) == there
    assert exported(back) == before
    assert wrong_in(back) == []
    with closing(sqlite3.connect(filled)) as one, closing(sqlite3.connect(back)) as other:
        counted = "SELECT name, seq FROM sqlite_sequence WHERE seq > 0 ORDER BY name"
        assert other.execute(counted).fetchall() == one.execute(counted).fetchall(), "no number is given twice"


def test_a_learner_goes_on_where_they_were(filled: Path, address: Address) -> None:
    with closing(DataFile.open(filled)) as file, closing(Store(file)) as store:
        highest = max(one.id for one in store.learners())
    moving.move(filled, address)
    with closing(open_engine(address)) as data, closing(Store(data)) as store:
        assert learners.add(store, "Newcomer", now=NOON).id > highest
        who = store.learners()[0]
        one = dealing.waiting(store, who, now=NOON + 9e6, lots=lots())
        dealing.take(store, who, one.dealt.id, written(one.case), 3, now=NOON + 9e6 + 5)
        assert all(each.as_kept for each in projection.rebuild(store))


def test_nothing_is_moved_over_what_is_there(filled: Path, address: Address, tmp_path: Path) -> None:
    with psycopg.connect(address.with_password, autocommit=True) as conn:
        conn.execute("CREATE TABLE of_others (id int)")
    with pytest.raises(Refused, match=r"there is something in it \(of_others\)"):
        moving.move(filled, address)
    with pytest.raises(Refused, match="there are tables in it that are not ours"):
        moving.move(address, tmp_path / "new.sqlite3")
    there = tmp_path / "there.sqlite3"
    there.write_text("mine")
    with pytest.raises(Refused, match="there is a file of that name"):
        moving.move(address, there)
    assert there.read_text() == "mine"
    with pytest.raises(Refused, match="of the same kind"):
        moving.move(filled, there)


def test_what_arrives_otherwise_is_not_kept(filled: Path, address: Address, monkeypatch: pytest.MonkeyPatch) -> None:
    good = moving._in_database

    def bent(conn: object, plan: moving._Plan) -> Iterator[moving.Row]:
        for row in good(conn, plan):
            yield (*row[:-1], "other") if plan.table == "answers" else row

    monkeypatch.setattr(moving, "_in_database", bent)
    with pytest.raises(moving.NotTheSame, match="table answers did not arrive"):
        moving.move(filled, address)
    monkeypatch.undo()
    assert moving.move(filled, address), "and the database is as empty as before"


def test_the_command_says_what_it_moved(filled: Path, address: Address, tmp_path: Path) -> None:
    done = quiz("move", "--data", filled, "--to", address.with_password)
    assert (done.returncode, done.stderr) == (0, "")
    assert "the same row by row" in done.stdout
    assert "stays on PostgreSQL's disk until it is tidied up" in done.stdout
    assert quiz("check", "--data", address.with_password).returncode == 0
    again = quiz("move", "--data", filled, "--to", address.with_password)
    assert again.returncode == 2
    assert again.stderr.startswith("quiz: database postgresql://")
    assert quiz("move", "--data", address.with_password, "--to", tmp_path / "b.sqlite3").returncode == 0
