"""From a launch to the pages: tickets, courses and classes, who is who, and what a link opens."""

from __future__ import annotations

import json

import pytest

from quiz.classroom import sign_in
from quiz.classroom.classes import free_name
from quiz.lti.courses import opaque
from quiz.practice import learners
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.platform import lti_queries
from tests.conftest import NOON
from tests.leaks import leaks
from tests.quiz.class_people import DRILL, PASSWORD
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import CLAIM, MEMBER, TEACHER, Visitor, hidden


def klass(school: School, number: int = 1) -> Class:
    found = class_queries.class_of_id(school.store, number)
    assert found is not None
    return found


def link_drill(teacher: Visitor, drill: int, course: int = 1) -> None:
    """Let the teacher open the link, which was placed by hand, and choose its drill."""
    to = teacher.enter(**TEACHER).location
    assert to == f"/course/{course}/link/1"
    assert teacher.get(to).status_code == 200
    assert teacher.post(to, {"drill": str(drill)}).location == "/class/1/platform?set=1"


@pytest.fixture
def ready(school: School) -> School:
    """Make a course with a class and a drill that its link opens."""
    teacher = school.teacher()
    link_drill(teacher, school.drill(teacher))
    return school


def test_a_teacher_makes_the_class_and_chooses_the_drill_once(school: School) -> None:
    teacher = school.visitor()
    to = teacher.enter(**TEACHER).location
    assert to == "/course/1"
    page = teacher.get(to)
    assert "Make a class for this course" in page.text
    assert teacher.post(to, {"do": "make"}).location == "/class/1/platform"
    assert "Optics 2" in teacher.get("/class/1/platform").text
    one = klass(school)
    assert (one.name, one.code) == ("Optics 2", None)
    link_drill(teacher, school.drill(teacher))
    assert school.visitor().enter(**TEACHER).location == "/class/1/drill/1"


def test_a_learner_comes_to_the_drill_and_back_to_the_same_person(ready: School) -> None:
    first = ready.visitor()
    assert first.enter().location == "/drill/1"
    assert "Net from gross" in first.get("/drill/1").text
    assert ready.visitor().enter(name="Ada B. Byron").location == "/drill/1"
    assert [one.name for one in roster_queries.members_of(ready.store, 1)] == ["Ada Byron"]
    assert first.get("/").status_code == 200


def test_a_sign_in_from_a_platform_lasts_eight_hours(ready: School) -> None:
    visitor = ready.visitor()
    visitor.enter()
    ready.clock.move(seconds=8 * 3600 - 1)
    assert visitor.get("/").status_code == 200
    ready.clock.move(seconds=1)
    assert visitor.get("/").location == "/door"


def test_a_ticket_is_used_once_and_within_a_minute(ready: School) -> None:
    visitor = ready.visitor()
    ticket = hidden(visitor.launch(), "ticket")
    assert ticket not in str(ready.store.fetch("SELECT * FROM lti_tickets")[0][:])
    assert visitor.post("/lti/enter", {"ticket": ticket}).status_code == 303
    assert "(LTI 04)" in ready.visitor().post("/lti/enter", {"ticket": ticket}).text
    ticket = hidden(visitor.launch(), "ticket")
    ready.clock.move(seconds=60)
    assert "(LTI 04)" in visitor.post("/lti/enter", {"ticket": ticket}).text
    assert "(LTI 04)" in visitor.post("/lti/enter", {"ticket": ""}).text


def test_a_learner_waits_for_the_teacher(school: School) -> None:
    assert "(LTI 11)" in school.visitor().launch().text
    teacher = school.teacher()
    assert "(LTI 13)" in school.visitor().launch().text
    assert roster_queries.members_of(school.store, 1) == []
    # PostgreSQL gives the number of a course that a refused launch had begun to nobody else.
    (course,) = school.store.fetch("SELECT id FROM lti_contexts")
    link_drill(teacher, school.drill(teacher), course[0])
    assert school.visitor().enter().location == "/drill/1"


