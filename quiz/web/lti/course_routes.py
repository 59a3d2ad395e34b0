"""Pages for teachers from a course platform: the class of a course, the drill of a link, the course list, grades."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import preceptors
from quiz.classroom import sign_in as signing
from quiz.classroom.sign_in import NotKnown
from quiz.classroom.throttle import TooManyTries
from quiz.lti import course_list, courses
from quiz.lti.course_list import ManyLeft, NoList
from quiz.storage.class_queries import Class
from quiz.storage.platform import earlier_runs, lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import Course
from quiz.web import request_context
from quiz.web.classroom.ownership import own_class
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import drill_row
from quiz.web.lti import platform_state
from quiz.web.lti.course_page import courses_page, link_lines, names_in

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
    chosen = next((each.id for each in rows if each.id == kept.drill or len(rows) == 1), 0)
    page = render_template(
        "lti_link.html", what=one, course=what, link=kept, drills=rows, chosen=chosen, problem=problem
    )
    return make_response(page, code)


@pages.post("/course/<int:course_id>/link/<int:link_id>")
def set_link(course_id: int, link_id: int) -> Response:
    """Let a link open a drill from now on."""
    what, _ = _course(course_id)
    one, store = _class_to_change(what), request_context.store()
    drill = {str(each.id): each.id for each in courses.drills_to_choose(store, one)}.get(request.form.get("drill", ""))
    if drill is None:
        return _link_page(what, link_id, 422, "Choose a drill from the list.")
    courses.set_link(store, what, link_id, drill, now=request_context.now())
    return redirect(url_for("courses.platform", class_id=one.id, set=link_id), 303)


# --- the courses of a class ------------------------------------------------------------------------------------------


@pages.get("/class/<int:class_id>/platform")
def platform(class_id: int) -> Response:
    """Show the courses of a class: who is in them, what their links open, and which grades are on their way."""
    what, number = own_class(class_id), request.args.get("set", type=request_context.whole)
    links = lti_queries.links_of_class(request_context.store(), what.id) if number else []
    link = next((link_lines(names_in(what), one) for one in links if one.id == number), None)
    return courses_page(what, done=f"“{link.title}” opens the drill “{link.drill}” now." if link else "")


@pages.post("/class/<int:class_id>/platform/off")
def take_off(class_id: int) -> Response:
    """Take a course off its class: the owner does, and of a class in the archive any teacher of the course."""
    store, what = request_context.store(), own_class(class_id, archived=True)
    named = request.form.get("course", type=request_context.whole)
    course = next((one for one in lti_queries.courses_of_class(store, what.id) if one.id == named), None)
    if course is None:
        return courses_page(what, 422, problem="That course is not of this class any more.")
    if request.form.get("do") == "new" and what.archived_at is not None:
        _course(course.id)
        number = courses.make_class(store, course, request_context.preceptor(), now=request_context.now(), anew=True)
        return redirect(url_for("courses.platform", class_id=number), 303)
    what = own_class(class_id, owner=True, archived=True)
    if not sure():
        return courses_page(what, 422, problem=not_ticked("changed"), at="off")
    courses.take_off(store, course)
    return redirect(url_for("classes.one", class_id=what.id), 303)


@pages.post("/class/<int:class_id>/platform")
def act(class_id: int) -> Response:
    """Fetch the course list; send grades again; let a grade replace an earlier one; forget a link without a column."""
    what, store, now = own_class(class_id), request_context.store(), request_context.now()
    links = {one.id: one for one in lti_queries.links_of_class(store, what.id)}
    if request.form.get("do") == "send":
        with store.writing():
            for number in links:
                outcome_queries.make_failed_due(store, now, link=number)
        return courses_page(what, done="The grades are being sent again. Reload this page in a minute to see how.")
    if "replace" in request.form:
        return _replace(what, links, request.form["replace"])
    if "remove" in request.form:
        gone = links.get(request.form.get("remove", 0, type=request_context.whole) or 0)
        if gone is None or not link_lines(names_in(what), gone).no_column:
            return courses_page(what, 422, problem="This link is used. Only one whose column was deleted is removed.")
        courses.remove_link(store, gone.context, gone.id)
        return courses_page(what, done=f"“{gone.title}” is off this list. Nothing was deleted in the course.")
    return _fetch(what, sure=request.form.get("do") == "left")


def _replace(what: Class, links: Mapping[int, lti_queries.CourseLink], named: str) -> Response:
    """Let the grade of a run be sent although one was sent for an earlier run."""
    store, now = request_context.store(), request_context.now()
    words = named.split(" ")
    numbers = [int(one) for one in words if one.isdecimal() and len(one) < 12]
    link = links.get(numbers[0]) if len(numbers) == len(words) == 2 else None
    kept = None if link is None else outcome_queries.grade(store, link.id, numbers[1])
    if link is None or link.drill is None or kept is None:
        return courses_page(what, 422, problem="This grade is not waiting any more.")
    with store.writing():
        earlier_runs.allow(store, link.drill, kept.learner, now)
        outcome_queries.make_due(store, link.id, kept.learner, now)
    return courses_page(what, done="The grade is being sent. It replaces the one in the course.")


def _fetch(what: Class, *, sure: bool) -> Response:
    store, now = request_context.store(), request_context.now()
    said = []
    for each in lti_queries.courses_of_class(store, what.id):
        try:
            fetched = course_list.fetch_list(store, platform_state.state().services, each, now=now, sure=sure)
            said.append(fetched.words)
        except ManyLeft as error:
            return courses_page(what, 422, problem=f"{error}.", many_left=True)
        except NoList as error:
            return courses_page(what, 422, problem=f"Not fetched: {error}.")
    if not said:
        return courses_page(what, 422, problem="This class belongs to no course of a platform.")
    return courses_page(what, done=" ".join(said))
