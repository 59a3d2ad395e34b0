"""Pages for teachers from a course platform: the class of a course, the drill of a link, the course list, grades."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import preceptors
from quiz.classroom import sign_in as signing
from quiz.classroom.sign_in import NotKnown
from quiz.classroom.throttle import TooManyTries
from quiz.lti import course_list, courses, grade_outbox
from quiz.lti.course_list import ManyLeft, NoList
from quiz.lti.deep_links import is_graded
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.platform import earlier_runs, lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import Course
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.drill_views import day_of, drill_row, moment
from quiz.web.lti import platform_state

pages = Blueprint("courses", __name__)


@dataclass(frozen=True)
class CoursePage:
    """What the page receives of a course that has no class yet."""

    id: int
    title: str
    own: tuple[tuple[int, str], ...]
    """Classes that this preceptor owns."""
    new: bool
    """Whether this preceptor came by the platform alone, and has no password here."""
    problem: str = ""
    sign_in_problem: str = ""
    name: str = ""


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
    graded: str
    sent: int
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


@dataclass(frozen=True)
class CoursesPage:
    """What the page of a class's courses receives."""

    class_id: int
    name: str
    may: bool
    courses: tuple[CourseList, ...]
    links: tuple[LinkLines, ...]
    done: str = ""
    problem: str = ""
    many_left: bool = False
    """Whether the problem is that many are missing from the list, so that the teacher is asked."""

    @property
    def can_send_again(self) -> bool:
        """Whether anything failed that another try could send."""
        return any(each.why and not each.replaces for one in self.links for each in one.waiting)

    @property
    def can_fetch(self) -> bool:
        """Whether a platform offers a list."""
        return any(one.can_fetch for one in self.courses)


# --- a course without a class ----------------------------------------------------------------------------------------


def _course(course_id: int) -> tuple[Course, lti_queries.CourseUser]:
    who = request_context.preceptor()
    platform_state.address()
    return courses.course_of(request_context.store(), who, course_id)


@pages.get("/course/<int:course_id>")
def course(course_id: int) -> Response:
    """Ask which class a course is, where it has none; else show its class."""
    return _course_page(_course(course_id)[0])


def _course_page(
    what: Course, code: int = 200, *, problem: str = "", sign_in_problem: str = "", name: str = ""
) -> Response:
    store, who = request_context.store(), request_context.preceptor()
    one = courses.class_of(store, what)
    if one is not None:
        return redirect(url_for("courses.platform", class_id=one.id), 303)
    own = [(each.id, each.name) for each in _own_classes(what)]
    new = who.password == courses.NO_PASSWORD
    page = CoursePage(what.id, what.title, tuple(own), new, problem, sign_in_problem, name)
    return make_response(render_template("lti_course.html", page=page), code)


def _own_classes(what: Course) -> list[Class]:
    """Return the classes of who asks that can be a course's: those that they own in the platform's school."""
    store, who = request_context.store(), request_context.preceptor()
    school = courses.school_of(store, what)
    return [one for one in preceptors.owned(store, who) if one.archived_at is None and one.school == school]


@pages.post("/course/<int:course_id>")
def give_class(course_id: int) -> Response:
    """Make a class for a course, or let one that is there be its class."""
    what, _ = _course(course_id)
    store, who, now = request_context.store(), request_context.preceptor(), request_context.now()
    if request.form.get("do") == "make":
        number = courses.make_class(store, what, who, now=now)
        platform_state.state().lists_wanted.append(what.id)
        return redirect(url_for("courses.platform", class_id=number), 303)
    own = {str(each.id): each.id for each in _own_classes(what)}
    number = own.get(request.form.get("class", ""), 0)
    if not number:
        return _course_page(what, 422, problem="Choose a class from the list, or make a new one.")
    courses.use_class(store, what, who, number, now=now)
    platform_state.state().lists_wanted.append(what.id)
    return redirect(url_for("courses.platform", class_id=number), 303)


