"""Grades on their way: none is lost by a kill, none counts twice, and a platform's rules are kept.

The rules were observed at a general course platform (quiz/lti/README.md); the form of a score is that of LTI Assignment
and Grade Services 2.0, section 3.4 (1EdTech).
"""

from __future__ import annotations

import re
from contextlib import closing

import pytest

from quiz.lti import grade_outbox, registering
from quiz.lti.courses import opaque
from quiz.lti.fetching import NoAnswer, Reply
from quiz.lti.services import Services
from quiz.storage import class_queries, roster_queries
from quiz.storage.platform import outcome_queries
from quiz.storage.platform.outcome_queries import DueGrade
from quiz.storage.store import Store
from tests.conftest import all_rows, written
from tests.quiz.class_people import waiting_in
from tests.quiz.lti.conftest import School
from tests.quiz.lti.small_platform import CLAIM, TEACHER, Visitor

ITEM = "/course-1/items/1"


def answer(school: School, visitor: Visitor, drill: int, *, right: bool = True) -> None:
    """Answer the case of a drill that waits."""
    dealt, case = waiting_in(visitor.get(f"/drill/{drill}"), school.store)
    texts = written(case)
    if not right:
        texts = dict.fromkeys(texts, "+19.75")
    reply = visitor.post(f"/case/{dealt}/answer", {f"answer-{name}": text for name, text in texts.items()})
    assert reply.status_code == 303, reply.text


def work_through(school: School, visitor: Visitor, drill: int, *right: bool) -> None:
    visitor.post(f"/drill/{drill}/begin")
    for one in right:
        answer(school, visitor, drill, right=one)


@pytest.fixture
def graded(school: School) -> School:
    """Make a course whose link opens drill 1, of two cases."""
    teacher = school.teacher()
    drill = school.drill(teacher)
    link = teacher.enter(**TEACHER).location
    teacher.post(link, {"drill": str(drill)})
    return school


def ada(school: School) -> Visitor:
    visitor = school.visitor()
    assert visitor.enter().location == "/drill/1"
    return visitor


def kept(school: School) -> DueGrade:
    found = outcome_queries.grade(school.store, 1, 1)
    assert found is not None
    return found


def send(school: School) -> int:
    return grade_outbox.send_all(school.store, school.state.services, now=school.clock())


def test_a_grade_is_sent_when_a_run_ends_and_not_before(graded: School) -> None:
    visitor = ada(graded)
    work_through(graded, visitor, 1, True)
    assert send(graded) == 0
    answer(graded, visitor, 1, right=False)
    assert send(graded) == 1
    assert graded.platform.posts == [
        {
            "userId": "4",
            "scoreGiven": 1.0,
            "scoreMaximum": 2.0,
            "comment": "1 of 2 right (50 %).",
            "timestamp": grade_outbox.time_stamp(graded.clock()),
            "activityProgress": "Completed",
            "gradingProgress": "FullyGraded",
        }
    ]
    assert graded.platform.log[-1] == "POST https://platform.example/course-1/items/1/scores?type_id=1"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", graded.platform.posts[0]["timestamp"])
    assert graded.platform.grades[ITEM, "4"]["score"] == 5.0  # of the item's 10
    assert send(graded) == 0
    assert kept(graded).sent_at == graded.clock()


def test_a_kill_between_answer_and_grade_loses_none(graded: School) -> None:
    """The grade is due in the transaction of the answer: another process, on the file as it is, sends it."""
    work_through(graded, ada(graded), 1, True, True)
    with closing(Store(graded.store._file)) as other:
        services = Services(graded.platform.ask)
        assert grade_outbox.send_all(other, services, now=graded.clock()) == 1
    assert [one["scoreGiven"] for one in graded.platform.posts] == [2.0]


def test_an_answer_that_is_not_kept_has_no_grade(graded: School) -> None:
    visitor = ada(graded)
    work_through(graded, visitor, 1, True)
    with pytest.raises(RuntimeError), graded.store.writing():  # noqa: PT012 - undone as a whole
        graded.store.change("UPDATE sittings SET ended_at = ? WHERE drill = 1", graded.clock())
        assert len(outcome_queries.grades_at(graded.store, 1)) == 1
        raise RuntimeError("killed")
    assert outcome_queries.grades_at(graded.store, 1) == []


