"""Patients set for a class: everyone examines the same ones, each once; the preceptor reads every log."""

from __future__ import annotations

import re

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import set_patients
from quiz.storage.datafile import DataFile
from quiz.storage.examining import set_queries
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import Browser, learner, make_class, preceptor

DONE = {"do": "record", "sent": "x", "written-right": "-1.25/-0.50x175", "taken-right": "1.50", "end": "yes"}


def begin(who: Browser, place: int) -> str:
    reply = who.post("/examination", {"set": f"1 {place}"})
    assert reply.status_code == 303
    return str(reply.location).split("/")[2]


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@pytest.fixture
def owner(app: Flask, store: Store) -> Browser:
    return preceptor(app, store)


def test_two_patients_are_set_examined_once_and_read(app: Flask, store: Store, owner: Browser) -> None:
    class_id, code = make_class(owner)
    url = f"/class/{class_id}/examinations"
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    assert owner.post(url, {"title": "Two", "patient": ["vignette dev", "drawn infant"]}).status_code == 303
    page = ada.get("/examination").text
    assert "Set for you" in page
    assert "Examine Dev, 12 years" in page
    one = begin(ada, 0)
    # A second press goes on with the first examination, and everyone meets the same patients.
    assert begin(ada, 0) == one
    assert begin(bo, 1) != begin(ada, 1)
    patients = {run.set_place: run.patient for run in set_queries.runs_of(store, 1)}
    assert all(run.patient == patients[run.set_place] for run in set_queries.runs_of(store, 1))
    ada.post(f"/examination/{one}/act", {"do": "end-point", "eye": "right", "streak": "175", "sent": "a"})
    ada.post(f"/examination/{one}/act", DONE)
    page = owner.get(f"{url}/1").text
    assert page.count("not begun") == 1
    assert page.count("under way") == 2
    log = owner.get(f"{url}/1/log/{one}").text
    assert "Examined by Ada" in log
    assert "Neutral with the streak at 175" in log
    assert "Dev again" not in log
    replay = re.search(r'href="(/class/[^"]*right=[^"#]*)', log)
    assert replay is not None
    assert "Replayed" in owner.get(replay[1].replace("&amp;", "&")).text


def test_two_presses_at_one_moment_begin_one_examination(
    app: Flask, store: Store, owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second looks before the first has begun: it goes on with that one, where it was answered by a fault."""
    class_id, code = make_class(owner)
    ada = learner(app, code, "Ada")
    owner.post(f"/class/{class_id}/examinations", {"patient": ["vignette eve"]})
    (who,) = store.learners()
    seen = set_patients.offers(store, who)
    first = begin(ada, 0)
    monkeypatch.setattr(set_patients, "offers", lambda *_: seen)
    assert begin(ada, 0) == first
    assert len(set_queries.runs_of(store, 1)) == 1


def test_whoever_deletes_themselves_and_joins_again_is_seen_to_have(app: Flask, owner: Browser, clock: Clock) -> None:
    """As in a drill: a second attempt at patients that are known is not refused, and is not unseen."""
    class_id, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    owner.post(f"/class/{class_id}/examinations", {"patient": ["vignette dev", "vignette eve"]})
    for place in (0, 1):
        begin(ada, place)
    begin(bo, 0)
    page = owner.get(f"/class/{class_id}/examinations/1").text
    assert "were deleted" not in page
    assert "joined after it was set" not in page
    clock.move(seconds=3600)
    assert ada.post("/progress/delete", {"sure": "yes"}).status_code == 303
    begin(learner(app, code, "Ada"), 0)
    page = owner.get(f"/class/{class_id}/examinations/1").text
    assert page.count("Answers of a learner were deleted by their owner on ") == 1, "one learner, however many patients"
    assert page.count(">Ada (joined after it was set, on ") == 1
    assert "Bo (joined" not in page


def test_a_closed_set_is_not_begun(app: Flask, store: Store, owner: Browser) -> None:
    class_id, code = make_class(owner)
    ada = learner(app, code, "Ada")
    owner.post(f"/class/{class_id}/examinations", {"patient": ["vignette eve"]})
    owner.post(f"/class/{class_id}/examinations/1/close")
    assert ada.post("/examination", {"set": "1 0"}).status_code == 404
    assert set_queries.runs_of(store, 1) == []


def test_a_set_needs_a_patient(owner: Browser) -> None:
    class_id, _ = make_class(owner)
    reply = owner.post(f"/class/{class_id}/examinations", {"patient": ["", ""]})
    assert reply.status_code == 422
    assert f"choose 1 to {set_patients.MOST_PATIENTS}" in reply.text


def test_an_examination_of_ones_own_is_no_log_of_the_class(app: Flask, owner: Browser) -> None:
    class_id, code = make_class(owner)
    ada = learner(app, code, "Ada")
    owner.post(f"/class/{class_id}/examinations", {"patient": ["vignette eve"]})
    private = str(ada.post("/examination", {"vignette": "dev"}).location).split("/")[2]
    assert owner.get(f"/class/{class_id}/examinations/1/log/{private}").status_code == 404


def test_patients_and_drills_of_a_class_are_as_in_its_region(owner: Browser, store: Store) -> None:
    class_id, _ = make_class(owner)
    assert owner.post(f"/class/{class_id}/region", {"region": "atlantis"}).status_code == 422
    assert owner.post(f"/class/{class_id}/region", {"region": "east-asia"}).status_code == 303
    assert '<option value="east-asia" selected>' in owner.get(f"/class/{class_id}").text
    owner.post(f"/class/{class_id}/examinations", {"title": "", "patient": ["drawn school"]})
    one = set_queries.set_of_id(store, 1)
    assert one is not None
    assert [patient.region for patient in one.patients] == ["east-asia"]
    # A drill begins with the class's region, and keeps what it was set with.
    form = owner.get(f"/class/{class_id}/drill/new").text
    assert re.search(r'value="east-asia"[^>]*(selected|checked)', form)


def test_patients_that_were_set_are_printed_with_a_key_of_the_same_check_code(owner: Browser) -> None:
    class_id, _ = make_class(owner)
    url = f"/class/{class_id}/examinations"
    owner.post(url, {"title": "Two", "patient": ["vignette dev", "drawn infant"]})
    assert f"{url}/1/sheet" in owner.get(f"{url}/1").text
    sheet, key = owner.get(f"{url}/1/sheet").text, owner.get(f"{url}/1/sheet?key=yes").text
    (code,) = re.findall(r"Check code ([0-9A-F]{4}-[0-9A-F]{4})", sheet)
    assert code in key
    assert "Write the record." in sheet
    assert "−1.50 / −0.50 × 175" not in sheet
    assert "−1.50 / −0.50 × 175" in key
    assert owner.get(f"{url}/1/sheet?digest=0000-0000").status_code == 409
