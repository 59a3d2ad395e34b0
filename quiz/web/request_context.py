"""One request: its connection, its moment, and who is asking."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from flask import Flask, current_app, g, jsonify, make_response, redirect, request, session, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.routing import IntegerConverter
from werkzeug.wrappers import Response

from quiz.classroom import sign_in as signing
from quiz.classroom.throttle import Caller, Tries
from quiz.practice import learners
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Preceptor
from quiz.storage.datafile import Away, Busy, NotKept
from quiz.storage.engines.seam import Engine
from quiz.storage.safekeeping.timetable import Timetable
from quiz.storage.store import Learner, Store
from quiz.web.front.public_address import LOOPBACK

MOST_DIGITS = 15
MOST_PRECEPTORS = 20
"""Remembered in one browser's cookie."""
_WHO = "learner"
"""Under which the cookie keeps the number of a learner at this computer."""
_JOINED = "joined"
"""Under which it keeps a learner's sign-in to a class."""
_PRECEPTOR = "preceptor"
_DEVICE = "device"
"""Under which it keeps a name by chance, once someone has come in here, so that failures elsewhere hold nobody up."""
_SHARED = "shared"
"""Under which it keeps that others use this device too."""
_COURSE = "course"
"""Under which it keeps of which course of a platform a sign-in is, for as long as that lasts."""
_PRECEPTORS = "preceptors"
"""Under which it keeps the numbers of those who signed in as a preceptor here, the last one last."""


@dataclass(frozen=True)
class Desk:
    """What every request needs: the data file, the clock and chance."""

    file: Engine
    clock: Callable[[], float]
    lots: Lots
    beyond: bool = False
    """Whether other computers are served too: then nobody comes in who has not joined a class or signed in."""
    reached_at: str = ""
    """The address by which other computers reach this one, where it is known: "http://192.0.2.7:8067"."""
    by_proxy: bool = False
    """Whether requests come by another web server, whose word on where they come from is taken."""
    public_url: str = ""
    """The address of that other web server, as the world reaches it; "" where there is none."""
    timetable: Timetable | None = None
    """What makes backups while the app is served."""
    beside: list[Callable[[], object]] = field(default_factory=list)
    """What areas begin beside the requests once the app is served, each in a thread of its own."""
    tries: Tries = field(default_factory=Tries)
    """The failed tries to come in."""


@dataclass(frozen=True)
class CourseHere:
    """The course of a platform from which somebody came in here."""

    title: str
    back: str
    """Where the platform takes people back to it; "" where it did not say."""
    ticket: str
    """The digest of the ticket that they came in by."""
    leads_to: str
    """The page that it opened."""


class WhoIsIt(HTTPException):
    """Several people practise here and this browser has not said who it is: ask."""

    code = 303

    def get_response(self, *_: object) -> Response:
        """Send the browser to the list of names."""
        if wants_json():
            return make_response(jsonify(error="This browser has not said who is practising."), 401)
        return redirect(url_for("people.show"), 303)


class Outside(HTTPException):
    """Nobody is signed in here: show the door."""

    code = 303

    def get_response(self, *_: object) -> Response:
        """Send the browser to the door; a script is told plainly, or it would take the door's page for its answer."""
        if wants_json():
            return make_response(jsonify(error="Nobody is signed in here: come back with your phrase."), 401)
        # A preceptor who asks for a learner's page has come in already.
        inside = known_preceptor() is not None and request.blueprint != "classes"
        return redirect(url_for("classes.show" if inside else "door.show"), 303)


def set_up(app: Flask, desk: Desk) -> None:
    """Give the app its desk, and let every request hand its connection back."""
    app.extensions["desk"], app.extensions["beside"] = desk, desk.beside
    app.url_map.converters["int"] = WholeInAddress

    @app.teardown_appcontext
    def _hand_back(_: BaseException | None) -> None:
        store = g.pop("store", None)
        if store is not None:
            store.close()


def desk_of(app: Flask) -> Desk:
    """Return the desk of an app, outside a request too."""
    desk: Desk = app.extensions["desk"]
    return desk


