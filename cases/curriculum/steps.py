"""Steps that several families share, with their words and ranges. A type's own steps stay in its family."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from cases.curriculum import skills
from cases.curriculum.shared_keys import DEMAND
from cases.notation.prescription import write_axis, write_distance, write_power, write_prescription, write_size
from cases.notation.sums import less
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.optics.vergence import DISTANCE_RULE, is_clinic_value, vergence, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair
from cases.procedure.chain import SlipRef
from cases.procedure.choices import MINUS_OR_PLUS, Choice, Option
from cases.procedure.fields import Field
from cases.procedure.keys import Key, Readable, Rule, Slip, Step, given, given_all
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

DISTANCE = Field("distance_cm", "Working distance, pupil to sight hole", quantities.DISTANCE)
FORM = Field("form", "Cylinder form asked for", MINUS_OR_PLUS, default="minus")
RX = Field("rx", "Prescription", Lens())
PRESCRIPTION = Field("prescription", "Prescription", Lens())
NET_PRESCRIPTION = Field("prescription", "Net prescription", Lens())
FIRST_LENS = Field("first", "First lens", Lens())
SECOND_LENS = Field("second", "Second lens", Lens())

DROPS = Choice((Option("none", "none given"), Option("working", "given, and found to be working")))
DROPS_CAUTION = "Drops are licensed practice: product information and local rules prevail."

Powers = tuple[float, ...]
"""One power in D for every meridian."""

METRES = Key[float]("metres", unit="m")
VERGENCE = Key[float]("vergence", unit="D")
GROSS = Key[Powers]("gross", unit="D")
NET = Key[Powers]("net", unit="D")
TURN = Key[str]("turn")
STREAK = Field("streak", "Long direction of the streak", quantities.MERIDIAN)
MERIDIAN = Field("meridian", "Meridian that is measured", quantities.AXIS.having(exact=0.5, tolerance=2))

COMMON_DISTANCES = (33.0, 40.0, 50.0, 57.0, 67.0, 80.0, 100.0)
EASY_DISTANCES = (40.0, 50.0, 67.0, 80.0, 100.0)
FORM_WORDS = {"minus": "minus-cylinder form", "plus": "plus-cylinder form"}


def pick_distance(chance: Chance, settings: Settings) -> float:
    """Draw a working distance in cm, the learner's usual one in two cases of five (always when it is fixed)."""
    if settings.fixed_distance or chance.happens(0.4):
        return settings.distance_cm
    return chance.among(EASY_DISTANCES if settings.level == "novice" else COMMON_DISTANCES)


def pick_any_distance(chance: Chance, settings: Settings) -> float:
    """Draw a distance in whole cm, the learner's usual one in a quarter of the cases (always when it is fixed)."""
    if settings.fixed_distance or chance.happens(0.25):
        return settings.distance_cm
    return float(chance.whole(30, 100))


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


DIOPTRES_OF_A_DISTANCE = frozenset(
    ("distance-in-dioptres", "compare-distances", "power-left", "spot-distance", "name-cause", "try-slips")
)
"""Steps whose line may show a working distance in dioptres, so that its page states by which rule."""


def distance_rule(case_type: CaseType) -> str:
    """Return how a distance is turned into dioptres, for the page of a type whose working shows one; else ""."""
    named = any(field.name.endswith(("_cm", "inches")) for field in case_type.findings.fields)
    whole = named or case_type.id == "whole-run"
    return DISTANCE_RULE if whole and any(s.skill.id in DIOPTRES_OF_A_DISTANCE for s in case_type.steps) else ""


def distance_in_dioptres(*, exact: bool = False, shows: float = 0.02) -> Step:
    """Step: `distance_cm` to `vergence` in D, as the clinic rounds it or exactly.

    shows: in D, how far a wrong vergence must be out to show in the answer.
    """
    value = vergence if exact else working_vergence

    def says(cm: float, power: float) -> str:
        if exact or not is_clinic_value(cm) or abs(power - vergence(cm)) < 0.002:
            return f"{write_distance(cm)} is 100 ÷ {cm:g} = {size(power)} D."
        return f"{write_distance(cm)} is 100 ÷ {cm:g} = {vergence(cm):.3f} D, in the clinic taken as {size(power)}."

    return VERGENCE.step(
        skills.DISTANCE_IN_DIOPTRES,
        run=given(DISTANCE)(value),
        says=given(DISTANCE, VERGENCE)(says),
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=given(DISTANCE)(lambda cm: cm / 100),
                says=given(DISTANCE, VERGENCE)(lambda cm, power: f"{write_distance(cm)} taken as {size(power)} D."),
                # At a metre and a half the metres are the habitual 1.50 as well, and the habit tells it already.
                live=given(DISTANCE)(lambda cm: all(abs(cm / 100 - other) > shows for other in (value(cm), 1.5))),
            ),
            Slip(
                skills.ALWAYS_ONE_FIFTY,
                run=given()(lambda: 1.5),
                says=given(DISTANCE)(lambda cm: f"1.50 D taken, though the distance is {write_distance(cm)}."),
                live=given(DISTANCE)(lambda cm: abs(value(cm) - 1.5) > shows),
            ),
        ),
    )


