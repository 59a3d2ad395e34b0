"""Prescriptions, powers, axes and distances read and written as people type them, the same in every locale.

The reader never guesses where two readings are likely: it refuses with a sentence that spells them out. Order and
signs are common practice (no published source); the axis range is ISO 8429; "plano" for nought is ISO 13666's word.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_DOWN, Decimal

from cases.errors import OutOfRange
from cases.lens import SphCyl, axis_gap, axis_of
from cases.typed import (
    STRONGEST,
    Ambiguous,
    Incomplete,
    Mark,
    NotationError,
    Number,
    OutOfBounds,
    Token,
    Unreadable,
    scan,
)

__all__ = [
    "Ambiguous",
    "Incomplete",
    "NotationError",
    "OutOfBounds",
    "Unreadable",
    "read_angle",
    "read_axis",
    "read_distance_cm",
    "read_power",
    "read_powers",
    "read_prescription",
    "read_quantity",
    "write_axis",
    "write_distance",
    "write_power",
    "write_powers",
    "write_prescription",
]

_LIKE_RX = "+1.00 / −1.50 × 90"
_LIKE_POWER = "+1.25"
_LIKE_AXIS = "90"
_LIKE_CROSS = "+1.00 @ 180, −0.50 @ 90"
_LIKE_DISTANCE = "67 cm"
_EIGHTHS = frozenset({0, 12, 13})
_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "inch": 2.54, "foot": 30.48}
_NEAREST_CM, _FARTHEST_CM = 1.0, 2000.0
_BARE_CM = (3.0, 300.0)


def write_power(value: float, decimals: int = 2) -> str:
    """Write a power in D with its sign, as in "+1.25", "−0.50" (U+2212), or "0.00" without one.

    An eighth loses its half hundredth, 0.125 → 0.12 and 0.375 → 0.37, as trial lenses are marked (common practice, no
    published source).

    Raises
    ------
    OutOfRange
        When the value is not finite.
    """
    if not math.isfinite(value):
        raise OutOfRange("power", str(value), "a finite number is needed")
    size = Decimal(repr(round(abs(value), 9))).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_DOWN)
    sign = "" if not size else "+" if value > 0 else "−"
    return f"{sign}{size:f}"


def write_axis(value: float) -> str:
    """Write an axis or meridian as a whole number of degrees, 1 to 180: 0.3 and 179.6 are both "180"."""
    if not math.isfinite(value):
        raise OutOfRange("axis", str(value), "a finite number is needed")
    return f"{axis_of(math.floor(axis_of(value) + 0.5)):.0f}"


def write_prescription(rx: SphCyl, form: str = "minus", *, decimals: int = 2) -> str:
    """Write a lens as "+1.00 / −1.50 × 90", a sphere as "+1.00 DS", no power as "plano"; powers in D, axis 1 to 180.

    `form` is "minus", "plus", or "as-is" for the form the lens has. A cylinder that rounds to nought is left out and
    half of it joins the sphere; a sphere of nought beside a cylinder is written "plano".

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
    """Write a distance given in cm, to a millimetre: "67 cm", "66.7 cm"."""
    if not math.isfinite(cm):
        raise OutOfRange("distance", str(cm), "a finite number is needed")
    return f"{cm:.1f}".removesuffix(".0") + " cm"


def read_prescription(text: str) -> SphCyl:
    """Read a prescription in either cylinder form: powers in D, axis in degrees 1 to 180.

    Raises
    ------
    NotationError
        When it cannot be read, is incomplete, lies out of bounds, or may be read in two ways.
    """
    parts = _parts(scan(text, _LIKE_RX), text)
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
            says = f"an axis, {axis}, is given without a cylinder: write {_LIKE_RX}, or the sphere alone"
            raise Incomplete(text, says, "no-cylinder")
        return SphCyl(_power(sphere or _PLANO, text))
    if not cylinder.sign and cylinder.value:
        says = f"{cylinder} has no sign: a cylinder is written with its sign and its axis, as in {_LIKE_RX}"
        raise Incomplete(text, says, "no-sign")
    power = _power(cylinder, text)
    if axis is None and power:
        says = f"the cylinder {cylinder} has no axis: write it like {_LIKE_RX}"
        raise Incomplete(text, says, "no-axis")
    return SphCyl(_power(sphere or _PLANO, text), power, _axis(axis, text) if axis else 180.0)


@dataclass
class _Part:
    """A number of the prescription, where it stands among the tokens, and what it was named, if it was."""

    number: Number
    at: int
    role: str = ""


