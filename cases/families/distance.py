"""Family A, working distance: dioptres and centimetres, gross to net, the working lens."""

from __future__ import annotations

import math
from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Probe, Settings
from cases.chance import Chance
from cases.fields import Field, Group, Several
from cases.figures import Figure
from cases.figures_distance import distance_ruler
from cases.figures_lenses import MOST_LENSES, trial_frame
from cases.kinds import BadFinding, Power
from cases.lens import SphCyl
from cases.notation import write_distance
from cases.steps import (
    ADDED_OR_SIGN_BLIND,
    COMMON_DISTANCES,
    DISTANCE,
    distance_in_dioptres,
    lens_in_place,
    listed,
    pick_distance,
    pick_working_lens,
    sign_blind,
    signed,
    size,
    take_off_distance,
)
from cases.sums import together
from cases.vergence import working_vergence
from cases.working import Known, Skill, Slip, SlipName, Step

FAMILY = Family("distance", "Working distance", 1)

CENTIMETRES_TO_METRES = Skill("centimetres-to-metres", "turning centimetres into metres")
TENFOLD_TOO_SMALL = SlipName(
    "tenfold-too-small",
    "ended ten times too small",
    "A factor of ten went astray: a metre has 100 centimetres, not 10.",
)
TENFOLD_TOO_LARGE = SlipName(
    "tenfold-too-large",
    "ended ten times too large",
    "A factor of ten went astray: a metre has 100 centimetres, not 1000.",
)


def invert_metres() -> Step:
    """Step: `metres` to their `vergence` in D."""
    return Step(
        skills.DISTANCE_IN_DIOPTRES,
        run=lambda known: {"vergence": 1 / known["metres"]},
        says=lambda known: f"One over {known['metres']:.3g} m is {size(known['vergence'])} D.",
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=lambda known: {"vergence": known["metres"]},
                says=lambda known: f"{known['metres']:.3g} m taken as {size(known['vergence'])} D.",
                live=lambda known: abs(known["metres"] - 1 / known["metres"]) > 0.05,
            ),
            Slip(
                skills.ALWAYS_ONE_FIFTY,
                run=lambda _: {"vergence": 1.5},
                says=lambda known: f"1.50 D taken, where {known['metres']:.3g} m is another distance.",
                live=lambda known: abs(1.5 - 1 / known["metres"]) > 0.3,
            ),
        ),
    )


def _ruler(known: Known, uid: str) -> Figure:
    return distance_ruler(actual_cm=known["distance_cm"], uid=uid)


# --- distance to dioptres ----------------------------------------------------------------------------------------

