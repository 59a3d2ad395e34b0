"""Sets of drills and own cases: saved as a file, read from one with a preview of every case marked again, and taken."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.wrappers import Response

from cases.errors import CaseError
from cases.notation.plurals import counted
from quiz.accuracy.importing import BadTable, decode
from quiz.classroom import drill_set
from quiz.classroom.drill_set import BadSet, SetRead
from quiz.classroom.drills import NotReadable
from quiz.classroom.own_cases import CaseInUse
from quiz.practice.titles import type_title
from quiz.storage import class_queries
from quiz.storage.class_queries import Class
from quiz.storage.classroom import own_case_queries
from quiz.web import request_context, uploads
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.downloads import download

pages = Blueprint("sets", __name__, url_prefix="/class/<int:class_id>/set")

BIGGEST_FILE = uploads.LONGEST["/set"]


@dataclass(frozen=True)
class DrillSetPage:
    """What the page of sets receives."""

    class_id: int
    class_name: str
    drills: tuple[tuple[int, str, str], ...]
    """Number, title and length."""
    cases: tuple[tuple[int, str, str], ...]
    """Number, name and type."""
    may: bool
    problem: str | None
    problem_at: str
    """"save" or "bring"."""
    done: str


@pages.get("")
def show(class_id: int) -> Response:
    """Show what can be saved as a set, and the form that brings one in."""
    return _show(own_class(class_id))


def _show(what: Class, code: int = 200, problem: str | None = None, at: str = "bring") -> Response:
    store = request_context.store()
    drills, cases = (request.args.get(name, type=request_context.whole) for name in ("drills", "cases"))
    done = "" if drills is None or cases is None else f"{counted(drills, 'drill')} and {counted(cases, 'own case')}"
    page = DrillSetPage(
        class_id=what.id,
        class_name=what.name,
        drills=tuple((one.id, one.title, one.length) for one in class_queries.drills_of(store, what.id)),
        cases=tuple((one.id, one.title, type_title(one.type)) for one in own_case_queries.cases_of(store, what.id)),
        may=may_change(what),
        problem=problem,
        problem_at=at,
        done=done,
    )
    return make_response(render_template("set.html", page=page), code)


@pages.get("/file.json")
def save(class_id: int) -> Response:
    """Give the drills and own cases that are ticked as a file."""
    what = own_class(class_id)
    drills, cases = (frozenset(request.args.getlist(one, type=request_context.whole)) for one in ("drill", "case"))
    if not (drills or cases):
        return _show(what, 422, "nothing is ticked: choose what is to be in the file", "save")
    try:
        text = drill_set.write(request_context.store(), what, drills, cases)
    except (CaseError, NotReadable, KeyError) as error:
        return _show(what, 409, f"a case cannot be read by this version: {error}", "save")
    return download([text], "application/json", f"{what.name}-set.json")


@dataclass(frozen=True)
class DrillSetPreview:
    """What the preview receives."""

    class_id: int
    class_name: str
    read: SetRead
    text: str
    takeable: int
    problem: str | None


@pages.post("")
def preview(class_id: int) -> Response:
    """Show every case of a file, worked out and marked again; nothing is kept."""
    return _preview(own_class(class_id))


def _preview(what: Class, code: int = 200, problem: str | None = None) -> Response:
    text, fault = _sent()
    if not fault:
        try:
            found = drill_set.read(text)
        except BadSet as error:
            fault = str(error)
        else:
            takeable = sum(not one.problem for one in found.cases) + sum(not one.problem for one in found.drills)
            page = DrillSetPreview(what.id, what.name, found, text, takeable, problem)
            return make_response(render_template("set_preview.html", page=page), code)
    return _show(what, 422, fault)


@pages.post("/take")
def take(class_id: int) -> Response:
    """Take what is ticked of a file that was shown."""
    what = own_class(class_id)
    text, fault = _sent()
    if fault:
        return _show(what, 422, fault)
    drills, cases = (frozenset(request.form.getlist(one, type=request_context.whole)) for one in ("drill", "case"))
    store, who, now = request_context.store(), request_context.preceptor(), request_context.now()
    try:
        taken = drill_set.take(store, what, who, text, drills, cases, now=now)
    except (BadSet, CaseInUse) as error:
        return _preview(what, 422, str(error))
    return redirect(url_for("sets.show", class_id=class_id, drills=taken.drills, cases=taken.cases), 303)


def _sent() -> tuple[str, str]:
    """Return the text of the file or of the field, and why it cannot be used."""
    try:
        file = request.files.get("file")
        data = file.read() if file is not None else b""
        text = decode(data) if data else request.form.get("text", "")
    except RequestEntityTooLarge:
        return "", f"the file is over {BIGGEST_FILE // 1024 // 1024} MB: save fewer drills at once"
    except BadTable as error:
        return "", str(error)
    return text, "" if text.strip() else "nothing was chosen: choose a file that was saved as a set"