_PLANO = Number("", "0", word="plano")


def _parts(tokens: list[Token], text: str) -> list[_Part]:
    """Return the numbers in the order typed, with the roles that the marks beside them give."""
    parts = [_Part(token, at) for at, token in enumerate(tokens) if isinstance(token, Number)]
    for part in parts:
        part.role = {"plano": "sphere", "direction": "axis"}.get(part.number.word, "")
    for at, token in enumerate(tokens):
        if isinstance(token, Mark) and token.kind not in ("separator", "names", "dioptre"):
            _name(token, at, tokens, parts, text)
    return parts


def _name(mark: Mark, at: int, tokens: list[Token], parts: list[_Part], text: str) -> None:
    """Give the number beside a mark its role: an axis mark looks ahead first, a name of a power looks back first."""
    before = next((part for part in reversed(parts) if part.at < at), None)
    after = next((part for part in parts if part.at > at), None)
    role = {"at": "axis", "degree": "axis"}.get(mark.kind, mark.kind)
    if mark.kind == "degree":
        choice = before if before and before.at == at - 1 and _may_be_axis(before) else None
    elif role == "axis":
        choice = next((part for part in (after, before) if part and _may_be_axis(part)), None)
    elif role in ("sphere", "cylinder"):
        between = tokens[before.at + 1 : at] if before else []
        touching = all(isinstance(token, Mark) and token.kind == "dioptre" for token in between)
        choice = before if before and touching and before.role in ("", role) else after
    else:
        raise Unreadable(text, f"“{mark.text}” has no place in a prescription: write it like {_LIKE_RX}", "no-meaning")
    if choice is None:
        fault = "no-axis" if role == "axis" else "no-number"
        says = f"“{mark.text}” has no {'axis' if role == 'axis' else 'power'} beside it: write it like {_LIKE_RX}"
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
    """Tell the sphere from the cylinder by their names, or by their order when the axis comes last."""
    if len(powers) == 1:
        only = powers[0]
        return (None, only.number) if only.role == "cylinder" else (only.number, None)
    first, second = powers
    if first.role and first.role == second.role:
        raise Unreadable(text, f"two {first.role}s are given: write it like {_LIKE_RX}", f"two-{first.role}s")
    if first.role == "cylinder" or second.role == "sphere":
        return second.number, first.number
    if axis and axis.at < second.at and not first.role and not second.role:
        readings = tuple(f"{a.number} / {b.number} × {axis.number}" for a, b in ((first, second), (second, first)))
        says = f"the axis is not last, so it may be {readings[0]} or {readings[1]}: write sphere / cylinder × axis"
        raise Ambiguous(text, says, "order", readings)
    return first.number, second.number


def _power(number: Number, text: str) -> float:
    """Return the power in D that a number stands for: plain decimals, one digit, or signed hundredths."""
    digits, value = number.whole, number.value
    if number.word == "direction":
        raise Unreadable(text, f"a direction is no power: write a power like {_LIKE_POWER}", "no-meaning")
    if number.fraction is None and value and len(digits) > 1:
        value = _hundredths(number, text)
    if abs(value) > STRONGEST:
        says = f"{number} D is beyond ±{STRONGEST:g} D: check the decimal mark; powers are written like {_LIKE_POWER}"
        raise OutOfBounds(text, says, "power-beyond")
    return value


def _hundredths(number: Number, text: str) -> float:
    """Return 150 as 1.50 D where nothing else can be meant.

    Hundredths are taken only with a sign, three or four digits, and an ending that lenses have: fives, or the eighths
    that phoropters cut to 12, 37, 62, 87 (or round to 13, 38, 63, 88).
    """
    digits, sign, value = number.whole, number.sign.replace("-", "−"), number.value
    if len(digits) == 2:
        other = value if abs(value) <= STRONGEST else value / 10
        readings = (f"{sign}{abs(value) / 100:.2f}", f"{sign}{abs(other):.2f}")
    elif len(digits) > 4 or (len(digits) == 4 and digits[0] == "0"):
        says = f"{number} is no power that lenses have: write it with its decimal mark, like {_LIKE_POWER}"
        raise OutOfBounds(text, says, "power-beyond")
    elif not sign:
        readings = (f"+{value / 100:.2f}", f"−{value / 100:.2f}")
    elif int(digits) % 5 and int(digits) % 25 not in _EIGHTHS:
        readings = (f"{sign}{abs(value) / 100:.2f}", f"{sign}{abs(value) / 10:.1f}")
    else:
        return value / 100
    says = f"{number} may be {readings[0]} or {readings[1]}: write it with its sign and decimal mark"
    raise Ambiguous(text, says, "no-sign" if len(digits) > 2 and not sign else "no-decimal-mark", readings)