distance_vergence = CaseType(
    id="distance-vergence",
    title="Working distance in dioptres",
    family=FAMILY,
    level="novice",
    seconds=5,
    findings=Group((DISTANCE,)),
    asks=(Field("power", "Dioptres", Power()),),
    draw=lambda chance, settings: {
        "distance_cm": float(chance.among(COMMON_DISTANCES if settings.level == "novice" else (*range(25, 100), 100)))
    },
    begin=lambda _: {},
    steps=(
        Step(
            CENTIMETRES_TO_METRES,
            run=lambda known: {"metres": known["distance_cm"] / 100},
            says=lambda known: f"{write_distance(known['distance_cm'])} is {known['metres']:g} m.",
            slips=(
                Slip(
                    TENFOLD_TOO_SMALL,
                    run=lambda known: {"metres": known["distance_cm"] / 10},
                    says=lambda known: f"{write_distance(known['distance_cm'])} taken as {known['metres']:g} m.",
                ),
                Slip(
                    TENFOLD_TOO_LARGE,
                    run=lambda known: {"metres": known["distance_cm"] / 1000},
                    says=lambda known: f"{write_distance(known['distance_cm'])} taken as {known['metres']:g} m.",
                ),
            ),
        ),
        invert_metres(),
    ),
    answer=lambda known: {"power": known["vergence"]},
    found=lambda known: (f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",),
    question=lambda _: "How many dioptres is that distance?",
    figure=_ruler,
    sources=("Definition of vergence in air, ISO 13666",),
)

# --- one meridian, gross to net ----------------------------------------------------------------------------------


def _draw_net_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    return {"gross": chance.stepped(-8, 8), "distance_cm": pick_distance(chance, settings)}


net_sphere = CaseType(
    id="net-sphere",
    title="Gross to net, one sphere",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((Field("gross", "Sphere that neutralised, the only lens in place", Power()), DISTANCE)),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_net_sphere,
    begin=lambda findings: {"gross": (findings["gross"],)},
    steps=(
        distance_in_dioptres(),
        take_off_distance(sign_blind(live=lambda known: known["gross"][0] < 0)),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        f"Every meridian is neutral with {lens_in_place(known['gross'], 'D, the only lens in place')}.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda _: "What is the net sphere?",
    figure=lambda known, uid: trial_frame((SphCyl(known["gross"]),), uid=uid, distance_cm=known["distance_cm"]),
    needs=("distance-vergence",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("Arch Ophthalmol 1935;14:458 (subtracting the reciprocal of the distance)",),
)

# --- a working lens in the cell ----------------------------------------------------------------------------------


def _draw_working_lens(chance: Chance, settings: Settings) -> dict[str, Any]:
    working, distance = pick_working_lens(chance, settings)
    others = [chance.stepped(-6, 6) for _ in range(1 if settings.level == "novice" else chance.whole(1, 3))]
    return {
        "lenses": tuple(chance.shuffled([working, *others])),
        "working_lens": working,
        "distance_cm": distance,
    }


def _frame_with_working_lens(known: Known, uid: str) -> Figure:
    place = known["lenses"].index(known["working_lens"])
    lenses = tuple(SphCyl(power) for power in known["lenses"])
    return trial_frame(lenses, uid=uid, notes={place: "working lens"}, distance_cm=known["distance_cm"])


def _begin_working_lens(findings: Known) -> dict[str, Any]:
    if findings["working_lens"] not in findings["lenses"]:
        raise BadFinding(findings["working_lens"], "the working lens must be one of the lenses in the frame")
    return {}


working_lens = CaseType(
    id="working-lens",
    title="A working lens in the frame",
    family=FAMILY,
    level="novice",
    seconds=10,
    findings=Group(
        (
            Field(
                "lenses", "Every sphere in the frame, the working lens among them", Several(Power(), most=MOST_LENSES)
            ),
            Field("working_lens", "Which of them is the working lens", Power()),
            DISTANCE,
        )
    ),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_working_lens,
    begin=_begin_working_lens,
    steps=(
        Step(
            skills.ADD_LENSES,
            run=lambda known: {"gross": (math.fsum(known["lenses"]),)},
            says=lambda known: f"All lenses together: {together(known['lenses'], known['gross'][0])}.",
            slips=(
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=lambda known: {"gross": (math.fsum(known["lenses"]) - known["working_lens"],)},
                    says=lambda known: f"The lenses without the working lens: {signed(known['gross'][0])}.",
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_distance(
            Slip(
                skills.MISMATCH_MISSED,
                run=lambda known: {"net": tuple(g - known["working_lens"] for g in known["gross"])},
                says=lambda known: (
                    f"The working lens {signed(known['working_lens'])} taken off: {listed(known['net'])}."
                ),
                live=lambda known: abs(known["working_lens"] - working_vergence(known["distance_cm"])) > 0.02,
            ),
        ),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        f"Every meridian is neutral with these in the frame: {'; '.join(signed(p) for p in known['lenses'])}.",
        f"The {signed(known['working_lens'])} is the working lens.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda _: "What is the net sphere?",
    figure=_frame_with_working_lens,
    needs=("net-sphere",),
    sources=("a teaching page on working distance that counts the working lens inside the gross",),
)

TYPES = (distance_vergence, net_sphere, working_lens)
