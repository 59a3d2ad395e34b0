"""A learner's way through a drill: what it is, its cases, and what it came to."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from flask import Blueprint, Flask, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.procedure.vocabulary import CREDITED
from quiz.classroom import drills, take_drill
from quiz.classroom.drills import Outcome
from quiz.classroom.take_drill import Offer
from quiz.practice import sittings
from quiz.storage.class_queries import Drill
from quiz.storage.datafile import Busy, NotKept
from quiz.web import assets, request_context
from quiz.web.drill_views import moment, score_words
from quiz.web.practise.routes import show_case
from quiz.web.sitting_views import CaseLine, SlipLine, case_lines, slip_lines

pages = Blueprint("drilling", __name__, url_prefix="/drill")


@dataclass(frozen=True)
class DrillingPage:
    """What the template receives."""

    id: int
    title: str
    notes: str
    length: str
    timed: bool
    least: int | None
    feedback: str
    pass_mark: int | None
    closes: str | None
    begun: bool
    open: bool
    over: bool
    barred: bool
    summary: str = ""
    passed: bool | None = None
    slips: tuple[SlipLine, ...] = ()
    cases: tuple[CaseLine, ...] = ()


def set_up(app: Flask) -> None:
    """End runs whose minutes are over before any page is made, whoever asks for it."""

    @app.before_request
    def _end_overdue() -> None:
        if request.endpoint in assets.ENDPOINTS or not (
            request_context.joined_learner() or request_context.known_preceptor()
        ):
            return
        # A page that only shows something must not fail for this: the next request tries again.
        with suppress(Busy, NotKept):
            take_drill.end_overdue(request_context.store(), request_context.now())


@pages.get("/<int:drill_id>")
def show(drill_id: int) -> str:
    """Show what a drill is, the case that waits in it, or what it came to."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    one = take_drill.offer(store, learner, drill_id, now=now)
    case = take_drill.waiting(store, learner, one, now=now, lots=request_context.lots())
    if case is not None:
        return show_case(case, closed=not one.open)
    return render_template("drilling.html", page=_page(take_drill.offer(store, learner, drill_id, now=now)))


def _page(one: Offer) -> DrillingPage:
    drill = one.drill
    answers = request_context.store().answers_in(one.run.id) if one.run else []
    in_time = [one for one in answers if not one.late]
    came = drills.outcome(drill, len(in_time), sum(one.verdict in CREDITED for one in in_time))
    # Where marks come at the end, nothing is told of a drill that was closed half-way either, lest it be opened again.
    told = one.over or drill.at_once
    return DrillingPage(
        id=drill.id,
        title=drill.title,
        notes=drill.notes,
        length=drill.length,
        timed=drill.minutes is not None,
        least=drill.least,
        feedback="Each answer is shown its mark at once." if drill.at_once else "The marks are shown at the end.",
        pass_mark=drill.pass_mark if came.asked is not None else None,
        closes=moment(one.closes_at) if one.closes_at is not None else None,
        begun=one.run is not None,
        open=one.open,
        over=one.over,
        barred=one.barred,
        summary=_summary(drill, came, len(answers) - len(in_time)) if told and one.run else "",
        passed=came.passed if one.over else None,
        slips=slip_lines(sittings.slipped_in(in_time)) if told else (),
        cases=case_lines(answers) if told else (),
    )


def _summary(drill: Drill, came: Outcome, late: int) -> str:
    answered = f" You answered {came.answered}." if drill.minutes is not None else ""
    after = {0: "", 1: " One answer came after the time and is not counted."}
    return f"{score_words(drill, came)}.{answered}" + after.get(
        late, f" {late} answers came after the time and are not counted."
    )


@pages.post("/<int:drill_id>/begin")
def begin(drill_id: int) -> Response:
    """Begin a drill, or go on with it."""
    take_drill.begin(request_context.store(), request_context.learner(), drill_id, now=request_context.now())
    return redirect(url_for("drilling.show", drill_id=drill_id), 303)
