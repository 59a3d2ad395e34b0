"""Every route × every role × what it gives, where a class is served. A route that is not in the table fails.

Roles: nobody signed in; a learner of the class (whose things the addresses name); a learner of another class; a
stranger, who administers another school; another preceptor of this school; a reader and a co-teacher of the class; its
owner; who administers the installation, and who administers the school of the class, each a preceptor of another class.
The less may be done, the earlier a role asks, on one data file; the person who is turned away must leave it exactly as
it was.
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
from quiz.classroom import preceptors, schools
from quiz.classroom import sign_in as signing
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, all_rows, lots
from tests.quiz.class_people import PASSWORD, Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

ROLES = (
    *("nobody", "other learner", "other preceptor", "learner", "reader", "co-teacher", "preceptor"),
    *("stranger", "installer", "administrator"),
)
BELOW = 7
"""Rows of the table with this many codes say nothing of the last three, who then get what another preceptor gets."""

DOOR, CLASSES = "303 /door", "303 /class"
ALL = (200,) * 7
PRECEPTORS = (CLASSES,) * 3
KNOWN = (DOOR, *(200,) * 6)
LEARNERS = (DOOR, 200, CLASSES, 200, *PRECEPTORS)


def own(code: object) -> tuple[object, ...]:
    """Expect a learner's own thing: another's is not found, and a preceptor has none."""
    return DOOR, 404, CLASSES, code, *PRECEPTORS


def learners(code: object) -> tuple[object, ...]:
    return DOOR, code, CLASSES, code, *PRECEPTORS


def seen(code: object) -> tuple[object, ...]:
    """Expect something of a class that all its preceptors may look at."""
    return DOOR, DOOR, 404, DOOR, code, code, code


def done(code: object) -> tuple[object, ...]:
    """Expect something that changes a class: a reader may not."""
    return DOOR, DOOR, 404, DOOR, 403, code, code


def kept(code: object) -> tuple[object, ...]:
    """Expect what is its owner's alone."""
    return DOOR, DOOR, 404, DOOR, 403, 403, code


def installed(code: object, other: object = 404) -> tuple[object, ...]:
    """Expect what is for those who administer the installation alone."""
    return DOOR, DOOR, other, DOOR, other, other, other, other, code, other


def administered(code: object) -> tuple[object, ...]:
    """Expect what is for those who administer this very school alone; to all others it is not there."""
    return DOOR, DOOR, 404, DOOR, 404, 404, 404, 404, 404, code


def expected(key: str) -> tuple[object, ...]:
    """Return what each role gets."""
    codes = TABLE[key]
    return codes if len(codes) > BELOW else (*codes, *codes[2:3] * 3)


SEEN, DONE = seen(200), done(303)


