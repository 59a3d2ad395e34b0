"""Family E, askew: what looking off the axis adds to an eye, and what tilting adds to a trial lens."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

from cases.curriculum import skills
from cases.curriculum.drawn_eyes import STRONG, first_fitting
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.sighting import FAMILY
from cases.curriculum.sighting.sighting_angle import (
    ANGLE,
    OFFSET,
    OFFSET_OR_PERCENT,
    angle_steps,
)
from cases.curriculum.steps import DISTANCE, FORM, FORM_WORDS, degrees, lens_words, pick_any_distance, signed, size
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.lines_of_sight import sighting_plan
from cases.figures.seats import above_the_gaze
from cases.figures.tilted_lens import tilted_lens as draw_tilted_lens
from cases.notation.prescription import rounded_power, write_distance
from cases.notation.sums import about
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import WIDEST_ANGLE, astigmatism_band
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

AXIS_OFF_AXIS = Skill("axis-off-axis", "placing the cylinder that looking off the axis adds")
SIZE_OFF_AXIS = Skill("size-off-axis", "judging how much looking off the axis adds")
TILT_SPHERE = Skill("tilt-sphere", "finding the sphere of a tilted lens")
TILT_CYLINDER = Skill("tilt-cylinder", "finding the cylinder of a tilted lens")

AXIS_ALONG_OFFSET = SlipName(
    "axis-along-offset",
    "laid the axis along the direction in which you stood off",
    "The meridian along the offset becomes the more myopic. A minus cylinder acts there, so its axis lies across: "
    "90 when you stand to the side, 180 when you stand above.",
)
OFF_AXIS_SPHERE = SlipName(
    "off-axis-as-sphere",
    "took the error for a sphere",
    "Looking askew through the eye is astigmatism: one meridian changes much more than the other. The mean sphere has "
    "no direction common to all eyes.",
)
IN_PROPORTION = SlipName(
    "off-axis-in-proportion",
    "let the error grow in proportion to the angle",
    "It grows with the square of the angle: twice the angle gives about four times the error.",
    ("off-axis-optics", "liu-thibos-2017"),
)
SPHERE_UNTILTED = SlipName(
    "tilted-sphere-unchanged",
    "left the sphere as it is marked",
    "Tilting strengthens the sphere a little as well: multiply it by 1 + sin²θ/3.",
)
THIRD_LEFT_OUT = SlipName(
    "third-left-out",
    "left out the third",
    "Only a third of sin²θ is added to the sphere, since the glass has an index of about 1.5.",
)
TILT_SINE_NOT_SQUARED = SlipName(
    "tilt-sine-not-squared", "did not square the sine", "The sphere grows by a third of sin²θ: square the sine."
)
TILT_TANGENT_NOT_SQUARED = SlipName(
    "tilt-tangent-not-squared",
    "did not square the tangent",
    "The cylinder is the new sphere times tan²θ: square the tangent.",
)
INDUCED_SIGN = SlipName(
    "induced-cylinder-sign",
    "gave the added cylinder the other sign than the lens",
    "Tilting strengthens a lens in both meridians, so the cylinder has the sign of the lens: minus for minus.",
)
AXIS_ACROSS_TILT = SlipName(
    "axis-across-tilt",
    "laid the axis across the axis of tilt",
    "The meridian that swings gains more, so the cylinder acts there, and its axis lies along the axis of tilt.",
)

# --- what looking off the axis adds ------------------------------------------------------------------------------

DIRECTIONS = Choice((Option("side", "to the side"), Option("above", "above")))
EFFECTS = Choice(
    (
        Option(
            "axis-90",
            "a minus cylinder, axis 90",
            "you are off to the side: the horizontal meridian becomes the more myopic",
        ),
        Option(
            "axis-180",
            "a minus cylinder, axis 180",
            "you are off above or below: the vertical meridian becomes the more myopic",
        ),
        Option(
            "sphere",
            "a sphere, the same in every meridian",
            "never: looking askew changes the meridian in which you are off more than the other",
        ),
    )
)
SIZES = Choice(
    (
        Option(
            "least",
            "no more than 0.25 D",
            "the angle is so small that even the widest of living eyes give no more than that",
        ),
        Option(
            "small",
            "more than 0.25, up to 0.70 D",
            "the widest of living eyes give between 0.25 and 0.70 D at that angle",
        ),
        Option(
            "middling",
            "more than 0.70, up to 1.40 D",
            "the widest of living eyes give between 0.70 and 1.40 D at that angle",
        ),
        Option("large", "more than 1.40 D", "the widest of living eyes give more than 1.40 D at that angle"),
    )
)
_UP_TO = (("least", 0.25), ("small", 0.7), ("middling", 1.4), ("large", math.inf))
"""Up to which upper end of the band of a schematic eye, in D, each size goes."""

SQUARE_TO = {"side": "axis-90", "above": "axis-180"}
ALONG = {"side": "axis-180", "above": "axis-90"}

DIRECTION = Field("direction", "Direction of the sight hole's offset", DIRECTIONS, default="side")
EFFECT = Field("effect", "What it adds to the finding", EFFECTS)
SIZE = Field("size", "At most, in a usual eye, about", SIZES)


def size_for(most: float) -> str:
    """Return the id of the size whose band ends at about `most` D, without sign."""
    return next(amount for amount, end in _UP_TO if most <= end)


@lru_cache(maxsize=256)
def _band(angle: float) -> tuple[float, float]:
    return astigmatism_band(min(angle, WIDEST_ANGLE))


@given(ANGLE, SIZE)
def _size_words(angle: float, amount: str) -> str:
    least, most = _band(angle)
    reach = f"{size(least)} to {size(most)} D" if angle <= WIDEST_ANGLE else f"{size(least)} D and more"
    return (
        f"At {quantities.ANGLE.write(angle)} schematic eyes, with the threefold scatter of living ones, give {reach}. "
        f"At most: {SIZES.write(amount)}. Move in line; do not correct for it."
    )


@given(ANGLE)
def _usual(angle: float) -> str:
    return size_for(_band(angle)[1])


@given(ANGLE)
def _in_proportion(angle: float) -> str:
    return size_for(_band(5.0)[1] * angle / 5)


def _draw_off_axis(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_any_distance(chance, settings)
    aimed = chance.among((4, 5, 10, 10, 15, 20)) + chance.stepped(-0.5, 0.5, 0.25)
    return given(OFFSET, DIRECTION, DISTANCE).to(
        round(2 * distance * math.tan(math.radians(aimed))) / 2, chance.among(("side", "above")), distance
    )


@given(DIRECTION, OFFSET, DISTANCE).drawing
def _where_you_stand(uid: str, direction: str, offset_cm: float, distance_cm: float) -> Figure:
    draw = sighting_plan if direction == "side" else above_the_gaze
    return draw(offset_cm=offset_cm, distance_cm=distance_cm, uid=uid)


off_axis_effect = CaseType(
    id="off-axis-effect",
    title="What looking off the axis adds",
    family=FAMILY,
    level="expert",
    seconds=30,
    findings=Group((OFFSET, DIRECTION, DISTANCE)),
    asks=(ANGLE, EFFECT, SIZE),
    draw=_draw_off_axis,
    steps=(
        *angle_steps(),
        EFFECT.step(
            AXIS_OFF_AXIS,
            run=given(DIRECTION)(lambda direction: SQUARE_TO[direction]),
            says=given(DIRECTION, EFFECT)(
                lambda direction, effect: (
                    f"The meridian along the offset, the {'180' if direction == 'side' else '90'}, becomes "
                    f"the more myopic: {EFFECTS.write(effect)}."
                )
            ),
            slips=(
                Slip(
                    AXIS_ALONG_OFFSET,
                    run=given(DIRECTION)(lambda direction: ALONG[direction]),
                    says=given(EFFECT)(lambda effect: f"The axis laid along the offset: {EFFECTS.write(effect)}."),
                ),
                Slip(
                    OFF_AXIS_SPHERE,
                    run=given()(lambda: "sphere"),
                    says=given()(lambda: "Taken as the same in every meridian."),
                ),
            ),
        ),
        SIZE.step(
            SIZE_OFF_AXIS,
            run=_usual,
            says=_size_words,
            slips=(
                Slip(
                    IN_PROPORTION,
                    run=_in_proportion,
                    says=given(SIZE)(lambda amount: f"In proportion to the angle, at most: {SIZES.write(amount)}."),
                    live=given(_in_proportion, _usual)(lambda in_proportion, usual: in_proportion != usual),
                ),
            ),
        ),
    ),
    answer=as_found(ANGLE, EFFECT, SIZE),
    found=given(OFFSET, DIRECTION, DISTANCE)(
        lambda offset_cm, direction, distance_cm: (
            f"The sight hole is {write_distance(offset_cm)} to the side of the patient's line of gaze."
            if direction == "side"
            else f"The sight hole is {write_distance(offset_cm)} above the patient's line of gaze.",
            f"Sight hole {write_distance(distance_cm)} from the pupil, along the gaze.",
        )
    ),
    question=asking(
        "How many degrees off the visual axis is that (to 0.1°), what does it add to the finding, and how much at "
        "most? The most is what schematic eyes give with the scatter of living ones."
    ),
    figure=_where_you_stand,
    needs=("sighting-angle",),
    errors={OFFSET.name: 0.25, "distance_cm": 1.0},
    twins=(OFFSET_OR_PERCENT,),
    probes=(Probe(OFFSET_OR_PERCENT, "sighting-angle"),),
    sources=("off-axis-optics", "mohd-nor", "jackson-2004", "pacific-1985"),
)

# --- a trial lens that stands askew ------------------------------------------------------------------------------

TILT = Field("tilt", "Through how many degrees the lens is tilted", quantities.ANGLE.having(low=0.0, high=40))
TILT_AXIS = Field("tilt_axis", "Meridian about which it is tilted", quantities.AXIS, default=180.0)
POWER = Field("power", "Marked power of the lens, a sphere", quantities.POWER.having(low=-20.0, high=20.0))
PRESCRIPTION = Field("prescription", "What the tilted lens acts as", Lens(tolerance=0.06, residual=0.12))

ACROSS_OR_NOT_TURNED: Pair = (
    SlipRef(skills.PLACE_AXIS.id, AXIS_ACROSS_TILT.id),
    SlipRef(skills.TURN_AXIS.id, skills.AXIS_NOT_TURNED.id),
)
"""Where the lens must be turned into the other form, both leave the axis 90° out."""


def _draw_tilted(chance: Chance, settings: Settings) -> dict[str, Any]:
    step = 1.0 if settings.level == "novice" else 0.5
    side = chance.among(SIDES)

    def fits(patient: Patient) -> float | None:
        power = step * round(patient.eye(side).M / step)
        return power if 6 <= abs(power) <= 15 else None

    power = first_fitting(chance, settings, fits, STRONG) or chance.among((-1, 1)) * chance.stepped(6, 15, step)
    return given(POWER, TILT, TILT_AXIS, FORM).to(
        power,
        float(chance.among((10, 15, 20, 25)) if settings.level == "novice" else chance.whole(10, 25)),
        float(chance.among((180, 180, 90) if settings.level != "expert" else (180, 90, 45, 135, 20, 160))),
        settings.form,
    )


@given(TILT)
def _sin2(tilt: float) -> float:
    return math.sin(math.radians(tilt)) ** 2


@given(TILT)
def _tan2(tilt: float) -> float:
    return math.tan(math.radians(tilt)) ** 2


def _times(power: float, factor: float, result: float) -> str:
    rounded = float(rounded_power(power))
    nearly = about(result, rounded * round(factor, 4)) or about(result, rounded * factor)
    return f"{signed(power)} × {factor:.4f} = {nearly}{signed(result)}"


def _tilt_words(tilt_axis: float, tilt: float) -> str:
    way = {180.0: ", top or bottom towards the eye", 90.0: ", one side towards the eye"}.get(tilt_axis, "")
    return (
        f"It is tilted through {quantities.ANGLE.write(tilt)} about its {degrees(tilt_axis)} meridian{way}, "
        "and the eye looks through its middle."
    )


GLASS = 1.5
"""The index that Martin's rule with its third stands for."""


