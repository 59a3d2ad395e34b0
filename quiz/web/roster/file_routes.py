"""A roster from a file: the form, what each row is read as, and taking the good rows."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.wrappers import Response

from quiz.accuracy.importing import BadTable, decode
from quiz.classroom import roster_file
from quiz.classroom.roster_file import BadRoster
from quiz.storage.class_queries import Class
from quiz.web import request_context, uploads
from quiz.web.classroom.ownership import looked_at, own_class

pages = Blueprint("roster_file", __name__, url_prefix="/class/<int:class_id>/people/file")

BIGGEST_FILE = uploads.LONGEST["/people/file"]


@pages.get("")
def show(class_id: int) -> Response:
    """Show the form that brings a roster in."""
    return _form(looked_at(class_id))


def _form(what: Class, code: int = 200, problem: str | None = None, text: str = "") -> Response:
    page = render_template("roster_form.html", class_id=what.id, class_name=what.name, problem=problem, text=text)
    return make_response(page, code)


@pages.post("")
def preview(class_id: int) -> Response:
    """Show what each row of a file is read as; nothing is kept yet."""
    what = own_class(class_id)
    text, problem = _sent()
    if problem is None:
        try:
            found = roster_file.read_roster(request_context.store(), what, text)
        except BadRoster as error:
            problem = str(error)
        else:
            page = render_template("roster_preview.html", class_id=what.id, class_name=what.name, page=found, text=text)
            return make_response(page)
    return _form(what, 422, problem, text[:BIGGEST_FILE])


@pages.post("/take")
def take(class_id: int) -> Response:
    """Take the good rows of a file that was shown."""
    what = own_class(class_id)
    text, problem = _sent()
    if problem is None:
        try:
            roster_file.take(request_context.store(), what, text, now=request_context.now())
        except BadRoster as error:
            problem = str(error)
    if problem is not None:
        return _form(what, 422, problem)
    return redirect(url_for("roster.show", class_id=class_id), 303)


def _sent() -> tuple[str, str | None]:
    """Return the text of the file or of the field, and why it cannot be used."""
    try:
        file = request.files.get("file")
        data = file.read() if file is not None else b""
        text = decode(data) if data else request.form.get("text", "")
    except RequestEntityTooLarge:
        return "", "the file is over 1 MB: a roster has a line for each learner, and needs no pictures"
    except BadTable as error:
        return "", str(error)
    return text, None if text.strip() else "nothing was chosen: choose a file, or paste its rows"
