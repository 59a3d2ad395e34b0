"""Family C, a sphere in one meridian and then a cylinder on top for the other."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import must_cross, take_off_sphere
from cases.curriculum.meridians import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    NET_PRESCRIPTION,
    degrees,
    distance_in_dioptres,
    lens_in_place,
    lens_words,
    pick_distance,
    pick_lens,
    read_scale,
    signed,
)
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.streak_in_pupil import NeutralStreak, two_streaks
from cases.notation.prescription import write_distance
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Slip, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

READ_CYLINDER = Skill("read-cylinder", "taking the second lens for what it is")

CYLINDER_AS_SPHERE = SlipName(
    "cylinder-taken-for-sphere",
    "took the cylinder lens for a second sphere",
    "The second lens was already a cylinder on top of the sphere: there is nothing more to subtract.",
)
AXIS_AT_FIRST_STREAK = SlipName(
    "axis-at-first-streak",
    "wrote the axis along the first streak",
    "The axis follows the streak that you were using when the cylinder went in.",
    ("mock-streak",),
)

FIRST_STREAK_OR_NOT_TURNED: Pair = (
    SlipRef(skills.PLACE_AXIS.id, AXIS_AT_FIRST_STREAK.id),
    SlipRef(skills.TURN_AXIS.id, skills.AXIS_NOT_TURNED.id),
)
"""Where the lens must be turned into the other form, both leave the axis 90° out."""


SPHERE_FOUND = Field("sphere", "Sphere that neutralised the first streak", quantities.POWER)
SPHERE_STREAK = Field("sphere_streak", "First streak", quantities.MERIDIAN)
CYLINDER_STREAK = Field("cylinder_streak", "Second streak", quantities.MERIDIAN)
CYLINDER_FOUND = Field("cylinder", "Cylinder that then neutralised the second streak, signed", quantities.POWER)


def _draw_sphere_then_cyl(chance: Chance, settings: Settings) -> dict[str, Any]:
    found = settings.form if chance.happens(0.65) else ("plus" if settings.form == "minus" else "minus")
    eye = pick_lens(chance, settings).in_form(found)
    distance = pick_distance(chance, settings)
    return given(SPHERE_FOUND, SPHERE_STREAK, CYLINDER_FOUND, CYLINDER_STREAK, DISTANCE, FORM).to(
        eye.sphere + vergence_in_quarters(distance), across(eye.axis), eye.cylinder, eye.axis, distance, settings.form
    )


@given(SPHERE_STREAK, CYLINDER_STREAK, SPHERE_FOUND)
def _begin_sphere_then_cyl(sphere_streak: float, cylinder_streak: float, sphere: float) -> tuple[float, ...]:
    must_cross(sphere_streak, cylinder_streak)
    return (sphere,)


sphere_then_cyl = CaseType(
    id="sphere-then-cyl",
    title="A sphere, then a cylinder on top",
    family=FAMILY,
    level="novice",
    seconds=20,
    findings=Group(
        (
            SPHERE_FOUND,
            SPHERE_STREAK,
            CYLINDER_FOUND,
            CYLINDER_STREAK,
            DISTANCE,
            FORM,
        )
    ),
    asks=(NET_PRESCRIPTION,),
    draw=_draw_sphere_then_cyl,
    begin=GROSS.by(_begin_sphere_then_cyl),
    steps=(
        read_scale(SPHERE_STREAK, CYLINDER_STREAK),
        AXIS.step(
            skills.PLACE_AXIS,
            run=given(CYLINDER_STREAK)(lambda cylinder_streak: cylinder_streak),
            says=given(AXIS)(
                lambda axis: f"The axis lies along the streak that the cylinder neutralised: {degrees(axis)}."
            ),
            slips=(
                Slip(
                    AXIS_AT_FIRST_STREAK,
                    run=given(SPHERE_STREAK)(lambda sphere_streak: sphere_streak),
                    says=given(AXIS)(lambda axis: f"The axis written along the first streak: {degrees(axis)}."),
                ),
            ),
        ),
        CYLINDER.step(
            READ_CYLINDER,
            run=given(CYLINDER_FOUND)(lambda cylinder: cylinder),
            says=given(GROSS, CYLINDER, AXIS)(
                lambda gross, cylinder, axis: (
                    f"The second lens is the cylinder itself, on top of the sphere: "
                    f"{lens_words(gross[0], cylinder, axis)} in all."
                )
            ),
            slips=(
                Slip(
                    CYLINDER_AS_SPHERE,
                    run=given(CYLINDER_FOUND, GROSS)(lambda cylinder, gross: cylinder - gross[0]),
                    says=given(CYLINDER)(
                        lambda cylinder: f"The first lens taken off the second: cylinder {signed(cylinder)}."
                    ),
                ),
                Slip(
                    skills.CYLINDER_SIGN_FLIPPED,
                    run=given(CYLINDER_FOUND)(lambda cylinder: -cylinder),
                    says=given(CYLINDER)(lambda cylinder: f"The cylinder written as {signed(cylinder)}."),
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_sphere(),
        *turning_steps(needed=given(CYLINDER, FORM)(in_other_form), axis_alone=False),
    ),
    answer=NET_PRESCRIPTION.by(given(SPHERE, CYLINDER, AXIS)(SphCyl)),
    found=given(SPHERE_STREAK, SPHERE_FOUND, CYLINDER_STREAK, CYLINDER_FOUND, DISTANCE)(
        lambda sphere_streak, sphere, cylinder_streak, cylinder, distance_cm: (
            f"Streak at {degrees(sphere_streak)}: neutral with {lens_in_place(sphere, 'DS')}.",
            f"With that sphere left in, streak at {degrees(cylinder_streak)}: neutral with {signed(cylinder)} DC added."
            if sphere
            else f"With no sphere in, streak at {degrees(cylinder_streak)}: neutral with {signed(cylinder)} DC added.",
            f"Sight hole {write_distance(distance_cm)} from the pupil.",
        )
    ),
    question=given(FORM)(lambda form: f"What is the net prescription, in {FORM_WORDS[form]}?"),
    figure=given(SPHERE_STREAK, SPHERE_FOUND, CYLINDER_STREAK, CYLINDER_FOUND).drawing(
        lambda uid, sphere_streak, sphere, cylinder_streak, cylinder: two_streaks(
            NeutralStreak(sphere_streak, sphere),
            NeutralStreak(cylinder_streak, sphere, cylinder),
            uid=uid,
        )
    ),
    needs=("net-sphere", "streak-axis", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND, FIRST_STREAK_OR_NOT_TURNED),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"), Probe(FIRST_STREAK_OR_NOT_TURNED, "transpose")),
    sources=("mock-streak", "axis-in-course-notes"),
)

TYPES = (sphere_then_cyl,)
