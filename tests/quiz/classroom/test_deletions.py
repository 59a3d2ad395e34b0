"""Deleting oneself and joining again: what goes, what stays, and who has to be let in."""

from __future__ import annotations

import re

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.practice import learners
from quiz.storage import class_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.drill_views import day_of
from tests.conftest import Clock, all_rows, lots, slipped
from tests.quiz.class_people import (
    Browser,
    answer,
    close_joining,
    learner,
    make_class,
    on_roster,
    preceptor,
    set_drill,
    waiting_in,
)
from tests.quiz.classroom.test_timed_drills import words


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def everything(store: Store) -> str:
    return "\n".join(all_rows(store))


@pytest.mark.parametrize("address", ["/class/mine/remove", "/progress/delete"])
def test_a_second_attempt_is_seen_by_the_preceptor(app: Flask, store: Store, clock: Clock, address: str) -> None:
    """Seen: that a learner deleted themselves, on which day, and that the one who joined again did so after opening."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    url = set_drill(owner, number)
    for one in (ada, bo):
        one.post("/drill/1/begin")
        answer(one, store, "/drill/1")
    assert "joined after it opened" not in owner.get(url).text
    clock.move(days=1)
    owner.sign_in()
    ada.post(address, {"sure": "yes"})
    gone = f"Answers of a learner were deleted by their owner on {day_of(clock.at)}."
    for page in (url, f"/class/{number}/results?drill=1"):
        assert gone in owner.get(page).text
        assert "Ada" not in owner.get(page).text
    again = learner(app, code, "Ada B")
    clock.move(days=1)
    owner.sign_in()
    assert f"Ada B (joined after it opened, on {day_of(clock.at - 86400)})" in owner.get(url).text
    again.post("/drill/1/begin")
    answer(again, store, "/drill/1")
    row = words(owner.get(url).text)
    assert f"under way joined after it opened, on {day_of(clock.at - 86400)}" in row
    assert row.count("joined after it opened") == 1, "Bo did not"


def test_what_stays_of_a_deletion_is_a_day_and_nothing_of_the_learner(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number)
    set_drill(owner, number, title="Not begun")
    ada = learner(app, code, "Ada Lovibond")
    ada.post("/drill/1/begin")
    dealt, _ = waiting_in(ada.get("/drill/1"), store)
    clock.move(days=2)
    ada.post("/class/mine/remove", {"sure": "yes"})
    left = store.fetch("SELECT * FROM deletions")
    assert [set(row.keys()) for row in left] == [{"id", "drill", "on_day", "by_whom", "place"}]
    assert [row["drill"] for row in left] == [1], "only of what was begun"
    assert left[0]["place"] is None, "they joined by the code: the roster has no place for them"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", left[0]["on_day"]), "a day, not the minute that names who it was"
    kept = everything(store)
    assert not any(one in kept for one in ("Lovibond", dealt))


def test_the_drill_that_was_proposed_for_a_learners_slips_does_not_keep_their_name(app: Flask, store: Store) -> None:
    """The title proposed names nobody; the drill goes with its learner, and does not become everyone's."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada Lovibond"), learner(app, code, "Bo")
    set_drill(owner, number, type=["net-sphere"])
    ada.post("/drill/1/begin")
    for _ in range(4):
        _, case = waiting_in(ada.get("/drill/1"), store)
        answer(ada, store, "/drill/1", slipped(case, "distance-left-in"))
    form = owner.get(f"/class/{number}/drill/new?learner=1").text
    title = re.search(r'name="title" value="([^"]*)"', form)
    assert title is not None
    assert title.group(1) != ""
    assert "Lovibond" not in title.group(1)
    set_drill(owner, number, title=title.group(1), for_learner="1")
    set_drill(owner, number, title="Ada Lovibond, once more", for_learner="1")
    assert words(owner.get(f"/class/{number}").text).count("for Ada Lovibond") == 2
    ada.post("/drill/2/begin")
    answer(ada, store, "/drill/2")
    ada.post("/class/mine/remove", {"sure": "yes"})
    assert "Lovibond" not in everything(store)
    assert [one.id for one in class_queries.drills_of(store, number)] == [1]
    assert [bo.get(f"/drill/{drill}").status_code for drill in (1, 2, 3)] == [200, 404, 404]