@pages.post("/course/<int:course_id>/sign-in")
def be_known(course_id: int) -> Response:
    """Let a teacher who came by a platform be the preceptor whose password they give."""
    what, user = _course(course_id)
    store, now, lots = request_context.store(), request_context.now(), request_context.lots()
    name, password = request.form.get("preceptor", ""), request.form.get("password", "")
    try:
        known, token = signing.sign_in(store, name, password, caller=request_context.caller(), now=now, lots=lots)
    except (NotKnown, TooManyTries) as error:
        code = 429 if isinstance(error, TooManyTries) else 422
        return _course_page(what, code, sign_in_problem=str(error), name=name[:80])
    courses.be_preceptor(store, what, user, known, now=now)
    request_context.sign_in(known, token)
    return redirect(url_for("courses.course", course_id=course_id), 303)


# --- a link that was placed by hand ----------------------------------------------------------------------------------


def _class_to_change(what: Course) -> Class:
    one = courses.class_of(request_context.store(), what)
    if one is None:
        raise courses.NotOfCourse
    return own_class(one.id)


@pages.get("/course/<int:course_id>/link/<int:link_id>")
def link(course_id: int, link_id: int) -> Response:
    """Ask which drill a link opens."""
    return _link_page(_course(course_id)[0], link_id)


def _link_page(what: Course, link_id: int, code: int = 200, problem: str = "") -> Response:
    store, now = request_context.store(), request_context.now()
    one, kept = _class_to_change(what), lti_queries.link_of_id(store, link_id)
    if kept is None or kept.context != what.id:
        raise courses.NotOfCourse
    rows = [drill_row(each, now, {}) for each in courses.drills_to_choose(store, one)]
    return make_response(
        render_template("lti_link.html", what=one, course=what, link=kept, drills=rows, problem=problem), code
    )


@pages.post("/course/<int:course_id>/link/<int:link_id>")
def set_link(course_id: int, link_id: int) -> Response:
    """Let a link open a drill from now on."""
    what, _ = _course(course_id)
    one, store = _class_to_change(what), request_context.store()
    drill = {str(each.id): each.id for each in courses.drills_to_choose(store, one)}.get(request.form.get("drill", ""))
    if drill is None:
        return _link_page(what, link_id, 422, "Choose a drill from the list.")
    courses.set_link(store, what, link_id, drill, now=request_context.now())
    return redirect(url_for("drills.one", class_id=one.id, drill_id=drill), 303)


# --- the courses of a class ------------------------------------------------------------------------------------------


@pages.get("/class/<int:class_id>/platform")
def platform(class_id: int) -> Response:
    """Show the courses of a class: who is in them, what their links open, and which grades are on their way."""
    return _platform_page(own_class(class_id))


@pages.post("/class/<int:class_id>/platform")
def act(class_id: int) -> Response:
    """Fetch the course list; send grades again; let a grade replace an earlier one; forget a link without a column."""
    what, store, now = own_class(class_id), request_context.store(), request_context.now()
    links = {one.id: one for one in lti_queries.links_of_class(store, what.id)}
    if request.form.get("do") == "send":
        with store.writing():
            for number in links:
                outcome_queries.make_failed_due(store, now, link=number)
        return _platform_page(what, done="The grades are being sent again. Reload this page in a minute to see how.")
    if "replace" in request.form:
        return _replace(what, links, request.form["replace"])
    if "remove" in request.form:
        gone = links.get(request.form.get("remove", 0, type=request_context.whole) or 0)
        if gone is None or not _link_lines(what, gone).no_column:
            return _platform_page(what, 422, problem="This link is used. Only one whose column was deleted is removed.")
        courses.remove_link(store, gone.context, gone.id)
        return _platform_page(what, done=f"“{gone.title}” is off this list. Nothing was deleted in the course.")
    return _fetch(what, sure=request.form.get("do") == "left")


