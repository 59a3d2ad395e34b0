"""Family C, two meridians: streak, meridian and axis; a sphere in each meridian."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, ends, find_cylinder
from cases.fields import Field, Group
from cases.figures_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.kinds import Axis, BadFinding, Lens, Meridian, Power
from cases.lens import SphCyl, across, at_right_angles
from cases.notation import write_distance
from cases.steps import (
    DISTANCE,
    FORM,
    FORM_WORDS,
    degrees,
    distance_in_dioptres,
    lens_in_place,
    listed,
    pick_axis,
    pick_distance,
    pick_lens,
    read_meridian,
    read_scale,
    sign_blind,
    signed,
    take_off_distance,
)
from cases.vergence import vergence_in_quarters
from cases.working import Known, Slip, SlipName, SlipRef, Step

FAMILY = Family("meridians", "Two meridians", 3)

STREAK = Field("streak", "Long direction of the streak", Meridian())
SPHERE = Field("sphere", "Sphere that neutralised", Power())
PRESCRIPTION = Field("prescription", "Net prescription", Lens())


OFF_ONE_MERIDIAN = SlipName(
    "off-one-meridian-only",
    "took the distance off one meridian only",
    "Both meridians hold the same working distance, and it came off one of them.",
)

SWEEP_OR_AXIS: Pair = (
    SlipRef(skills.READ_MERIDIAN.id, skills.SWEEP_FOR_STREAK.id),
    SlipRef(skills.PLACE_AXIS.id, skills.AXIS_AT_POWER.id),
)
"""Either puts the axis 90° out, so a prescription alone cannot say which it was."""


def must_cross(streak: float, other: float) -> None:
    """Hold two streaks to right angles, within a degree.

    Raises
    ------
    BadFinding
        With the direction that would be right.
    """
    if not at_right_angles(streak, other):
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
        read_meridian(),
        Step(
            skills.PLACE_AXIS,
            run=lambda known: {"axis": across(known["meridian"])},
            says=lambda known: (
                "A cylinder acts across its axis, so the axis lies "
                f"{'along your streak, ' if known['axis'] == known['streak'] else ''}at {degrees(known['axis'])}."
            ),
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
    off = vergence_in_quarters(distance)
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
        take_off_distance(
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
        choose_sphere(FIRST_TAKEN),
        find_cylinder(GROSS_AS_CYLINDER),
        PLACE_AXIS,
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"Streak at {degrees(known['first']['streak'])}: neutral with "
        f"{lens_in_place(known['first']['sphere'], 'DS alone in place')}.",
        f"Streak at {degrees(known['second']['streak'])}: neutral with "
        f"{lens_in_place(known['second']['sphere'], 'DS alone in place')}.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda known: f"What is the net prescription, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: two_streaks(
        NeutralStreak(known["first"]["streak"], known["first"]["sphere"]),
        NeutralStreak(known["second"]["streak"], known["second"]["sphere"]),
        uid=uid,
    ),
    needs=("net-sphere", "streak-axis", "cross-to-rx"),
    twins=(SWEEP_OR_AXIS,),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"),),
    sources=("a published mock examination station (8/5); a streak retinoscope's user guide",),
)

TYPES = (streak_axis, two_spheres)
