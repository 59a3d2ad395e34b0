"""Cases that preceptors write: the list, the form with its preview, one case with its working and its slips."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.case_type import CannotDraw, CaseType, draw
from quiz.classroom import own_cases
from quiz.classroom.own_cases import TITLE, WORDS, CaseInUse, Written
from quiz.practice.own_findings.working_out import BadFindings, computing_types, inputs_for, texts_of
from quiz.storage import class_queries
from quiz.storage.class_queries import Class
from quiz.storage.classroom import own_case_queries
from quiz.storage.classroom.own_case_queries import OwnCase
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.own_cases.views import CaseLink, CaseShown, CasesPage, case_form, case_link, case_shown, type_links

pages = Blueprint("own_cases", __name__, url_prefix="/class/<int:class_id>/cases")

MOST_SEED = 1_000_000


def _type(type_id: str) -> CaseType:
    found = computing_types().get(type_id)
    if found is None:
        abort(404)
    return found


@pages.get("")
def show(class_id: int) -> Response:
    """List the own cases of a class, and the types of which one can be written."""
    return _list(own_class(class_id))


def _list(what: Class, code: int = 200, problem: str | None = None) -> Response:
    store = request_context.store()
    listed = own_case_queries.cases_of(store, what.id)
    page = CasesPage(
        class_id=what.id,
        class_name=what.name,
        cases=tuple(case_link(one, own_case_queries.drills_with(store, one.id)) for one in listed),
        families=type_links(what),
        drills=len(class_queries.drills_of(store, what.id)),
        may=may_change(what),
        problem=problem,
    )
    return make_response(render_template("own_cases.html", page=page), code)


# --- writing one -------------------------------------------------------------------------------------------------


@pages.get("/new/<type_id>")
def new(class_id: int, type_id: str) -> Response:
    """Show the form of a type: empty, with a drawn case to begin from, or with the findings of an own case."""
    what, case_type = own_class(class_id), _type(type_id)
    seed = min(max(0, request.args.get("seed", 0, type=request_context.whole)), MOST_SEED)
    like = request.args.get("like", type=request_context.whole)
    texts = dict[str, str]()
    if like is not None:
        texts = _texts(own_cases.own(request_context.store(), what, like))
    elif seed:
        try:
            texts = texts_of(case_type, draw(case_type, seed).findings)
        except CannotDraw:
            seed = 0
    page = case_form(what, case_type, texts, seed=seed + 1)
    return make_response(render_template("own_case_form.html", page=page))


def _texts(one: OwnCase) -> dict[str, str]:
    case_type = _type(one.type)
    try:
        findings = texts_of(case_type, case_type.findings.from_json(one.findings))
    except CaseError:
        findings = {}
    return {TITLE: one.title, WORDS: one.words, **findings}


def _sent(case_type: CaseType) -> dict[str, str]:
    """Return what was typed; boxes that were all left empty send nothing at all."""
    form = request.form
    empty = {one.name: "none" for one in inputs_for(case_type) if one.how == "many"}
    return empty | {name: "; ".join(form.getlist(name)) for name in form}


@pages.post("/new/<type_id>")
def make(class_id: int, type_id: str) -> Response:
    """Show what follows from a case that was typed, or save it."""
    what, case_type = own_class(class_id), _type(type_id)
    done = _looked_over(what, case_type)
    if isinstance(done, Response):
        return done
    try:
        number = own_cases.keep(
            request_context.store(), what, request_context.preceptor(), done, now=request_context.now()
        )
    except CaseInUse as error:
        return _list(what, 409, str(error))
    return redirect(url_for("own_cases.one", class_id=class_id, number=number), 303)


def _looked_over(what: Class, case_type: CaseType, number: int | None = None) -> Written | Response:
    """Return a case that is to be saved; else the form with its preview, or with what is to be corrected."""
    texts = _sent(case_type)
    try:
        done = own_cases.look_over(case_type, texts)
    except BadFindings as error:
        page = case_form(what, case_type, texts, number=number, faults=error.faults)
        return make_response(render_template("own_case_form.html", page=page), 422)
    if request.form.get("do") == "save":
        return done
    seen = case_shown(done.case, done.worked.warnings)
    page = case_form(what, case_type, texts, number=number, seen=seen)
    return make_response(render_template("own_case_form.html", page=page))


# --- one case ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OwnCasePage:
    """What the page of an own case receives."""

    class_id: int
    class_name: str
    case: CaseLink
    type_id: str
    shown: CaseShown | None
    unreadable: str
    """Why this version cannot show it; "" where it can."""
    may: bool
    problem: str | None


@pages.get("/<int:number>")
def one(class_id: int, number: int) -> Response:
    """Show an own case: as learners see it, its working, and the answer that each slip gives."""
    what = own_class(class_id)
    return _one(what, own_cases.own(request_context.store(), what, number))


def _one(what: Class, case: OwnCase, code: int = 200, problem: str | None = None) -> Response:
    shown, unreadable = None, ""
    try:
        shown = case_shown(own_cases.again(all_types()[case.type], case.findings, case.words))
    except (CaseError, KeyError) as error:
        unreadable = str(error)
    drills = own_case_queries.drills_with(request_context.store(), case.id)
    page = OwnCasePage(
        what.id, what.name, case_link(case, drills), case.type, shown, unreadable, may_change(what), problem
    )
    return make_response(render_template("own_case.html", page=page), code)


@pages.get("/<int:number>/change")
def edit(class_id: int, number: int) -> Response:
    """Show the form of an own case as it is saved."""
    what = own_class(class_id)
    case = own_cases.own(request_context.store(), what, number)
    page = case_form(what, _type(case.type), _texts(case), number=number)
    return make_response(render_template("own_case_form.html", page=page))


@pages.post("/<int:number>/change")
def change(class_id: int, number: int) -> Response:
    """Show what follows from the changed case, or save it in place of the one before."""
    what, store = own_class(class_id), request_context.store()
    case = own_cases.own(store, what, number)
    done = _looked_over(what, _type(case.type), number)
    if isinstance(done, Response):
        return done
    try:
        own_cases.change(store, case, done)
    except CaseInUse as error:
        return _one(what, case, 409, str(error))
    return redirect(url_for("own_cases.one", class_id=class_id, number=number), 303)


@pages.post("/<int:number>/remove")
def remove(class_id: int, number: int) -> Response:
    """Remove an own case that no drill has."""
    what, store = own_class(class_id), request_context.store()
    case = own_cases.own(store, what, number)
    try:
        own_cases.remove(store, case)
    except CaseInUse as error:
        return _one(what, case, 409, str(error))
    return redirect(url_for("own_cases.show", class_id=class_id), 303)