def _desk() -> Desk:
    return desk_of(current_app)


def store() -> Store:
    """Return this request's connection."""
    if "store" not in g:
        g.store = Store(_desk().file, remember=True)
    kept: Store = g.store
    return kept


def now() -> float:
    """Return the moment of this request, the same throughout, in seconds since 1970."""
    if "now" not in g:
        g.now = _desk().clock()
    return float(g.now)


def today() -> date:
    """Return the day of this request, in UTC."""
    return datetime.fromtimestamp(now(), UTC).date()


def lots() -> Lots:
    """Return where chance comes from."""
    return _desk().lots


def known_learner() -> Learner | None:
    """Return who this browser said it was, if it did and they are still here."""
    if g.get("forgotten"):
        return None
    joined = joined_learner()
    if joined is not None or beyond():
        return joined
    number = session.get(_WHO)
    if not isinstance(number, int):
        return None
    # A page that is only looked at changes nothing about who looks.
    if "local" not in g or request.method != "GET":
        g.local = store().learner(number)
    kept: Learner | None = g.local
    return None if kept is None or kept.joined else kept


def forget() -> None:
    """Ask the data file nothing more in this request: it may be what failed."""
    g.forgotten = True


def learner() -> Learner:
    """Return who is asking. The first visitor of all becomes the first learner, without being asked for anything.

    Raises
    ------
    WhoIsIt
        When several people practise here and this browser has not said who it is.
    Outside
        When other computers are served too, and nobody is signed in.
    """
    found = known_learner()
    if found is not None:
        return found
    if beyond():
        raise Outside
    found = learners.only_one(store(), now=now())
    if found is None:
        raise WhoIsIt
    be(found)
    return found


def be(who: Learner) -> None:
    """Remember in a signed cookie who this browser is."""
    g.pop("local", None)
    if session.get(_WHO) != who.id:
        session[_WHO] = who.id
        session.permanent = True


def be_nobody() -> None:
    """Forget who this browser is."""
    session.pop(_WHO, None)


def beyond() -> bool:
    """Say whether other computers are served too."""
    return _desk().beyond


def by_proxy() -> bool:
    """Say whether requests come by another web server that this one was told of."""
    return _desk().by_proxy


def public_url() -> str:
    """Return the address by which the world comes by another web server; "" where there is none."""
    return _desk().public_url


def timetable() -> Timetable | None:
    """Return what makes backups, where they are made on a timetable."""
    return _desk().timetable


def for_others(endpoint: str, **values: Any) -> str:
    """Return an address to hand to others: who asks from this very computer is at one that means another to them."""
    host = request.host.rsplit(":", 1)[0]
    if host in LOOPBACK and _desk().reached_at:
        return f"{_desk().reached_at}{url_for(endpoint, **values)}"
    return url_for(endpoint, **values, _external=True)


def caller() -> Caller:
    """Return where the request came from, for counting tries."""
    device = str(session.get(_DEVICE, ""))
    return Caller(_desk().tries, request.remote_addr or "", device, tuple(session.get(_PRECEPTORS, ())))


def _known_device() -> None:
    """Remember in the cookie that someone came in here."""
    if _DEVICE not in session:
        session[_DEVICE] = lots().new_secret()


def joined_learner() -> Learner | None:
    """Return the learner of a class who is signed in here."""
    if "joined" not in g:
        g.joined = signing.learner_of(store(), session.get(_JOINED), now=now()) if _JOINED in session else None
        keep_here()
    kept: Learner | None = g.joined
    return kept


def keep_here() -> None:
    """Let a learner who is on a shared device stay a while longer, for the whole of a test that they are in."""
    if g.get("joined") is not None and _SHARED in session:
        with suppress(Away, Busy, NotKept):  # the next page tries again
            signing.stay(store(), session.get(_JOINED), g.joined, now=now())


