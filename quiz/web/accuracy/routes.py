"""The accuracy log: what it says, entering an eye, files in and out, deleting, and the way on to practice.

The statistics need scipy, which no other page does, so they are loaded when the log is first opened (accuracy_views).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flask import Blueprint, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.wrappers import Response

from cases.errors import CaseError
from cases.notation.prescription import read_prescription, write_prescription
from quiz.accuracy.entries import BadEntry, Entry, doubts, read_entry
from quiz.accuracy.importing import (
    BadHeading,
    BadTable,
    Preview,
    Wishes,
    decode,
    read_table,
    with_headings,
    write_table,
)
from quiz.errors import QuizError
from quiz.practice import learners, today
from quiz.storage import accuracy_queries
from quiz.web import request_context, uploads
from quiz.web.accuracy.accuracy_forms import add_page, chosen_columns, import_page, preview_page, rows_page, wishes_of
from quiz.web.confirming import not_ticked, sure
from quiz.web.downloads import download

if TYPE_CHECKING:
    from quiz.accuracy.conclusions import Reading

pages = Blueprint("accuracy", __name__, url_prefix="/accuracy")

BIGGEST_FILE = uploads.LONGEST["/accuracy/import"]
"""Bytes of a file that is brought in: room for the most rows with long remarks."""


class UnknownReading(QuizError):
    """A reading that the log does not claim, or no longer."""

    def __init__(self) -> None:
        super().__init__("the log does not say that now: open it again and pick what it says")


def _entries() -> list[accuracy_queries.Kept[Entry]]:
    return accuracy_queries.entries_of(request_context.store(), request_context.learner().id, Entry)


def _said(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 7 else None


# --- what it says ------------------------------------------------------------------------------------------------


@pages.get("")
def show() -> str:
    """Show what the log says: readings, numbers and charts."""
    from quiz.web.accuracy.views import log_page

    page = log_page(
        [one.entry for one in _entries()],
        added=_said(request.args.get("added", "")),
        gone=_said(request.args.get("gone", "")),
    )
    return render_template("accuracy.html", page=page)


@pages.post("/practise")
def practise() -> Response:
    """Begin a sitting of the types that train what a reading suggests."""
    reading = _reading(request.form.get("reading", ""))
    why = f"You asked for it from your accuracy log: {reading.title[:1].lower()}{reading.title[1:]}."
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    length = learners.settings_of(learner).length
    today.begin(store, learner, reading.practice, why, length=length, now=now)
    return redirect(url_for("practise.show"), 303)


def _reading(reading_id: str) -> Reading:
    from quiz.accuracy.conclusions import readings
    from quiz.accuracy.patterns import evidence_of

    made = readings(evidence_of([one.entry for one in _entries()]))
    found = next((one for one in made if one.id == reading_id), None)
    if found is None:
        raise UnknownReading
    return found


# --- one eye by hand ---------------------------------------------------------------------------------------------


@pages.get("/add")
def add() -> str:
    """Show the form for an eye, filled with what the last one had in common."""
    return render_template(
        "accuracy_add.html", page=add_page(_entries(), today=request_context.today(), kept="kept" in request.args)
    )


@pages.post("/add")
def keep() -> Response:
    """Keep an eye, or say what is to be put right."""
    texts = {name: request.form.get(name, "") for name in request.form}
    faults: dict[str, str] = {}
    doubted: tuple[str, ...] = ()
    try:
        entry = read_entry(texts, today=request_context.today())
        doubted = doubts(entry.remark) if texts.get("sure") != "yes" else ()
    except BadEntry as error:
        faults = error.faults
    if faults or doubted:
        page = add_page(_entries(), today=request_context.today(), texts=texts, faults=faults, doubted=doubted)
        return make_response(render_template("accuracy_add.html", page=page), 422)
    accuracy_queries.add(request_context.store(), request_context.learner().id, [entry])
    return redirect(url_for("accuracy.add", kept=""), 303)


@pages.get("/read-as")
def read_as() -> Response:
    """Say how a prescription is read, while it is being typed."""
    try:
        return jsonify(reads=write_prescription(read_prescription(request.args.get("text", "")), "as-is"))
    except CaseError as error:
        return jsonify(because=str(error))


# --- files -------------------------------------------------------------------------------------------------------


@pages.get("/import")
def bring() -> str:
    """Show the form that brings a file in."""
    return render_template("accuracy_import.html", page=import_page({}))


@pages.post("/import")
def preview() -> Response:
    """Show what each row of a file is read as; nothing is kept yet."""
    form, text, problem = _sent()
    faults: dict[str, str] = {}
    heading: tuple[str, ...] = ()
    if problem is None:
        try:
            if chosen := chosen_columns(form):
                text = with_headings(text, chosen)
            wishes = wishes_of(form, request_context.today())
            if form.get("whose") == "others":
                # Fixed here and sent along, so that the same rows taken twice are still known to be the same.
                wishes = replace(wishes, after=max((one.entry.patient for one in _entries()), default=0))
            found = _read(text, wishes)
            page = preview_page(found, text, wishes)
            return make_response(render_template("accuracy_preview.html", page=page))
        except BadHeading as error:
            problem, heading = str(error), error.heading
            # The file was read: its text goes along, so that nobody has to choose it again.
            form = MultiDict({**form.to_dict(), "text": text})
        except BadTable as error:
            problem = str(error)
        except BadEntry as error:
            faults = error.faults
    again = import_page(form, problem, faults, heading)
    return make_response(render_template("accuracy_import.html", page=again), 422)


@pages.post("/import/take")
def take() -> Response:
    """Keep the good rows of a file that was shown; those that the log has already are passed over."""
    form, text, problem = _sent()
    if problem is not None:
        return make_response(render_template("accuracy_import.html", page=import_page(form, problem)), 422)
    good = _read(text, wishes_of(form, request_context.today())).good
    accuracy_queries.add(
        request_context.store(), request_context.learner().id, [row.entry for row in good if row.entry is not None]
    )
    return redirect(url_for("accuracy.show", added=len(good)), 303)


def _sent() -> tuple[MultiDict[str, str], str, str | None]:
    """Return what was sent: the form, the text of the file or of the field, and why it cannot be used."""
    try:
        form = request.form
        file = request.files.get("file")
        data = file.read() if file is not None else b""
    except RequestEntityTooLarge:
        return MultiDict(), "", f"the file is over {BIGGEST_FILE // 1024 // 1024} MB: part it, or leave columns out"
    try:
        text = decode(data) if data else form.get("text", "")
    except BadTable as error:
        return form, "", str(error)
    return form, text, None if text.strip() else "nothing was chosen: choose a file, or paste its rows"


def _read(text: str, wishes: Wishes) -> Preview:
    return read_table(text, wishes, today=request_context.today(), log=[one.entry for one in _entries()])


@pages.get("/log.csv")
def export() -> Response:
    """Give the whole log as a file that can be brought in again."""
    text = write_table([one.entry for one in _entries()])
    # The mark at the beginning tells spreadsheets that it is UTF-8.
    return download([text.encode("utf-8-sig")], "text/csv", f"accuracy-log-{request_context.today().isoformat()}.csv")


# --- rows --------------------------------------------------------------------------------------------------------


@pages.get("/rows")
def rows() -> str:
    """List the eyes of the log, page by page."""
    upto, gone = (_said(request.args.get(name, "")) for name in ("upto", "gone"))
    return render_template("accuracy_rows.html", page=rows_page(_entries(), upto=upto, gone=gone))


@pages.post("/rows")
def remove() -> Response:
    """Delete the rows that were ticked."""
    ticked = request.form.getlist("row", type=request_context.whole)
    gone = accuracy_queries.remove(request_context.store(), request_context.learner().id, set(ticked))
    return redirect(url_for("accuracy.rows", gone=gone), 303)


@pages.post("/clear")
def clear() -> Response:
    """Delete the whole log, once the box beside the button is ticked."""
    if not sure():
        page = rows_page(_entries(), problem=not_ticked("deleted"))
        return make_response(render_template("accuracy_rows.html", page=page), 422)
    return redirect(
        url_for("accuracy.show", gone=accuracy_queries.clear(request_context.store(), request_context.learner().id)),
        303,
    )
