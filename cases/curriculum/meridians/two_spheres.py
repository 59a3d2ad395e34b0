"""Family C, two meridians: streak, meridian and axis; a sphere in each meridian."""

from __future__ import annotations

from typing import Any

from cases.curriculum import cross, skills
from cases.curriculum.cross import (
    AXIS,
    CYLINDER,
    FIRST_TAKEN,
    MERIDIANS,
    PLACE_AXIS,
    choose_sphere,
    ends,
    find_cylinder,
)
from cases.curriculum.meridians import FAMILY
from cases.curriculum.steps import (
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    MERIDIAN,
    NET,
    STREAK,
    VERGENCE,
    Powers,
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
from cases.figures.streak_in_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.notation.prescription import write_distance
from cases.optics.axes import across, at_right_angles
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SPHERE = Field("sphere", "Sphere that neutralised", quantities.POWER)
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

AXIS_TO_PLACE = Field(
    "axis", "Axis of a cylinder that would neutralise it", quantities.AXIS.having(exact=0.5, tolerance=2)
)

streak_axis = CaseType(
    id="streak-axis",
    title="Streak, meridian and axis",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((STREAK,)),
    asks=(MERIDIAN, AXIS_TO_PLACE),
    draw=lambda chance, settings: STREAK.to(pick_axis(chance, settings)),
    steps=(
        read_scale(STREAK),
        read_meridian(),
        AXIS_TO_PLACE.step(
            skills.PLACE_AXIS,
            run=given(MERIDIAN)(across),
            says=given(STREAK, AXIS_TO_PLACE)(
                lambda streak, axis: (
                    "A cylinder acts across its axis, so the axis lies "
                    f"{'along your streak, ' if axis == streak else ''}at {degrees(axis)}."
                )
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=given(MERIDIAN)(lambda meridian: meridian),
                    says=given(AXIS_TO_PLACE)(lambda axis: f"The axis written along that meridian, {degrees(axis)}."),
                ),
            ),
        ),
    ),
    answer=as_found(MERIDIAN, AXIS_TO_PLACE),
    found=given(STREAK)(lambda streak: (f"The streak lies along {degrees(streak)}.",)),
    question=asking("Which meridian does this streak measure, and at which axis would a cylinder neutralise it?"),
    figure=given(STREAK).drawing(lambda uid, streak: streak_in_pupil(streak, uid=uid, sweep=True)),
    sources=("open course notes: a vertical streak measures the 180 meridian",),
)

# --- a sphere in each meridian -----------------------------------------------------------------------------------

FIRST = Field("first", "First streak and its sphere", Group((STREAK, SPHERE)))
SECOND = Field("second", "Second streak and its sphere", Group((STREAK, SPHERE)))
VIEWS = given(FIRST[STREAK], FIRST[SPHERE], SECOND[STREAK], SECOND[SPHERE])
FIRST_STREAK = Key[float]("first_streak", unit="°")
SECOND_STREAK = Key[float]("second_streak", unit="°")
STREAKS = given(FIRST_STREAK, SECOND_STREAK)


def _draw_two_spheres(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings)
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    view = given(STREAK, SPHERE)
    views = [view.to(across(eye.axis), eye.sphere + off), view.to(eye.axis, eye.sphere + eye.cylinder + off)]
    first, second = chance.shuffled(views)
    return given(FIRST, SECOND, DISTANCE, FORM).to(first, second, distance, settings.form)


def _from_ends(sphere_less: float, other_less: float) -> Rule[Powers]:
    """Take so many times the distance off the meridian that gives the sphere, and off the other one."""

    def run(gross: Powers, form: str, off: float) -> Powers:
        place = ends(gross, form)[0]
        times = (sphere_less, other_less) if place == 0 else (other_less, sphere_less)
        return tuple(g - n * off for g, n in zip(gross, times, strict=True))

    return given(GROSS, FORM, VERGENCE)(run)


def _each_at(words: str) -> Rule[str]:
    return given(GROSS, MERIDIANS)(
        lambda gross, at: f"{words}: {signed(gross[0])} at {degrees(at[0])}, {signed(gross[1])} at {degrees(at[1])}."
    )


GROSS_AS_CYLINDER = Slip(
    SlipName(
        "second-gross-as-cylinder",
        "wrote the second gross sphere as the cylinder",
        "The second sphere is a total, and still holds the distance. The cylinder is the difference between the two.",
    ),
    run=given(GROSS, NET, FORM)(lambda gross, net, form: gross[ends(net, form)[1]]),
    says=given(CYLINDER)(lambda cylinder: f"The other gross sphere written as the cylinder: {signed(cylinder)}."),
)

two_spheres = CaseType(
    id="two-spheres",
    title="A sphere in each meridian",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group((FIRST, SECOND, DISTANCE, FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw_two_spheres,
    holds=given(FIRST[STREAK], SECOND[STREAK])(must_cross),
    begin=given(FIRST_STREAK, SECOND_STREAK, GROSS).by(
        VIEWS(lambda streak, sphere, other, its: (streak, other, (sphere, its)))
    ),
    steps=(
        read_scale(*STREAKS.keys),
        MERIDIANS.step(
            skills.READ_MERIDIAN,
            run=STREAKS(lambda first, second: (across(first), across(second))),
            says=_each_at("Each sphere belongs to the meridian across its streak"),
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=STREAKS(lambda first, second: (first, second)),
                    says=_each_at("Each sphere put along its streak"),
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_distance(
            sign_blind(live=given(GROSS)(lambda gross: min(gross) < 0 < max(gross))),
            Slip(
                OFF_ONE_MERIDIAN,
                run=_from_ends(1, 0),
                says=given(NET)(lambda net: f"Taken off one meridian only: {listed(net)}."),
            ),
            Slip(
                skills.OFF_THE_CYLINDER_INSTEAD,
                run=_from_ends(0, 1),
                says=given(NET)(lambda net: f"Taken off the other meridian only: {listed(net)}."),
            ),
            Slip(
                skills.OFF_THE_CYLINDER_AS_WELL,
                run=_from_ends(1, 2),
                says=given(NET)(lambda net: f"Taken off the sphere and off the cylinder: {listed(net)}."),
            ),
        ),
        choose_sphere(FIRST_TAKEN),
        find_cylinder(GROSS_AS_CYLINDER),
        PLACE_AXIS,
    ),
    answer=PRESCRIPTION.by(given(cross.SPHERE, CYLINDER, AXIS)(SphCyl)),
    found=given(FIRST[STREAK], FIRST[SPHERE], SECOND[STREAK], SECOND[SPHERE], DISTANCE)(
        lambda streak, sphere, other, its, cm: (
            f"Streak at {degrees(streak)}: neutral with {lens_in_place(sphere, 'DS alone in place')}.",
            f"Streak at {degrees(other)}: neutral with {lens_in_place(its, 'DS alone in place')}.",
            f"Sight hole {write_distance(cm)} from the pupil.",
        )
    ),
    question=given(FORM)(lambda form: f"What is the net prescription, in {FORM_WORDS[form]}?"),
    figure=VIEWS.drawing(
        lambda uid, streak, sphere, other, its: two_streaks(
            NeutralStreak(streak, sphere), NeutralStreak(other, its), uid=uid
        )
    ),
    needs=("net-sphere", "streak-axis", "cross-to-rx"),
    twins=(SWEEP_OR_AXIS,),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"),),
    sources=("a published mock examination station (8/5); a streak retinoscope's user guide",),
)

TYPES = (streak_axis, two_spheres)
