"""The list of a course: pages, roles, who has left and who is back (LTI Names and Role Provisioning Services 2.0)."""

from __future__ import annotations

from typing import Any

import pytest

from quiz.lti import course_list
from quiz.lti.course_list import Fetched, ManyLeft, NoList
from quiz.lti.fetching import Reply
from quiz.storage import roster_queries
from quiz.storage.platform import lti_queries
from quiz.web.lti.routes import fetch_lists
from tests.conftest import all_rows
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import MEMBER, TEACHER, SmallPlatform


def person(subject: str, name: str | None, role: str = "Learner", **more: Any) -> dict[str, Any]:
    return {"user_id": subject, "roles": [role], **({"name": name} if name else {}), **more}


PEOPLE = [
    person("2", "Marit Osei", "Instructor"),
    person("4", "Ada Byron"),
    person("5", "Bo Lindqvist", f"{MEMBER}Learner", status="Active"),
    person("6", "Cy Nakata", status="Inactive"),
    person("7", None),
]


@pytest.fixture
def listed(school: School) -> School:
    school.teacher()
    school.platform.members = list(PEOPLE)
    return school


def fetch(school: School) -> Fetched:
    course = lti_queries.course_of_id(school.store, 1)
    assert course is not None
    return course_list.fetch_list(school.store, school.state.services, course, now=school.clock())


def names(school: School) -> list[str]:
    return [one.name for one in roster_queries.members_of(school.store, 1)]


def test_who_has_not_begun_is_in_the_class_by_name(listed: School) -> None:
    assert fetch(listed) == Fetched(3, 3)
    assert names(listed) == ["Ada Byron", "Bo Lindqvist", "Student 1"]
    assert fetch(listed) == Fetched(3, 0)
    asked = [one for one in listed.platform.log if "/members" in one]
    assert asked[:3] == [f"GET https://platform.example/members{more}" for more in ("", "?from=2", "?from=4")]


def test_who_is_fetched_and_then_comes_is_the_same_person(listed: School) -> None:
    fetch(listed)
    teacher = listed.visitor()
    drill = listed.drill(listed.teacher())
    teacher.post(teacher.enter(**TEACHER).location, {"drill": str(drill)})
    assert listed.visitor().enter().location == f"/drill/{drill}"
    assert names(listed) == ["Ada Byron", "Bo Lindqvist", "Student 1"]


def test_who_has_left_is_gone_from_the_class_and_back_with_all_they_had(listed: School) -> None:
    fetch(listed)
    ada = roster_queries.members_of(listed.store, 1)[0].learner
    with listed.store.writing():
        roster_queries.keep_extra_time(listed.store, 1, (ada,), 25)
    listed.platform.members = [one for one in PEOPLE if one["user_id"] != "4"]
    assert fetch(listed) == Fetched(2, 0, ("Ada Byron",))
    assert names(listed) == ["Bo Lindqvist", "Student 1"]
    assert listed.store.learner(ada) is not None
    listed.platform.members = list(PEOPLE)
    assert fetch(listed) == Fetched(3, 1)
    back = roster_queries.member_of(listed.store, 1, ada)
    assert back is not None
    assert back.extra_time == 25


@pytest.mark.parametrize("members", [[], [person("2", "Marit Osei", "Instructor")]])
def test_a_list_without_learners_empties_no_class(listed: School, members: list[dict[str, Any]]) -> None:
    fetch(listed)
    listed.platform.members = members
    with pytest.raises(NoList, match="nothing was changed"):
        fetch(listed)
    assert len(names(listed)) == 3


def test_pages_elsewhere_in_circles_or_without_end_are_not_followed(listed: School) -> None:
    def with_link(target: str) -> None:
        def ask(method: str, url: str, **how: Any) -> Any:
            reply = SmallPlatform.ask(listed.platform, method, url, **how)
            is_page = "/members" in url
            return type(reply)(reply.status, reply.body, {"link": f'<{target}>; rel="next"'}) if is_page else reply

        listed.state.services.ask = ask

    for target in ("https://evil.example/members", "https://platform.example/members"):
        with_link(target)
        with pytest.raises(NoList, match="next page"):
            fetch(listed)
    assert names(listed) == []


