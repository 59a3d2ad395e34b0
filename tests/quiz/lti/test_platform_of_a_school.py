"""A course platform is one school's: its courses open classes of that school, and its teachers are in it alone."""

from __future__ import annotations

import pytest

from quiz.classroom import classes, preceptors, schools, sign_in
from quiz.classroom.classes import OfAnotherSchool
from quiz.lti import courses, registering
from quiz.lti.courses import NotOfCourse
from quiz.practice.randomness import Lots
from quiz.storage import class_queries, roster_queries
from quiz.storage.organisation import school_queries
from quiz.storage.platform import lti_queries
from tests.conftest import NOON, lots
from tests.quiz.class_people import PASSWORD
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import TEACHER


@pytest.fixture
def southgate(school: School) -> School:
    """Give the platform to the second of two schools."""
    south = schools.make(school.store, "Southgate", by="Test", now=NOON)
    with school.store.writing():
        school.store.change("UPDATE lti_registrations SET school = ?", south.id)
    return school


def test_a_teacher_of_a_platform_and_the_class_are_of_its_school(southgate: School) -> None:
    southgate.teacher()
    store = southgate.store
    one = class_queries.class_of_id(store, 1)
    assert one is not None
    assert one.school == 2
    assert [each.school for each in school_queries.schools_of(store, one.preceptor)] == [2]
    said = [schools.in_words(each) for each in school_queries.changes_of(store, 2, 9)]
    assert said[0].endswith("added Marit Osei as a preceptor")
    assert school_queries.changes_of(store, 1, 9)[0].whom == "Server"


def test_a_course_never_opens_a_class_of_another_school(southgate: School) -> None:
    store = southgate.store
    sign_in.add_preceptor(store, "Jun Park", PASSWORD, now=NOON, school=1)
    known = southgate.visitor()
    known.post("/door/sign-in", {"preceptor": "Jun Park", "password": PASSWORD})
    assert known.post("/class", {"name": "Of school one"}).location == "/class/1"
    came = southgate.visitor()
    assert came.enter(**TEACHER).location == "/course/1"
    assert came.post("/course/1/sign-in", {"preceptor": "Jun Park", "password": PASSWORD}).location == "/course/1"
    jun = preceptors.named(store, "Jun Park")
    assert [one.school for one in school_queries.schools_of(store, jun.id)] == [1, 2], "the platform vouches for them"
    assert "Of school one" not in came.get("/course/1").text
    assert came.post("/course/1", {"class": "1"}).status_code == 422
    course = lti_queries.course_of_id(store, 1)
    assert course is not None
    with pytest.raises(NotOfCourse):
        courses.use_class(store, course, jun, 1, now=NOON)
    with store.writing():  # even where the file says so
        lti_queries.keep_class_of(store, course.id, 1)
    course = lti_queries.course_of_id(store, 1)
    assert course is not None
    assert courses.class_of(store, course) is None
    assert "(LTI 11)" in southgate.visitor().launch().text, "a learner finds no class"


def test_a_teacher_who_was_removed_from_the_school_comes_as_someone_new(southgate: School) -> None:
    southgate.teacher()
    store = southgate.store
    south = schools.get(store, 2)
    sign_in.add_preceptor(store, "Ines", PASSWORD, now=NOON, school=2)
    whom, to = (
        schools.person(store, south, preceptors.named(store, name).id, now=NOON) for name in ("Marit Osei", "Ines")
    )
    schools.remove_person(store, south, whom, to=to, by="Ines", now=NOON)
    assert lti_queries.users_of(store, 1, "teacher") == []
    again = southgate.visitor()
    again.enter(**TEACHER)
    names = {one.name for one in roster_queries.preceptors(store)}
    assert names == {"Server", "Ines", "Marit Osei"}
    assert preceptors.named(store, "Marit Osei").id != whom.preceptor


def test_a_learner_who_went_to_another_school_is_not_taken_into_both(southgate: School) -> None:
    southgate.teacher()
    store = southgate.store
    course, registration = lti_queries.course_of_id(store, 1), lti_queries.registration_of_id(store, 1)
    one = class_queries.class_of_id(store, 1)
    assert course is not None
    assert registration is not None
    assert one is not None
    with store.writing():
        user = courses.learner_for(store, registration, course, one, "5", "Ada", NOON)
        assert user.learner is not None
        roster_queries.leave_class(store, one.id, user.learner)
    sign_in.add_preceptor(store, "Jun Park", PASSWORD, now=NOON, school=1)
    number = classes.make(store, preceptors.named(store, "Jun Park"), "North", now=NOON, lots=lots())
    with store.writing():
        roster_queries.add_member(store, user.learner, number, NOON)
    with store.writing(), pytest.raises(OfAnotherSchool):
        courses.learner_for(store, registration, course, one, "5", "Ada", NOON)


def test_an_invitation_of_a_platform_names_its_school(school: School) -> None:
    south = schools.make(school.store, "Southgate", by="Test", now=NOON)
    secret = registering.invite(school.store, school=south.id, now=NOON, lots=Lots())
    assert registering.invited_school(school.store, secret, now=NOON) == south.id
    assert registering.invited_school(school.store, "another", now=NOON) is None
    assert registering.invited_school(school.store, secret, now=NOON + 3600) is None


def test_a_second_teacher_who_signs_in_is_one_preceptor(southgate: School) -> None:
    """What the platform called them goes, where it was a co-teacher alone too."""
    southgate.teacher()
    store = southgate.store
    sign_in.add_preceptor(store, "Jun Park", PASSWORD, now=NOON, school=1)
    southgate.visitor().enter(**{**TEACHER, "sub": "9", "name": "J. Park"})
    course = lti_queries.course_of_id(store, 1)
    user = lti_queries.user_with(store, 1, "9", "teacher")
    assert course is not None
    assert user is not None
    courses.be_preceptor(store, course, user, preceptors.named(store, "Jun Park"), now=NOON)
    assert {one.name for one in roster_queries.preceptors(store)} == {"Server", "Marit Osei", "Jun Park"}
    one = class_queries.class_of_id(store, 1)
    assert one is not None
    assert roster_queries.role_in(store, one, preceptors.named(store, "Jun Park").id) == "co-teacher"