def exactly_tilted(power: float, tilt: float, tilt_axis: float) -> SphCyl:
    """Return what a thin sphere of index 1.5 acts as, by Coddington's equations, looked through at its middle.

    power in D, tilt (0 to 40) and tilt_axis in degrees. Martin's rule is the first term in sin²θ of the sphere; the
    cylinder, sphere times tan²θ, is exact. Source: Coddington's equations for a thin lens with the stop at the lens.
    """
    inside = math.sqrt(1 - (math.sin(math.radians(tilt)) / GLASS) ** 2)
    sphere = power * (GLASS * inside - math.cos(math.radians(tilt))) / (GLASS - 1)
    return SphCyl(sphere, sphere * math.tan(math.radians(tilt)) ** 2, tilt_axis)


_by_the_rule = given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))


@given(POWER, TILT, TILT_AXIS, _by_the_rule)
def _exact_too(power: float, tilt: float, tilt_axis: float, rule: SphCyl) -> tuple[Defensible, ...]:
    """Credit the exact lens where it differs from the rule by more than the tolerance."""
    exact = exactly_tilted(power, tilt, tilt_axis).in_form("minus" if rule.cylinder < 0 else "plus")
    if PRESCRIPTION.kind.close(exact, rule):
        return ()
    return (
        Defensible(
            PRESCRIPTION.to(exact),
            0.9,
            "It is exact for a thin lens of index 1.5, and Martin's rule was asked for.",
            "At large tilts Martin's rule falls short a little: work both and compare.",
        ),
    )


