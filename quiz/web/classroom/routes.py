"""Class: a preceptor's classes and who is in them; for a learner, their own place in a class."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import classes, take_drill
from quiz.classroom.classes import Crowd
from quiz.lti import registering
from quiz.practice import learners as people
from quiz.practice.names import BadName
from quiz.practice.settings import REGIONS_SAID
from quiz.practice.titles import type_title
from quiz.storage import class_queries, doubt_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Membership
from quiz.storage.platform import lti_queries
from quiz.storage.roster_queries import Member
from quiz.storage.store import Learner
from quiz.web import layout, request_context
from quiz.web.classroom.ownership import own_class
from quiz.web.classroom.sign_in_routes import phrase_page, phrase_to_hand_over
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import DrillRow, chosen_words, day_of, drill_row, moment
from quiz.web.request_context import CourseHere
from quiz.web.roster.keeping_routes import keeping_page
from quiz.web.work.own_types import forget_own_types

pages = Blueprint("classes", __name__, url_prefix="/class")


@dataclass(frozen=True)
class ClassLine:
    """One class in a preceptor's list."""

    id: int
    name: str
    learners: int
    code: str | None
    role: str
    """"" where they own it."""
    school: str
    """"" where they are in one school alone."""


@dataclass(frozen=True)
class ClassesPage:
    """What a preceptor's list receives."""

    preceptor: str
    classes: tuple[ClassLine, ...]
    archived: tuple[tuple[str, tuple[ClassLine, ...]], ...]
    """By year, the latest first."""
    administrator: bool
    backups: str = ""
    """When the last backup was made; "" where none are made while the app is served."""
    schools: tuple[Membership, ...] = ()
    """In which they are."""
    platforms_waiting: int = 0
    """Course platforms that wait for who administers the installation."""
    typed: str = ""
    problem: str | None = None
    school_problem: str | None = None
    what: str = ""
    """What is asked for of a class: "drills", "results", or "" for the class."""
    leads_to: str = "classes.one"
    """The endpoint of that page."""


@dataclass(frozen=True)
class PersonRow:
    """One learner of a class."""

    id: int
    name: str
    answered: int
    right: int
    last: str


@dataclass(frozen=True)
class DoubtRow:
    """A case that a learner reported as doubtful."""

    link: str
    learner: str
    title: str
    note: str
    at: str


@dataclass(frozen=True)
class ClassPage:
    """What the page of one class receives."""

    id: int
    name: str
    code: str | None
    until: str
    join_link: str
    drills: tuple[DrillRow, ...]
    people: tuple[PersonRow, ...]
    not_begun: tuple[str, ...]
    crowd: Crowd | None
    teachers: tuple[tuple[str, str], ...]
    """Names and what they are, the owner first."""
    may: bool
    """Whether this preceptor may change anything."""
    own: bool
    """Whether they own it."""
    asks: bool
    region: str
    asking: int
    """How many wait to be let in."""
    archived: str
    """The day on which it was; "" where it is not."""
    doubts: tuple[DoubtRow, ...] = ()
    platform: str = ""
    """The courses of a platform whose class this is; "" where there is none."""
    joining_problem: str | None = None
    region_problem: str | None = None
    regions: tuple[tuple[str, str], ...] = REGIONS_SAID
    most: int = classes.MOST_AT_ONCE
    most_from_one: int = classes.MOST_FROM_ONE_ADDRESS

    @property
    def crowd_from(self) -> str:
        """When the first of many who joined at once did."""
        return moment(self.crowd.first_at) if self.crowd else ""

    @property
    def crowd_to(self) -> str:
        """When the last of them did."""
        return moment(self.crowd.last_at) if self.crowd else ""


