"""A learner's way through a drill: what it is, its cases, and its result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

from flask import Blueprint, Flask, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.procedure.vocabulary import CREDITED
from quiz.classroom import drills, take_drill
from quiz.classroom.drills import Outcome
from quiz.classroom.take_drill import Offer
from quiz.lti.grade_outbox import HELD_BACK
from quiz.practice import sittings
from quiz.storage import class_queries, result_queries
from quiz.storage.class_queries import Drill
from quiz.storage.datafile import Busy, NotKept
from quiz.storage.platform import earlier_runs, outcome_queries
from quiz.storage.platform.outcome_queries import GradeThere
from quiz.storage.store import Answer, Sitting
from quiz.web import assets, request_context
from quiz.web.drill_views import moment, score_words
from quiz.web.practise.routes import show_case
from quiz.web.request_context import CourseHere
from quiz.web.sitting_views import CaseLine, SlipLine, case_lines, late_words, slip_lines

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
    awaited: bool
    starts: str | None
    """When the time of a start together begins, where that is known."""
    test: bool
    may_return: bool
    time: str
    """The time that this learner has, in words; "" where there is none."""
    deleted: bool = False
    """Whether they had begun it before, and were deleted since."""
    grades: tuple[str, ...] = ()
    """Sentences about the grade in their courses."""
    grade_on_its_way: bool = False
    """Whether one of them is about to be sent, which takes a few seconds."""
    course: CourseHere | None = None
    """The course from which they came in here."""
    summary: str = ""
    passed: bool | None = None
    slips: tuple[SlipLine, ...] = ()
    cases: tuple[CaseLine, ...] = ()


def set_up(app: Flask) -> None:
    """End runs whose minutes are over before any page is made, the person who asks for it."""

    @app.before_request
    def _end_overdue() -> None:
        if request.endpoint in assets.ENDPOINTS or not (
            request_context.joined_learner() or request_context.known_preceptor()
        ):
            return
        # A page that only shows something must not fail for this: the next request tries again.
        with suppress(Busy, NotKept):
            take_drill.end_overdue(request_context.store(), request_context.now())

    @app.before_request
    def _only_the_test() -> Response | None:
        learner = None if request.endpoint in assets.ENDPOINTS else request_context.joined_learner()
        found = (
            None if learner is None else take_drill.under_test(request_context.store(), learner, request_context.now())
        )
        if found is None or _is_of_test(*found):
            return None
        shown = url_for("drilling.show", drill_id=found[1].id)
        if request_context.wants_json():
            return make_response(
                jsonify(error="A test is under way: this is closed until you finish it.", go=shown), 409
            )
        return redirect(shown, 303)


ANSWERING = ("practise.answer", "practise.again", "practise.dont_know", "practise.read", "practise.read_as")
BESIDE = {"reference": ("reference",), "work": ("work", "look_up"), "recall": ("recall",), "bench": ("bench",)}
"""Blueprints that stay open beside a test, by the aid that a preceptor allows."""
SHUT = {"bench": "Bench", "work": "Work one out", "recall": "Recall", "reference": "Reference"}
AIDED = {"bench": "bench.explore", "work": "work.show", "recall": "recall.show", "reference": "reference.show"}


def _is_of_test(run: Sitting, drill: Drill) -> bool:
    """Say whether what is asked for belongs to a test: its pages, answers, the bench of its case, its aids."""
    area, given = request.blueprint, request.view_args or {}
    if area == "door" or request.endpoint in ANSWERING:
        return True
    if area == "drilling":
        return given.get("drill_id") == drill.id
    if area == "bench" and "dealt_id" in given:
        dealt = request_context.store().dealt(str(given["dealt_id"]))
        return dealt is not None and dealt.sitting == run.id
    return any(area in BESIDE[aid] for aid in drill.aids)


@dataclass(frozen=True)
class TestPage:
    """What the page of a test's case receives beside the case."""

    seconds: int
    """Of the whole time that this learner has."""
    minutes: str
    left: str
    gone: int
    """How far along its line the clock is, of 352."""
    marks: tuple[tuple[int, str], ...]
    ticks: tuple[str, ...]
    flagged: tuple[tuple[int, str], ...]
    """Places and cases that were put back."""
    handed_in: int
    shut: str
    open: tuple[tuple[str, str], ...]
    """Aids that are allowed: words and address."""


LINE = 352
"""Units along the line of the clock, as figures have them."""


