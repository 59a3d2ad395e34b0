"""Which case types are put on the bench, which have its moving picture in the case or beside the mark, and how.

The moving picture is paused until it is asked for. A family's file says by `STAGES` and `MOVING` which of its types
have the one or the other. What a case leaves open, such as how far from neutral a movement is, is an example there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from cases.curriculum.bench_stage import SLEEVES, Bench, Stage, View
from cases.curriculum.register import loaded_families
from cases.errors import CaseError
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.reflex import residual
from cases.procedure.keys import Rule

WHOLE_EYES = ("bench-sphere", "bench-eye")
"""Types in which an eye is brought to neutral; the others are short looks."""


@cache
def _stages() -> dict[str, Stage]:
    return {one: stage for module in loaded_families()[0] for one, stage in getattr(module, "STAGES", {}).items()}


def stage_of(type_id: str) -> Stage | None:
    """Return how cases of this type are put on the bench; None for a type that is answered on paper."""
    return _stages().get(type_id)


def staged() -> tuple[str, ...]:
    """Return the ids of the types that are put on the bench."""
    return tuple(_stages())


# --- the moving picture -----------------------------------------------------------------------------------------------

USUAL_CM = 67.0
MIDDLE_MM = 4.0
"""The middle of a wide pupil, which is neutralised: common practice, no published source."""
LEFT_FOR = {"with": 1.0, "against": -1.0, "neutral": 0.0}
"""D still needed in the picture of a movement whose size is not told: examples, plain to see at either sleeve."""

Values = Mapping[str, Any]
HeldPair = Callable[[Values, Values], tuple[Bench, Bench]]
"""From the answer given and the right one to the bench with each of them in place."""


@dataclass(frozen=True)
class Moving:
    """What moves in the picture of a type."""

    views: Rule[tuple[View, ...]]
    """Made of the findings alone."""
    tells: bool = False
    """Whether it would give the answer away: then it stands beside the mark and not in the case."""
    pair: Rule[HeldPair] | None = None
    """How an answer is put in place, where one can be."""


@cache
def _moving() -> dict[str, Moving]:
    return {one: moving for module in loaded_families()[0] for one, moving in getattr(module, "MOVING", {}).items()}


def moving_types() -> tuple[str, ...]:
    """Return the ids of the types whose cases have a moving picture."""
    return tuple(_moving())


def views_in_case(type_id: str, findings: Values) -> tuple[View, ...]:
    """Return what moves in the picture of a case that is open; nothing where there is none, or where it would tell."""
    moving = _moving().get(type_id)
    return () if moving is None or moving.tells else moving.views(findings)


def views_in_mark(type_id: str, findings: Values, given: Values | None, truth: Values) -> tuple[View, ...]:
    """Return what moves beside a mark: of a miss the answer given and the right one in place, else what was there.

    given: the answer as it was read; None where there is none, or where it was right.
    """
    moving = _moving().get(type_id)
    if moving is None:
        return ()
    if given is None or moving.pair is None:
        return moving.views(findings)
    try:
        yours, right = moving.pair(findings)(given, truth)
        _ = yours.setting, right.setting
    except CaseError:  # an answer that no bench can hold
        return moving.views(findings)
    return View("Your answer in place", yours), View("The right answer in place", right)


def wanting(left: float, distance_cm: float = USUAL_CM, **more: Any) -> Bench:
    """Return a bench with no lens in place whose eye needs this many D more for neutral from this distance."""
    return Bench(eye=SphCyl(left - 100 / distance_cm), distance_cm=distance_cm, **more)


def showing(movement: str, beam: str = "parallel", distance_cm: float = USUAL_CM, streak: float = 90.0) -> Bench:
    """Return a bench that shows this movement ("with", "against" or "neutral") at a setting of the sleeve."""
    left = LEFT_FOR[movement] * (1 if beam == "parallel" else -1)
    return wanting(left, distance_cm, sleeve=SLEEVES[beam], streak=streak)


def both_in_place(bench: Bench, yours: SphCyl, right: SphCyl) -> tuple[Bench, Bench]:
    """Return a bench with either lens in place, the streak where the first one leaves the most for neutral.

    Of an eye whose edge differs the middle of the pupil is shown, which is what is judged.
    """
    if bench.margin:
        bench = replace(bench, margin=0.0, pupil_mm=MIDDLE_MM)
    first = bench.holding(yours)
    streaks = (right.axis, across(right.axis)) if right.cylinder else (yours.axis, across(yours.axis))
    streak = max(streaks, key=lambda one: abs(residual(first.setting, one)))
    turned = replace(bench, streak=streak)
    return turned.holding(yours), turned.holding(right)
