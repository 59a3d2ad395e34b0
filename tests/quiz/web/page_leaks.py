"""No page says "from memory" or names a file of ours: every page for which there is a route is read.

`tests/browser/every_page.py` reads what is visible on the pages that links reach. Here the closed parts are read too,
and a page that is added and not read fails. It takes ten seconds of a processor, so `.ci/run` calls it by name:

    python -m pytest tests/quiz/web/page_leaks.py
"""

from __future__ import annotations

import re
from collections import Counter
from functools import partial

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.exceptions import HTTPException

from cases.procedure.case_type import Case
from quiz.app import create_app
from quiz.classroom import preceptors
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, deal, lots, slipped, written
from tests.leaks import leaks
from tests.quiz.accuracy.test_log_pages import EYE
from tests.quiz.class_people import NAME, Browser, learner, make_class, preceptor, set_drill, waiting_in

HERE = {"Origin": "http://localhost"}
LINK = re.compile(r'(?:href|src)="(/[^"#]*)')
ADDRESS = re.compile(r'(?:href|src|action|content)="[^"]{0,400}"')
A_KIND = 2
"""Pages of one route that are read where its pages differ in their data alone."""
WHOLE = {"reference.strength", "reference.term", "recall.group", "bench.guide"}
"""Routes of which every page is read: what is written on them differs."""
OF_A_CLASS = {
    "classes", "door", "drill_results", "drilling", "drills", "exports", "extensions", "keeping", "preceptors",
    "installation", "invitations", "own_cases", "paper", "platforms", "results", "roster", "roster_file", "schools",
    "set_examinations", "sets", "trying",
}  # fmt: skip
"""Areas that only a class has."""
OF_A_PLATFORM = {"lti", "courses"}
"""Areas that are there by https alone: tests/quiz/lti/test_coming_in.py reads them."""
ANSWERED = {"distance-vergence": "", "net-sphere": "always-one-fifty"}
"""Types of which a case is answered, each with the slip that is made in it, if any."""
OPENED = (
    "/settings", "/look-up?q=astigmatism", "/bench", "/bench/guide/1", "/work-one-out/two-spheres", "/people",
    "/accuracy", "/accuracy/rows", "/accuracy/log.csv", "/recall", "/progress/bring", "/progress/bring/take",
    "/progress/delete", "/progress/ready", "/sitting/1",
)  # fmt: skip
NO_PAGE = {
    "static", "asset", "bench.tell", "bench.tell_case", "bench.tell_guide", "trying.tell", "drilling.started",
    "drilling.sent", "practise.read_as", "accuracy.read_as", "examination.tell", "health.healthz", "health.robots",
}  # fmt: skip
"""What is no page: files of the app, what its scripts ask for, and what programs do."""


class Reader:
    """A browser without scripts that reads every page it opens, and what that page links to."""

    def __init__(self, app: Flask, client: FlaskClient) -> None:
        self.client = client
        self.routes = app.url_map.bind("localhost")
        self.read: Counter[str] = Counter()
        self.found: list[str] = []
        self.links: list[str] = []

    def endpoint(self, url: str) -> str:
        """Name the route of an address; empty where there is none."""
        try:
            return str(self.routes.match(url.partition("?")[0])[0])
        except HTTPException:
            return ""

    def open(self, url: str, form: dict[str, str] | None = None) -> str:
        """Open an address, or send a form to it; follow where it leads to, read the text and return it."""
        if form is None:
            self.read[self.endpoint(url)] += 1
            answer = self.client.get(url, follow_redirects=True)
        else:
            answer = self.client.post(url, data=form, headers=HERE, follow_redirects=True)
        at = answer.request.path
        self.read[self.endpoint(at)] += at != url.partition("?")[0]
        if not (answer.mimetype or "").startswith(("text/", "application/json")):
            return ""
        self.links += LINK.findall(answer.text)
        # An address is for the browser: a style sheet, a source's own page.
        self.found += [f"{at}: {one}" for one in leaks([ADDRESS.sub("", answer.text)])]
        return answer.text

    def follow(self) -> None:
        """Open what was linked to, a few of each kind, until nothing is new."""
        seen = set()
        while self.links:
            url = self.links.pop().replace("&amp;", "&")
            name = self.endpoint(url)
            if url not in seen and name and name not in NO_PAGE and (name in WHOLE or self.read[name] < A_KIND):
                seen.add(url)
                self.open(url)


def test_no_page_of_a_learner_leaks(data_file: DataFile, store: Store, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots())
    reader = Reader(app, app.test_client())
    use_alone(reader, store, clock)
    assert reader.found == []
    assert sorted(every(app) - set(reader.read)) == []


