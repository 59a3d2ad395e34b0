"""What can be read of a damaged file is saved, and what cannot is listed."""

from __future__ import annotations

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from quiz.storage.datafile import DataFile, Refused
from quiz.storage.safekeeping.salvage import PAGE, NothingLeft, Salvaged, salvage
from quiz.storage.store import Store
from tests.benchmarks.spoil import sound
from tests.fixtures.make import HERE, made
from tests.quiz.web.test_server import quiz


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return the bytes of a data file with a bit of everything in it."""
    path = sound(tmp_path_factory.mktemp("whole")).path
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA journal_mode = DELETE")
    return path.read_bytes()


@pytest.fixture
def damaged(whole: bytes, tmp_path: Path) -> Path:
    path = tmp_path / "damaged.sqlite3"
    path.write_bytes(whole)
    return path


def rows(path: Path, table: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as conn:
        return conn.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()  # noqa: S608


def leaves(path: Path, table: str) -> list[int]:
    """Return the numbers of the pages that hold a table's rows, in the order of the rows, from 1 on."""
    with closing(sqlite3.connect(path)) as conn:
        (root,) = conn.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", [table]).fetchone()
    raw = path.read_bytes()

    def below(number: int) -> list[int]:
        page = raw[(number - 1) * PAGE : number * PAGE]
        if page[0] == 0x0D:  # a leaf of a table (SQLite file format, section 1.6)
            return [number]
        cells = int.from_bytes(page[3:5], "big")
        at = [int.from_bytes(page[12 + 2 * one : 14 + 2 * one], "big") for one in range(cells)]
        children = [int.from_bytes(page[one : one + 4], "big") for one in at] + [int.from_bytes(page[8:12], "big")]
        return [leaf for child in children for leaf in below(child)]

    return below(root)


