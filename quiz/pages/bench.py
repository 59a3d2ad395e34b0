"""The bench: free exploring, the guided first run, and cases found by eye and marked like any other."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response, jsonify, render_template, request

from cases.bench import Bench, View, seen
from cases.lens import SphCyl
from quiz.pages.bench_views import EVERYTHING, StagePage, read_bench, stage_page

pages = Blueprint("bench", __name__, url_prefix="/bench")

FIRST = Bench(eye=SphCyl(2.0, -1.5, 20), streak=110)
"""What stands on the bench when someone comes in: an eye that shows with, and a streak on its axis."""


@dataclass(frozen=True)
class BenchPage:
    """What the page of the free bench receives."""

    stage: StagePage
    hidden: bool
    """Whether the numbers are to be hidden."""


@pages.get("")
def explore() -> str:
    """Show the bench with everything free to be changed."""
    bench, problem = read_bench(FIRST, EVERYTHING, request.args)
    page = BenchPage(stage_page((View("", bench),), EVERYTHING, numbers=True, problem=problem), "hide" in request.args)
    return render_template("bench.html", page=page)


@pages.get("/seen")
def tell() -> Response:
    """Say what is seen at a bench, for the script."""
    bench, _ = read_bench(FIRST, EVERYTHING, request.args)
    return jsonify(seen=" ".join(seen(bench)))
