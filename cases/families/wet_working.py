"""Family F, working under cycloplegia: plus against minus cylinders, and handing over to the subjective."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.cross import PLACE_AXIS, choose_sphere, find_cylinder
from cases.families.near import FAMILY
from cases.fields import Field, Group
from cases.figures_lenses import power_cross, trial_frame
from cases.kinds import Cross, Lens, Size
from cases.lens import SphCyl, across
from cases.movements import MOVEMENTS, movement_for
from cases.notation import write_distance, write_power
from cases.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    DROPS,
    DROPS_CAUTION,
    FORM,
    FORM_WORDS,
    as_written,
    degrees,
    distance_in_dioptres,
    pick_distance,
    pick_lens,
    sign_blind,
    signed,
    size,
    take_off_distance,
)
from cases.transposing import in_other_form, turning_steps
from cases.vergence import vergence_in_quarters
from cases.working import Known, Skill, Slip, SlipName, Step

START_FOG = Skill("start-fog", "setting the fog from which the subjective starts")

FOG_LEFT_OUT = SlipName(
    "start-fog-left-out",
    "left the fog out",
    "An eye that can accommodate starts its subjective fogged, or it takes minus that it does not need.",
)
FOG_UNDER_DROPS = SlipName(
    "fog-under-cycloplegia",
    "fogged an eye whose accommodation is out",
    "With accommodation out there is nothing for a fog to relax: start from the net itself.",
)
FOG_SUBTRACTED = SlipName(
    "start-fog-subtracted",
    "took the fog off",
    "Fog is plus. Taking it off over-minuses the eye from the start.",
)

# --- plus or minus cylinders -------------------------------------------------------------------------------------


def _draw_working(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings, sphere=(-4, 8))
    return {"powers": lens.in_form(chance.among(("minus", "plus"))), "form": chance.among(("minus", "plus"))}


cylinder_working = CaseType(
    id="cylinder-working",
    title="Working with plus or with minus cylinders",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group(
        (
            Field("powers", "Spheres that would neutralise each meridian, alone in place", Cross()),
            Field("form", "Cylinders at hand", FORM.kind, default="minus"),
        )
    ),
    asks=(
        Field("movement", "Movement in the second meridian, once the first is neutral", MOVEMENTS),
        Field("frame", "Lenses in the frame when both are neutral", Lens()),
    ),
    draw=_draw_working,
    begin=lambda findings: {
        "net": (findings["powers"].sphere, findings["powers"].sphere + findings["powers"].cylinder),
        "meridians": (findings["powers"].axis, across(findings["powers"].axis)),
    },
    steps=(
        choose_sphere(),
        Step(
            skills.POWER_TO_MOVEMENT,
            run=lambda known: {"movement": movement_for(known["far_end"] - known["near_end"])},
            says=lambda known: (
                f"With that in place the other meridian still wants {signed(known['far_end'] - known['near_end'])}: "
                f"{known['movement']}, which a {known['form']} cylinder cures."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"movement": movement_for(known["near_end"] - known["far_end"])},
                    says=lambda known: f"The other way round: {known['movement']}.",
                    live=lambda known: movement_for(known["near_end"] - known["far_end"]) != "neutral",
                ),
            ),
        ),
        find_cylinder(),
        PLACE_AXIS,
    ),
    answer=lambda known: {
        "movement": known["movement"],
        "frame": SphCyl(known["sphere"], known["cylinder"], known["axis"]),
    },
    found=lambda known: (
        f"Alone in place, {signed(known['powers'].sphere)} DS would make the {degrees(known['powers'].axis)} meridian "
        f"neutral, and {write_power(known['powers'].sphere + known['powers'].cylinder)} DS the "
        f"{degrees(across(known['powers'].axis))} meridian.",
        f"You work with {known['form']} cylinders: sphere first, then a cylinder on top. Nothing has come off for the "
        "distance yet.",
    ),
    question=lambda _: (
        "With sphere alone you first make neutral the meridian that this way of working begins with. Which movement is "
        "then left in the other, and what stands in the frame when both are neutral?"
    ),
    figure=lambda known, uid: power_cross(known["powers"], uid=uid),
    needs=("cross-to-rx", "next-lens"),
    sources=(
        "Order of the meridians with either cylinder: common practice, no published source; open course notes on "
        "plus-cylinder retinoscopy",
    ),
)

# --- handing over to the subjective ------------------------------------------------------------------------------

_OTHER_FORM = {"minus": "plus", "plus": "minus"}


def _draw_hand_over(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-4, 7))
    distance = pick_distance(chance, settings)
    gross = eye + SphCyl(vergence_in_quarters(distance))
    return {
        "gross": gross.in_form(_OTHER_FORM[settings.form]),
        "distance_cm": distance,
        "drops": chance.among(("none", "working")),
        "fog": settings.norm("subjective-start-fog"),
        "form": settings.form,
    }


def _off_sphere(cylinder_too: float, sphere: float) -> Any:
    def run(known: Known) -> dict[str, Any]:
        off = known["vergence"]
        return {"net": (known["gross"][0] - sphere * off,), "cylinder": known["cylinder"] - cylinder_too * off}

    return run


def _fogged(times: float) -> Any:
    return lambda known: {"sphere": known["net"][0] + times * known["fog"]}


def _fog_words(known: Known) -> str:
    if known["drops"] == "working":
        return f"Accommodation is out, so no fog is needed: sphere {signed(known['sphere'])}."
    return f"Fog by {size(known['fog'])}, since the eye can accommodate: sphere {signed(known['sphere'])}."


hand_over = CaseType(
    id="hand-over",
    title="Handing over to the subjective",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group(
        (
            Field("gross", "Lenses in the frame at neutral, as one", Lens()),
            DISTANCE,
            Field("drops", "Cycloplegic drops", DROPS, default="none"),
            Field(
                "fog",
                "Fog from which the clinic starts an eye that can accommodate",
                Size(high=3.0),
                default=1.0,
            ),
            FORM,
        )
    ),
    asks=(Field("prescription", "Lens with which the subjective starts", Lens()),),
    draw=_draw_hand_over,
    begin=lambda findings: {
        "gross": (findings["gross"].sphere,),
        "cylinder": findings["gross"].cylinder,
        "axis": findings["gross"].axis,
    },
    steps=(
        distance_in_dioptres(),
        take_off_distance(
            sign_blind(live=lambda known: known["gross"][0] < 0),
            Slip(
                skills.OFF_THE_CYLINDER_AS_WELL,
                run=_off_sphere(1, 1),
                says=lambda known: (
                    f"Taken off sphere and cylinder: {signed(known['net'][0])} and {signed(known['cylinder'])}."
                ),
            ),
            Slip(
                skills.OFF_THE_CYLINDER_INSTEAD,
                run=_off_sphere(1, 0),
                says=lambda known: f"Taken off the cylinder: {signed(known['cylinder'])}.",
            ),
        ),
        Step(
            START_FOG,
            run=lambda known: _fogged(0 if known["drops"] == "working" else 1)(known),
            says=_fog_words,
            slips=(
                Slip(
                    FOG_LEFT_OUT,
                    run=_fogged(0),
                    says=lambda known: f"No fog: sphere {signed(known['sphere'])}.",
                    live=lambda known: known["drops"] == "none" and known["fog"] > 0,
                ),
                Slip(
                    FOG_SUBTRACTED,
                    run=_fogged(-1),
                    says=lambda known: f"The fog taken off: sphere {signed(known['sphere'])}.",
                    live=lambda known: known["drops"] == "none" and known["fog"] > 0,
                ),
                Slip(
                    FOG_UNDER_DROPS,
                    run=_fogged(1),
                    says=lambda known: f"Fogged all the same: sphere {signed(known['sphere'])}.",
                    live=lambda known: known["drops"] == "working" and known["fog"] > 0,
                ),
            ),
        ),
        *turning_steps(needed=in_other_form),
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"In the frame at neutral: {as_written(known['gross'])}, nothing else.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
        f"Cycloplegic drops: {DROPS.write(known['drops'])}."
        + (f" {DROPS_CAUTION}" if known["drops"] == "working" else ""),
        f"The subjective is done with {known['form']} cylinders. Where the eye can accommodate, the clinic starts it "
        f"{size(known['fog'])} D fogged.",
    ),
    question=lambda known: f"With which lens does the subjective start, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: trial_frame((known["gross"],), uid=uid, distance_cm=known["distance_cm"]),
    form_matters=True,
    needs=("sphere-then-cyl", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=(
        "Transposing: NFOS optician course, module 8; fog at the start: common practice, no published source",
        "open course notes on plus-cylinder retinoscopy",
    ),
)

TYPES = (cylinder_working, hand_over)
