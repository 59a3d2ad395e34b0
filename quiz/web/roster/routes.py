"""People of a class: who is in it and who asks to be, and what is done with those who are ticked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import segno
from flask import Blueprint, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from quiz.classroom import classes, roster
from quiz.classroom.roster import EXTRA_TIMES, CannotMerge, CannotMove
from quiz.practice.names import BadName
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.platform import lti_queries
from quiz.storage.roster_queries import ClassGroup, Member
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import day, day_of, iso_day, moment

pages = Blueprint("roster", __name__, url_prefix="/class/<int:class_id>")

SHOWN = (
    ("all", "everyone"),
    ("not-begun", "who has answered nothing"),
    ("together", "who joined together with many others, and has answered nothing"),
)


@dataclass(frozen=True)
class PlaceRow:
    """One learner of a class, who can be ticked."""

    id: int
    name: str
    number: str
    groups: str
    extra_time: int
    joined: str
    answered: int
    has_phrase: bool
    elsewhere: bool
    """Whether they are in another class too."""
    gone: str
    """The day on which a learner who had this place before was deleted; "" where nobody was."""


@dataclass(frozen=True)
class EmptyRow:
    """A place of the roster whose learner is gone."""

    id: int
    name: str
    gone: str


@dataclass(frozen=True)
class AskingRow:
    """Someone who asks to join."""

    id: int
    name: str
    asked: str


@dataclass(frozen=True)
class PlacesPage:
    """What the page receives: the list to tick, and what can be done with those ticked."""

    class_id: int
    class_name: str
    rows: tuple[PlaceRow, ...]
    asking: tuple[AskingRow, ...] = ()
    empty: tuple[EmptyRow, ...] = ()
    groups: tuple[ClassGroup, ...] = ()
    others: tuple[Class, ...] = ()
    """Other classes of this preceptor into which learners can be put."""
    may: bool = True
    """Whether this preceptor may change anything here."""
    course: str = ""
    """The courses of a platform whose class this is."""
    show: str = "all"
    shown: tuple[tuple[str, str], ...] = SHOWN
    ticked: frozenset[int] = frozenset()
    extra_times: tuple[int, ...] = EXTRA_TIMES
    problem: str | None = None
    at: str = "who"
    """Where the problem is: with those "who" are ticked, or in the form to "add" someone."""
    typed: tuple[str, str] = ("", "")

    @property
    def answers(self) -> int:
        """How many answers they gave together."""
        return sum(one.answered for one in self.rows)

    @property
    def elsewhere(self) -> tuple[str, ...]:
        """Names of those who are in another class too."""
        return tuple(one.name for one in self.rows if one.elsewhere)


@dataclass(frozen=True)
class PrintedSlip:
    """One slip as it is printed."""

    name: str
    number: str | None
    phrase: str
    link: str
    code: Markup
    """The link as a QR code, an SVG."""


# --- the page ----------------------------------------------------------------------------------------------------


@pages.get("/people")
def show(class_id: int) -> Response:
    """List the learners of a class; some, ready ticked, where the address asks so."""
    return _list(own_class(class_id), show=request.args.get("show", "all"))


def _list(what: Class, code: int = 200, *, show: str = "all", **more: Any) -> Response:
    store = request_context.store()
    rows = _rows(what, show)
    if show != "all":
        more.setdefault("ticked", frozenset(one.id for one in rows))
    who = request_context.preceptor()
    others = (
        one
        for one in class_queries.classes_of(store, who.id)
        if one.id != what.id and one.archived_at is None and one.school == what.school
    )
    page = PlacesPage(
        what.id,
        what.name,
        rows,
        course=" and ".join(one.title for one in lti_queries.courses_of_class(store, what.id)),
        asking=tuple(
            AskingRow(one.learner, one.name, moment(one.asked_at)) for one in roster_queries.requests_of(store, what.id)
        ),
        empty=tuple(
            EmptyRow(
                one.id,
                f"{one.name or 'a place without a name'}{f' ({one.number})' if one.number else ''}",
                f"its answers were deleted by their owner on {day(iso_day(one.gone_on))}"
                if one.gone_by == "owner"
                else f"its answers were deleted by a preceptor on {day(iso_day(one.gone_on))}",
            )
            for one in roster_queries.empty_places_of(store, what.id)
        ),
        groups=tuple(roster_queries.groups_of(store, what.id)),
        others=tuple(one for one in others if roster_queries.role_in(store, one, who.id) != "reader"),
        may=may_change(what),
        show=show if show in dict(SHOWN) else "all",
        **more,
    )
    return make_response(render_template("people_of_class.html", page=page), code)


def _rows(what: Class, show: str) -> tuple[PlaceRow, ...]:
    store = request_context.store()
    everyone = roster_queries.members_of(store, what.id)
    sums = {one.learner: one.answered for one in result_queries.learner_sums(store, what.id, "all")}
    members = everyone
    if show in ("not-begun", "together"):
        members = [one for one in members if one.learner not in sums]
    if show == "together":
        crowd = classes.crowd(everyone, what)
        members = [one for one in members if crowd and crowd.first_at <= one.joined_at <= crowd.last_at]
    groups, elsewhere = (
        roster_queries.groups_by_learner(store, what.id),
        roster_queries.in_other_classes(store, what.id),
    )
    return tuple(
        _row(one, sums.get(one.learner, 0), groups.get(one.learner, []), one.learner in elsewhere) for one in members
    )


def _row(one: Member, answered: int, groups: list[str], elsewhere: bool) -> PlaceRow:
    return PlaceRow(
        id=one.learner,
        name=one.name,
        number=one.number or "",
        groups=", ".join(groups),
        extra_time=one.extra_time,
        joined=day_of(one.joined_at),
        answered=answered,
        has_phrase=one.has_phrase,
        elsewhere=elsewhere,
        gone=day(iso_day(one.gone_on)) if one.gone_on else "",
    )


# --- what is done with those who are ticked -----------------------------------------------------------------------


def ticked() -> frozenset[int]:
    """Return the learners who are ticked in the form that was sent."""
    return frozenset(request.form.getlist("learner", type=request_context.whole))


def _done_with(class_id: int, act: Callable[[Class, frozenset[int]], Response | None]) -> Response:
    """Do something with those ticked; show the list once more where it cannot be done, with them ticked."""
    what, who = own_class(class_id), ticked()
    if not who:
        return _list(what, 422, problem="nobody is ticked: tick one or more learners first")
    try:
        done = act(what, who)
    except (BadName, CannotMerge, CannotMove, classes.ClassFull) as error:
        return _list(what, 422, problem=str(error), ticked=who)
    return done or redirect(url_for("roster.show", class_id=class_id), 303)


@pages.post("/people/slips")
def slips(class_id: int) -> Response:
    """Give those ticked a new phrase each, and show their slips to be printed."""

    def act(what: Class, who: frozenset[int]) -> Response:
        made = roster.slips(request_context.store(), what, who, lots=request_context.lots())
        printed = tuple(_printed(one) for one in made)
        return make_response(
            render_template("slips.html", slips=printed, class_id=what.id, class_name=what.name, address=_address())
        )

    return _done_with(class_id, act)


def _address() -> str:
    return request_context.for_others("door.show")


def _printed(one: roster.Slip) -> PrintedSlip:
    link = request_context.for_others("door.back", phrase=one.phrase.lower())
    drawn = segno.make(link, error="m", micro=False).svg_inline(
        border=2, scale=3, dark="black", light="white", omitsize=True
    )
    return PrintedSlip(one.name, one.number, one.phrase, link, Markup(drawn))  # noqa: S704 - segno writes digits only


@pages.post("/people/group")
def put_into_group(class_id: int) -> Response:
    """Put those ticked into a group, a new one if it is named, or take them out of it."""

    def act(what: Class, who: frozenset[int]) -> None:
        store, name = request_context.store(), request.form.get("new_group", "")
        take = request.form.get("group_act") == "take"
        if name.strip() and not take:
            roster.make_group(store, what, name, who, now=request_context.now())
            return
        number = request.form.get("group", type=request_context.whole)
        if number is None:
            raise BadName("no group is chosen: choose one, or write the name of a new one")
        roster.put_into_group(store, what, number, who, take=take)

    return _done_with(class_id, act)


@pages.post("/people/extra-time")
def give_extra_time(class_id: int) -> Response:
    """Give those ticked more of the time of timed drills."""

    def act(what: Class, who: frozenset[int]) -> None:
        per_cent = request.form.get("extra_time", -1, type=request_context.whole)
        roster.give_extra_time(request_context.store(), what, who, per_cent)

    return _done_with(class_id, act)


@pages.post("/people/move")
def move(class_id: int) -> Response:
    """Put those ticked into another class, and take them out of this one unless they stay in both."""

    def act(what: Class, who: frozenset[int]) -> None:
        number = request.form.get("to_class", type=request_context.whole)
        if number is None:
            raise CannotMove("no class is chosen: choose the one to put them into")
        other = classes.changeable(request_context.store(), request_context.preceptor(), number)
        stay = request.form.get("stay") == "yes"
        roster.put_into(request_context.store(), what, other, who, stay=stay, now=request_context.now())

    return _done_with(class_id, act)


@pages.post("/people/merge")
def merge(class_id: int) -> Response:
    """Make the two who are ticked one."""

    def act(what: Class, who: frozenset[int]) -> None:
        roster.merge(request_context.store(), what, sorted(who))

    return _done_with(class_id, act)


@pages.post("/people/drill")
def set_drill(class_id: int) -> Response:
    """Lead to the form of a drill for those ticked."""

    def act(what: Class, who: frozenset[int]) -> Response:
        return redirect(url_for("drills.new", class_id=what.id, person=sorted(who)), 303)

    return _done_with(class_id, act)


@pages.post("/people/remove")
def remove(class_id: int) -> Response:
    """Name those who are ticked and ask once more; remove them when the box beside that button was ticked."""
    what, who = own_class(class_id), ticked()
    rows = tuple(one for one in _rows(what, "all") if one.id in who)
    if not rows:
        return _list(what, 422, problem="nobody is ticked: tick those to be removed")
    asked = request.form.get("asked") == "yes"
    if asked and sure():
        classes.remove_learners(request_context.store(), what, who, now=request_context.now())
        return redirect(url_for("roster.show", class_id=class_id), 303)
    page = PlacesPage(what.id, what.name, rows, problem=not_ticked() if asked else None)
    return make_response(render_template("removing_sure.html", page=page), 422 if asked else 200)


# --- who comes in ------------------------------------------------------------------------------------------------


@pages.post("/people/add")
def add(class_id: int) -> Response:
    """Add one learner to the roster."""
    what = own_class(class_id)
    name, number = request.form.get("name", ""), request.form.get("number", "")
    try:
        roster.add(request_context.store(), what, name, number, now=request_context.now())
    except (BadName, classes.ClassFull) as error:
        return _list(what, 422, problem=str(error), at="add", typed=(name[:80], number[:60]))
    return redirect(url_for("roster.show", class_id=class_id), 303)


@pages.post("/people/asking")
def asking(class_id: int) -> Response:
    """Let those ticked who ask to join in, or turn them away."""
    what, who = own_class(class_id), ticked()
    if not who:
        return _list(what, 422, problem="nobody is ticked: tick those whom you know", at="asking")
    act = roster.turn_away if request.form.get("act") == "turn-away" else roster.approve
    act(request_context.store(), what, who, now=request_context.now())
    return redirect(url_for("roster.show", class_id=class_id), 303)


@pages.post("/people/place")
def place(class_id: int) -> Response:
    """Give a place whose learner is gone to a new one, or take it off the roster."""
    what, number = own_class(class_id), request.form.get("place", 0, type=request_context.whole)
    if request.form.get("act") == "drop":
        roster.drop(request_context.store(), what, number)
    else:
        try:
            roster.fill(request_context.store(), what, number, now=request_context.now())
        except BadName as error:
            return _list(what, 422, problem=str(error))
    return redirect(url_for("roster.show", class_id=class_id), 303)


# --- groups ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class GroupPage:
    """What the page of a group receives."""

    class_id: int
    class_name: str
    group: ClassGroup
    people: tuple[tuple[int, str], ...]
    may: bool
    problem: str | None = None


@pages.get("/group/<int:number>")
def group(class_id: int, number: int) -> Response:
    """Show who is in a group."""
    return _group(own_class(class_id), number)


def _group(what: Class, group_id: int, code: int = 200, problem: str | None = None) -> Response:
    store = request_context.store()
    found, who = roster.group(store, what, group_id), roster_queries.people_of(store, group_id)
    people = ((one.learner, one.name) for one in roster_queries.members_of(store, what.id) if one.learner in who)
    may = may_change(what)
    page = GroupPage(what.id, what.name, found, tuple(people), may, problem)
    return make_response(render_template("group.html", page=page), code)


@pages.post("/group/<int:number>")
def keep_group(class_id: int, number: int) -> Response:
    """Give a group another name, or remove it."""
    what, store = own_class(class_id), request_context.store()
    if request.form.get("act") == "remove":
        roster.remove_group(store, what, number)
        return redirect(url_for("roster.show", class_id=class_id), 303)
    try:
        roster.rename_group(store, what, number, request.form.get("name", ""))
    except BadName as error:
        return _group(what, number, 422, str(error))
    return redirect(url_for("roster.group", class_id=class_id, number=number), 303)


@pages.post("/group/from-results")
def group_from_results(class_id: int) -> Response:
    """Make a group of those whose answers a slip would explain, in one click."""
    what, store, form = own_class(class_id), request_context.store(), request.form
    drill = form.get("drill", 0, type=request_context.whole)
    who = result_queries.who_slipped(store, what.id, form.get("step", ""), form.get("slip", ""), drill=drill)
    if not who:
        raise classes.UnknownMember
    name = roster.free_group_name(store, what, form.get("name", "") or "From results")
    number = roster.make_group(store, what, name, who, now=request_context.now())
    return redirect(url_for("roster.group", class_id=class_id, number=number), 303)
