"""Family D, lens algebra off the principal meridians: crossed cylinders, a power between, sums with other axes."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.crossed import CrossedCylinders
from cases.families.algebra import CROSS_SWAPPED, FAMILY, POWER_ON_AXIS, rx_to_cross
from cases.families.vectors import AXIS_90_OUT, AXIS_PROBES, component_steps
from cases.fields import Field, Group
from cases.figures_lenses import power_cross, trial_frame
from cases.kinds import Lens, Meridian, Power
from cases.lens import SphCyl, across, axis_gap, axis_of
from cases.steps import FORM, FORM_WORDS, RX, as_written, degrees, pick_lens, signed
from cases.sums import about
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

PRESCRIPTION = Field("prescription", "Prescription", Lens())

CYLINDER_FOR_MERIDIAN = Skill("cylinder-for-meridian", "turning a meridian's power into a cylinder")
ANGLE_FROM_AXIS = Skill("angle-from-axis", "measuring a meridian from the axis")
SHARE_OF_CYLINDER = Skill("share-of-cylinder", "finding a cylinder's share along a meridian")
ADD_SHARE = Skill("add-share", "adding the cylinder's share to the sphere")

ANGLE_FROM_HORIZONTAL = SlipName(
    "angle-from-horizontal",
    "measured the meridian from the horizontal",
    "What counts is how far the meridian lies from the cylinder's axis, not from 180.",
)
SINE_NOT_SQUARED = SlipName(
    "sine-not-squared",
    "took the sine without squaring it",
    "Square the sine: half of the cylinder acts at 45°, a quarter at 30°.",
)
COSINE_FOR_SINE = SlipName(
    "cosine-for-sine",
    "took the cosine for the sine",
    "Check the two ends: none of the cylinder along its axis, all of it across.",
)
SHARE_ALONE = SlipName(
    "share-without-sphere",
    "gave the cylinder's share without the sphere",
    "The sphere acts in every meridian, so it belongs to the sum.",
)

# --- two crossed cylinders ---------------------------------------------------------------------------------------

SWAPPED_OR_AT_POWER: Pair = (
    SlipRef(POWER_ON_AXIS.id, CROSS_SWAPPED.id),
    SlipRef(CYLINDER_FOR_MERIDIAN.id, skills.AXIS_AT_POWER.id),
)
"""Either exchanges the two axes; the power cross alone shows which."""


def _draw_crossed(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        rx = pick_lens(chance, settings)
        if rx.sphere and rx.sphere + rx.cylinder:
            return {"rx": rx.in_form(chance.among(("minus", "minus", "plus")))}


def _cylinders_words(known: Known) -> str:
    first, second = known["axes"]
    return f"{signed(known['sphere'])} × {degrees(first)} and {signed(known['across_power'])} × {degrees(second)}"


crossed_cylinders = CaseType(
    id="crossed-cylinders",
    title="A lens as two crossed cylinders",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX,)),
    asks=(Field("cylinders", "The two cylinders, each with its axis", CrossedCylinders()),),
    draw=_draw_crossed,
    begin=rx_to_cross.begin,
    steps=(
        *rx_to_cross.steps,
        Step(
            CYLINDER_FOR_MERIDIAN,
            run=lambda known: {"axes": (across(known["on_axis"]), across(known["off_axis"]))},
            says=lambda known: (
                f"A cylinder acts across its axis, so each power takes the other meridian for its axis: "
                f"{_cylinders_words(known)}."
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=lambda known: {"axes": (known["on_axis"], known["off_axis"])},
                    says=lambda known: f"Each axis written along its own power: {_cylinders_words(known)}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {
        "cylinders": CrossedCylinders.of(known["axes"][0], known["sphere"], known["across_power"]),
    },
    found=rx_to_cross.found,
    question=lambda _: "Which two cylinders, their axes at right angles, make the same lens?",
    figure=rx_to_cross.figure,
    needs=("rx-to-cross",),
    form=lambda _: None,
    twins=(SWAPPED_OR_AT_POWER,),
    probes=(Probe(SWAPPED_OR_AT_POWER, "rx-to-cross"),),
    sources=("Definition of a cylinder's axis, ISO 13666",),
)

# --- the power along a meridian between --------------------------------------------------------------------------

ANGLES = {"novice": (30, 45, 60), "competent": (15, 30, 30, 45, 60, 60, 75)}


def _draw_oblique(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = pick_lens(chance, settings, cylinder=(1, 4)).in_form(chance.among(("minus", "minus", "plus")))
    angle = chance.whole(8, 82) if settings.level == "expert" else chance.among(ANGLES[settings.level])
    return {"rx": rx, "meridian": axis_of(rx.axis + chance.among((-1, 1)) * angle)}


def _sine(known: Known) -> float:
    return math.sin(math.radians(known["angle"]))


def _share(run: Callable[[Known], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"share": run(known)}


def _share_slip(name: SlipName, run: Callable[[Known], float], words: str) -> Slip:
    return Slip(
        name,
        run=_share(run),
        says=lambda known: f"{words}: {known['share']:.3f} of the cylinder.",
        live=lambda known: abs(run(known) - _sine(known) ** 2) > 0.001,
    )


def _power_words(known: Known) -> str:
    sphere, share, cylinder, power = (known[name] for name in ("sphere", "share", "cylinder", "power"))
    nearly = about(power, sphere + round(share, 3) * cylinder)
    return f"{signed(sphere)} with {share:.3f} of {signed(cylinder)} makes {nearly}{signed(power)}."


oblique_power = CaseType(
    id="oblique-power",
    title="The power along a meridian between the principal ones",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX, Field("meridian", "Meridian asked for", Meridian()))),
    asks=(Field("power", "Power along that meridian", Power(exact=0.03, tolerance=0.06)),),
    draw=_draw_oblique,
    begin=lambda findings: {"sphere": findings["rx"].sphere, "cylinder": findings["rx"].cylinder},
    steps=(
        Step(
            ANGLE_FROM_AXIS,
            run=lambda known: {"angle": axis_gap(known["meridian"], known["rx"].axis)},
            says=lambda known: (
                f"The {degrees(known['meridian'])} meridian lies {known['angle']:g}° from the axis at "
                f"{degrees(known['rx'].axis)}."
            ),
            slips=(
                Slip(
                    ANGLE_FROM_HORIZONTAL,
                    run=lambda known: {"angle": axis_gap(known["meridian"], 180)},
                    says=lambda known: f"Measured from the horizontal: {known['angle']:g}°.",
                    live=lambda known: (
                        abs(axis_gap(known["meridian"], 180) - axis_gap(known["meridian"], known["rx"].axis)) > 0.5
                    ),
                ),
            ),
        ),
        Step(
            SHARE_OF_CYLINDER,
            run=_share(lambda known: _sine(known) ** 2),
            says=lambda known: (
                f"The square of the sine of {known['angle']:g}° is {known['share']:.3f}: so much of the cylinder."
            ),
            slips=(
                _share_slip(skills.LINEAR_FRACTION, lambda known: known["angle"] / 90, "Angle over 90"),
                _share_slip(SINE_NOT_SQUARED, _sine, "The sine itself"),
                _share_slip(COSINE_FOR_SINE, lambda known: 1 - _sine(known) ** 2, "The square of the cosine"),
            ),
        ),
        Step(
            ADD_SHARE,
            run=lambda known: {"power": known["sphere"] + known["share"] * known["cylinder"]},
            says=_power_words,
            slips=(
                Slip(
                    SHARE_ALONE,
                    run=lambda known: {"power": known["share"] * known["cylinder"]},
                    says=lambda known: f"The share alone: {signed(known['power'])}.",
                    live=lambda known: known["sphere"] != 0,
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=lambda known: {"power": known["sphere"] - known["share"] * known["cylinder"]},
                    says=lambda known: f"The share taken away: {signed(known['power'])}.",
                    live=lambda known: known["share"] > 0.001,
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["power"]},
    found=rx_to_cross.found,
    question=lambda known: (
        f"What is the power of this lens along the {degrees(known['meridian'])} meridian, to 0.01 D?"
    ),
    figure=lambda known, uid: power_cross(known["rx"], asked_meridian=known["meridian"], uid=uid),
    needs=("rx-to-cross",),
    form=lambda _: None,
    sources=("The sine-squared law, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory)",),
)

# --- the sum of two lenses with other axes -----------------------------------------------------------------------


def pick_second(chance: Chance, settings: Settings, first: SphCyl, *, cylinder: tuple[float, float]) -> SphCyl:
    """Draw a weak minus-cylinder lens whose axis lies 10 to 80 degrees from the first one's."""
    step = 1 if settings.level == "expert" else 5
    turn = chance.among((-1, 1)) * chance.stepped(10, 80, step)
    return SphCyl(chance.stepped(-2, 2), -chance.stepped(*cylinder), axis_of(first.axis + turn))


def _draw_sum(chance: Chance, settings: Settings) -> dict[str, Any]:
    first = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3.0))
    second = pick_second(chance, settings, first, cylinder=(0.75, 2.5))
    forms = ("minus", "plus") if settings.level == "expert" else ("minus",)
    return {"first": first, "second": second.in_form(chance.among(forms)), "form": settings.form}


crossed_sum = CaseType(
    id="crossed-sum",
    title="Adding two lenses whose axes differ",
    family=FAMILY,
    level="expert",
    seconds=90,
    findings=Group((Field("first", "First lens", Lens()), Field("second", "Second lens", Lens()), FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw_sum,
    begin=lambda _: {},
    steps=component_steps(),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: tuple(f"In the frame: {as_written(known[name])}." for name in ("first", "second")),
    question=lambda known: f"Which single lens do the two make, to 0.01 D, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: trial_frame((known["first"], known["second"]), uid=uid),
    needs=("spherical-equivalent", "transpose", "oblique-power"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",),
)

TYPES = (crossed_cylinders, oblique_power, crossed_sum)