def fixation_demand(at: Readable[float]) -> Step:
    """Step: the distance in cm, `at`, to the `demand` in D that a target there makes."""
    return DEMAND.step(
        skills.DISTANCE_IN_DIOPTRES,
        run=given(at)(lambda cm: 100 / cm),
        says=given(at, DEMAND)(
            lambda cm, demand: f"A target {write_distance(cm)} away asks for 100 ÷ {cm:g} = {size(demand)} D."
        ),
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=given(at)(lambda cm: cm / 100),
                says=given(at, DEMAND)(lambda cm, demand: f"{write_distance(cm)} taken as {size(demand)} D."),
                live=given(at)(lambda cm: abs(cm - 100) > 2),
            ),
        ),
    )


@given(GROSS, VERGENCE, NET)
def taken_off(gross: Powers, off: float, net: Powers) -> str:
    """Say how the vergence came off every power of `gross`."""
    sums = [less(g, off, n) for g, n in zip(gross, net, strict=True)]
    return f"Take the distance off: {', and '.join(sums)}."


@given(GROSS, VERGENCE)
def off_gross(gross: Powers, off: float) -> Powers:
    """Take the vergence off every power of `gross`."""
    return tuple(g - off for g in gross)


def add_sizes(a: float, b: float) -> float:
    """Add the sizes of two powers and keep the first one's sign: what a learner does who loses a sign."""
    return math.copysign(abs(a) + abs(b), a)


def subtract_sizes(power: float, off: float) -> float:
    """Take `off` from the size of a power and put its sign back: what a learner does who does not see the sign."""
    return (abs(power) - off) * (1 if power >= 0 else -1)


LEFT_IN = Slip(
    skills.DISTANCE_LEFT_IN,
    run=given(GROSS)(lambda gross: gross),
    says=given(NET)(lambda net: f"Nothing taken off: {listed(net)}."),
)
ADDED = Slip(
    skills.DISTANCE_ADDED,
    run=given(GROSS, VERGENCE)(lambda gross, off: tuple(g + off for g in gross)),
    says=given(VERGENCE, NET)(lambda off, net: f"{size(off)} added: {listed(net)}."),
)


def take_off_distance(*more: Slip[Powers]) -> Step:
    """Step: the powers in `gross` less the `vergence`, in D, to `net`; `more` slips beside leaving it in or adding."""
    return NET.step(skills.TAKE_OFF_DISTANCE, run=off_gross, says=taken_off, slips=(LEFT_IN, ADDED, *more))


def sign_blind(*, live: Rule[bool]) -> Slip[Powers]:
    """Build the slip of taking the distance off the size of each power; `live` says where it differs from others."""
    return Slip(
        skills.SIGN_BLIND,
        run=given(GROSS, VERGENCE)(lambda gross, off: tuple(subtract_sizes(g, off) for g in gross)),
        says=given(VERGENCE, NET)(lambda off, net: f"{size(off)} taken off the sizes: {listed(net)}."),
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


def read_scale(*drawn: Key[float] | str) -> Step:
    """Step: the directions `drawn` to the same as read off the dial."""
    keys = [Key[float](one) if isinstance(one, str) else one for one in drawn]
    directions = given_all(keys)

    def read(turn: Callable[[float], float]) -> Rule[tuple[float, ...]]:
        return directions(lambda *angles: tuple(turn(angle) for angle in angles))

    def changed_by(turn: Callable[[float], float]) -> Rule[bool]:
        return given(keys[0])(lambda first: first % 90 != 0 and turn(first) != first)

    says = directions(lambda *angles: f"The dial reads {' and '.join(degrees(angle) for angle in angles)}.")
    return directions.step(
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
    return MERIDIAN.step(
        skills.READ_MERIDIAN,
        run=given(STREAK)(across),
        says=given(MERIDIAN)(lambda at: f"The sweep runs across the streak, so it is the {degrees(at)} meridian."),
        slips=(
            Slip(
                skills.SWEEP_FOR_STREAK,
                run=given(STREAK)(lambda streak: streak),
                says=given(MERIDIAN)(lambda at: f"The {degrees(at)} meridian, along the streak."),
            ),
        ),
    )


SWEEP_OR_AXIS: Pair = (
    SlipRef(skills.READ_MERIDIAN.id, skills.SWEEP_FOR_STREAK.id),
    SlipRef(skills.PLACE_AXIS.id, skills.AXIS_AT_POWER.id),
)
"""Either puts the axis 90° out, so a prescription alone cannot say which it was."""


def turn_between(start: float, goal: float) -> float:
    """Return by how many degrees `goal` stands from `start` on the dial, −90 up to 90, anticlockwise positive."""
    return (goal - start + 90) % 180 - 90


def turn_on_dial(start: Readable[float], goal: Readable[float | None], *, stays: Rule[bool], says: Rule[str]) -> Step:
    """Step: the directions under `start` and `goal` to the `turn` from one to the other: up, down or leave."""
    both = given(stays, start, goal)

    def turn(up: Callable[[float, float], bool]) -> Rule[str]:
        return both(lambda stay, a, b: "leave" if stay or b is None else "up" if up(a, b) else "down")

    return TURN.step(
        skills.TURN_ON_DIAL,
        run=turn(lambda a, b: turn_between(a, b) > 0),
        says=says,
        slips=(
            Slip(
                skills.THROUGH_THE_NUMBERS,
                run=turn(lambda a, b: b > a),
                says=says,
                live=both(lambda stay, a, b: not stay and b is not None and abs(b - a) > 90),
            ),
        ),
    )


@given(FIRST_LENS, SECOND_LENS)
def any_cylinder(first: SphCyl, second: SphCyl) -> bool:
    """Say whether either of the two lenses that are added or compared has a cylinder."""
    return bool(first.cylinder or second.cylinder)
