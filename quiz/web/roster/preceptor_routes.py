"""Preceptors: whom a preceptor has beside them in their schools; all of this server, for who administers it.

Who administers the installation renames and removes them, with what they own handed on. A preceptor of another school
is as if they were not there.
"""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import preceptors
from quiz.classroom.preceptors import NotRemoved, UnknownPreceptor
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Colleague
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import day_of

pages = Blueprint("preceptors", __name__, url_prefix="/preceptors")


@dataclass(frozen=True)
class PreceptorRow:
    """One preceptor in the list."""

    id: int
    name: str
    since: str
    classes: tuple[str, ...]
    """Names of those that they own."""
    administrator: bool
    schools: tuple[str, ...]
    """In which they are; none is named where there is one school."""
    takers: tuple[Colleague, ...]
    """Who can take their classes: those of their schools."""


@dataclass(frozen=True)
class SchoolColleagues:
    """The preceptors of one school, as each of them may know."""

    name: str
    """"" where its name is nowhere."""
    people: tuple[tuple[str, bool], ...]
    """Names, and whether they administer the school."""


@pages.before_request
def _administrators_only() -> None:
    if request.endpoint != "preceptors.show":
        preceptors.administer(request_context.preceptor())


@pages.get("")
def show() -> Response:
    """List the preceptors: all, or those of one's own schools."""
    return _page() if request_context.preceptor().administrator else _colleagues()


def _colleagues() -> Response:
    store, now, who = request_context.store(), request_context.now(), request_context.preceptor()
    named = school_queries.only_school(store) is None
    found = tuple(
        SchoolColleagues(
            each.name if named else "",
            tuple((one.name, one.administrator) for one in school_queries.people_of_school(store, each.school, now)),
        )
        for each in school_queries.schools_of(store, who.id)
    )
    return make_response(render_template("colleagues.html", schools=found))


def _page(code: int = 200, problem: str | None = None, whose: int = 0) -> Response:
    store = request_context.store()
    several = school_queries.only_school(store) is None
    memberships = {one.id: school_queries.schools_of(store, one.id) for one in roster_queries.preceptors(store)}
    people = {each.id: school_queries.preceptors_of_school(store, each.id) for each in school_queries.schools(store)}
    rows = [
        PreceptorRow(
            one.id,
            one.name,
            day_of(one.made_at),
            tuple(each.name for each in preceptors.owned(store, one)),
            one.administrator,
            tuple(each.name for each in memberships[one.id]) if several else (),
            tuple(
                sorted(
                    {other for each in memberships[one.id] for other in people[each.school] if other.id != one.id},
                    key=lambda other: other.name.lower(),
                )
            ),
        )
        for one in roster_queries.preceptors(store)
    ]
    page = render_template(
        "preceptors.html", rows=rows, me=request_context.preceptor().id, problem=problem, whose=whose
    )
    return make_response(page, code)


@pages.post("/<int:preceptor_id>/rename")
def rename(preceptor_id: int) -> Response:
    """Give a preceptor another name."""
    store = request_context.store()
    try:
        who = preceptors.get(store, preceptor_id)
        by, now = request_context.preceptor().name, request_context.now()
        preceptors.rename(store, who, request.form.get("name", ""), by=by, now=now)
    except BadName as error:
        return _page(422, str(error), preceptor_id)
    return redirect(url_for("preceptors.show"), 303)


@pages.post("/<int:preceptor_id>/remove")
def remove(preceptor_id: int) -> Response:
    """Remove a preceptor, and hand what they own to another."""
    store = request_context.store()
    who = preceptors.get(store, preceptor_id)
    if not sure():
        return _page(422, not_ticked(), preceptor_id)
    to = request.form.get("to", type=request_context.whole)
    try:
        taker = None if to is None else preceptors.get(store, to)
        by = request_context.preceptor().name
        preceptors.remove(store, who, to=taker, by=by, now=request_context.now())
    except (NotRemoved, UnknownPreceptor) as error:
        return _page(422, str(error), preceptor_id)
    return redirect(url_for("preceptors.show"), 303)
