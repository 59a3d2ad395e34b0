"""Every route × every role × what it gives, where a class is served. A route that is not in the table fails.

Roles: nobody signed in; a learner of the class (whose things the addresses name); a learner of another class; the
preceptor whose class it is; another preceptor. The less may be done, the earlier a role asks, on one data file; whoever
is turned away must leave it exactly as it was.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

ROLES = ("nobody", "other learner", "other preceptor", "learner", "preceptor")

DOOR, CLASSES = "303 /door", "303 /class"
ALL = (200,) * 5
KNOWN = (DOOR, 200, 200, 200, 200)
LEARNERS = (DOOR, 200, CLASSES, 200, CLASSES)
OWNERS = (DOOR, DOOR, 404, DOOR, 200)
OWNERS_DO = (DOOR, DOOR, 404, DOOR, 303)


def own(code: object) -> tuple[object, ...]:
    """Expect a learner's own thing: another's is not found, and a preceptor has none."""
    return DOOR, 404, CLASSES, code, CLASSES


def learners(code: object) -> tuple[object, ...]:
    return DOOR, code, CLASSES, code, CLASSES


C, D = "/class/<int:class_id>", "/class/<int:class_id>/drill/<int:drill_id>"
TABLE: dict[str, tuple[object, ...]] = {
    "GET /static/<path:filename>": ALL,
    "GET /static/v-<version>/<path:filename>": ALL,
    # the door
    "GET /door": ALL,
    "POST /door/join": (422,) * 5,
    "GET /back/<phrase>": (404,) * 5,
    "POST /door/back": (422,) * 5,
    "POST /door/sign-in": (422,) * 5,
    "POST /door/leave": (DOOR,) * 5,
    "POST /door/sign-out": (DOOR,) * 5,
    # what a learner does
    "GET /": LEARNERS,
    "GET /practise": (DOOR, 200, CLASSES, 303, CLASSES),
    "POST /start": (DOOR, 404, CLASSES, 404, CLASSES),
    "GET /start": learners(303),
    "GET /worked/<dealt_id>": own(303),
    "POST /worked/<dealt_id>": own(404),
    "GET /first-questions": LEARNERS,
    "POST /first-questions": learners(303),
    "GET /case/<dealt_id>": own(303),
    "GET /case/<dealt_id>/answer": own(303),
    "GET /case/<dealt_id>/line": own(303),
    "GET /case/<dealt_id>/read": own(303),
    "POST /case/<dealt_id>/line": own(200),
    "POST /case/<dealt_id>/read": own(200),
    "POST /case/<dealt_id>/answer": own(303),
    "GET /case/<dealt_id>/dont-know": own(303),
    "POST /case/<dealt_id>/dont-know": own(303),
    "GET /case/<dealt_id>/doubt": own(303),
    "POST /case/<dealt_id>/doubt": own(404),
    "GET /case/<dealt_id>/mistyped": own(404),
    "POST /case/<dealt_id>/mistyped": own(404),
    "GET /read-as": own(200),
    "GET /sitting/<int:sitting_id>": own("303 /drill/1"),
    "POST /sitting/stop": learners(303),
    "GET /drill/<int:drill_id>": own(200),
    "POST /drill/<int:drill_id>/begin": own("303 /drill/1"),
    "GET /recall": LEARNERS,
    "GET /recall/<group_id>": learners(303),
    "GET /recall/prompt/<recall_id>": (DOOR, 404, CLASSES, 404, CLASSES),
    "POST /recall/prompt/<recall_id>": (DOOR, 404, CLASSES, 404, CLASSES),
    "POST /recall/prompt/<recall_id>/mark": (DOOR, 404, CLASSES, 404, CLASSES),
    "GET /settings": LEARNERS,
    "POST /settings": learners(303),
    "POST /class/mine/phrase": (DOOR, 200, DOOR, 200, DOOR),
    "POST /class/mine/remove": (DOOR, 422, DOOR, 422, DOOR),
    # the bench, one's own numbers, the accuracy log
    "GET /bench": KNOWN,
    "GET /bench/seen": KNOWN,
    "GET /bench/guide/<int:number>": KNOWN,
    "GET /bench/guide/<int:number>/seen": KNOWN,
    "POST /bench/case": learners(303),
    "GET /bench/case/<dealt_id>": own("303 /drill/1"),
    "GET /bench/case/<dealt_id>/seen": (DOOR, 404, CLASSES, 404, CLASSES),
    "GET /work-one-out": KNOWN,
    "GET /work-one-out/<type_id>": KNOWN,
    "GET /accuracy": LEARNERS,
    "GET /accuracy/add": LEARNERS,
    "POST /accuracy/add": learners(422),
    "GET /accuracy/read-as": KNOWN,
    "GET /accuracy/rows": LEARNERS,
    "POST /accuracy/rows": learners(303),
    "GET /accuracy/import": KNOWN,
    "POST /accuracy/import": (DOOR, 422, 422, 422, 422),
    "POST /accuracy/import/take": (DOOR, 422, 422, 422, 422),
    "POST /accuracy/clear": learners(422),
    "POST /accuracy/practise": learners(400),
    "GET /accuracy/log.csv": LEARNERS,
    "GET /progress": LEARNERS,
    "GET /progress/answers.csv": LEARNERS,
    "GET /progress/everything.jsonl": LEARNERS,
    "GET /progress/data": LEARNERS,
    "GET /progress/steps": LEARNERS,
    "GET /progress/weeks": LEARNERS,
    "GET /progress/sureness": LEARNERS,
    "GET /progress/everything.jsonl.gz": LEARNERS,
    "GET /progress/fading.ics": LEARNERS,
    "GET /progress/bring": LEARNERS,
    "POST /progress/bring": learners(422),
    "POST /progress/bring/take": learners(422),
    "GET /progress/bring/take": LEARNERS,
    "GET /progress/delete": LEARNERS,
    "POST /progress/delete": learners(422),
    # reading
    "GET /look-up": KNOWN,
    "GET /reference": KNOWN,
    "GET /reference/slips": KNOWN,
    "GET /reference/evidence": KNOWN,
    "GET /reference/evidence/<strength_id>": KNOWN,
    # names are picked at one's own computer only
    "GET /people": (DOOR, CLASSES, CLASSES, CLASSES, CLASSES),
    "POST /people": (DOOR, CLASSES, CLASSES, CLASSES, CLASSES),
    "POST /people/<int:learner_id>/pick": (DOOR, CLASSES, CLASSES, CLASSES, CLASSES),
    "POST /people/rename": (DOOR, CLASSES, CLASSES, CLASSES, CLASSES),
    "POST /people/remove": (DOOR, CLASSES, CLASSES, CLASSES, CLASSES),
    # the class
    "GET /class": KNOWN,
    "GET /class/drills": (DOOR, DOOR, 303, DOOR, 303),
    "GET /class/results": (DOOR, DOOR, 303, DOOR, 303),
    "POST /class": (DOOR, DOOR, 422, DOOR, 422),
    f"GET {C}": OWNERS,
    f"POST {C}/code": OWNERS_DO,
    f"POST {C}/remove": (DOOR, DOOR, 404, DOOR, 422),
    f"POST {C}/know-joined": OWNERS_DO,
    f"GET {C}/people": OWNERS,
    f"POST {C}/people/remove": (DOOR, DOOR, 404, DOOR, 422),
    f"POST {C}/learner/<int:learner_id>/phrase": OWNERS,
    f"POST {C}/learner/<int:learner_id>/remove": OWNERS_DO,
    f"GET {C}/learner/<int:learner_id>": OWNERS,
    f"GET {C}/results": OWNERS,
    f"GET {C}/answers": OWNERS,
    f"GET {C}/answer/<dealt_id>": OWNERS,
    f"GET {C}/answers.csv": OWNERS,
    f"GET {C}/statements.jsonl": OWNERS,
    f"GET {C}/drill/new": OWNERS,
    f"POST {C}/drill": (DOOR, DOOR, 404, DOOR, 422),
    f"GET {D}": OWNERS,
    f"GET {D}/edit": OWNERS,
    f"POST {D}/edit": (DOOR, DOOR, 404, DOOR, 422),
    f"POST {D}/open": OWNERS_DO,
    f"POST {D}/close": OWNERS_DO,
    f"POST {D}/copy": OWNERS_DO,
    f"POST {D}/let-in": (DOOR, DOOR, 404, DOOR, 404),
    f"POST {D}/remove": (DOOR, DOOR, 404, DOOR, 409),
    f"GET {D}/try": OWNERS_DO,
    f"GET {D}/try/<int:number>": OWNERS,
    f"GET {D}/try/<int:number>/seen": (DOOR, DOOR, 404, DOOR, 404),
    f"POST {D}/try/<int:number>": (DOOR, DOOR, 404, DOOR, 422),
    f"GET {C}/doubts.jsonl": OWNERS,
    f"GET {D}/sheet": OWNERS,
    f"GET {D}/cases.json": OWNERS,
    f"GET {D}/qti-<version>.zip": OWNERS,
}

ASKS = {
    "GET /read-as": "?case={waiting}&name=power&text=1",
}
FILLED = {
    "filename": "css/base.css",
    "strength_id": "common-practice",
    "phrase": "AAAA-BBBB-CCCC-DDDD",
    "group_id": "distance",
    "recall_id": "none",
    "type_id": "net-sphere",
    "version": "2.1",
    "number": "1",
    "class_id": "1",
    "drill_id": "1",
    "learner_id": "1",
    "sitting_id": "1",
}


@dataclass
class Scene:
    """A data file with two classes, the ids of things in it, and a cookie for every role."""

    path: Path
    ids: dict[str, str]
    cookies: dict[str, str]
    at: float


def cookie_of(browser: Browser) -> str:
    found = browser.client.get_cookie("two-meridians")
    assert found is not None
    return found.value


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    path = tmp_path_factory.mktemp("routes") / "class.sqlite3"
    clock = Clock()
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        app = create_app(file, clock=clock, lots=lots(), hosts=None, beyond=True)
        owner = preceptor(app, store)
        class_id, code = make_class(owner)
        ada = learner(app, code, "Ada")
        other = preceptor(app, store, "Jun Park")
        _, code = make_class(other, "Autumn 1")
        bo = learner(app, code, "Bo")
        set_drill(owner, class_id, type=["net-sphere"])
        ada.post("/drill/1/begin")
        done, _ = waiting_in(ada.get("/drill/1"), store)
        answer(ada, store, "/drill/1")
        waiting, _ = waiting_in(ada.get("/drill/1"), store)
        people = {"learner": ada, "other learner": bo, "preceptor": owner, "other preceptor": other}
        cookies = {name: cookie_of(one) for name, one in people.items()}
    return Scene(path, {"done": done, "waiting": waiting}, cookies, clock.at)


@dataclass
class Copy:
    """A scene of one's own."""

    app: Flask
    store: Store
    scene: Scene

    def asks(self, role: str, key: str) -> object:
        """Say what a role gets: a status, with the address for a redirect to the door or the classes."""
        method, rule = key.split(" ", 1)
        url = rule
        for name, value in FILLED.items():
            for kind in (f"<int:{name}>", f"<path:{name}>", f"<{name}>"):
                url = url.replace(kind, value)
        url = url.replace("<dealt_id>", self.scene.ids["done" if url.startswith("/class") else "waiting"])
        url += ASKS.get(key, "").format(**self.scene.ids)
        browser = Browser(self.app)
        if role != "nobody":
            browser.client.set_cookie("two-meridians", self.scene.cookies[role])
        form = {"answer-power": "+1.00"} if key.endswith("/answer") else {}
        reply = browser.get(url) if method == "GET" else browser.post(url, dict(form))
        reply.close()
        if reply.status_code == 303 and (reply.location in ("/door", "/class") or reply.location.startswith("/drill")):
            return f"303 {reply.location}"
        return reply.status_code

    def everything(self) -> list[str]:
        return [line for line in self.store._db.conn.iterdump() if "sqlite_" not in line]


