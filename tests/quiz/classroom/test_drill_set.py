"""Drills and own cases as a file: taken to another data file with the same cases, refused where something differs."""

from __future__ import annotations

import html
import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from quiz.app import create_app
from quiz.classroom import drill_set, drills
from quiz.classroom.drill_set import BadSet, SavedCase
from quiz.practice.own_findings.working_out import computing_types
from quiz.storage import class_queries
from quiz.storage.classroom import own_case_queries
from quiz.storage.datafile import DataFile
from quiz.storage.rows import as_json
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import Browser, learner, make_class, preceptor, set_drill, waiting_in
from tests.quiz.classroom.test_own_cases import NET, WORDS

Change = Callable[[dict[str, Any]], None]


def words(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@pytest.fixture
def here(app: Flask, store: Store) -> Browser:
    """Give a preceptor with two own cases and two drills, one of which has both cases."""
    one = preceptor(app, store)
    make_class(one)
    one.post("/class/1/cases/new/net-sphere", {**NET, "do": "save"})
    one.post("/class/1/cases/new/net-sphere", {**NET, "title": "Second", "words": "", "gross": "-1.00", "do": "save"})
    set_drill(one, 1, own=["1", "2"], cases="4", type=["two-spheres"], notes="Take your time.")
    set_drill(one, 1, title="Each their own", same="own", opened=False)
    return one


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[tuple[Browser, Store]]:
    """Give a preceptor of another data file, who has one own case of their own."""
    with closing(DataFile.open(tmp_path / "elsewhere.sqlite3")) as file, closing(Store(file)) as store:
        app = create_app(file, clock=Clock(), lots=lots(7), hosts=None, beyond=True)
        one = preceptor(app, store, "Jun Park")
        make_class(one, "Autumn 1")
        one.post("/class/1/cases/new/net-sphere", {**NET, "title": "Theirs", "gross": "+5.00", "do": "save"})
        yield one, store


def saved(browser: Browser) -> str:
    return browser.get("/class/1/set/file.json?drill=1&drill=2").text


def changed(text: str, change: Change) -> str:
    """Change a file and give it the digest that it should have, as another version would have saved it."""
    given = json.loads(text)
    change(given)
    body = {name: given[name] for name in ("cases", "drills")}
    return json.dumps({**given, "digest": drill_set._digest(body)})


def test_a_set_gives_the_same_cases_in_another_data_file(
    here: Browser, store: Store, elsewhere: tuple[Browser, Store]
) -> None:
    there, other = elsewhere
    text = saved(here)
    assert not re.search("Marit|Osei|Spring 2", text), "no names of people or classes"
    page = there.client.post(
        "/class/1/set", data={"file": (io.BytesIO(text.encode()), "set.json")}, headers={"Origin": "http://localhost"}
    )
    told = words(page.text)
    assert page.status_code == 200
    assert "8 cases worked out and marked again. Nothing is saved yet." in told
    assert "Net from gross 2 drawn cases, and your own: First visit, Second; all answered as in the file" in told
    assert "First visit Gross to net, one sphere: +1.25 D" in told
    assert class_queries.drills_of(other, 1) == []
    taken = there.post("/class/1/set/take", {"text": text, "drill": ["0", "1"], "case": ["0", "1"]})
    assert taken.location == "/class/1/set?drills=2&cases=2"
    assert "2 drills and 2 own cases taken." in words(there.get(taken.location).text)
    assert [(one.title, one.words) for one in own_case_queries.cases_of(other, 1)][1:] == [
        ("First visit", WORDS),
        ("Second", ""),
    ]
    for number in (1, 2):
        mine, theirs = class_queries.drill_of_id(store, number), class_queries.drill_of_id(other, number)
        assert mine is not None
        assert theirs is not None
        assert drills.digest_of(store, mine) == drills.digest_of(other, theirs)
        assert (theirs.state, theirs.seed, theirs.notes) == ("draft", mine.seed, mine.notes)
    drill = class_queries.drill_of_id(other, 1)
    assert drill is not None
    assert drill.own_cases == (2, 3)
    assert all(one.good for one in check(other._file.where))
    # it is dealt there as it is here
    code = class_queries.class_of_id(other, 1)
    assert code is not None
    there.post("/class/1/drill/1/open")
    who = learner(there.app, str(code.code), "Ada")
    who.post("/drill/1/begin")
    assert waiting_in(who.get("/drill/1"), other)[1].words == WORDS
    assert there.post("/class/1/drill/2/edit", {"title": ""}).status_code in (303, 422)


def test_taken_twice_no_own_case_is_doubled(here: Browser, elsewhere: tuple[Browser, Store]) -> None:
    there, other = elsewhere
    text = saved(here)
    for cases in (2, 0):
        taken = there.post("/class/1/set/take", {"text": text, "drill": "0"})
        assert taken.location == f"/class/1/set?drills=1&cases={cases}"
    assert len(own_case_queries.cases_of(other, 1)) == 3
    assert len(class_queries.drills_of(other, 1)) == 2


def other_answer(given: dict[str, Any]) -> None:
    given["cases"][0]["answer"] = {"power": 1.5}


def other_drawn(given: dict[str, Any]) -> None:
    given["drills"][0]["saved"][0]["answer"]["sphere"] += 0.5


def other_type(given: dict[str, Any]) -> None:
    given["drills"][1]["saved"][2]["type"] = "net-of-tomorrow"


def hiding(given: dict[str, Any]) -> None:
    """By hand: 45 turned through 90 is 135, and so is 180 − 45."""
    rx, turned = ({"sphere": s, "cylinder": c, "axis": a} for s, c, a in ((-2.0, -2.0, 45), (-4.0, 2.0, 135)))
    given["cases"][1] |= {"type": "transpose", "findings": {"rx": rx}, "answer": turned}


def short(given: dict[str, Any]) -> None:
    given["drills"][1]["saved"].pop()


def no_such_own(given: dict[str, Any]) -> None:
    given["drills"][0]["own"] = [0, 5]


@pytest.mark.parametrize(
    ("change", "why", "left"),
    [
        (
            other_answer,
            "First visit (Gross to net, one sphere) is refused: this version answers +1.25 D, and the file",
            1,
        ),
        (other_answer, "Net from gross is refused: own case “First visit”: this version answers", 1),
        (other_drawn, "Net from gross is refused: case 3 (A sphere in each meridian): this version answers", 1),
        (other_type, "case 3 (net-of-tomorrow): this version has no type “net-of-tomorrow”", 1),
        (hiding, "Second (Transposing) is refused: A mistake would not show", 1),
        (short, "it has 3 cases, and should have 4", 1),
        (no_such_own, "it names an own case that is not in the file", 1),
    ],
)
def test_what_is_answered_otherwise_is_refused_with_its_drill(
    here: Browser, elsewhere: tuple[Browser, Store], change: Change, why: str, left: int
) -> None:
    there, other = elsewhere
    text = changed(saved(here), change)
    page = there.post("/class/1/set", {"text": text})
    assert why in words(page.text).replace("\N{NO-BREAK SPACE}", " ")
    there.post("/class/1/set/take", {"text": text, "drill": ["0", "1"]})
    assert len(class_queries.drills_of(other, 1)) == left


def test_a_file_that_is_none_or_was_changed_is_refused(here: Browser, elsewhere: tuple[Browser, Store]) -> None:
    there, other = elsewhere
    text = saved(here)
    for given, why in (
        (text.replace("+", "-").replace("3.25", "3.50"), "the file was changed after it was saved"),
        ("{}", "the file does not say that it is “two-meridians set, version 1”"),
        ("[1, 2", "the file cannot be read as a set"),
        ('{"format": "two-meridians set, version 1", "cases": 3}', "the file cannot be read as a set"),
        ("[" * 3000, "the file cannot be read as a set"),
        ("", "nothing was chosen: choose a file"),
        (changed(text, lambda one: one.update(cases=[], drills=[])), "the set is empty"),
    ):
        page = there.post("/class/1/set", {"text": given})
        assert (page.status_code, why in words(page.text)) == (422, True), why
        assert there.post("/class/1/set/take", {"text": given, "drill": "0"}).status_code == 422
    assert there.post("/class/1/set/take", {"text": text}).status_code == 422
    assert class_queries.drills_of(other, 1) == []
    assert here.get("/class/1/set/file.json").status_code == 422


@pytest.mark.parametrize("type_id", all_types())
def test_a_case_of_every_type_is_read_back_as_it_was_saved(type_id: str) -> None:
    one = all_types()[type_id]
    case = draw(one, 11)
    kept = SavedCase(type_id, one.findings.to_json(case.findings), one.answer_json(case.truth))
    again = SavedCase(**json.loads(json.dumps(as_json(kept))))
    assert drill_set._problem(again) == ""
    assert type_id not in computing_types() or drill_set._case_read(again).problem.startswith("its name has 0")


def test_nothing_of_a_file_reaches_further_than_its_limits(here: Browser) -> None:
    text = saved(here)
    for change, why in (
        (lambda one: one["cases"][0].update(words="a" * 401), "its words have 401 characters"),
        (lambda one: one["cases"][0].update(title=""), "its name has 0 characters"),
        (lambda one: one["drills"][0].update(title="a" * 81), "the title has 81 characters"),
        (lambda one: one["drills"][0].update(seed=-1), "its seed -1 is none of a drill"),
        (lambda one: one["drills"][0].update(aids=["all"]), "an aid that is not on the form"),
    ):
        found = drill_set.read(changed(text, change))
        problems = [one.problem for one in found.cases] + [one.problem for one in found.drills]
        assert any(why in one for one in problems), why
    with pytest.raises(BadSet, match="more than"):
        drill_set.read(changed(text, lambda one: one.update(drills=one["drills"] * 30)))