def test_a_kill_after_sending_sends_none_twice(graded: School) -> None:
    """The platform has it, and the answer never came: sent again under the same stamp, it is refused and read back."""
    work_through(graded, ada(graded), 1, True, True)
    graded.platform.dies_after_taking = True
    with pytest.raises(KeyboardInterrupt):
        send(graded)
    graded.platform.dies_after_taking = False
    graded.clock.move(seconds=grade_outbox.HELD_S)
    assert kept(graded).sent_at is None
    assert send(graded) == 1
    assert len(graded.platform.posts) == 1
    assert kept(graded).sent_at == graded.clock()
    assert graded.platform.log[-1].startswith(
        "GET https://platform.example/course-1/items/1/results?type_id=1&user_id=4"
    )


def test_a_kill_before_sending_sends_it_once(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, True)

    def dies(*_: object, **__: object) -> Reply:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        grade_outbox.send_all(graded.store, Services(dies), now=graded.clock())
    stamp = kept(graded).stamp
    graded.clock.move(seconds=grade_outbox.HELD_S)
    assert send(graded) == 1
    assert [one["timestamp"] for one in graded.platform.posts] == [grade_outbox.time_stamp(stamp or 0.0)]


def test_what_one_process_is_sending_no_other_sends(graded: School) -> None:
    """With several processes over one data file each has a thread that sends."""
    work_through(graded, ada(graded), 1, True, True)
    due = outcome_queries.next_due(graded.store, graded.clock())
    assert due is not None
    with graded.store.writing():
        assert outcome_queries.claim(graded.store, due, graded.clock() + 5)
        assert not outcome_queries.claim(graded.store, due, graded.clock() + 5)
    assert send(graded) == 0
    graded.clock.move(seconds=5)
    assert send(graded) == 1
    assert len(graded.platform.posts) == 1


def test_a_later_score_has_a_later_stamp_in_whole_seconds(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, False)
    send(graded)
    with graded.store.writing():
        outcome_queries.make_due(graded.store, 1, 1, graded.clock())
    graded.clock.move(seconds=0.3)
    assert send(graded) == 1
    assert len(graded.platform.posts) == 2
    assert kept(graded).sent_at is not None


def test_a_grade_that_falls_due_while_one_is_sent_is_sent_too(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, False)

    def meanwhile(method: str, url: str, **how: object) -> Reply:
        reply = graded.platform.ask(method, url, **how)
        if url.endswith("/scores?type_id=1") and reply.status == 200 and len(graded.platform.posts) == 1:
            with closing(Store(graded.store._file)) as other, other.writing():
                outcome_queries.make_due(other, 1, 1, graded.clock())
        return reply

    assert grade_outbox.send_all(graded.store, Services(meanwhile), now=graded.clock()) == 2
    assert len(graded.platform.posts) == 2


@pytest.mark.parametrize("status", [408, 429, 500, 503, None])
def test_a_platform_that_cannot_be_asked_is_asked_again_and_again(graded: School, status: int | None) -> None:
    work_through(graded, ada(graded), 1, True, True)
    asks = 0

    def out_of_order(method: str, url: str, **how: object) -> Reply:
        nonlocal asks
        if "/scores" not in url:
            return graded.platform.ask(method, url, **how)
        asks += 1
        if status is None:
            raise NoAnswer("platform.example: TimeoutError")
        return Reply(status, b"")

    services = Services(out_of_order)
    for wait in (60, 300, 1800, 7200, 43200):
        assert grade_outbox.send_all(graded.store, services, now=graded.clock()) == 1
        graded.clock.move(seconds=wait - 1)
        assert grade_outbox.send_all(graded.store, services, now=graded.clock()) == 0
        graded.clock.move(seconds=1)
    assert grade_outbox.send_all(graded.store, services, now=graded.clock()) == 1
    assert asks == 6
    assert kept(graded).next_at is None
    assert kept(graded).last_error
    assert registering.send_again(graded.store, now=graded.clock()) == 1
    assert send(graded) == 1
    assert len(graded.platform.posts) == 1