@dataclass(frozen=True)
class MinePage:
    """What a learner's page about their class receives."""

    name: str
    class_name: str
    answers: int
    drills: tuple[take_drill.Offer, ...]
    waits_for: tuple[str, ...]
    """Classes that have not let them in yet."""
    remarks: tuple[tuple[str, str, str], ...]
    """On their answers, whose marks they may see: the address, the case, by whom and when."""
    problem: str | None = None
    of_platform: bool = False
    """Whether they came by a course platform, which may have grades of theirs."""
    course: CourseHere | None = None
    """The course from which they came in here."""


# --- everyone's way in -------------------------------------------------------------------------------------------


@pages.get("")
def show() -> Response:
    """Show a preceptor their classes, a learner their own place, anyone else how a class is run."""
    if request_context.known_preceptor() is not None:
        return _list()
    joined = request_context.joined_learner()
    if joined is not None:
        return _mine(joined)
    if request_context.beyond():
        raise request_context.Outside
    return make_response(render_template("class_how.html", any=class_queries.has_preceptor(request_context.store())))


def _list(code: int = 200, **more: Any) -> Response:
    store, who = request_context.store(), request_context.preceptor()
    theirs = school_queries.schools_of(store, who.id)
    named = {one.school: one.name for one in theirs} if len(theirs) > 1 else {}
    lines, archived = [], dict[str, list[ClassLine]]()
    for one in class_queries.classes_of(store, who.id):
        role = "" if one.preceptor == who.id else roster_queries.role_in(store, one, who.id) or ""
        holds = one.code if one.code_holds(request_context.now()) else None
        places = roster_queries.count_places(store, one.id)
        line = ClassLine(one.id, one.name, places, holds, role, named.get(one.school or 0, ""))
        if one.archived_at is None:
            lines.append(line)
        else:
            archived.setdefault(day_of(one.archived_at).rsplit(" ", 1)[1], []).append(line)
    years = tuple((year, tuple(ones)) for year, ones in sorted(archived.items(), reverse=True))
    waiting = registering.waiting(store) if who.administrator else 0
    page = ClassesPage(who.name, tuple(lines), years, who.administrator, _backups(), tuple(theirs), waiting, **more)
    return make_response(render_template("classes.html", page=page), code)


def _backups() -> str:
    """Say how old the newest backup is, and whether that is older than it should be."""
    timetable = request_context.timetable()
    if timetable is None:
        return ""
    made = timetable.made()
    if not made:
        return f"There is no backup yet. {timetable.last_problem()}".strip()
    age = max(0.0, request_context.now() - made[0].at)
    hours = round(age / 3600)
    old = "less than an hour" if hours < 1 else "an hour" if hours == 1 else f"{hours} hours"
    if hours >= 48:
        old = f"{round(hours / 24)} days"
    said = f"{len(made)} kept; the newest is {old} old."
    if age > 2 * timetable.every_s:
        said += " That is older than it should be: tell the person who looks after this server."
    return said


@pages.post("")
def make() -> Response:
    """Make a class."""
    typed = request.form.get("name", "")
    try:
        number = classes.make(
            request_context.store(),
            request_context.preceptor(),
            typed,
            now=request_context.now(),
            lots=request_context.lots(),
            school=request.form.get("school", type=request_context.whole),
        )
    except BadName as error:
        return _list(422, typed=typed[:80], problem=str(error))
    except classes.BadSchool as error:
        return _list(422, typed=typed[:80], school_problem=str(error))
    return redirect(url_for("classes.one", class_id=number), 303)


@pages.get("/drills")
def drills() -> Response:
    """Lead to the drills of a preceptor's one class, or ask of which."""
    return _of_which("classes.one", "drills")


@pages.get("/results")
def results() -> Response:
    """Lead to the results of a preceptor's one class, or ask of which."""
    return _of_which("results.show", "results")


def _of_which(endpoint: str, what: str) -> Response:
    own = class_queries.classes_of(request_context.store(), request_context.preceptor().id)
    if len(own) == 1:
        return redirect(url_for(endpoint, class_id=own[0].id, _anchor=what), 303)
    return _list(what=what, leads_to=endpoint)


# --- a preceptor's class -----------------------------------------------------------------------------------------