tilted_lens = CaseType(
    id="tilted-lens",
    title="A tilted trial lens",
    family=FAMILY,
    level="expert",
    seconds=45,
    findings=Group((POWER, TILT, TILT_AXIS, FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw_tilted,
    steps=(
        SPHERE.step(
            TILT_SPHERE,
            run=given(POWER, _sin2)(lambda power, sin2: power * (1 + sin2 / 3)),
            says=given(POWER, TILT, _sin2, SPHERE)(
                lambda power, tilt, sin2, sphere: (
                    f"Sphere: {signed(power)} × (1 + sin²{tilt:g}° ÷ 3) = {_times(power, 1 + sin2 / 3, sphere)}."
                )
            ),
            slips=(
                Slip(
                    SPHERE_UNTILTED,
                    run=given(POWER)(lambda power: power),
                    says=given(SPHERE)(lambda sphere: f"Sphere left at {signed(sphere)}."),
                ),
                Slip(
                    THIRD_LEFT_OUT,
                    run=given(POWER, _sin2)(lambda power, sin2: power * (1 + sin2)),
                    says=given(SPHERE)(lambda sphere: f"Sphere times 1 + sin²: {signed(sphere)}."),
                ),
                Slip(
                    TILT_SINE_NOT_SQUARED,
                    run=given(POWER, _sin2)(lambda power, sin2: power * (1 + math.sqrt(sin2) / 3)),
                    says=given(SPHERE)(lambda sphere: f"Sphere times 1 + sin ÷ 3: {signed(sphere)}."),
                ),
            ),
        ),
        CYLINDER.step(
            TILT_CYLINDER,
            run=given(SPHERE, _tan2)(lambda sphere, tan2: sphere * tan2),
            says=given(SPHERE, TILT, _tan2, CYLINDER)(
                lambda sphere, tilt, tan2, cylinder: (
                    f"Cylinder: {signed(sphere)} × tan²{tilt:g}° = {_times(sphere, tan2, cylinder)}, with the sign of "
                    "the lens."
                )
            ),
            slips=(
                Slip(
                    TILT_TANGENT_NOT_SQUARED,
                    run=given(SPHERE, _tan2)(lambda sphere, tan2: sphere * math.sqrt(tan2)),
                    says=given(CYLINDER)(lambda cylinder: f"Sphere times the tangent: {signed(cylinder)}."),
                ),
                Slip(
                    INDUCED_SIGN,
                    run=given(SPHERE, _tan2)(lambda sphere, tan2: -sphere * tan2),
                    says=given(CYLINDER)(lambda cylinder: f"The cylinder written as {signed(cylinder)}."),
                ),
            ),
        ),
        AXIS.step(
            skills.PLACE_AXIS,
            run=given(TILT_AXIS)(lambda tilt_axis: tilt_axis),
            says=given(SPHERE, CYLINDER, AXIS)(
                lambda sphere, cylinder, axis: (
                    f"The axis lies along the meridian about which it is tilted: {lens_words(sphere, cylinder, axis)}."
                )
            ),
            slips=(
                Slip(
                    AXIS_ACROSS_TILT,
                    run=given(TILT_AXIS)(across),
                    says=given(AXIS)(lambda axis: f"The axis laid across: {degrees(axis)}."),
                ),
            ),
        ),
        *turning_steps(needed=given(CYLINDER, FORM)(in_other_form), axis_alone=False),
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(POWER, TILT_AXIS, TILT)(
        lambda power, tilt_axis, tilt: (
            f"In the frame is one lens, marked {signed(power)} DS.",
            _tilt_words(tilt_axis, tilt),
        )
    ),
    question=given(FORM)(
        lambda form: f"What does it act as, to 0.01 D, in {FORM_WORDS[form]}? Use Martin's rule, for an index of 1.5."
    ),
    figure=given(POWER, TILT, TILT_AXIS).drawing(
        lambda uid, power, tilt, tilt_axis: draw_tilted_lens(SphCyl(power), tilt=tilt, tilt_axis=tilt_axis, uid=uid)
    ),
    needs=("frame-net",),
    defensible=_exact_too,
    twins=(ACROSS_OR_NOT_TURNED,),
    probes=(Probe(ACROSS_OR_NOT_TURNED, "transpose"),),
    sources=("tilt-lecture",),
)

TYPES = (off_axis_effect, tilted_lens)
