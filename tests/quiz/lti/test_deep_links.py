"""A drill chosen in the platform's frame: what is answered is what LTI Deep Linking 2.0 (1EdTech) asks for."""

from __future__ import annotations

from typing import Any

import jwt
import pytest
from werkzeug.test import TestResponse

from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import CLAIM, HERE, TEACHER, Visitor, hidden

DL = "https://purl.imsglobal.org/spec/lti-dl/claim/"
BACK = "https://platform.example/back?course=1"


def asks(**other: Any) -> dict[str, Any]:
    settings = {
        "deep_link_return_url": BACK,
        "accept_types": ["ltiResourceLink"],
        "accept_presentation_document_targets": ["frame"],
        "data": "as it came: é=&",
        **other,
    }
    kept = {name: value for name, value in settings.items() if value is not None}
    return {
        **TEACHER,
        f"{CLAIM}message_type": "LtiDeepLinkingRequest",
        f"{CLAIM}resource_link": None,
        f"{DL}deep_linking_settings": kept,
    }


def answered(school: School, page: TestResponse) -> dict[str, Any]:
    token = hidden(page, "JWT")
    keys = {one["kid"]: one for one in school.platform.tool_keys()["keys"]}
    key = jwt.PyJWK.from_dict(keys[jwt.get_unverified_header(token)["kid"]]).key
    options: Any = {"verify_exp": False, "verify_iat": False, "require": ["exp", "iat", "nonce"]}
    return dict(jwt.decode(token, key, ["RS256"], audience=school.platform.issuer, issuer="client-1", options=options))


@pytest.fixture
def chooser(school: School) -> Visitor:
    """Return a teacher of a course with a class and one drill."""
    teacher = school.teacher()
    school.drill(teacher)
    return teacher


@pytest.mark.usefixtures("chooser")
def test_a_drill_is_chosen_in_the_frame_and_its_link_opens_it(school: School) -> None:
    visitor = school.visitor()
    page = visitor.launch(**asks())
    assert page.status_code == 200
    assert "Net from gross" in page.text
    assert "frame-ancestors https://platform.example" in page.headers["Content-Security-Policy"]
    done = visitor.post("/lti/choose", {"choice": hidden(page, "choice"), "drill": "1", "points": "12,5"})
    assert f'action="{BACK}"' in done.text
    assert "form-action 'self' https://platform.example;" in done.headers["Content-Security-Policy"]
    claims = answered(school, done)
    item = claims[f"{DL}content_items"][0]
    assert claims[f"{CLAIM}message_type"] == "LtiDeepLinkingResponse"
    assert claims[f"{CLAIM}version"] == "1.3.0"
    assert claims[f"{CLAIM}deployment_id"] == "1"
    assert claims[f"{DL}data"] == "as it came: é=&"
    assert (item["type"], item["title"], item["url"]) == ("ltiResourceLink", "Net from gross", f"{HERE}/lti/launch")
    assert item["lineItem"]["scoreMaximum"] == 12.5
    assert item["lineItem"]["label"] == "Net from gross"
    learner = school.visitor()
    link = {f"{CLAIM}custom": item["custom"], f"{CLAIM}resource_link": {"id": "made", "title": "x"}}
    assert learner.enter(**link).location == "/drill/1"


@pytest.mark.usefixtures("chooser")
def test_a_choice_is_used_once_and_for_an_hour(school: School) -> None:
    visitor = school.visitor()
    choice = hidden(visitor.launch(**asks()), "choice")
    assert visitor.post("/lti/choose", {"choice": choice, "do": "list"}).status_code == 200
    assert visitor.post("/lti/choose", {"choice": choice, "drill": "1"}).status_code == 200
    assert "(LTI 04)" in visitor.post("/lti/choose", {"choice": choice, "drill": "1"}).text
    choice = hidden(visitor.launch(**asks()), "choice")
    school.clock.move(seconds=3600)
    assert "(LTI 04)" in visitor.post("/lti/choose", {"choice": choice, "drill": "1"}).text


@pytest.mark.usefixtures("chooser")
@pytest.mark.parametrize(
    "form", [{}, {"drill": "99"}, {"drill": "1", "points": "none"}, {"drill": "1", "points": "-1"}]
)
def test_a_choice_that_cannot_be_taken_asks_again(school: School, form: dict[str, str]) -> None:
    visitor = school.visitor()
    choice = hidden(visitor.launch(**asks()), "choice")
    page = visitor.post("/lti/choose", {"choice": choice, **form})
    assert page.status_code == 422
    assert "Please correct" in page.text
    assert visitor.post("/lti/choose", {"choice": choice, "drill": "1", "points": "nan"}).status_code == 422
    assert answered(school, visitor.post("/lti/choose", {"choice": choice, "drill": "1"}))


@pytest.mark.usefixtures("chooser")
def test_nothing_can_be_put_in(school: School) -> None:
    visitor = school.visitor()
    choice = hidden(visitor.launch(**asks(data=None)), "choice")
    claims = answered(school, visitor.post("/lti/choose", {"choice": choice, "do": "nothing"}))
    assert claims[f"{DL}content_items"] == []
    assert f"{DL}data" not in claims


@pytest.mark.usefixtures("chooser")
@pytest.mark.parametrize(
    "other",
    [
        {"accept_types": ["file"]},
        {"deep_link_return_url": None},
        {"deep_link_return_url": "http://platform.example/back"},
        {"deep_link_return_url": "javascript:alert(1)"},
    ],
)
def test_a_request_that_no_link_can_answer_is_refused(school: School, other: dict[str, Any]) -> None:
    assert "(LTI 07)" in school.visitor().launch(**asks(**other)).text


def test_before_there_is_a_class_the_course_is_opened_first(school: School) -> None:
    visitor = school.visitor()
    page = visitor.launch(**asks())
    assert "no class here yet" in page.text
    assert visitor.post("/lti/enter", {"ticket": hidden(page, "ticket")}).location == "/course/1"
    visitor.post("/course/1", {"do": "make"})
    school.drill(visitor)
    again = visitor.post("/lti/choose", {"choice": hidden(page, "choice"), "do": "list"})
    assert "Net from gross" in again.text


def test_a_drill_without_a_score_has_no_item_in_the_grades(school: School, chooser: Visitor) -> None:
    number = school.drill(chooser, cases="", minutes="5")
    visitor = school.visitor()
    choice = hidden(visitor.launch(**asks()), "choice")
    claims = answered(school, visitor.post("/lti/choose", {"choice": choice, "drill": str(number)}))
    assert "lineItem" not in claims[f"{DL}content_items"][0]


@pytest.mark.usefixtures("chooser")
def test_what_was_chosen_and_typed_stays_after_an_error(school: School) -> None:
    visitor = school.visitor()
    page = visitor.launch(**asks())
    again = visitor.post("/lti/choose", {"choice": hidden(page, "choice"), "drill": "1", "points": "many"})
    assert again.status_code == 422
    assert 'value="1" checked' in again.text
    assert 'value="many"' in again.text
    assert "points-problem" in again.text
    assert "Open the class" in again.text
    assert visitor.post("/lti/enter", {"ticket": hidden(again, "ticket")}).location == "/class/1/platform"


def test_where_there_is_no_drill_nothing_can_be_put_in(school: School) -> None:
    school.teacher()
    visitor = school.visitor()
    page = visitor.launch(**asks())
    done = visitor.post("/lti/choose", {"choice": hidden(page, "choice"), "do": "nothing"})
    assert "Put nothing in" in page.text
    assert answered(school, done)[f"{DL}content_items"] == []
