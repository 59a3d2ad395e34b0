"""Backups made, put back and looked over with the real commands, while a real server takes answers."""

from __future__ import annotations

import sqlite3
import stat
from contextlib import closing
from pathlib import Path

import pytest

from quiz.classroom import sign_in
from quiz.classroom.throttle import Caller, Tries
from quiz.practice import dealing
from quiz.storage.datafile import DataFile, Refused
from quiz.storage.safekeeping.backups import snapshot
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, lots, written
from tests.quiz.hands import Hand, at_work, nothing_lost, total, wait_for
from tests.quiz.web.test_server import quiz, serving


def answered(store: Store, learner: Learner, cases: int = 3) -> None:
    for number in range(cases):
        at = NOON + 60 * number
        one = dealing.waiting(store, learner, now=at, lots=lots(number))
        dealing.take(store, learner, one.dealt.id, written(one.case), 2, now=at + 20)


def changed(path: Path, sql: str) -> None:
    """Change a data file behind the app's back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.execute(sql)


def test_a_backup_made_while_learners_answer_holds_all_that_was_acknowledged_before_it(tmp_path: Path) -> None:
    path, copy = tmp_path / "a.sqlite3", tmp_path / "copy.sqlite3"
    DataFile.open(path).close()
    with serving("--data", path) as (_, host, port), closing(DataFile.open(path)) as file:
        hands = [Hand(host, port, f"Hand {number}") for number in range(3)]
        with at_work(hands, file):
            wait_for(hands, 12)
            before = [list(hand.acknowledged) for hand in hands]
            made = quiz("backup", copy, "--data", path)
            while_made = total(hands)
            looked = quiz("check", "--data", path)
            refused = quiz("restore", copy, "--data", path)
            wait_for(hands, while_made + 6)
        assert all(hand.other == [] and not hand.cut_off for hand in hands), "nobody was kept waiting or refused"

    assert (made.returncode, made.stderr) == (0, "")
    assert (looked.returncode, looked.stderr) == (0, ""), looked.stdout
    assert "BAD" not in looked.stdout
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "it is in use; stop the app that serves it" in refused.stderr
    assert while_made > sum(map(len, before)), "learners answered while the backup was made"

    found = quiz("check", "--data", copy)
    assert found.returncode == 0, found.stdout + found.stderr
    after = [hand.acknowledged for hand in hands]
    for hand, had in zip(hands, before, strict=True):
        hand.acknowledged = had
    with closing(DataFile.open(copy)) as file, closing(Store(file)) as store:
        in_copy = nothing_lost(store, hands)
    assert in_copy <= sum(map(len, after)) + len(hands)

    restored = quiz("restore", copy, "--data", path)
    assert restored.returncode == 0, restored.stderr
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        assert nothing_lost(store, hands) == in_copy
    (aside,) = tmp_path.glob("a.sqlite3.before-restore-*[0-9]")
    assert str(aside) in restored.stdout
    for hand, all_of in zip(hands, after, strict=True):
        hand.acknowledged = all_of
    with closing(DataFile.open(aside)) as file, closing(Store(file)) as store:
        assert nothing_lost(store, hands) >= sum(map(len, after)), "what came after the backup is set aside, not lost"


def test_a_learner_goes_on_after_a_restore_with_the_cookie_of_before(tmp_path: Path) -> None:
    """The key of cookies is in the backup: on a new computer nobody has to come in again."""
    path, copy, elsewhere = tmp_path / "a.sqlite3", tmp_path / "copy.sqlite3", tmp_path / "new.sqlite3"
    DataFile.open(path).close()
    with serving("--data", path) as (_, host, port), closing(DataFile.open(path)) as file:
        hands = [Hand(host, port, f"Hand {number}") for number in range(2)]
        with at_work(hands, file):
            wait_for(hands, 4)
    assert quiz("backup", copy, "--data", path).returncode == 0
    assert quiz("restore", copy, "--data", elsewhere).returncode == 0
    with serving("--data", elsewhere) as (_, host, port), closing(DataFile.open(elsewhere)) as file:
        again = [Hand(host, port, hand.name, cookie=hand.cookie) for hand in hands]
        with at_work(again, file):
            wait_for(again, 4)
        with closing(Store(file)) as store:
            assert len(store.learners()) == len(hands)
            nothing_lost(store, hands)
            nothing_lost(store, again)


def test_a_backup_is_one_file_for_its_owner_alone_and_never_over_another(
    data_path: Path, tmp_path: Path, store: Store, learner: Learner
) -> None:
    answered(store, learner)
    copy = tmp_path / "copy.sqlite3"
    assert quiz("backup", copy, "--data", data_path).returncode == 0
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert sorted(one.name for one in tmp_path.glob("*copy*")) == ["copy.sqlite3"]
    before = copy.read_bytes()
    found = quiz("backup", copy, "--data", data_path)
    assert (found.returncode, found.stdout) == (2, "")
    assert "there is something of that name already" in found.stderr
    assert copy.read_bytes() == before


def test_no_backup_is_made_of_a_locked_damaged_or_foreign_file(data_path: Path, tmp_path: Path) -> None:
    DataFile.open(data_path).close()
    copy = tmp_path / "copy.sqlite3"
    with closing(sqlite3.connect(data_path, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        copy.touch()
        with pytest.raises(Refused, match="another program has it locked"):
            snapshot(data_path, copy, patience=0.1)
        copy.unlink()
    good = data_path.read_bytes()
    middle = len(good) // 2 // 4096 * 4096
    for spoilt, why in (
        (good[:middle] + b"\xa5" * 4096 + good[middle + 4096 :], "it is damaged"),
        (b"sphere and cylinder\n" * 500, "this is not a data file of Two Meridians"),
        (b"", "there is no such file"),
    ):
        data_path.write_bytes(spoilt)
        found = quiz("backup", copy, "--data", data_path)
        assert (found.returncode, found.stdout) == (2, "")
        assert why in found.stderr
        assert len(found.stderr.splitlines()) == 1
        assert data_path.read_bytes() == spoilt
        assert not list(tmp_path.glob("*copy*"))


def test_a_backup_takes_the_place_of_a_damaged_file_which_is_set_aside(data_path: Path, tmp_path: Path) -> None:
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        store.secret()
    copy = tmp_path / "copy.sqlite3"
    assert quiz("backup", copy, "--data", data_path).returncode == 0
    good = data_path.read_bytes()
    spoilt = good[:100] + b"\xa5" * (len(good) - 100)
    data_path.write_bytes(spoilt)
    found = quiz("restore", copy, "--data", data_path)
    assert found.returncode == 0, found.stderr
    (aside,) = tmp_path.glob("*.before-restore-*[0-9]")
    assert aside.read_bytes() == spoilt
    assert quiz("check", "--data", data_path).returncode == 0


def test_a_damaged_or_foreign_backup_changes_nothing(data_path: Path, tmp_path: Path) -> None:
    DataFile.open(data_path).close()
    before = data_path.read_bytes()
    for spoilt in (before[:20_000] + b"\xa5" * 9000 + before[29_000:], b"notes\n" * 100, b""):
        copy = tmp_path / "copy.sqlite3"
        copy.write_bytes(spoilt)
        found = quiz("restore", copy, "--data", data_path)
        assert (found.returncode, found.stdout) == (2, "")
        assert str(copy) in found.stderr
        assert data_path.read_bytes() == before
        assert sorted(one.name for one in tmp_path.iterdir()) == ["answers.sqlite3", "copy.sqlite3"]


def test_preceptors_sign_in_anew_after_a_restore(data_path: Path, tmp_path: Path, store: Store) -> None:
    """A sign-in that was taken back after the backup must not be good again."""
    sign_in.add_preceptor(store, "Bartholomea Quill", "ten characters", now=NOON)
    caller = Caller(Tries())
    _, token = sign_in.sign_in(store, "Bartholomea Quill", "ten characters", caller=caller, now=NOON, lots=lots())
    copy, elsewhere = tmp_path / "copy.sqlite3", tmp_path / "new.sqlite3"
    assert quiz("backup", copy, "--data", data_path).returncode == 0
    assert quiz("restore", copy, "--data", elsewhere).returncode == 0
    assert sign_in.preceptor_of(store, token, now=NOON) is not None
    with closing(DataFile.open(elsewhere)) as file, closing(Store(file)) as other:
        assert sign_in.preceptor_of(other, token, now=NOON) is None
        assert sign_in.sign_in(other, "Bartholomea Quill", "ten characters", caller=caller, now=NOON, lots=lots())


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("UPDATE learners SET state = recall_state || ' '", "memory differs from the log of Imre"),
        ("DROP TRIGGER answers_are_not_changed", "trigger answers_are_not_changed"),
        ("DROP INDEX answers_sitting", "index answers_sitting"),
        ("UPDATE dealt SET closed_at = NULL WHERE id = (SELECT dealt FROM answers)", "1 answers belong to a case that"),
        ("DELETE FROM sittings", "rows name something that is not there"),
    ],
)
def test_a_check_finds_what_another_hand_changed(
    data_path: Path, store: Store, learner: Learner, sql: str, says: str
) -> None:
    answered(store, learner)
    good = quiz("check", "--data", data_path)
    assert good.returncode == 0, good.stdout
    changed(data_path, sql)
    found = quiz("check", "--data", data_path)
    assert (found.returncode, found.stderr) == (1, "")
    assert any(line.startswith("BAD") and says in line for line in found.stdout.splitlines()), found.stdout
