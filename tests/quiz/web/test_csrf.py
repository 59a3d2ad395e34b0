"""Requests from elsewhere are refused, and every response says what a browser may do with it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import Client

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.web import assets
from quiz.web.csrf import HEADERS
from quiz.web.front.public_address import behind, read_address
from tests.conftest import Clock, lots

FORM = {"theme": "dark"}


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots())


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    visitor = app.test_client()
    visitor.get("/")
    return visitor


@pytest.mark.parametrize(
    ("headers", "code"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, 303),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}, 303),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "none"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"}, 403),
        ({"Origin": "http://localhost"}, 303),
        ({"Origin": "http://localhost:81"}, 403),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "http://localhost.elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({}, 403),
    ],
)
def test_where_a_change_comes_from(client: FlaskClient, headers: dict[str, str], code: int) -> None:
    """Fetch metadata (W3C), else Origin (RFC 6454) against Host; with a cookie one of the two must be there."""
    assert client.post("/settings", data=FORM, headers=headers).status_code == code


@pytest.mark.parametrize("method", ["put", "patch", "delete", "post"])
def test_every_unsafe_method_is_checked(client: FlaskClient, method: str) -> None:
    assert getattr(client, method)("/settings", headers={"Origin": "http://elsewhere.example"}).status_code == 403


def test_a_script_without_a_cookie_may(app: Flask) -> None:
    assert app.test_client().post("/settings", data=FORM).status_code == 303


@pytest.mark.parametrize("host", ["elsewhere.example", "localhost.elsewhere.example", "192.168.1.5"])
def test_another_hosts_name_is_refused(client: FlaskClient, host: str) -> None:
    """A name that was made to point here (DNS rebinding) is not ours."""
    page = client.get("/", headers={"Host": host})
    assert page.status_code == 400
    assert "does not answer to that host name" in page.text


PASSED_ON = [
    {"Forwarded": "for=192.0.2.9;proto=https"},
    {"X-Forwarded-For": "192.0.2.9"},
    {"X-Forwarded-Proto": "https"},
    {"X-Forwarded-Host": "school.example"},
    {"X-Real-IP": "192.0.2.9"},
    {"Via": "1.1 school"},
    {"Sec-Fetch-Site": "same-origin", "Referer": "https://school.example/retino/"},
]
"""RFC 7239 (Forwarded), RFC 9110 section 7.6.3 (Via); the X- headers are common practice, no published source."""


@pytest.mark.parametrize("headers", PASSED_ON, ids=lambda one: next(reversed(one)))
def test_what_another_web_server_passed_on_is_refused_where_one_person_is_served(
    client: FlaskClient, data_file: DataFile, headers: dict[str, str]
) -> None:
    """Every visitor would be the same learner there; the page says what to start in its place."""
    page = client.get("/", headers=headers)
    assert page.status_code == 403
    assert "This came by way of another web server" in page.text
    assert "python -m quiz serve --class" in page.text
    assert client.get("/").status_code == 200
    public = read_address("https://school.example/retino", 1)
    beyond = create_app(data_file, clock=Clock(), lots=lots(), hosts=None, beyond=True, public=public)
    assert Client(behind(beyond, public)).get("/", headers=headers).location == "/retino/door"


def test_a_server_that_speaks_as_servers_did_is_seen(client: FlaskClient) -> None:
    """Some web servers ask those behind them by HTTP/1.0, and send none of these headers unless told to."""
    page = client.get("/", environ_overrides={"SERVER_PROTOCOL": "HTTP/1.0"})
    assert page.status_code == 403
    posted = {"Sec-Fetch-Site": "same-origin", "Origin": "https://school.example"}
    assert client.post("/settings", data=FORM, headers=posted).status_code == 403


@pytest.mark.parametrize("host", ["localhost:8067", "127.0.0.1:8067"])
def test_our_own_names_are_answered(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("url", ["/", "/nowhere", "/reference", "/static/css/base.css", "/read-as?case=none"])
def test_headers(client: FlaskClient, url: str) -> None:
    page = client.get(url, buffered=True)
    assert {name: page.headers.get(name) for name in HEADERS} == HEADERS
    if url.startswith("/static"):
        assert page.headers["ETag"]
        assert page.headers["Cache-Control"] == "no-cache"
    else:
        assert page.headers["Cache-Control"] == "no-store"


def test_a_page_asks_for_its_files_where_a_browser_may_keep_them(client: FlaskClient, tmp_path: Path) -> None:
    asked = re.findall(r'(?:href|src)="(/static/[^"]+)"', client.get("/").text)
    assert len(asked) >= 6
    for url in asked:
        file = client.get(url, buffered=True)
        assert (file.status_code, file.headers["Cache-Control"]) == (200, assets.KEPT)
    older = client.get(re.sub(r"v-\w+", "v-0123456789", asked[0]), buffered=True)
    assert (older.status_code, older.headers["Cache-Control"]) == (200, "no-cache")
    names = set()
    for name, text in (("a.css", "x"), ("a.css", "y"), ("b.css", "y")):
        folder = tmp_path / f"{name} {text}"
        folder.mkdir()
        (folder / name).write_text(text)
        names.add(assets.version_of(str(folder)))
    assert len(names) == 3


def test_the_policy_lets_nothing_in_but_our_own() -> None:
    rules = dict(rule.split(" ", 1) for rule in HEADERS["Content-Security-Policy"].split("; "))
    assert rules.pop("default-src") == "'none'"
    assert set(rules.values()) <= {"'self'", "'none'"}
    assert {"form-action", "frame-ancestors", "base-uri"} <= set(rules)


def test_the_cookie_is_signed_and_out_of_reach_of_scripts(app: Flask) -> None:
    visitor = app.test_client()
    cookie = visitor.get("/").headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    kept = visitor.get_cookie("two-meridians")
    assert kept is not None
    visitor.set_cookie("two-meridians", kept.value[:-3] + "abc")
    visitor.post("/people", data={"name": "Bea"}, headers={"Origin": "http://localhost"})
    stranger = app.test_client()
    stranger.set_cookie("two-meridians", kept.value[:-3] + "abc")
    assert stranger.get("/").location == "/people", "a cookie that we did not sign says nothing"
