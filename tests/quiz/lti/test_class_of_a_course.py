"""The class of a course is archived, made anew or taken off; links, as copied courses have them, are set again."""

from __future__ import annotations

import pytest
from werkzeug.test import TestResponse

from quiz.lti import course_list, grade_outbox
from quiz.lti.course_list import NoList
from quiz.lti.courses import opaque
from quiz.storage import class_queries, roster_queries
from quiz.storage.platform import lti_queries
from tests.quiz.class_people import DRILL
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import CLAIM, TEACHER, Visitor, hidden
from tests.quiz.lti.test_deep_links import asks
from tests.quiz.lti.test_grade_outbox import work_through

OTHER = {**TEACHER, "sub": "3", "name": "Jun Park"}


@pytest.fixture
def ready(school: School) -> School:
    """Make a course whose link opens drill 1, of two cases, and a learner in it."""
    teacher = school.teacher()
    drill = school.drill(teacher)
    teacher.post(teacher.enter(**TEACHER).location, {"drill": str(drill)})
    school.visitor().enter()
    return school


def taught(school: School, **claims: object) -> Visitor:
    teacher = school.visitor()
    teacher.enter(**{**TEACHER, **claims})
    return teacher


def archived(school: School) -> Visitor:
    teacher = taught(school)
    assert teacher.post("/class/1/keeping/archive", {"act": "archive"}).status_code == 303
    return teacher


def off(visitor: Visitor, **form: str) -> TestResponse:
    return visitor.post("/class/1/platform/off", {"course": "1", **form})


def class_of_course(school: School) -> int | None:
    found = lti_queries.course_of_id(school.store, 1)
    assert found is not None
    return found.class_id


def test_an_archived_class_says_so_to_learners_and_takes_no_new_one(ready: School) -> None:
    archived(ready)
    known = ready.visitor()
    assert "The class of Optics 2 was put into the archive on" in known.enter().text
    assert known.get("/").status_code == 200
    new = ready.visitor().launch(sub="9", name="Bo")
    assert new.status_code == 403
    assert "(LTI 19)" in new.text
    assert len(roster_queries.members_of(ready.store, 1)) == 1


def test_an_archived_class_says_so_to_its_teacher_who_makes_a_new_one(ready: School) -> None:
    archived(ready)
    teacher = ready.visitor()
    assert teacher.enter(**TEACHER).location == "/class/1/platform"
    page = teacher.get("/class/1/platform").text
    assert "This class was put into the archive on" in page
    assert "Fetch the course list" not in page
    assert off(teacher, do="new").location == "/class/2/platform"
    one = class_queries.class_of_id(ready.store, 2)
    assert one is not None
    assert (one.name, class_of_course(ready)) == ("Optics 2 (2026)", 2)

    # The link's drill is of the class before: its learners are told, its teacher is asked.
    assert "(LTI 12)" in ready.visitor().launch().text
    assert teacher.enter(**TEACHER).location == "/course/1/link/1"
    drill = ready.drill(teacher, 2)
    assert teacher.post("/course/1/link/1", {"drill": str(drill)}).location == "/class/2/platform?set=1"
    assert "“First drill” opens the drill “Net from gross” now." in teacher.get("/class/2/platform", set="1").text
    ready.visitor().enter()
    ada = roster_queries.members_of(ready.store, 1)[0].learner
    assert [each.learner for each in roster_queries.members_of(ready.store, 2)] == [ada]


def test_any_teacher_of_the_course_makes_a_new_class_for_an_archived_one_and_no_other(ready: School) -> None:
    taught(ready, **OTHER)
    archived(ready)
    assert off(taught(ready, **OTHER), do="new").location == "/class/2/platform"
    assert off(taught(ready, **OTHER), do="new").status_code == 422  # it is of that class no more


