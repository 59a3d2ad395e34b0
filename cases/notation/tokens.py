"""Text as typed, cut into numbers and marks: what one number stands for, and the refusals of what cannot be.

prescription.py puts several together.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, replace
from itertools import takewhile

from cases.errors import CaseError
from cases.optics.axes import axis_of

LONGEST = 200
"""Characters that a reader looks at; a prescription needs some forty at most."""

LONGEST_LIST = 1000
"""Characters of a list: of lenses, of lines of a log, of what was chosen."""

_SHOWN = 40
_DROPPED = dict.fromkeys([*range(0x200B, 0x2010), *range(0x202A, 0x202F), 0x061C, *range(0x2060, 0x206A), 0xFEFF])
_ALIKE = str.maketrans(
    {
        **dict.fromkeys("‐‑‒–—―−﹣⁃˗➖ー", "-"),
        **dict.fromkeys("﹢➕", "+"),
        **dict.fromkeys("×✕✖⨯хХ", "x"),
        **dict.fromkeys("٫·", "."),  # Arabic decimal separator; the raised point of British printing
        "،": ",",
        **dict.fromkeys("؛、⌢⁐", ";"),  # the last two are the old signs for "combined with"
        **dict.fromkeys("º˚", "°"),
        **dict.fromkeys("″”“", '"'),
        "∕": "/",
        "⁄": "/",
    }
)
_SPACES = dict.fromkeys(map(ord, "\t\n\v\f\r\x1c\x1d\x1e\x1f"), " ")
_WORDS = {
    **dict.fromkeys(("x", "ax", "axis", "a", "by"), "axis"),
    **dict.fromkeys(("at", "along"), "at"),
    **dict.fromkeys(("ds", "sph", "sphere", "s"), "sphere"),
    **dict.fromkeys(("dc", "cyl", "cylinder", "c"), "cylinder"),
    **dict.fromkeys(("d", "dpt", "dioptre", "dioptres", "diopter", "diopters"), "dioptre"),
    **dict.fromkeys(("deg", "degs", "degree", "degrees"), "degree"),
    **dict.fromkeys(("meridian", "mer"), "meridian"),
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("in", "ins", "inch", "inches"), "inch"),
    **dict.fromkeys(("ft", "foot", "feet"), "foot"),
}
_VALUES = {
    **dict.fromkeys(("pl", "plano", "plan", "∞"), ("plano", "0")),
    "horizontal": ("direction", "180"),
    "vertical": ("direction", "90"),
}
_SIGNS = {"+": "+", "-": "-", "plus": "+", "minus": "-"}
_MARKS = {
    **dict.fromkeys("/|;,()[]", "separator"),
    **dict.fromkeys(":=", "names"),
    "@": "at",
    "*": "axis",
    "°": "degree",
    '"': "inch",
}
_BEGINS = re.compile(r"“([^”]*)”|[^ :,]+")
# Not str.isdigit, which also takes ² and ①.
_DIGITS = frozenset("0123456789")
# Every alternative begins with its own kind of character, so the time is linear in the length of the text.
_PIECE = re.compile(r" +|[0-9]+(?:[.,][0-9]+)?|\.[0-9]+|[a-z]+|.", re.DOTALL)


class NotationError(CaseError):
    """Text that cannot be read as what was asked.

    The message is one sentence: what was given, what is wrong, what would be right. `fault` names the mistake in a
    fixed word for programs ("no-sign", "no-axis", "axis-zero" ...); `given` is the text, shortened for showing; `says`
    is the sentence without it.
    """

    def __init__(self, text: str, says: str, fault: str) -> None:
        self.given = shown(text)
        self.says = says
        self.fault = fault
        super().__init__(f"“{self.given}”: {says}" if text and not _names(says, self.given) else says)


def _names(says: str, given: str) -> bool:
    """Whether a sentence begins with the text as it was given, in marks of quotation or without."""
    begins = _BEGINS.match(says)
    return begins is not None and plain_characters(begins[1] or begins[0]) == plain_characters(given)


class Unreadable(NotationError):
    """The text holds something that has no place in what was asked."""


class Incomplete(NotationError):
    """A part is missing: a sign, an axis, a cylinder, or everything."""


class OutOfBounds(NotationError):
    """A number was read, but lies outside what the trade writes."""


class Ambiguous(NotationError):
    """Two readings are likely; `readings` spells them out."""

    def __init__(self, text: str, says: str, fault: str, readings: tuple[str, ...] = ()) -> None:
        super().__init__(text, says, fault)
        self.readings = readings


@dataclass(frozen=True)
class Number:
    """One number as typed: its sign ("+", "-" or ""), its digits, and the word it came from, if any.

    `fraction` is None when no decimal mark was typed, since 150 and 1.50 are then told apart by their digits alone.
    """

    sign: str
    whole: str
    fraction: str | None = None
    word: str = ""

    @property
    def value(self) -> float:
        """The plain decimal value; zero is never negative."""
        size = float(f"{self.whole or 0}.{self.fraction or 0}")
        return -size if self.sign == "-" and size else size

    def __str__(self) -> str:
        if self.word == "plano":
            return self.word
        point = "" if self.fraction is None else f".{self.fraction}"
        return shown(f"{self.sign.replace('-', '−')}{self.whole or '0'}{point}")


@dataclass(frozen=True)
class Sign:
    """Anything that is not a number: `kind` says what it does, `text` is how it was typed."""

    kind: str
    text: str


Token = Number | Sign


def shown(text: str) -> str:
    """Return the text as a message may quote it: no control characters, 40 characters at most."""
    head = text[: LONGEST + 1]
    plain = "".join(" " if c.isspace() else c for c in head if c.isspace() or unicodedata.category(c)[0] != "C")
    plain = " ".join(plain.split())
    return plain if len(plain) <= _SHOWN else plain[: _SHOWN - 1] + "…"


def plain_characters(text: str) -> str:
    """Return the text in lower-case ASCII where a character has a plain twin: digits, signs, commas, letters, spaces.

    Compatibility folding (NFKC) is not used: it turns ² into 2 and ½ into 1⁄2, which would change the number read.
    """
    text = text.translate(_DROPPED).translate(_ALIKE)
    if text.isascii():
        return text.translate(_SPACES).lower().strip().rstrip(" .,;")
    out = []
    for char in text:
        if 0xFF01 <= ord(char) <= 0xFF5E:
            plain = chr(ord(char) - 0xFEE0)
        elif char.isspace():
            plain = " "
        else:
            digit = unicodedata.decimal(char, None)
            plain = char if digit is None else str(digit)
        out.append(plain)
    return "".join(out).lower().strip().rstrip(" .,;")


def hold_to_length(text: str, most: int = LONGEST_LIST) -> str:
    """Return a text that is to be cut into parts, once it is known to be no longer than `most` characters.

    Raises
    ------
    Unreadable
        When it is longer.
    """
    if len(text) > most:
        raise Unreadable(text, f"longer than {most} characters: write only what is asked for", "too-long")
    return text


def scan(text: str, wanted: str) -> list[Token]:
    """Cut text into numbers and marks.

    A comma between digits is a decimal comma unless the number has its decimal mark already; with a space after it,
    or before a sign, it separates. `wanted` is an example of what would be right, for the refusals.

    Raises
    ------
    NotationError
        For text that is empty, too long, or holds a character or word that means nothing here.
    """
    if len(text) > LONGEST:
        raise Unreadable(text, f"longer than {LONGEST} characters: write only {wanted}", "too-long")
    plain = plain_characters(text)
    if not plain:
        raise Incomplete("", f"nothing was written: write it like {wanted}", "empty")
    return _Scanner(text, plain, wanted).tokens()


def _leading_digits(plain: str) -> str:
    return "".join(takewhile(_DIGITS.__contains__, plain))


class _Scanner:
    """The state of one pass over the text: the tokens so far and a sign that waits for its number."""

    def __init__(self, text: str, plain: str, wanted: str) -> None:
        self.text, self.plain, self.wanted = text, plain, wanted
        self.out: list[Token] = []
        self.sign = ""

    def tokens(self) -> list[Token]:
        at = 0
        while at < len(self.plain):
            found = _PIECE.match(self.plain, at)
            piece = found[0] if found else self.plain[at]
            at += len(piece)
            if piece[0] == " ":
                continue
            if piece[0] in _DIGITS or piece[0] == ".":
                at = self._number(piece, at)
            elif piece in _SIGNS:
                self._no_stray_sign()
                self.sign = _SIGNS[piece]
            elif piece == "," and self.plain[at : at + 1] in _DIGITS:
                at = self._tight_comma(at)
            else:
                self._no_stray_sign()
                self._mark(piece)
                if piece.isalpha() and self.plain[at : at + 1] == "." and self.plain[at + 1 : at + 2] not in _DIGITS:
                    at += 1  # the point of an abbreviation: "cyl." or "ax."
        self._no_stray_sign()
        return self.out

    def _number(self, piece: str, at: int) -> int:
        if piece == ".":
            raise self._meaningless(piece)
        whole, _, fraction = piece.replace(",", ".").partition(".")
        rest = self.plain[at:]
        if rest.startswith("."):
            after = rest[1:].lstrip()
            if after[:1] in _DIGITS:
                typed = shown(rest[: len(rest) - len(after)] + _leading_digits(after))
                says = f"{shown(piece)}{typed} may be one number or two: write one decimal mark, as in {self.wanted}"
                raise Ambiguous(self.text, says, "two-decimal-marks")
            at += 1
        self.out.append(Number(self.sign, whole, fraction or None))
        self.sign = ""
        return at

    def _tight_comma(self, at: int) -> int:
        before = self.plain[at - 2 : at - 1] if at > 1 else ""
        if before in _DIGITS:
            self.out.append(Sign("separator", ","))
            return at
        digits = _leading_digits(self.plain[at:])
        if before and not self.sign:
            says = f"the comma before {shown(digits)} may be a decimal mark or a pause: put a space after it"
            raise Ambiguous(self.text, says, "comma")
        return self._number("." + digits, at + len(digits))

    def _mark(self, piece: str) -> None:
        if piece in _VALUES:
            word, whole = _VALUES[piece]
            self.out.append(Number("", whole, word=word))
        elif kind := _WORDS.get(piece) or _MARKS.get(piece):
            self.out.append(Sign(kind, piece))
        else:
            self._joined(piece)

    def _joined(self, piece: str) -> None:
        """Take apart a word that runs into the axis mark, as in -1.50DCx90."""
        for tail in ("axis", "ax", "x"):
            head = piece.removesuffix(tail)
            if head != piece and (head in _WORDS or head in _VALUES):
                self._mark(head)
                self.out.append(Sign("axis", tail))
                return
        raise self._meaningless(piece)

    def _meaningless(self, piece: str) -> Unreadable:
        what = f"“{shown(piece)}”" if shown(piece) else "a character that cannot be shown"
        says = f"{what} has no meaning here: write it like {self.wanted}"
        return Unreadable(self.text, says, "no-meaning")

    def _no_stray_sign(self) -> None:
        if self.sign:
            sign = self.sign.replace("-", "−")
            says = f"the sign {sign} has no number of its own: write one sign, then the number, as in {self.wanted}"
            raise Unreadable(self.text, says, "stray-sign")


# --- what one number stands for -----------------------------------------------------------------------------------

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
        if isinstance(token, Sign) and token.kind not in kinds:
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
        most = f"{STRONGEST:g} D" if sized else f"±{STRONGEST:g} D"
        says = f"{number} D is beyond {most}: check the decimal mark; {like}"
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
