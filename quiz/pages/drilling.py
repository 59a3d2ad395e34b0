"""A learner's way through a drill: what it is, its cases, and what it came to."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, redirect, render_template, url_for
from werkzeug.wrappers import Response

from cases.marking import CREDITED
from quiz import drill_runs, sittings
from quiz.drill_runs import Offer
from quiz.pages import visit
from quiz.pages.drill_views import moment
from quiz.pages.practise import show_case
from quiz.pages.sitting_views import CaseLine, SlipLine, case_lines, slip_lines

pages = Blueprint("drilling", __name__, url_prefix="/drill")


@dataclass(frozen=True)
class DrillingPage:
    """What the template receives."""

    id: int
    title: str
    notes: str
    length: str
    timed: bool
    feedback: str
    pass_mark: int | None
    closes: str | None
    begun: bool
    open: bool
    over: bool
    summary: str = ""
    passed: bool | None = None
    slips: tuple[SlipLine, ...] = ()
    cases: tuple[CaseLine, ...] = ()


@pages.get("/<int:drill_id>")
def show(drill_id: int) -> str:
    """Show what a drill is, the case that waits in it, or what it came to."""
    store, learner, now = visit.store(), visit.learner(), visit.now()
    one = drill_runs.offer(store, learner, drill_id, now=now)
    case = drill_runs.waiting(store, learner, one, now=now, lots=visit.lots())
    if case is not None:
        return show_case(case, closed=not one.open)
    return render_template("drilling.html", page=_page(drill_runs.offer(store, learner, drill_id, now=now)))


def _page(one: Offer) -> DrillingPage:
    drill = one.drill
    answers = visit.store().answers_in(one.run.id) if one.run else []
    came = drill_runs.outcome(drill, len(answers), sum(one.verdict in CREDITED for one in answers))
    # Where marks come at the end, nothing is told of a drill that was closed half-way either, lest it be opened again.
    told = one.over or drill.at_once
    return DrillingPage(
        id=drill.id,
        title=drill.title,
        notes=drill.notes,
        length=drill.length,
        timed=drill.minutes is not None,
        feedback="Each answer is shown its mark at once." if drill.at_once else "The marks are shown at the end.",
        pass_mark=drill.pass_mark,
        closes=moment(drill.closes_at) if drill.closes_at is not None else None,
        begun=one.run is not None,
        open=one.open,
        over=one.over,
        summary=f"{came.right} of {came.asked} right: {came.per_cent} %." if told and one.run and came.asked else "",
        passed=came.passed if one.over else None,
        slips=slip_lines(sittings.slipped_in(answers)) if told else (),
        cases=case_lines(answers) if told else (),
    )


@pages.post("/<int:drill_id>/begin")
def begin(drill_id: int) -> Response:
    """Begin a drill, or go on with it."""
    drill_runs.begin(visit.store(), visit.learner(), drill_id, now=visit.now())
    return redirect(url_for("drilling.show", drill_id=drill_id), 303)
