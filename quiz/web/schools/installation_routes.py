"""The schools of this server, for those who administer the installation: adding, inviting, renaming, removing."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import class_moves, invitations, schools
from quiz.classroom.class_moves import ClassMove, ClassStays
from quiz.classroom.preceptors import NotRemoved
from quiz.practice.names import BadName
from quiz.storage.organisation import school_queries
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import day_of
from quiz.web.schools.routes import LATEST, InvitationRow, changes_said, invitation_row, link_page

pages = Blueprint("installation", __name__, url_prefix="/schools")


@dataclass(frozen=True)
class InstalledRow:
    """One school of this server."""

    id: int
    name: str
    since: str
    preceptors: int
    classes: int
    administrators: tuple[str, ...]
    invitations: tuple[InvitationRow, ...]
    empty: bool
    names: tuple[tuple[int, str], ...]
    """Numbers and names of its classes, with their owners."""


@dataclass(frozen=True)
class InstallationPage:
    """What the template receives."""

    rows: tuple[InstalledRow, ...]
    changes: tuple[tuple[str, str], ...]
    whose: int = 0
    problem: str | None = None
    typed: str = ""


@pages.before_request
def _installers_only() -> None:
    schools.install(request_context.preceptor())


@pages.get("")
def show() -> Response:
    """List the schools."""
    return _page()


def _page(code: int = 200, **more: object) -> Response:
    store, now = request_context.store(), request_context.now()
    page = InstallationPage(
        tuple(
            InstalledRow(
                one.id,
                one.name,
                day_of(one.made_at) if one.made_at else "",
                one.preceptors,
                one.classes,
                tuple(name for _, name in school_queries.administrators_of(store, one.id)),
                tuple(invitation_row(each) for each in school_queries.invitations_of(store, one.id, now)),
                not one.preceptors and not one.classes,
                tuple(
                    (each.id, f"{each.name}, {each.owner_name}")
                    for each in school_queries.classes_of_school(store, one.id)
                ),
            )
            for one in school_queries.school_sizes(store)
        ),
        changes_said(school_queries.changes_of(store, None, LATEST)),
        **more,  # type: ignore[arg-type]
    )
    return make_response(render_template("installation.html", page=page), code)


@pages.post("")
def make() -> Response:
    """Add a school."""
    store, by = request_context.store(), request_context.preceptor().name
    typed = request.form.get("name", "")
    try:
        made = schools.make(store, typed, by=by, now=request_context.now())
    except BadName as error:
        return _page(422, problem=str(error), typed=typed[:80])
    return redirect(url_for("installation.show", _anchor=f"school-{made.id}"), 303)


@pages.post("/<int:school_id>/name")
def rename(school_id: int) -> Response:
    """Give a school another name."""
    store, by = request_context.store(), request_context.preceptor().name
    what = schools.get(store, school_id)
    try:
        schools.rename(store, what, request.form.get("name", ""), by=by, now=request_context.now())
    except BadName as error:
        return _page(422, problem=str(error), whose=what.id)
    return redirect(url_for("installation.show", _anchor=f"school-{what.id}"), 303)


@pages.post("/<int:school_id>/invite")
def invite(school_id: int) -> Response:
    """Make a link by which an administrator comes into a school, once."""
    store = request_context.store()
    what, whom = schools.get(store, school_id), request.form.get("whom", "")
    try:
        secret = invitations.invite(
            store,
            what,
            whom,
            administrator=True,
            by=request_context.preceptor(),
            now=request_context.now(),
            lots=request_context.lots(),
        )
    except BadName as error:
        return _page(422, problem=str(error), whose=what.id)
    return link_page(
        "Invitation",
        " ".join(whom.split()),
        secret,
        invitations.HOLDS_DAYS,
        back=url_for("installation.show"),
        back_words="Schools of this server",
        words=f"administers {what.name} once a name and a password are chosen on its page",
    )


@pages.post("/<int:school_id>/withdraw")
def withdraw(school_id: int) -> Response:
    """Let an invitation to a school be taken no more."""
    store, by = request_context.store(), request_context.preceptor().name
    what, number = schools.get(store, school_id), request.form.get("invitation", type=request_context.whole)
    invitations.withdraw(store, what, number, by=by, now=request_context.now())
    return redirect(url_for("installation.show", _anchor=f"school-{what.id}"), 303)


@pages.post("/<int:school_id>/remove")
def remove(school_id: int) -> Response:
    """Remove a school that is empty."""
    store, by = request_context.store(), request_context.preceptor().name
    what = schools.get(store, school_id)
    if not sure():
        return _page(422, problem=not_ticked(), whose=what.id)
    try:
        schools.remove(store, what, by=by, now=request_context.now())
    except NotRemoved as error:
        return _page(422, problem=str(error), whose=what.id)
    return redirect(url_for("installation.show"), 303)


# --- classes that go from one to another -------------------------------------------------------------------------


@pages.get("/<int:school_id>/move")
def plan_move(school_id: int) -> Response:
    """Show what follows when classes of a school go to another; nothing is changed by looking."""
    what = schools.get(request_context.store(), school_id)
    numbers = request.args.getlist("class", type=request_context.whole)
    try:
        plan = class_moves.planned(
            request_context.store(), what, numbers, request.args.get("to", type=request_context.whole)
        )
    except BadName as error:
        return _page(422, problem=str(error), whose=what.id)
    return _move_page(plan)


def _move_page(plan: ClassMove, code: int = 200, problem: str | None = None) -> Response:
    page = render_template("move_classes.html", plan=plan, strangers=plan.strangers, problem=problem)
    return make_response(page, code)


@pages.post("/<int:school_id>/move")
def move(school_id: int) -> Response:
    """Let classes of a school go to another."""
    store, now, by = request_context.store(), request_context.now(), request_context.preceptor().name
    what = schools.get(store, school_id)
    numbers = request.form.getlist("class", type=request_context.whole)
    to = request.form.get("to", type=request_context.whole)
    along = request.form.get("preceptors", "along") == "along"
    owner = request.form.get("owner", type=request_context.whole)
    try:
        plan = class_moves.planned(store, what, numbers, to)
    except BadName as error:
        return _page(422, problem=str(error), whose=what.id)
    if not sure():
        return _move_page(plan, 422, not_ticked("moved"))
    try:
        class_moves.move(store, what, numbers, to, along=along, owner=owner, by=by, now=now)
    except (BadName, ClassStays) as error:
        return _move_page(plan, 422, str(error))
    return redirect(url_for("installation.show", _anchor=f"school-{plan.to.id}"), 303)