def test_no_page_of_a_class_leaks(data_file: DataFile, store: Store, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number)
    ada = Reader(app, learner(app, code, "Ada").client)
    take_drill(ada, store)
    owner.post(f"/class/{number}/examinations", {"title": "One", "patient": ["vignette dev"]})
    examined = examine(ada, set="1 0")
    case = {"title": "One", "gross": "+3.25", "distance_cm": "50 cm", "do": "save"}
    owner.post(f"/class/{number}/cases/new/net-sphere", case)
    marit = Reader(app, owner.client)
    come_in = Reader(app, Browser(app).client)
    come_in.open("/door")
    come_in.open("/back/of-nobody")
    set_drill(owner, number, title="Another")
    owner.post(f"/class/{number}/people/group", {"learner": "1", "new_group": "Monday"})
    preceptors.make_administrator(store, preceptors.named(store, NAME), now=clock())
    marit.open("/preceptors")
    marit.open("/platforms")
    marit.open("/schools", {"name": "Another school"})
    marit.open("/school/1/name", {"name": ""})
    marit.open("/schools/1/move?class=1&to=2")
    come_in.open(re.findall(r"/invitation/[\w-]+", marit.open("/school/1/invite", {"whom": "Rosa Lind"}))[0])
    come_in.open("/invitation/of-nobody")
    for page in (
        "group/1",
        "examinations/1",
        f"examinations/1/log/{examined}",
        "scores.csv",
        "drill/1/scores",
        "drill/1/late",
        "drill/1/try",
        "doubts.jsonl",
        "set/file.json?drill=1&case=1",
    ):
        marit.open(f"/class/{number}/{page}")
    marit.open("/class")
    marit.follow()
    assert ada.found + marit.found + come_in.found == []
    assert sorted(every(app, of_class=True) - {*ada.read, *marit.read, *come_in.read}) == []


def every(app: Flask, *, of_class: bool = False) -> set[str]:
    """Name every route of a page that an app for one person has, or those that a class has besides."""
    rules = {one.endpoint for one in app.url_map.iter_rules() if "GET" in (one.methods or ())} - NO_PAGE
    rules = {one for one in rules if one.partition(".")[0] not in OF_A_PLATFORM}
    theirs = {one for one in rules if one.partition(".")[0] in OF_A_CLASS}
    return theirs if of_class else rules - theirs


def use_alone(reader: Reader, store: Store, clock: Clock) -> None:
    """Use every page of someone who practises alone: what comes first, a case, a miss, and what a link reaches."""
    for url in ("/", "/first-questions", "/start", "/practise"):
        reader.open(url)
    person = store.learners()[0]
    with store.writing():
        store.change("UPDATE learners SET priors = '{}'")
    for type_id, slip in ANSWERED.items():
        clock.move(seconds=60)
        case = deal(store, person, type_id, seed=3, now=clock.at, wanted=partial(shows, slip))
        dealt = store.open_case(person.id)
        assert dealt is not None
        reader.open(f"/case/{dealt.id}/line", {"lines": "1"})
        texts = slipped(case, slip) if slip else written(case)
        reader.open(f"/case/{dealt.id}/answer", {f"answer-{name}": text for name, text in texts.items()})
        reader.open(f"/case/{dealt.id}/mistyped")
    deal(store, person, "two-spheres", seed=9, now=clock.at)
    with store.writing():
        store.change("DELETE FROM worked")
    assert "/worked/" in reader.open("/practise")
    reader.open("/accuracy/add", EYE)
    for url in OPENED:
        reader.open(url)
    reader.open(f"/worked/{getattr(store.open_case(person.id), 'id', '')}")
    at_bench = re.search(r"/bench/case/([\w-]+)", reader.open("/bench/case", {"sort": "short"}))
    reader.open("/bench/case")
    reader.open(f"/bench/case/{at_bench[1] if at_bench else ''}")
    examine(reader, vignette="dev")
    reader.follow()


def examine(reader: Reader, **patient: str) -> str:
    """Examine a patient, hand a record in, open every page of it, and return the examination's id."""
    begun = re.search(r"/examination/([\w-]+)", reader.open("/examination", patient))
    assert begun is not None
    for page in ("", "/right", "/left", "/act"):
        reader.open(f"/examination/{begun[1]}{page}")
    reader.open(f"/examination/{begun[1]}/act", {"do": "end", "end": "yes", "eye": "right"})
    reader.open(f"/examination/{begun[1]}/end")
    reader.open("/examination")
    return begun[1]


def shows(slip: str, case: Case) -> bool:
    """Say whether a slip, if any is wanted, gives a wrong answer to a case."""
    return not slip or case.shows(slip)


def take_drill(reader: Reader, store: Store) -> None:
    """Take a drill to its end, missing one case and saying of another that it is not known."""
    reader.open("/drill/1")
    reader.open("/drill/1/begin", {})
    for number in range(4):
        dealt, case = waiting_in(reader.client.get("/drill/1"), store)
        right = {f"answer-{name}": text for name, text in written(case).items()}
        reader.open(f"/case/{dealt}/dont-know" if number == 1 else f"/case/{dealt}/answer", right)
    reader.open("/drill/1/end")
