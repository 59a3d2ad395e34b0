"""Coming in and going out: passwords, codes, phrases, throttles, and who stays a stranger."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from flask import Flask

from quiz.app import class_app, create_app
from quiz.classroom import classes, sign_in
from quiz.classroom.sign_in import NotKnown
from quiz.classroom.throttle import Caller, Tries
from quiz.practice import learners
from quiz.practice.learners import UnknownLearner
from quiz.storage import class_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.front.class_file import NoPreceptor
from tests.conftest import NOON, Clock, all_rows, lots, slipped
from tests.quiz.class_people import (
    HERE,
    NAME,
    PASSWORD,
    Browser,
    answer,
    learner,
    make_class,
    phrase_in,
    preceptor,
    set_drill,
    waiting_in,
)


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


# --- preceptors --------------------------------------------------------------------------------------------------


def quiz(*arguments: str | Path, typed: str) -> subprocess.CompletedProcess[str]:
    root = Path(__file__).resolve().parents[3]
    command = [sys.executable, "-m", "quiz", *map(str, arguments)]
    return subprocess.run(command, cwd=root, input=typed, capture_output=True, text=True, check=False)


def test_a_preceptor_is_added_from_the_command_line_and_the_password_comes_from_standard_input(
    data_path: Path,
) -> None:
    short = quiz("add-preceptor", NAME, "--data", data_path, typed="short\n")
    assert (short.returncode, short.stderr) == (2, "quiz: a password of 5 characters: give at least 10\n")
    assert quiz("add-preceptor", NAME, "--data", data_path, typed=f"{PASSWORD}\n").stdout == "Added.\n"
    again = quiz("add-preceptor", NAME.upper(), "--data", data_path, typed="another password\n")
    assert "every sign-in with the old one has ended" in again.stdout


def test_a_password_is_kept_as_a_salted_scrypt_hash(store: Store) -> None:
    for name in ("A", "B"):
        sign_in.add_preceptor(store, name, PASSWORD, now=NOON)
    kept = [class_queries.preceptor_named(store, name).password for name in ("A", "B")]  # type: ignore[union-attr]
    assert all(one.startswith("scrypt:") for one in kept)
    assert kept[0] != kept[1]


def test_a_wrong_password_and_an_unknown_name_are_told_alike(app: Flask, store: Store) -> None:
    preceptor(app, store)
    replies = [Browser(app).sign_in(NAME, "not the password"), Browser(app).sign_in("Nobody", PASSWORD)]
    assert [one.status_code for one in replies] == [422, 422]
    problems = [re.findall(r'id="preceptor-problem">(.*?)</p>', one.text) for one in replies]
    assert problems[0] == problems[1] != []


def test_a_good_sign_in_is_no_try(app: Flask, store: Store) -> None:
    preceptor(app, store)
    assert [Browser(app).sign_in().status_code for _ in range(8)] == [303] * 8


def test_a_sign_in_ends_by_itself_by_signing_out_and_with_a_new_password(
    app: Flask, store: Store, clock: Clock
) -> None:
    one = preceptor(app, store)
    cookie = one.client.get_cookie("two-meridians")
    one.post("/door/sign-out")
    assert cookie is not None
    stolen = Browser(app)
    stolen.client.set_cookie("two-meridians", cookie.value)
    assert stolen.get("/class").location == "/door", "the cookie of a sign-in that ended opens nothing"
    two, three = Browser(app), Browser(app)
    two.sign_in()
    three.sign_in()
    two.post("/door/sign-out", {"everywhere": "yes"})
    assert three.get("/class").location == "/door"
    three.sign_in()
    sign_in.add_preceptor(store, NAME, "another password", now=NOON)
    assert three.get("/class").location == "/door"
    three.sign_in(password="another password")  # noqa: S106
    assert three.get("/class").status_code == 200
    clock.move(seconds=sign_in.PRECEPTOR_STAYS + 1)
    assert three.get("/class").location == "/door"


# --- codes and joining -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "way", [str.lower, lambda code: code.replace("-", ""), lambda code: f" {code.replace('-', ' ')} "]
)
def test_a_code_is_read_however_it_is_typed(app: Flask, store: Store, way: object) -> None:
    _, code = make_class(preceptor(app, store))
    assert re.fullmatch(rf"[{sign_in.ALPHABET}]{{4}}-[{sign_in.ALPHABET}]{{4}}", code)
    assert Browser(app).join(way(code), "Ada").status_code == 200  # type: ignore[operator]


def test_a_code_expires_is_changed_and_is_taken_back(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    owner.post(f"/class/{number}/code")
    assert Browser(app).join(code, "Ada").status_code == 422, "the old code"
    new = class_queries.class_of_id(store, number)
    assert new is not None
    assert new.code is not None
    owner.post(f"/class/{number}/code", {"code": "none"})
    assert Browser(app).join(new.code, "Ada").status_code == 422, "taken back"
    owner.post(f"/class/{number}/code")
    last = class_queries.class_of_id(store, number)
    assert last is not None
    clock.move(days=classes.CODE_DAYS)
    assert Browser(app).join(str(last.code), "Ada").status_code == 422, "run out"


def test_one_form_sent_twice_joins_once(app: Flask, store: Store) -> None:
    """A lost reply or a double tap: the same form finds the learner whom it made."""
    _, code = make_class(preceptor(app, store))
    browser = Browser(app)
    form = re.search(r'name="form" value="([^"]+)"', browser.get("/door").text)
    assert form is not None
    sent = {"code": code, "name": "Ada", "form": form.group(1)}
    first, second = browser.post("/door/join", dict(sent)), Browser(app).post("/door/join", dict(sent))
    assert (first.status_code, second.status_code) == (200, 200)
    assert [one.name for one in store.learners()] == ["Ada"]
    assert phrase_in(first) != phrase_in(second)
    assert Browser(app).post("/door/back", {"phrase": phrase_in(first)}).status_code == 422, "the later one holds"


def test_a_name_is_taken_within_a_class_only(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    _, spring = make_class(owner)
    _, autumn = make_class(owner, "Autumn 1")
    learner(app, spring, "Ada")
    assert "is taken in this class" in Browser(app).join(spring, "ADA").text
    assert Browser(app).join(autumn, "Ada").status_code == 200
    assert Browser(app).join(spring, "").status_code == 422


# --- coming back, leaving ----------------------------------------------------------------------------------------


def test_a_learner_comes_back_by_phrase_or_link_from_another_device(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    phrase = phrase_in(Browser(app).join(code, "Ada"))
    rows = store.fetch("SELECT phrase FROM phrases")
    assert rows[0][0] == sign_in.digest(phrase)
    assert phrase not in "".join(all_rows(store)), "at rest there is the hash alone"
    tablet = Browser(app)
    asked = tablet.get(f"/back/{phrase.lower()}")
    assert "Come back as Ada?" in asked.text
    assert tablet.get("/").location == "/door", "opening the link has not signed anyone in"
    assert tablet.post("/door/back", {"phrase": phrase.lower().replace("-", " ")}).location == "/"
    assert tablet.get("/").status_code == 200


def test_a_new_phrase_ends_the_old_one_and_every_other_device(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    phone = Browser(app)
    old = phrase_in(phone.join(code, "Ada"))
    tablet = Browser(app)
    tablet.post("/door/back", {"phrase": old})
    new = phrase_in(phone.post("/class/mine/phrase"))
    assert tablet.get("/").location == "/door"
    assert phone.get("/").status_code == 200
    assert tablet.post("/door/back", {"phrase": old}).status_code == 422
    assert tablet.post("/door/back", {"phrase": new}).status_code == 303


def test_a_preceptor_hands_a_new_phrase_over(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    first = Browser(app).join(code, "Ada")
    old = phrase_in(first)
    assert "you come back from another device" in first.text
    page = owner.post(f"/class/{number}/learner/1/phrase")
    assert "Ada comes back from any device" in page.text
    assert not re.search(r"\byou\b", page.text), "it is the learner's, and a preceptor reads it"
    assert Browser(app).post("/door/back", {"phrase": old}).status_code == 422
    assert Browser(app).post("/door/back", {"phrase": phrase_in(page)}).status_code == 303


def test_addresses_to_hand_over_are_those_that_others_reach(data_file: DataFile, store: Store, clock: Clock) -> None:
    """A preceptor sits at the computer that serves: its own name for itself would lead learners to theirs."""
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True, reached_at="http://192.0.2.7:8067")
    owner = preceptor(app, store)
    number, code = make_class(owner)
    assert 'Learners open <span class="whole">http://192.0.2.7:8067/door</span>' in owner.get(f"/class/{number}").text
    assert "http://192.0.2.7:8067/back/" in Browser(app).join(code, "Ada").text
    elsewhere = app.test_client()
    elsewhere.post(
        "http://192.0.2.9/door/sign-in",
        data={"preceptor": NAME, "password": PASSWORD},
        headers={"Origin": "http://192.0.2.9"},
    )
    assert "http://192.0.2.9/door" in elsewhere.get(f"http://192.0.2.9/class/{number}").text


def test_signing_out_keeps_everything(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    browser = Browser(app)
    phrase = phrase_in(browser.join(code, "Ada"))
    browser.get("/")
    browser.post("/door/leave")
    assert browser.get("/").location == "/door"
    browser.post("/door/back", {"phrase": phrase})
    assert [one.name for one in store.learners()] == ["Ada"]


def everything(store: Store) -> str:
    return "\n".join(all_rows(store))


def test_a_learner_deletes_themselves_with_all_their_answers(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    for one in (ada, bo):
        one.post("/drill/1/begin")
        _, case = waiting_in(one.get("/drill/1"), store)
        answer(one, store, "/drill/1", slipped(case, "distance-left-in"))
        answer(one, store, "/practise")
    assert ada.post("/class/mine/remove").status_code == 422
    assert (ada.post("/class/mine/remove", {"sure": "yes"}).location or "").startswith("/door?gone=1-")
    assert "You are deleted, with every answer." in ada.get("/door?gone=1-1").text
    assert ada.get("/").location == "/door"
    for table in ("answers", "dealt", "sittings", "tallies", "slipped", "members", "sign_ins"):
        rows = store.fetch(f"SELECT learner FROM {table} WHERE learner IS NOT NULL")  # noqa: S608
        assert {row[0] for row in rows} == {2}, table
    assert "Ada" not in everything(store)
    assert bo.get("/").status_code == 200


def test_removing_a_class_removes_its_learners_and_leaves_others_alone(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    spring, code = make_class(owner)
    set_drill(owner, spring)
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    _, other = make_class(owner, "Autumn 1")
    learner(app, other, "Bo")
    assert owner.post(f"/class/{spring}/remove").status_code == 422
    assert owner.post(f"/class/{spring}/remove", {"sure": "yes"}).status_code == 303
    assert [one.name for one in store.learners()] == ["Bo"]
    assert store.fetch("SELECT * FROM drills") == []


# --- on one's own computer ---------------------------------------------------------------------------------------


def test_on_one_computer_without_a_class_nothing_is_asked(data_file: DataFile, clock: Clock, store: Store) -> None:
    home = Browser(create_app(data_file, clock=clock, lots=lots()))
    assert home.get("/").status_code == 200
    assert "python -m quiz add-preceptor" in home.get("/class").text
    assert [one.name for one in store.learners()] == ["Learner 1"]


def test_nobody_picks_the_name_of_a_learner_of_a_class(
    app: Flask, data_file: DataFile, store: Store, clock: Clock
) -> None:
    _, code = make_class(preceptor(app, store))
    learner(app, code, "Ada")
    home = Browser(create_app(data_file, clock=clock, lots=lots(5)))
    assert home.get("/").status_code == 200, "the first at this computer becomes a learner of its own"
    assert "Ada" not in home.get("/people").text
    assert home.post("/people/1/pick").status_code == 404
    with pytest.raises(UnknownLearner):
        learners.local(store, 1)


def test_the_cookie_of_a_learner_at_this_computer_opens_nothing_beyond_it(
    app: Flask, data_file: DataFile, store: Store, clock: Clock
) -> None:
    home = Browser(create_app(data_file, clock=clock, lots=lots(5)))
    home.get("/")
    cookie = home.client.get_cookie("two-meridians")
    assert cookie is not None
    away = Browser(app)
    away.client.set_cookie("two-meridians", cookie.value)
    assert away.get("/").location == "/door"
    assert [one.name for one in store.learners()] == ["Learner 1"]


def test_a_number_that_was_freed_opens_nothing(app: Flask, store: Store, clock: Clock) -> None:
    _, code = make_class(preceptor(app, store))
    joined = classes.join(
        store, code, "Ada", form="a-form-of-a-test", caller=Caller(Tries()), now=clock.at, lots=lots(9)
    )
    learners.remove(store, joined.learner.id, now=clock.at)
    assert sign_in.learner_of(store, joined.token, now=clock.at) is None
    with pytest.raises(NotKnown):
        classes.come_back(store, joined.phrase, caller=Caller(Tries()), now=clock.at, lots=lots(9))


# --- one browser, one person -------------------------------------------------------------------------------------


def holds_rights(browser: Browser, number: int) -> bool:
    """Say whether a browser may do what a preceptor may."""
    return browser.get(f"/class/{number}").status_code == 200


def test_joining_where_a_preceptor_is_signed_in_signs_them_out(app: Flask, store: Store) -> None:
    desk = preceptor(app, store)
    number, code = make_class(desk)
    assert f"{NAME}</strong> is signed in on this device as a preceptor" in desk.get("/door").text
    cookie = desk.client.get_cookie("two-meridians")
    assert desk.join("ZZZZ-ZZZZ", "Ada").status_code == 422
    assert holds_rights(desk, number), "a code that opens nothing signs nobody out"
    joined = desk.join(code, "Ada")
    assert f"{NAME} is signed out on this device." in joined.text
    assert not holds_rights(desk, number)
    assert desk.post(f"/class/{number}/code").location == "/door"
    assert store.fetch("SELECT * FROM sign_ins WHERE preceptor IS NOT NULL") == [], "the sign-in itself has ended"
    assert cookie is not None
    before = Browser(app)
    before.client.set_cookie("two-meridians", cookie.value)
    assert not holds_rights(before, number)


def test_coming_back_where_a_preceptor_is_signed_in_signs_them_out(app: Flask, store: Store) -> None:
    desk = preceptor(app, store)
    number, code = make_class(desk)
    phrase = phrase_in(Browser(app).join(code, "Ada"))
    desk.get(f"/back/{phrase.lower()}")
    assert holds_rights(desk, number), "looking at the link changes nothing"
    desk.post("/door/back", {"phrase": phrase})
    assert not holds_rights(desk, number)
    assert "Ada in Spring 2" in desk.get("/class").text


def test_a_preceptor_who_signs_in_where_a_learner_is_signs_the_learner_out(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    tablet = learner(app, code, "Ada")
    tablet.sign_in()
    assert holds_rights(tablet, number)
    assert tablet.get("/").location == "/class", "nobody practises as Ada here"
    assert store.fetch("SELECT * FROM sign_ins WHERE learner IS NOT NULL") == []


def test_a_cookie_of_before_with_both_has_the_rights_of_the_learner(app: Flask, store: Store) -> None:
    """Browsers in which both had come in hold such a cookie for half a day."""
    desk = preceptor(app, store)
    number, code = make_class(desk)
    ada = learner(app, code, "Ada")
    with ada.client.session_transaction(headers=HERE) as held, desk.client.session_transaction() as other:
        held["preceptor"] = other["preceptor"]
    assert not holds_rights(ada, number)
    assert ada.get("/").status_code == 200


def test_picking_another_name_at_the_serving_computer_signs_a_preceptor_out(
    data_file: DataFile, store: Store, clock: Clock
) -> None:
    home = preceptor(create_app(data_file, clock=clock, lots=lots()), store)
    number, _ = make_class(home)
    home.get("/")
    assert holds_rights(home, number), "practising a little oneself signs nobody out"
    home.post("/people", {"name": "Imre"})
    assert home.get(f"/class/{number}").status_code != 200
    home.sign_in()
    home.post("/people/1/pick")
    assert home.get(f"/class/{number}").status_code != 200


# --- served by another web server --------------------------------------------------------------------------------


def test_the_app_for_another_web_server_is_that_of_a_class(data_path: Path) -> None:
    """As RUNNING-A-CLASS.md asks for it with gunicorn: refused without a preceptor, and nobody gets in unknown."""
    with pytest.raises(NoPreceptor):
        class_app(str(data_path))
    assert not data_path.exists()
    quiz("add-preceptor", NAME, "--data", data_path, typed=f"{PASSWORD}\n")
    app = class_app(str(data_path))
    assert isinstance(app, Flask)
    assert Browser(app).get("/").location == "/door"
    assert Browser(app).sign_in().location == "/class"