@pytest.fixture
def copied(scene: Scene, tmp_path: Path) -> Iterator[Copy]:
    path = shutil.copy(scene.path, tmp_path / "copy.sqlite3")
    with closing(DataFile.open(Path(path))) as file, closing(Store(file)) as store:
        yield Copy(create_app(file, clock=Clock(scene.at), lots=lots(2), hosts=None, beyond=True), store, scene)


def routes(app: Flask) -> set[str]:
    return {
        f"{method} {rule.rule}"
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }


def test_every_route_is_in_the_table(copied: Copy) -> None:
    assert sorted(routes(copied.app) - set(TABLE)) == [], "say in TABLE who may ask for these"
    assert sorted(set(TABLE) - routes(copied.app)) == []


def test_a_new_route_would_be_noticed(copied: Copy) -> None:
    copied.app.add_url_rule("/planted", view_func=lambda: "")
    assert routes(copied.app) - set(TABLE) == {"GET /planted"}


@pytest.mark.parametrize("key", TABLE)
def test_who_gets_what(copied: Copy, key: str) -> None:
    found, left = [], True
    for role in ROLES:
        before = copied.everything()
        found.append(copied.asks(role, key))
        turned_away = found[-1] in (DOOR, CLASSES, 404) and not key.startswith("POST /door")
        left = left and (not turned_away or copied.everything() == before)
    assert dict(zip(ROLES, found, strict=True)) == dict(zip(ROLES, TABLE[key], strict=True))
    assert left, "someone who was turned away changed something"


def test_nobody_is_told_whether_a_page_exists(copied: Copy) -> None:
    for url in ("/nowhere", "/class/99", "/case/none", "/drill/99"):
        reply = Browser(copied.app).get(url)
        assert (reply.status_code, reply.location) == (303, "/door")


def test_scripts_are_told_plainly_that_nobody_is_signed_in(copied: Copy) -> None:
    url = f"/case/{copied.scene.ids['waiting']}/answer"
    reply = Browser(copied.app).post(url, {"answer-power": "+1.00"}, Accept="application/json")
    assert reply.status_code == 401
