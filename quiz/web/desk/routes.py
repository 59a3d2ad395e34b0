"""Today: the desk, from which a case is one key away; a newcomer meets the first case at once."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.procedure.vocabulary import LEVELS
from quiz.classroom import take_drill
from quiz.practice import dealing, first_questions, learners, today, what_to_practise
from quiz.practice.first_questions import SURE
from quiz.practice.settings import ROLES
from quiz.practice.today import NothingThere
from quiz.web import request_context
from quiz.web.case_views import DrillLine
from quiz.web.desk.views import DeskPage, desk_page
from quiz.web.practise.routes import show_case

pages = Blueprint("desk", __name__)


@pages.get("/")
def show() -> str:
    """Show the day, or to the person who has never practised the first case."""
    store, learner = request_context.store(), request_context.learner()
    if not store.has_answered(learner.id) and not request.args.get("what"):
        one = dealing.waiting(store, learner, now=request_context.now(), lots=request_context.lots())
        return show_case(one, drills=open_drills())
    return render_template("desk.html", page=_page(request.args.get("what", ""), request.args.get("topic", "")))


def _page(what: str, topic: str, problem: str = "") -> DeskPage:
    return desk_page(
        request_context.store(),
        request_context.learner(),
        what=what,
        topic=topic,
        length=request.values.get("length", ""),
        now=request_context.now(),
        drills=open_drills(),
        problem=problem,
    )


def open_drills() -> tuple[DrillLine, ...]:
    """Return the drills open to the learner, those left out that are done."""
    offers = take_drill.offers(request_context.store(), request_context.learner(), now=request_context.now())
    return tuple(DrillLine(one.drill.id, one.drill.title, one.words) for one in offers if one.open and not one.over)


@pages.post("/start")
def start() -> Response:
    """Begin what was chosen, or go on with it, and lead to its case."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    what, topic = request.form.get("what", ""), request.form.get("topic", "")
    aim = what_to_practise.read_aim(what, topic)
    settings = learners.settings_of(learner)
    length = what_to_practise.read_length(request.form.get("length", ""), settings.length)
    try:
        today.start(store, learner, aim, length, level=settings.level, now=now)
    except NothingThere as error:
        return make_response(render_template("desk.html", page=_page(what, topic, str(error))), 422)
    return redirect(url_for("practise.show"), 303)


@pages.get("/start")
def again() -> Response:
    """Lead on from the address that the form was sent to."""
    request_context.learner()
    return redirect(url_for("desk.show"), 303)


@pages.get("/first-questions")
def questions() -> str:
    """Ask three things, each of which may be passed over."""
    request_context.learner()
    return _questions({})


@pages.post("/first-questions")
def answered() -> Response:
    """Keep what was answered, or that nothing was, and go on."""
    store, learner = request_context.store(), request_context.learner()
    given, faults = first_questions.read_answers({} if request.form.get("skip") else request.form)
    if faults:
        return make_response(_questions(faults), 422)
    first_questions.keep_answers(store, learner, given)
    if given.expert:
        aim = what_to_practise.read_aim(what_to_practise.SURVEY)
        length, now = learners.settings_of(learner).length, request_context.now()
        today.start(store, learner, aim, length, level=LEVELS[-1], now=now)
    return redirect(url_for("practise.show"), 303)


def _questions(faults: dict[str, str]) -> str:
    asked = (
        ("role", "What are you?", ROLES),
        ("transposing", "How sure are you in transposing a prescription?", SURE),
        ("two_meridians", "How sure are you with two meridians, from streak to prescription?", SURE),
    )
    return render_template("first_questions.html", asked=asked, sent=request.form, faults=faults)
