"""A drill tried by its preceptor before anyone is let into it: its cases asked and marked, and nothing kept."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from cases.curriculum.bench_stage import seen
from cases.curriculum.bench_types import stage_of
from cases.procedure.case_type import Case
from quiz.classroom import drills
from quiz.practice import dealing
from quiz.practice.dealt_cases import Place, SentBack
from quiz.practice.forms import joined
from quiz.storage.class_queries import Drill
from quiz.storage.store import Sitting
from quiz.web import request_context
from quiz.web.bench.views import StagePage, set_views, stage_page
from quiz.web.case_views import CasePage, case_page
from quiz.web.classroom.ownership import looked_at, own_drill
from quiz.web.mark_views import mark_page

pages = Blueprint("trying", __name__, url_prefix="/class/<int:class_id>/drill/<int:drill_id>/try")


@dataclass(frozen=True)
class TryPage:
    """What the template receives."""

    class_id: int
    drill_id: int
    title: str
    number: int
    case: CasePage
    stage: StagePage | None
    """The bench, where the case is to be found at it."""


def _case(drill: Drill, number: int) -> Case:
    if not 1 <= number <= (drill.cases or drills.MOST_CASES):
        raise NotFound
    return drills.shown_at(request_context.store(), drill, number - 1)


@pages.get("/<int:number>")
def show(class_id: int, drill_id: int, number: int) -> Response:
    """Show one case of the drill."""
    _, drill = own_drill(class_id, drill_id)
    return _show(class_id, drill, number, None, {})


def _show(
    class_id: int, drill: Drill, number: int, texts: dict[str, str] | None, problems: dict[str | None, str]
) -> Response:
    case = _case(drill, number)
    waiting = dealing.untold(case, now=request_context.now(), why=drills.WHY)
    page = case_page(waiting, Place(number, drill.cases), texts=texts, problems=problems)
    shown = TryPage(class_id, drill.id, drill.title, number, page, _stage(case))
    return make_response(render_template("try.html", page=shown), 422 if problems else 200)


def _stage(case: Case) -> StagePage | None:
    stage = stage_of(case.type.id)
    if stage is None:
        return None
    views, faults = set_views(stage, case.findings, request.args)
    return stage_page(views, stage.free, faults=faults, given=request.args)


@pages.get("/<int:number>/seen")
def tell(class_id: int, drill_id: int, number: int) -> Response:
    """Say what is seen of a case's eye, for the script."""
    case = _case(own_drill(class_id, drill_id)[1], number)
    stage = stage_of(case.type.id)
    views = set_views(stage, case.findings, request.args)[0] if stage else ()
    view = dict(enumerate(views)).get(request.args.get("view", 0, type=request_context.whole))
    if view is None:
        raise NotFound
    return jsonify(seen=" ".join(seen(view.bench)))


@pages.post("/<int:number>")
def mark(class_id: int, drill_id: int, number: int) -> Response:
    """Mark an answer to it; nothing is kept."""
    what = looked_at(class_id)
    drill = drills.own(request_context.store(), what, drill_id)
    case = _case(drill, number)
    given = {ask.name: joined(ask.kind, request.form.getlist(f"answer-{ask.name}")) for ask in case.type.asks}
    texts = None if request.form.get("unknown") else given
    try:
        done = dealing.tried(case, texts, now=request_context.now(), why=drills.WHY)
    except SentBack as back:
        return _show(what.id, drill, number, given, {back.ask: str(back)})
    nobodys = Sitting(0, 0, request_context.now(), drill.cases, drill.minutes, None)
    page = mark_page(done, Place(number, drill.cases), nobodys, probe_follows=False)
    onward = url_for("trying.show", class_id=class_id, drill_id=drill_id, number=number + 1)
    last = number >= (drill.cases or drills.MOST_CASES)
    home = url_for("drills.one", class_id=class_id, drill_id=drill_id)
    return make_response(
        render_template("mark.html", page=page, back=home, whose=drill.title, onward=home if last else onward)
    )


@pages.get("")
def begin(class_id: int, drill_id: int) -> Response:
    """Begin with the first case."""
    own_drill(class_id, drill_id)
    return redirect(url_for("trying.show", class_id=class_id, drill_id=drill_id, number=1), 303)
