"""One's own data in and out: a compressed file, a calendar of what fades, and a file brought in after a look at it."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.wrappers import Response as Answered

from quiz.exports import bringing, fading_calendar, own_data
from quiz.exports.bringing import BadData, Bundle
from quiz.storage import bringing_queries
from quiz.storage.accuracy_queries import FullLog
from quiz.web import request_context, uploads
from quiz.web.downloads import download
from quiz.web.drill_views import day_of

pages = Blueprint("own_data", __name__, url_prefix="/progress")

BIGGEST_FILE = uploads.LONGEST["/progress/bring"]
"""Bytes of a file as it is sent, compressed."""


@pages.get("/everything.jsonl.gz")
def everything() -> Response:
    """Give everything that is kept as JSON lines, compressed."""
    lines = own_data.json_lines(request_context.store(), request_context.learner())
    return download([bringing.packed(lines)], "application/gzip", "own-data.jsonl.gz")


@pages.get("/fading.ics")
def calendar() -> Response:
    """Give a calendar of what may be forgotten when."""
    text = fading_calendar.calendar(request_context.store(), request_context.learner(), now=request_context.now())
    return download([text], "text/calendar", "what-fades.ics")


@pages.get("/bring")
def bring() -> str:
    """Ask for the file."""
    request_context.learner()
    return render_template("bring.html", found=None, problem="", when="")


@pages.post("/bring")
def preview() -> Answered:
    """Look a file over, and show what it would add."""
    store, learner = request_context.store(), request_context.learner()
    try:
        file = request.files.get("file")
        text = bringing.unpacked(file.read() if file is not None else b"")
        found = bringing.read_bundle(store, learner, text)
    except RequestEntityTooLarge:
        return _refused(f"The file is over {BIGGEST_FILE // 1024 // 1024} MB. Take the compressed one (.jsonl.gz).")
    except BadData as error:
        return _refused(str(error))
    if not found.empty:
        with store.writing(learner.id):
            packed = bringing.packed([text])
            bringing_queries.keep(store, learner.id, packed, now=request_context.now())
    return make_response(_page(found))


@pages.post("/bring/take")
def take() -> Answered:
    """Take the file in that was looked over."""
    store, learner = request_context.store(), request_context.learner()
    waiting = bringing_queries.kept(store, learner.id)
    if waiting is None:
        return _refused("No file waits here any more: choose it again.")
    try:
        found = bringing.read_bundle(store, learner, bringing.unpacked(waiting))
        bringing.take_in(store, learner, found)
    except BadData as error:
        return _refused(str(error))
    except FullLog as error:
        return _refused(f"Nothing was taken in: {error}.")
    return redirect(url_for("own_data.taken", answers=len(found.answers)), 303)


@pages.get("/bring/take")
def taken() -> str:
    """Say what was taken in."""
    request_context.learner()
    count = request.args.get("answers", 0, type=request_context.whole)
    return render_template("bring.html", found=None, problem="", when="", taken=count)


def _refused(problem: str) -> Answered:
    return make_response(render_template("bring.html", found=None, problem=problem, when=""), 422)


def _page(found: Bundle) -> str:
    at = [one.at for one in found.answers]
    when = f"{day_of(min(at))} to {day_of(max(at))}" if at else ""
    return render_template("bring.html", found=found, problem="", when=when)