@pages.get("/<int:class_id>")
def one(class_id: int) -> Response:
    """Show a class."""
    return _class(own_class(class_id))


def _class(what: Class, code: int = 200, **more: Any) -> Response:
    store, now = request_context.store(), request_context.now()
    members = roster_queries.members_of(store, what.id)
    role = roster_queries.role_in(store, what, request_context.preceptor().id)
    owner = roster_queries.preceptor_of_id(store, what.preceptor)
    teachers = roster_queries.teachers_of(store, what.id)
    sums = {one.learner: one for one in result_queries.learner_sums(store, what.id, "all")}
    holds = what.code_holds(now)
    names = {one.learner: one.name for one in members}
    page = ClassPage(
        id=what.id,
        name=what.name,
        code=what.code if holds else None,
        until=moment(what.code_until) if holds and what.code_until else "",
        join_link=request_context.for_others("door.show") if holds else "",
        drills=tuple(
            drill_row(one, now, names, _chosen(one, names)) for one in class_queries.drills_of(store, what.id)
        ),
        people=tuple(_person(one, sums.get(one.learner)) for one in members),
        not_begun=tuple(one.name for one in members if one.learner not in sums),
        crowd=classes.crowd(members, what),
        doubts=_doubts(what, names),
        platform=", ".join(one.title for one in lti_queries.courses_of_class(store, what.id)),
        teachers=((owner.name if owner else "", "owner"), *((one.name, one.role) for one in teachers)),
        may=role != "reader" and what.archived_at is None,
        own=role == "owner",
        asks=what.asks,
        region=what.region,
        asking=len(roster_queries.requests_of(store, what.id)),
        archived=day_of(what.archived_at) if what.archived_at is not None else "",
        **more,
    )
    return make_response(render_template("class.html", page=page), code)


def _doubts(what: Class, names: Mapping[int, str]) -> tuple[DoubtRow, ...]:
    store, rows = request_context.store(), []
    for one in doubt_queries.doubts_of(store, names):
        dealt = store.dealt(one.dealt)
        if dealt is not None:
            link = url_for("results.answer", class_id=what.id, dealt_id=one.dealt)
            rows.append(DoubtRow(link, names[one.learner], type_title(dealt.type), one.note, moment(one.at)))
    return tuple(rows)


def _chosen(one: Drill, names: Mapping[int, str]) -> str:
    if not one.chosen:
        return ""
    store = request_context.store()
    groups = [each.name for each in roster_queries.groups_in_drill(store, one.id)]
    people = [names[each] for each in roster_queries.people_in_drill(store, one.id) if each in names]
    return chosen_words(groups, people) or "nobody any more"


def _person(one: Member, found: result_queries.LearnerSum | None) -> PersonRow:
    if found is None:
        return PersonRow(one.learner, one.name, 0, 0, "")
    return PersonRow(one.learner, one.name, found.answered, found.right, moment(found.last_at))


@pages.post("/<int:class_id>/code")
def code(class_id: int) -> Response:
    """Give a class a new code, or none."""
    what = own_class(class_id)
    if request.form.get("code") == "none":
        classes.take_code(request_context.store(), what)
    else:
        try:
            classes.give_code(request_context.store(), what, now=request_context.now(), lots=request_context.lots())
        except classes.RosterClosed as error:
            return _class(what, 409, joining_problem=str(error))
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.post("/<int:class_id>/asks")
def asks(class_id: int) -> Response:
    """Let the person who types the code wait for a preceptor, or let them in at once."""
    classes.ask_first(request_context.store(), own_class(class_id), asks=request.form.get("asks") == "yes")
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.post("/<int:class_id>/region")
def region(class_id: int) -> Response:
    """Keep as where the refractions of drawn patients are, for what is set from now on."""
    what = own_class(class_id)
    try:
        classes.set_region(request_context.store(), what, request.form.get("region", ""))
    except classes.UnknownRegion as error:
        return _class(what, 422, region_problem=str(error))
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.post("/<int:class_id>/know-joined")
def know_joined(class_id: int) -> Response:
    """Keep that the preceptor knows those who joined, so that as many more can."""
    classes.know_joined(request_context.store(), own_class(class_id), now=request_context.now())
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.post("/<int:class_id>/remove")
def remove(class_id: int) -> Response:
    """Remove a class with its learners and everything that they answered."""
    what = own_class(class_id, owner=True, archived=True)
    if not sure():
        return keeping_page(what, 422, not_ticked(), "remove")
    classes.remove(request_context.store(), what, now=request_context.now())
    return redirect(url_for("classes.show"), 303)