def _axis(number: Number, text: str) -> float:
    """Return an axis or meridian in degrees, 1 to 180, whole or half: finer than any trial frame is graduated."""
    value = abs(number.value)
    if number.sign or number.word == "plano":
        raise OutOfBounds(text, f"{number} is no axis: axes run from 1 to 180, without a sign", "axis-signed")
    if value == 0:
        raise OutOfBounds(text, "axis 0: write 180; axes run from 1 to 180", "axis-zero")
    if value > 360 or value < 1:
        raise OutOfBounds(text, f"axis {number}: axes run from 1 to 180", "axis-beyond")
    if value > 180:
        back = f"{axis_of(value):g}" if axis_of(value) >= 1 else "180"
        says = f"{number} is past 180: bring it back into 1 to 180, here {back}"
        raise OutOfBounds(text, says, "axis-past-180")
    if value * 2 % 1:
        near = (f"{math.floor(value):d}", f"{min(math.ceil(value), 180):d}")
        raise OutOfBounds(text, f"axis {number}: write whole degrees, {near[0]} or {near[1]}", "axis-fraction")
    return value


def read_power(text: str) -> float:
    """Read one power in D: "+1.25", "1,25", "−1.5 D", "plano", or signed hundredths as in "+125".

    Raises
    ------
    NotationError
        When it is not one power, or may be read in two ways.
    """
    kinds = ("dioptre", "sphere", "cylinder")
    return _power(_only(scan(text, _LIKE_POWER), kinds, text, _LIKE_POWER), text)


def read_axis(text: str) -> float:
    """Read one axis or meridian in degrees, 1 to 180: "90", "90°", "× 90", "axis 90", "vertical".

    Raises
    ------
    NotationError
        When it is not one axis within 1 to 180.
    """
    number = _only(scan(text, _LIKE_AXIS), ("axis", "at", "degree", "meridian", "names"), text, _LIKE_AXIS)
    return _axis(number, "")


def _only(tokens: list[Token], kinds: tuple[str, ...], text: str, wanted: str) -> Number:
    """Return the one number among the tokens; only marks of the given kinds may stand beside it."""
    numbers = [token for token in tokens if isinstance(token, Number)]
    for token in tokens:
        if isinstance(token, Mark) and token.kind not in kinds:
            raise Unreadable(text, f"“{token.text}” has no place here: write one number, like {wanted}", "no-meaning")
    if not numbers:
        raise Incomplete(text, f"no number is given: write one, like {wanted}", "no-number")
    if len(numbers) > 1:
        says = f"{len(numbers)} numbers are too many: write one, like {wanted}"
        raise Unreadable(text, says, "too-many-numbers")
    return numbers[0]


def read_powers(text: str) -> tuple[tuple[float, float], ...]:
    """Read a power cross: two (meridian in degrees 1 to 180, power in D) pairs in the order typed.

    Raises
    ------
    NotationError
        When it is not two powers, each at its meridian, or the meridians are not at right angles within 1°.
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
    meridians = [_axis(number, text) for number, meridian in numbers if meridian]
    powers = [_power(number, text) for number, meridian in numbers if not meridian]
    if abs(axis_gap(*meridians) - 90) > 1:
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
        if not isinstance(token, Mark) or token.kind in ("separator", "dioptre", "sphere"):
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
    if len(tokens) > 2 and isinstance(tokens[2], Number) and tokens[1] == Mark("separator", "/"):
        over = tokens[2].value
        if not 1 <= over <= 9 or tokens[2].sign:
            raise Unreadable(text, f"that fraction is not clear: write a decimal, like {_LIKE_DISTANCE}", "fraction")
        del tokens[1:3]
    number, unit = _measured(tokens, tuple(_CM), text, _LIKE_DISTANCE)
    value = number.value / over
    if number.sign:
        raise OutOfBounds(text, f"a distance has no sign: write it like {_LIKE_DISTANCE}", "signed")
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
    number = _only(tokens, kinds, text, wanted)
    units = [token.kind for token in tokens if isinstance(token, Mark)]
    if len(units) > 1 or tokens[0] is not number:
        raise Unreadable(text, f"write the number first and one unit after it, like {wanted}", "unit-misplaced")
    if number.word:
        raise Unreadable(text, f"a word does not do here: write a number, like {wanted}", "no-meaning")
    return number, units[0] if units else ""