def test_a_class_that_is_not_archived_is_left_only_by_its_owner_who_ticks_the_box(ready: School) -> None:
    assert off(taught(ready, **OTHER), do="new").status_code == 403
    assert off(taught(ready, **OTHER), sure="yes").status_code == 403
    teacher = taught(ready)
    assert "tick the box" in off(teacher).text
    assert off(teacher, do="new").status_code == 422
    assert teacher.post("/class/1/platform/off", {"course": "7", "sure": "yes"}).status_code == 422
    assert class_of_course(ready) == 1
    assert off(teacher, sure="yes").location == "/class/1"
    assert class_of_course(ready) is None
    assert teacher.enter(**TEACHER).location == "/course/1"
    assert "(LTI 11)" in ready.visitor().launch().text
    assert teacher.post("/course/1", {"class": "1"}).location == "/class/1/platform"
    assert ready.visitor().enter().location == "/drill/1"


def test_a_link_that_names_a_drill_of_another_class_opens_the_one_that_its_teacher_chooses(ready: School) -> None:
    """As in a course that was copied on the platform: it brings the names of the drills of the course before."""
    first = class_queries.drill_of_id(ready.store, 1)
    assert first is not None
    copied = {
        f"{CLAIM}context": {"id": "course-2", "title": "Optics 3"},
        f"{CLAIM}custom": {"drill": opaque(ready.store, first)},
    }
    teacher = ready.visitor()
    assert teacher.enter(**TEACHER, **copied).location == "/course/2"
    teacher.post("/course/2", {"do": "make"})
    assert "(LTI 12)" in ready.visitor().launch(**copied).text
    link = teacher.enter(**TEACHER, **copied).location
    assert link.startswith("/course/2/link/")
    drill = ready.drill(teacher, 2)
    teacher.post(link, {"drill": str(drill)})
    assert ready.visitor().enter(**copied).location == f"/drill/{drill}"
    assert ready.visitor().enter(**copied).location == f"/drill/{drill}"


def test_no_list_is_fetched_into_an_archived_class(ready: School) -> None:
    archived(ready)
    course = lti_queries.course_of_id(ready.store, 1)
    assert course is not None
    with pytest.raises(NoList, match="in the archive"):
        course_list.fetch_list(ready.store, ready.state.services, course, now=ready.clock())


def test_no_drill_of_an_archived_class_is_put_into_a_course(ready: School) -> None:
    archived(ready)
    visitor = ready.visitor()
    page = visitor.launch(**asks())
    assert "The class of this course is in the archive" in page.text
    assert "Net from gross" not in page.text
    assert visitor.post("/lti/choose", {"choice": hidden(page, "choice"), "drill": "1"}).status_code == 422
    assert visitor.post("/lti/enter", {"ticket": hidden(page, "ticket")}).location == "/class/1/platform"


def test_a_list_that_is_shown_again_keeps_what_was_chosen(ready: School) -> None:
    visitor = taught(ready)
    ready.drill(visitor)
    page = visitor.launch(**asks())
    assert "checked" not in page.text  # of two drills none is chosen for the teacher
    form = {"choice": hidden(page, "choice"), "drill": "2", "points": "15", "do": "list"}
    again = visitor.post("/lti/choose", form)
    assert 'value="2" checked' in again.text
    assert 'value="15"' in again.text
    assert "Please correct" not in again.text


def test_the_last_step_says_that_nothing_is_in_the_course_and_that_a_draft_is_one(ready: School) -> None:
    teacher = taught(ready)
    teacher.post("/class/1/drill", {**DRILL, "title": "Later"})
    for drill, words in (("1", ""), ("2", "It is still a draft: open it")):
        page = teacher.launch(**asks())
        last = teacher.post("/lti/choose", {"choice": hidden(page, "choice"), "drill": drill, "points": "15"})
        assert "Nothing is in the course yet" in last.text
        assert "15 points in the course" in last.text
        assert words in last.text
        assert words or "draft" not in last.text


def test_the_page_has_names_and_days_of_grades_and_who_came_without_a_name(ready: School) -> None:
    visitor = ready.visitor()
    visitor.enter()
    work_through(ready, visitor, 1, True, False)
    ready.visitor().enter(sub="7", name=None)
    teacher = taught(ready)
    assert "Send again" not in teacher.get("/class/1/platform").text
    grade_outbox.send_all(ready.store, ready.state.services, now=ready.clock())
    page = teacher.get("/class/1/platform").text
    assert "Ada Byron: 1 of 2" in page
    assert "1 learner came without a name" in page
    assert "Grades not sent" not in page