S = "/school/<int:school_id>"
C, D = "/class/<int:class_id>", "/class/<int:class_id>/drill/<int:drill_id>"
TABLE: dict[str, tuple[object, ...]] = {
    "GET /static/<path:filename>": ALL,
    "GET /healthz": ALL,
    "GET /robots.txt": ALL,
    "GET /static/v-<version>/<path:filename>": ALL,
    # the door
    "GET /door": ALL,
    "POST /door/join": (422,) * 7,
    "GET /back/<phrase>": (404,) * 7,
    "POST /door/back": (422,) * 7,
    "POST /door/sign-in": (*(422,) * 5, *(429,) * 5),  # five wrong passwords for one name are free
    "POST /door/leave": (DOOR,) * 7,
    "POST /door/sign-out": (DOOR,) * 7,
    # what a learner does
    "GET /": LEARNERS,
    "GET /practise": (DOOR, 200, CLASSES, 303, *PRECEPTORS),
    "POST /start": (DOOR, 404, CLASSES, 404, *PRECEPTORS),
    "GET /start": learners(303),
    "GET /worked/<dealt_id>": own(303),
    "POST /worked/<dealt_id>": own(404),
    "GET /first-questions": LEARNERS,
    "POST /first-questions": learners(303),
    "GET /case/<dealt_id>": own("303 /drill/1"),
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
    "GET /drill/<int:drill_id>/started": own(200),
    "GET /drill/<int:drill_id>/sent": own(200),
    "POST /drill/<int:drill_id>/put-back": own(404),
    "GET /drill/<int:drill_id>/end": own(404),
    "POST /drill/<int:drill_id>/finish": own(404),
    "GET /recall": LEARNERS,
    "GET /recall/<group_id>": learners(303),
    "GET /recall/prompt/<recall_id>": own(404),
    "POST /recall/prompt/<recall_id>": own(404),
    "POST /recall/prompt/<recall_id>/mark": own(404),
    "GET /settings": LEARNERS,
    "POST /settings": learners(303),
    "POST /class/mine/phrase": (DOOR, 200, DOOR, 200, DOOR, DOOR, DOOR),
    "POST /class/mine/remove": (DOOR, 422, DOOR, 422, DOOR, DOOR, DOOR),
    # the bench, one's own numbers, the accuracy log
    "GET /bench": KNOWN,
    "GET /bench/seen": KNOWN,
    "GET /bench/guide/<int:number>": KNOWN,
    "GET /bench/guide/<int:number>/seen": KNOWN,
    "POST /bench/case": learners(303),
    "GET /bench/case": learners(303),
    "GET /bench/case/<dealt_id>": own("303 /drill/1"),
    "GET /bench/case/<dealt_id>/seen": (DOOR, 404, CLASSES, 404, *PRECEPTORS),
    # the whole examination
    "GET /examination": LEARNERS,
    "POST /examination": learners(303),
    "GET /examination/<examination_id>": own(303),
    "GET /examination/<examination_id>/<any(right, left):eye>": own(200),
    "GET /examination/<examination_id>/<any(right, left):eye>/seen": own(200),
    "GET /examination/<examination_id>/act": own(303),
    "GET /examination/<examination_id>/end": own(303),
    "POST /examination/<examination_id>/act": own(422),
    "GET /work-one-out": KNOWN,
    "GET /work-one-out/<type_id>": KNOWN,
    "POST /work-one-out/<type_id>/favourite": (DOOR, *(303,) * 6),
    "POST /work-one-out/forget": (DOOR, *(303,) * 6),
    "GET /day": LEARNERS,
    "POST /day": learners(200),
    "POST /day/read": learners(200),
    "POST /day/table.csv": learners(200),
    "GET /accuracy": LEARNERS,
    "GET /accuracy/add": LEARNERS,
    "POST /accuracy/add": learners(422),
    "GET /accuracy/read-as": KNOWN,
    "GET /accuracy/rows": LEARNERS,
    "POST /accuracy/rows": learners(303),
    "GET /accuracy/import": KNOWN,
    "POST /accuracy/import": (DOOR, *(422,) * 6),
    "POST /accuracy/import/take": (DOOR, *(422,) * 6),
    "POST /accuracy/clear": learners(422),
    "POST /accuracy/practise": learners(400),
    "GET /accuracy/log.csv": LEARNERS,
    "GET /progress": LEARNERS,
    "GET /progress/answers.csv": LEARNERS,
    "GET /progress/everything.jsonl": LEARNERS,
    "GET /progress/data": LEARNERS,
    "GET /progress/ready": LEARNERS,
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
    "GET /reference/types": KNOWN,
    "GET /reference/terms": KNOWN,
    "GET /reference/terms/<term_id>": (DOOR, *(404,) * 6),
    "GET /reference/slips": KNOWN,
    "GET /reference/evidence": KNOWN,
    "GET /reference/evidence/<strength_id>": KNOWN,
    # names are picked at one's own computer only
    "GET /people": (DOOR, *(CLASSES,) * 6),
    "POST /people": (DOOR, *(CLASSES,) * 6),
    "POST /people/<int:learner_id>/pick": (DOOR, *(CLASSES,) * 6),
    "POST /people/rename": (DOOR, *(CLASSES,) * 6),
    "POST /people/remove": (DOOR, *(CLASSES,) * 6),
    # the class
    "GET /class": KNOWN,
    "GET /class/drills": (DOOR, DOOR, 303, DOOR, 303, 303, 303),
    "GET /class/results": (DOOR, DOOR, 303, DOOR, 303, 303, 303),
    "POST /class": (DOOR, DOOR, 422, DOOR, 422, 422, 422),
    f"GET {C}": SEEN,
    f"POST {C}/code": DONE,
    f"POST {C}/asks": DONE,
    f"POST {C}/region": done(422),
    f"POST {C}/remove": kept(422),
    f"POST {C}/know-joined": DONE,
    # its people
    f"GET {C}/people": SEEN,
    f"POST {C}/people/add": done(422),
    f"POST {C}/people/asking": done(422),
    f"POST {C}/people/place": done(404),
    f"POST {C}/people/slips": done(422),
    f"POST {C}/people/group": done(422),
    f"POST {C}/people/extra-time": done(422),
    f"POST {C}/people/move": done(422),
    f"POST {C}/people/merge": done(422),
    f"POST {C}/people/drill": done(422),
    f"POST {C}/people/remove": done(422),
    f"GET {C}/people/file": SEEN,
    f"POST {C}/people/file": done(422),
    f"POST {C}/people/file/take": done(422),
    f"GET {C}/group/<int:number>": SEEN,
    f"POST {C}/group/<int:number>": done(422),
    f"POST {C}/group/from-results": done(404),
    # who looks after it
    f"GET {C}/keeping": kept(200),
    f"GET {C}/keeping/retention": kept(200),
    f"POST {C}/keeping/retention": kept(422),
    f"GET {C}/keeping/learner/<int:learner_id>/everything.jsonl": kept(200),
    f"POST {C}/keeping/name": kept(422),
    f"POST {C}/keeping/teachers": kept(422),
    f"POST {C}/keeping/hand-over": kept(422),
    # one of its learners
    f"POST {C}/learner/<int:learner_id>/phrase": done(200),
    f"POST {C}/learner/<int:learner_id>/name": done(422),
    f"POST {C}/learner/<int:learner_id>/remove": DONE,
    f"GET {C}/learner/<int:learner_id>": SEEN,
    # results
    f"GET {C}/results": SEEN,
    f"GET {C}/answers": SEEN,
    f"GET {C}/answer/<dealt_id>": SEEN,
    f"POST {C}/answer/<dealt_id>/remark": DONE,
    f"GET {C}/answers.csv": SEEN,
    f"GET {C}/statements.jsonl": SEEN,
    f"GET {C}/scores.csv": SEEN,
    f"GET {C}/compare": SEEN,
    # whole examinations set for the class
    f"GET {C}/examinations": SEEN,
    f"POST {C}/examinations": done(422),
    f"GET {C}/examinations/<int:number>": SEEN,
    f"GET {C}/examinations/<int:number>/log/<examination_id>": seen(404),
    f"GET {C}/examinations/<int:number>/sheet": SEEN,
    f"POST {C}/examinations/<int:number>/close": DONE,
    # drills
    f"GET {C}/drill/new": SEEN,
    f"POST {C}/drill": done(422),
    f"GET {D}": SEEN,
    f"GET {D}/edit": SEEN,
    f"POST {D}/edit": done(422),
    f"POST {D}/open": DONE,
    f"POST {D}/close": DONE,
    f"POST {D}/copy": DONE,
    f"POST {D}/let-in": done(404),
    f"POST {D}/remove": done(409),
    f"POST {D}/start": done(409),
    f"GET {D}/scores": SEEN,
    f"GET {D}/report": SEEN,
    f"GET {D}/late": SEEN,
    f"POST {D}/late": done(409),
    f"GET {D}/extensions": SEEN,
    f"POST {D}/extensions": done(422),
    f"GET {D}/try": seen(303),
    f"GET {D}/try/<int:number>": SEEN,
    f"GET {D}/try/<int:number>/seen": seen(404),
    f"POST {D}/try/<int:number>": seen(422),
    # cases that preceptors write
    f"GET {C}/cases": SEEN,
    f"GET {C}/cases/new/<type_id>": SEEN,
    f"POST {C}/cases/new/<type_id>": done(422),
    f"GET {C}/cases/<int:number>": SEEN,
    f"GET {C}/cases/<int:number>/change": SEEN,
    f"POST {C}/cases/<int:number>/change": done(422),
    f"POST {C}/cases/<int:number>/remove": done(409),
    # sets of drills and own cases
    f"GET {C}/set": SEEN,
    f"GET {C}/set/file.json": seen(422),
    f"POST {C}/set": done(422),
    f"POST {C}/set/take": done(422),
    # answers from paper
    f"GET {D}/paper": SEEN,
    f"GET {D}/paper/<int:learner_id>": seen(409),
    f"POST {D}/paper/<int:learner_id>": done(409),
    f"POST {D}/paper/<int:learner_id>/take-back": done(422),
    f"GET {C}/doubts.jsonl": SEEN,
    f"GET {D}/sheet": SEEN,
    f"GET {D}/cases.json": SEEN,
    f"GET {D}/qti-<version>.zip": SEEN,
    f"GET {D}/moodle.xml": SEEN,
    # last: nothing in an archived class is changed
    f"POST {C}/keeping/archive": kept(CLASSES),
    # course platforms: without https there are none (tests/quiz/lti has them)
    **dict.fromkeys(
        (
            *("GET /lti/jwks.json", "GET /lti/config", "GET /lti/register/<invitation>", "GET /lti/login"),
            *("POST /lti/login", "POST /lti/launch", "POST /lti/enter", "POST /lti/choose"),
            *("GET /lti/launch", "GET /lti/enter"),
        ),
        (404,) * 7,
    ),
    f"GET {C}/platform": SEEN,
    f"POST {C}/platform": done(422),
    f"POST {C}/platform/off": done(422),
    **dict.fromkeys(
        (
            *("GET /course/<int:course_id>", "POST /course/<int:course_id>", "POST /course/<int:course_id>/sign-in"),
            *("GET /course/<int:course_id>/link/<int:link_id>", "POST /course/<int:course_id>/link/<int:link_id>"),
        ),
        (DOOR, DOOR, 404, DOOR, 404, 404, 404),
    ),
    # the preceptors of this server
    "GET /preceptors": (DOOR, DOOR, 200, DOOR, 200, 200, 200),
    "POST /preceptors/<int:preceptor_id>/rename": installed(422, 403),
    "POST /preceptors/<int:preceptor_id>/remove": installed(422, 403),
    # the course platforms of this server
    "GET /platforms": installed(200),
    "POST /platforms": installed(422),
    "POST /platforms/invite": installed(422),
    "POST /platforms/<int:number>/state": installed(404),
    "POST /platforms/<int:number>/change": installed(404),
    "POST /platforms/<int:number>/remove": installed(404),
    # schools
    "GET /schools": installed(200),
    "POST /schools": installed(422),
    "POST /schools/<int:school_id>/name": installed(422),
    "POST /schools/<int:school_id>/invite": installed(422),
    "POST /schools/<int:school_id>/withdraw": installed(303),
    "POST /schools/<int:school_id>/remove": installed(422),
    "GET /schools/<int:school_id>/move": installed(422),
    "POST /schools/<int:school_id>/move": installed(422),
    f"GET {S}": administered(200),
    f"POST {S}/name": administered(422),
    f"POST {S}/invite": administered(422),
    f"POST {S}/withdraw": administered(303),
    f"POST {S}/hand-over": administered(422),
    f"POST {S}/preceptor/<int:preceptor_id>/administrator": administered(303),
    f"POST {S}/preceptor/<int:preceptor_id>/sign-out": administered(303),
    f"POST {S}/preceptor/<int:preceptor_id>/password": administered(200),
    f"POST {S}/preceptor/<int:preceptor_id>/remove": administered(422),
    f"GET {S}/<any(classes, preceptors, changes):which>.csv": administered(200),
    "GET /invitation/<secret>": (404,) * 7,
    "POST /invitation/<secret>": (404,) * 7,
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
    "course_id": "1",
    "link_id": "1",
    "invitation": "guess",
    "drill_id": "1",
    "learner_id": "1",
    "preceptor_id": "1",
    "school_id": "1",
    "secret": "guess",
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
        owner.post("/class/1/people/group", {"learner": "1", "new_group": "Monday"})
        teachers = {role: preceptor(app, store, f"A {role}") for role in ("co-teacher", "reader")}
        for number, role in enumerate(teachers, 3):
            owner.post("/class/1/keeping/teachers", {"preceptor": str(number), "role": role})
        others = others_above(app, store)
        case = {"title": "One", "gross": "+3.25", "distance_cm": "50 cm", "do": "save"}
        owner.post(f"/class/{class_id}/cases/new/net-sphere", case)
        set_drill(owner, class_id, type=["net-sphere"])
        set_drill(owner, class_id, opened=False, type=[], cases="1", own="1")
        ada.post("/drill/1/begin")
        done, _ = waiting_in(ada.get("/drill/1"), store)
        answer(ada, store, "/drill/1")
        waiting, _ = waiting_in(ada.get("/drill/1"), store)
        people = {
            "learner": ada,
            "other learner": bo,
            "preceptor": owner,
            "other preceptor": other,
            **teachers,
            **others,
        }
        owner.post("/class/1/examinations", {"title": "Two", "patient": ["vignette dev", "drawn infant"]})
        examined = ada.post("/examination", {"vignette": "dev"}).location.split("/")[2]
        cookies = {name: cookie_of(one) for name, one in people.items()}
    return Scene(path, {"done": done, "waiting": waiting, "examination": examined}, cookies, clock.at)


def others_above(app: Flask, store: Store) -> dict[str, Browser]:
    """Sign in who administers another school, the installation, and the school of the class; each has one class."""
    here = schools.one_or_named(store, None)
    there = schools.make(store, "Another school", by="Tove Lund", now=NOON)
    found = {}
    for role, school in {"stranger": there, "installer": here, "administrator": here}.items():
        signing.add_preceptor(store, f"The {role}", PASSWORD, now=NOON, school=school.id)
        who = preceptors.named(store, f"The {role}")
        if role == "installer":
            preceptors.make_administrator(store, who, now=NOON)
        else:
            with store.writing():
                schools.add_person(store, school, who, by="Tove Lund", now=NOON, administrator=True)
        found[role] = Browser(app)
        found[role].sign_in(f"The {role}")
        make_class(found[role], f"Class of the {role}")
    return found


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
        url = url.replace("<examination_id>", self.scene.ids["examination"]).replace("<any(right, left):eye>", "right")
        url = url.replace("<any(classes, preceptors, changes):which>", "classes")
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
        return all_rows(self.store)


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
    before: list[str] | None = None  # as it was left by the role before; None: that one may have changed something
    for role in ROLES:
        before = copied.everything() if before is None else before
        found.append(copied.asks(role, key))
        turned_away = found[-1] in (DOOR, CLASSES, 403, 404) and not key.startswith("POST /door")
        if key == f"POST {C}/keeping/archive" and role == "preceptor":
            turned_away = False  # it leads to the classes when it is done
        after = copied.everything() if turned_away else None
        left = left and after in (None, before)
        before = after
    assert dict(zip(ROLES, found, strict=True)) == dict(zip(ROLES, expected(key), strict=True))
    assert left, "someone who was turned away changed something"


def test_nobody_is_told_whether_a_page_exists(copied: Copy) -> None:
    for url in ("/nowhere", "/class/99", "/case/none", "/drill/99"):
        reply = Browser(copied.app).get(url)
        assert (reply.status_code, reply.location) == (303, "/door")


def test_scripts_are_told_plainly_that_nobody_is_signed_in(copied: Copy) -> None:
    url = f"/case/{copied.scene.ids['waiting']}/answer"
    reply = Browser(copied.app).post(url, {"answer-power": "+1.00"}, Accept="application/json")
    assert reply.status_code == 401
