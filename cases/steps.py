"""Steps that several families share, with their words and ranges. A type's own steps stay in its family."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from cases import skills
from cases.casetype import Pair, Settings
from cases.chance import Chance
from cases.choices import MINUS_OR_PLUS, Choice, Option
from cases.fields import Field
from cases.kinds import Distance, Lens
from cases.lens import SphCyl, across, axis_of
from cases.notation import write_axis, write_distance, write_power, write_prescription, write_size
from cases.sums import less
from cases.vergence import is_clinic_value, vergence, working_vergence
from cases.working import Known, Slip, SlipRef, Step

DISTANCE = Field("distance_cm", "Working distance, pupil to sight hole", Distance())
FORM = Field("form", "Cylinder form asked for", MINUS_OR_PLUS, default="minus")
RX = Field("rx", "Prescription", Lens())

DROPS = Choice((Option("none", "none given"), Option("working", "given, and found to be working")))
DROPS_CAUTION = "Drops are licensed practice: product information and local rules prevail."

COMMON_DISTANCES = (33.0, 40.0, 50.0, 57.0, 67.0, 80.0, 100.0)
EASY_DISTANCES = (40.0, 50.0, 67.0, 80.0, 100.0)
FORM_WORDS = {"minus": "minus-cylinder form", "plus": "plus-cylinder form"}


def pick_distance(chance: Chance, settings: Settings) -> float:
    """Draw a working distance in cm, the learner's usual one in two cases of five (always when it is fixed)."""
    if settings.fixed_distance or chance.happens(0.4):
        return settings.distance_cm
    return chance.among(EASY_DISTANCES if settings.level == "novice" else COMMON_DISTANCES)


def pick_working_lens(chance: Chance, settings: Settings) -> tuple[float, float]:
    """Draw a working lens in D and the distance in cm: its own, or in about one case in three another one."""
    lens = chance.among((1.25, 1.5, 2.0, 2.5))
    if settings.fixed_distance:
        return lens, settings.distance_cm
    if chance.happens(0.35):
        return lens, pick_distance(chance, settings)
    return lens, 67.0 if lens == 1.5 else 100 / lens


def pick_axis(chance: Chance, settings: Settings) -> float:
    """Draw an axis as eyes have them, mostly near 180 or 90, never on a direction that mirrors onto itself."""
    step = 1 if settings.level == "expert" else 5
    while True:
        centre = chance.among((180, 180, 90, 90, 45, 135))
        axis = axis_of(centre + step * chance.whole(-round(30 / step), round(30 / step)))
        if axis % 45:
            return axis


def pick_lens(
    chance: Chance,
    settings: Settings,
    *,
    sphere: tuple[float, float] = (-7, 6),
    cylinder: tuple[float, float] = (0.5, 3.5),
) -> SphCyl:
    """Draw a minus-cylinder lens: sphere in D from `sphere`, size of the cylinder from `cylinder`, quarter steps."""
    high = min(cylinder[1], 2.0) if settings.level == "novice" else cylinder[1]
    return SphCyl(chance.stepped(*sphere), -chance.stepped(cylinder[0], high), pick_axis(chance, settings))


def signed(power: float) -> str:
    """Write a power in D for a sentence: +1.25, −0.50, 0.00."""
    return write_power(power)


def size(power: float) -> str:
    """Write how large a power or a difference in D is, for a sentence: 1.25, 0.875."""
    return write_size(power)


def lens_in_place(power: float, words: str) -> str:
    """Write which sphere is in place, to follow "with": its power in D and then `words`, or that there is none."""
    written = signed(power)
    return "no lens in place" if written == signed(0) else f"{written} {words}"


def listed(powers: Sequence[float]) -> str:
    """Write powers as "+1.25 and −0.50"."""
    return " and ".join(signed(power) for power in powers)


def degrees(angle: float) -> str:
    """Write an axis or meridian for a sentence."""
    return write_axis(angle)


def as_written(lens: SphCyl) -> str:
    """Write a lens in the form that it has."""
    return write_prescription(lens, "as-is")


def lens_words(sphere: float, cylinder: float, axis: float) -> str:
    """Write a lens as the line of a working has it, in the form in which it stands."""
    return f"{signed(sphere)} / {signed(cylinder)} × {degrees(axis)}"


def distance_in_dioptres(*, exact: bool = False) -> Step:
    """Step: `distance_cm` to `vergence` in D, as the clinic rounds it or exactly."""
    value = vergence if exact else working_vergence

    def says(known: Known) -> str:
        cm, power = known["distance_cm"], known["vergence"]
        if exact or not is_clinic_value(cm) or abs(power - vergence(cm)) < 0.002:
            return f"{write_distance(cm)} is 100 ÷ {cm:g} = {size(power)} D."
        return f"{write_distance(cm)} is 100 ÷ {cm:g} = {vergence(cm):.3f} D, in the clinic taken as {size(power)}."

    return Step(
        skills.DISTANCE_IN_DIOPTRES,
        run=lambda known: {"vergence": value(known["distance_cm"])},
        says=says,
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=lambda known: {"vergence": known["distance_cm"] / 100},
                says=lambda known: f"{write_distance(known['distance_cm'])} taken as {size(known['vergence'])} D.",
                # At a metre and a half the metres are the habitual 1.50 as well, and the habit tells it already.
                live=lambda known: all(
                    abs(known["distance_cm"] / 100 - other) > 0.02 for other in (value(known["distance_cm"]), 1.5)
                ),
            ),
            Slip(
                skills.ALWAYS_ONE_FIFTY,
                run=lambda _: {"vergence": 1.5},
                says=lambda known: f"1.50 D taken, though the distance is {write_distance(known['distance_cm'])}.",
                live=lambda known: abs(value(known["distance_cm"]) - 1.5) > 0.02,
            ),
        ),
    )


