"""Cookies: as Flask signs and refuses them, though each signature is checked only once."""

from __future__ import annotations

import time
from datetime import timedelta
from unittest.mock import patch

import pytest
from flask import Flask, session
from flask.sessions import SecureCookieSessionInterface

from quiz.web.cookies import Cookies

DAY = 86400.0


@pytest.fixture(params=[SecureCookieSessionInterface, Cookies], ids=["flask", "ours"])
def app(request: pytest.FixtureRequest) -> Flask:
    """Give an app whose page tells what its cookie holds: once with Flask's own sessions, once with ours."""
    return made_with(request.param)


def made_with(sessions: type[SecureCookieSessionInterface]) -> Flask:
    made = Flask("cookies")
    made.session_interface = sessions()
    made.secret_key = "a key of the test"  # noqa: S105
    made.config.update(PERMANENT_SESSION_LIFETIME=timedelta(days=365), SESSION_REFRESH_EACH_REQUEST=False)

    @made.get("/")
    def told() -> dict[str, object]:
        return dict(session)

    @made.get("/be/<int:number>")
    def be(number: int) -> str:
        session["learner"], session.permanent = number, True
        return "kept"

    @made.get("/nobody")
    def nobody() -> str:
        session.clear()
        return "kept"

    return made


def held(app: Flask, cookie: str) -> object:
    """Return the learner that a cookie tells of."""
    client = app.test_client(use_cookies=False)
    answer = client.get("/", headers={"Cookie": f"session={cookie}"})
    return answer.get_json().get("learner")


def cookie_of(app: Flask, number: int) -> str:
    client = app.test_client()
    client.get(f"/be/{number}")
    cookie = client.get_cookie("session")
    assert cookie is not None
    return str(cookie.value)


def test_a_cookie_tells_the_same_each_time(app: Flask) -> None:
    one, two = cookie_of(app, 1), cookie_of(app, 2)
    assert [held(app, text) for text in (one, two, one, one, two)] == [1, 2, 1, 1, 2]


def test_a_cookie_that_was_changed_or_signed_elsewhere_tells_nothing(app: Flask) -> None:
    good = cookie_of(app, 1)
    assert held(app, good) == 1
    body, *rest = good.split(".")
    other = cookie_of(app, 2).split(".")[0]
    for bad in (good[:-1], good + "A", ".".join((other, *rest)), body, "", "x", good.swapcase()):
        assert held(app, bad) is None
        assert held(app, bad) is None
    app.secret_key = "another key"  # noqa: S105
    elsewhere = cookie_of(app, 3)
    app.secret_key = "a key of the test"  # noqa: S105
    assert held(app, elsewhere) is None
    assert held(app, good) == 1


@pytest.mark.parametrize(("days", "holds"), [(0, True), (364, True), (366, False)])
def test_a_cookie_ends_with_its_time_though_it_was_known(app: Flask, days: int, holds: bool) -> None:
    good = cookie_of(app, 1)
    assert held(app, good) == 1
    later = time.time() + days * DAY
    with patch("time.time", lambda: later):
        assert held(app, good) == (1 if holds else None)


def test_lists_in_a_cookie_are_each_requests_own(app: Flask) -> None:
    """Flask's flashed messages are such a list."""

    @app.get("/grow")
    def grow() -> str:
        session.setdefault("list", []).append(1)
        session.modified = True
        return str(len(session["list"]))

    client = app.test_client()
    client.get("/grow")
    cookie = client.get_cookie("session")
    assert cookie is not None
    fresh = app.test_client(use_cookies=False)
    headers = {"Cookie": f"session={cookie.value}"}
    assert [fresh.get("/grow", headers=headers).text for _ in range(3)] == ["2", "2", "2"]


def test_what_one_request_changes_is_not_changed_for_the_next(app: Flask) -> None:
    good = cookie_of(app, 1)
    client = app.test_client(use_cookies=False)
    for url in ("/be/7", "/nobody"):
        client.get(url, headers={"Cookie": f"session={good}"})
        assert held(app, good) == 1


@pytest.mark.parametrize("back", [3, DAY, 400 * DAY])
def test_a_clock_put_back_signs_nobody_out(back: float) -> None:
    """Flask refuses a cookie from the future, three seconds of it as well: it was signed here all the same."""
    app = made_with(Cookies)
    good, now = cookie_of(app, 1), time.time()
    for known in (True, False):
        if not known:
            app.session_interface = Cookies()  # as after a restart: its signature is checked again
        with patch("time.time", lambda: now - back):
            assert held(app, good) == 1
