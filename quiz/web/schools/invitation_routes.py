"""Taking an invitation to a school, or a link that sets a new password: once, by who holds the link."""

from __future__ import annotations

from dataclasses import dataclass, field

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import invitations, schools
from quiz.classroom.invitations import NoInvitation
from quiz.classroom.sign_in import LEAST_PASSWORD, BadPassword, NotKnown
from quiz.classroom.throttle import TooManyTries
from quiz.errors import QuizError
from quiz.practice.names import BadName
from quiz.storage.organisation.school_queries import Invitation
from quiz.web import request_context

pages = Blueprint("invitations", __name__, url_prefix="/invitation")


@dataclass(frozen=True)
class InvitationPage:
    """What the template receives."""

    secret: str
    school: str
    by: str
    whom: str
    administrator: bool
    sets_password: bool
    name: str
    known_name: str = ""
    signed_in: str = ""
    """The preceptor who is signed in here already."""
    learner: str = ""
    """The learner who is, and whom coming in signs out."""
    problems: dict[str, str] = field(default_factory=dict)
    least: int = LEAST_PASSWORD


def _read(secret: str) -> Invitation:
    now = request_context.now()
    return invitations.read(request_context.store(), secret, caller=request_context.caller(), now=now)


def _nothing(error: QuizError) -> Response:
    code = 429 if isinstance(error, TooManyTries) else 404
    return make_response(render_template("no_invitation.html", why=f"{str(error)[:1].upper()}{str(error)[1:]}"), code)


def _page(
    secret: str,
    what: Invitation,
    code: int = 200,
    *,
    name: str | None = None,
    known_name: str = "",
    problems: dict[str, str] | None = None,
) -> Response:
    here, learner = request_context.known_preceptor(), request_context.joined_learner()
    page = InvitationPage(
        secret,
        schools.get(request_context.store(), what.school).name,
        what.by_whom,
        what.whom,
        what.administrator,
        what.preceptor is not None,
        what.whom if name is None else name,
        known_name,
        here.name if here else "",
        learner.name if learner else "",
        problems or {},
    )
    return make_response(render_template("invitation.html", page=page), code)


@pages.get("/<secret>")
def show(secret: str) -> Response:
    """Show what an invitation is to: a link alone changes nothing."""
    try:
        return _page(secret, _read(secret))
    except (NoInvitation, TooManyTries) as error:
        return _nothing(error)


@pages.post("/<secret>")
def take(secret: str) -> Response:
    """Come in by an invitation: as someone new, or as the preceptor whose password is given."""
    store, caller = request_context.store(), request_context.caller()
    now, lots = request_context.now(), request_context.lots()
    name, known_name = request.form.get("name", ""), request.form.get("preceptor", "")
    as_known = request.form.get("do") == "join"
    try:
        what = _read(secret)
        if as_known:
            password = request.form.get("known_password", "")
            who, token = invitations.take_as(store, secret, known_name, password, caller=caller, now=now, lots=lots)
        else:
            password = typed_twice(request.form.get("password", ""), request.form.get("again", ""))
            who, token = invitations.take(store, secret, name, password, caller=caller, now=now, lots=lots)
    except NoInvitation as error:
        return _nothing(error)
    except TooManyTries as error:
        return _nothing(error) if not as_known else _again(secret, error, name, known_name)
    except (BadName, BadPassword, NotKnown) as error:
        return _again(secret, error, name, known_name)
    request_context.sign_in(who, token)
    return redirect(
        url_for("schools.show", school_id=what.school) if what.administrator else url_for("classes.show"), 303
    )


def typed_twice(password: str, again: str) -> str:
    """Return a password that was typed twice; raises BadPassword where the two differ."""
    if password != again:
        raise BadPassword("the two passwords differ: type both again")
    return password


def _again(secret: str, error: QuizError, name: str, known_name: str) -> Response:
    try:
        what = _read(secret)
    except (NoInvitation, TooManyTries) as other:
        return _nothing(other)
    at = "name" if isinstance(error, BadName) else "password" if isinstance(error, BadPassword) else "preceptor"
    code = 429 if isinstance(error, TooManyTries) else 422
    return _page(secret, what, code, name=name[:80], known_name=known_name[:80], problems={at: str(error)})
