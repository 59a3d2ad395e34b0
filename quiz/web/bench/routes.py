"""The bench: free exploring, the guided first run, and cases found by eye and marked like any other."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from urllib.parse import urlencode

from flask import Blueprint, Response, abort, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answered

from cases.curriculum.bench_guide import GUIDE, Guided
from cases.curriculum.bench_stage import Bench, Stage, View, seen
from cases.curriculum.bench_types import WHOLE_EYES, stage_of, staged
from cases.errors import CaseError
from cases.notation.prescription import write_prescription, write_size
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case
from quiz.practice import dealing, end_points
from quiz.practice.dealt_cases import Waiting
from quiz.web import request_context
from quiz.web.bench.views import EVERYTHING, StagePage, read_bench, set_views, stage_page
from quiz.web.practise.routes import place_of, show_case

pages = Blueprint("bench", __name__, url_prefix="/bench")

FIRST = Bench(eye=SphCyl(2.0, -1.5, 20), streak=110)
"""What stands on the bench when someone comes in: an eye that shows with, and a streak on its axis."""


@dataclass(frozen=True)
class BenchPage:
    """What the page of the free bench receives."""

    stage: StagePage
    open: bool
    """Whether a case is open at the bench."""


@dataclass(frozen=True)
class GuidePage:
    """What a page of the guided run receives; number counts from 1."""

    stage: StagePage
    number: int
    of: int
    title: str
    says: tuple[str, ...]
    then: str


@dataclass(frozen=True)
class BenchPlace:
    """A case's stage on the page at hand, and where its form and its words are."""

    stage: StagePage
    action: str
    tell: str


@pages.get("")
def explore() -> str:
    """Show the bench with everything free to be changed."""
    bench, faults = read_bench(FIRST, EVERYTHING, request.args)
    stage = stage_page((View("", bench),), EVERYTHING, numbers=True, faults=faults, given=request.args)
    who = request_context.known_learner()
    is_open = who is not None and request_context.store().open_case(who.id, at_bench=True) is not None
    return render_template("bench.html", page=BenchPage(stage, is_open))


@pages.get("/seen")
def tell() -> Response:
    """Say what is seen at the free bench, for the script."""
    bench, _ = read_bench(FIRST, EVERYTHING, request.args)
    return jsonify(seen=" ".join(seen(bench)))


# --- the guided run ----------------------------------------------------------------------------------------------


@pages.get("/guide/<int:number>")
def guide(number: int) -> str:
    """Show one part of the guided run."""
    part = _part(number)
    bench, faults = read_bench(part.bench, part.free, request.args)
    stage = stage_page((View("", bench),), part.free, faults=faults, given=request.args, goal=part.goal)
    page = GuidePage(stage, number, len(GUIDE), part.title, part.says, part.then)
    return render_template("bench_guide.html", page=page)


@pages.get("/guide/<int:number>/seen")
def tell_guide(number: int) -> Response:
    """Say what is seen in a part of the guided run."""
    part = _part(number)
    bench, _ = read_bench(part.bench, part.free, request.args)
    return jsonify(seen=" ".join(seen(bench)))


def _part(number: int) -> Guided:
    if not 1 <= number <= len(GUIDE):
        abort(404)
    return GUIDE[number - 1]


# --- cases -------------------------------------------------------------------------------------------------------


@pages.post("/case")
def put() -> Answered:
    """Put a case on the bench: a whole eye, or a short look."""
    short = request.form.get("sort") == "short"
    _deal(tuple(one for one in staged() if (one not in WHOLE_EYES) == short))
    return redirect(url_for("bench.open_case"), 303)


@pages.get("/case")
def open_case() -> Answered:
    """Show the case that is open at the bench."""
    found = request_context.store().open_case(request_context.learner().id, at_bench=True)
    if found is None:
        return redirect(f"{url_for('bench.explore')}#cases", 303)
    return make_response(show_case(_deal((found.type,) if found.type in staged() else staged())))


def _deal(types: Collection[str]) -> Waiting:
    return dealing.at_bench(
        request_context.store(),
        request_context.learner(),
        types,
        now=request_context.now(),
        lots=request_context.lots(),
    )


