"""Failed tries hold up who fails and few others, are written nowhere, and joins have a bound that is told."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import classes
from quiz.storage import roster_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.backups import backup
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.quiz.class_people import HERE, NAME, PASSWORD, Browser, learner, make_class, phrase_in, preceptor
from tests.quiz.storage.test_store import traces

ALPHABET = "23456789ABCDEFGH"


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def wrong_codes(count: int) -> Iterator[str]:
    """Give codes that chance will not have made, each another."""
    for number in range(count):
        marks = "".join(ALPHABET[number >> shift & 15] for shift in (12, 8, 4, 0))
        yield f"ZZZZ-{marks}"


def test_a_class_gets_in_while_others_at_its_address_type_wrong_codes(app: Flask, store: Store) -> None:
    """Sixty people behind one address, and forty codes read off the board wrongly."""
    _, code = make_class(preceptor(app, store))
    fails = [Browser(app).join(wrong, "Ada").status_code for wrong in wrong_codes(40)]
    assert fails == [422] * 40
    assert learner(app, code, "Ada").get("/").status_code == 200
    assert [Browser(app).get("/back/AAAA-BBBB-CCCC-DDDD").status_code for _ in range(5)] == [404] * 5


def test_a_preceptor_gets_in_where_they_did_before_whoever_types_wrong_passwords(app: Flask, store: Store) -> None:
    desk = preceptor(app, store)
    desk.post("/door/sign-out")
    fails = [Browser(app).sign_in(NAME, "wrong once more").status_code for _ in range(6)]
    assert fails == [422] * 5 + [429]
    assert Browser(app).sign_in().status_code == 429, "a browser that is not known waits"
    assert desk.sign_in().status_code == 303


def test_a_browser_in_which_a_learner_came_in_is_not_exempt_from_a_preceptors_limit(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    ada = learner(app, code, "Ada")
    assert [ada.sign_in(NAME, "a guess or two").status_code for _ in range(6)] == [422] * 5 + [429]


def test_the_wait_grows_with_each_failure_and_ends_by_itself(app: Flask, store: Store, clock: Clock) -> None:
    preceptor(app, store)
    for _ in range(5):
        Browser(app).sign_in(NAME, "wrong once more")
    waits = []
    for _ in range(8):
        waited = 0
        while Browser(app).sign_in(NAME, "wrong once more").status_code == 429:
            clock.move(seconds=1)
            waited += 1
        waits.append(waited)
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]
    refused = Browser(app).sign_in()
    assert "wait 60 seconds, then try again" in refused.text
    clock.move(seconds=60)
    assert Browser(app).sign_in().status_code == 303


def test_one_code_or_one_phrase_tried_again_and_again_waits_alone(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    assert [Browser(app).join("AAAA-BBBB", "x").status_code for _ in range(21)] == [422] * 20 + [429]
    phrase = "AAAA-BBBB-CCCC-DDDD"
    codes = [Browser(app).get(f"/back/{phrase}").status_code for _ in range(10)]
    codes += [Browser(app).post("/door/back", {"phrase": phrase}).status_code for _ in range(11)]
    assert codes == [404] * 10 + [422] * 10 + [429], "by link and by form together"
    assert Browser(app).join("AAAA-BBBC", "x").status_code == 422
    assert Browser(app).join(code, "Ada").status_code == 200


def test_guessing_without_end_from_one_address_waits_and_known_browsers_do_not(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    bo = learner(app, code, "Bo")
    phrase = phrase_in(bo.post("/class/mine/phrase"))
    bo.post("/door/leave")
    guesser = Browser(app)
    assert [guesser.join(wrong, "x").status_code for wrong in wrong_codes(301)] == [422] * 300 + [429]
    for wrong in ("AAAA-BBBB-CCCC-" + "".join(each[-4:]) for each in wrong_codes(300)):
        guesser.post("/door/back", {"phrase": wrong})
    assert guesser.post("/door/back", {"phrase": phrase}).status_code == 429
    assert bo.post("/door/back", {"phrase": phrase}).status_code == 303


def test_a_known_browser_answers_for_its_own_failures(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    bo = learner(app, code, "Bo")
    assert [bo.join(wrong, "x").status_code for wrong in wrong_codes(21)] == [422] * 20 + [429]
    assert learner(app, code, "Ada")


def test_a_clock_put_back_makes_no_wait_longer(app: Flask, store: Store, clock: Clock) -> None:
    preceptor(app, store)
    for _ in range(6):
        Browser(app).sign_in(NAME, "wrong once more")
    clock.move(days=-3)
    assert Browser(app).sign_in().status_code == 429
    clock.move(seconds=2)
    assert Browser(app).sign_in().status_code == 303


def test_tries_are_counted_before_they_are_looked_at() -> None:
    """Many at once gain nothing: each is counted first, and forgiven only when it turns out well."""
    from quiz.classroom.throttle import Limit, TooManyTries, Tries

    tries, limits = Tries(), (Limit("code", "x", 2),)
    with tries.counted(limits, NOON), tries.counted(limits, NOON), pytest.raises(TooManyTries):  # noqa: SIM117
        with tries.counted(limits, NOON):
            pass
    with tries.counted(limits, NOON):
        pass


def test_what_is_remembered_of_failures_has_a_bound_and_an_end() -> None:
    from quiz.classroom import throttle

    tries = throttle.Tries()
    for number in range(throttle.MOST + 50):
        with suppress(ValueError), tries.counted((throttle.Limit("code", str(number), 20),), NOON):
            raise ValueError
    assert len(tries._times) == throttle.MOST
    assert tries.since("code", "1", 0.0, now=NOON + throttle.WINDOW) == 0
    assert tries._times == {}


# --- no address of a device is held ------------------------------------------------------------------------------


@pytest.mark.of_the_file("looks into a backup of the file")
def test_failed_tries_stand_neither_in_the_data_file_nor_in_a_backup(
    app: Flask, store: Store, data_file: DataFile, tmp_path: Path
) -> None:
    """“No address of a device” is held: not of those who fail, nor the names and codes that they tried."""
    preceptor(app, store)
    far = {"environ_base": {"REMOTE_ADDR": "198.51.100.77"}}
    client = app.test_client()
    client.post("/door/sign-in", data={"preceptor": "Someone Else", "password": PASSWORD}, headers=HERE, **far)
    client.post("/door/join", data={"code": "ZZZZ-2222", "name": "Quentin"}, headers=HERE, **far)
    client.get("/back/ZZZZ-2222-ZZZZ-2222", **far)
    copy = tmp_path / "copy.sqlite3"
    backup(data_file.path, copy)
    for text in ("198.51.100.77", "someone else", "ZZZZ-2222", "Quentin"):
        assert set(traces(data_file, text).values()) == {0}, text
        assert text.encode() not in copy.read_bytes(), text


# --- joins -------------------------------------------------------------------------------------------------------


def test_one_holder_of_a_code_does_not_fill_a_class_and_its_preceptor_is_told(
    app: Flask, store: Store, clock: Clock
) -> None:
    """The bounds at work are those that the page names: lower ones here, so that the test stays short."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    learner(app, code, "Ada")
    clock.move(seconds=3600)
    codes = [Browser(app).join(code, f"Ghost {place}").status_code for place in range(classes.MOST_FROM_ONE_ADDRESS)]
    assert set(codes) == {200}
    refused = Browser(app).join(code, "One more")
    assert refused.status_code == 429
    assert "joining is on hold: ask your preceptor" in refused.text
    page = owner.get(f"/class/{number}").text
    assert f"Many joined at once:</strong> {classes.MOST_FROM_ONE_ADDRESS} between" in page
    listed = owner.get(f"/class/{number}/people?show=together").text
    ticked = [line for line in listed.splitlines() if " checked" in line]
    assert len(ticked) == classes.MOST_FROM_ONE_ADDRESS
    assert not any("Ada" in line for line in ticked)
    ghosts = [str(one.learner) for one in roster_queries.members_of(store, number) if one.name != "Ada"]
    there = f"/class/{number}/people/remove"
    assert owner.post(there, {"learner": ghosts, "asked": "yes", "sure": "yes"}).status_code == 303
    assert [one.name for one in store.learners()] == ["Ada"]
    assert "Many joined at once" not in owner.get(f"/class/{number}").text
    assert Browser(app).join(code, "One more").status_code == 429, "the address has had its joins"
    owner.post(f"/class/{number}/know-joined")
    assert Browser(app).join(code, "One more").status_code == 200


def test_many_from_many_addresses_are_held_too_until_the_preceptor_knows_them_or_time_passes(
    app: Flask, store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(classes, "MOST_AT_ONCE", 6)
    owner = preceptor(app, store)
    number, code = make_class(owner)

    def join(place: int) -> int:
        form = {"code": code, "name": f"Learner {place}", "form": f"the form number {place}"}
        far = {"REMOTE_ADDR": f"198.51.100.{place}"}
        return app.test_client().post("/door/join", data=form, headers=HERE, environ_base=far).status_code

    assert [join(place) for place in range(7)] == [200] * 6 + [429]
    owner.post(f"/class/{number}/know-joined")
    clock.move(seconds=1)
    assert [join(place) for place in range(10, 17)] == [200] * 6 + [429]
    clock.move(seconds=901)
    assert join(20) == 200


def test_a_form_sent_again_is_no_further_join(app: Flask, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(classes, "MOST_FROM_ONE_ADDRESS", 1)
    _, code = make_class(preceptor(app, store))
    form = {"code": code, "name": "Ada", "form": "the only form there is"}
    assert [Browser(app).post("/door/join", dict(form)).status_code for _ in range(3)] == [200] * 3
    assert Browser(app).join(code, "Bo").status_code == 429
