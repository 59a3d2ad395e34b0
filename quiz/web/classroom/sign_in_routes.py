"""The door: joining a class by its code, coming back by one's phrase, and a preceptor's sign-in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from flask import Blueprint, Flask, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import classes
from quiz.classroom import sign_in as signing
from quiz.classroom.classes import Joined
from quiz.classroom.sign_in import NotKnown
from quiz.classroom.throttle import TooManyTries
from quiz.errors import QuizError
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.platform import lti_queries
from quiz.web import assets, request_context
from quiz.web.work.own_types import forget_own_types

pages = Blueprint("door", __name__)

OPEN = (
    *(*assets.ENDPOINTS, "health.healthz", "health.robots"),
    *("lti.jwks", "lti.config", "lti.login", "lti.launch", "lti.enter", "lti.reloaded", "lti.choose", "lti.register"),
    *("door.show", "door.join", "door.back", "door.come_back", "door.sign_in", "invitations.show", "invitations.take"),
)
"""What anyone may ask for when other computers are served too."""


@dataclass(frozen=True)
class DoorPage:
    """What the template receives."""

    form: str
    """The secret of this form: one sent twice joins once."""
    code: str = ""
    name: str = ""
    phrase: str = ""
    preceptor: str = ""
    problems: dict[str, str] = field(default_factory=dict)
    learner: str | None = None
    """Who is here already."""
    signed_in: str | None = None
    """The preceptor who is."""
    closed: bool = False
    """Whether a shared device was signed out, its tab having been closed."""
    platforms: bool = False
    """Whether people come from course platforms, too."""
    gone: str = ""
    """Who has just deleted themselves here, as scripts know them: what this browser holds of theirs goes too."""


@dataclass(frozen=True)
class PhrasePage:
    """What the page with a come-back phrase receives."""

    name: str
    phrase: str
    link: str
    why: str
    own: bool
    """Whether it is the learner who sees it, and not a preceptor who hands it over."""
    to: str
    to_words: str
    new: bool = False
    """Whether the learner has just joined, and may have answers elsewhere."""


def set_up(app: Flask) -> None:
    """Let nobody past who has not joined or signed in, where other computers are served too."""

    @app.before_request
    def _only_known() -> None:
        if not request_context.beyond() or request.endpoint in OPEN:
            return
        if request_context.joined_learner() is None and request_context.known_preceptor() is None:
            raise request_context.Outside


def _page(status: int = 200, *, form: str = "", **more: Any) -> Response:
    joined = request_context.joined_learner()
    signed_in = request_context.known_preceptor()
    page = DoorPage(
        form or request_context.lots().new_secret(),
        learner=joined.name if joined else None,
        signed_in=signed_in.name if signed_in else None,
        platforms=lti_queries.any_active(request_context.store()),
        **more,
    )
    return make_response(render_template("door.html", page=page), status)


def _shared() -> bool:
    """Say whether the form that was sent says that others use this device too."""
    return request.form.get("shared") == "yes"


def _refused(error: QuizError) -> int:
    return 429 if isinstance(error, TooManyTries | classes.ManyJoined) else 422


@pages.get("/door")
def show() -> Response:
    """Show the ways in."""
    return _page(gone=request.args.get("gone", "")[:40], closed="closed" in request.args)


@pages.post("/door/join")
def join() -> Response:
    """Join a class by its code, under a name of one's choosing."""
    code, name, form = (request.form.get(one, "") for one in ("code", "name", "form"))
    try:
        joined = classes.join(
            request_context.store(),
            code,
            name,
            form=form,
            caller=request_context.caller(),
            now=request_context.now(),
            lots=request_context.lots(),
            who=request_context.joined_learner() if request.form.get("as") == "me" else None,
            shared=_shared(),
        )
    except (NotKnown, TooManyTries, classes.ManyJoined, classes.OfAnotherSchool) as error:
        return _page(_refused(error), code=code[:40], name=name[:80], form=form, problems={"code": str(error)})
    except (BadName, classes.ClassFull) as error:
        return _page(422, code=code[:40], name=name[:80], form=form, problems={"name": str(error)})
    waits = roster_queries.asks_in(request_context.store(), joined.learner.id)
    asked = any(joined.of is not None and one.id == joined.of.id for one in waits)
    if not joined.token:
        return redirect(url_for("classes.show"), 303)
    before = request_context.known_preceptor()
    request_context.come_in(joined.token, shared=_shared())
    done = "You have asked to join: your preceptor lets you in." if asked else "You have joined."
    why = f"{done}{f' {before.name} is signed out on this device.' if before else ''}"
    return phrase_page(joined, why, new=not request_context.store().has_answered(joined.learner.id))


