"""The demonstration: a sound data file with full screens, in a new file only."""

from __future__ import annotations

import random
from contextlib import closing
from pathlib import Path

import pytest

from cases.curriculum.register import all_slips
from quiz import demo
from quiz.app import create_app
from quiz.learning import model
from quiz.storage import class_queries, doubt_queries, projection, result_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.quiz.class_people import Browser
from tests.quiz.web.test_server import quiz


@pytest.fixture
def shown(store: Store, monkeypatch: pytest.MonkeyPatch) -> demo.DemoFilled:
    """Fill a small one: three learners, and fewer sittings."""
    monkeypatch.setattr(demo, "TREES", demo.TREES[:3])
    monkeypatch.setattr(demo, "SITTINGS", 4)
    return demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None)


def test_it_is_sound_and_lies_in_the_past(shown: demo.DemoFilled, store: Store, data_file: DataFile) -> None:
    answers = [one for learner in store.learners() for one in store.answers_of(learner.id)]
    assert len(answers) == shown.answers > 100
    assert min(one.at for one in answers) > NOON - 7 * demo.WEEKS * 86400
    assert max(one.at for one in answers) < NOON
    assert {"right", "slip"} <= {one.verdict for one in answers}
    assert [one.words for one in check(data_file.where) if not one.good] == []


def test_its_screens_are_full(shown: demo.DemoFilled, store: Store, data_file: DataFile) -> None:
    browser = Browser(create_app(data_file, clock=Clock(), lots=lots()))
    assert demo.ALONE in browser.get("/progress").text
    assert browser.sign_in(demo.PRECEPTOR, shown.password).location == "/class"
    assert demo.CLASS.split(",")[0] in browser.get("/class").text
    page = browser.get("/class/1/results")
    assert page.status_code == 200
    assert demo.TREES[0] in page.text
    assert result_queries.class_sums(store, 1, "slip")
    assert len(class_queries.drills_of(store, 1)) == 5


def test_it_shows_own_cases_sheets_from_paper_and_a_remark(
    shown: demo.DemoFilled, store: Store, data_file: DataFile
) -> None:
    browser = Browser(create_app(data_file, clock=Clock(), lots=lots()))
    browser.sign_in(demo.PRECEPTOR, shown.password)
    assert all(texts["title"] in browser.get("/class/1/cases").text for _, texts in demo.OWN_CASES)
    drill = browser.get("/class/1/drill/5").text
    assert drill.count("typed in by Preceptor Oak") == len(demo.TREES) - 1
    assert "from paper" in browser.get("/class/1/drill/5/scores").text
    remarks = [each for one in store.learners() for each in doubt_queries.remarks_for(store, one.id)]
    assert [one.note for one in remarks] == [demo.REMARK]
    assert demo.REMARK in browser.get(f"/class/1/answer/{remarks[0].dealt}").text


def test_habits_show_in_the_answers(shown: demo.DemoFilled, store: Store) -> None:
    """Anyone who was made to leave the distance in is seen to have done it."""
    first = next(one for one in store.learners() if one.name == demo.TREES[0])
    made = [slip for answer in store.answers_of(first.id) for one in answer.explanations for _, slip in one]
    assert shown.answers
    assert set(made) & set(demo.HABITS[0])


def test_a_slip_stands_on_the_day_for_whoever_is_alone_and_for_one_of_the_class(
    shown: demo.DemoFilled, store: Store, data_file: DataFile
) -> None:
    """What practice does about a standing slip, Progress says of it and a drill is set for, can then be looked at."""
    for name, slip in demo.KEPT_UP.items():
        learner = next(one for one in store.learners() if one.name == name)
        stands = model.standing(projection.cases_of(store, learner.id), NOON)
        assert slip in {one for _, one in stands}, name
    browser = Browser(create_app(data_file, clock=Clock(), lots=lots()))
    progress = browser.get("/progress").text
    assert all_slips()[demo.KEPT_UP[demo.ALONE]].title in progress.split("No longer standing")[0]
    assert "right-line" in progress
    browser.sign_in(demo.PRECEPTOR, shown.password)
    birch = next(one.id for one in store.learners() if one.name in demo.TREES and one.name in demo.KEPT_UP)
    form = browser.get(f"/class/1/drill/new?learner={birch}").text
    assert "Cases in which one of these would show" in form


def test_it_goes_into_a_new_file_only(tmp_path: Path) -> None:
    path = tmp_path / "mine.sqlite3"
    with closing(DataFile.open(path)):
        pass
    before = path.read_bytes()
    found = quiz("demo", "--data", path, "--no-serve")
    assert (found.returncode, found.stdout) == (2, "")
    assert "there is something of that name already" in found.stderr
    assert path.read_bytes() == before
