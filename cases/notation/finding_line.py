"""One line of a retinoscopist's notes, read as it is written: "R +3.25/-1.50x20 67cm", "-8.50/-1.50x15 12>14mm".

A line that may mean two things gives every reading that it may have. No reading is preferred to another. What a line
may hold and how it is abbreviated is common practice (no published source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from cases.notation.prescription import (
    read_distance_cm,
    read_meridian,
    read_power,
    read_prescription,
    write_axis,
    write_distance,
    write_power,
    write_prescription,
)
from cases.notation.tokens import (
    Ambiguous,
    Incomplete,
    NotationError,
    OutOfBounds,
    Unreadable,
    hold_to_length,
    plain_characters,
)
from cases.optics.axes import across, axis_gap
from cases.optics.lens import SphCyl

LONGEST_LINE = 200
"""Characters of one line."""

SQUARE_WITHIN = 15.0
"""How far from right angles, in degrees, two directions may be to be taken for principal ones."""

MOST_READINGS = 4
"""A line that may be read in more ways than this is refused."""

_LIKE = "R +3.25/-1.50x20 67cm"
_PAUSES = " ;,/|"


@dataclass(frozen=True)
class TwoPowers:
    """A sphere in D for each of two directions in degrees: of the streak, across which it acts, or of its meridian."""

    first: float
    first_power: float
    second: float
    second_power: float
    along: bool
    """Whether the directions are meridians, along which the powers act."""

    @property
    def streaks(self) -> tuple[float, float]:
        """The two directions of the streak."""
        return (across(self.first), across(self.second)) if self.along else (self.first, self.second)


@dataclass(frozen=True)
class SphereThenCylinder:
    """A sphere in D that neutralised one streak, and the cylinder in D that then neutralised the other."""

    streak: float
    sphere: float
    cylinder_streak: float
    cylinder: float


Found = SphCyl | TwoPowers | SphereThenCylinder


@dataclass(frozen=True)
class FindingLine:
    """One reading of a line.

    Powers are in D, directions in degrees, `distance_cm` is the working distance, `vertex_mm` the distances of the
    back of the lens from the cornea before and after. `worn` is what `found` was measured over, `added` another lens in
    the same frame. What the line does not say is None.
    """

    found: Found | None
    eye: str = ""
    """"right", "left", "both" or ""."""
    distance_cm: float | None = None
    working_lens: float | None = None
    included: bool | None = None
    """Whether the working lens is among the powers of `found`; None when there is none or it stands alone."""
    net: bool = False
    """Whether the working distance is taken off already."""
    vertex_mm: tuple[float, float] | None = None
    worn: SphCyl | None = None
    contact_lens: bool = False
    """Whether `worn` is a contact lens."""
    added: SphCyl | None = None
    form: str = ""
    """"minus", "plus" or ""."""
    differs: str = ""
    """What tells this reading from the others of the same line; "" when there is one."""

    @property
    def says(self) -> str:
        """What was read, in words."""
        parts = [{"": "", "both": "both eyes"}.get(self.eye, f"{self.eye} eye"), *_found_in_words(self)]
        if self.distance_cm is not None:
            parts.append(f"at {write_distance(self.distance_cm)}")
        if self.vertex_mm:
            before, after = self.vertex_mm
            parts.append(f"from {before:g} mm to {after:g} mm" if after else f"from {before:g} mm to the cornea")
        text = ", ".join(part for part in parts if part)
        return text[:1].upper() + text[1:]


def _found_in_words(line: FindingLine) -> Iterator[str]:
    match line.found:
        case SphCyl():
            gross = "net " if line.net else "gross " if line.distance_cm is not None or line.included else ""
            yield gross + _lens(line.found, line)
        case TwoPowers(a, p, b, q, along):
            for at, power in ((a, p), (b, q)):
                yield (
                    f"{write_power(power)} D along {write_axis(at)}"
                    if along
                    else (f"streak at {write_axis(at)}: {write_power(power)} D")
                )
        case SphereThenCylinder(a, sphere, b, cylinder):
            yield f"streak at {write_axis(a)}: sphere {write_power(sphere)} D"
            yield f"then streak at {write_axis(b)}: cylinder {write_power(cylinder)} D"
    if line.added is not None:
        yield f"together with {_lens(line.added, line)}"
    if line.worn is not None:
        yield f"over {'a contact lens' if line.contact_lens else 'the lens worn'}, {_lens(line.worn, line)}"
    if line.working_lens is not None:
        where = {True: " among these powers", False: " besides these powers", None: ""}[line.included]
        yield f"working lens {write_power(line.working_lens)} D{where}"


def _lens(lens: SphCyl, line: FindingLine) -> str:
    return write_prescription(lens, line.form or "as-is")


# --- the parts of a line ------------------------------------------------------------------------------------------

_NUMBER = r"\d{1,5}(?:[.,]\d{1,5})?(?!\d)|[.,]\d{1,5}(?!\d)"
_POWER = rf"(?:(?:[+-]|plus |minus ) ?(?:{_NUMBER})|(?:{_NUMBER})|pl(?:ano)?)(?: ?ds?\b| ?dc\b)?"
_DEGREES = r"(?:\d{1,3}(?:\.5)?|horizontal|vertical|horiz\.?|vert\.?|h|v)(?: ?(?:°|deg(?:rees)?))?"
_TO = r" ?(?:->|=>|>|→|\bto\b) ?"
_CORNEA = r"(?:the )?(cornea|contact lens|cl)\b"
_KIND = r"(sphere|sph|cylinder|cyl)?"
_EYES = {
    **dict.fromkeys(("r", "re", "od", "right", "right eye", "r eye"), "right"),
    **dict.fromkeys(("ou", "both", "both eyes"), "both"),
    **dict.fromkeys(("l", "le", "os", "left", "left eye", "l eye"), "left"),
}
_EYE = re.compile(
    r"^(r eye|l eye|right eye|left eye|both eyes|both|ou|right|left|re|le|od|os|r|l)(?=[ :.;,+-]|\d|pl) ?[:.;,]? ?"
)
_NAMES_VERTEX = r"\b(?:bvd|vd|vertex(?: distance)?) ?[:=]? ?"
_MOVED = re.compile(rf"(?:{_NAMES_VERTEX}|\b(?:at|from) ?)?({_NUMBER}) ?(?:mm)?{_TO}(?:({_NUMBER}) ?mm|{_CORNEA})")
_VERTEX = re.compile(rf"{_NAMES_VERTEX}({_NUMBER}) ?(?:mm)?(?:{_TO}(?:({_NUMBER})(?: ?mm)?|{_CORNEA}))?")
_LENGTH = re.compile(
    rf"(?:\b(?:at|from|wd|working distance|distance|dist\.?)\b ?[:=]? ?|@ ?)?"
    rf"([+-]? ?\d/\d|[+-]? ?(?:{_NUMBER})) ?(cms?|centimet(?:re|er)s?|mm|met(?:re|er)s?|m|inch(?:es)?|ins?|\")"
    r"(?![a-z])(?! ?(?:place|it|the)\b)"
)
_BARE_DISTANCE = re.compile(rf"\b(?:wd|working distance|distance|dist\.?) ?[:=]? ?({_NUMBER})(?![.,]?\d)")
_NAMES_WL = r"(?:wl|working lens)"
_INSIDE = r"(?:included|includes|including|incl?\.?|in it|inside|in place|among)"
_BESIDES = r"(?:besides|as well|extra|separate(?:ly)?|not included|excluded|excl?\.?)"
_WL_WITH = rf"(?:\b(?P<before>{_INSIDE}|{_BESIDES}|with) (?:an? )?)?"
_WL_WHERE = rf"(?: ?(?P<after>{_INSIDE}|{_BESIDES}))?"
_WL_AFTER = re.compile(
    rf"{_WL_WITH}(?P<power>\+ ?(?:{_NUMBER})|(?<![\d.,x*])\d+[.,]\d+)(?: ?ds?\b)?"
    rf" ?(?:for )?(?:the )?\b{_NAMES_WL}\b{_WL_WHERE}"
)
"""The power before its name: "+1.50 WL"."""
_WL_BEFORE = re.compile(rf"{_WL_WITH}\b{_NAMES_WL}\b ?[:=]?(?: ?(?P<power>\+? ?(?:{_NUMBER}))(?: ?ds?\b)?)?{_WL_WHERE}")
"""The name before its power, or without one: "WL +1.50", "WL in place"."""
_FORM = re.compile(
    r"(?:\b(?:in )?(minus|plus)|(?<![\d.,])([+-])) ?(?:cyl(?:inder)?s?|form)\b(?: ?form\b)?|(?<![a-z+-])(minus|plus) ?$"
)
_STREAK = re.compile(
    rf"(?:streak|beam) ?(?:at|along)? ?({_DEGREES}) ?[:=,]? ?(?:neutral(?:ised)? (?:with|at|by) ?)?{_KIND} ?({_POWER})"
    rf"|{_KIND} ?({_POWER}) ?{_KIND} ?(?:with|for|at)? ?(?:the )?(?:streak|beam) ?(?:at|along)? ?({_DEGREES})"
)
_MERIDIAN = re.compile(rf"()({_POWER}) ?(?:@|\balong\b|\b(?:in|at) (?:the )?meridian\b) ?({_DEGREES})")
_MERIDIAN_FIRST = re.compile(rf"(?:\b(?:meridian|mer)\b|@|\balong\b) ?({_DEGREES}) ?[:=,]? ?({_POWER})()")
_PLAIN_PAIR = re.compile(rf"({_DEGREES}) ?[:=] ?({_POWER})")
_OVER = re.compile(r"\b(?:over[- ]?refraction|over[- ]?ret(?:inoscopy)?|orx?|o/rx?|(?:ret|found) over it)\b ?[:=]?")
_PLAIN_OVER = re.compile(r"\bover\b(?: (?:the )?(?:specs|spectacles|glasses|rx|lens))? ?[:=]?")
_WORN = re.compile(r"\b(?:wearing|wears|worn|specs|spectacles|glasses|present rx|own rx) ?[:=]?")
_CONTACT_LENS = re.compile(r"\b(?:soft (?:contact )?lens|contact lens|scl|cl) ?[:=]?")
_TOGETHER = re.compile(r" ?(?:&|\band\b|\bcombined with\b|\btogether with\b) ?")
_GROSS = re.compile(r"(?<!over-)(?<!over )\b(?:gross|ret(?:inoscopy)?)\b ?[:=]?")
_NET = re.compile(r"\b(?:net|subjective|final)\b ?[:=]?")


_NOT_READ = (
    (
        re.compile(r"(?<=[ ;,/])(?:r|l|re|le|od|os|right|left) ?[:=]? ?(?:[+-] ?[\d.]|pl)"),
        "one eye a line is read",
        "two-eyes",
    ),
    (re.compile(r"\bva\b|^\d+/\d+$"), "a vision is not read here", "vision"),
    (re.compile(r"^\d+$"), "a whole number may be a distance or a power: write 67 cm or +0.75", "no-unit"),
    (re.compile(r"\b(?:prism|base)\b"), "prisms are not read here", "prism"),
    (re.compile(r"\badd\b"), "a reading addition is not read here", "addition"),
)
"""(what a line holds, why it is refused, fault)."""


_POWERS = re.compile(rf"(?:[+-]|\bplus|\bminus)? ?(?:{_NUMBER})|\bpl(?:ano)?\b")
_IS_INSIDE, _IS_BESIDES = re.compile(_INSIDE), re.compile(_BESIDES)
_MARKS_AXIS = re.compile(r"x|ax|/")
_TWO_DIGITS = re.compile(r"(?<![\d.,])[+-] ?\d{2}(?![\d.,])")


class _Rest:
    """What is left of a line while its parts are taken out."""

    def __init__(self, text: str) -> None:
        self.text = text

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """Take the first match out, leaving a pause in its place."""
        found = pattern.search(self.text)
        if found:
            self.text = f"{self.text[: found.start()]} ; {self.text[found.end() :]}".strip(" ;,")
        return found

    def take_all(self, pattern: re.Pattern[str]) -> list[re.Match[str]]:
        """Take every match out."""
        return list(iter(lambda: self.take(pattern), None))


def read_finding_line(text: str) -> tuple[FindingLine, ...]:
    """Read one line of findings; more than one reading when it may mean more than one thing.

    Raises
    ------
    NotationError
        When it cannot be read at all: with what is wrong and an example that is right.
    """
    hold_to_length(text, LONGEST_LINE)
    plain = " ".join(plain_characters(text).split())
    if not plain:
        raise Incomplete("", f"nothing was written: write it like {_LIKE}", "empty")
    for pattern, says, fault in _NOT_READ:
        if pattern.search(plain):
            raise Unreadable(text, f"{says}; write it like {_LIKE}", fault)
    rest = _Rest(plain)
    line = FindingLine(None)
    if eye := rest.take(_EYE):
        line = replace(line, eye=_EYES[eye[1]])
    try:
        readings = tuple(_deduplicated(_readings(rest, _said(rest, line), text)))
    except NotationError as error:
        # What a part of the line was cut down to is no longer what was written: the whole line is quoted instead.
        raise type(error)(text, error.says, error.fault) from error
    if len(readings) > MOST_READINGS:
        says = f"it may be read in {len(readings)} ways: write a sign before every power, as in {_LIKE}"
        raise Ambiguous(text, says, "many-readings")
    if len(readings) == 1:
        return (replace(readings[0], differs=""),)
    return readings


def _deduplicated(readings: Iterator[FindingLine]) -> Iterator[FindingLine]:
    seen: list[FindingLine] = []
    for one in readings:
        bare = replace(one, differs="")
        if bare not in seen:
            seen.append(bare)
            yield one


def _said(rest: _Rest, line: FindingLine) -> FindingLine:
    """Take out what stands beside the powers: cylinder form, vertex, distance, gross or net, working lens."""
    if form := rest.take(_FORM):
        said = form[1] or form[2] or form[3]
        line = replace(line, form={"+": "plus", "-": "minus"}.get(said, said))
    if moved := rest.take(_MOVED) or rest.take(_VERTEX):
        line = replace(line, vertex_mm=(_mm(moved[1]), _mm(moved[2]) if moved[2] else 0.0))
    if distance := rest.take(_LENGTH):
        line = replace(line, distance_cm=read_distance_cm(f"{distance[1]} {distance[2]}"))
    elif distance := rest.take(_BARE_DISTANCE):
        line = replace(line, distance_cm=read_distance_cm(distance[1]))
    if again := _LENGTH.search(rest.text):
        raise Unreadable(again[0], f"two distances are given: write one, as in {_LIKE}", "two-distances")
    if rest.take(_NET):
        line = replace(line, net=True)
    rest.take(_GROSS)
    return line


def _mm(text: str) -> float:
    return float(text.replace(",", "."))


# --- readings -----------------------------------------------------------------------------------------------------


def _readings(rest: _Rest, line: FindingLine, text: str) -> Iterator[FindingLine]:
    """Yield every reading, with the working lens named before or after its power where both can be."""
    ways = [found for pattern in (_WL_AFTER, _WL_BEFORE) if (found := pattern.search(rest.text))]
    if not ways:
        yield from _found(rest, line, text)
        return
    out: list[FindingLine] = []
    faults: list[NotationError] = []
    for lens in ways:
        try:
            out += _around_working_lens(_Rest(rest.text), lens, line, text)
        except NotationError as error:
            faults.append(error)
    if not out:
        raise faults[0]
    if any(one.found is not None for one in out):
        out = [one for one in out if one.found is not None]
    if len({one.working_lens for one in out}) > 1:
        out = [
            replace(one, differs=f"the working lens is {write_power(one.working_lens or 0)} D; {one.differs}")
            for one in out
        ]
    yield from out


def _around_working_lens(rest: _Rest, lens: re.Match[str], line: FindingLine, text: str) -> Iterator[FindingLine]:
    rest.take(lens.re)
    if lens["power"]:
        power = read_power(_signed(lens["power"].replace(" ", "")))
        if not power:
            says = "a working lens of 0 D matches no distance: write it like +1.50 WL"
            raise OutOfBounds(text, says, "working-lens-zero")
    elif line.distance_cm is not None:
        power = round(400 / line.distance_cm) / 4
    else:
        says = "the working lens has no power and there is no distance: write it like +1.50 WL"
        raise Incomplete(text, says, "no-power")
    for one in _found(rest, line, text, alone=True):
        yield from ([replace(one, working_lens=power)] if one.found is None else _with_working_lens(one, power, lens))


def _with_working_lens(line: FindingLine, power: float, lens: re.Match[str]) -> Iterator[FindingLine]:
    said = " ".join(lens[one] or "" for one in ("before", "after"))
    line = replace(line, working_lens=power)
    is_among, is_besides = (
        "the working lens is among these powers",
        "the working lens is in the frame besides these powers",
    )
    inside = replace(line, included=True, differs=_joined(line.differs, is_among))
    besides = replace(line, included=False, differs=_joined(line.differs, is_besides))
    if _IS_BESIDES.search(said):
        yield besides
    elif _IS_INSIDE.search(said):
        yield inside
    else:
        yield inside
        yield besides


def _found(rest: _Rest, line: FindingLine, text: str, *, alone: bool = False) -> Iterator[FindingLine]:
    """Yield what was found, in every way in which it may be read; `alone`: nothing need be left."""
    if not rest.text.strip(" ;,") and (alone or line.distance_cm is not None):
        yield line
        return
    streaks = rest.take_all(_STREAK)
    if streaks:
        yield replace(line, found=_of_streaks(streaks, rest, text))
        return
    for pattern in (_MERIDIAN, _MERIDIAN_FIRST):
        pairs = pattern.findall(rest.text)
        if len(pairs) == 2 and not pattern.sub("", rest.text).strip(_PAUSES):
            two = [_power_and_direction(one) for one in pairs]
            yield replace(line, found=_two_powers(two, along=True))
            return
    pairs = _PLAIN_PAIR.findall(rest.text)
    if len(pairs) == 2 and not _PLAIN_PAIR.sub("", rest.text).strip(_PAUSES):
        two = [(_direction(at), read_power(power)) for at, power in pairs]
        for along, are in ((False, "directions of the streak"), (True, "meridians")):
            differs = f"{write_axis(two[0][0])} and {write_axis(two[1][0])} are {are}"
            yield replace(line, found=_two_powers(two, along=along), differs=differs)
        return
    yield from _of_lenses(rest.text, line, text)


def _power_and_direction(found: tuple[str, ...]) -> tuple[float, float]:
    """Return (direction, power) of a match that has them in either order, the direction in the first and last group."""
    before, power, after = found
    return _direction(before or after), read_power(power.strip())


def _two_powers(pairs: list[tuple[float, float]], *, along: bool) -> TwoPowers:
    (a, p), (b, q) = pairs
    gap = axis_gap(a, b)
    if 90 - gap > SQUARE_WITHIN:
        says = (
            f"{write_axis(a)} and {write_axis(b)} are {gap:g}° apart: principal meridians lie at right angles, "
            f"so the second is {write_axis(across(a))} when the first is {write_axis(a)}"
        )
        raise OutOfBounds("", says, "not-at-right-angles")
    return TwoPowers(a, p, b, q, along)


def _direction(text: str) -> float:
    word = text.strip().rstrip(".")
    return read_meridian(
        {"h": "horizontal", "horiz": "horizontal", "v": "vertical", "vert": "vertical"}.get(word, word)
    )


def _signed(text: str) -> str:
    return text if text[:1] in "+-pm" else f"+{text}"


def _of_streaks(found: list[re.Match[str]], rest: _Rest, text: str) -> Found:
    if len(found) != 2 or rest.text:
        says = "two streaks are needed, each with its power: write it like streak 90: +2.00, streak 180: +3.50"
        raise Incomplete(text, says, "not-two-streaks")
    rows = [
        (_direction(one[1] or one[7]), (one[2] or one[4] or one[6] or "")[:3], read_power((one[3] or one[5]).strip()))
        for one in found
    ]
    (a, first_kind, p), (b, second_kind, q) = rows
    _two_powers([(a, p), (b, q)], along=False)
    if second_kind == "cyl":
        return SphereThenCylinder(a, p, b, q)
    if first_kind == "cyl":
        return SphereThenCylinder(b, q, a, p)
    return _two_powers([(a, p), (b, q)], along=False)


def _of_lenses(rest: str, line: FindingLine, text: str) -> Iterator[FindingLine]:
    rest = rest.strip(" ;,:")
    for pattern, first_is_worn in ((_OVER, True), (_PLAIN_OVER, False)):
        if found := pattern.search(rest):
            before, after = rest[: found.start()], rest[found.end() :]
            worn, over = (before, after) if first_is_worn else (after, before)
            if first_is_worn and not before.strip(" ;,"):
                yield from _lens_readings(after, replace(line, net=True), text)
                return
            contact = bool(_CONTACT_LENS.search(worn))
            bare = _CONTACT_LENS.sub(" ", _WORN.sub(" ", worn))
            for lens, said in _lens_in_every_way(bare, text):
                for one in _lens_readings(_WORN.sub(" ", over), line, text):
                    yield replace(one, worn=lens, contact_lens=contact, differs=_joined(said, one.differs))
            return
    rest = _WORN.sub(" ", rest).strip(" ;,:")
    both = _TOGETHER.split(rest)
    if len(both) == 2:
        for (first, a), (second, b) in product(_lens_in_every_way(both[0], text), _lens_in_every_way(both[1], text)):
            yield replace(line, found=first, added=second, differs=_joined(a, b))
        return
    if not rest:
        raise Incomplete(text, f"no power is given: write it like {_LIKE}", "no-power")
    yield from _lens_readings(rest, line, text)


def _lens_readings(rest: str, line: FindingLine, text: str) -> Iterator[FindingLine]:
    rest, bare = _bare_distance(rest, line)
    for lens, said in _lens_in_every_way(rest, text):
        yield replace(line, found=lens, distance_cm=bare or line.distance_cm, differs=said)


_ENDS_WITH_NUMBER = re.compile(r"[ ;,]{1,3}(\d{2,3})$")


def _bare_distance(rest: str, line: FindingLine) -> tuple[str, float | None]:
    """Take a whole number of 20 to 100 at the end as the working distance in cm, where it can be nothing else."""
    rest = rest.strip(" ;,:")
    found = _ENDS_WITH_NUMBER.search(rest)
    if not found or line.distance_cm is not None or line.vertex_mm or not 20 <= int(found[1]) <= 100:
        return rest, None
    head = rest[: found.start()]
    try:
        lens = read_prescription(head)
    except NotationError:
        return rest, None
    # After a cylinder without an axis the number would be the axis, and such a lens was refused.
    return (head, float(found[1])) if lens.cylinder or not _MARKS_AXIS.search(head) else (rest, None)


def _asked_back(error: Ambiguous, written: str) -> Iterator[tuple[SphCyl, str]]:
    """Yield both readings of a text that the reader of prescriptions asks back about.

    Raises
    ------
    Ambiguous
        Where the text itself has to be written otherwise.
    """
    if error.fault == "at-for-axis":
        axis = read_prescription(error.readings[0]).axis
        for reading, is_ in zip(
            error.readings, ("the axis", "the meridian along which the cylinder acts"), strict=True
        ):
            yield read_prescription(reading), f"{write_axis(axis)} is {is_}"
        return
    typed = _TWO_DIGITS.search(written)
    if error.fault != "no-decimal-mark" or not typed:
        raise error
    for reading in error.readings:
        lens = read_prescription(f"{written[: typed.start()]}{reading}{written[typed.end() :]}")
        yield lens, f"{typed[0].replace(' ', '').replace('-', '−')} is {reading}"


def _joined(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _lens_in_every_way(rest: str, text: str) -> list[tuple[SphCyl, str]]:
    """Return every lens that a text may be, each with what tells it from the others."""
    rest = rest.strip(" ;,:=")
    if not rest:
        raise Incomplete(text, f"a lens is missing: write it like {_LIKE}", "no-power")
    places = _unsigned_powers(rest)
    ways: list[tuple[SphCyl, str]] = []
    faults: list[NotationError] = []
    # A lens has two powers. With more than three the ways would double with each, and every one would be refused.
    tried = product("+-", repeat=len(places)) if len(places) <= 3 else (("+",) * len(places),)
    for signs in tried:
        written = _with_signs(rest, places, signs)
        said = " and ".join(
            f"{sign.replace('-', '−')}{rest[a:b].strip()} {name}"
            for sign, (a, b, name) in zip(signs, places, strict=True)
        )
        try:
            ways.append((read_prescription(written), said))
        except Ambiguous as error:
            try:
                ways += [(lens, _joined(said, more)) for lens, more in _asked_back(error, written)]
            except NotationError:
                faults.append(error)
        except NotationError as error:
            faults.append(error)
    if not ways:
        raise faults[0]
    return ways


_AXIS_MARK = re.compile(r"(?:x|\*|axis|ax|@|\ba)[ :=.]{0,3}$")


def _unsigned_powers(rest: str) -> list[tuple[int, int, str]]:
    """Return where powers without a sign stand: the sphere, the cylinder; 0 and plano need none."""
    numbers = [(found.start(), found.end(), found[0]) for found in _POWERS.finditer(rest)]
    powers = [one for one in numbers if not _AXIS_MARK.search(rest[: one[0]]) and rest[one[1] : one[1] + 1] != "°"]
    marked = len(powers) < len(numbers)
    if not marked and len(powers) == 3:
        powers.pop()
    out = []
    for at, (start, end, typed) in enumerate(powers):
        bare = typed.strip()
        if bare[:1] in "+-mp" or not float(bare.replace(",", ".") or 0):
            continue
        begin = start + len(typed) - len(typed.lstrip())
        out.append((begin, end, "cylinder" if at else "sphere"))
    return out


def _with_signs(rest: str, places: list[tuple[int, int, str]], signs: tuple[str, ...]) -> str:
    for (start, _, _), sign in reversed(list(zip(places, signs, strict=True))):
        rest = f"{rest[:start]}{sign}{rest[start:]}"
    return rest
