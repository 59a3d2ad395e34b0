"""What one typed number stands for: a power in D or an axis in degrees; asks back where two readings are likely."""

from __future__ import annotations

import math
from dataclasses import replace

from cases.notation.tokens import Ambiguous, Incomplete, Mark, Number, OutOfBounds, Token, Unreadable
from cases.optics.lens import axis_of

STRONGEST = 40.0
"""Largest power in D, without sign, that any reader accepts: past it a decimal mark was surely lost."""

_LIKE_POWER = "+1.25"
_LIKE_SIZE = "0.50"
_EIGHTHS = frozenset({12, 13})
_SPEAKS_OF = {"axis": "an axis", "degree": "degrees", "at": "a meridian", "meridian": "a meridian"}
"""What the marks of a direction speak of: an axis and a meridian are never taken for each other."""


def only_number(tokens: list[Token], kinds: tuple[str, ...], text: str, wanted: str) -> Number:
    """Return the one number among the tokens; only marks of the given kinds may stand beside it.

    wanted: an example of what would be right, for the refusals.

    Raises
    ------
    Unreadable, Incomplete
        For another mark, for more than one number, and for none.
    """
    numbers = [token for token in tokens if isinstance(token, Number)]
    for token in tokens:
        if isinstance(token, Mark) and token.kind not in kinds:
            of = _SPEAKS_OF.get(token.kind)
            why = f"speaks of {of}, and that is not asked here" if of else "has no place here"
            raise Unreadable(text, f"“{token.text}” {why}: write one number, like {wanted}", "no-meaning")
    if not numbers:
        raise Incomplete(text, f"no number is given: write one, like {wanted}", "no-number")
    if len(numbers) > 1:
        says = f"{len(numbers)} numbers are too many: write one, like {wanted}"
        raise Unreadable(text, says, "too-many-numbers")
    return numbers[0]


def power_of(number: Number, text: str) -> float:
    """Return the power in D that a number stands for: plain decimals, one digit, or signed hundredths.

    Raises
    ------
    Unreadable, OutOfBounds, Ambiguous
        For a direction, for a power beyond ±40 D, and where two readings are likely.
    """
    return _power(number, text, sized=False)


def size_of(number: Number, text: str) -> float:
    """Return how many dioptres a number that needs no sign stands for: 0 to 40 D.

    Raises
    ------
    Unreadable, OutOfBounds, Ambiguous
        For a minus, and as `power_of`; hundredths need no sign here.
    """
    if number.sign == "-" and number.value:
        bare = replace(number, sign="")
        says = f"a size has no minus, since it says how large and not which way: write {bare}, if that is how large"
        raise OutOfBounds(text, says, "size-signed")
    return _power(number, text, sized=True)


def _power(number: Number, text: str, *, sized: bool) -> float:
    digits, value = number.whole, number.value
    like = f"sizes are written like {_LIKE_SIZE}" if sized else f"powers are written like {_LIKE_POWER}"
    if number.word == "direction":
        raise Unreadable(text, f"a direction is no power: {like}", "no-meaning")
    if number.fraction is None and value and len(digits) > 1:
        value = _hundredths(number, text, sized=sized)
    if abs(value) > STRONGEST:
        says = f"{number} D is beyond {'' if sized else '±'}{STRONGEST:g} D: check the decimal mark; {like}"
        raise OutOfBounds(text, says, "power-beyond")
    return value


def _hundredths(number: Number, text: str, *, sized: bool) -> float:
    """Return 150 as 1.50 D where nothing else can be meant.

    Hundredths are taken only with a sign (a size needs none), three or four digits, and an ending that lenses have:
    fives, or the eighths that phoropters cut to 12, 37, 62, 87 (or round to 13, 38, 63, 88).
    """
    digits, sign, value = number.whole, number.sign.replace("-", "−"), number.value
    if len(digits) == 2:
        other = value if abs(value) <= STRONGEST else value / 10
        readings = (f"{sign}{abs(value) / 100:.2f}", f"{sign}{abs(other):.2f}")
    elif len(digits) > 4 or (len(digits) == 4 and digits[0] == "0"):
        says = f"{number} is no power that lenses have: write it with its decimal mark, like {_LIKE_POWER}"
        raise OutOfBounds(text, says, "power-beyond")
    elif not sign and not sized:
        readings = (f"+{value / 100:.2f}", f"−{value / 100:.2f}")
    elif int(digits) % 5 and int(digits) % 25 not in _EIGHTHS:
        readings = (f"{sign}{abs(value) / 100:.2f}", f"{sign}{abs(value) / 10:.1f}")
    else:
        return value / 100
    with_its = "decimal mark" if sized else "sign and decimal mark"
    says = f"{number} may be {readings[0]} or {readings[1]}: write it with its {with_its}"
    unsigned = len(digits) > 2 and not sign and not sized
    raise Ambiguous(text, says, "no-sign" if unsigned else "no-decimal-mark", readings)


def axis_in_range(number: Number, text: str) -> float:
    """Return an axis or meridian in degrees, 1 to 180, whole or half: finer than any trial frame is graduated.

    Raises
    ------
    OutOfBounds
        For a sign, 0, anything outside 1 to 180, and other fractions than a half.
    """
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
        says = f"axis {number}: write it to a whole or half degree, here {math.floor(value + 0.5)}"
        raise OutOfBounds(text, says, "axis-fraction")
    return value
