"""Family A, working distance: dioptres and centimetres, gross to net, the working lens."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    COMMON_DISTANCES,
    DISTANCE,
    GROSS,
    METRES,
    NET,
    VERGENCE,
    Powers,
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
from cases.curriculum.working_distance import FAMILY
from cases.figures.distances import distance_ruler
from cases.figures.lenses import MOST_LENSES, trial_frame
from cases.notation.prescription import write_distance
from cases.notation.sums import together
from cases.optics.lens import SphCyl
from cases.optics.vergence import working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group, Several, group
from cases.procedure.figure import Figure
from cases.procedure.keys import Slip, Step, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

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
    return VERGENCE.step(
        skills.DISTANCE_IN_DIOPTRES,
        run=given(METRES)(lambda metres: 1 / metres),
        says=given(METRES, VERGENCE)(lambda metres, vergence: f"One over {metres:.3g} m is {size(vergence)} D."),
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=given(METRES)(lambda metres: metres),
                says=given(METRES, VERGENCE)(lambda metres, vergence: f"{metres:.3g} m taken as {size(vergence)} D."),
                live=given(METRES)(lambda metres: abs(metres - 1 / metres) > 0.05),
            ),
            Slip(
                skills.ALWAYS_ONE_FIFTY,
                run=given()(lambda: 1.5),
                says=given(METRES)(lambda metres: f"1.50 D taken, where {metres:.3g} m is another distance."),
                live=given(METRES)(lambda metres: abs(1.5 - 1 / metres) > 0.3),
            ),
        ),
    )


NET_SPHERE = Field("power", "Net sphere", quantities.POWER)
ONLY_NET = NET_SPHERE.by(given(NET)(lambda net: net[0]))

# --- distance to dioptres ----------------------------------------------------------------------------------------

DIOPTRES = Field("power", "Dioptres", quantities.POWER)


def _taken_as(cm: float, metres: float) -> str:
    return f"{write_distance(cm)} taken as {metres:g} m."


ALSO = Field(
    "also",
    "Also given",
    Choice((Option("nothing", "nothing"), Option("lens", "the lens at neutral"))),
    default="nothing",
)
AT_NEUTRAL = Field("gross", "Sphere in place at neutral", quantities.POWER, default=0.0)


def draw_also(chance: Chance) -> dict[str, Any]:
    """Draw whether the lens at neutral is given beside a distance, which it does not change, as in the clinic."""
    also = chance.among(("nothing", "lens", "lens", "lens"))
    return given(ALSO, AT_NEUTRAL).to(also, chance.stepped(-8, 8) if also == "lens" else 0.0)


def also_words(also: str, gross: float) -> tuple[str, ...]:
    """Say which lens is in place, where it is given."""
    return (f"Every meridian is neutral with {lens_in_place(gross, 'DS in place')}.",) if also == "lens" else ()


@given(DISTANCE, ALSO, AT_NEUTRAL).drawing
def _ruler(uid: str, cm: float, also: str, gross: float) -> Figure:
    return distance_ruler(actual_cm=cm, uid=uid, lens=SphCyl(gross) if also == "lens" and gross else None)


distance_vergence = CaseType(
    id="distance-vergence",
    title="Working distance in dioptres",
    family=FAMILY,
    level="novice",
    seconds=5,
    findings=Group((DISTANCE, ALSO, AT_NEUTRAL)),
    asks=(DIOPTRES,),
    draw=lambda chance, settings: {
        **DISTANCE.to(
            float(chance.among(COMMON_DISTANCES))
            if chance.happens(0.2)
            else chance.stepped(30, 100, 1 if settings.level == "novice" else 0.5)
        ),
        **draw_also(chance),
    },
    steps=(
        METRES.step(
            CENTIMETRES_TO_METRES,
            run=given(DISTANCE)(lambda cm: cm / 100),
            says=given(DISTANCE, METRES)(lambda cm, metres: f"{write_distance(cm)} is {metres:g} m."),
            slips=(
                Slip(
                    TENFOLD_TOO_SMALL,
                    run=given(DISTANCE)(lambda cm: cm / 10),
                    says=given(DISTANCE, METRES)(_taken_as),
                ),
                Slip(
                    TENFOLD_TOO_LARGE,
                    run=given(DISTANCE)(lambda cm: cm / 1000),
                    says=given(DISTANCE, METRES)(_taken_as),
                ),
            ),
        ),
        invert_metres(),
    ),
    answer=DIOPTRES.by(given(VERGENCE)(lambda vergence: vergence)),
    found=given(DISTANCE, ALSO, AT_NEUTRAL)(
        lambda cm, also, gross: (f"Sight hole {write_distance(cm)} from the pupil.", *also_words(also, gross))
    ),
    question=asking("How many dioptres is that distance?"),
    figure=_ruler,
    sources=("computed",),
)

# --- one meridian, gross to net ----------------------------------------------------------------------------------

ALONE = Field("gross", "Sphere that neutralised, the only lens in place", quantities.POWER)
ONE_SPHERE = given(ALONE, DISTANCE)

net_sphere = CaseType(
    id="net-sphere",
    title="Gross to net, one sphere",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=group(ONE_SPHERE),
    asks=(NET_SPHERE,),
    draw=lambda chance, settings: ONE_SPHERE.to(chance.stepped(-8, 8), pick_distance(chance, settings)),
    begin=GROSS.by(given(ALONE)(lambda sphere: (sphere,))),
    steps=(
        distance_in_dioptres(),
        take_off_distance(sign_blind(live=given(GROSS)(lambda gross: gross[0] < 0))),
    ),
    answer=ONLY_NET,
    found=ONE_SPHERE(
        lambda sphere, cm: (
            f"Every meridian is neutral with {lens_in_place(sphere, 'D, the only lens in place')}.",
            f"Sight hole {write_distance(cm)} from the pupil.",
        )
    ),
    question=asking("What is the net sphere?"),
    figure=ONE_SPHERE.drawing(lambda uid, sphere, cm: trial_frame((SphCyl(sphere),), uid=uid, distance_cm=cm)),
    needs=("distance-vergence",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("arch-1935", "computed"),
)

# --- a working lens in the cell ----------------------------------------------------------------------------------

LENSES = Field(
    "lenses", "Every sphere in the frame, the working lens among them", Several(quantities.POWER, most=MOST_LENSES)
)
WORKING_LENS = Field("working_lens", "Which of them is the working lens", quantities.POWER)
FRAME = given(LENSES, WORKING_LENS, DISTANCE)


def _draw_working_lens(chance: Chance, settings: Settings) -> dict[str, Any]:
    working, distance = pick_working_lens(chance, settings)
    others = [chance.stepped(-6, 6) for _ in range(1 if settings.level == "novice" else chance.whole(1, 3))]
    return FRAME.to(tuple(chance.shuffled([working, *others])), working, distance)


@FRAME.drawing
def _frame_with_working_lens(uid: str, lenses: Powers, working: float, cm: float) -> Figure:
    notes = {lenses.index(working): "working lens"}
    return trial_frame(tuple(SphCyl(power) for power in lenses), uid=uid, notes=notes, distance_cm=cm)


@given(LENSES, WORKING_LENS)
def _must_be_in_frame(lenses: Powers, working: float) -> None:
    if working not in lenses:
        raise BadFinding(working, "the working lens must be one of the lenses in the frame")


working_lens = CaseType(
    id="working-lens",
    title="A working lens in the frame",
    family=FAMILY,
    level="novice",
    seconds=10,
    findings=group(FRAME),
    asks=(NET_SPHERE,),
    draw=_draw_working_lens,
    holds=_must_be_in_frame,
    steps=(
        GROSS.step(
            skills.ADD_LENSES,
            run=given(LENSES)(lambda lenses: (math.fsum(lenses),)),
            says=given(LENSES, GROSS)(lambda lenses, gross: f"All lenses together: {together(lenses, gross[0])}."),
            slips=(
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=given(LENSES, WORKING_LENS)(lambda lenses, working: (math.fsum(lenses) - working,)),
                    says=given(GROSS)(lambda gross: f"The lenses without the working lens: {signed(gross[0])}."),
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_distance(
            Slip(
                skills.MISMATCH_MISSED,
                run=given(GROSS, WORKING_LENS)(lambda gross, working: tuple(g - working for g in gross)),
                says=given(WORKING_LENS, NET)(
                    lambda working, net: f"The working lens {signed(working)} taken off: {listed(net)}."
                ),
                live=given(WORKING_LENS, DISTANCE)(lambda working, cm: abs(working - working_vergence(cm)) > 0.02),
            ),
        ),
    ),
    answer=ONLY_NET,
    found=FRAME(
        lambda lenses, working, cm: (
            f"Every meridian is neutral with these in the frame: {'; '.join(map(signed, lenses))}.",
            f"The {signed(working)} is the working lens.",
            f"Sight hole {write_distance(cm)} from the pupil.",
        )
    ),
    question=asking("What is the net sphere?"),
    figure=_frame_with_working_lens,
    needs=("net-sphere",),
    sources=("working-distance-page",),
)

TYPES = (distance_vergence, net_sphere, working_lens)