@pytest.mark.parametrize("status", [400, 403, 404])
def test_a_grade_that_is_refused_is_shown_to_the_teacher_and_not_tried_again(graded: School, status: int) -> None:
    work_through(graded, ada(graded), 1, True, True)
    graded.platform.fails = [status]
    send(graded)
    graded.clock.move(days=3)
    assert send(graded) == 0
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    page = teacher.get("/class/1/platform").text
    assert f"refused the grade ({status})" in page
    assert "Ada Byron" in page
    assert teacher.post("/class/1/platform", {"do": "send"}).status_code == 200
    assert send(graded) == 1
    assert graded.platform.grades[ITEM, "4"]["score"] == 10.0


def test_a_token_that_is_refused_is_fetched_once_more(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, True)
    send(graded)
    assert graded.platform.asked_tokens == 1
    graded.platform.tokens.clear()
    graded.clock.move(seconds=10)
    with graded.store.writing():
        outcome_queries.make_due(graded.store, 1, 1, graded.clock())
    send(graded)
    assert graded.platform.asked_tokens == 2
    assert len(graded.platform.posts) == 2


def test_a_platform_with_a_later_grade_gets_a_later_stamp(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, True)
    graded.platform.grades[ITEM, "4"] = {"score": 3.0, "at": graded.clock() + 30}
    send(graded)
    assert "later grade" in (kept(graded).last_error or "")
    assert graded.platform.grades[ITEM, "4"]["score"] == 3.0
    graded.clock.move(seconds=61)
    send(graded)
    assert graded.platform.grades[ITEM, "4"]["score"] == 10.0


def test_every_way_in_which_a_run_ends_makes_its_grade_due(graded: School) -> None:
    """Handed in, closed by hand, or its class archived."""
    visitor = ada(graded)
    work_through(graded, visitor, 1, True)
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    teacher.post("/class/1/drill/1/close")
    grade_outbox.sweep(graded.store, now=graded.clock() + 1)
    graded.clock.move(seconds=1)
    assert send(graded) == 1
    assert graded.platform.posts[-1]["scoreGiven"] == 1.0
    grade_outbox.sweep(graded.store, now=graded.clock())
    assert send(graded) == 0
    teacher.post("/class/1/drill/1/open")
    graded.clock.move(seconds=60)
    answer(graded, visitor, 1)
    assert send(graded) == 1
    assert graded.platform.posts[-1]["scoreGiven"] == 2.0


def test_a_drill_done_before_its_link_was_known_is_graded_at_the_launch(school: School) -> None:
    teacher = school.teacher()
    drill = school.drill(teacher)
    grades = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"
    new = {"https://purl.imsglobal.org/spec/lti/claim/resource_link": {"id": "link-9"}}
    teacher.post(teacher.enter(**TEACHER, **new, **{grades: None}).location, {"drill": str(drill)})
    visitor = school.visitor()
    visitor.enter(**new, **{grades: None})
    work_through(school, visitor, drill, True, True)
    assert send(school) == 0
    graded = {grades: {"lineitem": "https://platform.example/course-1/items/9"}}
    visitor.enter(**new, **graded)
    visitor.enter(**new, **graded)
    assert send(school) == 1
    assert school.platform.posts[-1]["scoreGiven"] == 2.0


def test_a_platform_that_is_off_is_sent_nothing(graded: School) -> None:
    work_through(graded, ada(graded), 1, True, True)
    registering.turn_off(graded.store, graded.registration)
    before = list(graded.platform.log)
    send(graded)
    assert graded.platform.log == before


def test_two_registrations_have_tokens_of_their_own(graded: School) -> None:
    """One issuer may have two clients; a token of one is never used for the other."""
    services, platform = graded.state.services, graded.platform
    one = registering.get(graded.store, graded.registration)
    other = type(one)(**{**vars(one), "id": 2})
    for registration in (one, other, one, other):
        services.call(graded.store, registration, "a/b", "GET", "https://platform.example/members", now=graded.clock())
    assert platform.asked_tokens == 2


