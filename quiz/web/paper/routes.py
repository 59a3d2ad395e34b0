"""Answers typed in from paper: which learner, one form for the whole sheet, and how it was read before it is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum.case_list import VERSIONS
from cases.procedure.case_type import Case
from cases.procedure.marking import named
from cases.procedure.vocabulary import CREDITED
from quiz.classroom import classes, drills, on_paper
from quiz.classroom.drills import NotNow
from quiz.classroom.on_paper import PaperAnswer, UnreadableSheet
from quiz.practice import learners
from quiz.practice.forms import joined
from quiz.practice.titles import slip_title
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.classroom import paper_queries
from quiz.storage.roster_queries import Member
from quiz.web import request_context
from quiz.web.case_views import AnswerField, answer_field
from quiz.web.classroom.ownership import may_change, own_class, own_drill
from quiz.web.confirming import not_ticked, sure
from quiz.web.sitting_views import VERDICT_WORDS

pages = Blueprint("paper", __name__, url_prefix="/class/<int:class_id>/drill/<int:drill_id>/paper")

Texts = Mapping[int, Mapping[str, str]]
Faults = Mapping[int, Mapping[str | None, str]]


@dataclass(frozen=True)
class TypedRow:
    """A learner whose sheet was typed in."""

    learner: int
    name: str
    answered: int
    right: int
    by: str


@dataclass(frozen=True)
class PaperPage:
    """What the page that lists learners receives."""

    class_id: int
    drill: Drill
    not_begun: tuple[tuple[int, str], ...]
    typed: tuple[TypedRow, ...]
    versions: tuple[str, ...]
    version: str
    problem: str | None
    done: str
    """The learner whose sheet was saved just now."""
    may: bool
    """Whether this preceptor may type anything in."""


@pages.get("")
def show(class_id: int, drill_id: int) -> Response:
    """List who has not begun a drill, to type a sheet in, and whose sheets were typed in."""
    return _list(*own_drill(class_id, drill_id))


def _list(what: Class, drill: Drill, code: int = 200, problem: str | None = None) -> Response:
    store = request_context.store()
    members = drills.members_for(store, drill, roster_queries.members_of(store, what.id))
    begun = {run.learner for run in class_queries.runs_of(store, drill.id)}
    runs = paper_queries.runs_in(store, drill.id)
    sums = {one.learner: one for one in result_queries.learner_sums(store, what.id, "all", drill=drill.id)}
    done = request.args.get("done", type=request_context.whole)
    page = PaperPage(
        class_id=what.id,
        drill=drill,
        not_begun=tuple((one.learner, one.name) for one in members if one.learner not in begun),
        typed=tuple(
            TypedRow(
                one.learner,
                one.name,
                sums[one.learner].answered if one.learner in sums else 0,
                sums[one.learner].right if one.learner in sums else 0,
                runs[one.learner].preceptor,
            )
            for one in members
            if one.learner in runs
        ),
        versions=VERSIONS,
        version=_version(),
        problem=problem or on_paper.why_not(store, drill) or None,
        done=next((one.name for one in members if one.learner == done and one.learner in runs), ""),
        may=may_change(what) and not on_paper.why_not(store, drill),
    )
    return make_response(render_template("paper.html", page=page), code)


def _version() -> str:
    given = request.values.get("version", "")
    return given if given in VERSIONS else ""


# --- one sheet ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SheetCase:
    """One case of a sheet, with the fields for what was written."""

    number: int
    question: str
    found: str
    inputs: tuple[AnswerField, ...]
    problem: str | None
    """Why the whole cannot be read."""


@dataclass(frozen=True)
class ReadRow:
    """How one case was read."""

    number: int
    given: str
    mark: str
    credited: bool


@dataclass(frozen=True)
class SheetPage:
    """What the form of one sheet receives."""

    class_id: int
    drill: Drill
    learner: int
    name: str
    version: str
    cases: tuple[SheetCase, ...]
    faulty: bool
    read: tuple[ReadRow, ...]
    """How each was read and marked, where all was; nothing is saved yet."""
    hidden: tuple[tuple[str, str], ...]
    """What was typed, to be saved as it was read."""
    right: int
    answered: int


@pages.get("/<int:learner_id>")
def sheet(class_id: int, drill_id: int, learner_id: int) -> Response:
    """Show the form for one learner's sheet."""
    what, drill = own_drill(class_id, drill_id)
    who = classes.member(request_context.store(), what, learner_id)
    try:
        on_paper.check_free(request_context.store(), drill, learner_id)
    except NotNow as error:
        return _list(what, drill, 409, str(error))
    return _sheet(drill, who, on_paper.sheet(request_context.store(), drill, _version()), {})


