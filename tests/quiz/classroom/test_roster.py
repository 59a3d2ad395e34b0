"""A roster: brought in from a file with bad rows, slips, groups, one person in two classes, merging, archive."""

from __future__ import annotations

import html
import io
import re
from datetime import datetime

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import preceptors, roster_file, sign_in
from quiz.classroom.preceptors import NotRemoved
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import NOON, NOT_TAKEN, Clock, all_rows, lots, slipped
from tests.quiz.class_people import (
    HERE,
    PASSWORD,
    Browser,
    answer,
    close_joining,
    learner,
    make_class,
    on_roster,
    phrase_in,
    preceptor,
    set_drill,
    waiting_in,
)

BAD_ROWS = """Name;Number;Group;E-mail
Ada Berg;S1;Monday;ada@example.org
;S2;Monday;nobody@example.org
Bo Lind;S1;Tuesday;
Cy Moe;S3;Tuesday; Resit
Ada Berg;S4;;
"Dee
Holm";S5;;
Bo;S6;;
"""


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def words(page: str) -> str:
    """Return a page's text, tags and spaces tidied."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def bring(owner: Browser, number: int, text: str) -> None:
    assert owner.post(f"/class/{number}/people/file/take", {"text": text}).status_code == 303


def test_the_good_rows_of_a_file_are_taken_and_the_bad_ones_refused_by_line(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    learner(app, code, "Bo")
    page = words(owner.post(f"/class/{number}/people/file", {"text": BAD_ROWS}).text)
    assert "3 new learners, 1 in Spring 2 already, 3 rows refused. Nothing is saved yet." in page
    assert "Line 3 : no name." in page
    assert "Line 4 : number S1 is in line 2 already." in page
    assert "Line 6 : “Ada Berg” is in line 2 already: add a letter to one of them." in page
    assert "Not read: E-mail." in page
    assert "example.org" not in words(owner.get(f"/class/{number}/people").text)
    assert len(store.learners()) == 1, "nothing is saved by a preview"
    bring(owner, number, BAD_ROWS)
    members = {one.name: one for one in roster_queries.members_of(store, number)}
    assert {name: one.number for name, one in members.items()} == {
        "Ada Berg": "S1",
        "Bo": "S6",
        "Cy Moe": "S3",
        "Dee Holm": "S5",
    }
    assert members["Bo"].learner == 1, "who is in the class already stays who they are"
    groups = roster_queries.groups_by_learner(store, number)
    assert groups[members["Ada Berg"].learner] == ["Monday"]
    assert "example.org" not in "\n".join(all_rows(store)), "an e-mail address is never read"
    bring(owner, number, BAD_ROWS)
    assert len(store.learners()) == 4, "the same file once more adds nobody"


def test_a_users_file_of_oneroster_is_read(app: Flask, store: Store) -> None:
    """OneRoster 1.2 CSV binding (1EdTech), users.csv: column names, roles and statuses; from memory."""
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    text = (
        "sourcedId,status,dateLastModified,enabledUser,username,givenName,familyName,identifier,email,password\n"
        "u1,active,2026-09-01,true,aberg,Ada,Berg,S1,ada@example.org,secret\n"
        "u2,tobedeleted,2026-09-01,true,blind,Bo,Lind,S2,,\n"
    )
    page = words(owner.post(f"/class/{number}/people/file", {"text": text}).text)
    assert "the status is “tobedeleted”" in page
    assert "Not read: dateLastModified, enabledUser, username, email, password." in page
    bring(owner, number, text)
    assert [(one.name, one.number) for one in roster_queries.members_of(store, number)] == [("Ada Berg", "S1")]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "nothing was chosen"),
        ("a,b\n1,2\n", "no column has the names"),
        ("name,number\n", "no row below them"),
        ('name\n"Ada', None),
        ("name\n" + "x\n" * 2001, "over 2000 rows"),
    ],
)
def test_a_file_that_is_no_roster_is_refused_in_words(app: Flask, store: Store, text: str, why: str | None) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    reply = owner.post(f"/class/{number}/people/file", {"text": text})
    assert reply.status_code == (422 if why else 200)
    assert (why or "Ada") in words(reply.text)


def test_a_slip_lets_its_learner_in_and_a_new_one_takes_its_place(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    bring(owner, number, "name,number\nAda,S1\nBo,S2\n")
    slips = owner.post(f"/class/{number}/people/slips", {"learner": ["1", "2"]}).text
    assert slips.count("<svg") == 3, "a code on each, and the mark of the app"
    phrases = re.findall(r'class="slip-phrase figures">([^<]+)<', slips)
    browser = Browser(app)
    assert browser.post("/door/back", {"phrase": phrases[0]}).location == "/"
    assert "Ada in Spring 2" in browser.get("/class").text
    owner.post(f"/class/{number}/people/slips", {"learner": "1"})
    assert Browser(app).post("/door/back", {"phrase": phrases[0]}).status_code == 422
    assert owner.post(f"/class/{number}/people/slips", {}).status_code == 422
    assert owner.post(f"/class/{number}/people/slips", {"learner": "99"}).status_code == 404


def test_a_drill_for_a_group_is_for_nobody_else_even_when_the_group_is_gone(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo, cy = (learner(app, code, name) for name in ("Ada", "Bo", "Cy"))
    owner.post(f"/class/{number}/people/group", {"learner": "1", "new_group": "Monday"})
    url = set_drill(owner, number, group="1", person="2")
    assert "For Monday, Bo" in words(owner.get(url).text)
    assert [one.get("/drill/1").status_code for one in (ada, bo, cy)] == [200, 200, 404]
    assert "Not begun: Ada, Bo." in words(owner.get(url).text)
    ada.post("/drill/1/begin")
    owner.post(f"/class/{number}/people/remove", {"learner": "2", "asked": "yes", "sure": "yes"})
    owner.post(f"/class/{number}/group/1", {"act": "remove"})
    assert [one.get("/drill/1").status_code for one in (ada, cy)] == [200, 404], "what was begun stays open to Ada"
    assert owner.post(f"/class/{number}/drill", {"group": "9"}).status_code == 404


def test_those_who_made_a_slip_are_a_group_in_one_click(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, type=["net-sphere"])
    for name in ("Ada", "Bo", "Cy"):
        one = learner(app, code, name)
        one.post("/drill/1/begin")
        _, case = waiting_in(one.get("/drill/1"), store)
        answer(one, store, "/drill/1", slipped(case, "distance-left-in") if name != "Bo" else None)
    page = owner.get(f"/class/{number}/results?drill=1").text
    assert "Make a group of these 2" in words(page)
    form = dict(re.findall(r'<input type="hidden" name="(step|slip|drill|name)" value="([^"]*)"', page))
    made = owner.post(f"/class/{number}/group/from-results", form)
    assert made.location == f"/class/{number}/group/1"
    assert roster_queries.people_of(store, 1) == {1, 3}


def test_one_person_in_two_classes_has_one_memory(app: Flask, store: Store, data_file: DataFile) -> None:
    owner, other = preceptor(app, store), preceptor(app, store, "Jun Park")
    number, code = make_class(owner)
    second, second_code = make_class(other, "Autumn 1")
    ada = learner(app, code, "Ada")
    set_drill(owner, number, type=["net-sphere"])
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    form = re.search(r'name="form" value="([^"]+)"', ada.get("/door").text)
    assert form is not None
    joined = ada.post("/door/join", {"code": second_code, "form": form.group(1), "as": "me"})
    assert joined.location == "/class"
    assert "Ada in Spring 2 and Autumn 1" in words(ada.get("/class").text)
    assert len(store.learners()) == 1
    set_drill(other, second, type=["two-spheres"], title="Of autumn")
    assert "Of autumn" in ada.get("/class").text
    assert "Net from gross" in ada.get("/class").text
    assert "1 answer" in words(other.get(f"/class/{second}/results").text)
    # Removed from one she stays in the other with all that she answered.
    owner.post(f"/class/{number}/learner/1/remove", {"sure": "yes"})
    assert store.count_answers(1) == 1
    assert "Ada in Autumn 1" in words(ada.get("/class").text)
    owner.post(f"/class/{number}/remove", {"sure": "yes"})
    assert owner.get(f"/class/{number}").status_code == 404
    assert owner.get("/class").text.count("/class/1") == 0
    assert [one.words for one in check(data_file.where) if not one.good] == []
    other.post(f"/class/{second}/remove", {"sure": "yes"})
    assert store.learners() == []
    assert [one.words for one in check(data_file.where) if not one.good] == []


def test_a_class_that_is_removed_takes_no_answer_of_another_class_along(
    app: Flask, store: Store, data_file: DataFile
) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    second, _ = make_class(owner, "Autumn 1")
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    set_drill(owner, number, type=["net-sphere"], notes="Bring your card.")
    for one in (ada, bo):
        one.post("/drill/1/begin")
        answer(one, store, "/drill/1")
    owner.post(f"/class/{number}/people/move", {"learner": "1", "to_class": str(second), "stay": "yes"})
    owner.post(f"/class/{number}/remove", {"sure": "yes"})
    assert [one.name for one in store.learners()] == ["Ada"]
    assert store.count_answers(1) == 1
    kept = class_queries.drill_of_id(store, 1)
    assert kept is not None
    assert (kept.title, kept.notes, kept.state) == ("", "", "closed")
    assert ada.get("/").status_code == 200
    assert ada.get("/drill/1").status_code == 404
    assert [one.words for one in check(data_file.where) if not one.good] == []


def test_two_places_of_one_person_are_made_one(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada = learner(app, code, "ada b")
    set_drill(owner, number, type=["net-sphere"])
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    bring(owner, number, "name,number,group\nAda Berg,S1,Monday\n")
    owner.post(f"/class/{number}/people/merge", {"learner": ["1", "2"]})
    members = roster_queries.members_of(store, number)
    assert [(one.learner, one.name, one.number) for one in members] == [(1, "Ada Berg", "S1")]
    assert roster_queries.groups_by_learner(store, number) == {1: ["Monday"]}
    assert "Ada Berg" in owner.get("/class/1/drill/1").text
    bo = learner(app, code, "Bo")
    bo.post("/drill/1/begin")
    answer(bo, store, "/drill/1")
    refused = owner.post(f"/class/{number}/people/merge", {"learner": ["1", "3"]})
    assert refused.status_code == 422
    assert "have both answered" in refused.text

    # What the refusal says to do: the practice of both is one learner's, and no drill has gained an answer.
    assert "remove Bo, and let Ada Berg bring that file in under Progress, Own data" in words(refused.text)
    file = owner.get(f"/class/{number}/keeping/learner/3/everything.jsonl").data
    owner.post(f"/class/{number}/learner/3/remove", {"sure": "yes"})
    before = [(each.answered, each.right) for each in result_queries.class_sums(store, number, "all", drill=1)]
    ada.client.post("/progress/bring", data={"file": (io.BytesIO(file), "everything.jsonl")}, headers=HERE)
    ada.post("/progress/bring/take")
    assert [one.drill for one in store.answers_of(1)] == [1, None]
    assert [(each.answered, each.right) for each in result_queries.class_sums(store, number, "all", drill=1)] == before
    assert owner.post(f"/class/{number}/people/merge", {"learner": "1"}).status_code == 422


def test_who_types_the_code_of_a_class_that_asks_waits_to_be_let_in(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    owner.post(f"/class/{number}/asks", {"asks": "yes"})
    set_drill(owner, number)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    assert "has not let you into Spring 2 yet" in words(ada.get("/class").text)
    assert ada.get("/").status_code == 200, "practice is open all the same"
    assert ada.get("/drill/1").status_code == 404
    assert "2 people wait to be let in" in words(owner.get(f"/class/{number}").text)
    assert owner.post(f"/class/{number}/people/asking", {}).status_code == 422
    owner.post(f"/class/{number}/people/asking", {"learner": "1"})
    owner.post(f"/class/{number}/people/asking", {"learner": "2", "act": "turn-away"})
    assert ada.get("/drill/1").status_code == 200
    assert [one.name for one in store.learners()] == ["Ada"]
    assert bo.get("/").location == "/door"


def test_a_deletion_stays_on_the_place_in_the_roster_and_says_nothing_else(
    app: Flask, store: Store, clock: Clock
) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    close_joining(owner, number)
    ada = on_roster(app, owner, number, "Ada Berg", "S1")
    on_roster(app, owner, number, "Bo")
    url = set_drill(owner, number, counts="yes")
    ada.post("/drill/1/begin")
    dealt, _ = waiting_in(ada.get("/drill/1"), store)
    ada.post("/class/mine/remove", {"sure": "yes"})
    assert "The answers of Ada Berg (S1) were deleted by their owner on" in words(owner.get(url).text)
    people = words(owner.get(f"/class/{number}/people").text)
    assert "Ada Berg (S1): its answers were deleted by their owner on" in people
    assert dealt not in "\n".join(all_rows(store))
    clock.move(seconds=60)
    place = re.search(r'name="place" value="(\d+)"', owner.get(f"/class/{number}/people").text)
    assert place is not None
    owner.post(f"/class/{number}/people/place", {"place": place.group(1)})
    members = {one.name: one for one in roster_queries.members_of(store, number)}
    assert members["Ada Berg"].gone_on is not None, "the mark stays on the place"
    assert "Ada Berg joined after it opened" in words(owner.get(url).text), "a second attempt has to be let in"


def test_a_deadline_moves_whoever_has_begun_and_one_learner_gets_more(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    url = set_drill(owner, number, type=["net-sphere"])
    for one in (ada, bo):
        one.post("/drill/1/begin")
    with store.writing():
        class_queries.set_times(store, 1, None, clock.at + 600)
    page = owner.get(f"{url}/edit").text
    form = dict(re.findall(r'name="(closes_at|title)" value="([^"]*)"', page))
    moved = {**form, "closes_at": "2031-05-20T10:00", "notes": "Later.", "pass_mark": "50"}
    assert owner.post(f"{url}/edit", moved).status_code == 303
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    assert (drill.notes, drill.pass_mark, drill.cases) == ("Later.", 50, 4)
    refused = owner.post(f"{url}/edit", {**moved, "closes_at": "2001-05-20T10:00"})
    assert refused.status_code == 422
    assert "that time has passed already" in refused.text
    with store.writing():
        class_queries.set_times(store, 1, None, clock.at + 600)
    assert owner.post(f"{url}/extensions", {"learner": "1", "closes_at": "2031-05-20T10:00"}).status_code == 303
    assert "Ada: until" in words(owner.get(url).text)
    clock.move(seconds=900)
    assert waiting_in(ada.get("/drill/1"), store)[0], "Ada goes on"
    assert "data-case" not in bo.get("/drill/1").text
    assert answer(ada, store, "/drill/1").status_code == 303
    assert not store.answers_of(1)[0].late
    for wrong in ({}, {"learner": "1", "closes_at": "2001-01-01T10:00"}, {"learner": "1", "extra_minutes": "ten"}):
        assert owner.post(f"{url}/extensions", wrong).status_code == 422


def test_a_class_is_taught_by_several_handed_over_and_archived(app: Flask, store: Store) -> None:
    owner, co, reader = (preceptor(app, store, name) for name in ("Marit Osei", "Jun Park", "Iva Novak"))
    number, code = make_class(owner)
    ada = learner(app, code, "Ada")
    keeping = f"/class/{number}/keeping"
    owner.post(f"{keeping}/teachers", {"preceptor": "2", "role": "co-teacher"})
    owner.post(f"{keeping}/teachers", {"preceptor": "3", "role": "reader"})
    url = set_drill(co, number)
    assert reader.get(url).status_code == 200
    refused = reader.post(f"{url}/close")
    assert refused.status_code == 403
    assert "You may read this class and change nothing in it: ask Marit Osei" in refused.text
    assert "Close it" not in reader.get(url).text
    assert co.post(f"{keeping}/archive").status_code == 403
    assert owner.post(f"{keeping}/hand-over", {"preceptor": "2"}).status_code == 422
    owner.post(f"{keeping}/hand-over", {"preceptor": "2", "sure": "yes", "stay": "yes"})
    assert co.get(keeping).status_code == 200
    assert owner.get(keeping).status_code == 403
    assert owner.post(f"{url}/close").status_code == 303, "who handed it over is a co-teacher"
    co.post(f"{url}/open")
    ada.post("/drill/1/begin")
    co.post(f"{keeping}/archive")
    assert "Archive of 2026" in words(co.get("/class").text)
    assert co.get(url).status_code == 200
    assert co.post(f"{url}/close").status_code == 409
    assert ada.get("/drill/1").status_code == 404
    assert ada.get("/").status_code == 200
    co.post(f"{keeping}/archive", {"act": "take-out"})
    assert co.post(f"{url}/close").status_code == 303


def test_an_administrator_renames_and_removes_preceptors(app: Flask, store: Store) -> None:
    owner, other = preceptor(app, store), preceptor(app, store, "Jun Park")
    number, _ = make_class(owner)
    assert "Rename" not in other.get("/preceptors").text
    assert other.post("/preceptors/1/rename", {"name": "Marit O."}).status_code == 403
    jun = preceptors.named(store, "Jun Park")
    preceptors.make_administrator(store, jun, now=NOON)
    assert "Owns Spring 2." in words(other.get("/preceptors").text)
    assert other.post("/preceptors/1/rename", {"name": "jun park"}).status_code == 422
    assert other.post("/preceptors/1/rename", {"name": "Marit O."}).status_code == 303
    refused = other.post("/preceptors/1/remove", {"sure": "yes"})
    assert refused.status_code == 422
    assert "owns “Spring 2”: say who takes them" in refused.text
    assert other.post("/preceptors/1/remove", {"sure": "yes", "to": "2"}).status_code == 303
    assert other.get(f"/class/{number}").status_code == 200
    assert owner.get("/class").location == "/door"
    with pytest.raises(NotRemoved, match="the only preceptor"):
        preceptors.remove(store, preceptors.named(store, "Jun Park"), to=None, by="Jun Park", now=NOON)
    assert not sign_in.add_preceptor(store, "Jun Park", PASSWORD, now=0), "they are there"


def test_a_new_phrase_is_of_the_person_and_not_of_a_class(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    second, _ = make_class(owner, "Autumn 1")
    first = phrase_in(Browser(app).join(code, "Ada"))
    owner.post(f"/class/{number}/people/move", {"learner": "1", "to_class": str(second), "stay": "yes"})
    new = phrase_in(owner.post(f"/class/{second}/learner/1/phrase"))
    assert Browser(app).post("/door/back", {"phrase": first}).status_code == 422
    assert Browser(app).post("/door/back", {"phrase": new}).location == "/"
    owner.post(f"/class/{number}/people/move", {"learner": "1", "to_class": str(second)})
    assert [one.name for one in roster_queries.classes_with(store, 1)] == ["Autumn 1"]
    assert result_queries.class_sums(store, number, "all") == []


def test_answers_older_than_a_day_are_deleted_and_no_others(
    app: Flask, store: Store, clock: Clock, data_file: DataFile
) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada = learner(app, code, "Ada")
    answer(ada, store, "/practise")
    clock.move(days=40)
    answer(ada, store, "/practise")
    kept = store.answers_of(1)[1].dealt
    owner.sign_in()
    there = f"/class/{number}/keeping/retention"
    day = datetime.fromtimestamp(clock.at).astimezone().date().isoformat()
    for nonsense in ("soon", "0001-01-01"):
        assert owner.post(there, {"before": nonsense}).status_code == 422
    assert "1 answer and 0 recall marks of 1 learner." in words(owner.post(there, {"before": day}).text)
    assert store.count_answers(1) == 2, "nothing is deleted before it was shown"
    assert owner.post(there, {"before": day, "sure": "yes"}).status_code == 303
    assert [one.dealt for one in store.answers_of(1)] == [kept]
    assert [one.words for one in check(data_file.where) if not one.good] == []
    with pytest.raises(NOT_TAKEN, match="only ever added to"), store.writing():
        store.change("DELETE FROM answers")
    everything = owner.get(f"/class/{number}/keeping/learner/1/everything.jsonl").text
    assert kept in everything


def test_a_shared_device_signs_its_learner_out_after_twenty_minutes(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    phrase = phrase_in(Browser(app).join(code, "Ada"))
    tablet = Browser(app)
    tablet.post("/door/back", {"phrase": phrase, "shared": "yes"})
    cookie = tablet.client.get_cookie("two-meridians")
    assert cookie is not None
    assert cookie.expires is None, "it ends with the browser"
    for _ in range(3):
        clock.move(seconds=19 * 60)
        assert tablet.get("/class").status_code == 200, "whoever asks for pages stays"
    set_drill(owner, number, type=["net-sphere"], test="yes", limit_minutes="60", feedback="end")
    tablet.post("/drill/1/begin")
    clock.move(seconds=40 * 60)
    assert "Hand in this answer" in tablet.get("/drill/1").text, "never within a test"
    clock.move(seconds=45 * 60)
    assert tablet.get("/class").location == "/door"


@pytest.mark.of_the_file("counts the questions by SQLite's own trace")
def test_a_file_with_many_groups_asks_the_data_file_little_more(app: Flask, store: Store) -> None:
    """It is taken in one piece, and everyone else's answers wait: 450 rows in 40 groups each took five seconds."""
    owner = preceptor(app, store)
    one = class_queries.class_of_id(store, make_class(owner)[0])
    assert one is not None

    def asked(groups: int) -> int:
        names = ";".join(f"G{place}" for place in range(groups))
        rows = "".join(f"Learner {each},,{names}\n" for each in range(20))
        put: list[str] = []
        store._db.conn.set_trace_callback(put.append)
        roster_file.take(store, one, f"name,number,group\n{rows}", now=1_795_000_000.0)
        store._db.conn.set_trace_callback(None)
        return len(put)

    asked(40)
    assert [each.people for each in roster_queries.groups_of(store, one.id)] == [20] * 40
    assert asked(40) <= asked(20) + 20 * 3, "for each group a few questions, and not for each of its rows"
