"""Schools above classes: each sees its own, who administers what, invitations taken once, what follows a school."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from flask import Flask
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from quiz import __main__ as commands
from quiz.app import create_app
from quiz.classroom import class_moves, classes, preceptors, schools
from quiz.classroom import sign_in as signing
from quiz.classroom.classes import BadSchool
from quiz.classroom.preceptors import NotRemoved, UnknownPreceptor
from quiz.classroom.roster import CannotMove, put_into
from quiz.errors import QuizError
from quiz.practice.names import BadName
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Preceptor
from quiz.storage.datafile import Damaged, DataFile
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import School
from quiz.storage.organisation.school_schema import ACTS
from quiz.storage.platform import lti_queries
from quiz.storage.safekeeping import gone_list
from quiz.storage.safekeeping.backups import restore
from quiz.storage.safekeeping.checks import check
from quiz.storage.safekeeping.salvage import salvage
from quiz.storage.safekeeping.timetable import Timetable
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.fixtures.make import HERE, made
from tests.quiz.class_people import PASSWORD, Browser, answer, learner, make_class, set_drill
from tests.quiz.web.school_leaks import platform
from tests.quiz.web.test_server import quiz

DAY = 86400.0


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@dataclass
class Two:
    """Northfield with its administrator Ines and preceptors Marit and Jun; Southgate with its own, Tove."""

    app: Flask
    store: Store
    clock: Clock
    path: Path
    north: School
    south: School
    people: dict[str, Browser]

    def who(self, name: str) -> Preceptor:
        return preceptors.named(self.store, name)

    def number(self, name: str) -> int:
        return self.who(name).id

    def post(self, name: str, url: str, form: Mapping[str, object] | None = None) -> TestResponse:
        return self.people[name].post(f"/school/{self.north.id}{url}", form)

    def page(self, name: str = "Ines") -> str:
        reply = self.people[name].get(f"/school/{self.north.id}")
        assert reply.status_code == 200
        return words(reply.text)

    def changes(self) -> list[str]:
        return [schools.in_words(one) for one in school_queries.changes_of(self.store, self.north.id, 100)]

    def invited(self, whom: str = "Rosa Lind", **form: object) -> str:
        """Let Ines invite somebody; the address of the link."""
        page = self.post("Ines", "/invite", {"whom": whom, **form})
        assert page.status_code == 200
        return link_in(page)

    def take(self, link: str, name: str = "Rosa Lind", password: str = PASSWORD, **form: object) -> TestResponse:
        """Take an invitation in a browser of its own."""
        browser = self.people[name] = Browser(self.app)
        return browser.post(link, {"name": name, "password": password, "again": password, "do": "new", **form})


def words(text: str) -> str:
    return " ".join(re.sub(r"<[^>]{0,500}>", " ", text).split())


def link_in(page: TestResponse) -> str:
    found = re.search(r"http://localhost(/invitation/[\w-]+)<", page.text)
    assert found is not None
    return found.group(1)


@dataclass(frozen=True)
class Ready:
    """The file of `Two`, as it is copied for each test: passwords are hashed once."""

    path: Path
    cookies: dict[str, str]


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Ready:
    path, cookies = tmp_path_factory.mktemp("schools") / "two.sqlite3", {}
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        app = create_app(file, clock=Clock(), lots=lots(), hosts=None, beyond=True)
        north = schools.one_or_named(store, None)
        schools.rename(store, north, "Northfield", by="Test", now=NOON)
        south = schools.make(store, "Southgate", by="Test", now=NOON)
        for name, school in {"Ines": north, "Marit": north, "Jun": north, "Tove": south}.items():
            signing.add_preceptor(store, name, PASSWORD, now=NOON, school=school.id)
            with store.writing():
                administers, who = name in ("Ines", "Tove"), preceptors.named(store, name)
                schools.add_person(store, school, who, by="Test", now=NOON, administrator=administers)
            browser = Browser(app)
            browser.sign_in(name)
            cookie = browser.client.get_cookie("two-meridians")
            assert cookie is not None
            cookies[name] = cookie.value
    return Ready(path, cookies)


@pytest.fixture
def two(ready: Ready, tmp_path: Path) -> Iterator[Two]:
    path, clock = Path(shutil.copy(ready.path, tmp_path / "two.sqlite3")), Clock()
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        app = create_app(file, clock=clock, lots=lots(), hosts=None, beyond=True)
        people = {name: Browser(app) for name in ready.cookies}
        for name, browser in people.items():
            browser.client.set_cookie("two-meridians", ready.cookies[name])
        north, south = school_queries.schools(store)
        yield Two(app, store, clock, path, north, south, people)


# --- one school shows nothing new --------------------------------------------------------------------------------


def test_a_file_with_one_school_shows_nobody_the_word(app: Flask, store: Store) -> None:
    signing.add_preceptor(store, "Marit", PASSWORD, now=NOON)
    marit = Browser(app)
    marit.sign_in("Marit")
    number, code = make_class(marit)
    ada = learner(app, code, "Ada")
    for browser, urls in ((marit, ("/class", f"/class/{number}", f"/class/{number}/keeping")), (ada, ("/", "/class"))):
        for url in urls:
            assert "school" not in words(browser.get(url).text).casefold(), url


@pytest.mark.parametrize("older", ["m002_classes", "m029_course_platforms", "m016_bench"])
def test_what_an_older_file_holds_is_of_one_school(older: str, tmp_path: Path) -> None:
    fixture = next(one for one in sorted(HERE.glob("*.sql")) if one.stem >= older)
    path = made(fixture.read_text(encoding="utf-8"), tmp_path / "older.sqlite3")
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        only = school_queries.only_school(store)
        assert only is not None
        everyone = {one.id for one in roster_queries.preceptors(store)}
        assert everyone == {one.id for one in school_queries.preceptors_of_school(store, only.id)}
        assert {row[0] for row in store.fetch("SELECT school FROM classes")} <= {only.id}
        assert store.fetch("SELECT count(*) FROM classes WHERE school IS NULL")[0][0] == 0
    assert all(one.good for one in check(path))


# --- each sees its own -------------------------------------------------------------------------------------------


def test_a_stranger_s_school_is_as_if_it_were_not_there(two: Two) -> None:
    tove = two.people["Tove"]
    theirs, none = tove.get(f"/school/{two.north.id}"), tove.get("/school/99")
    assert theirs.status_code == none.status_code == 404
    assert theirs.text == none.text
    assert "Northfield" not in tove.get("/class").text
    assert "There is no page of that address." in tove.get("/school/nowhere-of-ours").text
    assert "There is no page of that address." in theirs.text


def test_an_administrator_sees_classes_and_nothing_that_was_answered(two: Two) -> None:
    number, code = make_class(two.people["Marit"])
    set_drill(two.people["Marit"], number, type=["net-sphere"])
    ada = learner(two.app, code, "Ada Byron")
    ada.post("/drill/1/begin")
    answer(ada, two.store, "/drill/1")
    page = two.page()
    assert re.search(r"Spring 2 1 learner; last practised \w+ \d+ \w+ \d{4}; Marit", page), page
    assert "Ada" not in page
    assert "what learners answered is seen by the preceptors of their class alone" in page
    ines = two.people["Ines"]
    for url in ("", "/results", "/answers.csv", "/people", "/scores.csv", "/keeping", "/drill/1"):
        assert ines.get(f"/class/{number}{url}").status_code == 404, url
    files = [ines.get(f"/school/{two.north.id}/{which}.csv").text for which in ("classes", "preceptors", "changes")]
    assert not any("Ada" in one for one in files)
    rows = list(csv.DictReader(io.StringIO(files[0].lstrip("\ufeff"))))
    assert (rows[0]["class"], rows[0]["owner"], rows[0]["learners"]) == ("Spring 2", "Marit", "1")
    two.people["Marit"].post(f"/class/{number}/keeping/teachers", {"preceptor": two.number("Ines"), "role": "reader"})
    assert ines.get(f"/class/{number}/results").status_code == 200, "a reader of the class, as anyone may be made"


def test_people_of_a_class_are_of_its_school(two: Two) -> None:
    marit = two.people["Marit"]
    number, _ = make_class(marit)
    keeping = f"/class/{number}/keeping"
    assert "Tove" not in marit.get(keeping).text
    tove = str(two.number("Tove"))
    nobody = marit.post(f"{keeping}/teachers", {"preceptor": "999", "role": "reader"})
    refused = marit.post(f"{keeping}/teachers", {"preceptor": tove, "role": "reader"})
    assert refused.status_code == nobody.status_code == 422
    assert words(refused.text) == words(nobody.text)
    assert marit.post(f"{keeping}/hand-over", {"preceptor": tove, "sure": "yes"}).status_code == 422
    one = classes.own(two.store, two.who("Marit"), number)
    with pytest.raises(UnknownPreceptor):
        preceptors.give_role(two.store, one, two.who("Tove"), "reader", by="Marit", now=NOON)
    with pytest.raises(UnknownPreceptor):
        preceptors.hand_over(two.store, one, two.who("Tove"), by="Marit", now=NOON)
    assert two.people["Tove"].get(f"/class/{number}").status_code == 404


def test_a_preceptor_sees_those_of_their_own_schools(two: Two) -> None:
    marit = two.people["Marit"]
    page = words(marit.get("/preceptors").text)
    assert "Northfield Ines administrator Jun Marit" in page
    assert "Tove" not in page
    assert "Who else teaches here" in words(marit.get("/class").text)
    with two.store.writing():
        schools.add_person(two.store, two.south, two.who("Marit"), by="Test", now=NOON)
    assert "Southgate Marit Tove administrator" in words(marit.get("/preceptors").text)
    assert "Tove" not in two.people["Jun"].get("/preceptors").text
    assert two.people["Jun"].post(f"/preceptors/{two.number('Marit')}/rename", {"name": "M"}).status_code == 403


def test_the_installation_sees_all_preceptors_and_hands_classes_on_within_a_school(two: Two) -> None:
    make_class(two.people["Marit"])
    make_class(two.people["Tove"], "Autumn 1")
    preceptors.make_administrator(two.store, two.who("Jun"), now=NOON)
    page = two.people["Jun"].get("/preceptors").text
    assert "Southgate. Owns Autumn 1." in words(page)
    marit = page.split(f'id="to-{two.number("Marit")}"')[1].split("</select>")[0]
    assert words(f"<x {marit}") == "choose Ines Jun"


def test_a_learner_is_of_one_school(two: Two) -> None:
    """Results of a class show all practice of its learners: in two schools, one would see what the other set."""
    marit, tove = two.people["Marit"], two.people["Tove"]
    here, code = make_class(marit)
    there, other_code = make_class(tove, "Autumn 1")
    second, _ = make_class(marit, "Spring 3")
    ada = learner(two.app, code, "Ada")
    form = re.search(r'name="form" value="([^"]+)"', ada.get("/door").text)
    assert form is not None
    refused = ada.post("/door/join", {"code": other_code, "name": "", "form": form.group(1), "as": "me"})
    assert refused.status_code == 422
    assert "that class is of another school" in refused.text
    assert roster_queries.members_of(two.store, there) == []
    with two.store.writing():  # a preceptor of both schools is offered the classes of one
        school_queries.keep_person(two.store, two.south.id, two.number("Marit"), NOON)
        roster_queries.keep_teacher(two.store, there, two.number("Marit"), "co-teacher", NOON)
    offered = marit.get(f"/class/{here}/people").text
    assert "Spring 3" in offered
    assert "Autumn 1" not in offered
    one, other = (classes.own(two.store, two.who("Marit"), number) for number in (here, there))
    with pytest.raises(CannotMove, match="another school"):
        put_into(two.store, one, other, {1}, stay=False, now=NOON)
    assert marit.post(f"/class/{here}/people/move", {"learner": "1", "to_class": str(there)}).status_code == 422
    assert marit.post(f"/class/{here}/people/move", {"learner": "1", "to_class": str(second)}).status_code == 303
    assert learner(two.app, other_code, "Ada").get("/").status_code == 200, "under a name of its own"


def test_a_preceptor_of_two_schools_says_whose_a_class_is(two: Two) -> None:
    with two.store.writing():
        schools.add_person(two.store, two.south, two.who("Marit"), by="Test", now=NOON)
    marit = two.people["Marit"]
    assert "Of which school" in words(marit.get("/class").text)
    refused = marit.post("/class", {"name": "Spring 2", "school": ""})
    assert (refused.status_code, "choose whose class it is" in refused.text) == (422, True)
    made_ = marit.post("/class", {"name": "Spring 2", "school": str(two.south.id)})
    number = int(made_.location.rsplit("/", 1)[1])
    found = class_queries.class_of_id(two.store, number)
    assert found is not None
    assert found.school == two.south.id
    assert "Spring 2" not in two.page()
    assert "; Southgate" in words(marit.get("/class").text)
    assert two.people["Jun"].post("/class", {"name": "A", "school": str(two.south.id)}).status_code == 422
    with pytest.raises(BadSchool):
        classes.make(two.store, two.who("Jun"), "A", now=NOON, lots=lots(), school=two.south.id)


# --- what an administrator does ----------------------------------------------------------------------------------


def test_a_class_is_handed_over_and_that_is_written_down(two: Two) -> None:
    number, _ = make_class(two.people["Marit"])
    jun = str(two.number("Jun"))
    assert two.post("Ines", "/hand-over", {"class": str(number), "to": jun}).status_code == 303
    assert two.people["Jun"].get(f"/class/{number}/keeping").status_code == 200
    assert two.people["Marit"].get(f"/class/{number}/keeping").status_code == 403, "the owner before is co-teacher"
    assert two.changes()[0] == "Ines handed “Spring 2” over to Jun"
    assert "Ines handed “Spring 2” over to Jun" in two.page()
    for to in (jun, str(two.number("Tove")), "999", ""):
        assert two.post("Ines", "/hand-over", {"class": str(number), "to": to}).status_code == 422
    theirs, _ = make_class(two.people["Tove"], "Autumn 1")
    assert two.post("Ines", "/hand-over", {"class": str(theirs), "to": jun}).status_code == 422
    assert two.people["Tove"].get(f"/class/{theirs}/keeping").status_code == 200


def test_a_preceptor_who_leaves_hands_classes_on_and_comes_in_no_more(two: Two) -> None:
    number, _ = make_class(two.people["Marit"])
    marit, jun = two.number("Marit"), two.number("Jun")
    url = f"/preceptor/{marit}/remove"
    assert "tick the box" in two.post("Ines", url, {"to": str(jun)}).text
    refused = two.post("Ines", url, {"sure": "yes"})
    assert (refused.status_code, "owns “Spring 2”: say who takes them" in refused.text) == (422, True)
    stranger = two.post("Ines", url, {"sure": "yes", "to": str(two.number("Tove"))})
    assert stranger.status_code == 422
    assert two.post("Ines", url, {"sure": "yes", "to": str(jun)}).status_code == 303
    assert two.people["Marit"].get("/class").location == "/door"
    assert two.people["Marit"].sign_in("Marit").status_code == 422
    assert two.people["Jun"].get(f"/class/{number}/keeping").status_code == 200
    assert two.changes()[:2] == ["Ines removed Marit from the school", "Ines handed “Spring 2” over to Jun"]
    assert two.post("Ines", f"/preceptor/{two.number('Tove')}/remove", {"sure": "yes"}).status_code == 404


def test_who_is_in_another_school_too_stays_there(two: Two) -> None:
    with two.store.writing():
        schools.add_person(two.store, two.south, two.who("Marit"), by="Test", now=NOON)
    there, _ = make_class(two.people["Tove"], "Autumn 1")
    keeping = f"/class/{there}/keeping/teachers"
    two.people["Tove"].post(keeping, {"preceptor": str(two.number("Marit")), "role": "reader"})
    here, _ = make_class(two.people["Jun"])
    keeping = f"/class/{here}/keeping/teachers"
    two.people["Jun"].post(keeping, {"preceptor": str(two.number("Marit")), "role": "reader"})
    marit = two.people["Marit"]
    assert marit.get(f"/class/{here}").status_code == 200
    assert two.post("Ines", f"/preceptor/{two.number('Marit')}/remove", {"sure": "yes"}).status_code == 303
    assert marit.get(f"/class/{here}").status_code == 404
    assert marit.get(f"/class/{there}").status_code == 200


def test_the_last_administrator_can_neither_leave_nor_step_down(two: Two) -> None:
    ines = two.number("Ines")
    for url, form in ((f"/preceptor/{ines}/remove", {"sure": "yes"}), (f"/preceptor/{ines}/administrator", {})):
        refused = two.post("Ines", url, form)
        assert (refused.status_code, "is the only administrator of Northfield" in refused.text) == (422, True)
    with pytest.raises(NotRemoved, match="only administrator of Northfield"):
        preceptors.remove(two.store, two.who("Ines"), to=None, by="Test", now=NOON)
    assert two.post("Ines", f"/preceptor/{two.number('Jun')}/administrator", {"act": "make"}).status_code == 303
    assert two.people["Jun"].get(f"/school/{two.north.id}").status_code == 200
    assert two.post("Ines", f"/preceptor/{ines}/administrator", {"act": "end"}).location == "/class"
    assert two.people["Ines"].get(f"/school/{two.north.id}").status_code == 404
    assert two.changes()[:2] == [
        "Ines removed Ines as an administrator of the school",
        "Ines made Jun an administrator of the school",
    ]


def test_sign_ins_are_ended_on_every_device(two: Two) -> None:
    second = Browser(two.app)
    second.sign_in("Marit")
    assert "signed in" in two.page()
    assert two.post("Ines", f"/preceptor/{two.number('Marit')}/sign-out").status_code == 303
    assert {one.get("/class").location for one in (second, two.people["Marit"])} == {"/door"}
    assert two.changes()[0] == "Ines ended the sign-ins of Marit"


def test_owners_changes_are_written_down_too(two: Two) -> None:
    marit, jun = two.people["Marit"], str(two.number("Jun"))
    number, _ = make_class(marit)
    teachers = f"/class/{number}/keeping/teachers"
    marit.post(teachers, {"preceptor": jun, "role": "reader"})
    marit.post(teachers, {"preceptor": jun, "role": "co-teacher"})
    marit.post(teachers, {"preceptor": jun, "act": "remove"})
    marit.post(teachers, {"preceptor": jun, "act": "remove"})
    marit.post(f"/class/{number}/keeping/hand-over", {"preceptor": jun, "sure": "yes"})
    assert two.changes()[:4] == [
        "Marit handed “Spring 2” over to Jun",
        "Marit took Jun off “Spring 2”",
        "Marit made Jun a co-teacher of “Spring 2”",
        "Marit made Jun a reader of “Spring 2”",
    ]
    saved = two.people["Ines"].get(f"/school/{two.north.id}/changes.csv").text
    assert "2026-" in saved
    assert "Marit made Jun a reader of “Spring 2”" in saved


def test_a_name_that_a_spreadsheet_would_run_is_saved_as_text(two: Two) -> None:
    make_class(two.people["Marit"], "=1+1")
    saved = two.people["Ines"].get(f"/school/{two.north.id}/classes.csv").text
    assert "'=1+1" in saved


def test_a_school_is_renamed_by_its_administrator(two: Two) -> None:
    assert two.post("Ines", "/name", {"name": "southgate"}).status_code == 422
    assert two.post("Ines", "/name", {"name": "North Field"}).status_code == 303
    assert "North Field" in two.page()
    assert two.changes()[0] == "Ines renamed the school “Northfield” to “North Field”"


# --- invitations -------------------------------------------------------------------------------------------------


def test_an_invitation_is_taken_once(two: Two) -> None:
    link = two.invited()
    assert "Rosa Lind, preceptor, by Ines" in two.page()
    visitor = Browser(two.app)
    page = visitor.get(link)
    assert page.status_code == 200
    assert "Ines invites you as a preceptor." in words(page.text)
    assert visitor.get("/class").location == "/door", "a link alone lets nobody in"
    assert two.take(link).location == "/class"
    rosa = two.people["Rosa Lind"]
    assert rosa.get("/class").status_code == 200
    assert rosa.get(f"/school/{two.north.id}").status_code == 404
    assert {visitor.get(link).status_code, two.take(link, "Somebody Else").status_code} == {404}
    assert class_queries.preceptor_named(two.store, "Somebody Else") is None
    assert two.changes()[:2] == ["Rosa Lind came by the invitation of Ines", "Ines invited Rosa Lind as a preceptor"]
    assert make_class(rosa, "Winter 1")[0]


def test_what_an_invitation_asks_for(two: Two) -> None:
    link = two.invited()
    assert two.take(link, password="too short").status_code == 422  # noqa: S106 - too short
    assert two.take(link, again="another of them").status_code == 422
    assert two.take(link, "").status_code == 422
    taken = two.take(link, "marit")
    assert (taken.status_code, "signs in on this server already" in taken.text) == (422, True)
    assert two.take(link).location == "/class", "what was refused has used nothing up"


def test_an_invitation_runs_out_and_can_be_withdrawn(two: Two) -> None:
    late, withdrawn = two.invited("A"), two.invited("B")
    number = school_queries.invitations_of(two.store, two.north.id, two.clock.at)[0].id
    tove = two.people["Tove"]
    assert tove.post(f"/school/{two.south.id}/withdraw", {"invitation": str(number)}).status_code == 303
    assert Browser(two.app).get(withdrawn).status_code == 200, "an invitation of another school is not theirs"
    assert two.post("Ines", "/withdraw", {"invitation": str(number)}).status_code == 303
    two.clock.move(seconds=7 * DAY - 1)
    assert Browser(two.app).get(late).status_code == 200
    two.clock.move(seconds=1)
    replies = [Browser(two.app).get(one) for one in (late, withdrawn, "/invitation/never-made")]
    assert {one.status_code for one in replies} == {404}
    assert len({one.text for one in replies}) == 1, "which of these it is, is not said"


def test_the_secret_of_an_invitation_is_kept_nowhere(two: Two) -> None:
    secret = two.invited().rsplit("/", 1)[1]
    assert secret not in "\n".join(two.store._db.conn.iterdump())
    assert secret not in two.people["Ines"].get(f"/school/{two.north.id}").text


def test_guessing_invitations_has_to_wait(two: Two) -> None:
    link, guesser = two.invited(), Browser(two.app)
    codes = [guesser.get(f"/invitation/guess-{number}").status_code for number in range(302)]
    assert set(codes[:300]) == {404}
    assert codes[301] == 429
    known = two.people["Marit"]  # a browser in which somebody came in before answers for itself alone
    assert known.get(link).status_code == 200


def test_a_preceptor_of_another_school_joins_with_what_they_have(two: Two) -> None:
    link = two.invited("Tove", role="administrator")
    browser = Browser(two.app)
    wrong = browser.post(link, {"preceptor": "Tove", "known_password": "wrong and long", "do": "join"})
    assert (wrong.status_code, "Name or password not recognised" in wrong.text) == (422, True)
    joined = browser.post(link, {"preceptor": "Tove", "known_password": PASSWORD, "do": "join"})
    assert joined.location == f"/school/{two.north.id}"
    assert len(school_queries.schools_of(two.store, two.number("Tove"))) == 2
    assert browser.get(f"/school/{two.south.id}").status_code == 200
    assert browser.get(link).status_code == 404
    assert two.changes()[0] == "Ines made Tove an administrator of the school"


def test_invitations_end_with_the_administrator_who_made_them(two: Two) -> None:
    two.post("Ines", f"/preceptor/{two.number('Jun')}/administrator", {"act": "make"})
    made_ = two.post("Jun", "/invite", {"whom": "A friend", "role": "administrator"})
    two.post("Ines", f"/preceptor/{two.number('Jun')}/administrator", {"act": "end"})
    assert Browser(two.app).get(link_in(made_)).status_code == 404


def test_there_is_a_most_of_open_invitations(two: Two) -> None:
    for number in range(50):
        two.invited(f"Person {number}")
    assert two.post("Ines", "/invite", {"whom": "One more"}).status_code == 422


def test_a_form_of_another_site_does_nothing(two: Two) -> None:
    ines, before = two.people["Ines"], two.changes()
    for url in (f"/school/{two.north.id}/invite", f"/school/{two.north.id}/name", "/schools"):
        assert (
            ines.client.post(url, data={"whom": "A"}, headers={"Origin": "https://elsewhere.example"}).status_code
            == 403
        )
    assert two.changes() == before


# --- a new password ----------------------------------------------------------------------------------------------


def test_a_new_password_by_a_link_ends_what_the_one_before_opened(two: Two) -> None:
    link = link_in(two.post("Ines", f"/preceptor/{two.number('Marit')}/password"))
    second = link_in(two.post("Ines", f"/preceptor/{two.number('Marit')}/password"))
    assert Browser(two.app).get(link).status_code == 404, "a newer one ends it"
    assert two.people["Marit"].get("/class").status_code == 200
    new = "another good password"
    fresh = Browser(two.app)
    assert fresh.post(second, {"password": new, "again": new, "do": "new"}).location == "/class"
    assert two.people["Marit"].get("/class").location == "/door"
    assert Browser(two.app).sign_in("Marit", new).location == "/class"
    assert Browser(two.app).sign_in("Marit").status_code == 422
    assert two.changes()[:3] == [
        "Marit set a new password by the link of Ines",
        *["Ines made a link by which Marit sets a new password"] * 2,
    ]
    third = link_in(two.post("Ines", f"/preceptor/{two.number('Marit')}/password"))
    two.clock.move(seconds=DAY)
    assert Browser(two.app).get(third).status_code == 404


def test_no_school_sets_a_password_that_others_trust(two: Two) -> None:
    link = link_in(two.post("Ines", f"/preceptor/{two.number('Marit')}/password"))
    with two.store.writing():
        schools.add_person(two.store, two.south, two.who("Marit"), by="Test", now=NOON)
    new = "another good password"
    assert Browser(two.app).post(link, {"password": new, "again": new, "do": "new"}).status_code == 404
    refused = two.post("Ines", f"/preceptor/{two.number('Marit')}/password")
    assert (refused.status_code, "signs in to more than this school" in refused.text) == (422, True)
    preceptors.make_administrator(two.store, two.who("Jun"), now=NOON)
    assert two.post("Ines", f"/preceptor/{two.number('Jun')}/password").status_code == 422
    assert Browser(two.app).sign_in("Marit").location == "/class"


# --- the installation --------------------------------------------------------------------------------------------


def test_the_installation_makes_schools_and_invites_their_first_administrator(two: Two) -> None:
    preceptors.make_administrator(two.store, two.who("Tove"), now=NOON)
    tove = two.people["Tove"]
    assert tove.post("/schools", {"name": "northfield"}).status_code == 422
    assert tove.post("/schools", {"name": "Westbrook"}).location == "/schools#school-3"
    astray = link_in(tove.post("/schools/3/invite", {"whom": "Rosa Lind"}))
    assert "Rosa Lind, administrator, by Tove" in words(tove.get("/schools").text)
    number = school_queries.invitations_of(two.store, 3, two.clock.at)[0].id
    assert tove.post("/schools/3/withdraw", {"invitation": str(number)}).status_code == 303
    assert Browser(two.app).get(astray).status_code == 404
    link = link_in(tove.post("/schools/3/invite", {"whom": "Rosa Lind"}))
    assert two.take(link).location == "/school/3"
    assert two.people["Rosa Lind"].get("/school/3").status_code == 200
    assert tove.get("/school/3").status_code == 404, "who makes a school does not see into it"
    page = words(tove.get("/schools").text)
    assert "Administered by Rosa Lind." in page
    assert "Tove added the school “Westbrook”" in page
    assert tove.post("/schools/3/remove", {"sure": "yes"}).status_code == 422
    tove.post("/schools", {"name": "Empty"})
    assert tove.post("/schools/4/name", {"name": "Still empty"}).status_code == 303
    assert tove.post("/schools/4/remove").status_code == 422
    assert tove.post("/schools/4/remove", {"sure": "yes"}).status_code == 303
    assert [one.name for one in school_queries.schools(two.store)] == ["Northfield", "Southgate", "Westbrook"]
    assert tove.post("/schools/4/name", {"name": "A"}).status_code == 404


def test_invitations_end_with_who_administers_the_installation_no_more(two: Two) -> None:
    for name in ("Tove", "Jun"):
        preceptors.make_administrator(two.store, two.who(name), now=NOON)
    link = link_in(two.people["Jun"].post("/schools/2/invite", {"whom": "A friend"}))
    preceptors.make_administrator(two.store, two.who("Jun"), now=NOON, yes=False)
    assert Browser(two.app).get(link).status_code == 404
    assert two.people["Jun"].get("/schools").status_code == 404


def test_the_one_school_is_not_removed(store: Store) -> None:
    with pytest.raises(NotRemoved, match="the only school"):
        schools.remove(store, schools.one_or_named(store, None), by="Test", now=NOON)


def test_removing_a_preceptor_of_the_server_hands_classes_within_their_school(two: Two) -> None:
    make_class(two.people["Marit"])
    with pytest.raises(NotRemoved, match="Tove is not in the school of “Spring 2”"):
        preceptors.remove(two.store, two.who("Marit"), to=two.who("Tove"), by="Test", now=NOON)
    preceptors.remove(two.store, two.who("Marit"), to=two.who("Jun"), by="Test", now=NOON)
    assert two.changes()[:2] == ["Test removed Marit from the school", "Test handed “Spring 2” over to Jun"]


def test_schools_from_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.sqlite3"

    def run(*arguments: str, code: int = 0) -> str:
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
        assert commands.main([*arguments, "--data", str(path)]) == code
        return "".join(capsys.readouterr())

    run("add-preceptor", "Marit")
    assert "add-preceptor NAME --administrator --school 'Southgate'" in run("add-school", "Southgate")
    assert "there are several schools: say which with --school" in run("add-preceptor", "Jun", code=2)
    run("add-preceptor", "Jun", "--school", "southgate", "--administrator")
    run("add-preceptor", "Marit", "--school", "Southgate")
    listed = run("schools", "--rename", "Our school", "Northfield")
    assert listed.splitlines() == [
        "Northfield: 1 preceptor, 0 classes; no administrator",
        "Southgate: 2 preceptors, 0 classes; Jun",
    ]
    assert "Marit: owns no class; in Northfield, Southgate" in run("preceptors")
    assert "there is no school “Elsewhere”" in run("add-preceptor", "Rosa", "--school", "Elsewhere", code=2)
    assert "is the only administrator of Southgate" in run("preceptors", "--remove", "Jun", code=2)
    run("add-school", "Empty")
    assert "Empty" not in run("schools", "--remove", "Empty")
    assert all(one.good for one in check(path))


# --- a class goes to another school ------------------------------------------------------------------------------


@dataclass
class Moving:
    """Jun administers the installation too, and moves classes of Northfield to Southgate."""

    two: Two

    def __post_init__(self) -> None:
        preceptors.make_administrator(self.two.store, self.two.who("Jun"), now=NOON)

    @property
    def url(self) -> str:
        return f"/schools/{self.two.north.id}/move"

    def plan(self, *numbers: int) -> str:
        chosen = "&".join(f"class={number}" for number in numbers)
        reply = self.two.people["Jun"].get(f"{self.url}?{chosen}&to={self.two.south.id}")
        assert reply.status_code == 200
        return words(reply.text)

    def move(self, *numbers: int, **form: object) -> TestResponse:
        given = {"class": [str(one) for one in numbers], "to": str(self.two.south.id), "sure": "yes", **form}
        return self.two.people["Jun"].post(self.url, given)


@pytest.fixture
def moving(two: Two) -> Moving:
    return Moving(two)


def test_a_class_moves_with_its_preceptors(moving: Moving) -> None:
    two, marit = moving.two, moving.two.people["Marit"]
    number, code = make_class(marit)
    ada = learner(two.app, code, "Ada")
    set_drill(marit, number)
    for role, name in (("co-teacher", "Jun"), ("reader", "Ines")):
        marit.post(f"/class/{number}/keeping/teachers", {"preceptor": str(two.number(name)), "role": role})
    page = moving.plan(number)
    assert "1 learner, drills, patients, cases, groups and results move with the class" in page
    assert "come into Southgate and stay in Northfield too: Marit, Ines, Jun" in page
    assert "Ada" not in page
    assert "tick the box" in moving.move(number, sure="").text
    assert class_queries.class_of_id(two.store, number).school == two.north.id  # type: ignore[union-attr]
    assert moving.move(number).status_code == 303
    assert class_queries.class_of_id(two.store, number).school == two.south.id  # type: ignore[union-attr]
    assert marit.get(f"/class/{number}/keeping").status_code == 200
    assert two.people["Ines"].get(f"/class/{number}").status_code == 200, "a reader still"
    assert "Spring 2" not in re.sub("“Spring 2”", "", two.page()), "in the record alone"
    assert "Spring 2 1 learner" in words(two.people["Tove"].get(f"/school/{two.south.id}").text)
    assert two.changes()[0] == "Jun moved the class “Spring 2” to another school"
    there = [schools.in_words(one) for one in school_queries.changes_of(two.store, two.south.id, 9)]
    assert "Jun moved the class “Spring 2” here from another school" in there
    assert "Jun added Marit as a preceptor" in there
    of_all = schools.in_words(school_queries.changes_of(two.store, None, 9)[0])
    assert of_all == "Jun moved the class “Spring 2” from Northfield to Southgate"
    assert ada.get("/drill/1").status_code == 200
    assert school_queries.schools_of_learner(two.store, 1) == {two.south.id}
    assert all(one.good for one in check(two.path))


def test_a_class_is_handed_to_a_preceptor_of_the_school_to_which_it_moves(moving: Moving) -> None:
    two, marit = moving.two, moving.two.people["Marit"]
    number, _ = make_class(marit)
    marit.post(f"/class/{number}/keeping/teachers", {"preceptor": str(two.number("Ines")), "role": "reader"})
    for owner in ("", str(two.number("Ines"))):
        assert moving.move(number, preceptors="hand", owner=owner).status_code == 422
    assert marit.get(f"/class/{number}").status_code == 200
    assert moving.move(number, preceptors="hand", owner=str(two.number("Tove"))).status_code == 303
    assert two.people["Tove"].get(f"/class/{number}/keeping").status_code == 200
    for name in ("Marit", "Ines"):
        assert two.people[name].get(f"/class/{number}").status_code == 404
    assert "Southgate" not in marit.get("/class").text
    assert "Jun took Marit off “Spring 2”" in two.changes()


def test_classes_that_share_a_learner_move_together(moving: Moving) -> None:
    two, marit = moving.two, moving.two.people["Marit"]
    first, code = make_class(marit)
    ada = learner(two.app, code, "Ada")
    drill = set_drill(marit, first)
    second, _ = make_class(marit, "Spring 3")
    ada.post(f"/drill/{drill.rsplit('/', 1)[1]}/begin")
    marit.post(f"/class/{first}/people/move", {"learner": "1", "to_class": str(second)})
    assert [len(roster_queries.members_of(two.store, one)) for one in (first, second)] == [0, 1]
    assert "1 learner also practised in “Spring 3”" in moving.plan(first).replace("“ ", "“")
    refused = moving.move(first)
    assert (refused.status_code, "In the way" in refused.text) == (422, True)
    assert "Move the classes to Southgate" in moving.plan(first, second)
    assert moving.move(first, second).status_code == 303
    assert {class_queries.class_of_id(two.store, one).school for one in (first, second)} == {two.south.id}  # type: ignore[union-attr]


def test_what_a_move_is_refused_for(moving: Moving) -> None:
    two, jun = moving.two, moving.two.people["Jun"]
    theirs, _ = make_class(two.people["Tove"], "Autumn 1")
    number, _ = make_class(two.people["Marit"])
    for asked in ("", f"?class={number}", f"?class={number}&to={two.north.id}", f"?class={number}&to=99"):
        assert jun.get(f"{moving.url}{asked}").status_code == 422
    assert jun.get(f"{moving.url}?class={theirs}&to={two.south.id}").status_code == 422
    assert moving.move(theirs).status_code == 422
    with two.store.writing():
        registration = two.store.add("lti_registrations", {**platform(two.store), "school": two.north.id})
        row = {"registration": registration, "deployment_id": "1", "state": "active"}
        deployment = two.store.add("lti_deployments", row)
        lti_queries.keep_class_of(two.store, lti_queries.add_course(two.store, deployment, "c", "Course"), number)
    assert "take the course off it first" in moving.plan(number)
    assert moving.move(number).status_code == 422
    for who in ("Marit", "Ines", "Tove"):
        assert two.people[who].get(f"{moving.url}?class={number}&to={two.south.id}").status_code == 404


# --- backups, salvage, check -------------------------------------------------------------------------------------


@pytest.mark.parametrize("left", ["the data file", "the list beside the backup", "neither"])
def test_who_was_removed_since_a_backup_does_not_come_back_with_it(left: str, tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    timetable = Timetable(tmp_path / "b", every_s=3600, keep=5)
    timetable.begin()
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        school = schools.one_or_named(store, None)
        for name in ("Ines", "Marit", "Jun"):
            signing.add_preceptor(store, name, PASSWORD, now=NOON)
        marit = preceptors.named(store, "Marit")
        number = classes.make(store, marit, "Spring 2", now=NOON, lots=lots())
        secret = "an invitation"  # noqa: S105 - of nobody
        with store.writing():
            what = school_queries.Invitation(0, school.id, "Rosa", True, None, None, "Test", NOON, NOON + DAY)
            school_queries.add_invitation(store, signing.digest(secret), what)
        first = timetable.make(file, NOON)
        whom, to = (
            schools.person(store, school, preceptors.named(store, one).id, now=NOON) for one in ("Marit", "Jun")
        )
        schools.remove_person(store, school, whom, to=to, by="Ines", now=NOON + 60)
        timetable.make(file, NOON + 3600)
    if left != "the data file":
        path.unlink()
    if left != "the list beside the backup":
        (timetable.folder / gone_list.GONE_PRECEPTORS).write_text("school,preceptor\nnonsense\n\x00")
    done = restore(first.path, path, now=NOON + 7200)
    assert done.turned_away == (left != "neither")
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        names = {one.name for one in roster_queries.preceptors(store)}
        one = class_queries.class_of_id(store, number)
        assert one is not None
        owner = preceptors.get(store, one.preceptor).name
        assert (names, owner) == (
            ({"Ines", "Jun"}, "Jun") if left != "neither" else ({"Ines", "Marit", "Jun"}, "Marit")
        )
        assert school_queries.invitation_with(store, signing.digest(secret), NOON) is None, "it may have been taken"
    assert all(one.good for one in check(path))


def test_who_came_back_since_stays(tmp_path: Path) -> None:
    path, copy = tmp_path / "a.sqlite3", tmp_path / "copy.sqlite3"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        school = schools.one_or_named(store, None)
        other = schools.make(store, "Southgate", by="Test", now=NOON)
        for name in ("Ines", "Marit"):
            signing.add_preceptor(store, name, PASSWORD, now=NOON, school=school.id)
        marit = preceptors.named(store, "Marit")
        with store.writing():
            schools.add_person(store, other, marit, by="Test", now=NOON)
        whom = schools.person(store, school, marit.id, now=NOON)
        schools.remove_person(store, school, whom, to=None, by="Ines", now=NOON + 60)
        with store.writing():
            schools.add_person(store, school, marit, by="Ines", now=NOON + 120)
    assert quiz("backup", copy, "--data", path).returncode == 0
    assert restore(copy, path, now=NOON).turned_away == 0


def test_schools_are_salvaged_and_one_whose_row_is_lost_has_a_number(two: Two, tmp_path: Path) -> None:
    _, code = make_class(two.people["Marit"])
    learner(two.app, code, "Ada")
    make_class(two.people["Tove"], "Autumn 1")
    whole = tmp_path / "whole.sqlite3"
    assert quiz("backup", whole, "--data", two.path).returncode == 0
    found = {}
    for name in ("as it was", "lost"):
        path, new = tmp_path / f"{name}.sqlite3", tmp_path / f"{name} new.sqlite3"
        shutil.copy(whole, path)
        if name == "lost":
            with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
                store._db.conn.execute("PRAGMA foreign_keys = OFF")
                store._db.conn.execute("DELETE FROM schools WHERE id = ?", [two.south.id])
                store._db.conn.commit()
        salvage(path, new)
        assert all(one.good for one in check(new))
        with closing(DataFile.open(new)) as file, closing(Store(file)) as store:
            found[name] = [one.name for one in school_queries.schools(store)]
            assert store.fetch("SELECT name, school FROM classes ORDER BY id")[1][:] == ("Autumn 1", two.south.id)
            assert len(school_queries.changes_of(store, two.north.id, 99)) == len(two.changes())
    assert found == {"as it was": ["Northfield", "Southgate"], "lost": ["Northfield", "School 2 (name lost)"]}


def test_an_act_that_nobody_knows_is_damage(two: Two) -> None:
    assert set(schools.CHANGES) == set(ACTS)
    path = two.path
    assert all(one.good for one in check(path))
    two.store._db.conn.execute("UPDATE school_changes SET act = 'crowned' WHERE id = 1")
    with pytest.raises(Damaged, match="column act in row 1 of table school_changes"):
        list(check(path))


# --- whatever is done --------------------------------------------------------------------------------------------

STEPS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 5), st.integers(0, 5), st.integers(0, 3)), max_size=12)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_nobody_has_a_role_in_a_class_of_a_school_in_which_they_are_not(
    steps: list[tuple[int, int, int, int]], ready: Ready, tmp_path: Path
) -> None:
    """A law over what administrators and owners do, in any order."""
    path = shutil.copy(ready.path, tmp_path / "law.sqlite3")
    with closing(DataFile.open(Path(path))) as file, closing(Store(file)) as store:
        both = school_queries.schools(store)
        for number, name in enumerate(("Ines", "Tove", "Marit", "Tove")):
            who = preceptors.named(store, name)
            classes.make(store, who, f"C{number}", now=NOON, lots=lots())
        for step in steps:
            try:
                _do(store, both, *step)
            except QuizError:
                continue
        astray = store.fetch(
            "SELECT c.id, c.preceptor FROM classes c WHERE NOT EXISTS (SELECT 1 FROM school_people p "
            "WHERE p.school = c.school AND p.preceptor = c.preceptor) UNION ALL "
            "SELECT t.class, t.preceptor FROM teachers t JOIN classes c ON c.id = t.class WHERE NOT EXISTS "
            "(SELECT 1 FROM school_people p WHERE p.school = c.school AND p.preceptor = t.preceptor)"
        )
        assert [tuple(row) for row in astray] == []
        assert all(school_queries.administrators_of(store, one.id) for one in both)
        assert not store.fetch("SELECT 1 FROM preceptors WHERE id NOT IN (SELECT preceptor FROM school_people)")


def _do(store: Store, both: list[School], what: int, first: int, second: int, number: int) -> None:
    people = roster_queries.preceptors(store)
    who, other = people[first % len(people)], people[second % len(people)]
    one, school = class_queries.class_of_id(store, number + 1), both[number % 2]
    assert one is not None
    if what == 0:
        preceptors.give_role(store, one, who, "reader", by="Test", now=NOON)
    elif what == 1:
        preceptors.hand_over(store, one, who, by="Test", now=NOON)
    elif what == 2:
        preceptors.remove(store, who, to=other, by="Test", now=NOON)
    elif what == 3:
        with store.writing():
            schools.add_person(store, school, who, by="Test", now=NOON)
    elif what == 4:
        whom, to = (schools.person(store, school, each.id, now=NOON) for each in (who, other))
        schools.remove_person(store, school, whom, to=to, by="Test", now=NOON)
    elif what == 5:
        to = schools.person(store, school, who.id, now=NOON)
        schools.hand_over(store, school, schools.class_of_school(store, school, one.id), to, by="Test", now=NOON)
    elif what == 6:
        whom = schools.person(store, school, who.id, now=NOON)
        schools.make_school_administrator(store, school, whom, yes=bool(second % 2), by="Test", now=NOON)
    elif what == 7:
        preceptors.take_role(store, one, who, by="Test", now=NOON)
    elif what == 8:
        along, owner, there = bool(second % 2), other.id if first % 2 else None, both[1 - number % 2].id
        class_moves.move(store, both[number % 2], [one.id], there, along=along, owner=owner, by="Test", now=NOON)
    else:
        classes.make(store, who, f"N{second}", now=NOON, lots=lots(), school=school.id)


def test_two_schools_have_two_names(two: Two) -> None:
    for name in ("", "northfield", "x" * 61, "a\u0007b"):
        with pytest.raises(BadName):
            schools.make(two.store, name, by="Test", now=NOON)