@pages.post("/<int:class_id>/learner/<int:learner_id>/phrase")
def phrase(class_id: int, learner_id: int) -> Response:
    """Give a learner who has lost theirs a new come-back phrase, to be handed over."""
    held = classes.member(request_context.store(), own_class(class_id), learner_id)
    new = classes.new_phrase(request_context.store(), held.learner, lots=request_context.lots())
    return phrase_to_hand_over(
        held.name,
        new,
        f"Hand it to {held.name}. The one before opens nothing any more.",
        to=url_for("results.learner", class_id=class_id, learner_id=learner_id),
    )


@pages.post("/<int:class_id>/learner/<int:learner_id>/remove")
def remove_learner(class_id: int, learner_id: int) -> Response:
    """Remove a learner with everything that they answered."""
    what = own_class(class_id)
    held = classes.member(request_context.store(), what, learner_id)
    if sure():
        classes.remove_learners(request_context.store(), what, {held.learner}, now=request_context.now())
        return redirect(url_for("classes.one", class_id=class_id), 303)
    return redirect(url_for("results.learner", class_id=class_id, learner_id=learner_id, unsure="yes"), 303)


# --- a learner's own place ---------------------------------------------------------------------------------------


def _me() -> Learner:
    joined = request_context.joined_learner()
    if joined is None:
        raise request_context.Outside
    return joined


def _mine(who: Learner, code: int = 200, problem: str | None = None) -> Response:
    store = request_context.store()
    page = MinePage(
        name=who.name,
        class_name=" and ".join(one.name for one in reversed(roster_queries.classes_with(store, who.id))),
        waits_for=tuple(one.name for one in roster_queries.asks_in(store, who.id)),
        answers=store.count_answers(who.id),
        drills=tuple(take_drill.offers(store, who, now=request_context.now())),
        remarks=tuple(_remarks(who)),
        problem=problem,
        of_platform=lti_queries.is_of_platform(store, who.id),
        course=request_context.course_here(),
    )
    return make_response(render_template("class_mine.html", page=page), code)


def _remarks(who: Learner) -> Iterator[tuple[str, str, str]]:
    store = request_context.store()
    for one in doubt_queries.remarks_for(store, who.id):
        dealt = store.dealt(one.dealt)
        if dealt is not None and take_drill.told(store, dealt):
            link = url_for("practise.mark", dealt_id=one.dealt, _anchor="remark")
            yield link, type_title(dealt.type), f"{one.preceptor}, {moment(one.at)}"


@pages.post("/mine/phrase")
def my_phrase() -> Response:
    """Sign a learner out on every other device, and give them a new phrase."""
    joined = classes.sign_out_elsewhere(
        request_context.store(), _me(), now=request_context.now(), lots=request_context.lots()
    )
    course = request_context.course_here()
    request_context.come_in(joined.token)
    if course is not None:
        request_context.keep_course(course)
    return phrase_page(joined, "The phrase before this one opens nothing, and other devices are signed out.")


@pages.post("/mine/remove")
def remove_me() -> Response:
    """Remove oneself with every answer."""
    who = _me()
    if not sure():
        return _mine(who, 422, not_ticked())
    people.remove(request_context.store(), who.id, now=request_context.now())
    request_context.go_out()
    return forget_own_types(redirect(url_for("door.show", gone=layout.key_of(who)), 303))
