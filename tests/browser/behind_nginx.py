"""A class behind nginx with TLS and a path before every address, by the file in `.deploy/`: two processes, a browser.

Needs nginx and openssl, so it is a command of its own: `python -m pytest -n 0 tests/browser/behind_nginx.py`.
"""

from __future__ import annotations

import re
import shutil
import socket
import ssl
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.quiz.class_people import NAME, PASSWORD
from tests.quiz.web.test_server import QUIZ, serving

ROOT = Path(__file__).resolve().parents[2]
NGINX = shutil.which("nginx") or "/usr/sbin/nginx"


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def configured(folder: Path, app: int, secure: int, plain: int) -> Path:
    """Write the configuration of `.deploy/` with this machine's ports, and a certificate that nobody trusts."""
    key, certificate = folder / "privkey.pem", folder / "fullchain.pem"
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
            *("-days", "1", "-subj", "/CN=localhost", "-keyout", str(key), "-out", str(certificate)),
        ],
        check=True,
        capture_output=True,
    )
    text = (ROOT / ".deploy" / "nginx.conf").read_text()
    for old, new in (
        ("127.0.0.1:8067", f"127.0.0.1:{app}"),
        ("listen 443 ssl", f"listen 127.0.0.1:{secure} ssl"),
        ("listen 80", f"listen 127.0.0.1:{plain}"),
        ("school.example", "localhost"),
        ("/etc/nginx/certificates", str(folder)),
    ):
        assert old in text, old
        text = text.replace(old, new)
    places = "".join(f"{one}_temp_path {folder}/{one};" for one in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
    whole = (
        f"daemon off; pid {folder}/pid; error_log {folder}/error.log; events {{}}\nhttp {{ access_log off; {places}\n"
    )
    path = folder / "nginx.conf"
    path.write_text(f"{whole}{text}}}\n")
    return path


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve a class behind nginx; yields the address that learners type, without a slash at the end."""
    folder = tmp_path_factory.mktemp("nginx")
    app, secure, plain = free_port(), free_port(), free_port()
    address = f"https://localhost:{secure}/retinoscopy"
    config = configured(folder, app, secure, plain)
    subprocess.run([NGINX, "-t", "-c", str(config)], check=True, capture_output=True)
    given = ("--class", "--behind-proxy", "1", "--address", address, "--port", str(app), "--data", folder / "a.sqlite3")
    two = ("--processes", "2")
    made = subprocess.run(
        [*QUIZ, "add-preceptor", NAME, "--data", str(folder / "a.sqlite3")],
        input=f"{PASSWORD}\n",
        text=True,
        check=True,
        capture_output=True,
    )
    assert "Added." in made.stdout
    with serving(*given, *two), subprocess.Popen([NGINX, "-c", str(config)]) as nginx:
        try:
            until = time.monotonic() + 20
            while not answers(f"{address}/healthz"):
                assert time.monotonic() < until
                time.sleep(0.1)
            yield address
        finally:
            nginx.terminate()


def unchecked() -> ssl.SSLContext:
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


def answers(url: str) -> bool:
    try:
        with closing(urllib.request.urlopen(url, context=unchecked(), timeout=5)) as page:
            return bool(page.status == 200)
    except OSError:
        return False


@pytest.fixture
def visitor(browser: Browser) -> Iterator[Page]:
    with closing(browser.new_context(ignore_https_errors=True, viewport={"width": 360, "height": 740})) as context:
        page = context.new_page()
        wrong: list[str] = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("requestfailed", lambda asked: wrong.append(f"{asked.url} {asked.failure}"))
        page.on("response", lambda got: wrong.append(f"{got.url} {got.status}") if got.status >= 400 else None)
        yield page
        assert wrong == []


def class_code(page: Page, school: str) -> str:
    """Sign in as preceptor, make a class, and return its code."""
    page.goto(f"{school}/door")
    page.get_by_label("Your name").fill(NAME)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{school}/class")
    page.get_by_label("What the class is called").fill("Spring 2")
    page.get_by_role("button", name="Make the class").click()
    return page.locator(".told.figures").first.inner_text()


def test_a_preceptor_makes_a_class_and_a_learner_practises(school: str, visitor: Page, browser: Browser) -> None:
    code = class_code(visitor, school)
    assert f"{school}/door" in visitor.locator("main").inner_text(), "the address to give to learners is the world's"
    with closing(browser.new_context(ignore_https_errors=True)) as context:
        learner = context.new_page()
        learner.goto(school)
        assert learner.url == f"{school}/door"
        learner.get_by_label("The code that your preceptor gave you").fill(code)
        learner.get_by_label("A name to go by in the class").fill("Imre")
        learner.get_by_label("This is a shared device").first.check()
        learner.get_by_role("button", name="Join").click()
        learner.wait_for_selector(".told")
        assert all(one["secure"] and one["path"] == "/retinoscopy" for one in context.cookies())
        learner.goto(f"{school}/practise")
        learner.get_by_role("button", name="I don’t know").click()
        learner.wait_for_url(re.compile(f"{re.escape(school)}/case/"))
        loaded = "document.fonts.ready.then(() => [...document.fonts].some((one) => one.status === 'loaded'))"
        assert learner.evaluate(loaded), "style sheets and the typeface come by the same path"
        other_tab = context.new_page()
        other_tab.goto(f"{school}/practise")
        other_tab.wait_for_url(f"{school}/door?closed=yes")


def test_two_forwarding_headers_of_a_visitor_are_dropped(school: str) -> None:
    asked = urllib.request.Request(
        f"{school}/door", headers={"X-Forwarded-For": "203.0.113.5", "Forwarded": "for=203.0.113.5;host=evil.example"}
    )
    with closing(urllib.request.urlopen(asked, context=unchecked(), timeout=10)) as page:
        assert page.status == 200
        assert "evil" not in page.read().decode()
