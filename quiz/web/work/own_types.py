"""The types that someone uses: the last five worked out, and favourites. Kept in the browser, in one cookie.

A clinician looks a sum up in any room, signed in or not, so the browser keeps them and the data file knows nothing.
The cookie holds names of types alone, never a number that was typed; it goes to the pages of Work one out only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flask import current_app, request, url_for
from werkzeug.wrappers import Response

from cases.procedure.case_type import CaseType
from quiz.practice.own_findings.working_out import computing_types
from quiz.web import request_context

COOKIE = "work-types"
LAST = 5
MOST_FAVOURITES = 12
KEPT_S = 365 * 24 * 60 * 60
_BETWEEN, _THEN = ".", "~"


@dataclass(frozen=True)
class OwnTypes:
    """Ids of types, the latest first and favourites as they were added."""

    last: tuple[str, ...] = ()
    favourites: tuple[str, ...] = ()

    def used(self, type_id: str) -> OwnTypes:
        """Put a type first among the last."""
        return OwnTypes(_known((type_id, *self.last), LAST), self.favourites)

    def turned(self, type_id: str) -> OwnTypes:
        """Add a type to the favourites, or take it out; the earliest goes where there are too many."""
        if type_id in self.favourites:
            return OwnTypes(self.last, tuple(one for one in self.favourites if one != type_id))
        return OwnTypes(self.last, _known((*self.favourites, type_id)[-MOST_FAVOURITES:], MOST_FAVOURITES))

    @property
    def last_others(self) -> tuple[CaseType, ...]:
        """The last types that are no favourites."""
        return tuple(computing_types()[one] for one in self.last if one not in self.favourites)

    @property
    def favourite_types(self) -> tuple[CaseType, ...]:
        """The favourites."""
        return tuple(computing_types()[one] for one in self.favourites)


def own_types() -> OwnTypes:
    """Return what this browser kept; types that this version does not have are left out."""
    last, _, favourites = request.cookies.get(COOKIE, "").partition(_THEN)
    return OwnTypes(_known(last.split(_BETWEEN), LAST), _known(favourites.split(_BETWEEN), MOST_FAVOURITES))


def keep_own_types(response: Response, own: OwnTypes) -> Response:
    """Let the browser keep them for a year; on a device that others use too, until it is closed."""
    if own == OwnTypes():
        response.delete_cookie(COOKIE, path=url_for("work.show"))
        return response
    response.set_cookie(
        COOKIE,
        _THEN.join((_BETWEEN.join(own.last), _BETWEEN.join(own.favourites))),
        max_age=None if request_context.on_shared_device() else KEPT_S,
        path=url_for("work.show"),
        secure=bool(current_app.config["SESSION_COOKIE_SECURE"]),
        httponly=True,
        samesite="Lax",
    )
    return response


def forget_own_types(response: Response) -> Response:
    """Let the browser forget them: the person who used them has gone out here, or deleted their data."""
    return keep_own_types(response, OwnTypes())


def _known(ids: Iterable[str], most: int) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one for one in ids if one in computing_types()))[:most]
