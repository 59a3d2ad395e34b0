"""Family Bench, two meridians in a look: to which side the axis lies, and whether leaning in finds both alike."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.band_widths import FIRST_STREAK, NARROWER_BAND, VIEW, WIDTHS
from cases.curriculum.bench import FAMILY
from cases.curriculum.bench.eye_on_bench import RX, SWEEP_ALONE, several
from cases.curriculum.bench_stage import SAME_AS_STREAK, Bench, Stage, View, as_still, one_view
from cases.curriculum.bench_types import Moving
from cases.curriculum.drawn_eyes import STRONG_CYLINDERS, Sought, patient_lens
from cases.curriculum.movements import IN_PLACE, STREAK
from cases.curriculum.steps import DISTANCE, as_written, degrees, pick_distance
from cases.notation.prescription import write_distance
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.reflex import movement, skew, width_mm
from cases.optics.vergence import vergence_in_quarters
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

# --- to which side the axis lies ---------------------------------------------------------------------------------

FOLLOW_SKEW = Skill("follow-skew", "telling from the skew to which side the meridian lies")
TURNS = Choice(
    (
        Option(
            "anticlockwise",
            "anticlockwise: its top to the left",
            "the reflex is turned anticlockwise from the streak",
        ),
        Option("clockwise", "clockwise: its top to the right", "the reflex is turned clockwise from the streak"),
        Option("leave", "not at all: it lies on a meridian", "reflex and streak lie in one line"),
    )
)
_OTHER_TURN = {"anticlockwise": "clockwise", "clockwise": "anticlockwise", "leave": "leave"}
SKEW_UNSEEN = SlipName(
    "skew-unseen",
    "missed that the reflex stood turned to the streak",
    "Compare the glow in the pupil with the light on the lids above and below: they did not lie in one line.",
)
SKEW_IMAGINED = SlipName(
    "skew-imagined",
    "saw a turn where reflex and streak lay in one line",
    "Here the glow ran on into the light on the lids. That is how a meridian looks: leave the streak where it is.",
)

TURN = Field("turn", "Turn the streak", TURNS)
SKEW = Key[float]("skew", unit="°")


TORIC = Sought(strata=STRONG_CYLINDERS)


def _draw_axis(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = patient_lens(chance, settings, sphere=(-5, 4), cylinder=(1.5, 3), at_the_bench=True, sought=TORIC)
    distance = pick_distance(chance, settings)
    # The less plus meridian is nearly neutral and the other still shows with: the usual moment to look for the axis.
    gross = eye.sphere + eye.cylinder + vergence_in_quarters(distance)
    aside = chance.among((0, 10, 15, 20, 25, -10, -15, -20, -25))
    return given(RX, IN_PLACE, DISTANCE, STREAK).to(
        eye, SphCyl(gross - chance.among((0.25, 0.5))), distance, axis_of(across(eye.axis) + aside)
    )


@given(RX, STREAK, DISTANCE, IN_PLACE)
def _axis_bench(rx: SphCyl, streak: float, distance_cm: float, in_place: SphCyl) -> Bench:
    return Bench(eye=rx, streak=streak, distance_cm=distance_cm).holding(in_place)


@given(_axis_bench)
def _begin_axis(bench: Bench) -> float:
    setting, streak = bench.setting, bench.streak
    turned = skew(setting, streak)
    if movement(setting, streak) in ("neutral", "neither") or abs(turned) > 80:
        raise BadFinding(degrees(streak), "this streak shows no reflex that can be lined up: give another")
    return turned


@given(SKEW)
def _turn(turned: float) -> str:
    return "leave" if abs(turned) <= SAME_AS_STREAK else "anticlockwise" if turned > 0 else "clockwise"


_turned = given(_turn)(lambda turn: turn != "leave")

bench_axis = CaseType(
    id="bench-axis",
    title="To which side the axis lies",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX, IN_PLACE, DISTANCE, STREAK)),
    asks=(TURN,),
    draw=_draw_axis,
    begin=SKEW.by(_begin_axis),
    steps=(
        TURN.step(
            FOLLOW_SKEW,
            run=_turn,
            says=given(TURN, SKEW)(
                lambda turn, turned: (
                    "Reflex and streak lie in one line: this is a meridian."
                    if turn == "leave"
                    else f"The reflex is turned by {abs(turned):.0f}°: follow it, {turn}."
                )
            ),
            slips=(
                Slip(
                    skills.AWAY_FROM_REFLEX,
                    run=given(_turn)(lambda turn: _OTHER_TURN[turn]),
                    says=given(TURN)(lambda turn: f"Turned {turn}, away from the reflex."),
                    live=_turned,
                ),
                Slip(
                    SKEW_UNSEEN,
                    run=given()(lambda: "leave"),
                    says=given()(lambda: "Left where it lay."),
                    live=_turned,
                ),
                Slip(
                    SKEW_IMAGINED,
                    run=given()(lambda: "anticlockwise"),
                    says=given()(lambda: "Turned, though the two lay in one line."),
                    live=given(_turned)(lambda turned: not turned),
                ),
            ),
        ),
    ),
    answer=as_found(TURN),
    found=given(IN_PLACE, STREAK, DISTANCE)(
        lambda in_place, streak, distance_cm: (
            f"In place: {as_written(in_place)}.",
            f"The streak lies at {degrees(streak)}, {write_distance(distance_cm)} from the pupil; "
            "plane-mirror setting.",
        )
    ),
    question=asking("Sweep and compare reflex and streak. Which way must the streak turn to lie on a meridian?"),
    figure=as_still(_axis_bench),
    needs=("streak-axis", "next-lens"),
    sources=("skew-figure", "reflex-optics"),
)

# --- leaning in --------------------------------------------------------------------------------------------------

COMPARE_WIDTHS = Skill("compare-widths", "comparing two bands by their width")
WIDTHS_ALIKE = SlipName(
    "widths-taken-alike",
    "took two bands of different width for equal",
    "Look from one to the other, sweeping slowly: one band was thinner and travelled more slowly.",
)
UNEVEN = 1.15
"""How many times as wide a band must be to be called wider; an estimate of what an eye can tell."""

LEANED = Field("leaned_cm", "Distance once leaned in", quantities.DISTANCE)
BAND_WIDTHS = Field("widths", "The bands are", WIDTHS)
BANDS = Key[tuple[float, ...]]("bands", unit="mm")


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = patient_lens(chance, settings, sphere=(-5, 4), cylinder=(1, 3), at_the_bench=True, sought=TORIC)
    distance = chance.among((67.0, 80.0)) if settings.distance_cm < 60 else settings.distance_cm
    step = chance.among((0.0, 0.25, 0.5, -0.25, -0.5, 0.0))
    exact = SphCyl(eye.sphere + vergence_in_quarters(distance), eye.cylinder, eye.axis)
    return given(RX, IN_PLACE, DISTANCE, LEANED, FIRST_STREAK).to(
        eye,
        SphCyl(exact.sphere - max(step, 0), exact.cylinder + max(step, 0) + min(step, 0), exact.axis),
        distance,
        distance - chance.among((25.0, 30.0)),
        chance.among((eye.axis, across(eye.axis))),
    )


def _lean_bench(rx: SphCyl, leaned_cm: float, in_place: SphCyl, streak: float) -> Bench:
    bench = Bench(
        eye=rx,
        streak=streak,
        distance_cm=leaned_cm,
        # A wide pupil shows the edges of the bands, which the diverging beam keeps thin enough to compare so close.
        pupil_mm=7.0,
    )
    return bench.holding(in_place)


@given(FIRST_STREAK, RX, LEANED, IN_PLACE)
def _lean_views(first: float, rx: SphCyl, leaned_cm: float, in_place: SphCyl) -> tuple[View, ...]:
    return (
        View("First view", _lean_bench(rx, leaned_cm, in_place, first)),
        View("Second view", _lean_bench(rx, leaned_cm, in_place, across(first))),
    )


@given(FIRST_STREAK, _lean_views)
def _begin_lean(first: float, views: tuple[View, ...]) -> tuple[float, ...]:
    bands = []
    for view in views:
        setting, streak = view.bench.setting, view.bench.streak
        if movement(setting, streak) != "with" or axis_gap(skew(setting, streak) % 180, 180) > SAME_AS_STREAK:
            raise BadFinding(
                degrees(first), "leaned in, both views must show with and lie along a meridian: lean in farther"
            )
        bands.append(width_mm(setting, streak))
    return tuple(bands)


@given(BANDS)
def _widths(bands: tuple[float, ...]) -> str:
    first, second = bands
    if max(first, second) < UNEVEN * min(first, second):
        return "equal"
    return "first-narrower" if first < second else "second-narrower"


bench_lean = CaseType(
    id="bench-lean",
    title="Leaning in at the bench: equal or not",
    family=FAMILY,
    level="expert",
    seconds=30,
    findings=Group(
        (
            RX,
            IN_PLACE,
            DISTANCE,
            LEANED,
            FIRST_STREAK,
        )
    ),
    asks=(BAND_WIDTHS, VIEW),
    draw=_draw_lean,
    begin=BANDS.by(_begin_lean),
    steps=(
        BAND_WIDTHS.step(
            COMPARE_WIDTHS,
            run=_widths,
            says=given(BAND_WIDTHS)(lambda widths: f"The band is {WIDTHS.write(widths)}."),
            slips=(
                Slip(
                    WIDTHS_ALIKE,
                    run=given()(lambda: "equal"),
                    says=given()(lambda: "The two taken as equally wide."),
                    live=given(_widths)(lambda widths: widths != "equal"),
                ),
            ),
        ),
        NARROWER_BAND,
    ),
    answer=as_found(BAND_WIDTHS, VIEW),
    found=given(IN_PLACE, DISTANCE, FIRST_STREAK, LEANED)(
        lambda in_place, distance_cm, first_streak, leaned_cm: (
            f"In place: {as_written(in_place)}. Both meridians looked neutral at {write_distance(distance_cm)}.",
            f"First view: streak at {degrees(first_streak)}. Second view: streak at {degrees(across(first_streak))}.",
            f"You have leaned in to {write_distance(leaned_cm)}.",
        )
    ),
    question=asking("Sweep in both views. Is the band equally wide in the two, and which view still needs plus?"),
    figure=given(_lean_views).drawing(several),
    needs=("lean-in-widths",),
    # The lens is no finding that may be out: it makes the bands that are seen. With an error no draw would be equal.
    errors={"distance_cm": 1.0},
    sources=("reflex-optics", "streak-guide"),
)

STAGES = {
    bench_axis.id: one_view(_axis_bench, SWEEP_ALONE),
    bench_lean.id: Stage(_lean_views, SWEEP_ALONE),
}

MOVING = {
    bench_axis.id: Moving(given(_axis_bench)(lambda bench: (View("", bench),)), tells=True),
    bench_lean.id: Moving(_lean_views, tells=True),
}

TYPES = (bench_axis, bench_lean)
