"""Progress: how firmly each step is held, what fades when, which slips stand, and one's own data to take or delete."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answered

from quiz.exports import own_data
from quiz.practice import learners
from quiz.storage import progress_queries
from quiz.storage.platform import lti_queries
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure
from quiz.web.downloads import download
from quiz.web.progress.views import DeletePage, progress_page, ready_page, steps_page, sureness_page, weeks_page
from quiz.web.work.own_types import forget_own_types

pages = Blueprint("progress", __name__, url_prefix="/progress")


@pages.get("")
def show() -> Answered:
    """Show how the learner stands, at a glance."""
    if "step" in request.args:  # where the weeks of a step once stood
        return redirect(url_for("progress.weeks", step=request.args["step"]), 301)
    page = progress_page(request_context.store(), request_context.learner(), now=request_context.now())
    return make_response(render_template("progress.html", page=page))


@pages.get("/steps")
def steps() -> str:
    """Show every step and type."""
    page = steps_page(request_context.store(), request_context.learner(), now=request_context.now())
    return render_template("progress_steps.html", page=page)


@pages.get("/weeks")
def weeks() -> str:
    """Show twelve weeks of answers."""
    step = request.args.get("step", "")
    page = weeks_page(request_context.store(), request_context.learner(), now=request_context.now(), step=step)
    return render_template("progress_weeks.html", page=page)


@pages.get("/sureness")
def sureness() -> str:
    """Show sureness against truth."""
    page = sureness_page(request_context.store(), request_context.learner())
    return render_template("progress_sureness.html", page=page)


@pages.get("/ready")
def ready() -> str:
    """Show each topic on the day of the exam, and what ten minutes can change."""
    learner, now = request_context.learner(), request_context.now()
    exam_at = learners.settings_of(learner).exam_at
    page = None
    if exam_at is not None and exam_at > now:
        page = ready_page(request_context.store(), learner, exam_at, now=now)
    return render_template("progress_ready.html", page=page)


@pages.get("/data")
def data() -> str:
    """Say what is kept of the learner, and offer it to take away or delete."""
    return render_template("progress_data.html", page=_delete_page())


@pages.get("/answers.csv")
def csv() -> Response:
    """Give one's own answers as CSV."""
    return download(
        own_data.answers_csv(request_context.store(), request_context.learner()), "text/csv", "own-answers.csv"
    )


@pages.get("/everything.jsonl")
def everything() -> Response:
    """Give everything that is kept as JSON lines."""
    return download(
        own_data.json_lines(request_context.store(), request_context.learner()),
        "application/x-ndjson",
        "own-data.jsonl",
    )


@pages.get("/delete")
def ask() -> str:
    """Ask once more before everything is deleted."""
    return render_template("progress_delete.html", page=_delete_page())


@pages.post("/delete")
def delete() -> Answered:
    """Delete the learner with everything that is kept of them, once the box beside the button is ticked."""
    who = request_context.learner()
    if not sure():
        return make_response(render_template("progress_delete.html", page=_delete_page(not_ticked("deleted"))), 422)
    joined = _in_class()
    learners.remove(request_context.store(), who.id, now=request_context.now())
    if joined:
        request_context.go_out()
        return forget_own_types(redirect(url_for("door.show"), 303))
    request_context.be_nobody()
    return forget_own_types(redirect(url_for("people.show"), 303))


def _in_class() -> bool:
    return request_context.joined_learner() is not None


def _delete_page(problem: str | None = None) -> DeletePage:
    who = request_context.learner()
    store = request_context.store()
    sent = lti_queries.is_of_platform(store, who.id)
    return DeletePage(who.name, progress_queries.holdings(store, who.id), _in_class(), problem, sent, store.wipes)
