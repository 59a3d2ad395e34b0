"""Behind another web server: the address that the world sees, where requests come from, and what is refused."""

from __future__ import annotations

import http.client
import re
from contextlib import closing
from pathlib import Path

import pytest
from flask import Response, request
from werkzeug.test import Client

from quiz.app import class_app, create_app
from quiz.classroom import sign_in
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web import request_context
from quiz.web.front.public_address import BadAddress, PublicAddress, behind, read_address
from tests.conftest import Clock, lots
from tests.quiz.class_people import NAME, PASSWORD, Browser
from tests.quiz.web.test_server import quiz, serving, with_preceptor

PUBLIC = read_address("https://school.example/retinoscopy", 1)


@pytest.mark.parametrize(
    ("text", "url"),
    [
        ("https://school.example", "https://school.example"),
        ("https://school.example/", "https://school.example"),
        ("https://School.Example:443/retinoscopy/", "https://school.example/retinoscopy"),
        ("http://school.example:80/a/b", "http://school.example/a/b"),
        ("https://school.example:8443/a", "https://school.example:8443/a"),
        ("https://[2001:db8::1]:8443", "https://[2001:db8::1]:8443"),
        (" http://192.0.2.7:8080 ", "http://192.0.2.7:8080"),
    ],
)
def test_an_address_is_read_and_written_as_browsers_write_it(text: str, url: str) -> None:
    assert read_address(text, 1).url == url


@pytest.mark.parametrize(
    "text",
    [
        *("", "school.example", "//school.example", "ftp://school.example", "https://", "https:///path"),
        *("https://school.example?x=1", "https://school.example#x", "https://me@school.example", "https://a b"),
        *("https://school.example:99999", "https://school.example:x", "https://school.example/a b", "https://[::1"),
        *("https://school.example/../up", "https://school.example//twice", "https://school.example/a;b"),
        "https://school.example/" + "a/" * 20,
    ],
)
def test_what_is_no_address_is_refused_with_one_that_is(text: str) -> None:
    with pytest.raises(BadAddress, match="for example https://school"):
        read_address(text, 1)


def app_of(data_file: DataFile, public: PublicAddress = PUBLIC) -> tuple[Client, list[tuple[str, str, str]]]:
    """Return a visitor, and what the app takes each request for: its address, where it came from, who tried."""
    app = create_app(data_file, clock=Clock(), lots=lots(), hosts=None, beyond=True, public=public)
    seen: list[tuple[str, str, str]] = []

    @app.after_request
    def note(response: Response) -> Response:
        seen.append((request.url, request.remote_addr or "", request_context.caller().address))
        return response

    return Client(behind(app, public)), seen


@pytest.mark.parametrize("path", ["/retinoscopy/door", "/door"])
def test_the_path_may_come_with_its_beginning_or_without(data_file: DataFile, path: str) -> None:
    client, seen = app_of(data_file)
    assert client.get(path, headers={"Host": "127.0.0.1:8067"}).status_code == 200
    assert seen[0][0] == "https://school.example/retinoscopy/door"


@pytest.mark.parametrize(
    ("hops", "said", "address"),
    [
        (1, "192.0.2.9", "192.0.2.9"),
        (1, "198.51.100.1, 192.0.2.9", "192.0.2.9"),
        (2, "198.51.100.1, 192.0.2.9, 203.0.113.5", "192.0.2.9"),
        (2, "192.0.2.9", "127.0.0.1"),
        (1, None, "127.0.0.1"),
    ],
)
def test_where_a_request_comes_from_is_counted_from_the_end(
    data_file: DataFile, hops: int, said: str | None, address: str
) -> None:
    """What visitors write before it themselves is not believed, and tries to come in are counted by it."""
    client, seen = app_of(data_file, read_address("https://school.example", hops))
    headers = {} if said is None else {"X-Forwarded-For": said}
    client.get("/door", headers=headers, environ_overrides={"REMOTE_ADDR": "127.0.0.1"})
    assert seen[0][1:] == (address, address)


def test_nothing_that_a_visitor_sends_changes_the_address(data_file: DataFile) -> None:
    headers = {
        "Host": "evil.example",
        "X-Forwarded-Host": "evil.example",
        "X-Forwarded-Proto": "http",
        "X-Forwarded-Prefix": "/evil",
        "X-Forwarded-Port": "81",
        "Forwarded": "host=evil.example;proto=http",
    }
    page = app_of(data_file)[0].get("/retinoscopy/door", headers=headers)
    assert page.status_code == 200
    assert "evil" not in page.text
    assert set(re.findall(r'(?:href|src|action)="(/[^/"]*)', page.text)) == {"/retinoscopy"}


def test_cookies_are_for_its_path_and_for_https_alone(data_file: DataFile) -> None:
    with closing(Store(data_file)) as store:
        sign_in.add_preceptor(store, NAME, PASSWORD, now=0)
    client, _ = app_of(data_file)
    form = {"preceptor": NAME, "password": PASSWORD}
    page = client.post("/retinoscopy/door/sign-in", data=form, headers={"Origin": "https://school.example"})
    assert page.location == "/retinoscopy/class"
    cookie = page.headers["Set-Cookie"]
    assert "; Secure" in cookie
    assert "Path=/retinoscopy" in cookie
    elsewhere = client.post("/retinoscopy/door/sign-in", data=form, headers={"Origin": "http://school.example"})
    assert elsewhere.status_code == 403, "the scheme is part of where a form comes from"


