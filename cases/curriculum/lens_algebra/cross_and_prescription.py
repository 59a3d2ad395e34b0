"""Family D, lens algebra: power cross and prescription, transposing, the spherical equivalent."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import PLACE_AXIS, choose_sphere, find_cylinder
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.shared_keys import ACROSS_POWER, AXIS, CYLINDER, MEAN, MERIDIANS, OFF_AXIS, ON_AXIS, SPHERE
from cases.curriculum.spherical_equivalent import SPHERICAL_EQUIVALENT_STEPS
from cases.curriculum.steps import (
    FORM,
    FORM_WORDS,
    NET,
    PRESCRIPTION,
    RX,
    as_written,
    degrees,
    mirrored,
    pick_lens,
    signed,
)
from cases.curriculum.transposing import turning_steps
from cases.figures.lenses import power_cross, trial_frame
from cases.notation.prescription import write_powers
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Slip, asking, given
from cases.procedure.kinds import Cross, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LAY_MERIDIANS = Skill("lay-meridians", "laying the axis and the meridian across it")
POWER_ON_AXIS = Skill("power-on-axis", "knowing the power along the axis")

CROSS_SWAPPED = SlipName(
    "cross-powers-swapped",
    "put the sphere across the axis",
    "No cylinder power acts along its own axis, so the sphere alone sits on the axis meridian.",
)


@given(RX)
def _rx_words(rx: SphCyl) -> tuple[str, ...]:
    return (as_written(rx),)


def _draw_rx(chance: Chance, settings: Settings) -> dict[str, Any]:
    return RX.to(pick_lens(chance, settings).in_form(chance.among(("minus", "minus", "plus"))))


@given(RX).drawing
def _frame(uid: str, rx: SphCyl) -> Figure:
    return trial_frame((rx,), uid=uid)


@given(RX)
def _spread(rx: SphCyl) -> tuple[float, float, float]:
    return (rx.sphere, rx.cylinder, rx.axis)


POWERS = Field("powers", "Power in each principal meridian", Cross())
rx_to_cross = CaseType(
    id="rx-to-cross",
    title="Prescription to power cross",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group((RX,)),
    asks=(POWERS,),
    draw=_draw_rx,
    begin=given(SPHERE, CYLINDER, AXIS).by(_spread),
    steps=(
        MERIDIANS.step(
            LAY_MERIDIANS,
            run=given(AXIS)(lambda axis: (axis, across(axis))),
            says=given(MERIDIANS)(
                lambda meridians: (
                    f"The principal meridians are {degrees(meridians[0])}, along the axis, and "
                    f"{degrees(meridians[1])}, across it."
                )
            ),
            slips=(
                Slip(
                    skills.SCALE_MIRRORED,
                    run=given(AXIS)(lambda axis: (mirrored(axis), across(mirrored(axis)))),
                    says=given(MERIDIANS)(
                        lambda meridians: f"Meridians laid at {degrees(meridians[0])} and {degrees(meridians[1])}."
                    ),
                ),
            ),
        ),
        given(ON_AXIS, OFF_AXIS).step(
            POWER_ON_AXIS,
            run=given(MERIDIANS)(lambda meridians: (meridians[0], meridians[1])),
            says=given(ON_AXIS, SPHERE)(
                lambda on_axis, sphere: (
                    f"A cylinder has no power along its axis, so {degrees(on_axis)} holds the sphere "
                    f"alone: {signed(sphere)}."
                )
            ),
            slips=(
                Slip(
                    CROSS_SWAPPED,
                    run=given(MERIDIANS)(lambda meridians: (meridians[1], meridians[0])),
                    says=given(ON_AXIS)(lambda on_axis: f"The sphere put on {degrees(on_axis)}, across the axis."),
                ),
            ),
        ),
        ACROSS_POWER.step(
            skills.POWER_ACROSS_AXIS,
            run=given(SPHERE, CYLINDER)(lambda sphere, cylinder: sphere + cylinder),
            says=given(OFF_AXIS, ACROSS_POWER)(
                lambda off_axis, across_power: (
                    f"Across the axis, at {degrees(off_axis)}, sphere and cylinder act together: "
                    f"{signed(across_power)}."
                )
            ),
            slips=(
                Slip(
                    skills.CYLINDER_ALONE,
                    run=given(CYLINDER)(lambda cylinder: cylinder),
                    says=given(OFF_AXIS, ACROSS_POWER)(
                        lambda off_axis, across_power: (
                            f"The cylinder alone at {degrees(off_axis)}: {signed(across_power)}."
                        )
                    ),
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=given(SPHERE, CYLINDER)(lambda sphere, cylinder: sphere - cylinder),
                    says=given(OFF_AXIS, ACROSS_POWER)(
                        lambda off_axis, across_power: (
                            f"The cylinder taken away at {degrees(off_axis)}: {signed(across_power)}."
                        )
                    ),
                ),
            ),
        ),
    ),
    answer=POWERS.by(
        given(ON_AXIS, SPHERE, ACROSS_POWER)(
            lambda on_axis, sphere, across_power: SphCyl.from_meridians(on_axis, sphere, across_power)
        )
    ),
    found=_rx_words,
    question=asking("What is the power in each of the two principal meridians?"),
    figure=_frame,
    needs=("streak-axis",),
    sources=("Definition of a cylinder's axis, ISO 13666",),
)


def _draw_cross(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings).in_form(chance.among(("minus", "plus")))
    return given(POWERS, FORM).to(lens, settings.form)


cross_to_rx = CaseType(
    id="cross-to-rx",
    title="Power cross to prescription",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group(
        (
            POWERS,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_cross,
    begin=given(NET, MERIDIANS).by(
        given(POWERS)(
            lambda powers: ((powers.sphere, powers.sphere + powers.cylinder), (powers.axis, across(powers.axis)))
        )
    ),
    steps=(choose_sphere(), find_cylinder(), PLACE_AXIS),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(POWERS)(
        lambda powers: (
            write_powers(
                (
                    (powers.axis, powers.sphere),
                    (across(powers.axis), powers.sphere + powers.cylinder),
                )
            ),
        )
    ),
    question=given(FORM)(lambda form: f"What prescription is that, in {FORM_WORDS[form]}?"),
    figure=given(POWERS).drawing(lambda uid, powers: power_cross(powers, uid=uid)),
    needs=("rx-to-cross",),
    sources=("Definition of sphere, cylinder and axis, ISO 13666",),
)

PRESCRIPTION_ASKED = Field("prescription", "The same lens in the other form", Lens())
transpose = CaseType(
    id="transpose",
    title="Transposing",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group((RX,)),
    asks=(PRESCRIPTION_ASKED,),
    draw=_draw_rx,
    begin=given(SPHERE, CYLINDER, AXIS).by(_spread),
    steps=turning_steps(),
    answer=PRESCRIPTION_ASKED.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=_rx_words,
    question=given(RX)(lambda rx: f"Write the same lens in {FORM_WORDS['plus' if rx.cylinder < 0 else 'minus']}."),
    figure=_frame,
    form=given(RX)(lambda rx: "plus" if rx.cylinder < 0 else "minus"),
    form_matters=True,
    sources=("NFOS optician course, module 8",),
)

POWER = Field("power", "Spherical equivalent", quantities.POWER.having(tolerance=0.06))
spherical_equivalent = CaseType(
    id="spherical-equivalent",
    title="The spherical equivalent",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((RX,)),
    asks=(POWER,),
    draw=_draw_rx,
    begin=given(SPHERE, CYLINDER).by(given(RX)(lambda rx: (rx.sphere, rx.cylinder))),
    steps=SPHERICAL_EQUIVALENT_STEPS,
    answer=POWER.by(given(MEAN)(lambda mean: mean)),
    found=_rx_words,
    question=asking("What is the spherical equivalent, to an eighth of a dioptre?"),
    figure=_frame,
    needs=("transpose",),
    sources=("Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367 (M)",),
)

TYPES = (transpose, spherical_equivalent, rx_to_cross, cross_to_rx)
