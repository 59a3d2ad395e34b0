"""Favourites and the types used last: what the cookie holds, and that no number is ever in it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from flask.testing import FlaskClient

from quiz.app import create_app
from quiz.practice.own_findings.working_out import computing_types
from quiz.storage.datafile import DataFile
from quiz.web.work.own_types import COOKIE, LAST, MOST_FAVOURITES, OwnTypes
from tests.conftest import Clock, lots

IDS = list(computing_types())


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> Iterator[FlaskClient]:
    with create_app(data_file, clock=clock, lots=lots()).test_client() as one:
        one.get("/")
        yield one


def test_the_last_five_are_kept_the_latest_first() -> None:
    own = OwnTypes()
    for one in [*IDS[:7], IDS[3]]:
        own = own.used(one)
    assert own.last == (IDS[3], IDS[6], IDS[5], IDS[4], IDS[2])
    assert len(own.last) == LAST


def test_a_favourite_is_added_and_taken_out_and_the_earliest_makes_room() -> None:
    own = OwnTypes()
    for one in IDS[: MOST_FAVOURITES + 1]:
        own = own.turned(one)
    assert own.favourites == tuple(IDS[1 : MOST_FAVOURITES + 1])
    assert own.turned(IDS[1]).favourites == tuple(IDS[2 : MOST_FAVOURITES + 1])


def test_the_cookie_names_types_alone_and_goes_to_work_one_out_alone(client: FlaskClient) -> None:
    answer = client.get("/work-one-out/net-sphere?gross=%2B7.25&distance_cm=50")
    [sent] = [one for one in answer.headers.getlist("Set-Cookie") if one.startswith(COOKIE)]
    assert sent.startswith(f"{COOKIE}=net-sphere~;")
    for part in ("HttpOnly", "Path=/work-one-out", "SameSite=Lax", "Max-Age=31536000"):
        assert part in sent
    refused = client.get("/work-one-out/transpose?rx=what")
    assert not any(one.startswith(COOKIE) for one in refused.headers.getlist("Set-Cookie"))


def test_a_cookie_of_anything_else_is_passed_over(client: FlaskClient) -> None:
    client.set_cookie(COOKIE, "<b>.net-sphere.net-sphere.gone~%00", path="/work-one-out")
    page = client.get("/work-one-out").get_data(as_text=True)
    assert "<b>." not in page
    assert page.count('<a class="target" href="/work-one-out/net-sphere">') == 2, "once in its family, once as used"


def test_own_data_deleted_takes_them_along(client: FlaskClient) -> None:
    client.get("/work-one-out/net-sphere?gross=%2B7.25&distance_cm=50")
    assert client.get_cookie(COOKIE, path="/work-one-out") is not None
    asked = client.post("/progress/delete", headers={"Origin": "http://localhost"})
    assert asked.status_code == 422
    assert client.get_cookie(COOKIE, path="/work-one-out") is not None, "not before the box is ticked"
    client.post("/progress/delete", data={"sure": "yes"}, headers={"Origin": "http://localhost"})
    assert client.get_cookie(COOKIE, path="/work-one-out") is None


def test_no_favourite_of_a_type_that_there_is_not(client: FlaskClient) -> None:
    assert client.post("/work-one-out/nothing/favourite", headers={"Origin": "http://localhost"}).status_code == 404