def _test_page(drill: Drill, run: Sitting, dealt_id: str) -> TestPage:
    store, now = request_context.store(), request_context.now()
    due = run.due_at or now
    begun = (drill.starts_at if drill.together else None) or run.started_at
    whole, left = max(1.0, due - begun), max(0.0, due - now)
    places = class_queries.places_in(store, run.id)
    back = {one.id: places[one.id] for one in class_queries.put_back_in(store, run.id)}
    answered = {one.dealt for one in store.answers_in(run.id)}
    states = {
        place: "now" if one == dealt_id else "done" if one in answered else "back" for one, place in places.items()
    }
    marks = ((whole / 2, "half"), (300.0, "5"), (60.0, "1"))
    closed = [words for aid, words in SHUT.items() if aid not in drill.aids]
    return TestPage(
        seconds=round(whole),
        minutes=f"{whole / 60:.3g} min",
        left=f"{-(-left // 60):.0f} min" if left > 60 else "under a minute",
        gone=round(LINE * (1 - left / whole)),
        marks=tuple(
            (round(LINE * (1 - at / whole)), words)
            for at, words in marks
            if at < whole * (1 if at == whole / 2 else 0.5)
        ),
        ticks=tuple(states.get(place, "") for place in range(1, (run.cases or 0) + 1)),
        flagged=tuple((place, one) for one, place in back.items()),
        handed_in=run.answered,
        shut=", ".join(["other practice", "Progress", *closed]),
        open=tuple((SHUT[aid], url_for(AIDED[aid])) for aid in drill.aids),
    )


@pages.get("/<int:drill_id>")
def show(drill_id: int) -> str:
    """Show what a drill is, the case that waits in it, or its result."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    one = take_drill.offer(store, learner, drill_id, now=now)
    wanted = request.args.get("case", "")
    case = take_drill.waiting(store, learner, one, now=now, lots=request_context.lots(), wanted=wanted)
    if case is not None:
        return show_case(case, closed=not one.open)
    return render_template("drilling.html", page=_page(take_drill.offer(store, learner, drill_id, now=now)))


def _grade_words(one: Offer, there: GradeThere) -> str:
    """Say of a grade how far it is on its way to a course."""
    if one.run is None or (one.open and not one.over):
        return f"Graded in {there.course}: your score goes there when you finish."
    if there.sent_at is not None and there.given is not None and there.maximum is not None:
        return f"Sent to {there.course}: {there.given:g} of {there.maximum:g}."
    if there.last_error in HELD_BACK.values():
        return f"Practice: the grade that you have in {there.course} stands."
    if there.last_error is not None and there.next_at is not None:
        return f"Your score has not arrived in {there.course} yet. It is sent again by itself."
    if there.last_error is not None:
        return f"Your score was not taken by {there.course}. Your teacher sees why."
    if there.on_its_way:
        return f"Your score is on its way to {there.course}."
    return f"Your score has not been sent to {there.course} yet."


def _page(one: Offer) -> DrillingPage:
    drill, store, who = one.drill, request_context.store(), request_context.learner().id
    has_score = drills.outcome(drill, 0, 0).asked is not None
    grades = outcome_queries.grades_in_courses(store, drill.id, who) if has_score else []
    answers = request_context.store().answers_in(one.run.id) if one.run else []
    accepted = result_queries.accepted_of(request_context.store(), one.run.learner) if one.run else frozenset()
    in_time = [one for one in answers if not one.late or one.dealt in accepted]
    came = drills.outcome(drill, len(in_time), sum(one.verdict in CREDITED for one in in_time))
    # Where marks come at the end, nothing is told of a drill that was closed half-way either, or it could be reopened.
    told = one.over or drill.at_once
    return DrillingPage(
        id=drill.id,
        title=drill.title,
        notes=drill.notes,
        length=drill.length,
        timed=drill.time is not None,
        least=drill.least,
        feedback="Each answer is shown its mark at once." if drill.at_once else "The marks are shown at the end.",
        pass_mark=drill.pass_mark if came.asked is not None else None,
        closes=moment(one.closes_at) if one.closes_at is not None else None,
        begun=one.run is not None,
        open=one.open,
        over=one.over,
        barred=one.barred,
        awaited=one.awaited,
        starts=moment(drill.starts_at) if drill.together and drill.starts_at is not None else None,
        test=drill.test,
        may_return=drill.may_return,
        time=_time(one),
        deleted=one.barred and earlier_runs.earlier_run(store, drill.id, who) is not None,
        grades=tuple(dict.fromkeys(map(partial(_grade_words, one), grades))),
        grade_on_its_way=one.over and any(each.on_its_way for each in grades),
        course=request_context.course_here(),
        summary=_summary(drill, came, answers, in_time) if told and one.run else "",
        passed=came.passed if one.over else None,
        slips=slip_lines(sittings.slipped_in(in_time)) if told else (),
        cases=case_lines(answers, accepted) if told else (),
    )


def _time(one: Offer) -> str:
    """Say how long a learner has: the drill's time, with what they have beyond the others."""
    if one.drill.time is None:
        return ""
    minutes = one.drill.time
    if one.given is not None:
        minutes = minutes * (1 + one.given.extra_time / 100) + one.given.extra_minutes
    return f"{minutes:.3g} minutes"


