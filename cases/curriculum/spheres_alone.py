"""From a sphere found in each of two meridians, with spheres alone, to the net prescription."""

from __future__ import annotations

from cases.curriculum import skills
from cases.curriculum.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, ends, find_cylinder
from cases.curriculum.shared_keys import CYLINDER, FIRST_STREAK, MERIDIANS, SECOND_STREAK
from cases.curriculum.steps import (
    FORM,
    GROSS,
    NET,
    VERGENCE,
    Powers,
    degrees,
    distance_in_dioptres,
    listed,
    sign_blind,
    signed,
    take_off_distance,
)
from cases.optics.axes import across
from cases.procedure.chain import SlipName
from cases.procedure.keys import Rule, Slip, Step, given

STREAKS = given(FIRST_STREAK, SECOND_STREAK)


def _from_ends(sphere_less: float, other_less: float) -> Rule[Powers]:
    """Take this many times the distance off the meridian that gives the sphere, and off the other one."""

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
        "The second sphere is a total, and still includes the working distance. The cylinder is the difference "
        "between the two.",
    ),
    run=given(GROSS, NET, FORM)(lambda gross, net, form: gross[ends(net, form)[1]]),
    says=given(CYLINDER)(lambda cylinder: f"The other gross sphere written as the cylinder: {signed(cylinder)}."),
)


def spheres_to_prescription(*, shows: float = 0.02) -> tuple[Step, ...]:
    """Build the steps from two streaks as read off the dial, `gross`, `distance_cm` and `form` to a prescription.

    Reads `first_streak` and `second_streak` in degrees and `gross`, the sphere in D that was neutral with each, in the
    same order; gives the net `sphere` and `cylinder` in D and the `axis` in degrees. `shows` is of the distance's step.
    """
    return (
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
        distance_in_dioptres(shows=shows),
        take_off_distance(
            sign_blind(live=given(GROSS)(lambda gross: min(gross) < 0 < max(gross))),
            Slip(
                skills.OFF_ONE_MERIDIAN,
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
    )
