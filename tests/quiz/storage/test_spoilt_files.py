"""Damaged files: one clear line that tells the way out, whatever the bytes; pages and exports come whole or not at all.

`python -m tests.benchmarks.spoil` puts copies through every command, page and export, 200 of them in `.ci/run`.
"""

from __future__ import annotations

import re
import shlex
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import get_type_hints

import pytest

from quiz.accuracy.entries import Entry
from quiz.app import create_app
from quiz.practice import dealing
from quiz.practice.what_to_practise import Aim
from quiz.storage import soundness
from quiz.storage.class_queries import Drill, KeptCase
from quiz.storage.datafile import Damaged, DataFile
from quiz.storage.safekeeping.salvage import salvage
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Answer, Dealt, Learner, Store
from quiz.web import downloads, layout
from tests.conftest import NOON, Clock, lots, written
from tests.quiz.web.test_server import quiz


def spoilt_cell(path: Path, change: str) -> None:
    """Change a row of the answer log behind the app's back; the guard against that is put back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        guard = conn.execute("SELECT sql FROM sqlite_master WHERE name = 'answers_are_not_changed'").fetchone()[0]
        conn.execute("DROP TRIGGER answers_are_not_changed")
        conn.execute(f"UPDATE answers SET {change} WHERE id = (SELECT max(id) FROM answers)")  # noqa: S608
        conn.execute(guard)


@pytest.mark.parametrize(
    "change",
    ["at = at + 1", "seed = seed + 1", "verdict = CASE verdict WHEN 'right' THEN 'wrong' ELSE 'right' END", "late = 1"],
)
def test_a_digit_or_a_word_of_an_answer_that_became_another_is_seen(
    data_path: Path, store: Store, learner: Learner, tmp_path: Path, change: str
) -> None:
    """Every cell can be read, and nothing but the checksum shows it."""
    answered(store, learner)
    assert list(filter(None, checks_of(data_path))) == []
    spoilt_cell(data_path, change)
    with pytest.raises(Damaged, match="answer 1 is not as it was written: its checksum differs"):
        DataFile.open(data_path)
    done = salvage(data_path, tmp_path / "new.sqlite3")
    assert [one.refused for one in done.tables if one.name == "answers"] == [[1]]


def test_an_answer_from_before_there_were_checksums_is_not_held_against_one(
    data_path: Path, store: Store, learner: Learner
) -> None:
    answered(store, learner)
    spoilt_cell(data_path, "checksum = NULL, seed = seed + 1")
    assert list(filter(None, checks_of(data_path))) == []


def checks_of(path: Path) -> list[str | None]:
    with closing(sqlite3.connect(path)) as conn:
        return list(soundness.damage(conn))


@pytest.mark.parametrize(
    "change",
    [
        "given = CAST(x'7b22e9' AS TEXT)",
        "explanations = '{'",
        "explanations = '[17]'",
        "verdict = 'rigth'",
        "at = 1e300",
        "sitting = 77",
    ],
)
def test_a_file_with_one_damaged_cell_is_not_served(
    data_path: Path, store: Store, learner: Learner, change: str
) -> None:
    answered(store, learner)
    spoilt_cell(data_path, change)
    before = data_path.read_bytes()
    with pytest.raises(
        Damaged,
        match=rf"\(column {change.split()[0]} in row 1 of table answers cannot be read|row 1 of table answers names",
    ):
        DataFile.open(data_path)
    assert data_path.read_bytes() == before


def answered(store: Store, learner: Learner, cases: int = 1) -> None:
    for number in range(cases):
        at = NOON + 60 * number
        one = dealing.waiting(store, learner, now=at, lots=lots(number + 1))
        dealing.take(store, learner, one.dealt.id, written(one.case), 2, now=at + 20)


def test_the_line_says_what_is_damaged_and_which_command_restores_which_backup(
    data_path: Path, tmp_path: Path, store: Store, learner: Learner
) -> None:
    answered(store, learner)
    assert quiz("backup", tmp_path / "monday's.sqlite3", "--data", data_path).returncode == 0
    shutil.copy(data_path, tmp_path / "newer-but-damaged-too.sqlite3")
    for path in (data_path, tmp_path / "newer-but-damaged-too.sqlite3"):
        spoilt_cell(path, "given = CAST(x'7b22e9' AS TEXT)")
    for command in (["serve", "--no-browser"], ["check"], ["backup", str(tmp_path / "b.sqlite3")]):
        found = quiz(*command, "--data", data_path)
        assert (found.returncode, len(found.stderr.splitlines())) == (2, 1)
        assert (
            "it is damaged (column given in row 1 of table answers cannot be read); stop the app that serves it"
            in found.stderr
        )
        assert "is the newest sound backup beside it" in found.stderr
        told = re.search(r"`python -m (quiz restore .*)`", found.stderr)
        assert told is not None
        command_told = told.group(1)
    store.close()
    assert quiz(*shlex.split(command_told)[1:]).returncode == 0, "the command does what it says, as it stands"
    assert quiz("check", "--data", data_path).returncode == 0


def test_a_backup_of_another_data_file_is_not_named(data_path: Path, tmp_path: Path) -> None:
    DataFile.open(data_path).close()
    DataFile.open(tmp_path / "another-class.sqlite3").close()
    data_path.write_bytes(data_path.read_bytes()[:9000])
    with pytest.raises(Damaged, match=r"restore BACKUP --data .*no backup lies beside it"):
        DataFile.open(data_path)


@pytest.mark.parametrize("url", ["/progress/answers.csv", "/progress/everything.jsonl"])
def test_an_export_that_meets_damage_half_way_is_refused_and_never_cut_off(
    data_path: Path, data_file: DataFile, store: Store, learner: Learner, url: str
) -> None:
    answered(store, learner, 3)
    client = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    assert client.get(url).status_code == 200
    spoilt_cell(data_path, "explanations = '17'")
    page = client.get(url)
    assert page.status_code == 503
    assert "The data file is damaged" in page.text
    assert "quiz restore BACKUP" in page.text


def test_a_page_that_says_there_is_none_may_meet_damage_too(
    data_path: Path, data_file: DataFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who reads it is asked of the data file, after the error that it tells of."""
    client = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    asked = iter((Damaged(data_path, "a page cannot be read", "stop the app"), None))

    def meets_damage() -> bool:
        if (error := next(asked)) is not None:
            raise error
        return False

    monkeypatch.setattr(layout, "for_a_preceptor", meets_damage)
    page = client.get("/nowhere")
    assert page.status_code == 503
    assert "The data file is damaged" in page.text