def _summary(drill: Drill, came: Outcome, answers: Sequence[Answer], in_time: Sequence[Answer]) -> str:
    late = len(answers) - len(in_time)
    answered = f" You answered {came.answered}." if drill.minutes is not None else ""
    if any(one.on_paper for one in answers):
        answered += " You worked on paper, and a preceptor typed your answers in."
    return f"{score_words(drill, came)}.{answered}{late_words(late)}"


@pages.get("/<int:drill_id>/started")
def started(drill_id: int) -> Response:
    """Say whether a start together has come, for the page that waits for it."""
    one = take_drill.offer(request_context.store(), request_context.learner(), drill_id, now=request_context.now())
    return make_response(jsonify(started=not one.awaited))


@pages.get("/<int:drill_id>/sent")
def sent(drill_id: int) -> Response:
    """Say whether the grades of a drill have left, for the page of its end that waits for it."""
    store, learner = request_context.store(), request_context.learner()
    drill = take_drill.offer(store, learner, drill_id, now=request_context.now()).drill
    grades = outcome_queries.grades_in_courses(store, drill.id, learner.id)
    return make_response(jsonify(sent=not any(each.on_its_way for each in grades)))


def _own_test(drill_id: int) -> Offer:
    """Return a test that this learner is in."""
    one = take_drill.offer(request_context.store(), request_context.learner(), drill_id, now=request_context.now())
    if not one.drill.test or one.run is None:
        raise drills.UnknownDrill
    return one


@pages.post("/<int:drill_id>/put-back")
def put_back(drill_id: int) -> Response:
    """Put a case back, to be returned to later."""
    one = take_drill.offer(request_context.store(), request_context.learner(), drill_id, now=request_context.now())
    dealt = request.form.get("case", "")
    take_drill.put_back(request_context.store(), request_context.learner(), one, dealt, now=request_context.now())
    return redirect(url_for("drilling.show", drill_id=drill_id), 303)


@pages.get("/<int:drill_id>/end")
def end(drill_id: int) -> str:
    """Ask whether to finish a test before all is handed in."""
    one = _own_test(drill_id)
    run = one.run.id if one.run else 0
    flagged = len(class_queries.put_back_in(request_context.store(), run))
    return render_template("test_end.html", drill=one.drill, handed_in=one.answered, flagged=flagged)


@pages.post("/<int:drill_id>/finish")
def finish(drill_id: int) -> Response:
    """Finish a test."""
    take_drill.finish(request_context.store(), _own_test(drill_id), now=request_context.now())
    return redirect(url_for("drilling.show", drill_id=drill_id), 303)


@pages.app_context_processor
def _for_templates() -> dict[str, Callable[..., object]]:
    return {"test_of": test_of}


def test_of(drill: Drill | None, dealt_id: str) -> TestPage | None:
    """Return what the page of a test's case shows beside the case; None where it is no case of a test."""
    dealt = None if drill is None or not drill.test else request_context.store().dealt(dealt_id)
    run = None if dealt is None else request_context.store().sitting(dealt.sitting)
    return None if drill is None or run is None else _test_page(drill, run, dealt_id)


@pages.post("/<int:drill_id>/begin")
def begin(drill_id: int) -> Response:
    """Begin a drill, or go on with it."""
    take_drill.begin(request_context.store(), request_context.learner(), drill_id, now=request_context.now())
    request_context.keep_here()
    return redirect(url_for("drilling.show", drill_id=drill_id), 303)