def _replace(what: Class, links: Mapping[int, lti_queries.CourseLink], named: str) -> Response:
    """Let the grade of a run be sent although one was sent for an earlier run."""
    store, now = request_context.store(), request_context.now()
    words = named.split(" ")
    numbers = [int(one) for one in words if one.isdecimal() and len(one) < 12]
    link = links.get(numbers[0]) if len(numbers) == len(words) == 2 else None
    kept = None if link is None else outcome_queries.grade(store, link.id, numbers[1])
    if link is None or link.drill is None or kept is None:
        return _platform_page(what, 422, problem="This grade is not waiting any more.")
    with store.writing():
        earlier_runs.allow(store, link.drill, kept.learner, now)
        outcome_queries.make_due(store, link.id, kept.learner, now)
    return _platform_page(what, done="The grade is being sent. It replaces the one in the course.")


def _fetch(what: Class, *, sure: bool) -> Response:
    store, now = request_context.store(), request_context.now()
    said = []
    for each in lti_queries.courses_of_class(store, what.id):
        try:
            fetched = course_list.fetch_list(store, platform_state.state().services, each, now=now, sure=sure)
            said.append(fetched.words)
        except ManyLeft as error:
            return _platform_page(what, 422, problem=f"{error}.", many_left=True)
        except NoList as error:
            return _platform_page(what, 422, problem=f"Not fetched: {error}.")
    if not said:
        return _platform_page(what, 422, problem="This class belongs to no course of a platform.")
    return _platform_page(what, done=" ".join(said))


def _platform_page(
    what: Class, code: int = 200, *, done: str = "", problem: str = "", many_left: bool = False
) -> Response:
    store = request_context.store()
    page = CoursesPage(
        what.id,
        what.name,
        may_change(what),
        tuple(_course_line(one) for one in lti_queries.courses_of_class(store, what.id)),
        tuple(_link_lines(what, one) for one in lti_queries.links_of_class(store, what.id)),
        done,
        problem,
        many_left,
    )
    return make_response(render_template("lti_platform.html", page=page), code)


def _course_line(one: Course) -> CourseList:
    registration = lti_queries.registration_of_course(request_context.store(), one.id)
    fetched = moment(one.roster_at) if one.roster_at is not None else ""
    name = registration.name if registration else ""
    waits = one.id in platform_state.state().lists_wanted
    return CourseList(one.id, one.title, name, fetched, one.members_url is not None, waits, tuple(_left(one)))


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


def _link_lines(what: Class, one: lti_queries.CourseLink) -> LinkLines:
    store = request_context.store()
    drill = None if one.drill is None else class_queries.drill_of_id(store, one.drill)
    names = {each.learner: each.name for each in roster_queries.members_of(store, what.id)}
    grades = outcome_queries.grades_at(store, one.id)
    waiting = [
        GradeLine(
            names.get(each.learner) or _name_of_who_left(each.learner),
            each.last_error or "",
            moment(each.next_at) if each.next_at is not None else "",
            f"{one.id} {each.learner}" if each.last_error in grade_outbox.HELD_BACK.values() else "",
        )
        for each in grades
        if each.sent_at is None
    ]
    graded = ""
    if one.lineitem_url is None:
        graded = "The platform keeps no grade for this link."
    elif drill is not None and not is_graded(drill):
        graded = "This drill has no score out of a number, so no grade is sent."
    return LinkLines(
        one.id,
        one.title or "Link",
        drill.title if drill else "",
        drill.id if drill else 0,
        graded,
        sum(each.sent_at is not None for each in grades),
        tuple(waiting),
        url_for("courses.link", course_id=one.context, link_id=one.id),
        any(grade_outbox.NO_COLUMN in each.why for each in waiting),
    )


def _name_of_who_left(learner_id: int) -> str:
    found = request_context.store().learner(learner_id)
    return f"{found.name} (no longer in the course)" if found else "a learner who was deleted"
