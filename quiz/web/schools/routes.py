"""A school, for those who administer it: its classes from above, its preceptors, invitations, who changed what."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import invitations, schools
from quiz.classroom.preceptors import NotRemoved, UnknownPreceptor
from quiz.errors import QuizError
from quiz.exports import school_lists
from quiz.practice.names import BadName
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Change, Invitation, School, SchoolPerson
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure
from quiz.web.downloads import download
from quiz.web.drill_views import day_of, moment

pages = Blueprint("schools", __name__, url_prefix="/school/<int:school_id>")

LATEST = 8
"""Changes on the page; the file has them all."""


@dataclass(frozen=True)
class SchoolClassRow:
    """One class of the school."""

    id: int
    name: str
    owner: str
    others: tuple[str, ...]
    """Names and roles of those beside its owner."""
    learners: int
    last: str
    archived: bool


@dataclass(frozen=True)
class SchoolPersonRow:
    """One preceptor of the school."""

    id: int
    name: str
    since: str
    administrator: bool
    classes: tuple[str, ...]
    """Names of those that they own here."""
    others: bool
    """Whether their sign-in opens more than this school."""
    signed_in: bool
    me: bool


@dataclass(frozen=True)
class InvitationRow:
    """One invitation that can be taken."""

    number: int
    words: str
    until: str


@dataclass(frozen=True)
class SchoolPage:
    """What the template receives."""

    id: int
    name: str
    classes: tuple[SchoolClassRow, ...]
    people: tuple[SchoolPersonRow, ...]
    invitations: tuple[InvitationRow, ...]
    changes: tuple[tuple[str, str], ...]
    """When, and in words."""
    platforms: tuple[tuple[str, str], ...]
    """Names and states of its course platforms."""
    installs: bool
    """Whether who looks administers the installation too."""
    at: str = ""
    """Where something is to be corrected."""
    problem: str | None = None
    whose: int = 0
    typed: str = ""


def own_school(school_id: int) -> School:
    """Return a school that the preceptor who is asking administers."""
    return schools.own(request_context.store(), request_context.preceptor(), school_id)


@pages.get("")
def show(school_id: int) -> Response:
    """Show a school."""
    return _page(own_school(school_id))


def _page(what: School, code: int = 200, **more: object) -> Response:
    store, now, me = request_context.store(), request_context.now(), request_context.preceptor()
    teachers = school_queries.teachers_in_school(store, what.id)
    classes = school_queries.classes_of_school(store, what.id)
    page = SchoolPage(
        what.id,
        what.name,
        tuple(
            SchoolClassRow(
                one.id,
                one.name,
                one.owner_name,
                tuple(f"{name} ({role})" for name, role in teachers.get(one.id, [])),
                one.places,
                "" if one.last_at is None else day_of(one.last_at),
                one.archived_at is not None,
            )
            for one in classes
        ),
        tuple(
            _person_row(one, tuple(each.name for each in classes if each.owner == one.preceptor), me.id)
            for one in school_queries.people_of_school(store, what.id, now)
        ),
        tuple(invitation_row(one) for one in school_queries.invitations_of(store, what.id, now)),
        changes_said(school_queries.changes_of(store, what.id, LATEST)),
        tuple(school_queries.platforms_of_school(store, what.id)),
        me.administrator,
        **more,  # type: ignore[arg-type]
    )
    return make_response(render_template("school.html", page=page), code)


def _person_row(one: SchoolPerson, classes: tuple[str, ...], me: int) -> SchoolPersonRow:
    return SchoolPersonRow(
        one.preceptor,
        one.name,
        day_of(one.added_at),
        one.administrator,
        classes,
        bool(one.elsewhere) or one.installs,
        bool(one.sign_ins),
        one.preceptor == me,
    )


def invitation_row(one: Invitation) -> InvitationRow:
    """Return an open invitation as a page shows it."""
    as_what = "a new password" if one.preceptor else "administrator" if one.administrator else "preceptor"
    return InvitationRow(one.id, f"{one.whom}, {as_what}, by {one.by_whom}", moment(one.until))


def changes_said(changes: list[Change]) -> tuple[tuple[str, str], ...]:
    """Return when each change was made, and what it was, in words."""
    return tuple((moment(one.at), schools.in_words(one)) for one in changes)


def link_page(what: str, whom: str, secret: str, days: int, *, back: str, back_words: str, words: str) -> Response:
    """Show a link to hand over, the one time that it can be shown."""
    link = request_context.for_others("invitations.show", secret=secret)
    page = render_template(
        "link_to_hand_over.html",
        what=what,
        whom=whom,
        link=link,
        days=days,
        back=back,
        back_words=back_words,
        words=words,
    )
    return make_response(page)


def _back(what: School, anchor: str) -> Response:
    return redirect(url_for("schools.show", school_id=what.id, _anchor=anchor), 303)


def _by() -> tuple[str, float]:
    return request_context.preceptor().name, request_context.now()


@pages.post("/name")
def rename(school_id: int) -> Response:
    """Give the school another name."""
    what, (by, now) = own_school(school_id), _by()
    typed = request.form.get("name", "")
    try:
        schools.rename(request_context.store(), what, typed, by=by, now=now)
    except BadName as error:
        return _page(what, 422, at="name", problem=str(error), typed=typed[:80])
    return _back(what, "name")


# --- its people --------------------------------------------------------------------------------------------------


@pages.post("/invite")
def invite(school_id: int) -> Response:
    """Make a link by which somebody comes into the school, once."""
    what, now = own_school(school_id), request_context.now()
    whom, role = request.form.get("whom", ""), request.form.get("role", "preceptor")
    try:
        secret = invitations.invite(
            request_context.store(),
            what,
            whom,
            administrator=role == "administrator",
            by=request_context.preceptor(),
            now=now,
            lots=request_context.lots(),
        )
    except BadName as error:
        return _page(what, 422, at="invite", problem=str(error), typed=whom[:80])
    return link_page(
        "Invitation",
        " ".join(whom.split()),
        secret,
        invitations.HOLDS_DAYS,
        back=url_for("schools.show", school_id=what.id),
        back_words=what.name,
        words="chooses a name and a password on its page",
    )


@pages.post("/withdraw")
def withdraw(school_id: int) -> Response:
    """Let an invitation be taken no more."""
    what, (by, now) = own_school(school_id), _by()
    number = request.form.get("invitation", type=request_context.whole)
    invitations.withdraw(request_context.store(), what, number, by=by, now=now)
    return _back(what, "invite")


def _whom(what: School, preceptor_id: int) -> SchoolPerson:
    return schools.person(request_context.store(), what, preceptor_id, now=request_context.now())


def _not_done(what: School, whom: SchoolPerson, error: QuizError | str) -> Response:
    return _page(what, 422, at="people", problem=str(error), whose=whom.preceptor)


@pages.post("/preceptor/<int:preceptor_id>/administrator")
def administrator(school_id: int, preceptor_id: int) -> Response:
    """Let a preceptor administer the school, or no longer."""
    what, (by, now) = own_school(school_id), _by()
    whom, yes = _whom(what, preceptor_id), request.form.get("act") == "make"
    try:
        schools.make_school_administrator(request_context.store(), what, whom, yes=yes, by=by, now=now)
    except NotRemoved as error:
        return _not_done(what, whom, error)
    if not yes and whom.preceptor == request_context.preceptor().id:
        return redirect(url_for("classes.show"), 303)
    return _back(what, "people")


@pages.post("/preceptor/<int:preceptor_id>/sign-out")
def sign_out(school_id: int, preceptor_id: int) -> Response:
    """End the sign-ins of a preceptor on every device."""
    what, (by, now) = own_school(school_id), _by()
    whom = _whom(what, preceptor_id)
    schools.sign_out(request_context.store(), what, whom, by=by, now=now)
    return _back(what, "people")


@pages.post("/preceptor/<int:preceptor_id>/password")
def password(school_id: int, preceptor_id: int) -> Response:
    """Make a link by which a preceptor sets a new password, once."""
    what = own_school(school_id)
    whom = _whom(what, preceptor_id)
    try:
        secret = invitations.invite_password(
            request_context.store(),
            what,
            whom,
            by=request_context.preceptor(),
            now=request_context.now(),
            lots=request_context.lots(),
        )
    except NotRemoved as error:
        return _not_done(what, whom, error)
    return link_page(
        "New password",
        whom.name,
        secret,
        invitations.PASSWORD_HOLDS_DAYS,
        back=url_for("schools.show", school_id=what.id),
        back_words=what.name,
        words="sets a new password on its page; until then the one before is valid",
    )


@pages.post("/preceptor/<int:preceptor_id>/remove")
def remove(school_id: int, preceptor_id: int) -> Response:
    """Remove a preceptor from the school, and hand what they own to another."""
    what, store, (by, now) = own_school(school_id), request_context.store(), _by()
    whom = _whom(what, preceptor_id)
    if not sure():
        return _not_done(what, whom, not_ticked())
    to = request.form.get("to", type=request_context.whole)
    try:
        schools.remove_person(store, what, whom, to=None if to is None else _whom(what, to), by=by, now=now)
    except (NotRemoved, UnknownPreceptor) as error:
        return _not_done(what, whom, error)
    if whom.preceptor == request_context.preceptor().id:
        return redirect(url_for("classes.show"), 303)
    return _back(what, "people")


# --- its classes -------------------------------------------------------------------------------------------------


@pages.post("/hand-over")
def hand_over(school_id: int) -> Response:
    """Give a class of the school to another of its preceptors."""
    what, store, (by, now) = own_school(school_id), request_context.store(), _by()
    try:
        one = schools.class_of_school(store, what, request.form.get("class", type=request_context.whole))
        to = schools.person(store, what, request.form.get("to", type=request_context.whole), now=now)
        schools.hand_over(store, what, one, to, by=by, now=now)
    except UnknownPreceptor:
        return _page(what, 422, at="hand-over", problem="choose a preceptor from the list")
    except BadName as error:
        return _page(what, 422, at="hand-over", problem=str(error))
    return _back(what, "classes")


@pages.get("/<any(classes, preceptors, changes):which>.csv")
def save_list(school_id: int, which: str) -> Response:
    """Give a list of the school as a file."""
    what = own_school(school_id)
    parts = school_lists.school_list(request_context.store(), what, which, now=request_context.now())
    return download(parts, "text/csv", f"{what.name}-{which}.csv")
