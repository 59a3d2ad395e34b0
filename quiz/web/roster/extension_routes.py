"""More time for single learners in one drill: a time to close of their own, and minutes more."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import classes, drills
from quiz.classroom.drills import BadPlan, NotNow
from quiz.practice.forms import BadText, Moment
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Allowance, Class, Drill
from quiz.web import request_context
from quiz.web.classroom.ownership import own_drill
from quiz.web.drill_views import allowance_words, moment

pages = Blueprint("extensions", __name__, url_prefix="/class/<int:class_id>/drill/<int:drill_id>/extensions")


@dataclass(frozen=True)
class ExtensionsPage:
    """What the page receives."""

    class_id: int
    drill: Drill
    closes: str
    given: tuple[tuple[int, str, str], ...]
    """Learners with more time: number, name, and what they have."""
    people: tuple[tuple[int, str], ...]
    """Everyone whom the drill is for."""
    chosen: int | None = None
    closes_at: str = ""
    minutes: str = ""
    problem: str | None = None


@pages.get("")
def show(class_id: int, drill_id: int) -> Response:
    """Show who has more time, and the form that gives it; filled for a learner where one is named."""
    what, drill = own_drill(class_id, drill_id)
    number = request.args.get("learner", type=request_context.whole)
    has = class_queries.allowances_in(request_context.store(), drill.id).get(number or 0, Allowance())
    return _page(
        what,
        drill,
        chosen=number,
        closes_at="" if has.closes_at is None else Moment().write(has.closes_at),
        minutes=f"{has.extra_minutes:g}" if has.extra_minutes else "",
    )


def _page(what: Class, drill: Drill, code: int = 200, **more: object) -> Response:
    store = request_context.store()
    given = class_queries.allowances_in(store, drill.id)
    members = drills.members_for(store, drill, roster_queries.members_of(store, what.id))
    page = ExtensionsPage(
        what.id,
        drill,
        moment(drill.closes_at) if drill.closes_at is not None else "",
        tuple((one.learner, one.name, allowance_words(given[one.learner])) for one in members if one.learner in given),
        tuple((one.learner, one.name) for one in members),
        **more,  # type: ignore[arg-type]
    )
    return make_response(render_template("extensions.html", page=page), code)


@pages.post("")
def keep(class_id: int, drill_id: int) -> Response:
    """Give a learner more time, or take it back."""
    what, drill = own_drill(class_id, drill_id)
    form, store = request.form, request_context.store()
    number = form.get("learner", type=request_context.whole)
    typed, minutes = (form.get(one, "").strip() for one in ("closes_at", "extra_minutes"))
    if number is None:
        return _page(what, drill, 422, problem="nobody is chosen: choose a learner", closes_at=typed)
    who = classes.member(store, what, number)
    try:
        closes_at = Moment().read(typed) if typed else None
        more = float(minutes.replace(",", ".")) if minutes else 0.0
        drills.extend(store, drill, who.learner, closes_at=closes_at, extra_minutes=more, now=request_context.now())
    except (BadPlan, NotNow, BadText) as error:
        problem = str(error)
    except ValueError:
        problem = f"minutes “{minutes[:20]}”: give a number, for example 10"
    else:
        return redirect(url_for("extensions.show", class_id=class_id, drill_id=drill_id), 303)
    return _page(what, drill, 422, chosen=who.learner, closes_at=typed, minutes=minutes[:20], problem=problem)
