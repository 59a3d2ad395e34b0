"""Family Bench, short looks: which way the reflex goes, and which of three is nearest to neutral."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench import FAMILY
from cases.curriculum.bench.eye_on_bench import MARGIN, PUPIL, RX, SWEEP_ALONE, pupil_words, several
from cases.curriculum.bench_stage import SLEEVES, Bench, Stage, View, as_still, one_view, require_in_sight
from cases.curriculum.bench_types import Moving
from cases.curriculum.drawn_eyes import patient_sphere
from cases.curriculum.movements import (
    BEAM,
    BEAMS,
    IN_PLACE,
    LENS,
    MOVEMENTS,
    NEXT_LENS_STEPS,
    STREAK,
    SWAPPED_OR_SLEEVE,
)
from cases.curriculum.shared_keys import LEFT
from cases.curriculum.steps import DISTANCE, as_written, degrees, lens_in_place, pick_distance
from cases.notation.prescription import write_distance
from cases.optics.appearance import PUPIL_MM
from cases.optics.lens import SphCyl
from cases.optics.reflex import residual, zones
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Option, Order
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

# --- which way it goes -------------------------------------------------------------------------------------------

COMPARE_MOVEMENT = Skill("compare-movement", "comparing the reflex's movement with the streak's")

FACE_WATCHED = SlipName(
    "face-watched",
    "watched the light on the face instead of the light in the pupil",
    "The streak on the face goes where your hand goes, so it always seems to be with. Look at the glow in the pupil.",
)
FAST_AS_NEUTRAL = SlipName(
    "fast-taken-for-neutral",
    "took a fast reflex for neutral",
    "Close to neutral the reflex is wide and quick, and easy to miss. Sweep slowly and watch the edge of the glow.",
)
NEAR_ENOUGH = 0.8
"""Residual in D below which a movement is quick enough to be missed: an estimate."""

MOVEMENT = Field("movement", "The reflex, as you see it, goes", MOVEMENTS)
CENTRE = Key[str]("centre")
EDGE = Key[str]("edge")


_empty_bench = given(RX, STREAK, DISTANCE, BEAM, PUPIL, MARGIN)(
    lambda rx, streak, distance_cm, beam, pupil_mm, margin: Bench(
        eye=rx, streak=streak, distance_cm=distance_cm, sleeve=SLEEVES[beam], pupil_mm=pupil_mm, margin=margin
    )
)
_movement_bench = given(_empty_bench, IN_PLACE)(Bench.holding)


@given(_movement_bench)
def _begin_movement(bench: Bench) -> tuple[str, str, float]:
    setting, streak = bench.setting, bench.streak
    centre, edge = (zone.movement for zone in zones(setting, streak))
    if "neither" in (centre, edge):
        raise BadFinding(
            degrees(streak),
            "off a meridian of a mixed residual the reflex only slides along the streak: give another streak",
        )
    return centre, edge, residual(setting, streak)


def _draw_movement(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = SphCyl(patient_sphere(chance, settings, -5, 5))
    distance = pick_distance(chance, settings)
    left = chance.among((0.0, 0.0, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)) * chance.among((1, -1))
    wide = settings.level != "novice" and chance.happens(0.3)
    found = given(RX, IN_PLACE, DISTANCE, STREAK, BEAM, PUPIL).to(
        rx,
        SphCyl(round((rx.sphere + working_vergence(distance) - left) * 4) / 4),
        distance,
        chance.among((90.0, 180.0, 45.0, 135.0)),
        "converging" if chance.happens(0.2) and not wide else "parallel",
        8.0 if wide else PUPIL_MM,
    ) | MARGIN.to(chance.among((-1.0, -1.5)) if wide else 0.0)
    require_in_sight(_movement_bench(found))
    return found


bench_movement = CaseType(
    id="bench-movement",
    title="Reading a movement at the bench",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group((RX, IN_PLACE, DISTANCE, STREAK, BEAM, PUPIL, MARGIN)),
    asks=(MOVEMENT, LENS),
    draw=_draw_movement,
    begin=given(CENTRE, EDGE, LEFT).by(_begin_movement),
    steps=(
        MOVEMENT.step(
            COMPARE_MOVEMENT,
            run=given(CENTRE)(lambda centre: centre),
            says=given(MOVEMENT)(
                lambda movement: (
                    "Nothing travels: neutral."
                    if movement == "neutral"
                    else f"In the middle of the pupil the light goes {movement} the streak."
                )
            ),
            slips=(
                Slip(
                    FACE_WATCHED,
                    run=given()(lambda: "with"),
                    says=given()(lambda: "The light goes the way of the streak: with."),
                    live=given(CENTRE)(lambda centre: centre == "against"),
                ),
                Slip(
                    FAST_AS_NEUTRAL,
                    run=given()(lambda: "neutral"),
                    says=given()(lambda: "Too quick to follow: neutral."),
                    live=given(CENTRE, LEFT)(lambda centre, left: centre != "neutral" and abs(left) < NEAR_ENOUGH),
                ),
                Slip(
                    skills.MARGIN_READ,
                    run=given(EDGE)(lambda edge: edge),
                    says=given(MOVEMENT)(lambda movement: f"At the edge of the pupil: {movement}."),
                    # A neutral edge cannot be told from a quick reflex taken for neutral.
                    live=given(EDGE, CENTRE)(lambda edge, centre: edge not in (centre, "neutral")),
                ),
            ),
        ),
        *NEXT_LENS_STEPS,
    ),
    answer=as_found(MOVEMENT, LENS),
    found=given(IN_PLACE, PUPIL, STREAK, DISTANCE, BEAM)(
        lambda in_place, pupil_mm, streak, distance_cm, beam: (
            f"In place: {as_written(in_place)}.",
            *pupil_words(pupil_mm),
            f"The streak lies at {degrees(streak)}, {write_distance(distance_cm)} from the pupil; {BEAMS.write(beam)}.",
        )
    ),
    question=asking("Sweep. Which way does the reflex go, and which lens next?"),
    figure=as_still(_movement_bench),
    needs=("next-lens",),
    twins=(SWAPPED_OR_SLEEVE,),
    probes=(Probe(SWAPPED_OR_SLEEVE, "next-lens"),),
    errors={"in_place": 0.12, "distance_cm": 1.0},
    sources=("reflex-optics",),
)

# --- nearer or farther -------------------------------------------------------------------------------------------

NEARER = Order((Option("a", "view A"), Option("b", "view B"), Option("c", "view C")))
_NAMES = ("a", "b", "c")
LENS_SIZE = SlipName(
    "lens-size-for-nearness",
    "went by the lenses in place instead of by the reflex",
    "The power in the frame does not say what is still missing. The reflex does.",
)


LENSES = Field(
    "lenses",
    "Spheres in place in the three views",
    Group(tuple(Field(name, f"View {name.upper()}", quantities.POWER) for name in _NAMES)),
)
ORDER = Field("order", "Nearest to neutral first", NEARER)
LEFTS = Key[Mapping[str, float]]("lefts")


def _draw_nearer(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = patient_sphere(chance, settings, -4, 4)
    distance = pick_distance(chance, settings)
    sizes = chance.among(((0.5, 1.25, 3.0), (0.5, 1.5, 3.5), (0.75, 1.75, 4.0)))
    lefts = [size * chance.among((1, -1)) for size in chance.shuffled(sizes)]
    gross = rx + vergence_in_quarters(distance)
    lenses = dict(zip(_NAMES, (gross - left for left in lefts), strict=True))
    found = given(RX, LENSES, DISTANCE).to(SphCyl(rx), lenses, distance)
    require_in_sight(*(view.bench for view in _nearer_views(found)))
    return found


@given(RX, LENSES, DISTANCE)
def _nearer_views(rx: SphCyl, lenses: Mapping[str, float], distance_cm: float) -> tuple[View, ...]:
    return tuple(
        View(f"View {name.upper()}", Bench(eye=rx, sphere=lenses[name], distance_cm=distance_cm)) for name in _NAMES
    )


@given(LENSES, _nearer_views)
def _begin_nearer(lenses: Mapping[str, float], views: tuple[View, ...]) -> Mapping[str, float]:
    lefts = {name: residual(view.bench.setting, 90) for name, view in zip(_NAMES, views, strict=True)}
    sizes = sorted(abs(left) for left in lefts.values())
    if min(b - a for a, b in pairwise(sizes)) < 0.2:
        raise BadFinding(list(lenses.values()), "each lens must be 0.25 D or more nearer neutral than the next")
    return lefts


def _by(powers: Key[Mapping[str, float]], nearness: Callable[[float], Any]) -> Rule[tuple[str, ...]]:
    return given(powers)(lambda of: tuple(sorted(_NAMES, key=lambda name: nearness(of[name]))))


_right_order = _by(LEFTS, abs)


def _order_words(order: tuple[str, ...]) -> str:
    return f"The nearest first: {NEARER.write(order)}."


def _misjudged(name: SlipName, order: Rule[tuple[str, ...]]) -> Slip[tuple[str, ...]]:
    live = given(order, _right_order)(lambda wrong, right: wrong != right)
    return Slip(name, run=order, says=given(ORDER)(_order_words), live=live)


bench_nearer = CaseType(
    id="bench-nearer",
    title="Nearer or farther, by speed and width",
    family=FAMILY,
    level="novice",
    seconds=30,
    findings=Group(
        (
            RX,
            LENSES,
            DISTANCE,
        )
    ),
    asks=(ORDER,),
    draw=_draw_nearer,
    begin=LEFTS.by(_begin_nearer),
    steps=(
        ORDER.step(
            skills.LOOK_TO_DISTANCE,
            run=_right_order,
            says=given(ORDER)(
                lambda order: f"Fast and wide means near neutral, with or against. {_order_words(order)}"
            ),
            slips=(
                _misjudged(skills.SPEED_REVERSED, _by(LEFTS, lambda left: -abs(left))),
                _misjudged(skills.AGAINST_AS_FARTHER, _by(LEFTS, lambda left: (left < 0, abs(left)))),
                _misjudged(LENS_SIZE, _by(LENSES, abs)),
            ),
        ),
    ),
    answer=as_found(ORDER),
    found=given(LENSES, DISTANCE)(
        lambda lenses, distance_cm: (
            *(f"View {name.upper()}: {lens_in_place(lenses[name], 'DS in place')}." for name in _NAMES),
            f"Streak at 90, {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
        )
    ),
    question=asking("Three views of one eye. In which order do they come, the nearest to neutral first?"),
    figure=given(_nearer_views).drawing(several),
    needs=("next-lens",),
    errors={"lenses.a": 0.12, "lenses.b": 0.12, "lenses.c": 0.12, "distance_cm": 1.0},
    sources=("reflex-optics", "common-practice"),
)

STAGES = {
    bench_movement.id: one_view(_movement_bench, SWEEP_ALONE),
    bench_nearer.id: Stage(_nearer_views, SWEEP_ALONE),
}

MOVING = {
    bench_movement.id: Moving(given(_movement_bench)(lambda bench: (View("", bench),)), tells=True),
    bench_nearer.id: Moving(_nearer_views, tells=True),
}

TYPES = (bench_movement, bench_nearer)