def test_who_was_removed_by_the_preceptor_is_not_said_to_have_gone_by_themselves(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number)
    for place, name in enumerate(("Ada", "Bo", "Cy"), 1):
        one = learner(app, code, name)
        one.post("/drill/1/begin")
        if name != "Cy":
            owner.post(f"/class/{number}/learner/{place}/remove", {"sure": "yes"})
    assert "Answers of 2 learners were deleted by a preceptor on" in owner.get(url).text


def test_into_a_drill_that_counts_who_joined_later_has_to_be_let(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada = learner(app, code, "Ada")
    url = set_drill(owner, number, counts="yes", opened=False)
    clock.move(seconds=60)
    bo = learner(app, code, "Bo")
    clock.move(seconds=60)
    refused = owner.post(f"{url}/open")
    assert refused.status_code == 409
    assert "nobody may join by the code while it is open" in refused.text
    close_joining(owner, number)
    assert owner.post(f"{url}/open").status_code == 303
    refused = owner.post(f"/class/{number}/code")
    assert refused.status_code == 409
    assert "the roster is closed" in refused.text
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    clock.move(seconds=60)
    ada.post("/class/mine/remove", {"sure": "yes"})
    again = on_roster(app, owner, number, "Ada B")
    assert "data-case" not in again.get("/drill/1").text
    assert "Ask your preceptor to let you in" in again.get("/drill/1").text
    assert "ask your preceptor to let you in" in again.get("/class").text
    assert "Net from gross" not in again.get("/").text
    assert again.post("/drill/1/begin").status_code == 404
    assert bo.post("/drill/1/begin").status_code == 303, "who joined before it opened is in the class"
    page = owner.get(url).text
    assert "Ada B joined after it opened" in page
    assert "Let Bo in" not in page
    owner.post(f"{url}/let-in", {"learner": "3"})
    assert again.post("/drill/1/begin").status_code == 303
    assert "Let Ada B in" not in owner.get(url).text
    learners.remove(store, 3, now=clock.at)
    assert store.fetch("SELECT * FROM let_in") == []


def test_a_drill_opened_by_the_clock_is_open_from_then_on(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    close_joining(owner, number)
    url = set_drill(owner, number, counts="yes")
    with store.writing():
        class_queries.set_times(store, 1, clock.at + 3600, None)
    clock.move(seconds=600)
    ada = on_roster(app, owner, number, "Ada")
    clock.move(seconds=3600)
    cy = on_roster(app, owner, number, "Cy")
    assert [one.post("/drill/1/begin").status_code for one in (ada, cy)] == [303, 404]
    assert "Let Cy in" in owner.get(url).text


def test_many_learners_are_removed_at_once_after_their_names_were_shown(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number)
    for name in ("Ada", "Bo", "Cy", "Dee"):
        one = learner(app, code, name)
        if name in ("Ada", "Bo"):
            one.post("/drill/1/begin")
            answer(one, store, "/drill/1")
    page = owner.get(f"/class/{number}/people?show=not-begun").text
    assert re.findall(r'name="learner" value="(\d)" checked', page) == ["3", "4"]
    there = f"/class/{number}/people/remove"
    assert owner.post(there).status_code == 422
    asked = owner.post(there, {"learner": ["1", "3", "4"]})
    assert asked.status_code == 200
    assert all(name in asked.text for name in ("Ada", "Cy", "Dee"))
    assert "Bo" not in words(asked.text)
    assert owner.post(there, {"learner": ["1", "3", "4"], "asked": "yes"}).status_code == 422
    assert len(store.learners()) == 4
    assert owner.post(there, {"learner": ["1", "3", "4"], "asked": "yes", "sure": "yes"}).status_code == 303
    assert [one.name for one in store.learners()] == ["Bo"]
    assert "Answers of a learner were deleted by a preceptor" in owner.get(url).text
    other = Browser(app)
    preceptor(app, store, "Jun Park")
    other.sign_in("Jun Park")
    assert other.post(there, {"learner": ["2"], "asked": "yes", "sure": "yes"}).status_code == 404
