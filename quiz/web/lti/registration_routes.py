"""The course platforms of this server, for those who administer the installation: registrations and their state.

What the commands `python -m quiz lti` do is done here without them. The page is there without https too, and then says
what platforms need.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import schools
from quiz.lti import registering
from quiz.lti.own_address import BadRegistration
from quiz.lti.registering import Platform
from quiz.lti.signing import NotInstalled
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import School
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Registration
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import day_of
from quiz.web.lti import platform_state
from quiz.web.lti.platform_state import NotServed

pages = Blueprint("platforms", __name__, url_prefix="/platforms")

FIELDS = {
    "name": ("What you call it", "for example Northfield courses; left empty, its host"),
    "issuer": ("Issuer, or platform ID", ""),
    "client_id": ("Client ID", ""),
    "deployment_id": ("Deployment ID", ""),
    "auth_login_url": ("Authentication request URL", "begins with https://"),
    "auth_token_url": ("Access token URL", "begins with https://"),
    "key_set_url": ("Public keyset URL", "begins with https://"),
}
"""What a platform shows, by the field of a registration: its name on the page, and a hint."""
STATES = {"pending": "waits to be approved", "active": "active", "off": "off"}


@dataclass(frozen=True)
class PlatformRow:
    """One course platform of this server."""

    id: int
    name: str
    school: str
    """"" where there is one school alone."""
    state: str
    words: str
    since: str
    courses: int
    deployments: tuple[tuple[str, str], ...]
    """Deployment IDs and their states."""
    waits: bool
    """Whether it, or a deployment of it, waits to be approved."""
    fields: Mapping[str, str]


@dataclass(frozen=True)
class PlatformsPage:
    """What the page receives."""

    rows: tuple[PlatformRow, ...]
    schools: tuple[School, ...]
    not_served: str
    """Why platforms cannot come in as the app is served; "" where they can."""
    addresses: tuple[tuple[str, str], ...]
    """What the administrator of a platform types in."""
    done: str = ""
    warning: str = ""
    problem: str | None = None
    at: str = ""
    """Where something is to be corrected: "invite", "add", "change", "remove" or "off"."""
    whose: int = 0
    wrong_field: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, tuple[str, str]] = field(default_factory=lambda: FIELDS)


@pages.before_request
def _installers_only() -> None:
    schools.install(request_context.preceptor())


@pages.get("")
def show() -> Response:
    """List the platforms."""
    return _page(done=_DONE.get(request.args.get("done", ""), ""))


_DONE = {
    "approved": "The platform is active: people come in by its links.",
    "off": "The platform is off, and those who came by it are signed out.",
    "removed": "The registration is removed. Classes, learners and answers are as they were.",
}


def _page(code: int = 200, **more: object) -> Response:
    store = request_context.store()
    known = school_queries.schools(store)
    names = {one.id: one.name for one in known} if len(known) > 1 else {}
    try:
        not_served, addresses = "", tuple(registering.addresses(platform_state.address()).items())
    except NotServed as error:
        not_served, addresses = str(error), ()
    listed = [_row(one, names) for one in lti_queries.registrations(store)]
    rows = tuple(sorted(listed, key=lambda one: not one.waits))
    page = PlatformsPage(rows, tuple(known), not_served, addresses, **more)  # type: ignore[arg-type]
    return make_response(render_template("platforms_of_server.html", page=page), code)


def _row(one: Registration, names: Mapping[int, str]) -> PlatformRow:
    store = request_context.store()
    parts = lti_queries.deployments_of(store, one.id)
    waits = one.state == "pending" or (one.state == "active" and any(each.state == "pending" for each in parts))
    return PlatformRow(
        one.id,
        one.name,
        names.get(one.school or 0, ""),
        one.state,
        STATES[one.state],
        day_of(one.made_at),
        lti_queries.courses_of_registration(store, one.id),
        tuple((each.deployment_id, STATES[each.state]) for each in parts),
        waits,
        {name: str(getattr(one, name, "")) for name in FIELDS},
    )


def _given() -> dict[str, str]:
    return {name: " ".join(request.form.get(name, "").split())[:2000] for name in FIELDS}


def _by() -> tuple[str, float]:
    return request_context.preceptor().name, request_context.now()


def _whole(name: str) -> int | None:
    return request.form.get(name, type=request_context.whole)


def _school() -> int | None:
    """Return the school that was chosen, or the one that there is."""
    known = school_queries.schools(request_context.store())
    number = known[0].id if len(known) == 1 else _whole("school")
    return next((one.id for one in known if one.id == number), None)


NO_SCHOOL = "choose the school whose platform it is"


@pages.post("/invite")
def invite() -> Response:
    """Make an address by which a platform registers itself, for an hour."""
    store, (by, now), school = request_context.store(), _by(), _school()
    try:
        address = platform_state.address()
    except NotServed as error:
        return _page(422, at="invite", problem=str(error))
    if school is None:
        return _page(422, at="invite", wrong_field="school", problem=NO_SCHOOL)
    secret = registering.invite(store, school=school, now=now, lots=request_context.lots())
    with store.writing():
        for where in (None, school):
            school_queries.record(store, where, by, "platform invited", now)
    return make_response(
        render_template("platform_to_register.html", link=f"{address}/lti/register/{secret}"),
    )


@pages.post("")
def add() -> Response:
    """Register a platform by hand."""
    store, (by, now), school, given = request_context.store(), _by(), _school(), _given()
    if school is None:
        return _page(422, at="add", wrong_field="school", problem=NO_SCHOOL, typed=given)
    try:
        number = registering.add(store, Platform(**given), school=school, now=now)
    except (BadRegistration, NotInstalled) as error:
        return _wrong(error, "add", given)
    found = registering.get(store, number)
    registering.record(store, found, "platform added", by=by, now=now)
    return _page(done=f"{found.name} is registered as number {number}, and active.", warning=_keys_of(found))


def _wrong(error: BadRegistration | NotInstalled, at: str, given: Mapping[str, str], whose: int = 0) -> Response:
    where = error.field if isinstance(error, BadRegistration) else ""
    words = error.on_page if isinstance(error, BadRegistration) else str(error)
    return _page(422, at=at, whose=whose, wrong_field=where, problem=words, typed=given)


def _keys_of(one: Registration) -> str:
    found = registering.try_keys(one.key_set_url, ask=platform_state.state().services.ask)
    return found.replace(" `lti change` corrects an address.", "")


@pages.post("/<int:number>/state")
def keep_state(number: int) -> Response:
    """Let a platform and its deployments in, or nobody by it any more."""
    store, (by, now), found = request_context.store(), _by(), registering.get(request_context.store(), number)
    if request.form.get("do") == "approve":
        registering.approve(store, number)
        registering.record(store, found, "platform approved", by=by, now=now)
        return redirect(url_for("platforms.show", done="approved", _anchor="done"), 303)
    if not sure():
        return _page(422, at="off", whose=number, problem=not_ticked("turned off"))
    registering.turn_off(store, number)
    registering.record(store, found, "platform off", by=by, now=now)
    return redirect(url_for("platforms.show", done="off", _anchor="done"), 303)


@pages.post("/<int:number>/change")
def change(number: int) -> Response:
    """Correct a registration."""
    store, (by, now), given = request_context.store(), _by(), _given()
    try:
        registering.change(store, number, given)
    except BadRegistration as error:
        return _wrong(error, "change", given, number)
    found = registering.get(store, number)
    registering.record(store, found, "platform changed", by=by, now=now)
    return _page(done=f"{found.name} is changed. The app uses it at once.", warning=_keys_of(found))


@pages.post("/<int:number>/remove")
def remove(number: int) -> Response:
    """Remove a registration, with the links and grades of its courses."""
    store, (by, now), found = request_context.store(), _by(), registering.get(request_context.store(), number)
    if not sure():
        return _page(422, at="remove", whose=number, problem=not_ticked())
    registering.remove(store, number, with_courses=True)
    registering.record(store, found, "platform removed", by=by, now=now)
    return redirect(url_for("platforms.show", done="removed", _anchor="done"), 303)