def test_a_plain_address_has_plain_cookies(data_file: DataFile) -> None:
    assert not create_app(data_file, public=read_address("http://school.example", 1)).config["SESSION_COOKIE_SECURE"]
    assert create_app(data_file).config["SESSION_COOKIE_PATH"] == "/"


@pytest.mark.parametrize("name", ["Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto"])
def test_a_class_refuses_a_web_server_that_it_was_not_told_of(data_file: DataFile, name: str) -> None:
    """All who come that way would share one address, and one learner's wrong codes would lock the others out."""
    client = create_app(data_file, clock=Clock(), lots=lots(), hosts=None, beyond=True).test_client()
    page = client.get("/door", headers={name: "192.0.2.9"})
    assert page.status_code == 403
    assert "--behind-proxy 1 --address" in page.text
    assert client.get("/healthz", headers={name: "192.0.2.9"}).status_code == 200
    assert client.get("/door", headers={"Via": "1.1 a-learners-own-network"}).status_code == 200


def test_health_is_said_without_a_cookie_and_without_making_a_learner(data_file: DataFile) -> None:
    page = create_app(data_file).test_client().get("/healthz")
    assert (page.status_code, page.text, page.mimetype) == (200, "ok\n", "text/plain")
    assert "Set-Cookie" not in page.headers
    with closing(Store(data_file)) as store:
        assert list(store.learners()) == []


@pytest.mark.of_the_file("moves the file away")
def test_health_is_bad_while_the_data_file_is_not_there(data_file: DataFile) -> None:
    client = create_app(data_file).test_client()
    data_file.path.rename(data_file.path.with_suffix(".moved"))
    assert client.get("/healthz").status_code in (503, 507)


def test_search_engines_are_asked_to_read_nothing(data_file: DataFile) -> None:
    assert create_app(data_file).test_client().get("/robots.txt").text == "User-agent: *\nDisallow: /\n"


def test_the_app_for_another_server_can_stand_behind_one_too(tmp_path: Path) -> None:
    app = class_app(str(with_preceptor(tmp_path / "a.sqlite3")), "https://school.example/retinoscopy")
    assert Client(app).get("/").location == "/retinoscopy/door"


# --- the command -------------------------------------------------------------------------------------------------


def test_a_class_is_served_behind_a_web_server_and_says_where(tmp_path: Path) -> None:
    path = with_preceptor(tmp_path / "a.sqlite3")
    address = "https://school.example/retinoscopy"
    with serving("--data", path, QUIZ_CLASS="1", QUIZ_BEHIND_PROXY="1", QUIZ_ADDRESS=address) as (child, host, port):
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(2)]
        assert (
            "Learners come by https://school.example/retinoscopy/, which another web server must lead here.\n" in said
        )
        with closing(http.client.HTTPConnection(host, port, timeout=10)) as asked:
            asked.request("GET", "/retinoscopy/", headers={"X-Forwarded-For": "192.0.2.9"})
            assert asked.getresponse().getheader("Location") == "/retinoscopy/door"


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--class", "--behind-proxy", "1"], "--behind-proxy and --address go together"),
        (["--class", "--address", "https://school.example"], "--behind-proxy and --address go together"),
        (["--behind-proxy", "1", "--address", "https://school.example"], "--behind-proxy is for a class: add --class"),
        (["--class", "--behind-proxy", "0", "--address", "https://school.example"], "0 is not in the range 1<=x<=5"),
        (["--class", "--behind-proxy", "1", "--address", "school.example"], "address school.example: give the address"),
        (["--class", "--first-preceptor", "Ada"], "--first-preceptor and --first-password-file go together"),
        (
            ["--first-preceptor", "Ada", "--first-password-file", "none"],
            "--first-preceptor is for a class: add --class",
        ),
        (["--class", "--first-preceptor", "Ada", "--first-password-file", "none"], "password file none: no such file"),
    ],
)
def test_what_does_not_go_together_is_one_line(arguments: list[str], why: str, tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", "--data", tmp_path / "a.sqlite3", *arguments)
    assert found.returncode == 2
    assert why in found.stderr
    assert found.stderr.count("\n") == 1


def test_the_first_preceptor_comes_from_a_file_and_only_once(tmp_path: Path) -> None:
    path, secret = tmp_path / "a.sqlite3", tmp_path / "password"
    secret.write_text("ten characters and more\n")
    given = ("--class", "--data", path, "--first-preceptor", "Ada", "--first-password-file", secret)
    with serving(*given) as (_, host, port), closing(http.client.HTTPConnection(host, port, timeout=10)) as asked:
        asked.request("GET", "/")
        assert asked.getresponse().getheader("Location") == "/door"
    secret.write_text("something else entirely\n")
    with serving(*given), closing(DataFile.open(path)) as file:
        app = create_app(file, hosts=None, beyond=True)
        assert Browser(app).sign_in("Ada", "something else entirely").location != "/class"
        assert Browser(app).sign_in("Ada", "ten characters and more").location == "/class"


def test_a_password_that_is_too_short_is_refused(tmp_path: Path) -> None:
    secret = tmp_path / "password"
    secret.write_text("short\n")
    given = ("--class", "--data", tmp_path / "a.sqlite3", "--first-preceptor", "Ada", "--first-password-file", secret)
    found = quiz("serve", "--no-browser", *given)
    assert found.returncode == 2
    assert found.stderr.startswith("quiz: ")
    assert "password" in found.stderr