def taken_off(known: Known) -> str:
    """Say how the vergence came off every power of `gross`."""
    sums = [less(g, known["vergence"], n) for g, n in zip(known["gross"], known["net"], strict=True)]
    return f"Take the distance off: {', and '.join(sums)}."


def off_gross(known: Known) -> dict[str, Any]:
    """Take the vergence off every power of `gross`."""
    return {"net": tuple(g - known["vergence"] for g in known["gross"])}


def add_sizes(a: float, b: float) -> float:
    """Add the sizes of two powers and keep the first one's sign: what a learner does who loses a sign."""
    return math.copysign(abs(a) + abs(b), a)


def subtract_sizes(power: float, off: float) -> float:
    """Take `off` from the size of a power and put its sign back: what a learner does who does not see the sign."""
    return (abs(power) - off) * (1 if power >= 0 else -1)


LEFT_IN = Slip(
    skills.DISTANCE_LEFT_IN,
    run=lambda known: {"net": known["gross"]},
    says=lambda known: f"Nothing taken off: {listed(known['net'])}.",
)
ADDED = Slip(
    skills.DISTANCE_ADDED,
    run=lambda known: {"net": tuple(g + known["vergence"] for g in known["gross"])},
    says=lambda known: f"{size(known['vergence'])} added: {listed(known['net'])}.",
)


def take_off_distance(*more: Slip) -> Step:
    """Step: the powers in `gross` less the `vergence`, in D, to `net`; `more` slips beside leaving it in or adding."""
    return Step(skills.TAKE_OFF_DISTANCE, run=off_gross, says=taken_off, slips=(LEFT_IN, ADDED, *more))


def sign_blind(*, live: Callable[[Known], bool]) -> Slip:
    """Build the slip of taking the distance off the size of each power; `live` says where it differs from others."""
    return Slip(
        skills.SIGN_BLIND,
        run=lambda known: {"net": tuple(subtract_sizes(g, known["vergence"]) for g in known["gross"])},
        says=lambda known: f"{size(known['vergence'])} taken off the sizes: {listed(known['net'])}.",
        live=live,
    )


ADDED_OR_SIGN_BLIND: Pair = (
    SlipRef(skills.TAKE_OFF_DISTANCE.id, skills.DISTANCE_ADDED.id),
    SlipRef(skills.TAKE_OFF_DISTANCE.id, skills.SIGN_BLIND.id),
)
"""With one minus finding, taking the distance off its size is the same sum as adding it; a plus finding parts them."""


def mirrored(angle: float) -> float:
    """Return a direction as the patient would read it: 180 − angle."""
    return axis_of(180 - angle)


def from_vertical(angle: float) -> float:
    """Return a direction as counted from the vertical: 90 − angle."""
    return axis_of(90 - angle)


def read_scale(*names: str) -> Step:
    """Step: the directions drawn (`names` in the findings) to the same names as read off the dial."""

    def read(turn: Callable[[float], float]) -> Callable[[Known], dict[str, Any]]:
        return lambda known: {name: turn(known[name]) for name in names}

    def changed_by(turn: Callable[[float], float]) -> Callable[[Known], bool]:
        return lambda known: known[names[0]] % 90 != 0 and turn(known[names[0]]) != known[names[0]]

    def says(known: Known) -> str:
        return f"The dial reads {' and '.join(degrees(known[name]) for name in names)}."

    return Step(
        skills.READ_SCALE,
        run=read(lambda angle: angle),
        says=says,
        slips=(
            Slip(skills.SCALE_MIRRORED, run=read(mirrored), says=says, live=changed_by(mirrored)),
            Slip(skills.SCALE_FROM_VERTICAL, run=read(from_vertical), says=says, live=changed_by(from_vertical)),
        ),
    )


def read_meridian() -> Step:
    """Step: the `streak` as read off the dial to the `meridian` that it measures."""
    return Step(
        skills.READ_MERIDIAN,
        run=lambda known: {"meridian": across(known["streak"])},
        says=lambda known: f"The sweep runs across the streak, so it is the {degrees(known['meridian'])} meridian.",
        slips=(
            Slip(
                skills.SWEEP_FOR_STREAK,
                run=lambda known: {"meridian": known["streak"]},
                says=lambda known: f"The {degrees(known['meridian'])} meridian, along the streak.",
            ),
        ),
    )


def turn_between(start: float, goal: float) -> float:
    """Return by how many degrees `goal` stands from `start` on the dial, −90 up to 90, anticlockwise positive."""
    return (goal - start + 90) % 180 - 90


def turn_on_dial(start: str, goal: str, *, stays: Callable[[Known], bool], says: Callable[[Known], str]) -> Step:
    """Step: the directions under `start` and `goal` to the `turn` from one to the other: up, down or leave."""

    def turn(up: Callable[[float, float], bool]) -> Callable[[Known], dict[str, Any]]:
        return lambda known: {"turn": "leave" if stays(known) else "up" if up(known[start], known[goal]) else "down"}

    return Step(
        skills.TURN_ON_DIAL,
        run=turn(lambda a, b: turn_between(a, b) > 0),
        says=says,
        slips=(
            Slip(
                skills.THROUGH_THE_NUMBERS,
                run=turn(lambda a, b: b > a),
                says=says,
                live=lambda known: not stays(known) and abs(known[goal] - known[start]) > 90,
            ),
        ),
    )


def lens_pair(known: Known) -> tuple[SphCyl, SphCyl]:
    """Return the two lenses, `first` and `second`, that are added or compared."""
    return known["first"], known["second"]


def any_cylinder(known: Known) -> bool:
    """Say whether either of the two lenses has a cylinder."""
    return any(lens.cylinder for lens in lens_pair(known))
