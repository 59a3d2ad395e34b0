"""Patients set for a class: the list, what each learner did with them, and every log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flask import Blueprint, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum.case_list import check_digest
from cases.patient_sheet import check_code, patient_sheet
from cases.patients.examination.card import card_of
from cases.patients.examination.vignettes import VIGNETTES, patient_of_vignette
from cases.patients.patient import SIDES, Patient
from quiz.classroom import set_patients
from quiz.classroom.set_patients import NobodySet
from quiz.practice.examining import examinations
from quiz.storage import roster_queries
from quiz.storage.examining import set_queries
from quiz.storage.examining.examination_queries import Examination
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.drill_views import day_of, deletion_words
from quiz.web.examination.act_forms import side_of
from quiz.web.examination.end_views import end_page
from quiz.web.examination.views import AGE_WORDS
from quiz.web.printed_sheets import on_paper

pages = Blueprint("set_examinations", __name__, url_prefix="/class/<int:class_id>/examinations")

OFFERED = 2
"""How many patients the form offers to set."""


@dataclass(frozen=True)
class SetLine:
    """One set in a class's list."""

    id: int
    title: str
    patients: str
    state: str
    begun: int
    ended: int


@dataclass(frozen=True)
class SetsPage:
    """What the list receives."""

    class_id: int
    class_name: str
    may: bool
    sets: tuple[SetLine, ...]
    choices: tuple[tuple[str, str], ...]
    offered: int = OFFERED
    problem: str = ""


@dataclass(frozen=True)
class RunCell:
    """What a learner did with one patient."""

    id: str
    words: str


@dataclass(frozen=True)
class SetPage:
    """What the page of one set receives."""

    class_id: int
    class_name: str
    id: int
    title: str
    open: bool
    may: bool
    patients: tuple[str, ...]
    rows: tuple[tuple[str, tuple[RunCell, ...]], ...]
    deletions: tuple[str, ...]
    """What stays of learners who had begun it and were deleted."""


def _choices() -> tuple[tuple[str, str], ...]:
    ten = tuple((f"vignette {one.id}", f"{one.name}: {one.complaint}") for one in VIGNETTES)
    return (*ten, *((f"drawn {id_}", f"drawn, {words}") for id_, words in AGE_WORDS.items()))


def _patient(chosen: str, region: str) -> Patient | None:
    kind, _, name = chosen.partition(" ")
    if kind == "vignette":
        return patient_of_vignette(name)
    if kind == "drawn" and name in AGE_WORDS:
        return examinations.drawn(request_context.lots().new_id(), name, region)
    return None


@pages.get("")
def show(class_id: int) -> str:
    """Show what was set for a class, and set patients."""
    return _list(class_id)


def _list(class_id: int, problem: str = "") -> str:
    store, what = request_context.store(), own_class(class_id)
    lines = []
    for one in set_queries.sets_of(store, what.id):
        runs = set_queries.runs_of(store, one.id)
        lines.append(
            SetLine(
                one.id,
                one.title,
                "; ".join(card_of(each).name for each in one.patients),
                f"set on {day_of(one.set_at)}" if one.closed_at is None else f"closed on {day_of(one.closed_at)}",
                len(runs),
                sum(run.closed_at is not None for run in runs),
            )
        )
    page = SetsPage(what.id, what.name, may_change(what), tuple(lines), _choices(), problem=problem)
    return render_template("set_examinations.html", page=page)


@pages.post("")
def put(class_id: int) -> Response:
    """Set patients for a class."""
    what = own_class(class_id)
    chosen = [_patient(one, what.region) for one in request.form.getlist("patient")[: set_patients.MOST_PATIENTS]]
    patients = tuple(one for one in chosen if one is not None)
    try:
        number = set_patients.set_for(
            request_context.store(), what, request.form.get("title", ""), patients, now=request_context.now()
        )
    except NobodySet as error:
        return make_response(_list(class_id, str(error)), 422)
    return redirect(url_for("set_examinations.one", class_id=class_id, number=number), 303)


@pages.get("/<int:number>")
def one(class_id: int, number: int) -> str:
    """Show what each learner did with the patients of a set."""
    store, what = request_context.store(), own_class(class_id)
    found = set_patients.own(store, what, number)
    runs = {(run.learner, run.set_place): run for run in set_queries.runs_of(store, found.id)}
    joined = {one.learner: one.joined_at for one in roster_queries.members_of(store, what.id)}
    rows = tuple(
        (
            _named(who.id, who.name, joined, found.set_at),
            tuple(_cell(runs.get((who.id, place))) for place in range(len(found.patients))),
        )
        for who in roster_queries.learners_of(store, what.id)
    )
    page = SetPage(
        what.id,
        what.name,
        found.id,
        found.title,
        found.closed_at is None,
        may_change(what),
        tuple(card_of(each).name for each in found.patients),
        rows,
        tuple(map(deletion_words, set_queries.deletions_in(store, found.id))),
    )
    return render_template("set_examination.html", page=page)


def _named(learner: int, name: str, joined: Mapping[int, float], set_at: float) -> str:
    """Name a learner; one who joined after the patients were set may have examined them before, under another name."""
    at = joined.get(learner)
    return f"{name} (joined after it was set, on {day_of(at)})" if at is not None and at > set_at else name


def _cell(run: Examination | None) -> RunCell:
    if run is None:
        return RunCell("", "not begun")
    if run.closed_at is None:
        return RunCell(run.id, "under way")
    stands = examinations.as_it_stands(request_context.store(), run)
    return RunCell(run.id, end_page(stands, undo=None, put_right="", of=None).heading)


@pages.get("/<int:number>/sheet")
def sheet(class_id: int, number: int) -> Response:
    """Give the patients of a set on paper, with the key or without; refuse a check code that is not theirs."""
    found = set_patients.own(request_context.store(), own_class(class_id), number)
    if "digest" in request.args:
        check_digest(request.args["digest"], check_code(found.patients))
    page = patient_sheet(found.patients, key=request.args.get("key") == "yes", title=found.title)
    return on_paper(page)


@pages.post("/<int:number>/close")
def close(class_id: int, number: int) -> Response:
    """Close a set."""
    what = own_class(class_id)
    set_patients.close(request_context.store(), what, number, now=request_context.now())
    return redirect(url_for("set_examinations.one", class_id=class_id, number=number), 303)


@pages.get("/<int:number>/log/<examination_id>")
def log(class_id: int, number: int, examination_id: str) -> str:
    """Show a learner's examination with its whole log, as the learner sees it at the end."""
    what = own_class(class_id)
    stands, learner = set_patients.log_of(request_context.store(), what, number, examination_id)
    undo, right, eye = (request.args.get(name, "") for name in ("undo", "right", "of"))
    if (undo and not (undo.isdecimal() and len(undo) < 5 and int(undo) < len(stands.acts))) or eye not in ("", *SIDES):
        abort(404)
    page = end_page(
        stands, undo=int(undo) if undo else None, put_right=right, of=side_of({"eye": eye}) if eye else None
    )
    back = url_for("set_examinations.one", class_id=class_id, number=number)
    return render_template("examination_end.html", page=page, address=request.path, whose=learner.name, back=back)
