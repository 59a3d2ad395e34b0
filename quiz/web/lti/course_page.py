"""What the page of a class's courses shows: who is in them, what their links open, which grades are where."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from flask import make_response, render_template, url_for
from werkzeug.wrappers import Response

from quiz.lti import grade_outbox
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.platform import lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import Course, CourseLink
from quiz.storage.platform.outcome_queries import DueGrade
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change
from quiz.web.drill_views import day_of, moment
from quiz.web.lti import platform_state
from quiz.web.request_context import CourseHere

_NAMELESS = re.compile(r"Student(?: \d{1,4})?")
"""The names of learners whom the platform gave none."""


@dataclass(frozen=True)
class GradeLine:
    """One grade that was not sent yet."""

    name: str
    why: str
    when: str
    replaces: str = ""
    """Link and learner, where the grade would take the place of one that was sent for an earlier run; else ""."""


@dataclass(frozen=True)
class LinkLines:
    """A link of a course, and how far its grades are."""

    id: int
    title: str
    drill: str
    drill_id: int
    state: str
    """Of the drill, where learners cannot begin it; else ""."""
    graded: str
    sent: tuple[tuple[str, str, str], ...]
    """Names, scores and moments of the grades that were sent."""
    waiting: tuple[GradeLine, ...]
    where: str
    """Where its drill is changed."""
    no_column: bool
    """Whether its column was deleted in the course, so that no grade can be sent to it."""


@dataclass(frozen=True)
class CourseList:
    """A course of a class."""

    id: int
    title: str
    platform: str
    fetched: str
    can_fetch: bool
    on_its_way: bool
    """Whether its list is about to be fetched."""
    left: tuple[tuple[str, str, str], ...]
    """Learners who are no longer in it: name, day, and what they had in its drills."""
    nameless: int
    """How many learners came without a name."""
    teach: bool
    """Whether who asks is a teacher of the course."""


@dataclass(frozen=True)
class CoursesPage:
    """What the page of a class's courses receives."""

    class_id: int
    name: str
    may: bool
    own: bool
    """Whether who asks owns the class."""
    archived: str
    """The day on which the class was put into the archive; "" where it was not."""
    courses: tuple[CourseList, ...]
    links: tuple[LinkLines, ...]
    here: CourseHere | None
    """The course from which who asks came in."""
    done: str = ""
    problem: str = ""
    at: str = ""
    """Where something is to be corrected: "off" for taking a course off; "" for the list and the grades."""
    many_left: bool = False
    """Whether the problem is that many are missing from the list, so that the teacher is asked."""

    @property
    def can_send_again(self) -> bool:
        """Whether anything failed that another try could send."""
        return any(each.why and not each.replaces for one in self.links for each in one.waiting)

    @property
    def can_fetch(self) -> bool:
        """Whether a platform offers a list."""
        return not self.archived and any(one.can_fetch for one in self.courses)

    @property
    def unsent(self) -> int:
        """How many grades were not sent yet."""
        return sum(len(one.waiting) for one in self.links)


def courses_page(
    what: Class, code: int = 200, *, done: str = "", problem: str = "", at: str = "", many_left: bool = False
) -> Response:
    """Show the courses of a class."""
    store, who = request_context.store(), request_context.preceptor()
    names = names_in(what)
    page = CoursesPage(
        what.id,
        what.name,
        may_change(what),
        what.preceptor == who.id,
        day_of(what.archived_at) if what.archived_at is not None else "",
        tuple(_course_line(one) for one in lti_queries.courses_of_class(store, what.id)),
        tuple(link_lines(names, one) for one in lti_queries.links_of_class(store, what.id)),
        request_context.course_here(),
        done,
        problem,
        at,
        many_left,
    )
    return make_response(render_template("lti_platform.html", page=page), code)


def _course_line(one: Course) -> CourseList:
    store, who = request_context.store(), request_context.preceptor()
    registration = lti_queries.registration_of_course(store, one.id)
    users = lti_queries.users_of(store, one.id, "learner")
    learners = [store.learner(each.learner) for each in users if each.learner is not None and each.left_at is None]
    return CourseList(
        one.id,
        one.title,
        registration.name if registration else "",
        moment(one.roster_at) if one.roster_at is not None else "",
        one.members_url is not None,
        one.id in platform_state.state().lists_wanted,
        tuple(_left(one)),
        sum(each is not None and _NAMELESS.fullmatch(each.name) is not None for each in learners),
        any(each.preceptor == who.id for each in lti_queries.users_of(store, one.id, "teacher")),
    )


def _left(one: Course) -> Iterator[tuple[str, str, str]]:
    """Yield who is no longer in a course: name, day, and their scores in the drills of its links."""
    store = request_context.store()
    numbers = {link.drill for link in lti_queries.links_of_course(store, one.id) if link.drill is not None}
    drills = [each for each in map(partial(class_queries.drill_of_id, store), sorted(numbers)) if each is not None]
    for user in lti_queries.users_of(store, one.id, "learner"):
        who = None if user.learner is None else store.learner(user.learner)
        if user.left_at is None or who is None:
            continue
        came = [(drill.title, grade_outbox.score(store, drill, who.id)) for drill in drills]
        scores = "; ".join(f"{title}: {found[2].rstrip('.')}" for title, found in came if found is not None)
        yield who.name, day_of(user.left_at), scores


def names_in(what: Class) -> dict[int, str]:
    """Return the names of a class's learners, by their numbers."""
    return {each.learner: each.name for each in roster_queries.members_of(request_context.store(), what.id)}


def link_lines(names: dict[int, str], one: CourseLink) -> LinkLines:
    """Return a link as the page shows it; names are those of its class's learners."""
    store = request_context.store()
    drill = None if one.drill is None else class_queries.drill_of_id(store, one.drill)
    grades = outcome_queries.grades_at(store, one.id)
    waiting = [_not_sent(names, one, each) for each in grades if each.sent_at is None]
    sent = [(_named(names, each.learner), _score(each), moment(each.sent_at)) for each in grades if each.sent_at]
    graded = ""
    if one.lineitem_url is None:
        graded = "The platform keeps no grade for this link."
    elif drill is not None and not grade_outbox.is_graded(drill):
        graded = "This drill has no score out of a number, so no grade is sent."
    return LinkLines(
        one.id,
        one.title or "Link",
        drill.title if drill else "",
        drill.id if drill else 0,
        _not_open(drill.state) if drill else "",
        graded,
        tuple(sorted(sent)),
        tuple(waiting),
        url_for("courses.link", course_id=one.context, link_id=one.id),
        any(grade_outbox.NO_COLUMN in each.why for each in waiting),
    )


def _not_open(state: str) -> str:
    return {"draft": "a draft: learners cannot begin it", "closed": "closed"}.get(state, "")


def _not_sent(names: dict[int, str], link: CourseLink, grade: DueGrade) -> GradeLine:
    held = grade.last_error in grade_outbox.HELD_BACK.values()
    when = moment(grade.next_at) if grade.next_at is not None else ""
    replaces = f"{link.id} {grade.learner}" if held else ""
    return GradeLine(_named(names, grade.learner), grade.last_error or "", when, replaces)


def _score(grade: DueGrade) -> str:
    known = grade.given is not None and grade.maximum is not None
    return f"{grade.given:g} of {grade.maximum:g}" if known else ""


def _named(names: dict[int, str], learner_id: int) -> str:
    found = None if learner_id in names else request_context.store().learner(learner_id)
    gone = f"{found.name} (no longer in the course)" if found else "a learner who was deleted"
    return names.get(learner_id) or gone