def phrase_page(joined: Joined, why: str, *, new: bool = False) -> Response:
    """Show a learner the phrase to come back with, the one time that it can be shown."""
    to = url_for("desk.show")
    return _phrase_page(joined.learner.name, joined.phrase, why, own=True, to=to, to_words="Go on practising", new=new)


def phrase_to_hand_over(name: str, phrase: str, why: str, *, to: str) -> Response:
    """Show a preceptor the phrase of a learner who has lost theirs, the one time that it can be shown."""
    return _phrase_page(name, phrase, why, own=False, to=to, to_words="Back to the class")


def _phrase_page(name: str, phrase: str, why: str, **more: Any) -> Response:
    link = request_context.for_others("door.back", phrase=phrase.lower())
    page = PhrasePage(name, phrase, link, why, **more)
    return make_response(render_template("phrase.html", page=page))


@pages.get("/back/<phrase>")
def back(phrase: str) -> Response:
    """Ask the person who opens a come-back link whether to come in: a link alone must change nothing."""
    try:
        who = classes.who_comes_back(
            request_context.store(), phrase, caller=request_context.caller(), now=request_context.now()
        )
    except (NotKnown, TooManyTries) as error:
        return _page(404 if isinstance(error, NotKnown) else 429, problems={"phrase": str(error)})
    return make_response(render_template("back.html", name=who.name, phrase=phrase))


@pages.post("/door/back")
def come_back() -> Response:
    """Come back by one's phrase."""
    phrase = request.form.get("phrase", "")
    try:
        token = classes.come_back(
            request_context.store(),
            phrase,
            caller=request_context.caller(),
            now=request_context.now(),
            lots=request_context.lots(),
            shared=_shared(),
        )
    except (NotKnown, TooManyTries) as error:
        return _page(_refused(error), phrase=phrase[:60], problems={"phrase": str(error)})
    request_context.come_in(token, shared=_shared())
    return redirect(url_for("desk.show"), 303)


@pages.post("/door/leave")
def leave() -> Response:
    """Sign the learner out on this device; everything is kept."""
    request_context.go_out()
    return forget_own_types(redirect(url_for("door.show"), 303))


@pages.post("/door/sign-in")
def sign_in() -> Response:
    """Sign a preceptor in."""
    name, password = request.form.get("preceptor", ""), request.form.get("password", "")
    try:
        who, token = signing.sign_in(
            request_context.store(),
            name,
            password,
            caller=request_context.caller(),
            now=request_context.now(),
            lots=request_context.lots(),
        )
    except (NotKnown, TooManyTries) as error:
        return _page(_refused(error), preceptor=name[:80], problems={"preceptor": str(error)})
    request_context.sign_in(who, token)
    return redirect(url_for("classes.show"), 303)


@pages.post("/door/sign-out")
def sign_out() -> Response:
    """Sign the preceptor out: here, or on every device."""
    if request.form.get("everywhere") == "yes":
        signing.sign_out_everywhere(request_context.store(), request_context.preceptor())
    request_context.sign_out()
    return redirect(url_for("door.show"), 303)
