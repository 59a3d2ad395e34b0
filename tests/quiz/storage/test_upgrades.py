"""Data files of every schema that there was: opened, brought up to date, with nothing lost, and practised on."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from quiz.practice import dealing
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Store
from tests.conftest import NOON, lots, written
from tests.fixtures.make import HERE, made, newest
from tests.quiz.web.test_server import get, serving

FIXTURES = sorted(HERE.glob("*.sql"))
UNRELEASED = {"m002_classes", "m013_people", "m014_tests", "m022_own_cases"}
"""Migrations that came together with a later one: no file ever stood between them."""


@pytest.fixture(params=FIXTURES, ids=lambda path: path.stem)
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return made(request.param.read_text(encoding="utf-8"), tmp_path / "older.sqlite3")


def log(path: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as conn:
        columns = "dealt, learner, at, type, seed, findings, truth, given, verdict, confidence"
        return conn.execute(f"SELECT {columns} FROM answers ORDER BY id").fetchall()  # noqa: S608 - words from here


def test_a_file_of_every_schema_is_kept() -> None:
    names = [one.name for one in MIGRATIONS._migrations]
    kept = {path.stem for path in FIXTURES}
    assert newest() in kept, "run `python -m tests.fixtures.make` and keep the file with the migration"
    assert set(names) - UNRELEASED == kept


def test_it_is_brought_up_to_date_with_nothing_lost(older: Path) -> None:
    before = log(older)
    assert len(before) == 18
    DataFile.open(older).close()
    assert log(older) == before
    found = list(check(older))
    assert [one.words for one in found if not one.good] == []
    assert "it stands at this version's schema" in [one.words for one in found]


def test_a_check_of_it_changes_nothing(older: Path) -> None:
    before = older.read_bytes()
    found = list(check(older))
    assert all(one.good for one in found), found
    assert older.read_bytes() == before


def test_practice_goes_on_in_it(older: Path) -> None:
    with closing(DataFile.open(older)) as file, closing(Store(file)) as store:
        for learner in store.learners():
            assert store.count_answers(learner.id) == 9
            for number in range(12):
                at = NOON + 86400 + 60 * number
                one = dealing.waiting(store, learner, now=at, lots=lots(100 * learner.id + number))
                dealing.take(store, learner, one.dealt.id, written(one.case), 3, now=at + 30)
            assert store.count_answers(learner.id) == 21
            kept = store.states(store.learners()[0].id)
            assert kept is not None
            assert json.loads(kept.state)
    assert all(one.good for one in check(older))


def test_the_real_server_starts_on_it(older: Path) -> None:
    with serving("--data", older, "--one-person") as (_, host, port):
        assert get(host, port, "/people") == 200
