"""Nothing of one school is on a page, in a file or in an export that another school's people can reach.

Everything of the other school has a word in its name. Whatever a link leads to is read, ten seconds of a processor, so
`.ci/run` calls it by name:

    python -m pytest tests/quiz/web/school_leaks.py
"""

from __future__ import annotations

import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field

import pytest
from flask import Flask
from werkzeug.exceptions import HTTPException

from quiz.app import create_app
from quiz.classroom import preceptors, schools
from quiz.classroom import sign_in as signing
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.quiz.class_people import PASSWORD, Browser, answer, learner, make_class, set_drill

WORD = "Zyxwood"
LINK = re.compile(r'(?:href|src|action|formaction|value)="(/[^"#]{0,300})')
A_KIND = 3
"""Pages of one route that are read."""
ALSO = (
    *("/class", "/", "/look-up?q=zyxwood", "/look-up?q=class", "/preceptors", "/people", "/schools"),
    *("/class/1/doubts.jsonl", "/class/1/drill/1/late", "/class/1/platform"),
)


@dataclass
class Visitor:
    """Somebody who follows every link that they are shown, and saves every file."""

    app: Flask
    browser: Browser
    read: Counter[str] = field(default_factory=Counter)
    found: list[str] = field(default_factory=list)

    def follow(self, *begin: str) -> None:
        routes = self.app.url_map.bind("localhost")
        links, seen = list(begin), set[str]()
        while links:
            url = links.pop().replace("&amp;", "&")
            try:
                name = str(routes.match(url.partition("?")[0])[0])
            except HTTPException:
                continue
            if url in seen or name in ("static", "asset") or self.read[name] >= A_KIND:
                continue
            seen.add(url)
            self.read[name] += 1
            reply = self.browser.client.get(url, follow_redirects=True)
            text = content(reply.data, reply.mimetype)
            if WORD.casefold() in text.replace("q=zyxwood", "").casefold() and not url.startswith("/look-up"):
                self.found.append(url)
            if reply.mimetype == "text/html":
                links += LINK.findall(text)


def content(data: bytes, kind: str | None) -> str:
    """Return what stands in a reply, and in every file of one that is packed."""
    if kind == "application/zip":
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            return " ".join([*packed.namelist(), *(packed.read(one).decode("utf-8") for one in packed.namelist())])
    return data.decode("utf-8", "replace")


def fill(app: Flask, store: Store, owner: Browser, word: str) -> tuple[int, Browser]:
    """Give a preceptor a class with all that a class can have, the word in each name; its number and a learner."""
    number, code = make_class(owner, f"{word} class")
    at = f"/class/{number}"
    drill = set_drill(owner, number, title=f"{word} drill")
    set_drill(owner, number, title=f"{word} draft", opened=False)
    owner.post(f"{at}/examinations", {"title": f"{word} patients", "patient": ["vignette dev"]})
    case = {"title": f"{word} case", "gross": "+3.25", "distance_cm": "50 cm", "do": "save"}
    owner.post(f"{at}/cases/new/net-sphere", case)
    ada = learner(app, code, f"{word} learner")
    owner.post(f"{at}/people/add", {"name": f"{word} expected", "number": f"{word}-7"})
    one = store.fetch("SELECT learner FROM members WHERE class = ? AND learner IS NOT NULL", number)[0][0]
    owner.post(f"{at}/people/group", {"learner": str(one), "new_group": f"{word} group"})
    at_drill = f"/drill/{drill.rsplit('/', 1)[1]}"
    ada.post(f"{at_drill}/begin")
    for _ in range(4):
        answer(ada, store, at_drill)
    ada.post(f"{at_drill}/finish")
    begun = ada.post("/examination", {"vignette": "dev"})
    ada.post(f"{begun.location}/act", {"do": "end", "end": "yes", "eye": "right"})
    learner(app, code, f"{word} other")
    return number, ada


@dataclass(frozen=True)
class Several:
    """An installation of two schools."""

    app: Flask
    store: Store
    people: dict[str, Browser]


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Several]:
    path = tmp_path_factory.mktemp("schools") / "two.sqlite3"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        app = create_app(file, clock=Clock(), lots=lots(), hosts=None, beyond=True)
        here = schools.one_or_named(store, None)
        schools.rename(store, here, "Northfield", by="Test", now=NOON)
        there = schools.make(store, WORD, by="Test", now=NOON)
        people = {}
        for name, school, administers in (
            ("Ines Vale", here, True),
            ("Marit Osei", here, False),
            ("Jun Ito", here, False),
            (f"{WORD} head", there, True),
            (f"{WORD} preceptor", there, False),
        ):
            signing.add_preceptor(store, name, PASSWORD, now=NOON, school=school.id)
            who = preceptors.named(store, name)
            with store.writing():
                schools.add_person(store, school, who, by="Test", now=NOON, administrator=administers)
            people[name] = Browser(app)
            people[name].sign_in(name)
        number, ada = fill(app, store, people["Marit Osei"], "Northern")
        jun = preceptors.named(store, "Jun Ito")
        for role in ("reader", "co-teacher"):
            people["Marit Osei"].post(f"/class/{number}/keeping/teachers", {"preceptor": str(jun.id), "role": role})
        head = people[f"{WORD} head"]
        fill(app, store, people[f"{WORD} preceptor"], WORD)
        head.post(f"/school/{there.id}/invite", {"whom": f"{WORD} guest"})
        with store.writing():
            store.add("lti_registrations", {**platform(store), "name": f"{WORD} platform", "school": there.id})
        yield Several(app, store, people | {"Ada": ada})


def platform(store: Store) -> dict[str, object]:
    """Return a value for each column of a course platform that has to have one."""
    kinds = {"INTEGER": 0, "REAL": NOON, "TEXT": WORD}
    rows = store.fetch("SELECT name, type FROM pragma_table_info('lti_registrations') WHERE \"notnull\" = 1 AND pk = 0")
    return {str(row[0]): "active" if row[0] == "state" else kinds[str(row[1])] for row in rows}


ROLES = {"Marit Osei": 55, "Jun Ito": 50, "Ines Vale": 15, "Ada": 30}
"""Who looks, and how many routes they reach at least: fewer, and the test reads too little."""


@pytest.mark.parametrize("who", ROLES)
def test_nothing_of_another_school_is_to_be_seen(several: Several, who: str) -> None:
    visitor = Visitor(several.app, several.people[who])
    visitor.follow(*ALSO)
    assert visitor.found == []
    assert len(visitor.read) >= ROLES[who], sorted(visitor.read)


def test_who_is_of_the_other_school_sees_it(several: Several) -> None:
    """The word would be seen where there is something to be seen."""
    for who, least in ((f"{WORD} preceptor", 40), (f"{WORD} head", 4)):
        visitor = Visitor(several.app, several.people[who])
        visitor.follow(*ALSO)
        assert len(visitor.found) >= least, sorted(visitor.found)


def test_the_installation_is_told_of_schools_their_preceptors_and_platforms_alone(several: Several) -> None:
    preceptors.make_administrator(several.store, preceptors.named(several.store, "Ines Vale"), now=NOON)
    visitor = Visitor(several.app, several.people["Ines Vale"])
    visitor.follow(*ALSO)
    assert {one.split("/")[1] for one in visitor.found} == {"platforms", "preceptors", "schools"}
