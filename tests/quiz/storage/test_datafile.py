"""The data file: ours is opened, anything else is refused with one line and left as it was."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

from quiz.storage.datafile import APPLICATION_ID, DataFile, Refused
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Store
from tests.conftest import NOON


def refusal(path: Path, *, patience: float = 0.2) -> str:
    """Try to open a file, see that it is refused and untouched, and return the sentence why."""
    before = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None
    with pytest.raises(Refused) as caught:
        DataFile.open(path, patience=patience)
    after = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None
    assert after == before
    sentence = str(caught.value)
    assert str(path) in sentence
    assert "\n" not in sentence
    return sentence


def made(path: Path) -> Path:
    DataFile.open(path).close()
    return path


def test_a_new_file_is_made_and_opened_again(data_path: Path) -> None:
    made(data_path)
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        assert store.learners() == []
        assert len(store.secret()) == 64


def test_an_empty_file_is_taken_as_new(data_path: Path) -> None:
    data_path.touch()
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        assert store.learners() == []


def test_the_mark_stands_in_the_file_itself(data_path: Path) -> None:
    """Bytes 68 to 71 of an SQLite file are its application id (SQLite file format, section 1.3)."""
    with closing(DataFile.open(data_path)):
        assert data_path.read_bytes()[68:72] == APPLICATION_ID.to_bytes(4, "big") == b"2MRD"


@pytest.mark.of_the_file("asks for settings of SQLite's")
def test_every_connection_is_durable_and_holds_to_foreign_keys(data_file: DataFile) -> None:
    db = data_file.connect()
    found = [
        db.conn.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous", "foreign_keys")
    ]
    db.conn.close()
    assert found == ["wal", 2, 1]


def test_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("sphere and cylinder\n" * 50, encoding="utf-8")
    assert "not a data file of Two Meridians" in refusal(path)


def test_a_short_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "short"
    path.write_bytes(b"SQLite format 3\x00")
    assert "not a data file of Two Meridians" in refusal(path)


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE patients (name TEXT)")
        other.commit()
    assert "not a data file of Two Meridians" in refusal(path)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["other.sqlite3"]


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "this is a folder" in refusal(tmp_path)


def test_a_missing_folder_is_refused(tmp_path: Path) -> None:
    assert "its folder does not exist" in refusal(tmp_path / "nowhere" / "a.sqlite3")


def test_a_place_that_takes_no_files_is_refused() -> None:
    """Even the superuser makes no file in /proc."""
    path = Path("/proc/two-meridians.sqlite3")
    assert path.parent.is_dir(), "this test needs /proc"
    assert "cannot be written" in refusal(path)


def test_a_locked_file_is_refused(data_path: Path) -> None:
    made(data_path)
    script = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1], isolation_level=None); "
        "c.execute('PRAGMA locking_mode=EXCLUSIVE'); c.execute('BEGIN EXCLUSIVE'); print('locked', flush=True); input()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(data_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with other:
        assert other.stdout is not None
        assert other.stdout.readline() == "locked\n"
        sentence = refusal(data_path)
        other.kill()
    assert "another program has it locked" in sentence
    made(data_path)


@pytest.mark.parametrize("where", [0.3, 0.6, 0.9])
def test_a_damaged_file_is_refused(data_path: Path, where: float) -> None:
    made(data_path)
    good = data_path.read_bytes()
    at = int(len(good) * where) // 4096 * 4096
    data_path.write_bytes(good[:at] + b"\xa5" * 4096 + good[at + 4096 :])
    assert "it is damaged" in refusal(data_path)


def test_a_file_cut_short_is_refused(data_path: Path) -> None:
    made(data_path)
    data_path.write_bytes(data_path.read_bytes()[:6000])
    assert "it is damaged" in refusal(data_path)


def test_a_file_of_a_newer_version_is_refused(data_path: Path) -> None:
    with closing(DataFile.open(data_path)) as file:
        db = file.connect()
        db.table("_sqlite_migrations").insert(
            {"migration_set": MIGRATIONS.name, "name": "m999_from_tomorrow", "applied_at": "2030-01-01"}
        )
        db.conn.close()
    assert "a newer version of Two Meridians wrote it (m999_from_tomorrow)" in refusal(data_path)


def test_a_file_that_may_only_be_read_is_refused(data_path: Path) -> None:
    """Run as nobody where the tests run as the superuser, whom no permission binds."""
    made(data_path)
    data_path.chmod(0o444)
    for folder in (data_path.parent, *data_path.parent.parents[:3]):
        if folder != Path(tempfile.gettempdir()):
            folder.chmod(0o755)
    superuser = os.geteuid() == 0
    if superuser:
        os.seteuid(65534)
    try:
        sentence = refusal(data_path)
    finally:
        if superuser:
            os.seteuid(0)
    assert "cannot be written" in sentence


def test_a_failed_transaction_leaves_nothing(data_file: DataFile, store: Store) -> None:

    def fail_half_way() -> None:
        with store.writing():
            store.add_learner("Ada", now=NOON, settings={}, state="", recall_state="", folded_with="")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_half_way()
    assert store.learners() == []
    with closing(Store(data_file)) as other, other.writing():
        other.add_learner("Bea", now=NOON, settings={}, state="", recall_state="", folded_with="")
    assert [one.name for one in store.learners()] == ["Bea"]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_a_new_data_file_and_the_log_beside_it_are_for_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite3"
    with closing(DataFile.open(path)), closing(sqlite3.connect(path)) as other:
        other.execute("SELECT count(*) FROM learners").fetchone()
        assert {one.name: one.stat().st_mode & 0o777 for one in tmp_path.iterdir()} == {
            "new.sqlite3": 0o600,
            "new.sqlite3-wal": 0o600,
            "new.sqlite3-shm": 0o600,
        }
