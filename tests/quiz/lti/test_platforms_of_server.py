"""The page of the course platforms: approving, turning off, correcting, registering, without the command line."""

from __future__ import annotations

import re

import pytest

from quiz.app import create_app
from quiz.classroom import preceptors, sign_in
from quiz.lti import registering
from quiz.storage.datafile import DataFile
from quiz.storage.platform import lti_queries
from quiz.storage.store import Store
from tests.conftest import Clock
from tests.quiz.class_people import Browser
from tests.quiz.lti.conftest import School, platform_given
from tests.quiz.lti.small_platform import CLAIM, TEACHER, SmallPlatform, Visitor
from tests.quiz.lti.test_registering import CONFIGURATION

FORM = {
    "name": "Evening school",
    "issuer": "https://evening.example",
    "client_id": "client-9",
    "deployment_id": "faculty",
    "auth_login_url": "https://evening.example/auth",
    "auth_token_url": "https://evening.example/token",
    "key_set_url": "https://evening.example/keys",
}


@pytest.fixture
def office(school: School) -> Visitor:
    """Sign in who administers the installation."""
    preceptors.make_administrator(school.store, preceptors.named(school.store, "Server"), now=school.clock())
    desk = school.visitor()
    form = {"preceptor": "Server", "password": "a streak at ninety"}
    assert desk.post("/door/sign-in", form).status_code == 303
    return desk


def test_a_platform_that_registered_itself_is_approved_on_the_page(school: School, office: Visitor) -> None:
    made = office.post("/platforms/invite").text
    path = re.search(r"https://school\.example(/lti/register/[\w-]+)", made)
    assert path is not None
    other = SmallPlatform(school.clock, issuer="https://third.example")
    school.state.services.ask = other.ask
    where = CONFIGURATION.replace("platform.example", "third.example")
    assert "pending" in school.visitor().get(path[1], openid_configuration=where).text
    assert "1 waits to be approved" in office.get("/class").text
    page = office.get("/platforms").text
    assert "small at third.example" in page
    assert "Waits to be approved" in page
    assert office.post("/platforms/2/state", {"do": "approve"}).status_code == 303
    assert registering.get(school.store, 2).state == "active"
    assert "waits to be approved" not in office.get("/class").text
    assert "Server approved the course platform “small at third.example”" in office.get("/schools").text


def test_a_deployment_that_waits_is_seen_and_approved(school: School, office: Visitor) -> None:
    faculty = {f"{CLAIM}deployment_id": "faculty-7"}
    assert "(LTI 08)" in school.visitor().launch(**TEACHER, **faculty).text
    page = office.get("/platforms").text
    assert "a deployment waits to be approved" in page
    assert "faculty-7" in page
    office.post("/platforms/1/state", {"do": "approve"})
    assert school.visitor().enter(**TEACHER, **faculty).location == "/course/1"


def test_turning_off_asks_first_and_can_be_undone(school: School, office: Visitor) -> None:
    teacher = school.teacher()
    assert office.post("/platforms/1/state", {"do": "off"}).status_code == 422
    assert teacher.get("/class/1").status_code == 200
    assert office.post("/platforms/1/state", {"do": "off", "sure": "yes"}).status_code == 303
    assert teacher.get("/class/1").location == "/door"
    assert "Turn it on again" in office.get("/platforms").text
    office.post("/platforms/1/state", {"do": "approve"})
    assert school.visitor().enter(**TEACHER).status_code == 303


def test_a_platform_is_registered_by_hand_and_a_mistake_stands_at_its_field(school: School, office: Visitor) -> None:
    wrong = office.post("/platforms", {**FORM, "key_set_url": "evening.example/keys"})
    assert wrong.status_code == 422
    assert 'aria-describedby="key_set_url-problem"' in wrong.text
    assert 'value="client-9"' in wrong.text
    assert "--keys" not in wrong.text
    made = office.post("/platforms", FORM)
    assert "Evening school is registered as number 2" in made.text
    again = office.post("/platforms", FORM)
    assert again.status_code == 422
    assert "number 2 on this page has this issuer and client" in again.text
    found = registering.get(school.store, 2)
    assert (found.name, found.issuer, found.state, found.school) == (FORM["name"], FORM["issuer"], "active", 1)
    assert [one.deployment_id for one in lti_queries.deployments_of(school.store, 2)] == ["faculty"]


def test_a_registration_is_corrected_and_removed(school: School, office: Visitor) -> None:
    registering.add(school.store, platform_given(school.platform, client_id="client-2"), school=1, now=school.clock())
    page = office.get("/platforms").text
    assert 'value="https://platform.example/keys"' in page
    assert office.post("/platforms/2/change", {"name": "Northfield courses"}).status_code == 200
    assert registering.get(school.store, 2).name == "Northfield courses"
    wrong = office.post("/platforms/2/change", {"client_id": "client-1"})
    assert wrong.status_code == 422
    assert 'aria-describedby="client_id-2-problem"' in wrong.text
    assert office.post("/platforms/2/remove").status_code == 422
    assert office.post("/platforms/2/remove", {"sure": "yes"}).status_code == 303
    assert [one.id for one in lti_queries.registrations(school.store)] == [1]
    assert office.post("/platforms/2/remove", {"sure": "yes"}).status_code == 404


def test_keys_that_cannot_be_fetched_are_warned_of(school: School, office: Visitor) -> None:
    school.state.services.ask = SmallPlatform(school.clock).ask
    made = office.post("/platforms", {**FORM, "key_set_url": "https://evening.example/kyes"})
    assert "is registered as number 2" in made.text
    assert "Warning: the platform’s keys could not be fetched" in made.text.replace("&#39;", "’").replace("'", "’")
    assert "lti change" not in made.text


def test_without_https_the_page_says_what_platforms_need(data_file: DataFile, store: Store, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, hosts=None, beyond=True)
    sign_in.add_preceptor(store, "Server", "a streak at ninety", now=clock())
    preceptors.make_administrator(store, preceptors.named(store, "Server"), now=clock())
    desk = Browser(app)
    desk.post("/door/sign-in", {"preceptor": "Server", "password": "a streak at ninety"})
    page = desk.get("/platforms").text
    assert "Platforms cannot come in yet" in page
    assert "Make an address" not in page
    assert desk.post("/platforms/invite").status_code == 422
