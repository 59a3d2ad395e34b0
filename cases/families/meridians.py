"""Family C, two meridians: streak, meridian and axis; two spheres; a sphere and then a cylinder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import MINUS_OR_PLUS
from cases.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, ends, find_cylinder
from cases.families.distance import ADDED_OR_SIGN_BLIND, DISTANCE
from cases.fields import Field, Group
from cases.figures_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.kinds import Axis, BadFinding, Lens, Power
from cases.lens import SphCyl, across, axis_gap
from cases.notation import write_distance
from cases.steps import (
    ADDED,
    FORM_WORDS,
    LEFT_IN,
    degrees,
    distance_in_dioptres,
    lens_words,
    listed,
    pick_axis,
    pick_distance,
    pick_lens,
    read_scale,
    sign_blind,
    signed,
    taken_off,
)
from cases.transposing import turning_steps
from cases.vergence import working_vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FAMILY = Family("meridians", "Two meridians", 3)

FORM = Field("form", "Cylinder form asked for", MINUS_OR_PLUS, default="minus")
STREAK = Field("streak", "Long direction of the streak", Axis())
SPHERE = Field("sphere", "Sphere that neutralised", Power())
PRESCRIPTION = Field("prescription", "Net prescription", Lens())

READ_CYLINDER = Skill("read-cylinder", "taking the second lens for what it is")

OFF_ONE_MERIDIAN = SlipName(
    "off-one-meridian-only",
    "took the distance off one meridian only",
    "Both meridians hold the same working distance, and it came off one of them.",
)
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

SWEEP_OR_AXIS: Pair = (
    SlipRef(skills.READ_MERIDIAN.id, skills.SWEEP_FOR_STREAK.id),
    SlipRef(skills.PLACE_AXIS.id, skills.AXIS_AT_POWER.id),
)
"""Either puts the axis 90° out, so a prescription alone cannot say which it was."""

FIRST_STREAK_OR_NOT_TURNED: Pair = (
    SlipRef(skills.PLACE_AXIS.id, AXIS_AT_FIRST_STREAK.id),
    SlipRef(skills.TURN_AXIS.id, skills.AXIS_NOT_TURNED.id),
)
"""Where the lens must be turned into the other form, both leave the axis 90° out."""


def must_cross(streak: float, other: float) -> None:
    """Hold two streaks to right angles, within a degree.

    Raises
    ------
    BadFinding
        With the direction that would be right.
    """
    if axis_gap(other, across(streak)) > 1:
        raise BadFinding(
            [streak, other],
            f"the streaks must be at right angles; across {degrees(streak)} lies {degrees(across(streak))}",
        )


# --- the streak, the meridian it measures and the axis -----------------------------------------------------------

streak_axis = CaseType(
    id="streak-axis",
    title="Streak, meridian and axis",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((STREAK,)),
    asks=(
        Field("meridian", "Meridian that is measured", Axis(exact=0.5, tolerance=2)),
        Field("axis", "Axis of a cylinder that would neutralise it", Axis(exact=0.5, tolerance=2)),
    ),
    draw=lambda chance, settings: {"streak": pick_axis(chance, settings)},
    begin=lambda _: {},
    steps=(
        read_scale("streak"),
        Step(
            skills.READ_MERIDIAN,
            run=lambda known: {"meridian": across(known["streak"])},
            says=lambda known: f"The sweep runs across the streak, so it is the {degrees(known['meridian'])} meridian.",
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=lambda known: {"meridian": known["streak"]},
                    says=lambda known: f"The {degrees(known['meridian'])} meridian, along the streak.",
                ),
            ),
        ),
        Step(
            skills.PLACE_AXIS,
            run=lambda known: {"axis": across(known["meridian"])},
            says=lambda known: f"A cylinder acts across its axis, so the axis lies at {degrees(known['axis'])}.",
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=lambda known: {"axis": known["meridian"]},
                    says=lambda known: f"The axis written along that meridian, {degrees(known['axis'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"meridian": known["meridian"], "axis": known["axis"]},
    found=lambda known: (f"The streak lies along {degrees(known['streak'])}.",),
    question=lambda _: "Which meridian does this streak measure, and at which axis would a cylinder neutralise it?",
    figure=lambda known, uid: streak_in_pupil(known["streak"], uid=uid, sweep=True),
    sources=("open course notes: a vertical streak measures the 180 meridian",),
)

# --- a sphere in each meridian -----------------------------------------------------------------------------------


def _draw_two_spheres(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings)
    distance = pick_distance(chance, settings)
    off = round(working_vergence(distance) * 4) / 4
    views = [
        {"streak": across(eye.axis), "sphere": eye.sphere + off},
        {"streak": eye.axis, "sphere": eye.sphere + eye.cylinder + off},
    ]
    first, second = chance.shuffled(views)
    return {"first": first, "second": second, "distance_cm": distance, "form": settings.form}


def _begin_two_spheres(findings: Known) -> dict[str, Any]:
    first, second = findings["first"], findings["second"]
    must_cross(first["streak"], second["streak"])
    return {
        "streaks": (first["streak"], second["streak"]),
        "first_streak": first["streak"],
        "second_streak": second["streak"],
        "gross": (first["sphere"], second["sphere"]),
    }


def _off_gross(known: Known) -> dict[str, Any]:
    return {"net": tuple(g - known["vergence"] for g in known["gross"])}


def _from_ends(sphere_less: float, other_less: float) -> Any:
    """Take so many times the distance off the meridian that gives the sphere, and off the other one."""

    def run(known: Known) -> dict[str, Any]:
        place = ends(known["gross"], known["form"])[0]
        times = (sphere_less, other_less) if place == 0 else (other_less, sphere_less)
        return {"net": tuple(g - n * known["vergence"] for g, n in zip(known["gross"], times, strict=True))}

    return run


def _straddles(powers: tuple[float, ...]) -> bool:
    return min(powers) < 0 < max(powers)


GROSS_AS_CYLINDER = Slip(
    SlipName(
        "second-gross-as-cylinder",
        "wrote the second gross sphere as the cylinder",
        "The second sphere is a total, and still holds the distance. The cylinder is the difference between the two.",
    ),
    run=lambda known: {"cylinder": known["gross"][ends(known["net"], known["form"])[1]]},
    says=lambda known: f"The other gross sphere written as the cylinder: {signed(known['cylinder'])}.",
)

two_spheres = CaseType(
    id="two-spheres",
    title="A sphere in each meridian",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group(
        (
            Field("first", "First streak and its sphere", Group((STREAK, SPHERE))),
            Field("second", "Second streak and its sphere", Group((STREAK, SPHERE))),
            DISTANCE,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_two_spheres,
    begin=_begin_two_spheres,
    steps=(
        read_scale("first_streak", "second_streak"),
        Step(
            skills.READ_MERIDIAN,
            run=lambda known: {"meridians": (across(known["first_streak"]), across(known["second_streak"]))},
            says=lambda known: (
                f"Each sphere belongs to the meridian across its streak: {signed(known['gross'][0])} at "
                f"{degrees(known['meridians'][0])}, {signed(known['gross'][1])} at {degrees(known['meridians'][1])}."
            ),
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=lambda known: {"meridians": (known["first_streak"], known["second_streak"])},
                    says=lambda known: (
                        f"Each sphere put along its streak: {signed(known['gross'][0])} at "
                        f"{degrees(known['meridians'][0])}, {signed(known['gross'][1])} at "
                        f"{degrees(known['meridians'][1])}."
                    ),
                ),
            ),
        ),
        distance_in_dioptres(),
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=_off_gross,
            says=taken_off,
            slips=(
                LEFT_IN,
                ADDED,
                sign_blind(live=lambda known: _straddles(known["gross"])),
                Slip(
                    OFF_ONE_MERIDIAN,
                    run=_from_ends(1, 0),
                    says=lambda known: f"Taken off one meridian only: {listed(known['net'])}.",
                ),
                Slip(
                    skills.OFF_THE_CYLINDER_INSTEAD,
                    run=_from_ends(0, 1),
                    says=lambda known: f"Taken off the other meridian only: {listed(known['net'])}.",
                ),
                Slip(
                    skills.OFF_THE_CYLINDER_AS_WELL,
                    run=_from_ends(1, 2),
                    says=lambda known: f"Taken off the sphere and off the cylinder: {listed(known['net'])}.",
                ),
            ),
        ),
        choose_sphere(FIRST_TAKEN),
        find_cylinder(GROSS_AS_CYLINDER),
        PLACE_AXIS,
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"Streak at {degrees(known['first']['streak'])}: neutral with {signed(known['first']['sphere'])} DS "
        "alone in place.",
        f"Streak at {degrees(known['second']['streak'])}: neutral with {signed(known['second']['sphere'])} DS "
        "alone in place.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda known: f"What is the net prescription, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: two_streaks(
        NeutralStreak(known["first"]["streak"], known["first"]["sphere"]),
        NeutralStreak(known["second"]["streak"], known["second"]["sphere"]),
        uid=uid,
    ),
    needs=("net-sphere", "streak-axis"),
    twins=(SWEEP_OR_AXIS,),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"),),
    sources=("a published mock examination station (8/5); a streak retinoscope's user guide",),
)

# --- a sphere, then a cylinder -----------------------------------------------------------------------------------


def _draw_sphere_then_cyl(chance: Chance, settings: Settings) -> dict[str, Any]:
    found = settings.form if chance.happens(0.65) else ("plus" if settings.form == "minus" else "minus")
    eye = pick_lens(chance, settings).in_form(found)
    distance = pick_distance(chance, settings)
    return {
        "sphere": eye.sphere + round(working_vergence(distance) * 4) / 4,
        "sphere_streak": across(eye.axis),
        "cylinder": eye.cylinder,
        "cylinder_streak": eye.axis,
        "distance_cm": distance,
        "form": settings.form,
    }


def _begin_sphere_then_cyl(findings: Known) -> dict[str, Any]:
    must_cross(findings["sphere_streak"], findings["cylinder_streak"])
    return {"gross": (findings["sphere"],)}


def _sphere_set(net: Callable[[Known], dict[str, Any]]) -> Callable[[Known], dict[str, Any]]:
    """Let what came off the gross stand as the lens's sphere."""

    def run(known: Known) -> dict[str, Any]:
        values = net(known)
        return {**values, "sphere": values["net"][0]}

    return run