def test_nobody_is_taken_for_another_because_of_a_name(ready: School) -> None:
    with ready.store.writing():
        here = learners.added(ready.store, free_name(ready.store, klass(ready), "Ada Byron"), NOON)
        roster_queries.add_member(ready.store, here.id, 1, NOON)
    ready.visitor().enter()
    ready.visitor().enter(sub="5")
    assert [one.name for one in roster_queries.members_of(ready.store, 1)] == [
        "Ada Byron",
        "Ada Byron 2",
        "Ada Byron 3",
    ]
    sign_in.add_preceptor(ready.store, "Jun Park", PASSWORD, now=NOON)
    ready.visitor().enter(**{**TEACHER, "sub": "9", "name": "jun park"})
    names = {one.name for one in roster_queries.preceptors(ready.store)}
    assert names == {"jun park 2", "Jun Park", "Marit Osei", "Server"}


def test_names_that_cannot_be_taken_become_a_number(ready: School) -> None:
    ready.visitor().enter(sub="7", name=None)
    ready.visitor().enter(sub="8", name="\u0007")
    ready.visitor().enter(sub="9", name="x" * 300)
    names = [one.name for one in roster_queries.members_of(ready.store, 1)]
    assert names == ["Student", "Student 1", "x" * 50]


def test_no_password_opens_a_teacher_of_a_platform(ready: School) -> None:
    visitor = ready.visitor()
    for password in ("none", "", "a streak at ninety"):
        assert visitor.post("/door/sign-in", {"preceptor": "Marit Osei", "password": password}).status_code == 422


def test_a_second_teacher_is_a_co_teacher(ready: School) -> None:
    other = ready.visitor()
    other.enter(**{**TEACHER, "sub": "3", "name": "Jun Park"})
    assert other.get("/class/1").status_code == 200
    assert other.get("/class/1/keeping").status_code == 403
    assert [(one.name, one.role) for one in roster_queries.teachers_of(ready.store, 1)] == [("Jun Park", "co-teacher")]


def test_a_subject_is_one_person_in_all_courses_of_its_platform(ready: School) -> None:
    ready.visitor().enter()
    other = {f"{CLAIM}context": {"id": "course-2", "title": "Optics 3"}}
    teacher = ready.visitor()
    assert teacher.enter(**TEACHER, **other).location == "/course/2"
    teacher.post("/course/2", {"do": "make"})
    drill = ready.drill(teacher, 2)
    link = teacher.enter(**TEACHER, **other).location
    teacher.post(link, {"drill": str(drill)})
    ready.visitor().enter(**other)
    ada = roster_queries.members_of(ready.store, 1)[0].learner
    assert [one.learner for one in roster_queries.members_of(ready.store, 2)] == [ada]


def test_a_link_opens_no_drill_of_another_class(ready: School) -> None:
    other = {f"{CLAIM}context": {"id": "course-2", "title": "Optics 3"}}
    teacher = ready.visitor()
    teacher.enter(**TEACHER, **other)
    teacher.post("/course/2", {"do": "make"})
    here = teacher.enter(**TEACHER, **other).location
    assert teacher.post(here, {"drill": "1"}).status_code == 422  # of the first class
    first = class_queries.drill_of_id(ready.store, 1)
    assert first is not None
    custom = {f"{CLAIM}custom": {"drill": opaque(ready.store, first)}}
    assert "(LTI 12)" in ready.visitor().launch(**other, **custom).text
    assert ready.visitor().enter(**custom).location == "/drill/1"


def test_a_course_is_nobody_elses(ready: School) -> None:
    other = ready.visitor()
    other.enter(**{**TEACHER, "sub": "3"}, **{f"{CLAIM}context": {"id": "course-2", "title": "Other"}})
    for path in ("/course/1", "/course/1/link/1"):
        assert other.get(path).status_code == 404
        assert other.post(path, {"do": "make", "drill": "1"}).status_code == 404
    assert other.get("/class/1/platform").status_code == 404