def test_every_score_has_a_number_and_no_more_than_its_maximum(graded: School) -> None:
    """A score without a number wiped the grade that was there, and more than the maximum was taken: neither is sent."""
    work_through(graded, ada(graded), 1, False, False)
    send(graded)
    assert all(0 <= one["scoreGiven"] <= one["scoreMaximum"] for one in graded.platform.posts)
    assert {one["gradingProgress"] for one in graded.platform.posts} == {"FullyGraded"}


# --- a learner who was deleted, and comes back -----------------------------------------------------------------------


def deleted_and_back(school: School, visitor: Visitor) -> Visitor:
    """Let a learner delete themselves and come again by the same link."""
    assert visitor.post("/progress/delete", {"sure": "yes"}).status_code in (200, 303)
    back = school.visitor()
    assert back.enter().location == "/drill/1"
    return back


def test_a_graded_drill_is_not_taken_again_by_deleting_oneself(school: School) -> None:
    """The grade stays as it was sent; a preceptor alone lets the learner begin again, and then it is replaced."""
    teacher = school.teacher()
    school.drill(teacher, counts="yes")
    link = teacher.enter(**TEACHER).location
    teacher.post(link, {"drill": "1"})
    visitor = ada(school)
    work_through(school, visitor, 1, False, False)
    assert send(school) == 1
    school.clock.move(seconds=60)
    back = deleted_and_back(school, visitor)
    assert "You had begun it and deleted your answers" in back.get("/drill/1").text
    assert back.post("/drill/1/begin").status_code == 404
    page = teacher.get("/class/1/drill/1").text
    assert "Ada Byron had begun this drill. Those answers were deleted on" in page
    assert "One who comes by a link of the course begins at once" in page
    learner = roster_queries.members_of(school.store, 1)[0].learner
    assert teacher.post("/class/1/drill/1/let-in", {"learner": str(learner)}).status_code == 303
    assert "had begun this drill" not in teacher.get("/class/1/drill/1").text
    work_through(school, back, 1, True, True)
    assert send(school) == 1
    assert [one["scoreGiven"] for one in school.platform.posts] == [0.0, 2.0]


def test_a_second_run_is_practice_until_a_teacher_sends_its_grade(graded: School) -> None:
    """A drill that is not marked as graded can be taken again, but the course keeps the grade that it has."""
    visitor = ada(graded)
    work_through(graded, visitor, 1, False, False)
    assert send(graded) == 1
    graded.clock.move(seconds=60)
    back = deleted_and_back(graded, visitor)
    work_through(graded, back, 1, True, True)
    for _ in range(2):
        send(graded)
        assert [one["scoreGiven"] for one in graded.platform.posts] == [0.0]
        graded.clock.move(days=2)
        grade_outbox.sweep(graded.store, now=graded.clock())
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    assert "the grade in the course stands" in teacher.get("/class/1/platform").text
    teacher.post("/class/1/platform", {"do": "send"})  # sending again what failed lets nothing be replaced
    send(graded)
    assert len(graded.platform.posts) == 1
    learner = roster_queries.members_of(graded.store, 1)[0].learner
    assert teacher.post("/class/1/platform", {"replace": f"1 {learner}"}).status_code == 200
    send(graded)
    assert [one["scoreGiven"] for one in graded.platform.posts] == [0.0, 2.0]


def test_what_is_kept_of_a_deleted_learner_has_no_name_and_no_number_of_the_platform(graded: School) -> None:
    visitor = graded.visitor()
    visitor.enter(sub="subject-4711")
    work_through(graded, visitor, 1, True)
    assert visitor.post("/progress/delete", {"sure": "yes"}).status_code in (200, 303)
    whole = "\n".join(all_rows(graded.store))
    assert "Ada" not in whole
    assert "subject-4711" not in whole
    assert graded.store.fetch("SELECT count(*) FROM lti_earlier_runs")[0][0] == 1


def test_a_learner_who_had_not_begun_begins_at_once_after_deleting_themselves(school: School) -> None:
    teacher = school.teacher()
    school.drill(teacher, counts="yes")
    teacher.post(teacher.enter(**TEACHER).location, {"drill": "1"})
    back = deleted_and_back(school, ada(school))
    assert back.post("/drill/1/begin").status_code == 303