def spoil(path: Path, at: int, raw: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(at)
        file.write(raw)


def lost(done: Salvaged) -> set[str]:
    return {one.name for one in done.tables if not one.is_whole}


def is_sound(path: Path) -> bool:
    found = quiz("check", "--data", path)
    return found.returncode == 0 and "BAD" not in found.stdout


def test_of_a_sound_file_everything_is_saved(damaged: Path, whole: bytes, tmp_path: Path) -> None:
    new = tmp_path / "new.sqlite3"
    done = salvage(damaged, new)
    assert (lost(done), done.stand_ins) == (set(), [])
    for table in ("learners", "answers", "dealt", "members", "drills", "accuracy", "app", "tallies", "sittings"):
        assert rows(new, table) == rows(damaged, table), table
    assert is_sound(new)
    assert damaged.read_bytes() == whole
    assert new.stat().st_mode & 0o077 == 0


def test_a_file_that_waits_and_a_memory_that_is_no_text_are_no_obstacle(damaged: Path, tmp_path: Path) -> None:
    """What is compressed is bytes and stays so; a damaged memory is worked out again."""
    packed = gzip.compress(b"a line of own data", mtime=0)
    with closing(sqlite3.connect(damaged)) as conn, conn:
        (learner,) = conn.execute("SELECT learner FROM answers").fetchone()
        conn.execute("INSERT OR REPLACE INTO brought (learner, at, lines) VALUES (?, 1.0, ?)", [learner, packed])
        conn.execute("UPDATE learners SET state = CAST(x'7bac' AS TEXT) WHERE id = ?", [learner])
    new = tmp_path / "new.sqlite3"
    assert lost(salvage(damaged, new)) == set()
    assert packed in [row[2] for row in rows(new, "brought")]
    assert is_sound(new)


def test_rows_before_and_after_a_page_that_is_gone_are_saved(damaged: Path, tmp_path: Path) -> None:
    pages = leaves(damaged, "answers")
    assert len(pages) >= 3
    before = rows(damaged, "answers")
    spoil(damaged, (pages[1] - 1) * PAGE, b"\0" * PAGE)
    found = quiz("salvage", damaged, tmp_path / "new.sqlite3")
    assert found.returncode == 1
    assert "LOST  answers: " in found.stdout
    assert "nothing can be read at row numbers" in found.stdout
    saved = rows(tmp_path / "new.sqlite3", "answers")
    assert set(saved) < set(before)
    assert {saved[0], saved[-1]} == {before[0], before[-1]}
    assert is_sound(tmp_path / "new.sqlite3")


def test_a_file_whose_first_bytes_are_gone_is_saved(damaged: Path, tmp_path: Path) -> None:
    spoil(damaged, 0, b"\xff" * 100)
    done = salvage(damaged, tmp_path / "new.sqlite3")
    assert lost(done) == set()
    assert is_sound(tmp_path / "new.sqlite3")


def test_without_its_first_page_a_file_is_saved_by_a_backup_of_it(damaged: Path, whole: bytes, tmp_path: Path) -> None:
    backup = tmp_path / "backup.sqlite3"
    backup.write_bytes(whole)
    spoil(damaged, 0, b"\0" * PAGE)
    with pytest.raises(NothingLeft, match="give it with --like"):
        salvage(damaged, tmp_path / "new.sqlite3")
    assert not (tmp_path / "new.sqlite3").exists()
    done = salvage(damaged, tmp_path / "new.sqlite3", like=backup)
    assert lost(done) == set()
    assert rows(tmp_path / "new.sqlite3", "answers") == rows(backup, "answers")


def test_answers_of_a_learner_whose_row_is_lost_stay_under_a_number(damaged: Path, tmp_path: Path) -> None:
    for page in leaves(damaged, "learners"):
        spoil(damaged, (page - 1) * PAGE, b"\0" * PAGE)
    new = tmp_path / "new.sqlite3"
    found = quiz("salvage", damaged, new)
    assert found.returncode == 1
    assert "LOST  names of learners: 1, 2, 3; their answers are kept" in found.stdout
    assert rows(new, "answers") == rows(damaged, "answers")
    with closing(DataFile.open(new)) as file, closing(Store(file)) as store:
        assert {one.name for one in store.learners()} == {"Learner 1", "Learner 2", "Learner 3"}
    assert is_sound(new)


def test_a_cell_that_cannot_be_what_was_written_is_left_out(damaged: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(damaged, isolation_level=None)) as conn:
        conn.execute("DROP TRIGGER answers_are_not_changed")
        conn.execute("UPDATE answers SET truth = 'no JSON' WHERE id = 5")
    done = salvage(damaged, tmp_path / "new.sqlite3")
    (answers,) = [one for one in done.tables if one.name == "answers"]
    assert answers.refused == [5]
    assert "left out, changed, damaged or without what they belong to: row numbers 5" in answers.says
    assert len(rows(tmp_path / "new.sqlite3", "answers")) == len(rows(damaged, "answers")) - 1
    assert is_sound(tmp_path / "new.sqlite3")


def test_a_memory_that_is_not_even_text_is_worked_out_anew(damaged: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(damaged, isolation_level=None)) as conn:
        conn.execute("UPDATE learners SET state = CAST(x'ac' AS TEXT) WHERE id = 1")
    assert lost(salvage(damaged, tmp_path / "new.sqlite3")) == set()
    assert is_sound(tmp_path / "new.sqlite3")


@pytest.mark.parametrize("stem", ["m001_people_cases_answers", "m015_retention"])
def test_files_of_older_versions_are_saved_and_brought_up_to_date(stem: str, tmp_path: Path) -> None:
    older = made((HERE / f"{stem}.sql").read_text(encoding="utf-8"), tmp_path / "older.sqlite3")
    before = rows(older, "learners")
    assert lost(salvage(older, tmp_path / "new.sqlite3")) == set()
    assert [row[:2] for row in rows(tmp_path / "new.sqlite3", "learners")] == [row[:2] for row in before]
    assert is_sound(tmp_path / "new.sqlite3")


def test_what_is_no_data_file_and_what_is_in_the_way_are_refused(damaged: Path, tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("nothing of ours\n" * 400)
    with pytest.raises(NothingLeft):
        salvage(tmp_path / "notes", tmp_path / "new.sqlite3")
    with pytest.raises(Refused, match="there is no such file"):
        salvage(tmp_path / "none", tmp_path / "new.sqlite3")
    with pytest.raises(Refused, match="something of that name already"):
        salvage(damaged, tmp_path / "notes")
    assert quiz("salvage", tmp_path / "notes", tmp_path / "new.sqlite3").stderr.count("\n") == 1
