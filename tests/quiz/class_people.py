"""A class for tests: a preceptor, learners who join it, and drills, through the pages as browsers without scripts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from cases.procedure.case_type import Case
from quiz.classroom import sign_in as signing
from quiz.practice import dealing
from quiz.storage.store import Store
from tests.conftest import NOON, written

HERE = {"Origin": "http://localhost"}
PASSWORD = "a streak at ninety"  # noqa: S105 - of a preceptor who exists in tests only
NAME = "Marit Osei"


@dataclass
class Browser:
    """One browser, without scripts."""

    app: Flask
    client: FlaskClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = self.app.test_client()

    def get(self, url: str) -> TestResponse:
        return self.client.get(url)

    def post(self, url: str, data: Mapping[str, object] | None = None, **headers: str) -> TestResponse:
        return self.client.post(url, data=dict(data or {}), headers={**HERE, **headers})

    def sign_in(self, name: str = NAME, password: str = PASSWORD) -> TestResponse:
        return self.post("/door/sign-in", {"preceptor": name, "password": password})

    def join(self, code: str, name: str) -> TestResponse:
        form = re.search(r'name="form" value="([^"]+)"', self.get("/door").text)
        assert form is not None
        return self.post("/door/join", {"code": code, "name": name, "form": form.group(1)})


def phrase_in(page: TestResponse) -> str:
    found = re.search(r'class="told">([^<]+)<', page.text)
    assert found is not None
    return found.group(1)


def preceptor(app: Flask, store: Store, name: str = NAME) -> Browser:
    """Sign a new preceptor in."""
    signing.add_preceptor(store, name, PASSWORD, now=NOON)
    browser = Browser(app)
    assert browser.sign_in(name).location == "/class"
    return browser


def make_class(browser: Browser, name: str = "Spring 2") -> tuple[int, str]:
    """Make a class; its number and its code."""
    made = browser.post("/class", {"name": name})
    number = int(made.location.rsplit("/", 1)[1])
    code = re.search(r'class="told figures">([^<]+)<', browser.get(made.location).text)
    assert code is not None
    return number, code.group(1)


def learner(app: Flask, code: str, name: str) -> Browser:
    """Let a learner join."""
    browser = Browser(app)
    assert browser.join(code, name).status_code == 200
    return browser


def close_joining(browser: Browser, class_id: int) -> None:
    """Let nobody else join by the code."""
    assert browser.post(f"/class/{class_id}/code", {"code": "none"}).status_code == 303


def on_roster(app: Flask, browser: Browser, class_id: int, name: str, number: str = "") -> Browser:
    """Add a learner to the roster by hand, and let them come in by their slip."""
    assert browser.post(f"/class/{class_id}/people/add", {"name": name, "number": number}).status_code == 303
    ids = re.findall(r'name="learner" value="(\d+)"', browser.get(f"/class/{class_id}/people").text)
    slips = browser.post(f"/class/{class_id}/people/slips", {"learner": max(ids, key=int)})
    phrase = re.search(r'class="slip-phrase figures">([^<]+)<', slips.text)
    assert phrase is not None
    came = Browser(app)
    assert came.post("/door/back", {"phrase": phrase.group(1)}).location == "/"
    return came


DRILL: Mapping[str, object] = {
    "type": ["net-sphere", "two-spheres"],
    "level": "competent",
    "form": "minus",
    "distance_cm": "67",
    "cases": "4",
    "same": "same",
    "feedback": "once",
    "title": "Net from gross",
}


def set_drill(browser: Browser, class_id: int, *, opened: bool = True, **other: object) -> str:
    """Set a drill and open it; its address among the preceptor's pages."""
    made = browser.post(f"/class/{class_id}/drill", {**DRILL, **other})
    assert made.status_code == 303, made.text
    if opened:
        assert browser.post(f"{made.location}/open").status_code == 303
    return str(made.location)


def waiting_in(page: TestResponse, store: Store) -> tuple[str, Case]:
    """Find the case on a page: the id that it was dealt under, and the case."""
    found = re.search(r'data-case="([^"]+)"', page.text)
    assert found is not None, page.text
    dealt = store.dealt(found.group(1))
    assert dealt is not None
    return dealt.id, dealing.case_of(dealt)


def case_page(browser: Browser, url: str = "/practise") -> TestResponse:
    """Open the page of the case that waits at an address, past questions, prompts and worked examples."""
    return reach_case(browser.client, url)


def reach_case(client: FlaskClient, url: str = "/practise") -> TestResponse:
    """Open the page of the case that waits, past questions, prompts and worked examples."""
    for _ in range(4):
        page = client.get(url)
        detour = re.search(r'"(/first-questions|/recall/prompt/[\w-]+|/worked/[\w-]+)"', page.text)
        if not detour:
            break
        client.post(detour.group(1), data={"skip": "yes", "later": "yes"}, headers=HERE)
    return page


def answer(browser: Browser, store: Store, url: str, texts: dict[str, str] | None = None) -> TestResponse:
    """Answer the case that waits at an address: rightly unless told otherwise."""
    dealt, case = waiting_in(case_page(browser, url), store)
    form = {f"answer-{name}": text for name, text in (texts or written(case)).items()}
    return browser.post(f"/case/{dealt}/answer", dict(form))