def _name(number: int, ask: str) -> str:
    return f"{number}-{ask}"


def _sheet(
    drill: Drill,
    who: Member,
    cases: Sequence[tuple[int, Case]],
    texts: Texts,
    faults: Faults | None = None,
    read: Sequence[PaperAnswer] = (),
) -> Response:
    faults = faults or {}
    page = SheetPage(
        class_id=drill.class_id,
        drill=drill,
        learner=who.learner,
        name=who.name,
        version=_version(),
        cases=tuple(_case(number, case, texts.get(number, {}), faults.get(number, {})) for number, case in cases),
        faulty=bool(faults),
        read=tuple(map(_read_row, read)),
        hidden=tuple(
            (f"answer-{_name(one.number, name)}", text) for one in read for name, text in one.given.items() if text
        ),
        right=sum(one.mark is not None and one.mark.verdict in CREDITED for one in read),
        answered=sum(one.mark is not None for one in read),
    )
    return make_response(render_template("paper_sheet.html", page=page), 422 if faults else 200)


def _case(number: int, case: Case, texts: Mapping[str, str], faults: Mapping[str | None, str]) -> SheetCase:
    inputs = [replace(answer_field(ask, texts, faults, {}), name=_name(number, ask.name)) for ask in case.type.asks]
    return SheetCase(
        number=number,
        question=case.type.question(case.findings),
        found=" ".join(case.found),
        inputs=tuple(inputs),
        problem=faults.get(None),
    )


def _read_row(one: PaperAnswer) -> ReadRow:
    if one.mark is None:
        return ReadRow(one.number, "", "not answered", credited=False)
    asks = one.case.type.asks
    read_as = one.mark.read_as or {}
    given = "; ".join(named(asks, [ask.kind.write(read_as[ask.name]) for ask in asks if ask.name in read_as]))
    mark = VERDICT_WORDS.get(one.mark.verdict, one.mark.verdict)
    if one.mark.verdict == "slip" and one.mark.named:
        mark += f": {slip_title(one.mark.named[0].slips[0].slip)}" if len(one.mark.named) == 1 else ""
    return ReadRow(one.number, given, mark, credited=one.mark.verdict in CREDITED)


@pages.post("/<int:learner_id>")
def take(class_id: int, drill_id: int, learner_id: int) -> Response:
    """Show how a sheet was read, or save it."""
    (what, drill), store, now = own_drill(class_id, drill_id), request_context.store(), request_context.now()
    who = classes.member(store, what, learner_id)
    try:
        on_paper.check_free(store, drill, learner_id)
        cases = on_paper.sheet(store, drill, _version())
        texts = {number: _texts(number, case) for number, case in cases}
        learner = learners.get(store, learner_id)
        try:
            read = on_paper.read(store, learner, cases, texts, now=now)
        except UnreadableSheet as error:
            return _sheet(drill, who, cases, texts, error.faults)
        if request.form.get("do") != "save":
            return _sheet(drill, who, cases, texts, read=read)
        by = request_context.preceptor()
        on_paper.keep(store, drill, learner, by, _version(), read, now=now, lots=request_context.lots())
    except NotNow as error:
        return _list(what, drill, 409, str(error))
    version = _version() or None
    return redirect(url_for("paper.show", class_id=class_id, drill_id=drill_id, done=learner_id, version=version), 303)


def _texts(number: int, case: Case) -> dict[str, str]:
    form = request.form
    return {ask.name: joined(ask.kind, form.getlist(f"answer-{_name(number, ask.name)}")) for ask in case.type.asks}


@pages.post("/<int:learner_id>/take-back")
def take_back(class_id: int, drill_id: int, learner_id: int) -> Response:
    """Remove what was typed in for a learner, so that it can be typed again."""
    what, store = own_class(class_id), request_context.store()
    drill = drills.own(store, what, drill_id)
    who = classes.member(store, what, learner_id)
    if not sure():
        return _list(what, drill, 422, not_ticked("taken back"))
    try:
        on_paper.take_back(store, drill, learners.get(store, who.learner))
    except NotNow as error:
        return _list(what, drill, 409, str(error))
    return redirect(url_for("paper.show", class_id=class_id, drill_id=drill_id), 303)