def _off_cylinder(known: Known) -> dict[str, Any]:
    return {"cylinder": known["cylinder"] - known["vergence"]}


def _on_sphere(slip: Slip) -> Slip:
    return replace(slip, run=_sphere_set(slip.run))


sphere_then_cyl = CaseType(
    id="sphere-then-cyl",
    title="A sphere, then a cylinder on top",
    family=FAMILY,
    level="novice",
    seconds=20,
    findings=Group(
        (
            Field("sphere", "Sphere that neutralised the first streak", Power()),
            Field("sphere_streak", "First streak", Axis()),
            Field("cylinder", "Cylinder that then neutralised the second streak, signed", Power()),
            Field("cylinder_streak", "Second streak", Axis()),
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
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=_sphere_set(_off_gross),
            says=taken_off,
            slips=(
                _on_sphere(LEFT_IN),
                _on_sphere(ADDED),
                _on_sphere(sign_blind(live=lambda known: known["gross"][0] < 0)),
                Slip(
                    skills.OFF_THE_CYLINDER_AS_WELL,
                    run=_sphere_set(lambda known: {**_off_gross(known), **_off_cylinder(known)}),
                    says=lambda known: (
                        f"Taken off sphere and cylinder: {signed(known['net'][0])} and {signed(known['cylinder'])}."
                    ),
                ),
                Slip(
                    skills.OFF_THE_CYLINDER_INSTEAD,
                    run=_sphere_set(lambda known: {"net": known["gross"], **_off_cylinder(known)}),
                    says=lambda known: f"Taken off the cylinder: {signed(known['cylinder'])}.",
                ),
            ),
        ),
        *turning_steps(
            needed=lambda known: known["cylinder"] != 0 and (known["cylinder"] < 0) != (known["form"] == "minus"),
            axis_alone=False,
        ),
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"Streak at {degrees(known['sphere_streak'])}: neutral with {signed(known['sphere'])} DS.",
        f"With that sphere left in, streak at {degrees(known['cylinder_streak'])}: neutral with "
        f"{signed(known['cylinder'])} DC added.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda known: f"What is the net prescription, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: two_streaks(
        NeutralStreak(known["sphere_streak"], known["sphere"]),
        NeutralStreak(known["cylinder_streak"], known["sphere"], known["cylinder"]),
        uid=uid,
    ),
    needs=("net-sphere", "streak-axis"),
    twins=(ADDED_OR_SIGN_BLIND, FIRST_STREAK_OR_NOT_TURNED),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"), Probe(FIRST_STREAK_OR_NOT_TURNED, "transpose")),
    sources=("a published mock examination station (22/8); open course notes on plus-cylinder retinoscopy",),
)

TYPES = (streak_axis, two_spheres, sphere_then_cyl)