def test_the_next_page_is_read_from_the_header_as_rfc_8288_has_it() -> None:
    assert course_list.next_page('<https://a/1>; rel="prev", <https://a/3>; rel="next"') == "https://a/3"
    assert course_list.next_page("<https://a/3>;rel=next") == "https://a/3"
    assert course_list.next_page('<https://a/3>; title="x"; rel="next"; a=b') == "https://a/3"
    assert course_list.next_page('<https://a/3>; rel="nextish"') is None
    assert course_list.next_page("") is None


def test_the_teacher_fetches_it_by_a_button_and_once_a_day_by_coming(listed: School) -> None:
    teacher = listed.visitor()
    teacher.enter(**TEACHER)
    assert "3 learners in the course: 3 added" in teacher.post("/class/1/platform", {"do": "list"}).text
    before = len(listed.platform.log)
    listed.state.lists_wanted.clear()
    teacher.enter(**TEACHER)
    fetch_lists(listed.state, listed.store, listed.clock)
    assert not [one for one in listed.platform.log[before:] if "/members" in one]
    listed.clock.move(days=1.1)
    teacher.enter(**TEACHER)
    fetch_lists(listed.state, listed.store, listed.clock)
    assert [one for one in listed.platform.log[before:] if "/members" in one]


def test_no_address_of_a_person_is_kept(listed: School) -> None:
    listed.platform.members = [person("4", "Ada Byron", email="ada@school.example", picture="https://x.example/p.png")]
    fetch(listed)
    whole = "\n".join(all_rows(listed.store))
    assert "ada@school" not in whole
    assert "p.png" not in whole


def test_who_has_left_is_named_to_the_teacher_with_what_they_had(listed: School) -> None:
    fetch(listed)
    teacher = listed.visitor()
    teacher.enter(**TEACHER)
    drill = listed.drill(teacher)
    teacher.post(teacher.enter(**TEACHER).location, {"drill": str(drill)})
    bo = listed.visitor()
    bo.enter(sub="5", name="Bo Lindqvist")
    bo.post(f"/drill/{drill}/begin")
    listed.platform.members = [one for one in PEOPLE if one["user_id"] != "5"]
    said = teacher.post("/class/1/platform", {"do": "list"}).text
    assert "no longer in it: Bo Lindqvist." in said
    assert "No longer in the course" in said
    assert "0 of 2 right (0 %)" in said


def test_a_list_that_lacks_half_of_a_course_is_asked_about_first(listed: School) -> None:
    listed.platform.members = [person(str(number), f"Learner {number}") for number in range(10, 16)]
    fetch(listed)
    listed.platform.members = listed.platform.members[:3]
    with pytest.raises(ManyLeft, match="3 of 6 learners are no longer in the course: Learner 13, "):
        fetch(listed)
    assert len(names(listed)) == 6
    teacher = listed.visitor()
    teacher.enter(**TEACHER)
    asked = teacher.post("/class/1/platform", {"do": "list"})
    assert asked.status_code == 422
    assert "They have left the course" in asked.text
    assert len(names(listed)) == 6
    teacher.post("/class/1/platform", {"do": "left"})
    assert names(listed) == ["Learner 10", "Learner 11", "Learner 12"]


def test_a_refused_list_names_who_can_allow_it(listed: School) -> None:
    teacher = listed.visitor()
    teacher.enter(**TEACHER)
    ask = listed.platform.ask

    def refuses(method: str, url: str, **how: Any) -> Reply:
        return Reply(403, b"") if "/members" in url else ask(method, url, **how)

    listed.state.services.ask = refuses
    said = teacher.post("/class/1/platform", {"do": "list"}).text
    assert "the platform refused the list of Optics 2 (403): its administrator allows names and roles" in said


def test_a_course_without_a_class_asks_for_no_list_in_vain(school: School, caplog: pytest.LogCaptureFixture) -> None:
    school.visitor().enter(**TEACHER)
    fetch_lists(school.state, school.store, school.clock)
    assert "no list" not in caplog.text
