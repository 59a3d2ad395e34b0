"""Family C, two meridians: streak, meridian and axis; a sphere in each meridian."""

from __future__ import annotations

from typing import Any

from cases.curriculum import shared_keys, skills
from cases.curriculum.cross import must_cross
from cases.curriculum.meridians import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, FIRST_STREAK, SECOND_STREAK
from cases.curriculum.spheres_alone import spheres_to_prescription
from cases.curriculum.steps import (
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    MERIDIAN,
    NET_PRESCRIPTION,
    STREAK,
    SWEEP_OR_AXIS,
    degrees,
    lens_in_place,
    pick_distance,
    pick_lens,
    read_meridian,
    read_scale,
)
from cases.figures.streak_in_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.notation.prescription import write_distance
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SPHERE = Field("sphere", "Sphere that neutralised", quantities.POWER)


# --- the streak, the meridian it measures and the axis -----------------------------------------------------------

AXIS_TO_PLACE = Field(
    "axis", "Axis of a cylinder that would neutralise it", quantities.AXIS.having(exact=0.5, tolerance=2)
)


def _pick_streak(chance: Chance) -> float:
    """Draw a whole degree that neither mirrors onto itself nor turns into itself by a right angle."""
    return chance.among([float(one) for one in range(1, 180) if one % 45])


SEEN = Choice((Option("nothing", "not given"), Option("with", "with movement"), Option("against", "against movement")))
SHOWS = Field("shows", "What this streak shows", SEEN, default="nothing")
IN_PLACE = Field("in_place", "Sphere in place", quantities.POWER, default=0.0)


def _draw_streak(chance: Chance, _: Settings) -> dict[str, Any]:
    """Draw a streak, and mostly what it shows as well, as in the clinic: neither movement nor lens turns an axis."""
    shows = chance.among(("nothing", "with", "against"))
    return given(STREAK, SHOWS, IN_PLACE).to(
        _pick_streak(chance), shows, 0.0 if shows == "nothing" else chance.stepped(-8, 8)
    )


@given(STREAK, SHOWS, IN_PLACE)
def _streak_words(streak: float, shows: str, power: float) -> tuple[str, ...]:
    lies = f"The streak lies along {degrees(streak)}."
    if shows == "nothing":
        return (lies,)
    return (lies, f"With {lens_in_place(power, 'DS in place')} it shows {shows} movement.")


streak_axis = CaseType(
    id="streak-axis",
    title="Streak, meridian and axis",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((STREAK, SHOWS, IN_PLACE)),
    asks=(MERIDIAN, AXIS_TO_PLACE),
    draw=_draw_streak,
    steps=(
        read_scale(STREAK),
        read_meridian(),
        AXIS_TO_PLACE.step(
            skills.PLACE_AXIS,
            run=given(MERIDIAN)(across),
            says=given(STREAK, AXIS_TO_PLACE)(
                lambda streak, axis: (
                    f"A cylinder acts across its axis, so the axis lies along your streak, at {degrees(axis)}."
                    if axis == streak
                    else f"A cylinder acts across its axis, so the axis lies at {degrees(axis)}."
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
    found=_streak_words,
    question=asking("Which meridian does this streak measure, and at which axis would a cylinder neutralise it?"),
    figure=given(STREAK).drawing(lambda uid, streak: streak_in_pupil(streak, uid=uid, sweep=True)),
    sources=("axis-in-course-notes",),
)

# --- a sphere in each meridian -----------------------------------------------------------------------------------

FIRST = Field("first", "First streak and its sphere", Group((STREAK, SPHERE)))
SECOND = Field("second", "Second streak and its sphere", Group((STREAK, SPHERE)))
VIEWS = given(FIRST[STREAK], FIRST[SPHERE], SECOND[STREAK], SECOND[SPHERE])


def _draw_two_spheres(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings)
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    view = given(STREAK, SPHERE)
    views = [view.to(across(eye.axis), eye.sphere + off), view.to(eye.axis, eye.sphere + eye.cylinder + off)]
    first, second = chance.shuffled(views)
    return given(FIRST, SECOND, DISTANCE, FORM).to(first, second, distance, settings.form)


two_spheres = CaseType(
    id="two-spheres",
    title="A sphere in each meridian",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group((FIRST, SECOND, DISTANCE, FORM)),
    asks=(NET_PRESCRIPTION,),
    draw=_draw_two_spheres,
    holds=given(FIRST[STREAK], SECOND[STREAK])(must_cross),
    begin=given(FIRST_STREAK, SECOND_STREAK, GROSS).by(
        VIEWS(lambda streak, sphere, other, its: (streak, other, (sphere, its)))
    ),
    steps=(
        read_scale(FIRST_STREAK, SECOND_STREAK),
        *spheres_to_prescription(),
    ),
    answer=NET_PRESCRIPTION.by(given(shared_keys.SPHERE, CYLINDER, AXIS)(SphCyl)),
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
    sources=("mock-station", "streak-guide"),
)

TYPES = (streak_axis, two_spheres)
