"""One request: its connection, its moment, and who is asking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from flask import Flask, current_app, g, redirect, request, session, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from quiz import people
from quiz.datafile import DataFile
from quiz.lots import Lots
from quiz.store import Learner, Store

_WHO = "learner"


@dataclass(frozen=True)
class Desk:
    """What every request needs: the data file, the clock and chance."""

    file: DataFile
    clock: Callable[[], float]
    lots: Lots


class WhoIsIt(HTTPException):
    """Several people practise here and this browser has not said who it is: ask."""

    code = 303

    def get_response(self, *_: object) -> Response:
        """Send the browser to the list of names."""
        return redirect(url_for("people.show"), 303)


def set_up(app: Flask, desk: Desk) -> None:
    """Give the app its desk, and let every request hand its connection back."""
    app.extensions["desk"] = desk

    @app.teardown_appcontext
    def _hand_back(_: BaseException | None) -> None:
        store = g.pop("store", None)
        if store is not None:
            store.close()


def _desk() -> Desk:
    desk: Desk = current_app.extensions["desk"]
    return desk


def store() -> Store:
    """Return this request's connection."""
    if "store" not in g:
        g.store = Store(_desk().file)
    kept: Store = g.store
    return kept


def now() -> float:
    """Return the moment of this request, the same throughout, in seconds since 1970."""
    if "now" not in g:
        g.now = _desk().clock()
    return float(g.now)


def lots() -> Lots:
    """Return where chance comes from."""
    return _desk().lots


def known_learner() -> Learner | None:
    """Return who this browser said it was, if it did and they are still here."""
    number = session.get(_WHO)
    if not isinstance(number, int) or g.get("forgotten"):
        return None
    return store().learner(number)


def forget() -> None:
    """Ask the data file nothing more in this request: it may be what failed."""
    g.forgotten = True


def learner() -> Learner:
    """Return who is asking. The first visitor of all becomes the first learner, without being asked for anything.

    Raises
    ------
    WhoIsIt
        When several people practise here and this browser has not said who it is.
    """
    found = known_learner() or people.only_one(store(), now=now())
    if found is None:
        raise WhoIsIt
    be(found)
    return found


def be(who: Learner) -> None:
    """Remember in a signed cookie who this browser is."""
    if session.get(_WHO) != who.id:
        session[_WHO] = who.id
        session.permanent = True


def be_nobody() -> None:
    """Forget who this browser is."""
    session.pop(_WHO, None)


def wants_json() -> bool:
    """Say whether a script is asking."""
    return request.accept_mimetypes.best_match(("text/html", "application/json")) == "application/json"
