"""Backups on a timetable: when one is due, what is kept, what a digest and the list of the deleted are for."""

from __future__ import annotations

import shutil
import subprocess
import time
from contextlib import closing
from pathlib import Path

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.practice import learners
from quiz.storage.datafile import DataFile, Refused
from quiz.storage.safekeeping import gone_list
from quiz.storage.safekeeping.backups import BadPlace, digest_of, restore
from quiz.storage.safekeeping.gone_list import Gone
from quiz.storage.safekeeping.timetable import BadTimetable, Timetable, read_every
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.quiz.class_people import learner, make_class, preceptor
from tests.quiz.web.test_server import quiz, serving

pytestmark = pytest.mark.of_the_file("backups of a database are PostgreSQL's own")

HOUR = 3600.0


@pytest.mark.parametrize(("text", "seconds"), [("6h", 6 * HOUR), ("30min", 1800), ("1d", 86400), (" 10 min ", 600)])
def test_a_time_between_backups_is_read(text: str, seconds: float) -> None:
    assert read_every(text) == seconds


@pytest.mark.parametrize("text", ["", "6", "h", "1s", "9min", "32d", "-6h", "6hours", "6h 30min", "9" * 5000 + "h"])
def test_what_is_no_such_time_is_refused(text: str) -> None:
    with pytest.raises(BadTimetable, match="write it like 6h"):
        read_every(text)


@pytest.mark.parametrize("keep", [1, 0, -3, 1001])
def test_too_few_and_too_many_to_keep_are_refused(keep: int, tmp_path: Path) -> None:
    with pytest.raises(BadTimetable, match="from 2 to 1000"):
        Timetable(tmp_path, every_s=HOUR, keep=keep)


def test_one_is_due_when_the_newest_is_older_than_it_should_be(data_file: DataFile, tmp_path: Path) -> None:
    timetable = Timetable(tmp_path / "b", every_s=6 * HOUR, keep=3)
    timetable.begin()
    assert timetable.is_due(NOON)
    timetable.make(data_file, NOON)
    assert not timetable.is_due(NOON + 5.9 * HOUR)
    assert timetable.is_due(NOON + 6.1 * HOUR)
    assert timetable.is_due(NOON - 24 * HOUR), "one from the future does not hold the next up, once the clock is right"


def test_the_oldest_go_and_each_has_a_digest_that_other_programs_check(data_file: DataFile, tmp_path: Path) -> None:
    timetable = Timetable(tmp_path / "b", every_s=HOUR, keep=3)
    timetable.begin()
    (timetable.folder / "notes.txt").write_text("not ours")
    for hour in range(5):
        timetable.make(data_file, NOON + hour * HOUR)
    assert [one.at for one in timetable.made()] == [NOON + hour * HOUR for hour in (4, 3, 2)]
    assert len(list(timetable.folder.iterdir())) == 3 * 2 + 4, "backups, their digests, the three lists, the notes"
    assert timetable.folder.stat().st_mode & 0o077 == 0
    for one in timetable.made():
        assert one.path.stat().st_mode & 0o077 == 0
        checked = subprocess.run(
            ["sha256sum", "--check", digest_of(one.path).name], cwd=timetable.folder, capture_output=True, check=False
        )
        assert checked.returncode == 0, checked.stderr


def test_a_folder_that_cannot_be_written_is_refused_at_the_start(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadPlace, match="nothing can be written there"):
        Timetable(tmp_path / "file" / "b", every_s=HOUR, keep=3).begin()


def test_a_backup_that_was_changed_since_is_not_put_back(data_file: DataFile, tmp_path: Path) -> None:
    timetable = Timetable(tmp_path / "b", every_s=HOUR, keep=3)
    timetable.begin()
    made = timetable.make(data_file, NOON)
    whole = bytearray(made.path.read_bytes())
    whole[-1] ^= 1  # in a page that nothing uses perhaps: SQLite itself need not notice
    made.path.write_bytes(whole)
    other = tmp_path / "other.sqlite3"
    with pytest.raises(Refused, match="it is not what its digest says"):
        restore(made.path, other, now=NOON)
    assert not other.exists()


def three(store: Store) -> None:
    for name in ("Ada", "Bo", "Cy"):
        learners.add(store, name, now=NOON + len(name))


def names(path: Path) -> set[str]:
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        return {one.name for one in store.learners()}


