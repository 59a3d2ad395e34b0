"""Prescriptions, powers, axes and distances read and written as people type them, the same in every locale.

The reader never guesses where two readings are likely: it refuses with a sentence that spells them out. Order and
signs are common practice (no published source); the axis range is ISO 8429, "plano" ISO 13666 (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_DOWN, Decimal

from cases.errors import OutOfRange
from cases.notation.tokens import (
    Ambiguous,
    Incomplete,
    NotationError,
    Number,
    OutOfBounds,
    Sign,
    Token,
    Unreadable,
    axis_in_range,
    only_number,
    power_of,
    scan,
    size_of,
)
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl

__all__ = [
    "Ambiguous",
    "Incomplete",
    "NotationError",
    "OutOfBounds",
    "Unreadable",
    "read_angle",
    "read_axis",
    "read_distance_cm",
    "read_meridian",
    "read_power",
    "read_powers",
    "read_prescription",
    "read_quantity",
    "read_size",
    "rounded_power",
    "write_axis",
    "write_distance",
    "write_power",
    "write_powers",
    "write_prescription",
    "write_size",
]

_LIKE_RX = "+1.00 / −1.50 × 90"
_LIKE_POWER = "+1.25"
_LIKE_SIZE = "0.50"
_LIKE_AXIS = "90"
_LIKE_CROSS = "+1.00 @ 180, −0.50 @ 90"
_LIKE_DISTANCE = "67 cm"
_PLANO = Number("", "0", word="plano")
_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "inch": 2.54, "foot": 30.48}
_NEAREST_CM, _FARTHEST_CM = 1.0, 2000.0
_BARE_CM = (3.0, 300.0)
_EIGHTH = Decimal("0.125")
LARGEST = 1e12
"""In D: beyond it is no power that anyone wrote, and it would not be written to the hundredth either."""


def rounded_power(value: float, decimals: int | None = None) -> Decimal:
    """Round a power in D to the digits that are written: two decimals, or the three that an eighth has.

    A value that is no eighth and lies half-way goes to the smaller size. `decimals` fixes how many there are.

    Raises
    ------
    OutOfRange
        When the value is not finite, or so large that no lens or finding is meant.
    """
    if not abs(value) < LARGEST:
        raise OutOfRange("power", f"{value:g}", "a finite number is needed")
    exact = Decimal(repr(round(value, 9)))
    if decimals is None:
        decimals = 3 if exact % _EIGHTH == 0 and exact % (2 * _EIGHTH) else 2
    return exact.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_DOWN)


def write_power(value: float, decimals: int | None = None) -> str:
    """Write a power in D with its sign, as in "+1.25", "−0.50" (U+2212), "+0.875", or "0.00" without one.

    Two decimals, but an eighth in full, so that −4.25 and +0.875 make −3.375 as printed. Trial lenses are marked +0.87
    or +0.88 for it (common practice, no published source), and answers so written are credited alike.

    Raises
    ------
    OutOfRange
        As `rounded_power` does.
    """
    rounded = rounded_power(value, decimals)
    sign = "" if not rounded else "+" if rounded > 0 else "−"
    return f"{sign}{abs(rounded):f}"


def write_size(value: float, decimals: int | None = None) -> str:
    """Write how large a power or a difference in D is, without its sign, with the digits of signed powers: "0.50".

    Raises
    ------
    OutOfRange
        As `write_power` does.
    """
    return write_power(abs(value), decimals).lstrip("+")


def write_axis(value: float) -> str:
    """Write an axis or meridian as a whole number of degrees, 1 to 180: 0.3 and 179.6 are both "180".

    Raises
    ------
    OutOfRange
        When the value is not finite.
    """
    if not math.isfinite(value):
        raise OutOfRange("axis", str(value), "a finite number is needed")
    return f"{axis_of(math.floor(axis_of(value) + 0.5)):.0f}"


def write_prescription(rx: SphCyl, form: str = "minus", *, decimals: int | None = None) -> str:
    """Write a lens as "+1.00 / −1.50 × 90", a sphere as "+1.00 DS", no power as "plano"; powers in D, axis 1 to 180.

    The digits are those of `write_power`.

    `form` is "minus", "plus", or "as-is" for the form the lens has. A cylinder that rounds to zero is left out and
    half of it joins the sphere; a sphere of zero beside a cylinder is written "plano".

    Raises
    ------
    OutOfRange
        When the form is none of the three.
    """
    if form not in ("minus", "plus", "as-is"):
        raise OutOfRange("form", repr(form), 'write "minus", "plus" or "as-is"')
    lens = rx if form == "as-is" else rx.in_form(form)
    cylinder = write_power(lens.cylinder, decimals)
    if cylinder[0] not in "+−":
        sphere = write_power(lens.spherical_equivalent, decimals)
        return f"{sphere} DS" if sphere[0] in "+−" else "plano"
    sphere = write_power(lens.sphere, decimals)
    return f"{sphere if sphere[0] in '+−' else 'plano'} / {cylinder} × {write_axis(lens.axis)}"


def write_powers(pairs: tuple[tuple[float, float], ...]) -> str:
    """Write (meridian in degrees, power in D) pairs as "+1.00 @ 180, −0.50 @ 90"."""
    return ", ".join(f"{write_power(power)} @ {write_axis(meridian)}" for meridian, power in pairs)


def write_distance(cm: float) -> str:
    """Write a distance given in cm, to a millimetre: "67 cm", "66.7 cm".

    Raises
    ------
    OutOfRange
        When the value is not finite.
    """
    if not math.isfinite(cm):
        raise OutOfRange("distance", str(cm), "a finite number is needed")
    return f"{cm:.1f}".removesuffix(".0") + " cm"


def read_prescription(text: str) -> SphCyl:
    """Read a prescription in either cylinder form: powers in D, axis in degrees 1 to 180.

    "@" marks the power along a meridian and is not taken for an axis: both readings are spelled out instead.

    Raises
    ------
    NotationError
        When it cannot be read, is incomplete, lies out of bounds, or may be read in two ways.
    """
    tokens = scan(text, _LIKE_RX)
    ats = [token.text for token in tokens if isinstance(token, Sign) and token.kind == "at"]
    try:
        lens = _lens(tokens, text)
    except Incomplete as error:
        if not ats or error.fault not in ("no-axis", "no-cylinder", "no-power"):
            raise
        lens = SphCyl(0)
    if ats:
        raise _at_for_axis(text, ats[0], lens)
    return lens


def _at_for_axis(text: str, mark: str, lens: SphCyl) -> NotationError:
    """Return the question asked back where "@" stands before an axis; `lens` is what it would be with "×"."""
    if not lens.cylinder:
        says = f"“{mark}” marks the power along a meridian, as on a power cross: write a prescription like {_LIKE_RX}"
        return Unreadable(text, says, "at-for-axis")
    acting = replace(lens, axis=across(lens.axis))
    as_axis, along = (write_prescription(one, "as-is") for one in (lens, acting))
    at = write_axis(lens.axis)
    says = (
        f"“{mark}” marks the power along a meridian; did you mean × {at}? "
        f"Write {as_axis} if {at} is the axis, {along} if the cylinder acts along {at}"
    )
    return Ambiguous(text, says, "at-for-axis", (as_axis, along))


def _lens(tokens: list[Token], text: str) -> SphCyl:
    parts = _parts(tokens, text)
    axes = [part for part in parts if part.role == "axis"]
    powers = [part for part in parts if part.role != "axis"]
    if len(axes) > 1:
        says = f"two axes or meridians are given, as on a power cross: a prescription has one axis, as in {_LIKE_RX}"
        raise Unreadable(text, says, "two-axes")
    if not axes and len(powers) == 3 and not powers[2].role:
        axes = [powers.pop()]
    if len(powers) > 2:
        says = f"{len(parts)} numbers are too many: write one sphere, one cylinder and one axis, as in {_LIKE_RX}"
        raise Unreadable(text, says, "too-many-numbers")
    if not powers:
        raise Incomplete(text, f"no power is given: write it like {_LIKE_RX}", "no-power")
    sphere, cylinder = _sphere_and_cylinder(powers, axes[0] if axes else None, text)
    axis = axes[0].number if axes else None
    if cylinder is None:
        if axis:
            says = f"an axis, {axis}, is given without a cylinder: write it like {_LIKE_RX}, or the sphere alone"
            if sphere and sphere.sign:
                says = (
                    f"{sphere} has an axis, {axis}, but no cylinder beside it: "
                    f"write plano / {sphere} × {axis} if it is the cylinder, {sphere} DS if it is the sphere"
                )
            raise Incomplete(text, says, "no-cylinder")
        return SphCyl(power_of(sphere or _PLANO, text))
    if not cylinder.sign and cylinder.value:
        says = f"{cylinder} has no sign: a cylinder is written with its sign and its axis, as in {_LIKE_RX}"
        raise Incomplete(text, says, "no-sign")
    power = power_of(cylinder, text)
    if axis is None and power:
        says = f"the cylinder {cylinder} has no axis: write it like {_LIKE_RX}"
        raise Incomplete(text, says, "no-axis")
    return SphCyl(power_of(sphere or _PLANO, text), power, axis_in_range(axis, text) if axis else 180.0)


@dataclass
class _Part:
    """A number of the prescription, where it stands among the tokens, and what it was named, if it was."""

    number: Number
    at: int
    role: str = ""


def _parts(tokens: list[Token], text: str) -> list[_Part]:
    """Return the numbers in the order typed, with the roles that the marks beside them give."""
    parts = [_Part(token, at) for at, token in enumerate(tokens) if isinstance(token, Number)]
    for part in parts:
        part.role = {"plano": "sphere", "direction": "axis"}.get(part.number.word, "")
    for at, token in enumerate(tokens):
        if isinstance(token, Sign) and token.kind not in ("separator", "names", "dioptre"):
            _name(token, at, tokens, parts, text)
    return parts


def _name(mark: Sign, at: int, tokens: list[Token], parts: list[_Part], text: str) -> None:
    """Give the number beside a mark its role: an axis mark looks ahead first, a name of a power looks back first."""
    before = next((part for part in reversed(parts) if part.at < at), None)
    after = next((part for part in parts if part.at > at), None)
    role = {"at": "axis", "degree": "axis"}.get(mark.kind, mark.kind)
    if mark.kind == "degree":
        choice = before if before and _may_be_axis(before) else None
    elif role == "axis":
        choice = next((part for part in (after, before) if part and _may_be_axis(part)), None)
    elif role in ("sphere", "cylinder"):
        between = tokens[before.at + 1 : at] if before else []
        touching = all(isinstance(token, Sign) and token.kind == "dioptre" for token in between)
        choice = before if before and touching and before.role in ("", role) else after
    else:
        raise Unreadable(text, f"“{mark.text}” has no place in a prescription: write it like {_LIKE_RX}", "no-meaning")
    if choice is None:
        fault = "no-axis" if role == "axis" else "no-number"
        says = f"“{mark.text}” has no power beside it: write it like {_LIKE_RX}"
        if role == "axis":
            says = f"“{mark.text}” has no axis beside it: write it like {_LIKE_RX}"
        if role == "axis" and after and after.number.sign:
            says = f"{after.number} has a sign and an axis has none: write it like {_LIKE_RX}"
            fault = "axis-signed"
        raise Incomplete(text, says, fault)
    if choice.role not in ("", role):
        says = f"{choice.number} is named both {choice.role} and {role}: write it like {_LIKE_RX}"
        raise Unreadable(text, says, "two-names")
    choice.role = role


def _may_be_axis(part: _Part) -> bool:
    return not part.number.sign and part.number.word != "plano" and part.role in ("", "axis")


def _sphere_and_cylinder(powers: list[_Part], axis: _Part | None, text: str) -> tuple[Number | None, Number | None]:
    """Tell the sphere from the cylinder by their names, or by their order when the axis comes last.

    Some write the axis or the cylinder first, so any other order is taken only when names make it certain.
    """
    if len(powers) == 1:
        only = powers[0]
        return (None, only.number) if only.role == "cylinder" else (only.number, None)
    first, second = powers
    if first.role and first.role == second.role:
        raise Unreadable(text, f"two {first.role}s are given: write it like {_LIKE_RX}", f"two-{first.role}s")
    turned = first.role == "cylinder" or second.role == "sphere"
    if turned:
        clear = bool(first.role and second.role) or (axis is not None and first.at < axis.at < second.at)
    else:
        clear = bool(first.role or second.role) or axis is None or second.at < axis.at
    if not clear:
        tail = f" × {axis.number}" if axis else ""
        readings = tuple(f"{a.number} / {b.number}{tail}" for a, b in ((first, second), (second, first)))
        says = f"it may be {readings[0]} or {readings[1]}: write sphere / cylinder × axis, in that order"
        raise Ambiguous(text, says, "order", readings)
    return (second.number, first.number) if turned else (first.number, second.number)


def read_power(text: str) -> float:
    """Read one power in D: "+1.25", "1,25", "−1.5 D", "plano", or signed hundredths as in "+125".

    Raises
    ------
    NotationError
        When it is not one power, or may be read in two ways.
    """
    kinds = ("dioptre", "sphere", "cylinder")
    return power_of(only_number(scan(text, _LIKE_POWER), kinds, text, _LIKE_POWER), text)


def read_size(text: str) -> float:
    """Read how large a power or a difference is, in D, never negative: "0.50", "0,5 D", "+0.50", or "125" for 1.25.

    Raises
    ------
    NotationError
        When it is not one size, has a minus, or may be read in two ways.
    """
    kinds = ("dioptre", "sphere", "cylinder")
    return size_of(only_number(scan(text, _LIKE_SIZE), kinds, text, _LIKE_SIZE), text)


def read_axis(text: str) -> float:
    """Read one axis in degrees, 1 to 180: "90", "90°", "× 90", "axis 90", "vertical".

    Raises
    ------
    NotationError
        When it is not one axis within 1 to 180, or is marked as a meridian.
    """
    number = only_number(_degrees(text), ("axis", "degree", "names"), text, _LIKE_AXIS)
    return axis_in_range(number, "")


def read_meridian(text: str) -> float:
    """Read one meridian, or the direction of a streak, in degrees, 1 to 180: "90", "90°", "@ 90", "vertical".

    Raises
    ------
    NotationError
        When it is not one direction within 1 to 180, or is marked as an axis.
    """
    number = only_number(_degrees(text), ("at", "meridian", "degree", "names"), text, _LIKE_AXIS)
    return axis_in_range(number, "")


def _degrees(text: str) -> list[Token]:
    try:
        return scan(text, _LIKE_AXIS)
    except Unreadable as error:
        if error.fault != "stray-sign":
            raise
        says = f"an axis has no sign: axes run from 1 to 180, write it like {_LIKE_AXIS}"
        raise OutOfBounds(text, says, "axis-signed") from None


def read_powers(text: str, *, square_within: float = 1.0) -> tuple[tuple[float, float], ...]:
    """Read a power cross: two (meridian in degrees 1 to 180, power in D) pairs in the order typed.

    Raises
    ------
    NotationError
        When it is not two powers, each at its meridian, or the meridians are further from right angles than
        `square_within` degrees.
    """
    tokens = scan(text, _LIKE_CROSS)
    numbers = _crossed(tokens, text)
    if len(numbers) != 4:
        says = f"{len(numbers)} numbers are given and a power cross has four: write it like {_LIKE_CROSS}"
        raise Incomplete(text, says, "not-two-powers") if len(numbers) < 4 else Unreadable(text, says, "not-two-powers")
    order = "".join("m" if meridian else "p" for _, meridian in numbers)
    if order not in ("mpmp", "pmpm"):
        says = f"it is not clear which power belongs to which meridian: write it like {_LIKE_CROSS}"
        raise Ambiguous(text, says, "meridian-unclear")
    meridians = [axis_in_range(number, text) for number, meridian in numbers if meridian]
    powers = [power_of(number, text) for number, meridian in numbers if not meridian]
    if 90 - axis_gap(*meridians) > square_within:
        says = (
            f"the meridians {meridians[0]:g} and {meridians[1]:g} are {axis_gap(*meridians):g}° apart: "
            f"principal meridians lie at right angles, as in {_LIKE_CROSS}"
        )
        raise OutOfBounds(text, says, "not-at-right-angles")
    return tuple(zip(meridians, powers, strict=True))


def _crossed(tokens: list[Token], text: str) -> list[tuple[Number, bool]]:
    """Return the numbers, each with whether it is a meridian: after @, before a colon, with °, or a direction word."""
    numbers = [(at, token) for at, token in enumerate(tokens) if isinstance(token, Number)]
    meridians = {at for at, number in numbers if number.word == "direction"}
    for at, token in enumerate(tokens):
        if not isinstance(token, Sign) or token.kind in ("separator", "dioptre", "sphere"):
            continue
        if token.kind == "axis":
            says = f"“{token.text}” names the axis of a cylinder: write each power @ its meridian, like {_LIKE_CROSS}"
            raise Unreadable(text, says, "axis-on-a-cross")
        before = [i for i, _ in numbers if i < at]
        after = [i for i, _ in numbers if i > at]
        if token.kind == "at" and after:
            meridians.add(after[0])
        elif token.kind in ("names", "degree", "meridian") and before:
            meridians.add(before[-1])
        else:
            says = f"“{token.text}” has no place there: write each power @ its meridian, like {_LIKE_CROSS}"
            raise Unreadable(text, says, "no-meaning")
    return [(number, at in meridians) for at, number in numbers]


def read_distance_cm(text: str) -> float:
    """Read a distance and return it in cm, 1 to 2000: "67", "67 cm", "0.67 m", "670 mm", "26 in", "2/3 m".

    A bare number is centimetres from 3 to 300 and asked about outside that.

    Raises
    ------
    NotationError
        When it is not one distance, or may be read in two ways.
    """
    tokens = scan(text, _LIKE_DISTANCE)
    over = 1.0
    if len(tokens) > 2 and isinstance(tokens[2], Number) and tokens[1] == Sign("separator", "/"):
        over = tokens[2].value
        if not 1 <= over <= 9 or tokens[2].sign:
            raise Unreadable(text, f"that fraction is not clear: write a decimal, like {_LIKE_DISTANCE}", "fraction")
        del tokens[1:3]
    number, unit = _measured(tokens, tuple(_CM), text, _LIKE_DISTANCE)
    value = number.value / over
    if number.sign:
        raise OutOfBounds(text, f"a distance has no sign: write it like {_LIKE_DISTANCE}", "signed")
    if not value:
        raise OutOfBounds(text, f"zero is no distance: write it like {_LIKE_DISTANCE}", "distance-beyond")
    if unit == "mm" and len(number.fraction or "") == 3:
        readings = (f"{number} mm", f"{number.whole}{number.fraction} mm")
        says = f"it may be {readings[0]} or {readings[1]}: write it without a mark between the thousands"
        raise Ambiguous(text, says, "thousands", readings)
    if not unit and not (_BARE_CM[0] <= value <= _BARE_CM[1] and over == 1):
        readings = (f"{value:g} cm", f"{value:g} m" if value < _BARE_CM[0] else f"{value:g} mm")
        says = f"{value:g} may be {readings[0]} or {readings[1]}: write the unit, like {_LIKE_DISTANCE}"
        raise Ambiguous(text, says, "no-unit", readings)
    cm = value * _CM[unit or "cm"]
    if not _NEAREST_CM <= cm <= _FARTHEST_CM:
        says = f"{cm:g} cm is outside {_NEAREST_CM:g} to {_FARTHEST_CM:g} cm: write it like {_LIKE_DISTANCE}"
        raise OutOfBounds(text, says, "distance-beyond")
    return cm


def read_angle(text: str) -> float:
    """Read an angle in degrees, signed, within ±360: "4.3", "4,3°", "−2 degrees".

    Raises
    ------
    NotationError
        When it is not one angle within ±360.
    """
    angle = read_quantity(text, "°")
    if abs(angle) > 360:
        raise OutOfBounds(text, f"{angle:g}° is more than a full turn: write it within ±360", "angle-beyond")
    return angle


def read_quantity(text: str, unit: str = "") -> float:
    """Read a plain signed number in `unit`: "cm", "mm", "m" (one length typed in another is converted), "°" or "".

    Raises
    ------
    NotationError
        When it is not one number, or carries another unit.
    OutOfRange
        When `unit` is none of these.
    """
    kinds = {"": (), "°": ("degree",)}.get(unit, tuple(_CM) if unit in _CM else None)
    if kinds is None:
        raise OutOfRange("unit", repr(unit), 'write "cm", "mm", "m", "°" or ""')
    number, typed = _measured(scan(text, "4.3"), kinds, text, f"4.3 {unit}".replace(" °", "°").strip())
    return number.value * _CM[typed] / _CM[unit] if typed in _CM else number.value


def _measured(tokens: list[Token], kinds: tuple[str, ...], text: str, wanted: str) -> tuple[Number, str]:
    """Return the one number and the kind of the unit after it ("" for none)."""
    number = only_number(tokens, kinds, text, wanted)
    units = [token.kind for token in tokens if isinstance(token, Sign)]
    if len(units) > 1 or tokens[0] is not number:
        raise Unreadable(text, f"write the number first and one unit after it, like {wanted}", "unit-misplaced")
    if number.word:
        raise Unreadable(text, f"a word does not do here: write a number, like {wanted}", "no-meaning")
    return number, units[0] if units else ""
