"""From the app back to the course, a tab that is opened again, and two records that are one person's."""

from __future__ import annotations

import pytest

from quiz.lti import grade_outbox
from quiz.storage import roster_queries
from quiz.storage.platform import lti_queries
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import CLAIM, TEACHER, Visitor, hidden
from tests.quiz.lti.test_grade_outbox import work_through

BACK = "https://platform.example/course-1?a=1&b=2"
SHOWN = 'href="https://platform.example/course-1?a=1&amp;b=2">Back to Optics 2'


def back_to(url: object) -> dict[str, object]:
    return {f"{CLAIM}launch_presentation": {"return_url": url}}


@pytest.fixture
def ready(school: School) -> School:
    """Make a course whose link opens drill 1, of two cases."""
    teacher = school.teacher()
    drill = school.drill(teacher)
    teacher.post(teacher.enter(**TEACHER).location, {"drill": str(drill)})
    return school


def test_the_end_of_a_drill_and_ones_own_page_lead_back_to_the_course(ready: School) -> None:
    visitor = ready.visitor()
    visitor.enter(**back_to(BACK))
    assert SHOWN in visitor.get("/class").text
    work_through(ready, visitor, 1, True, False)
    assert SHOWN in visitor.get("/drill/1").text
    visitor.post("/class/mine/phrase")
    assert SHOWN in visitor.get("/class").text
    visitor.post("/door/leave")
    assert "Back to Optics 2" not in visitor.get("/door").text


@pytest.mark.parametrize(
    "url",
    [
        *("http://platform.example/course-1", "https://other.example/course-1", "javascript:alert(1)", None, 7),
        *(
            "https://platform.example.other.example/",
            "https://platform.example:444/",
            f"https://platform.example/{'x' * 990}",
        ),
    ],
)
def test_a_way_back_that_is_not_the_platforms_own_is_none(ready: School, url: object) -> None:
    visitor = ready.visitor()
    visitor.enter(**back_to(url))
    page = visitor.get("/class").text
    assert "Back to Optics 2" not in page
    assert "Close this tab to go back there." in page


def test_who_comes_in_otherwise_has_no_way_back(ready: School) -> None:
    teacher = ready.visitor()
    teacher.enter(**TEACHER)
    teacher.post("/class/1/code")
    code = lti_class_code(ready)
    visitor = ready.visitor()
    visitor.enter(**back_to(BACK))
    visitor.post("/door/join", {"form": "a" * 22, "code": code, "name": "Bo"})
    assert "Bo" in visitor.get("/class").text
    assert "Optics 2</a>" not in visitor.get("/class").text


def lti_class_code(school: School) -> str:
    return str(school.store.fetch("SELECT code FROM classes WHERE id = 1")[0][0])


def test_the_button_of_a_launch_opens_its_tab_again_in_the_same_browser(ready: School) -> None:
    visitor = ready.visitor()
    ticket = hidden(visitor.launch(), "ticket")
    for _ in range(2):
        assert visitor.post("/lti/enter", {"ticket": ticket}).location == "/drill/1"
    assert "(LTI 04)" in ready.visitor().post("/lti/enter", {"ticket": ticket}).text
    visitor.post("/door/leave")
    assert "(LTI 04)" in visitor.post("/lti/enter", {"ticket": ticket}).text


def joined(school: School, name: str) -> Visitor:
    """Let somebody join the class of the course by its code, beside the course."""
    teacher = school.visitor()
    teacher.enter(**TEACHER)
    teacher.post("/class/1/code")
    came = school.visitor()
    form = came.get("/door").text.split('name="form" value="', 1)[1].split('"', 1)[0]
    assert came.post("/door/join", {"form": form, "code": lti_class_code(school), "name": name}).status_code == 200
    return came


def test_who_is_merged_stays_the_person_of_the_course(ready: School) -> None:
    """The record that stays is the one that answered: the link of the other to the platform goes over to it."""
    code = joined(ready, "Ada B")
    work_through(ready, code, 1, True, True)
    ready.visitor().enter()
    both = {one.name: one.learner for one in roster_queries.members_of(ready.store, 1)}
    assert len(both) == 2
    teacher = ready.visitor()
    teacher.enter(**TEACHER)
    assert teacher.post("/class/1/people/merge", {"learner": [str(one) for one in both.values()]}).status_code == 303
    assert [one.learner for one in roster_queries.members_of(ready.store, 1)] == [both["Ada B"]]
    assert [one.learner for one in lti_queries.users_of(ready.store, 1, "learner")] == [both["Ada B"]]

    assert grade_outbox.send_all(ready.store, ready.state.services, now=ready.clock()) == 1
    assert [(one["userId"], one["scoreGiven"]) for one in ready.platform.posts] == [("4", 2.0)]
    again = ready.visitor()
    assert again.enter().location == "/drill/1"
    assert "2 of 2 right" in again.get("/drill/1").text
    assert len(roster_queries.members_of(ready.store, 1)) == 1


def test_two_people_of_one_course_are_not_made_one(ready: School) -> None:
    ready.visitor().enter()
    ready.visitor().enter(sub="5", name="Bo Lind")
    teacher = ready.visitor()
    teacher.enter(**TEACHER)
    ids = [str(one.learner) for one in roster_queries.members_of(ready.store, 1)]
    refused = teacher.post("/class/1/people/merge", {"learner": ids})
    assert refused.status_code == 422
    assert "are two people in the course Optics 2" in refused.text
    assert len(roster_queries.members_of(ready.store, 1)) == 2
