"""Progress: how firmly each step is held, what fades when, which slips stand, and one's own data to take or delete."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answered

from quiz import own_data, people, progress_store
from quiz.pages import visit
from quiz.pages.confirming import not_ticked, sure
from quiz.pages.downloads import download
from quiz.pages.progress_views import DeletePage, progress_page

pages = Blueprint("progress", __name__, url_prefix="/progress")


@pages.get("")
def show() -> str:
    """Show how the learner stands."""
    page = progress_page(
        visit.store(),
        visit.learner(),
        now=visit.now(),
        step=request.args.get("step", ""),
        in_class=_in_class(),
    )
    return render_template("progress.html", page=page)


@pages.get("/answers.csv")
def csv() -> Response:
    """Give one's own answers as CSV."""
    return download(own_data.answers_csv(visit.store(), visit.learner()), "text/csv", "own-answers.csv")


@pages.get("/everything.jsonl")
def everything() -> Response:
    """Give everything that is kept as JSON lines."""
    return download(own_data.json_lines(visit.store(), visit.learner()), "application/x-ndjson", "own-data.jsonl")


@pages.get("/delete")
def ask() -> str:
    """Ask once more before everything is deleted."""
    return render_template("progress_delete.html", page=_delete_page())


@pages.post("/delete")
def delete() -> Answered:
    """Delete the learner with everything that is kept of them, once the box beside the button is ticked."""
    who = visit.learner()
    if not sure():
        return make_response(render_template("progress_delete.html", page=_delete_page(not_ticked("deleted"))), 422)
    joined = _in_class()
    people.remove(visit.store(), who.id, now=visit.now())
    if joined:
        visit.go_out()
        return redirect(url_for("door.show"), 303)
    visit.be_nobody()
    return redirect(url_for("people.show"), 303)


def _in_class() -> bool:
    return visit.joined_learner() is not None


def _delete_page(problem: str | None = None) -> DeletePage:
    who = visit.learner()
    return DeletePage(who.name, progress_store.holdings(visit.store(), who.id), _in_class(), problem)