def test_a_class_that_is_there_is_joined_by_a_teacher_who_is_signed_in_both_ways(school: School) -> None:
    sign_in.add_preceptor(school.store, "Jun Park", PASSWORD, now=NOON)
    known = school.visitor()
    known.post("/door/sign-in", {"preceptor": "Jun Park", "password": PASSWORD})
    assert known.post("/class", {"name": "Spring 2"}).location == "/class/1"
    came = school.visitor()
    assert came.enter(**TEACHER).location == "/course/1"
    assert came.post("/course/1", {"class": "1"}).status_code == 422
    wrong = came.post("/course/1/sign-in", {"preceptor": "Jun Park", "password": "wrong one, this"})
    assert wrong.status_code == 422
    assert came.post("/course/1/sign-in", {"preceptor": "Jun Park", "password": PASSWORD}).location == "/course/1"
    assert "Spring 2" in came.get("/course/1").text
    assert came.post("/course/1", {"class": "1"}).location == "/class/1/platform"
    assert {one.name for one in roster_queries.preceptors(school.store)} == {"Jun Park", "Server"}
    again = school.visitor()
    assert again.enter(**TEACHER).location == "/course/1/link/1"  # as Jun Park


def test_a_drill_that_counts_is_open_to_who_comes_later_from_the_course(school: School) -> None:
    teacher = school.teacher()
    drill = school.drill(teacher, counts="yes")
    link_drill(teacher, drill)
    school.clock.move(seconds=100)
    late = school.visitor()
    late.enter()
    assert late.post(f"/drill/{drill}/begin").status_code == 303


def test_who_deletes_themselves_leaves_no_row_and_is_told_of_grades(ready: School) -> None:
    visitor = ready.visitor()
    visitor.enter()
    own = [json.loads(line) for line in visitor.get("/progress/everything.jsonl").text.splitlines()]
    at = {"issuer": "https://platform.example", "course": "Optics 2", "subject": "4"}
    assert [one.items() >= at.items() for one in own if one["kind"] == "course platform"] == [True]
    assert "Grades that were sent" in visitor.get("/progress/delete").text
    assert visitor.post("/progress/delete", {"sure": "yes"}).status_code in (200, 303)
    for table in ("lti_users WHERE role = 'learner'", "lti_outcomes"):
        assert ready.store.fetch(f"SELECT count(*) FROM {table}")[0][0] == 0  # noqa: S608
    visitor = ready.visitor()
    assert visitor.enter().location == "/drill/1"
    assert visitor.get("/progress/answers.csv").text.count("\n") == 1


def test_no_page_of_a_platform_leaks(ready: School) -> None:
    """Every route of these areas is read, as tests/quiz/web/page_leaks.py reads the others."""
    teacher = ready.visitor()
    teacher.enter(**TEACHER)
    teacher.enter(**TEACHER, **{f"{CLAIM}context": {"id": "course-2", "title": "Optics 3"}})
    opened = {
        "lti.config": "/lti/config",
        "lti.login": "/lti/login",
        "lti.register": "/lti/register/guess",
        "lti.reloaded": "/lti/launch",
        "lti.jwks": "/lti/jwks.json",
        "courses.course": "/course/2",
        "courses.link": "/course/1/link/1",
        "courses.platform": "/class/1/platform",
    }
    rules = {one.endpoint for one in ready.app.url_map.iter_rules() if "GET" in (one.methods or ())}
    assert {one for one in rules if one.partition(".")[0] in ("lti", "courses")} == set(opened)
    pages = [teacher.get(path).text for path in opened.values()] + [ready.visitor().launch().text]
    assert leaks(pages) == []


def test_a_role_that_changes_makes_no_teacher_of_what_a_learner_did(ready: School) -> None:
    ready.visitor().enter()
    ready.visitor().enter(**{f"{CLAIM}roles": [f"{MEMBER}Instructor"]})
    assert len(lti_queries.users_of(ready.store, 1, "learner")) == 1
    assert len(lti_queries.users_of(ready.store, 1, "teacher")) == 2
    assert len(roster_queries.members_of(ready.store, 1)) == 1


def test_a_link_to_a_drill_that_is_not_open_says_so(school: School) -> None:
    teacher = school.teacher()
    made = teacher.post("/class/1/drill", {**DRILL, "cases": "2"}).location
    link_drill(teacher, 1)
    assert "This drill is not open yet." in school.visitor().enter().text
    teacher.post(f"{made}/open")
    assert school.visitor().enter().location == "/drill/1"
    teacher.post(f"{made}/close")
    late = school.visitor()
    assert "This drill was closed on" in late.enter(sub="9", name="Bo").text
    assert late.get("/class").status_code == 200
    assert leaks([late.enter(sub="9", name="Bo").text]) == []