@pages.get("/case/<dealt_id>")
def case(dealt_id: str) -> Answered:
    """Go back to a case's page with the bench as it was set: where a browser without scripts sends its settings."""
    dealt = dealing.own(request_context.store(), request_context.learner(), dealt_id)
    return redirect(f"{place_of(dealt)}?{urlencode(request.args)}", 303)


@pages.get("/case/<dealt_id>/seen")
def tell_case(dealt_id: str) -> Response:
    """Say what is seen of a case's eye, for the script."""
    case, stage = _staged(dealt_id)
    views, _ = set_views(stage, case.findings, request.args)
    asked = request.args.get("view", "0")
    at = int(asked) if asked.isdecimal() and len(asked) < 4 and int(asked) < len(views) else 0
    return jsonify(seen=" ".join(seen(views[at].bench)))


def _staged(dealt_id: str) -> tuple[Case, Stage]:
    case = dealing.case_of(dealing.own(request_context.store(), request_context.learner(), dealt_id))
    stage = stage_of(case.type.id)
    if stage is None:
        abort(404)
    return case, stage


@dataclass(frozen=True)
class Score:
    """What a marked answer would leave on the eye, as the examination boards count it."""

    left: str
    """The lens still to be added."""
    blur: str
    """Its defocus equivalent in D."""


@pages.app_context_processor
def _for_templates() -> dict[str, Callable[..., object]]:
    return {"bench_of": _kept(bench_of), "bench_score": bench_score, "bench_bias": bench_bias}


def _kept(make: Callable[[str | None], BenchPlace | None]) -> Callable[[str | None], BenchPlace | None]:
    """Ask once for each case in a request, however often a template does."""
    kept: dict[str | None, BenchPlace | None] = {}

    def once(dealt_id: str | None) -> BenchPlace | None:
        if dealt_id not in kept:
            kept[dealt_id] = make(dealt_id)
        return kept[dealt_id]

    return once


def bench_score(dealt_id: str | None) -> Score | None:
    """Score a marked case of the bench by its residual lens; None for other cases, and where no lens was asked.

    Defocus equivalent of the difference: |M| + |C|/2. Source: marking by the residual lens, Taylor 2011, Eye 25:1333;
    the form of the sum from memory.
    """
    learner, dealt = request_context.known_learner(), request_context.store().dealt(dealt_id or "")
    if dealt is None or learner is None or dealt.learner != learner.id or stage_of(dealt.type) is None:
        return None
    done = dealing.marked(request_context.store(), learner, dealt.id)
    difference = done.mark.difference if done else None
    if difference is None:
        return None
    blur = abs(difference.spherical_equivalent) + abs(difference.cylinder) / 2
    return Score(write_prescription(-difference, "minus"), f"{write_size(blur)} D")


def bench_bias() -> str | None:
    """Say on which side of neutral the end-points of this person lie, after six eyes; None where none is known."""
    who = request_context.known_learner()
    found = None if who is None else end_points.bias(request_context.store(), who.id, WHOLE_EYES)
    if found is None:
        return None
    side = "plus" if found.mean > 0 else "minus"
    return f"Over your last {found.eyes} eyes, your end-points are on average {write_size(found.mean, 2)} D too {side}."


def bench_of(dealt_id: str | None) -> BenchPlace | None:
    """Return the stage of a case dealt to the person who is here, or None for one that is answered on paper."""
    who, dealt = request_context.known_learner(), request_context.store().dealt(dealt_id or "")
    stage = stage_of(dealt.type) if dealt else None
    if who is None or dealt is None or dealt.learner != who.id or stage is None:
        return None
    try:
        views, faults = set_views(stage, dealing.case_of(dealt).findings, request.args)
    except CaseError:
        return None
    # After an answer was sent back the page stands at an address that cannot be asked for again.
    action = request.path if request.method == "GET" else url_for("bench.case", dealt_id=dealt.id)
    return BenchPlace(
        stage_page(views, stage.free, faults=faults, given=request.args),
        action,
        url_for("bench.tell_case", dealt_id=dealt.id),
    )