def test_grades_go_to_the_new_link_when_a_column_was_deleted(graded: School) -> None:
    """The teacher puts the drill in again and opens the new link: nobody who has finished need open it as well."""
    work_through(graded, ada(graded), 1, True, True)
    graded.platform.fails = [404]
    send(graded)
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    page = teacher.get("/class/1/platform").text
    assert "The column of this link was deleted in the course" in page
    again = {f"{CLAIM}resource_link": {"id": "link-2", "title": "Again"}}
    again["https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"] = {
        "lineitem": f"{graded.platform.issuer}/course-1/items/2"
    }
    drill = class_queries.drill_of_id(graded.store, 1)
    assert drill is not None
    teacher.launch(**TEACHER, **again, **{f"{CLAIM}custom": {"drill": opaque(graded.store, drill)}})
    assert send(graded) == 1
    assert graded.platform.grades["/course-1/items/2", "4"]["score"] == 10.0
    assert teacher.post("/class/1/platform", {"remove": "2"}).status_code == 422  # it is used
    assert teacher.post("/class/1/platform", {"remove": "1"}).status_code == 200
    assert "was deleted in the course" not in teacher.get("/class/1/platform").text


def test_a_grade_of_who_has_left_has_a_name_and_the_log_names_the_course(
    graded: School, caplog: pytest.LogCaptureFixture
) -> None:
    work_through(graded, ada(graded), 1, True, True)
    graded.platform.gone = {"4"}
    send(graded)
    assert "a grade of “First drill” in Optics 2 was not sent" in caplog.text
    learner = roster_queries.members_of(graded.store, 1)[0].learner
    with graded.store.writing():
        roster_queries.leave_class(graded.store, 1, learner)
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    assert "Ada Byron (no longer in the course)" in teacher.get("/class/1/platform").text


def test_a_learner_sees_whether_the_grade_is_in_the_course(graded: School) -> None:
    visitor = ada(graded)
    assert "Graded in Optics 2: your score goes there when you finish." in visitor.get("/drill/1").text
    work_through(graded, visitor, 1, True, False)
    assert "Your score is on its way to Optics 2." in visitor.get("/drill/1").text
    assert 'data-awaits="/drill/1/sent"' in visitor.get("/drill/1").text
    assert visitor.get("/drill/1/sent").json == {"sent": False}
    graded.platform.fails = [403]
    send(graded)
    assert "Your score was not taken by Optics 2. Your teacher sees why." in visitor.get("/drill/1").text
    registering.send_again(graded.store, now=graded.clock())
    graded.platform.fails = [503]
    send(graded)
    assert "not arrived in Optics 2 yet. It is sent again by itself." in visitor.get("/drill/1").text
    registering.send_again(graded.store, now=graded.clock())
    send(graded)
    assert "Sent to Optics 2: 1 of 2." in visitor.get("/drill/1").text
    assert "data-awaits" not in visitor.get("/drill/1").text
    assert visitor.get("/drill/1/sent").json == {"sent": True}


def test_a_drill_that_closes_half_way_says_what_becomes_of_its_grade(graded: School) -> None:
    visitor = ada(graded)
    work_through(graded, visitor, 1, True)
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    teacher.post("/class/1/drill/1/close")
    assert "when you finish" not in visitor.get("/drill/1").text
    grade_outbox.sweep(graded.store, now=graded.clock())
    send(graded)
    assert "Sent to Optics 2: 1 of 2." in visitor.get("/drill/1").text


def test_pages_know_who_comes_from_a_course(graded: School) -> None:
    visitor = ada(graded)
    assert "open a link in your course" in visitor.get("/class").text
    assert "You come from a course" in graded.visitor().get("/door").text
    teacher = graded.visitor()
    teacher.enter(**TEACHER)
    page = teacher.get("/class/1").text
    assert "Learners come in from the course Optics 2." in page
    assert "the name and the number that it gave for them" in page
    registering.turn_off(graded.store, 1)
    assert "You come from a course" not in graded.visitor().get("/door").text
