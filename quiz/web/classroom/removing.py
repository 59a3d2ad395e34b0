"""Many learners of a class removed at once: who is ticked, then who they are by name, and only then it is done."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import classes
from quiz.storage import class_queries, result_queries
from quiz.storage.class_queries import Class
from quiz.web import request_context
from quiz.web.classroom.ownership import own_class
from quiz.web.confirming import not_ticked, sure
from quiz.web.drill_views import moment

pages = Blueprint("removing", __name__, url_prefix="/class/<int:class_id>/people")

SHOWN = (
    ("all", "everyone"),
    ("not-begun", "who has answered nothing"),
    ("together", "who joined together with many others, and has answered nothing"),
)


@dataclass(frozen=True)
class TickedRow:
    """One learner who can be ticked."""

    id: int
    name: str
    joined: str
    answered: int


@dataclass(frozen=True)
class RemovingPage:
    """What the two templates receive: the list to tick, and the question whether these are the ones."""

    class_id: int
    class_name: str
    rows: tuple[TickedRow, ...]
    show: str = "all"
    shown: tuple[tuple[str, str], ...] = SHOWN
    problem: str | None = None

    @property
    def answers(self) -> int:
        """How many answers they gave together."""
        return sum(one.answered for one in self.rows)


@pages.get("")
def show(class_id: int) -> Response:
    """List the learners of a class, those who joined last first; some, ready ticked, where the address asks so."""
    return _list(own_class(class_id), request.args.get("show", "all"))


def _list(what: Class, show: str, code: int = 200, problem: str | None = None) -> Response:
    rows = _rows(what, show)
    page = RemovingPage(what.id, what.name, rows, show if show in dict(SHOWN) else "all", problem=problem)
    return make_response(render_template("removing.html", page=page), code)


def _rows(what: Class, show: str) -> tuple[TickedRow, ...]:
    store = request_context.store()
    members = class_queries.members_of(store, what.id)
    sums = {one.learner: one.answered for one in result_queries.learner_sums(store, what.id, "all")}
    if show in ("not-begun", "together"):
        members = [one for one in members if one.learner not in sums]
    if show == "together":
        crowd = classes.crowd(class_queries.members_of(store, what.id), what)
        members = [one for one in members if crowd and crowd.first_at <= one.joined_at <= crowd.last_at]
    return tuple(
        TickedRow(one.learner, one.name, moment(one.joined_at), sums.get(one.learner, 0))
        for one in sorted(members, key=lambda one: (-one.joined_at, -one.learner))
    )


@pages.post("/remove")
def remove(class_id: int) -> Response:
    """Name those who are ticked and ask once more; remove them when the box beside that button was ticked."""
    what = own_class(class_id)
    ticked = set(request.form.getlist("learner", type=request_context.whole))
    rows = tuple(one for one in _rows(what, "all") if one.id in ticked)
    if not rows:
        return _list(what, "all", 422, "nobody is ticked: tick those to be removed")
    asked = request.form.get("asked") == "yes"
    if asked and sure():
        classes.remove_learners(request_context.store(), what, ticked, now=request_context.now())
        return redirect(url_for("classes.one", class_id=class_id), 303)
    page = RemovingPage(what.id, what.name, rows, problem=not_ticked() if asked else None)
    return make_response(render_template("removing_sure.html", page=page), 422 if asked else 200)
