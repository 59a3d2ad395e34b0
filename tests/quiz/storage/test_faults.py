"""A full disk, a damaged file, a folder that takes nothing, a clock set back: one page or line, and nothing lost."""

from __future__ import annotations

import os
import random
import re
import resource
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from quiz.app import create_app
from quiz.practice import dealing, learners
from quiz.storage import projection
from quiz.storage.datafile import DataFile, NotKept, Refused
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, Clock, lots, written
from tests.quiz.class_people import reach_case
from tests.quiz.hands import Hand, at_work, nothing_lost, total, wait_for
from tests.quiz.web.test_server import quiz, serving


@contextmanager
def as_nobody(folder: Path) -> Iterator[None]:
    """Be someone whom permissions bind, where the tests run as the superuser."""
    # All the way up: pytest keeps the folder of all its runs to its own user, whichever test comes first.
    for one in (folder, *folder.parents):
        if one == Path(tempfile.gettempdir()) or one == Path(one.anchor):
            break
        if one.owner() != "nobody":
            one.chmod(one.stat().st_mode | 0o055)
    superuser = os.geteuid() == 0
    if superuser:
        os.seteuid(65534)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)


def test_a_full_disk_is_told_and_loses_nothing(tmp_path: Path) -> None:
    """The real server under a limit on the size of files (RLIMIT_FSIZE): past it the disk takes nothing more."""
    path = tmp_path / "a.sqlite3"
    DataFile.open(path).close()
    with serving("--data", path) as (child, host, port), closing(DataFile.open(path)) as file:
        hands = [Hand(host, port, f"Hand {number}") for number in range(3)]
        with at_work(hands, file):
            wait_for(hands, 9)
            if sys.platform != "linux":
                pytest.fail("this test needs prlimit, which Linux has")
            wal = Path(f"{path}-wal")
            resource.prlimit(child.pid, resource.RLIMIT_FSIZE, (wal.stat().st_size + 40_000, resource.RLIM_INFINITY))
            while not all(hand.other for hand in hands):
                hands[0].stop.wait(0.02)
            told = {status for hand in hands for _, status in hand.other}
            at_full = total(hands)
            resource.prlimit(child.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
            wait_for(hands, at_full + 9)
    assert told == {507}
    assert not any(hand.cut_off for hand in hands), "the server stayed up, and went on once there was room"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        assert nothing_lost(store, hands) - total(hands) <= len(hands)
    assert all(one.good for one in check(path))


def test_no_room_left_undoes_the_whole_answer(data_path: Path) -> None:
    """SQLite's own limit on pages gives the error that a full disk gives, at the very statement that needs room."""
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        learner = learners.add(store, "Imre", now=NOON)
        pages = store.fetch("PRAGMA page_count")[0][0]
        store.fetch(f"PRAGMA max_page_count = {pages + 5}")

        def go_on() -> None:
            for number in range(60):
                one = dealing.waiting(store, learner, now=NOON + number, lots=lots(number))
                dealing.take(store, learner, one.dealt.id, written(one.case), 2, now=NOON + number)

        with pytest.raises(NotKept, match="the disk is full"):
            go_on()
        waiting = store.open_case(learner.id)
        assert waiting is None or store.answer_to(waiting.id) is None
        assert 0 < store.count_answers(learner.id) < 60
        store.fetch("PRAGMA max_page_count = 100000")
        one = dealing.waiting(store, learner, now=NOON + 100, lots=lots(999))
        dealing.take(store, learner, one.dealt.id, written(one.case), 2, now=NOON + 120)
        assert all(one.as_kept for one in projection.rebuild(store))


@pytest.mark.of_the_file("a full disk is met by a limit of SQLite's")
def test_a_first_visit_on_a_full_disk_is_a_page(data_file: DataFile, monkeypatch: pytest.MonkeyPatch) -> None:
    lend = data_file.lend

    def cramped() -> object:
        db = lend()
        db.conn.execute("PRAGMA query_only = ON")
        return db

    monkeypatch.setattr(data_file, "lend", cramped)
    app = create_app(data_file, clock=Clock(), lots=lots())
    page = app.test_client().get("/practise")
    assert page.status_code == 507
    assert "could not be written" in page.text
    assert "Traceback" not in page.text


def test_a_folder_that_takes_no_files_is_told_in_one_line(tmp_path: Path) -> None:
    folder = tmp_path / "shelf"
    folder.mkdir()
    path = folder / "a.sqlite3"
    DataFile.open(path).close()
    path.chmod(0o666)
    folder.chmod(0o555)
    before = path.read_bytes()
    with as_nobody(folder), pytest.raises(Refused, match="it cannot be written"):
        DataFile.open(path)
    with as_nobody(folder), pytest.raises(Refused, match="it cannot be written"):
        DataFile.open(folder / "new.sqlite3")
    assert path.read_bytes() == before
    folder.chmod(0o755)


def test_a_file_damaged_under_the_server_is_a_page_not_a_trace(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    with closing(DataFile.open(path)) as file:
        app = create_app(file, clock=Clock(), lots=lots())
        client = app.test_client()
        assert client.get("/practise").status_code == 200
    # Closed, so that the log beside it is taken in: what is read next comes from the file.
    size = path.stat().st_size
    with path.open("r+b") as raw:
        raw.seek(8192)
        raw.write(b"\xa5" * (size - 8192))
    assert Path(f"{path}-wal").exists() is False
    page = client.get("/practise")
    assert page.status_code == 503
    assert "The data file is damaged" in page.text
    assert "Traceback" not in page.text
    assert "sqlite" not in page.text.lower().replace(path.name, "")
    assert "<h1" in page.text
    found = quiz("serve", "--no-browser", "--data", path)
    assert (found.returncode, found.stdout) == (2, "")
    assert re.fullmatch(
        r"quiz: data file .*: it is damaged \(.*\); stop the app .* restore BACKUP --data .*\n", found.stderr
    )


def test_a_file_taken_away_under_the_server_is_a_page(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    with closing(DataFile.open(path)) as file:
        client = create_app(file, clock=Clock(), lots=lots()).test_client()
        assert client.get("/practise").status_code == 200
        path.rename(tmp_path / "elsewhere.sqlite3")
        page = client.get("/practise")
        assert page.status_code == 507
        assert "it was moved or replaced while it was in use" in page.text
        assert not path.exists(), "and no empty file is made in its place"
        (tmp_path / "elsewhere.sqlite3").rename(path)
        assert client.get("/practise").status_code == 200


def backwards(number: int, _: random.Random) -> float:
    return NOON - number * 86400.0


def leaping(_: int, chance: random.Random) -> float:
    return NOON + chance.uniform(-400, 400) * 86400.0


def to_the_epoch(number: int, _: random.Random) -> float:
    return NOON if number < 5 else float(number)


@pytest.mark.parametrize("moment", [backwards, leaping, to_the_epoch])
def test_a_clock_that_is_set_back_loses_nothing(
    store: Store, learner: Learner, data_file: DataFile, moment: Callable[[int, random.Random], float]
) -> None:
    """A computer whose battery is flat comes up in 1970; one that was carried abroad, an hour off."""
    chance = random.Random(4)
    clock = Clock()
    client = create_app(data_file, clock=clock, lots=lots()).test_client()
    here = {"Origin": "http://localhost"}
    given = []
    for number in range(25):
        clock.at = moment(number, chance)
        assert reach_case(client).status_code == 200
        waiting = store.open_case(learner.id)
        assert waiting is not None
        clock.at = moment(number + 1, chance)
        texts = written(dealing.case_of(waiting))
        form = {f"answer-{name}": text for name, text in texts.items()}
        assert client.post(f"/case/{waiting.id}/answer", data=form, headers=here).status_code == 303
        given.append(waiting.id)
        assert client.get(f"/case/{waiting.id}").status_code == 200
        for url in ("/recall", "/settings", "/accuracy", f"/sitting/{waiting.sitting}"):
            assert client.get(url).status_code == 200, url
    answers = store.answers_of(learner.id)
    assert [one.dealt for one in answers] == given
    assert all(one.seconds is None or one.seconds >= 0 for one in answers)
    assert all(one.as_kept for one in projection.rebuild(store))
    assert all(one.good for one in check(data_file.where))


def test_the_server_goes_on_once_another_program_lets_go(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    DataFile.open(path).close()
    with closing(DataFile.open(path, patience=0.1)) as file, closing(sqlite3.connect(path)) as other:
        client = create_app(file, clock=Clock(), lots=lots()).test_client()
        other.isolation_level = None
        other.execute("BEGIN IMMEDIATE")
        page = client.get("/practise")
        assert page.status_code == 503
        assert "busy" in page.text
        other.execute("ROLLBACK")
        assert client.get("/practise").status_code == 200