def known_preceptor() -> Preceptor | None:
    """Return the preceptor who is signed in here; none while a learner of a class is, whatever the cookie holds."""
    if g.get("forgotten") or _PRECEPTOR not in session or joined_learner() is not None:
        return None
    if "preceptor" not in g:
        g.preceptor = signing.preceptor_of(store(), session.get(_PRECEPTOR), now=now())
    kept: Preceptor | None = g.preceptor
    return kept


def person_of(app: Flask, environ: dict[str, Any]) -> str:
    """Return what all requests of one preceptor, or else of one browser, have alike; "" where nothing came from here.

    The data file is not asked.
    """
    held = app.session_interface.open_session(app, app.request_class(environ))
    if not held:
        return ""
    preceptors = held.get(_PRECEPTORS) if _PRECEPTOR in held else None
    return f"preceptor {preceptors[-1]}" if preceptors else str(environ["HTTP_COOKIE"])


def says_preceptor() -> bool:
    """Say whether the cookie is a preceptor's, without asking the data file: it may be what failed."""
    return _PRECEPTOR in session and _JOINED not in session


def preceptor() -> Preceptor:
    """Return the preceptor who is asking.

    Raises
    ------
    Outside
        When none is signed in here.
    """
    found = known_preceptor()
    if found is None:
        raise Outside
    return found


def on_shared_device() -> bool:
    """Say whether a learner is signed in on a device that others use too, and is in no test."""
    learner = joined_learner() if _SHARED in session else None
    return learner is not None and class_queries.run_through_test(store(), learner.id) is None


def come_in(token: str, *, shared: bool = False) -> None:
    """Remember a learner's sign-in in the cookie; the person who was here before, learner or preceptor, is signed out.

    On a shared device the cookie ends with the browser.
    """
    go_out()
    sign_out()
    session[_JOINED] = token
    session.permanent = not shared
    if shared:
        session[_SHARED] = True
    _known_device()


def keep_course(course: CourseHere) -> None:
    """Remember in the cookie from which course somebody has just come in."""
    session[_COURSE] = list(vars(course).values())


def course_here() -> CourseHere | None:
    """Return from which course of a platform the person who is signed in here came."""
    kept = session.get(_COURSE)
    if not isinstance(kept, list) or len(kept) != len(CourseHere.__dataclass_fields__):
        return None
    return CourseHere(*map(str, kept)) if joined_learner() or known_preceptor() else None


def go_out() -> None:
    """Sign the learner of a class out on this device."""
    signing.sign_out(store(), session.pop(_JOINED, None))
    session.pop(_COURSE, None)
    session.pop(_SHARED, None)
    g.pop("joined", None)


def sign_in(who: Preceptor, token: str) -> None:
    """Remember a preceptor's sign-in in the cookie; anyone who was here before, learner or preceptor, is signed out."""
    go_out()
    sign_out()
    session[_PRECEPTOR] = token
    others = [one for one in session.get(_PRECEPTORS, ()) if one != who.id]
    session[_PRECEPTORS] = [*others, who.id][-MOST_PRECEPTORS:]
    session.permanent = True
    _known_device()


def sign_out() -> None:
    """Sign the preceptor out on this device."""
    signing.sign_out(store(), session.pop(_PRECEPTOR, None))
    session.pop(_COURSE, None)
    g.pop("preceptor", None)


def whole(text: str) -> int:
    """Read a whole number as an address or a form holds it.

    Raises
    ------
    ValueError
        When it is none, or has more digits than the data file can hold.
    """
    if len(text) > MOST_DIGITS:
        raise ValueError(f"a number of {len(text)} digits")
    return int(text)


class WholeInAddress(IntegerConverter):
    """A whole number in an address, no longer than the data file can hold; a longer one is no address of ours."""

    regex = rf"\d{{1,{MOST_DIGITS}}}"


def wants_json() -> bool:
    """Say whether a script is asking."""
    # Most requests are a browser's, which wants a page first: what else it names need not be weighed.
    accept = request.headers.get("Accept", "")
    if accept.startswith("text/html,") and "json" not in accept:
        return False
    return request.accept_mimetypes.best_match(("text/html", "application/json")) == "application/json"
