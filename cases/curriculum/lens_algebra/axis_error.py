"""Family D, lens algebra: what a cylinder at the wrong axis leaves over."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import FORM_WORDS, as_written, degrees, pick_lens, signed, turn_between
from cases.figures.lenses import power_cross
from cases.notation.prescription import write_prescription
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import ALWAYS, Key, Rule, Slip, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

AXIS_OUT = Skill("axis-out", "finding how far an axis is out, and which way")
RESIDUAL_CYLINDER = Skill("residual-cylinder", "finding the cylinder that an axis error leaves")
RESIDUAL_SPHERE = Skill("residual-sphere", "finding the sphere that an axis error leaves")
RESIDUAL_AXIS = Skill("residual-axis", "finding where the left-over cylinder lies")

SINE_NOT_DOUBLED = SlipName(
    "residual-not-doubled",
    "took the sine of the error once instead of twice",
    "The left-over cylinder is twice the cylinder times the sine of the error: a third of it at 10°, all of it at 30°.",
    ("felipe-2011",),
)
IN_PROPORTION = SlipName(
    "residual-in-proportion",
    "took the error over 90 as the share that is left",
    "It grows much faster than that: a third of the cylinder is left at 10°, all of it at 30°.",
    ("felipe-2011",),
)
SHARE_TAKEN = SlipName(
    "share-for-residual",
    "took the cylinder's power along the right axis for what is left",
    "Sine squared gives a power along one meridian. What two cylinders leave between them is twice the sine.",
)
SPHERE_NOUGHT = SlipName(
    "residual-sphere-nought",
    "left the sphere at zero",
    "Turning a cylinder leaves the mean power alone, so the left-over lens has a sphere of half its cylinder, "
    "with the other sign.",
)
SPHERE_SAME_SIGN = SlipName(
    "residual-sphere-same-sign",
    "gave the left-over sphere the cylinder's sign",
    "The spherical equivalent stays zero, so sphere and half cylinder must cancel: give the sphere the other sign.",
)
OTHER_SIDE = SlipName(
    "residual-on-other-side",
    "laid the left-over axis on the side to which the lens had turned",
    "It lies 45° from half-way between the two axes, on the side where the axis belongs.",
)
FROM_WHERE_IT_BELONGS = SlipName(
    "residual-from-true-axis",
    "counted the 45° from where the axis belongs",
    "Count the 45° from half-way between the two axes.",
)
AT_TRUE_AXIS = SlipName(
    "residual-at-true-axis",
    "laid the left-over cylinder at the axis where the lens belongs",
    "What is left is oblique to both axes: it lies 45° from half-way between them.",
)

# --- what an axis error leaves -----------------------------------------------------------------------------------


TURNED = Key[float]("turned", unit="°")
LAID = Key[float]("residual_axis", unit="°")


def _draw_axis_error(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = pick_lens(chance, settings, cylinder=(1, 4)).in_form(settings.form)
    error = chance.whole(5, 30) if settings.level == "expert" else chance.stepped(5, 30, 5)
    return given(RX, PLACED).to(rx, axis_of(rx.axis + chance.among((-1, 1)) * error))


RX = Field("rx", "Prescription that the eye needs", Lens())


@given(RX)
def _begin_axis_error(rx: SphCyl) -> float:
    if not rx.cylinder:
        raise BadFinding(write_prescription(rx), "a sphere has no axis to be out: give a lens with a cylinder")
    return rx.axis


def _form(rx: SphCyl) -> str:
    return "minus" if rx.cylinder < 0 else "plus"


def _side(turned: float) -> int:
    return -1 if turned < 0 else 1


def _middle(axis: float, turned: float) -> float:
    return float(axis + turned / 2)


def _sine(turned: float) -> float:
    return math.sin(math.radians(abs(turned)))


def _cylinder(share: Rule[float]) -> Rule[float]:
    return given(RX, share)(lambda rx, part: rx.cylinder * part)


def _cylinder_words(share: Rule[float], words: str) -> Rule[str]:
    return given(share, RX, CYLINDER)(
        lambda part, rx, cylinder: (
            f"{words} is {part:.3f}; times {signed(rx.cylinder)} that is {signed(cylinder)} of cylinder."
        )
    )


def _cylinder_slip(name: SlipName, share: Rule[float], words: str) -> Slip[float]:
    return Slip(name, run=_cylinder(share), says=_cylinder_words(share, words))


def _laid_words(words: str) -> Rule[str]:
    return given(LAID)(lambda axis: f"{words}: {degrees(axis)}.")


def _laid_slip(name: SlipName, axis: Rule[float], words: str, live: Rule[bool] = ALWAYS) -> Slip[float]:
    return Slip(name, run=given(axis)(axis_of), says=_laid_words(words), live=live)


_RIGHT_SHARE = given(TURNED)(lambda turned: 2 * _sine(turned))

PLACED = Field("placed", "Axis of its cylinder", quantities.AXIS)


@given(TURNED, AXIS, PLACED)
def _out_words(turned: float, axis: float, placed: float) -> str:
    way = "anticlockwise" if turned > 0 else "clockwise"
    return f"The axis should be {degrees(axis)} and stands at {degrees(placed)}: {abs(turned):g}° too far {way}."


OTHER_SIDE_OR_PAST_180: Pair = (
    SlipRef(RESIDUAL_AXIS.id, OTHER_SIDE.id),
    SlipRef(RESIDUAL_AXIS.id, skills.MIDDLE_PAST_180.id),
)
"""Either puts the axis 90° out; where the two axes do not lie on either side of 180 only one of them can happen."""

RESIDUAL = Field("residual", "Lens still wanted", Lens())
axis_error = CaseType(
    id="axis-error",
    title="What a cylinder at the wrong axis leaves over",
    family=FAMILY,
    level="expert",
    seconds=30,
    findings=Group(
        (
            RX,
            PLACED,
        )
    ),
    asks=(RESIDUAL,),
    draw=_draw_axis_error,
    begin=AXIS.by(_begin_axis_error),
    steps=(
        TURNED.step(
            AXIS_OUT,
            run=given(AXIS, PLACED)(lambda axis, placed: turn_between(axis, placed)),
            says=_out_words,
        ),
        CYLINDER.step(
            RESIDUAL_CYLINDER,
            run=_cylinder(_RIGHT_SHARE),
            says=_cylinder_words(_RIGHT_SHARE, "Twice the sine of the error"),
            slips=(
                _cylinder_slip(SINE_NOT_DOUBLED, given(TURNED)(_sine), "The sine of the error"),
                _cylinder_slip(IN_PROPORTION, given(TURNED)(lambda turned: abs(turned) / 90), "The error over 90"),
                _cylinder_slip(SHARE_TAKEN, given(TURNED)(lambda turned: _sine(turned) ** 2), "The square of the sine"),
            ),
        ),
        SPHERE.step(
            RESIDUAL_SPHERE,
            run=given(CYLINDER)(lambda cylinder: -cylinder / 2),
            says=given(SPHERE)(
                lambda sphere: (
                    f"Turning changes no mean power, so the sphere is half of that with the other sign: "
                    f"{signed(sphere)}."
                )
            ),
            slips=(
                Slip(SPHERE_NOUGHT, run=given()(lambda: 0.0), says=given()(lambda: "No sphere written.")),
                Slip(
                    SPHERE_SAME_SIGN,
                    run=given(CYLINDER)(lambda cylinder: cylinder / 2),
                    says=given(SPHERE)(lambda sphere: f"Half of it with the same sign: {signed(sphere)}."),
                ),
            ),
        ),
        LAID.step(
            RESIDUAL_AXIS,
            run=given(AXIS, TURNED)(lambda axis, turned: axis_of(_middle(axis, turned) - 45 * _side(turned))),
            says=_laid_words("Its axis lies 45° from half-way between the two, on the side where the lens belongs"),
            slips=(
                _laid_slip(
                    OTHER_SIDE,
                    given(AXIS, TURNED)(lambda axis, turned: _middle(axis, turned) + 45 * _side(turned)),
                    "45° to the other side",
                ),
                _laid_slip(
                    FROM_WHERE_IT_BELONGS,
                    given(AXIS, TURNED)(lambda axis, turned: axis - 45 * _side(turned)),
                    "45° counted from where the axis belongs",
                ),
                _laid_slip(AT_TRUE_AXIS, given(AXIS)(lambda axis: axis), "Laid where the axis belongs"),
                _laid_slip(
                    skills.MIDDLE_PAST_180,
                    given(AXIS, TURNED)(lambda axis, turned: _middle(axis, turned) + 90 - 45 * _side(turned)),
                    "45° from half the sum of the two axis numbers",
                    live=given(PLACED, AXIS)(lambda placed, axis: abs(placed - axis) > 90),
                ),
            ),
        ),
    ),
    answer=RESIDUAL.by(given(SPHERE, CYLINDER, LAID)(SphCyl)),
    found=given(RX, PLACED)(
        lambda rx, placed: (
            f"The eye needs {as_written(rx)}.",
            f"In the frame stands that very power, but with the axis at {degrees(placed)}.",
        )
    ),
    question=given(RX)(lambda rx: f"Which lens is still wanted over it, to 0.01 D, in {FORM_WORDS[_form(rx)]}?"),
    figure=given(RX, PLACED).drawing(
        lambda uid, rx, placed: power_cross(
            rx,
            SphCyl(rx.sphere, rx.cylinder, placed),
            names=("needed", "in frame"),
            uid=uid,
        )
    ),
    needs=("crossed-sum",),
    form=given(RX)(_form),
    twins=(OTHER_SIDE_OR_PAST_180,),
    probes=(Probe(OTHER_SIDE_OR_PAST_180, "axis-error"),),
    sources=("contact-lens-course", "felipe-2011"),
)

TYPES = (axis_error,)
