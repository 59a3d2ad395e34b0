"""Family C, a sphere in one meridian and then a cylinder on top for the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.families.meridians import FAMILY, PRESCRIPTION, must_cross
from cases.fields import Field, Group
from cases.figures_pupil import NeutralStreak, two_streaks
from cases.kinds import Meridian, Power
from cases.lens import SphCyl, across
from cases.notation import write_distance
from cases.steps import (
    ADDED,
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    LEFT_IN,
    degrees,
    distance_in_dioptres,
    lens_in_place,
    lens_words,
    off_gross,
    pick_distance,
    pick_lens,
    read_scale,
    sign_blind,
    signed,
    taken_off,
)
from cases.transposing import in_other_form, turning_steps
from cases.vergence import vergence_in_quarters
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

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
    "a published mock examination station asks for the axis along the second streak",
)

FIRST_STREAK_OR_NOT_TURNED: Pair = (
    SlipRef(skills.PLACE_AXIS.id, AXIS_AT_FIRST_STREAK.id),
    SlipRef(skills.TURN_AXIS.id, skills.AXIS_NOT_TURNED.id),
)
"""Where the lens must be turned into the other form, both leave the axis 90° out."""


def _draw_sphere_then_cyl(chance: Chance, settings: Settings) -> dict[str, Any]:
    found = settings.form if chance.happens(0.65) else ("plus" if settings.form == "minus" else "minus")
    eye = pick_lens(chance, settings).in_form(found)
    distance = pick_distance(chance, settings)
    return {
        "sphere": eye.sphere + vergence_in_quarters(distance),
        "sphere_streak": across(eye.axis),
        "cylinder": eye.cylinder,
        "cylinder_streak": eye.axis,
        "distance_cm": distance,
        "form": settings.form,
    }


def _begin_sphere_then_cyl(findings: Known) -> dict[str, Any]:
    must_cross(findings["sphere_streak"], findings["cylinder_streak"])
    return {"gross": (findings["sphere"],)}


def _on_sphere(net: Callable[[Known], dict[str, Any]]) -> Callable[[Known], dict[str, Any]]:
    """Let what came off the gross stand as the lens's sphere."""

    def run(known: Known) -> dict[str, Any]:
        values = net(known)
        return {**values, "sphere": values["net"][0]}

    return run


def slip_on_sphere(slip: Slip) -> Slip:
    """Turn a slip of taking the distance off one power into one of taking it off a lens's sphere."""
    return replace(slip, run=_on_sphere(slip.run))


def _off_cylinder(known: Known) -> dict[str, Any]:
    return {"cylinder": known["cylinder"] - known["vergence"]}


def take_off_sphere(*more: Slip) -> Step:
    """Step: `gross` (one power) beside a `cylinder` to the net `sphere`, the cylinder left as it is."""
    return Step(
        skills.TAKE_OFF_DISTANCE,
        run=_on_sphere(off_gross),
        says=taken_off,
        slips=(
            *(slip_on_sphere(slip) for slip in (LEFT_IN, ADDED, sign_blind(live=lambda known: known["gross"][0] < 0))),
            Slip(
                skills.OFF_THE_CYLINDER_AS_WELL,
                run=_on_sphere(lambda known: {**off_gross(known), **_off_cylinder(known)}),
                says=lambda known: (
                    f"Taken off sphere and cylinder: {signed(known['net'][0])} and {signed(known['cylinder'])}."
                ),
            ),
            Slip(
                skills.OFF_THE_CYLINDER_INSTEAD,
                run=_on_sphere(lambda known: {"net": known["gross"], **_off_cylinder(known)}),
                says=lambda known: f"Taken off the cylinder: {signed(known['cylinder'])}.",
            ),
            *(slip_on_sphere(slip) for slip in more),
        ),
    )


sphere_then_cyl = CaseType(
    id="sphere-then-cyl",
    title="A sphere, then a cylinder on top",
    family=FAMILY,
    level="novice",
    seconds=20,
    findings=Group(
        (
            Field("sphere", "Sphere that neutralised the first streak", Power()),
            Field("sphere_streak", "First streak", Meridian()),
            Field("cylinder", "Cylinder that then neutralised the second streak, signed", Power()),
            Field("cylinder_streak", "Second streak", Meridian()),
            DISTANCE,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_sphere_then_cyl,
    begin=_begin_sphere_then_cyl,
    steps=(
        read_scale("sphere_streak", "cylinder_streak"),
        Step(
            skills.PLACE_AXIS,
            run=lambda known: {"axis": known["cylinder_streak"]},
            says=lambda known: (
                f"The axis lies along the streak that the cylinder neutralised: {degrees(known['axis'])}."
            ),
            slips=(
                Slip(
                    AXIS_AT_FIRST_STREAK,
                    run=lambda known: {"axis": known["sphere_streak"]},
                    says=lambda known: f"The axis written along the first streak: {degrees(known['axis'])}.",
                ),
            ),
        ),
        Step(
            READ_CYLINDER,
            run=lambda known: {"cylinder": known["cylinder"]},
            says=lambda known: (
                f"The second lens is the cylinder itself, on top of the sphere: "
                f"{lens_words(known['gross'][0], known['cylinder'], known['axis'])} in all."
            ),
            slips=(
                Slip(
                    CYLINDER_AS_SPHERE,
                    run=lambda known: {"cylinder": known["cylinder"] - known["gross"][0]},
                    says=lambda known: f"The first lens taken off the second: cylinder {signed(known['cylinder'])}.",
                ),
                Slip(
                    skills.CYLINDER_SIGN_FLIPPED,
                    run=lambda known: {"cylinder": -known["cylinder"]},
                    says=lambda known: f"The cylinder written as {signed(known['cylinder'])}.",
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_sphere(),
        *turning_steps(needed=in_other_form, axis_alone=False),
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"Streak at {degrees(known['sphere_streak'])}: neutral with {lens_in_place(known['sphere'], 'DS')}.",
        f"{'With that sphere left in' if known['sphere'] else 'Still with no sphere'}, "
        f"streak at {degrees(known['cylinder_streak'])}: neutral with {signed(known['cylinder'])} DC added.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda known: f"What is the net prescription, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: two_streaks(
        NeutralStreak(known["sphere_streak"], known["sphere"]),
        NeutralStreak(known["cylinder_streak"], known["sphere"], known["cylinder"]),
        uid=uid,
    ),
    needs=("net-sphere", "streak-axis", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND, FIRST_STREAK_OR_NOT_TURNED),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"), Probe(FIRST_STREAK_OR_NOT_TURNED, "transpose")),
    sources=("a published mock examination station (22/8); open course notes on plus-cylinder retinoscopy",),
)

TYPES = (sphere_then_cyl,)
