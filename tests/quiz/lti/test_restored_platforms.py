"""A backup put back: platforms that were turned off since stay off, and grades that were sent since stand."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from quiz.__main__ import main
from quiz.lti import grade_outbox, registering
from quiz.lti.services import Services
from quiz.storage.datafile import DataFile
from quiz.storage.platform import lti_queries, outcome_queries
from quiz.storage.safekeeping.backups import Restored, restore
from quiz.storage.safekeeping.carried_platforms import PLATFORMS
from quiz.storage.safekeeping.timetable import Timetable
from quiz.storage.store import Store
from tests.conftest import Clock
from tests.quiz.lti.conftest import School, made_school, platform_given
from tests.quiz.lti.small_platform import TEACHER, Visitor
from tests.quiz.lti.test_grade_outbox import ada, send, work_through


@pytest.fixture
def begun(data_file: DataFile, store: Store, clock: Clock) -> tuple[School, Visitor]:
    """Make a course with a drill of two cases, of which one is answered."""
    school = made_school(data_file, store, clock)
    teacher = school.teacher()
    school.drill(teacher)
    teacher.post(teacher.enter(**TEACHER).location, {"drill": "1"})
    visitor = ada(school)
    work_through(school, visitor, 1, True)
    return school, visitor


def backed_up(school: School, folder: Path) -> Path:
    timetable = Timetable(folder, every_s=3600.0, keep=9)
    timetable.begin()
    file = school.store._file
    assert isinstance(file, DataFile)
    made = timetable.make(file, school.clock()).path
    school.clock.move(seconds=60)
    return made


def put_back(school: School, copy: Path, path: Path) -> Restored:
    school.store.close()
    school.store._file.close()
    return restore(copy, path, now=school.clock())


@pytest.mark.parametrize("left", ["the data file", "the list beside the backup", "neither"])
def test_a_platform_that_was_turned_off_stays_off(
    begun: tuple[School, Visitor], data_path: Path, tmp_path: Path, left: str
) -> None:
    school, _ = begun
    registering.add(
        school.store, platform_given(school.platform, client_id="second", name="Another"), school=1, now=1.0
    )
    copy = backed_up(school, tmp_path / "b")
    registering.turn_off(school.store, 1)
    backed_up(school, tmp_path / "b")
    school.store.close()
    school.store._file.close()
    if left != "the data file":
        data_path.unlink()
    if left != "the list beside the backup":
        (tmp_path / "b" / PLATFORMS).unlink()
    done = restore(copy, data_path, now=school.clock()).platforms
    states = {"1 (platform.example)", "2 (Another)"}
    off = set() if left == "neither" else {"1 (platform.example)"}
    assert (set(done.turned_off), set(done.still_on)) == (off, states - off)
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        kept = [one.state for one in lti_queries.registrations(store)]
    assert kept == ["active" if left == "neither" else "off", "active"]


def test_restore_says_which_platforms_let_people_in(
    begun: tuple[School, Visitor], data_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    school, _ = begun
    copy = backed_up(school, tmp_path / "b")
    school.store.close()
    school.store._file.close()
    assert main(["restore", str(copy), "--data", str(data_path)]) == 0
    assert "Course platforms that let people in: 1 (platform.example)." in capsys.readouterr().out


def test_a_list_of_another_data_file_turns_nothing_off(
    begun: tuple[School, Visitor], data_path: Path, tmp_path: Path
) -> None:
    school, _ = begun
    copy = backed_up(school, tmp_path / "b")
    data = tmp_path / "b" / PLATFORMS
    data.write_text("data_file,issuer,client_id\n0123456789abcdef,,\n")
    data_path.rename(tmp_path / "aside")
    assert put_back(school, copy, data_path).platforms.turned_off == ()


def test_an_older_grade_is_not_sent_over_a_later_one(
    begun: tuple[School, Visitor], data_path: Path, tmp_path: Path
) -> None:
    """The run of the backup has one answer, and would be sent when its drill closes."""
    school, visitor = begun
    copy = backed_up(school, tmp_path / "b")
    work_through(school, visitor, 1, True)
    assert send(school) == 1
    assert school.platform.grades["/course-1/items/1", "4"]["score"] == 10.0
    assert put_back(school, copy, data_path).platforms.grades_held == 1
    school.clock.move(days=1)
    with closing(DataFile.open(data_path)) as file, closing(Store(file)) as store:
        with store.writing():
            store.change("UPDATE drills SET closes_at = ? WHERE id = 1", school.clock() - 10)
        grade_outbox.sweep(store, now=school.clock())
        grade_outbox.send_all(store, Services(school.platform.ask), now=school.clock())
        kept = outcome_queries.grade(store, 1, 1)
        assert kept is not None
        assert kept.last_error == grade_outbox.HELD_BACK["restored"]
    assert school.platform.grades["/course-1/items/1", "4"]["score"] == 10.0


def test_a_grade_that_the_backup_knows_is_not_held(
    begun: tuple[School, Visitor], data_path: Path, tmp_path: Path
) -> None:
    school, visitor = begun
    work_through(school, visitor, 1, True)
    send(school)
    copy = backed_up(school, tmp_path / "b")
    assert put_back(school, copy, data_path).platforms.grades_held == 0
