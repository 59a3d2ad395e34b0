"""Family D, lens algebra off the principal meridians: crossed cylinders, a power between, sums with other axes."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.adding_lenses import component_steps, pick_second
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.lens_algebra.cross_and_prescription import CROSS_SWAPPED, POWER_ON_AXIS, rx_to_cross
from cases.curriculum.power_vectors import AXIS_90_OUT, AXIS_PROBES
from cases.curriculum.shared_keys import ACROSS_POWER, AXES, AXIS, CYLINDER, OFF_AXIS, ON_AXIS, SHARE, SPHERE
from cases.curriculum.steps import FORM, FORM_WORDS, PRESCRIPTION, RX, as_written, degrees, pick_lens, signed
from cases.figures.lenses import power_cross, trial_frame
from cases.notation.sums import about
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.crossed_cylinders import CrossedCylinders
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given, given_all
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

CYLINDER_FOR_MERIDIAN = Skill("cylinder-for-meridian", "turning a meridian's power into a cylinder")

ANGLE_FROM_HORIZONTAL = SlipName(
    "angle-from-horizontal",
    "measured the meridian from the horizontal",
    "What counts is how far the meridian lies from the cylinder's axis, not from 180.",
)

# --- two crossed cylinders ---------------------------------------------------------------------------------------

SWAPPED_OR_AT_POWER: Pair = (
    SlipRef(POWER_ON_AXIS.id, CROSS_SWAPPED.id),
    SlipRef(CYLINDER_FOR_MERIDIAN.id, skills.AXIS_AT_POWER.id),
)
"""Either exchanges the two axes; the power cross alone shows which."""


ANGLE = Key[float]("angle", unit="°")


def _draw_crossed(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        rx = pick_lens(chance, settings)
        if rx.sphere and rx.sphere + rx.cylinder:
            return RX.to(rx.in_form(chance.among(("minus", "minus", "plus"))))


def _cylinders_words(axes: tuple[float, ...], sphere: float, across_power: float) -> str:
    first, second = axes
    return f"{signed(sphere)} × {degrees(first)} and {signed(across_power)} × {degrees(second)}"


CYLINDERS = Field("cylinders", "The two cylinders, each with its axis", CrossedCylinders())
crossed_cylinders = CaseType(
    id="crossed-cylinders",
    title="A lens as two crossed cylinders",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX,)),
    asks=(CYLINDERS,),
    draw=_draw_crossed,
    begin=rx_to_cross.begin,
    steps=(
        *rx_to_cross.steps,
        AXES.step(
            CYLINDER_FOR_MERIDIAN,
            run=given(ON_AXIS, OFF_AXIS)(lambda on_axis, off_axis: (across(on_axis), across(off_axis))),
            says=given(AXES, SPHERE, ACROSS_POWER)(
                lambda axes, sphere, across_power: (
                    f"A cylinder acts across its axis, so each power takes the other meridian for its axis: "
                    f"{_cylinders_words(axes, sphere, across_power)}."
                )
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=given(ON_AXIS, OFF_AXIS)(lambda on_axis, off_axis: (on_axis, off_axis)),
                    says=given(AXES, SPHERE, ACROSS_POWER)(
                        lambda axes, sphere, across_power: (
                            f"Each axis written along its own power: {_cylinders_words(axes, sphere, across_power)}."
                        )
                    ),
                ),
            ),
        ),
    ),
    answer=CYLINDERS.by(
        given(AXES, SPHERE, ACROSS_POWER)(
            lambda axes, sphere, across_power: CrossedCylinders.of(axes[0], sphere, across_power)
        )
    ),
    found=rx_to_cross.found,
    question=asking("Which two cylinders, their axes at right angles, make the same lens?"),
    figure=rx_to_cross.figure,
    needs=("rx-to-cross",),
    twins=(SWAPPED_OR_AT_POWER,),
    probes=(Probe(SWAPPED_OR_AT_POWER, "rx-to-cross"),),
    sources=("Definition of a cylinder's axis, ISO 13666",),
)

# --- the power along a meridian between --------------------------------------------------------------------------

ANGLES = {"novice": (30, 45, 60), "competent": (15, 30, 30, 45, 60, 60, 75)}


def _draw_oblique(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = pick_lens(chance, settings, cylinder=(1, 4)).in_form(chance.among(("minus", "minus", "plus")))
    angle = chance.whole(8, 82) if settings.level == "expert" else chance.among(ANGLES[settings.level])
    return given(RX, MERIDIAN).to(rx, axis_of(rx.axis + chance.among((-1, 1)) * angle))


def _sine(angle: float) -> float:
    return math.sin(math.radians(angle))


def _share(run: Rule[float]) -> Rule[float]:
    return run


def _share_slip(name: SlipName, run: Rule[float], words: str) -> Slip[float]:
    return Slip(
        name,
        run=_share(run),
        says=given(SHARE)(lambda share: f"{words}: {share:.3f} of the cylinder."),
        live=given(run, ANGLE)(lambda run, angle: abs(run - _sine(angle) ** 2) > 0.001),
    )


def _power_words(sphere: float, share: float, cylinder: float, power: float) -> str:
    nearly = about(power, sphere + round(share, 3) * cylinder)
    return f"{signed(sphere)} with {share:.3f} of {signed(cylinder)} makes {nearly}{signed(power)}."


MERIDIAN = Field("meridian", "Meridian asked for", quantities.MERIDIAN)
POWER = Field("power", "Power along that meridian", quantities.POWER.having(exact=0.03, tolerance=0.06))
oblique_power = CaseType(
    id="oblique-power",
    title="The power along a meridian between the principal ones",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX, MERIDIAN)),
    asks=(POWER,),
    draw=_draw_oblique,
    begin=given(SPHERE, CYLINDER).by(given(RX)(lambda rx: (rx.sphere, rx.cylinder))),
    steps=(
        ANGLE.step(
            skills.ANGLE_FROM_AXIS,
            run=given(MERIDIAN, RX)(lambda meridian, rx: axis_gap(meridian, rx.axis)),
            says=given(MERIDIAN, ANGLE, RX)(
                lambda meridian, angle, rx: (
                    f"The {degrees(meridian)} meridian lies {angle:g}° from the axis at {degrees(rx.axis)}."
                )
            ),
            slips=(
                Slip(
                    ANGLE_FROM_HORIZONTAL,
                    run=given(MERIDIAN)(lambda meridian: axis_gap(meridian, 180)),
                    says=given(ANGLE)(lambda angle: f"Measured from the horizontal: {angle:g}°."),
                    live=given(MERIDIAN, RX)(
                        lambda meridian, rx: abs(axis_gap(meridian, 180) - axis_gap(meridian, rx.axis)) > 0.5
                    ),
                ),
            ),
        ),
        SHARE.step(
            skills.SHARE_OF_CYLINDER,
            run=_share(given(ANGLE)(lambda angle: _sine(angle) ** 2)),
            says=given(ANGLE, SHARE)(
                lambda angle, share: f"The square of the sine of {angle:g}° is {share:.3f}: so much of the cylinder."
            ),
            slips=(
                _share_slip(skills.LINEAR_FRACTION, given(ANGLE)(lambda angle: angle / 90), "Angle over 90"),
                _share_slip(skills.SINE_NOT_SQUARED, given(ANGLE)(_sine), "The sine itself"),
                _share_slip(
                    skills.COSINE_FOR_SINE,
                    given(ANGLE)(lambda angle: 1 - _sine(angle) ** 2),
                    "The square of the cosine",
                ),
            ),
        ),
        POWER.step(
            skills.ADD_SHARE,
            run=given(SPHERE, SHARE, CYLINDER)(lambda sphere, share, cylinder: sphere + share * cylinder),
            says=given(SPHERE, SHARE, CYLINDER, POWER)(_power_words),
            slips=(
                Slip(
                    skills.SHARE_ALONE,
                    run=given(SHARE, CYLINDER)(lambda share, cylinder: share * cylinder),
                    says=given(POWER)(lambda power: f"The share alone: {signed(power)}."),
                    live=given(SPHERE)(lambda sphere: sphere != 0),
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=given(SPHERE, SHARE, CYLINDER)(lambda sphere, share, cylinder: sphere - share * cylinder),
                    says=given(POWER)(lambda power: f"The share taken away: {signed(power)}."),
                    live=given(SHARE)(lambda share: share > 0.001),
                ),
            ),
        ),
    ),
    answer=as_found(POWER),
    found=rx_to_cross.found,
    question=given(MERIDIAN)(
        lambda meridian: f"What is the power of this lens along the {degrees(meridian)} meridian, to 0.01 D?"
    ),
    figure=given(RX, MERIDIAN).drawing(lambda uid, rx, meridian: power_cross(rx, asked_meridian=meridian, uid=uid)),
    needs=("rx-to-cross",),
    sources=("The sine-squared law, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory)",),
)

# --- the sum of two lenses with other axes -----------------------------------------------------------------------


def _draw_sum(chance: Chance, settings: Settings) -> dict[str, Any]:
    first = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3.0))
    second = pick_second(chance, settings, first, cylinder=(0.75, 2.5))
    forms = ("minus", "plus") if settings.level == "expert" else ("minus",)
    return given(FIRST, SECOND, FORM).to(first, second.in_form(chance.among(forms)), settings.form)


FIRST = Field("first", "First lens", Lens())
SECOND = Field("second", "Second lens", Lens())
crossed_sum = CaseType(
    id="crossed-sum",
    title="Adding two lenses whose axes differ",
    family=FAMILY,
    level="expert",
    seconds=90,
    findings=Group((FIRST, SECOND, FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw_sum,
    steps=component_steps(),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given_all([FIRST, SECOND])(lambda *lenses: tuple(f"In the frame: {as_written(lens)}." for lens in lenses)),
    question=given(FORM)(lambda form: f"Which single lens do the two make, to 0.01 D, in {FORM_WORDS[form]}?"),
    figure=given(FIRST, SECOND).drawing(lambda uid, first, second: trial_frame((first, second), uid=uid)),
    needs=("spherical-equivalent", "transpose", "oblique-power"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",),
)

TYPES = (crossed_cylinders, oblique_power, crossed_sum)