@pytest.mark.parametrize("left", ["the data file", "the list beside the backup", "neither"])
def test_whoever_was_deleted_since_is_deleted_again(left: str, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    timetable = Timetable(tmp_path / "b", every_s=HOUR, keep=9)
    timetable.begin()
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        three(store)
        first = timetable.make(file, NOON)
        bo = next(one for one in store.learners() if one.name == "Bo")
        learners.remove(store, bo.id, now=NOON + 60, by_whom="owner")
        learners.add(store, "Dee", now=NOON + 90)
        timetable.make(file, NOON + HOUR)
    if left != "the data file":
        path.unlink()
    if left == "neither":
        (timetable.folder / gone_list.GONE).unlink()
    elif left == "the data file":
        (timetable.folder / gone_list.GONE).write_text("learner,created_at\nnonsense\n\x00")
    done = restore(first.path, path, now=NOON + 2 * HOUR)
    expected = {"Ada", "Bo", "Cy"} if left == "neither" else {"Ada", "Cy"}
    assert (names(path), done.removed_again) == (expected, 3 - len(expected))
    if left != "neither":
        again = tmp_path / "again.sqlite3"
        shutil.copy(first.path, again)
        assert restore(again, path, now=NOON + 3 * HOUR).removed_again == 1, "the file that was put back knows it too"


def test_another_learner_of_the_same_number_is_left_alone(tmp_path: Path) -> None:
    """A list beside backups of another data file: numbers are alike, moments are not."""
    path, copy = tmp_path / "a.sqlite3", tmp_path / "copy.sqlite3"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        three(store)
    assert quiz("backup", copy, "--data", path).returncode == 0
    gone_list.write_gone(tmp_path / gone_list.GONE, [Gone(1, NOON + 77, "2031-05-02", "owner")])
    assert restore(copy, path, now=NOON).removed_again == 0
    assert names(path) == {"Ada", "Bo", "Cy"}


def app_with(data_file: DataFile, timetable: Timetable, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True, timetable=timetable)


def test_a_preceptor_is_told_how_old_the_newest_is(data_file: DataFile, tmp_path: Path) -> None:
    clock = Clock()
    timetable = Timetable(tmp_path / "b", every_s=6 * HOUR, keep=5)
    timetable.begin()
    app = app_with(data_file, timetable, clock)
    with closing(Store(data_file)) as store:
        desk = preceptor(app, store)
    assert "There is no backup yet." in desk.get("/class").text
    timetable.make(data_file, clock() - 3 * HOUR)
    page = desk.get("/class").text
    assert "1 kept; the newest is 3 hours old." in page
    assert "older than it should be" not in page
    for made in timetable.made():
        made.path.unlink()
    timetable.make(data_file, clock() - 13 * HOUR)
    assert "older than it should be: tell the person who looks after this server" in desk.get("/class").text
    timetable.make(data_file, clock() - 2 * 24 * HOUR)
    assert "2 kept; the newest is 13 hours old." in desk.get("/class").text


def test_without_a_timetable_nothing_is_said_of_backups(data_file: DataFile) -> None:
    app = create_app(data_file, clock=Clock(), lots=lots(), hosts=None, beyond=True)
    with closing(Store(data_file)) as store:
        assert "ackup" not in preceptor(app, store).get("/class").text


def test_removing_a_class_is_remembered_too(data_file: DataFile, tmp_path: Path) -> None:
    app = create_app(data_file, clock=Clock(), lots=lots(), hosts=None, beyond=True)
    timetable = Timetable(tmp_path / "b", every_s=HOUR, keep=5)
    timetable.begin()
    with closing(Store(data_file)) as store:
        desk = preceptor(app, store)
        number, code = make_class(desk)
        learner(app, code, "Imre")
        before = timetable.make(data_file, NOON)
        desk.post(f"/class/{number}/remove", {"sure": "yes"})
        assert list(store.learners()) == []
    other = tmp_path / "other.sqlite3"
    timetable.make(data_file, NOON + HOUR)
    assert restore(before.path, other, now=NOON).removed_again == 1


def test_a_served_file_is_backed_up_at_once_and_says_where(tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    with serving("--data", tmp_path / "a.sqlite3", QUIZ_BACKUPS=str(folder), QUIZ_EVERY="30min", QUIZ_KEEP="3"):
        until = time.monotonic() + 30
        while not list(folder.glob("*.sha256")):
            assert time.monotonic() < until
            time.sleep(0.05)
    (made,) = folder.glob("*.sqlite3")
    assert quiz("check", "--data", made).returncode == 0
    assert "deleted" not in quiz("restore", made, "--data", tmp_path / "b.sqlite3").stdout


@pytest.mark.parametrize(
    ("given", "why"), [(("--every", "6"), "write it like 6h"), (("--keep", "1"), "1 backups to keep: give a number")]
)
def test_a_timetable_that_cannot_be_is_one_line(given: tuple[str, str], why: str, tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", "--data", tmp_path / "a", "--backups", tmp_path / "b", *given)
    assert found.returncode == 2
    assert why in found.stderr
    assert found.stderr.count("\n") == 1
