"""Family Bench, two meridians in a look: to which side the axis lies, and whether leaning in finds both alike."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.bench import SAME_AS_STREAK, Bench, Stage, View, still
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.bench import FAMILY
from cases.families.bench_short import IN_PLACE, RX, STREAK, SWEEP_ALONE, several
from cases.families.lean_in import VIEWS, WIDTHS, lean_in_widths
from cases.fields import Field, Group
from cases.kinds import BadFinding, Distance, Meridian
from cases.lens import SphCyl, across, axis_gap, axis_of
from cases.notation import write_distance
from cases.retinoscope import movement, skew, width_mm
from cases.steps import DISTANCE, as_written, degrees, pick_distance, pick_lens
from cases.vergence import vergence_in_quarters
from cases.working import Known, Skill, Slip, SlipName, Step

# --- to which side the axis lies ---------------------------------------------------------------------------------

FOLLOW_SKEW = Skill("follow-skew", "telling from the skew to which side the meridian lies")
TURNS = Choice(
    (
        Option("anticlockwise", "anticlockwise: its top to the left"),
        Option("clockwise", "clockwise: its top to the right"),
        Option("leave", "not at all: it lies on a meridian"),
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


def _draw_axis(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-3, 3), cylinder=(1.5, 3))
    distance = pick_distance(chance, settings)
    # The less plus meridian is nearly neutral and the other still shows with: the usual moment to look for the axis.
    gross = eye.sphere + eye.cylinder + vergence_in_quarters(distance)
    aside = chance.among((0, 10, 15, 20, 25, -10, -15, -20, -25))
    return {
        "rx": eye,
        "in_place": SphCyl(gross - chance.among((0.25, 0.5))),
        "distance_cm": distance,
        "streak": axis_of(across(eye.axis) + aside),
    }


def _axis_bench(known: Known) -> Bench:
    bench = Bench(eye=known["rx"], streak=known["streak"], distance_cm=known["distance_cm"])
    return bench.holding(known["in_place"])


def _begin_axis(findings: Known) -> dict[str, Any]:
    setting = _axis_bench(findings).setting
    turned = skew(setting, findings["streak"])
    if movement(setting, findings["streak"]) in ("neutral", "neither") or abs(turned) > 80:
        raise BadFinding(degrees(findings["streak"]), "this streak shows no reflex that can be lined up: give another")
    return {"skew": turned}


def _turn(known: Known) -> str:
    turned = known["skew"]
    return "leave" if abs(turned) <= SAME_AS_STREAK else "anticlockwise" if turned > 0 else "clockwise"


bench_axis = CaseType(
    id="bench-axis",
    title="To which side the axis lies",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX, IN_PLACE, DISTANCE, STREAK)),
    asks=(Field("turn", "Turn the streak", TURNS),),
    draw=_draw_axis,
    begin=_begin_axis,
    steps=(
        Step(
            FOLLOW_SKEW,
            run=lambda known: {"turn": _turn(known)},
            says=lambda known: (
                "Reflex and streak lie in one line: this is a meridian."
                if known["turn"] == "leave"
                else f"The reflex stands turned by {abs(known['skew']):.0f}°: follow it, {known['turn']}."
            ),
            slips=(
                Slip(
                    skills.AWAY_FROM_REFLEX,
                    run=lambda known: {"turn": _OTHER_TURN[_turn(known)]},
                    says=lambda known: f"Turned {known['turn']}, away from the reflex.",
                    live=lambda known: _turn(known) != "leave",
                ),
                Slip(
                    SKEW_UNSEEN,
                    run=lambda _: {"turn": "leave"},
                    says=lambda _: "Left where it lay.",
                    live=lambda known: _turn(known) != "leave",
                ),
                Slip(
                    SKEW_IMAGINED,
                    run=lambda _: {"turn": "anticlockwise"},
                    says=lambda _: "Turned, though the two lay in one line.",
                    live=lambda known: _turn(known) == "leave",
                ),
            ),
        ),
    ),
    answer=lambda known: {"turn": known["turn"]},
    found=lambda known: (
        f"In place: {as_written(known['in_place'])}.",
        f"The streak lies at {degrees(known['streak'])}, {write_distance(known['distance_cm'])} from the pupil; "
        "plane-mirror setting.",
    ),
    question=lambda _: "Sweep and compare reflex and streak. Which way must the streak turn to lie on a meridian?",
    figure=lambda known, uid: still(_axis_bench(known), uid=uid),
    form=lambda _: None,
    needs=("streak-axis", "next-lens"),
    sources=("AAO image caption “Skew”; optics derived in DEVELOPERS.md, The reflex",),
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


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-3, 3), cylinder=(1, 3))
    distance = chance.among((67.0, 80.0)) if settings.distance_cm < 60 else settings.distance_cm
    step = chance.among((0.0, 0.25, 0.5, -0.25, -0.5, 0.0))
    exact = SphCyl(eye.sphere + vergence_in_quarters(distance), eye.cylinder, eye.axis)
    return {
        "rx": eye,
        # Whichever meridian is out still wants plus, as it does where one stopped too early.
        "in_place": SphCyl(exact.sphere - max(step, 0), exact.cylinder + max(step, 0) + min(step, 0), exact.axis),
        "distance_cm": distance,
        "leaned_cm": distance - chance.among((25.0, 30.0)),
        "first_streak": chance.among((eye.axis, across(eye.axis))),
    }


def _lean_bench(known: Known, streak: float) -> Bench:
    bench = Bench(
        eye=known["rx"],
        streak=streak,
        distance_cm=known["leaned_cm"],
        # A diverging beam keeps the bands thin enough to compare so close, and a wide pupil shows their edges.
        sleeve="diverging",
        pupil_mm=7.0,
    )
    return bench.holding(known["in_place"])


def _lean_views(known: Known) -> tuple[View, ...]:
    first = known["first_streak"]
    return (
        View("First view", _lean_bench(known, first)),
        View("Second view", _lean_bench(known, across(first))),
    )


def _begin_lean(findings: Known) -> dict[str, Any]:
    first = findings["first_streak"]
    bands = []
    for streak in (first, across(first)):
        setting = _lean_bench(findings, streak).setting
        if movement(setting, streak) != "with" or axis_gap(skew(setting, streak) % 180, 180) > SAME_AS_STREAK:
            raise BadFinding(
                degrees(first), "leaned in, both views must show with and lie along a meridian: lean in farther"
            )
        bands.append(width_mm(setting, streak)[0])
    return {"bands": tuple(bands)}


def _widths(known: Known) -> str:
    first, second = known["bands"]
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
            Field("leaned_cm", "Distance once leaned in", Distance()),
            Field("first_streak", "Streak of the first view", Meridian()),
        )
    ),
    asks=(Field("widths", "The bands are", WIDTHS), Field("view", "Which view still wants plus?", VIEWS)),
    draw=_draw_lean,
    begin=_begin_lean,
    steps=(
        Step(
            COMPARE_WIDTHS,
            run=lambda known: {"widths": _widths(known)},
            says=lambda known: f"The band is {WIDTHS.write(known['widths'])}.",
            slips=(
                Slip(
                    WIDTHS_ALIKE,
                    run=lambda _: {"widths": "equal"},
                    says=lambda _: "The two taken as equally wide.",
                    live=lambda known: _widths(known) != "equal",
                ),
            ),
        ),
        lean_in_widths.steps[0],
    ),
    answer=lambda known: {"widths": known["widths"], "view": known["view"]},
    found=lambda known: (
        f"In place: {as_written(known['in_place'])}. Both meridians looked neutral at "
        f"{write_distance(known['distance_cm'])}.",
        f"First view: streak at {degrees(known['first_streak'])}. Second view: streak at "
        f"{degrees(across(known['first_streak']))}.",
        f"You have leaned in to {write_distance(known['leaned_cm'])}.",
    ),
    question=lambda _: "Sweep in both views. Is the band equally wide in the two, and which view still wants plus?",
    figure=lambda known, uid: several(_lean_views(known), uid),
    form=lambda _: None,
    needs=("lean-in-widths",),
    sources=("a streak retinoscope's user guide (leaning); optics derived in DEVELOPERS.md, The reflex",),
)

STAGES = {
    bench_axis.id: Stage(lambda known: (View("", _axis_bench(known)),), SWEEP_ALONE),
    bench_lean.id: Stage(_lean_views, SWEEP_ALONE),
}

TYPES = (bench_axis, bench_lean)