def test_a_long_export_is_finished_before_it_is_sent(data_file: DataFile, monkeypatch: pytest.MonkeyPatch) -> None:
    client = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    whole = client.get("/progress/everything.jsonl").data
    monkeypatch.setattr(downloads, "IN_MEMORY", 10)
    with client.get("/progress/everything.jsonl") as page:
        assert page.content_length == len(whole)
        assert page.data == whole

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(SpooledTemporaryFile, "write", full)
    page = client.get("/progress/everything.jsonl")
    assert page.status_code == 507
    assert "has no room to make the file" in page.text


def test_what_is_found_while_it_is_served_ends_the_serving(data_path: Path, store: Store, learner: Learner) -> None:
    """A large file is looked over beside its learners: once damage is found nothing is lent any more."""
    answered(store, learner)
    spoilt_cell(data_path, "hints = 'nonsense'")
    with closing(DataFile.open(data_path, look=0)) as file:
        assert not file.looked_over
        client = create_app(file, clock=Clock(), lots=lots(5)).test_client()
        assert client.get("/").status_code == 200
        with pytest.raises(Damaged, match="hints in row 1 of table answers"):
            list(file.look_over())
        page = client.get("/")
        assert page.status_code == 503
        assert "Column hints in row 1 of table answers cannot be read." in page.text


def test_every_column_that_the_schema_calls_json_is_looked_at() -> None:
    with closing(sqlite3.connect(":memory:")) as conn:
        from sqlite_utils import Database

        MIGRATIONS.apply(Database(conn))
        schema = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall()
    said = {(table, column) for table, sql in schema for column in re.findall(r"(\w+) TEXT.*-- JSON", sql)}
    known = {(table, column) for table, shapes in soundness.SHAPES.items() for column in shapes}
    assert said >= {("learners", "state"), ("answers", "given")}
    # SQLite keeps no comment of a column that was added.
    assert (
        said | {("answers", "weighed"), ("learners", "priors"), ("drills", "aids"), ("drills", "own_cases")}
        == known | soundness.WORKED_OUT
    )


@pytest.mark.parametrize(
    ("table", "kind"),
    [
        ("dealt", Dealt),
        ("answers", Answer),
        ("drills", Drill),
        ("drill_cases", KeptCase),
        ("accuracy", Entry),
        ("kept_to", Aim),
    ],
)
def test_a_column_is_looked_over_for_what_it_is_read_into(table: str, kind: type) -> None:
    hints = get_type_hints(kind)
    for column, shape in soundness.SHAPES[table].items():
        assert hints[column] in (shape, shape | None), column
