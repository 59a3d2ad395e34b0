"""Family F, working under cycloplegia: plus against minus cylinders, and handing over to the subjective."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import FAR_END, NEAR_END, PLACE_AXIS, choose_sphere, find_cylinder, take_off_sphere
from cases.curriculum.movements import MOVEMENTS, movement_for
from cases.curriculum.near import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, MERIDIANS, SPHERE
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    DROPS,
    DROPS_CAUTION,
    FORM,
    FORM_WORDS,
    NET,
    as_written,
    degrees,
    distance_in_dioptres,
    pick_distance,
    pick_lens,
    signed,
    size,
)
from cases.curriculum.steps import GROSS as GROSS_STEPS
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.lenses import power_cross, trial_frame
from cases.notation.prescription import write_distance, write_power
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Rule, Slip, asking, given
from cases.procedure.kinds import Cross, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

START_FOG = Skill("start-fog", "setting the fog from which the subjective starts")

FOG_LEFT_OUT = SlipName(
    "start-fog-left-out",
    "left the fog out",
    "An eye that can accommodate starts its subjective fogged, or it takes minus that it does not need.",
)
FOG_UNDER_DROPS = SlipName(
    "fog-under-cycloplegia",
    "fogged an eye whose accommodation is relaxed by drops",
    "With accommodation relaxed there is nothing for a fog to relax: start from the net itself.",
)
FOG_SUBTRACTED = SlipName(
    "start-fog-subtracted",
    "took the fog off",
    "Fog is plus. Taking it off over-minuses the eye from the start.",
)

# --- plus or minus cylinders -------------------------------------------------------------------------------------


def _draw_working(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings, sphere=(-4, 8))
    return given(POWERS, FORM_FOUND).to(lens.in_form(chance.among(("minus", "plus"))), chance.among(("minus", "plus")))


POWERS = Field("powers", "Spheres that would neutralise each meridian, alone in place", Cross())
FORM_FOUND = Field("form", "Cylinders at hand", FORM.kind, default="minus")
MOVEMENT = Field("movement", "Movement in the second meridian, once the first is neutral", MOVEMENTS)
FRAME = Field("frame", "Lenses in the frame when both are neutral", Lens())
cylinder_working = CaseType(
    id="cylinder-working",
    title="Working with plus or with minus cylinders",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group(
        (
            POWERS,
            FORM_FOUND,
        )
    ),
    asks=(
        MOVEMENT,
        FRAME,
    ),
    draw=_draw_working,
    begin=given(NET, MERIDIANS).by(
        given(POWERS)(
            lambda powers: ((powers.sphere, powers.sphere + powers.cylinder), (powers.axis, across(powers.axis)))
        )
    ),
    steps=(
        choose_sphere(),
        MOVEMENT.step(
            skills.POWER_TO_MOVEMENT,
            run=given(FAR_END, NEAR_END)(lambda far_end, near_end: movement_for(far_end - near_end)),
            says=given(FAR_END, NEAR_END, MOVEMENT, FORM_FOUND)(
                lambda far_end, near_end, movement, form: (
                    f"With that in place the other meridian still needs {signed(far_end - near_end)}: "
                    f"{movement}, which a {form} cylinder cures."
                )
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(NEAR_END, FAR_END)(lambda near_end, far_end: movement_for(near_end - far_end)),
                    says=given(MOVEMENT)(lambda movement: f"The other way round: {movement}."),
                    live=given(NEAR_END, FAR_END)(
                        lambda near_end, far_end: movement_for(near_end - far_end) != "neutral"
                    ),
                ),
            ),
        ),
        find_cylinder(),
        PLACE_AXIS,
    ),
    answer=given(MOVEMENT, FRAME).by(
        given(MOVEMENT, SPHERE, CYLINDER, AXIS)(
            lambda movement, sphere, cylinder, axis: (movement, SphCyl(sphere, cylinder, axis))
        )
    ),
    found=given(POWERS, FORM_FOUND)(
        lambda powers, form: (
            f"Alone in place, {signed(powers.sphere)} DS would make the {degrees(powers.axis)} meridian "
            f"neutral, and {write_power(powers.sphere + powers.cylinder)} DS the "
            f"{degrees(across(powers.axis))} meridian.",
            f"You work with {form} cylinders: sphere first, then a cylinder on top. Nothing has come off for the "
            "distance yet.",
        )
    ),
    question=asking(
        "With sphere alone you first make neutral the meridian that this way of working begins with. Which movement is "
        "then left in the other, and what is in the frame when both are neutral?"
    ),
    figure=given(POWERS).drawing(lambda uid, powers: power_cross(powers, uid=uid)),
    needs=("cross-to-rx", "next-lens"),
    errors={"powers": 0.25},
    sources=("axis-in-course-notes", "common-practice"),
)

# --- handing over to the subjective ------------------------------------------------------------------------------

_OTHER_FORM = {"minus": "plus", "plus": "minus"}


def _draw_hand_over(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-4, 7))
    distance = pick_distance(chance, settings)
    gross = eye + SphCyl(vergence_in_quarters(distance))
    return given(GROSS, DISTANCE, DROPS_FOUND, FOG, FORM).to(
        gross.in_form(_OTHER_FORM[settings.form]),
        distance,
        chance.among(("none", "working")),
        settings.norm("subjective-start-fog"),
        settings.form,
    )


def _fogged(times: float) -> Rule[float]:
    return given(SPHERE, FOG)(lambda sphere, fog: sphere + times * fog)


DROPS_FOUND = Field("drops", "Cycloplegic drops", DROPS, default="none")
FOG = Field(
    "fog",
    "Fog from which the clinic starts an eye that can accommodate",
    quantities.SIZE.having(high=3.0),
    default=1.0,
)


@given(DROPS_FOUND, SPHERE, FOG)
def _fog_words(drops: str, sphere: float, fog: float) -> str:
    if drops == "working":
        return f"Accommodation is relaxed, so no fog is needed: sphere {signed(sphere)}."
    return f"Fog by {size(fog)}, since the eye can accommodate: sphere {signed(sphere)}."


GROSS = Field("gross", "Lenses in the frame at neutral, as one", Lens())
PRESCRIPTION = Field("prescription", "Lens with which the subjective starts", Lens())
hand_over = CaseType(
    id="hand-over",
    title="Handing over to the subjective",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group(
        (
            GROSS,
            DISTANCE,
            DROPS_FOUND,
            FOG,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_hand_over,
    begin=given(GROSS_STEPS, CYLINDER, AXIS).by(
        given(GROSS)(lambda gross: ((gross.sphere,), gross.cylinder, gross.axis))
    ),
    steps=(
        distance_in_dioptres(),
        take_off_sphere(),
        SPHERE.step(
            START_FOG,
            run=given(SPHERE, FOG, DROPS_FOUND)(lambda sphere, fog, drops: sphere + (0 if drops == "working" else fog)),
            says=_fog_words,
            slips=(
                Slip(
                    FOG_LEFT_OUT,
                    run=_fogged(0),
                    says=given(SPHERE)(lambda sphere: f"No fog: sphere {signed(sphere)}."),
                    live=given(DROPS_FOUND, FOG)(lambda drops, fog: drops == "none" and fog > 0),
                ),
                Slip(
                    FOG_SUBTRACTED,
                    run=_fogged(-1),
                    says=given(SPHERE)(lambda sphere: f"The fog taken off: sphere {signed(sphere)}."),
                    live=given(DROPS_FOUND, FOG)(lambda drops, fog: drops == "none" and fog > 0),
                ),
                Slip(
                    FOG_UNDER_DROPS,
                    run=_fogged(1),
                    says=given(SPHERE)(lambda sphere: f"Fogged although it was not needed: sphere {signed(sphere)}."),
                    live=given(DROPS_FOUND, FOG)(lambda drops, fog: drops == "working" and fog > 0),
                ),
            ),
        ),
        *turning_steps(needed=given(CYLINDER, FORM)(in_other_form)),
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(GROSS, DISTANCE, DROPS_FOUND, FORM, FOG)(
        lambda gross, distance_cm, drops, form, fog: (
            f"In the frame at neutral: {as_written(gross)}, nothing else.",
            f"Sight hole {write_distance(distance_cm)} from the pupil.",
            f"Cycloplegic drops: {DROPS.write(drops)}." + (f" {DROPS_CAUTION}" if drops == "working" else ""),
            f"The subjective is done with {form} cylinders. Where the eye can accommodate, the clinic starts it "
            f"{size(fog)} D fogged.",
        )
    ),
    question=given(FORM)(lambda form: f"With which lens does the subjective start, in {FORM_WORDS[form]}?"),
    figure=given(GROSS, DISTANCE).drawing(
        lambda uid, gross, distance_cm: trial_frame((gross,), uid=uid, distance_cm=distance_cm)
    ),
    form_matters=True,
    needs=("sphere-then-cyl", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("computed", "nfos-8", "axis-in-course-notes", "common-practice"),
)

TYPES = (cylinder_working, hand_over)
