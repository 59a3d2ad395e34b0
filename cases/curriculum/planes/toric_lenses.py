"""Family G, change of plane: toric soft lenses that come to rest turned on the eye."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal, cast

from cases.curriculum.adding_lenses import OVER, count_worn, pick_second, summing_steps
from cases.curriculum.planes import FAMILY
from cases.curriculum.power_vectors import AXIS_90_OUT, AXIS_PROBES
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import (
    FIRST_LENS,
    FORM,
    FORM_WORDS,
    PRESCRIPTION,
    SECOND_LENS,
    as_written,
    degrees,
    pick_axis,
)
from cases.errors import OutOfRange
from cases.figures.lens_planes import toric_rotation
from cases.notation.prescription import write_prescription
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SIDES = Choice((Option("left", "examiner's left"), Option("right", "examiner's right")))
TURNED = Field(
    "turned", "How far the mark at 6 o'clock has turned", quantities.ANGLE.having(exact=0.5, tolerance=2, high=45)
)
SIDE = Field("side", "To which side the mark has turned", SIDES)

MARK_TO_AXIS = Skill("mark-to-axis", "reading the axis on the eye from the lens's mark")
COMPENSATE = Skill("compensate-rotation", "ordering an axis that allows for the turn")

TURN_REVERSED = SlipName(
    "turn-reversed",
    "turned the axis the other way round from the mark",
    "A mark at 6 o'clock that goes to your left turns the lens clockwise, so its axis reads lower; "
    "one that goes to your right, higher.",
)
TURN_OVERLOOKED = SlipName(
    "turn-overlooked",
    "took the axis as it is marked on the lens",
    "The lens has turned on the eye and its axis with it.",
)
TURNED_ALONG = SlipName(
    "ordered-along-the-turn",
    "moved the ordered axis the same way as the lens had turned",
    "The next lens will turn by the same amount, so order the axis on the other side: left add, right subtract.",
)
NOT_ALLOWED_FOR = SlipName(
    "turn-not-allowed-for",
    "ordered the axis that the eye needs without allowing for the turn",
    "The next lens will turn in the same way and miss that axis again: left add, right subtract.",
)


ROTATED = Key[float]("rotated", unit="°")


def _rotation(turned: float, side: str) -> float:
    """Return by how much the axis is changed on the eye: the mark to the left is a clockwise turn."""
    return float(-turned if side == "left" else turned)


def _stands(factor: float) -> Rule[tuple[float, float]]:
    @given(TURNED, SIDE, LENS)
    def run(turned: float, side: str, lens: SphCyl) -> tuple[float, float]:
        rotated = factor * _rotation(turned, side)
        return rotated, axis_of(lens.axis + rotated)

    return run


@given(TURNED)
def _turned(turned: float) -> bool:
    return bool(turned > 0)


LENS = Field("lens", "Lens as it is marked, what the eye needs at the cornea", Lens())
ACTS_AT = Field("acts_at", "Axis of the lens on the eye", quantities.AXIS)
READ_MARK = given(ROTATED, ACTS_AT).step(
    MARK_TO_AXIS,
    run=_stands(1),
    says=given(TURNED, SIDE, LENS, ACTS_AT)(
        lambda turned, side, lens, acts_at: (
            f"The mark has gone {turned:g}° to your {side}, "
            f"{'clockwise' if side == 'left' else 'anticlockwise'}, so the axis {degrees(lens.axis)} "
            f"stands at {degrees(acts_at)}."
        )
    ),
    slips=(
        Slip(
            TURN_REVERSED,
            run=_stands(-1),
            says=given(ACTS_AT)(lambda acts_at: f"The axis taken to be {degrees(acts_at)}."),
            live=_turned,
        ),
        Slip(
            TURN_OVERLOOKED,
            run=_stands(0),
            says=given(ACTS_AT)(lambda acts_at: f"The axis taken as marked: {degrees(acts_at)}."),
            live=_turned,
        ),
    ),
)


AS_IT_STANDS = given(LENS, ACTS_AT)(lambda lens, at: SphCyl(lens.sphere, lens.cylinder, at))


def _ordered(factor: float) -> Rule[float]:
    return given(AXIS, ROTATED)(lambda axis, rotated: axis_of(axis - factor * rotated))


ORDER_AXIS = Field("order_axis", "Axis to order", quantities.AXIS)
ALLOW_FOR_TURN = ORDER_AXIS.step(
    COMPENSATE,
    run=_ordered(1),
    says=given(ROTATED, AXIS, ORDER_AXIS)(
        lambda rotated, axis, order_axis: (
            f"The next lens will turn as this one did, so order {abs(rotated):g}° to the other side of "
            f"{degrees(axis)}: {degrees(order_axis)}."
        )
    ),
    slips=(
        Slip(
            TURNED_ALONG,
            run=_ordered(-1),
            says=given(ORDER_AXIS)(lambda order_axis: f"Moved along with the turn: order {degrees(order_axis)}."),
            live=_turned,
        ),
        Slip(
            NOT_ALLOWED_FOR,
            run=_ordered(0),
            says=given(ORDER_AXIS)(lambda order_axis: f"The turn not allowed for: order {degrees(order_axis)}."),
            live=_turned,
        ),
    ),
)


@given(LENS)
def _must_be_toric(lens: SphCyl) -> float:
    if not lens.cylinder:
        raise BadFinding(write_prescription(lens), "a spherical lens has no axis to turn: give a lens with a cylinder")
    return lens.axis


def _pick_turn(chance: Chance, settings: Settings) -> dict[str, Any]:
    turned = chance.whole(5, 25) if settings.level == "expert" else chance.stepped(5, 20, 5)
    return given(TURNED, SIDE).to(float(turned), chance.among(("left", "right")))


def _pick_toric(chance: Chance, settings: Settings) -> SphCyl:
    cylinder = chance.among((-0.75, -1.25, -1.75, -2.25, -2.75))
    return SphCyl(chance.stepped(-6, 4), cylinder, pick_axis(chance, settings))


def _turn_words(turned: float, side: str) -> str:
    return f"Its mark, meant for 6 o'clock, rests {turned:g}° to the {SIDES.write(side)}."


# --- the axis alone ----------------------------------------------------------------------------------------------

toric_axis = CaseType(
    id="toric-lens-axis",
    title="The axis of a toric lens that turns",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((LENS, TURNED, SIDE)),
    asks=(
        ACTS_AT,
        ORDER_AXIS,
    ),
    draw=lambda chance, settings: LENS.to(_pick_toric(chance, settings)) | _pick_turn(chance, settings),
    begin=AXIS.by(_must_be_toric),
    steps=(READ_MARK, ALLOW_FOR_TURN),
    answer=as_found(ACTS_AT, ORDER_AXIS),
    found=given(LENS, TURNED, SIDE)(
        lambda lens, turned, side: (
            f"The eye needs {as_written(lens)} at the cornea; a soft lens so marked is on it.",
            _turn_words(turned, side),
        )
    ),
    question=asking(
        "What is the axis of this lens on the eye, and which axis do you order if the next lens rotates as much?"
    ),
    figure=given(TURNED, SIDE).drawing(
        lambda uid, turned, side: toric_rotation(turned, cast("Literal['left', 'right']", side), uid=uid)
    ),
    needs=("streak-axis",),
    sources=("common-practice",),
)

# --- with what retinoscopy finds over it -------------------------------------------------------------------------


def _draw_over_toric(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        lens, turn = _pick_toric(chance, settings), _pick_turn(chance, settings)
        stands = SphCyl(0, 0, axis_of(lens.axis + _rotation(turn["turned"], turn["side"])))
        if settings.level == "expert" and chance.happens(0.75):
            found = pick_second(chance, settings, stands, cylinder=(0.75, 1.75))
        else:
            size = 0 if settings.level == "novice" else chance.among((0, 0.5, 0.75, 1.0))
            axis = across(stands.axis) if size and chance.happens(0.5) else stands.axis
            found = SphCyl(chance.among((-1, 1)) * chance.stepped(0.5, 2), -size, axis if size else 180)
        if (SphCyl(lens.sphere, lens.cylinder, stands.axis) + found).cylinder <= -0.5:
            return LENS_FOUND.to(lens) | turn | given(FOUND, FORM).to(found, settings.form)


LENS_FOUND = Field("lens", "Soft toric lens as it is marked", Lens())
FOUND = Field("found", "Net result of retinoscopy over it, as at the cornea", Lens())
PRESCRIPTION_ASKED = replace(PRESCRIPTION, label="What the eye needs at the cornea")
ORDER_AXIS_ASKED = Field("order_axis", "Axis to order, in the same form", quantities.AXIS.having(tolerance=3))


@given(_must_be_toric, LENS_FOUND, TURNED, SIDE, FOUND)
def _begin_over_toric(axis: float, lens: SphCyl, turned: float, side: str, found: SphCyl) -> tuple[float, SphCyl]:
    needed = SphCyl(lens.sphere, lens.cylinder, axis_of(axis + _rotation(turned, side))) + found
    if abs(needed.cylinder) < 0.125:
        rule = "with the lens it makes a sphere, which has no axis to order; give a result that leaves a cylinder"
        raise OutOfRange("result over the lens", as_written(found), rule)
    return axis, found


toric_over_refraction = CaseType(
    id="toric-lens-over-refraction",
    title="Retinoscopy over a toric lens that has turned",
    family=FAMILY,
    level="expert",
    seconds=75,
    findings=Group(
        (
            LENS_FOUND,
            TURNED,
            SIDE,
            FOUND,
            FORM,
        )
    ),
    asks=(
        PRESCRIPTION_ASKED,
        ORDER_AXIS_ASKED,
    ),
    draw=_draw_over_toric,
    begin=given(AXIS, OVER).by(_begin_over_toric),
    steps=(
        READ_MARK,
        count_worn(
            AS_IT_STANDS,
            given(FIRST_LENS, SECOND_LENS)(
                lambda first, second: (
                    f"The over-refraction was found over the lens at that axis, so {as_written(first)} and "
                    f"{as_written(second)} add up."
                )
            ),
        ),
        *summing_steps(),
        ALLOW_FOR_TURN,
    ),
    answer=given(PRESCRIPTION_ASKED, ORDER_AXIS_ASKED).by(
        given(SPHERE, CYLINDER, AXIS, ORDER_AXIS_ASKED)(
            lambda sphere, cylinder, axis, order_axis: (SphCyl(sphere, cylinder, axis), order_axis)
        )
    ),
    found=given(LENS_FOUND, TURNED, SIDE, FOUND)(
        lambda lens, turned, side, found: (
            f"On the eye, a soft lens marked {as_written(lens)}.",
            _turn_words(turned, side),
            f"Over it retinoscopy gives {as_written(found)}, reckoned at the cornea, the working "
            "distance taken off already.",
        )
    ),
    question=given(FORM)(
        lambda form: (
            f"What does the eye need at the cornea, unrounded, in {FORM_WORDS[form]}? And which axis is to be "
            "ordered if the next lens turns as much?"
        )
    ),
    figure=given(TURNED, SIDE).drawing(
        lambda uid, turned, side: toric_rotation(turned, cast("Literal['left', 'right']", side), uid=uid)
    ),
    needs=("toric-lens-axis", "over-refraction"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("thibos-1997", "common-practice"),
)

TYPES = (toric_axis, toric_over_refraction)
