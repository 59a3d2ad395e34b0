"""Family G, change of plane: toric soft lenses that come to rest turned on the eye."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.errors import OutOfRange
from cases.families.oblique import PRESCRIPTION, pick_second
from cases.families.over_refraction import count_worn, summing_steps
from cases.families.planes import FAMILY
from cases.families.vectors import AXIS_90_OUT, AXIS_PROBES
from cases.fields import Field, Group
from cases.figures_planes import toric_rotation
from cases.kinds import Angle, Axis, BadFinding, Lens
from cases.lens import SphCyl, across, axis_of
from cases.notation import write_prescription
from cases.steps import FORM, FORM_WORDS, as_written, degrees, pick_axis
from cases.working import Known, Skill, Slip, SlipName, Step

SIDES = Choice((Option("left", "examiner's left"), Option("right", "examiner's right")))
TURNED = Field("turned", "How far the mark at 6 o'clock has turned", Angle(exact=0.5, tolerance=2, high=45))
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


def _rotation(known: Known) -> float:
    """Return by how much the axis is changed on the eye: the mark to the left is a clockwise turn."""
    return float(-known["turned"] if known["side"] == "left" else known["turned"])


def _stands(factor: float) -> Callable[[Known], dict[str, Any]]:
    def run(known: Known) -> dict[str, Any]:
        rotated = factor * _rotation(known)
        lens: SphCyl = known["lens"]
        acts_at = axis_of(lens.axis + rotated)
        return {"rotated": rotated, "acts_at": acts_at, "worn": SphCyl(lens.sphere, lens.cylinder, acts_at)}

    return run


def _turned(known: Known) -> bool:
    return bool(known["turned"] > 0)


READ_MARK = Step(
    MARK_TO_AXIS,
    run=_stands(1),
    says=lambda known: (
        f"The mark has gone {known['turned']:g}° to your {known['side']}, "
        f"{'clockwise' if known['side'] == 'left' else 'anticlockwise'}, so the axis {degrees(known['lens'].axis)} "
        f"stands at {degrees(known['acts_at'])}."
    ),
    slips=(
        Slip(
            TURN_REVERSED,
            run=_stands(-1),
            says=lambda known: f"The axis taken to stand at {degrees(known['acts_at'])}.",
            live=_turned,
        ),
        Slip(
            TURN_OVERLOOKED,
            run=_stands(0),
            says=lambda known: f"The axis taken as marked: {degrees(known['acts_at'])}.",
            live=_turned,
        ),
    ),
)


def _ordered(factor: float) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"order_axis": axis_of(known["axis"] - factor * known["rotated"])}


ALLOW_FOR_TURN = Step(
    COMPENSATE,
    run=_ordered(1),
    says=lambda known: (
        f"The next lens will turn as this one did, so order {abs(known['rotated']):g}° to the other side of "
        f"{degrees(known['axis'])}: {degrees(known['order_axis'])}."
    ),
    slips=(
        Slip(
            TURNED_ALONG,
            run=_ordered(-1),
            says=lambda known: f"Moved along with the turn: order {degrees(known['order_axis'])}.",
            live=_turned,
        ),
        Slip(
            NOT_ALLOWED_FOR,
            run=_ordered(0),
            says=lambda known: f"The turn not allowed for: order {degrees(known['order_axis'])}.",
            live=_turned,
        ),
    ),
)


def _must_be_toric(findings: Known) -> dict[str, Any]:
    lens: SphCyl = findings["lens"]
    if not lens.cylinder:
        raise BadFinding(write_prescription(lens), "a spherical lens has no axis to turn: give a lens with a cylinder")
    return {"axis": lens.axis}


def _pick_turn(chance: Chance, settings: Settings) -> dict[str, Any]:
    turned = chance.whole(5, 25) if settings.level == "expert" else chance.stepped(5, 20, 5)
    return {"turned": float(turned), "side": chance.among(("left", "right"))}


def _pick_toric(chance: Chance, settings: Settings) -> SphCyl:
    cylinder = chance.among((-0.75, -1.25, -1.75, -2.25, -2.75))
    return SphCyl(chance.stepped(-6, 4), cylinder, pick_axis(chance, settings))


def _turn_words(known: Known) -> str:
    return f"Its mark, meant for 6 o'clock, rests {known['turned']:g}° to the {SIDES.write(known['side'])}."


# --- the axis alone ----------------------------------------------------------------------------------------------

toric_axis = CaseType(
    id="toric-lens-axis",
    title="The axis of a toric lens that turns",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((Field("lens", "Lens as it is marked, what the eye needs at the cornea", Lens()), TURNED, SIDE)),
    asks=(
        Field("acts_at", "Axis at which it stands on the eye", Axis()),
        Field("order_axis", "Axis to order", Axis()),
    ),
    draw=lambda chance, settings: {"lens": _pick_toric(chance, settings), **_pick_turn(chance, settings)},
    begin=_must_be_toric,
    steps=(READ_MARK, ALLOW_FOR_TURN),
    answer=lambda known: {"acts_at": known["acts_at"], "order_axis": known["order_axis"]},
    found=lambda known: (
        f"The eye needs {as_written(known['lens'])} at the cornea; a soft lens so marked is on it.",
        _turn_words(known),
    ),
    question=lambda _: (
        "At which axis does this lens stand, and which axis is to be ordered if the next one turns as much?"
    ),
    figure=lambda known, uid: toric_rotation(known["turned"], known["side"], uid=uid),
    needs=("streak-axis",),
    form=lambda _: None,
    sources=("common practice, no published source (left add, right subtract)",),
)

# --- with what retinoscopy finds over it -------------------------------------------------------------------------


def _draw_over_toric(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        lens, turn = _pick_toric(chance, settings), _pick_turn(chance, settings)
        stands = SphCyl(0, 0, axis_of(lens.axis + _rotation(turn)))
        if settings.level == "expert" and chance.happens(0.75):
            found = pick_second(chance, settings, stands, cylinder=(0.75, 1.75))
        else:
            size = 0 if settings.level == "novice" else chance.among((0, 0.5, 0.75, 1.0))
            axis = across(stands.axis) if size and chance.happens(0.5) else stands.axis
            found = SphCyl(chance.among((-1, 1)) * chance.stepped(0.5, 2), -size, axis if size else 180)
        if (SphCyl(lens.sphere, lens.cylinder, stands.axis) + found).cylinder <= -0.5:
            return {"lens": lens, **turn, "found": found, "form": settings.form}


def _begin_over_toric(findings: Known) -> dict[str, Any]:
    lens, found = findings["lens"], findings["found"]
    start = {**_must_be_toric(findings), "over": found}
    needed = SphCyl(lens.sphere, lens.cylinder, axis_of(lens.axis + _rotation(findings))) + found
    if abs(needed.cylinder) < 0.125:
        rule = "with the lens it makes a sphere, which has no axis to order; give a result that leaves a cylinder"
        raise OutOfRange("result over the lens", as_written(found), rule)
    return start


toric_over_refraction = CaseType(
    id="toric-lens-over-refraction",
    title="Retinoscopy over a toric lens that has turned",
    family=FAMILY,
    level="expert",
    seconds=75,
    findings=Group(
        (
            Field("lens", "Soft toric lens as it is marked", Lens()),
            TURNED,
            SIDE,
            Field("found", "Net result of retinoscopy over it, as at the cornea", Lens()),
            FORM,
        )
    ),
    asks=(
        replace(PRESCRIPTION, label="What the eye needs at the cornea"),
        Field("order_axis", "Axis to order, in the same form", Axis(tolerance=3)),
    ),
    draw=_draw_over_toric,
    begin=_begin_over_toric,
    steps=(
        READ_MARK,
        count_worn(
            lambda known: (
                f"What was found sits on the lens as it stands, so {as_written(known['first'])} and "
                f"{as_written(known['second'])} add up."
            )
        ),
        *summing_steps(),
        ALLOW_FOR_TURN,
    ),
    answer=lambda known: {
        "prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"]),
        "order_axis": known["order_axis"],
    },
    found=lambda known: (
        f"On the eye, a soft lens marked {as_written(known['lens'])}.",
        _turn_words(known),
        f"Over it retinoscopy gives {as_written(known['found'])}, reckoned at the cornea, the working "
        "distance taken off already.",
    ),
    question=lambda known: (
        f"What does the eye need at the cornea, unrounded, in {FORM_WORDS[known['form']]}? And which axis is to be "
        "ordered if the next lens turns as much?"
    ),
    figure=lambda known, uid: toric_rotation(known["turned"], known["side"], uid=uid),
    needs=("toric-lens-axis", "over-refraction"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=(
        "common practice, no published source (left add, right subtract)",
        "Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",
    ),
)

TYPES = (toric_axis, toric_over_refraction)
