"""A case as numbers to type and options to choose, with the ranges that the app itself credits.

Other platforms mark a number by a range. No tolerance is written down here: each range is searched for with the marking
of the core (`Kind.close`, `Kind.same`, `Kind.meant`), so that a platform gives the verdict that the app gives.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

from cases.errors import CaseError
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.crossed_cylinders import CrossedCylinders
from cases.procedure.fields import Field
from cases.procedure.kinds import Cross, Kind, Lens, eighths_meant
from cases.procedure.marking import is_credited
from cases.procedure.quantities import Quantity

SLACK = 1e-6
"""By which a range is written wider than it is: 1.13 + 0.5 is no exact number in a computer."""
FARTHEST = 400.0
"""No range of an answer reaches so far from it, in any unit of a case."""
PATTERN = r"[+\-]?([0-9]{1,3}(\.[0-9]*)?|\.[0-9]+)"
POWER_PATTERN = r"[+\-]?([0-9]{1,2}(\.[0-9]*)?|\.[0-9]+)"
"""Without 150 for 1.50, which the app reads and a platform would take for a hundred and fifty."""
NO_CYLINDER = "If there is no cylinder, write 0 for it and 180 for the axis."
HALVINGS = 32
"""Halved so often, the widest step in which a bound lies (64) is narrower than `SLACK`."""
HOW = "Write each number with digits and a point (0.25, not 0,25), the hyphen - for minus, and no unit."

INFINITE = "the right answer is infinite, which is no number to type"
ELSEWHERE = "its powers lie along other meridians than those printed"
NEARLY_EQUAL = "the two powers of the cross are nearly equal, so that no range tells which is which"


class NotCarried(CaseError):
    """A case that a format cannot mark as the app does, with the reason."""


@dataclass(frozen=True)
class NumberField:
    """One number to type."""

    name: str
    """Of the response: the name of what is asked, and of the part of it."""
    label: str
    value: float
    """The right answer, as a person would write it."""
    low: float
    high: float
    """The least and the greatest number that is credited in the form asked for; of an axis, before it is wrapped."""
    unit: str
    wraps: bool = False
    """Whether it is an axis or a meridian: 180 more or less is the same."""
    pattern: str = PATTERN


@dataclass(frozen=True)
class Range:
    """A number, or a sum of numbers, that lies between two bounds."""

    terms: tuple[tuple[int, str], ...]
    """Of the sum: +1 or −1, and the name of a field."""
    low: float
    high: float
    wraps: bool = False


@dataclass(frozen=True)
class Piece:
    """Ranges that hold together, and fields that are left empty."""

    ranges: tuple[Range, ...]
    empty: tuple[str, ...] = ()


Accepted = tuple[Piece, ...] | tuple[str, ...] | str
"""What is credited for one thing asked: any of several pieces, or the options chosen."""


@dataclass(frozen=True)
class Asked:
    """One thing asked: numbers to type, or options to choose from where there are no fields."""

    ask: Field[Any]
    fields: tuple[NumberField, ...] = ()
    note: str = ""
    """What is said above the fields, such as the cylinder form."""


@dataclass(frozen=True)
class SlipMet:
    """What one slip (or several with one answer) leads to, none of it credited."""

    titles: tuple[str, ...]
    """What was done, to follow "you"."""
    values: Mapping[str, Any]
    ways: Mapping[str, Accepted]


@dataclass(frozen=True)
class Questions:
    """A case as other platforms can ask and mark it."""

    case: Case
    asked: tuple[Asked, ...]
    ways: tuple[Mapping[str, Accepted], ...]
    """Every credited combination: the key first, then what is credited beside it."""

    @property
    def how(self) -> tuple[str, ...]:
        """What is said before the fields: the form, how numbers are written, and what counts as right."""
        notes = tuple(one.note for one in self.asked if one.note)
        lines = (*notes, HOW) if any(one.fields for one in self.asked) else ()
        return (*lines, self.case.type.marked_within) if self.case.type.marked_within else lines

    @cached_property
    def slips(self) -> tuple[SlipMet, ...]:
        """The slips whose answers are wrong by the app's marking, each answer once."""
        return tuple(_slips(self))


def questions(case: Case) -> Questions:
    """Turn a case into fields and options.

    Raises
    ------
    NotCarried
        With the reason, where no range gives the verdict of the app.
    """
    answers = [case.truth, *({**case.truth, **one.answer} for one in case.defensible)]
    ways: list[Mapping[str, Accepted]] = []
    for answer in answers:
        way = {ask.name: accepted(case, ask, answer[ask.name], _credits) for ask in case.type.asks}
        if way not in ways:
            ways.append(way)
    asked = tuple(_asked(case, ask, ways[0][ask.name]) for ask in case.type.asks)
    return Questions(case, asked, tuple(ways))


def form_of(case: Case, lens: SphCyl) -> str:
    """Return the cylinder form that the answer is asked in, "minus" or "plus"."""
    return case.form or sign_form(lens)


def sign_form(lens: SphCyl) -> str:
    """Return the form that a lens has."""
    return "plus" if lens.cylinder > 0 else "minus"


# --- fields ------------------------------------------------------------------------------------------------------


def _asked(case: Case, ask: Field[Any], right: Accepted) -> Asked:
    kind, truth = ask.kind, case.truth[ask.name]
    if isinstance(kind, Choice | Marks | Order):
        return Asked(ask)
    pieces = _pieces(right)
    extent = {one.terms[0][1]: one for one in pieces[0].ranges if len(one.terms) == 1}
    if isinstance(kind, Quantity):
        one = extent[ask.name]
        pattern = POWER_PATTERN if kind.eighths else PATTERN
        unit = "°" if kind.on_dial else kind.unit.strip()
        (value,) = map(_written, numbers(case, ask, truth))
        return Asked(ask, (NumberField(ask.name, ask.label, value, one.low, one.high, unit, kind.on_dial, pattern),))
    if isinstance(kind, Cross):
        return Asked(ask, tuple(_cross_fields(case, ask, truth, pieces)))
    form, names = form_of(case, truth), _lens_names(ask)
    sphere, cylinder, turned = map(_written, numbers(case, ask, truth))
    anywhere = Range(((1, names[2]),), turned - 90, turned + 90)
    axis = extent.get(names[2], anywhere)
    spheres, cylinders = (_extent(pieces, names, at) for at in (0, 1))
    fields = (
        NumberField(names[0], "Sphere", sphere, *spheres, "D", pattern=POWER_PATTERN),
        NumberField(names[1], f"Cylinder ({form})", cylinder, *cylinders, "D", pattern=POWER_PATTERN),
        NumberField(names[2], "Axis", turned, axis.low, axis.high, "°", wraps=True),
    )
    return Asked(ask, fields, f"Write the prescription in {form}-cylinder form. {NO_CYLINDER}")


def _cross_fields(case: Case, ask: Field[Any], truth: SphCyl, pieces: Sequence[Piece]) -> Iterator[NumberField]:
    label = "Power of the cylinder ×" if isinstance(ask.kind, CrossedCylinders) else "Power @"
    angles, values, names = (truth.axis, across(truth.axis)), numbers(case, ask, truth), _pair_names(ask)
    for at, (name, angle) in enumerate(zip(names, angles, strict=True)):
        extent = _extent(pieces, names, at)
        yield NumberField(name, f"{label} {angle:g}", _written(values[at]), *extent, "D", pattern=POWER_PATTERN)


def numbers(case: Case, ask: Field[Any], value: Any, *, as_written: bool = False) -> tuple[float, ...]:
    """Return an answer to one thing asked as the numbers of its fields.

    as_written: take a lens in the form that it has, not in the one that is asked for.

    Raises
    ------
    NotCarried
        When a cross lies along other meridians than those printed.
    """
    if isinstance(ask.kind, Quantity):
        return (value,)
    if isinstance(ask.kind, Cross):
        cross = _as_printed(value, case.truth[ask.name].axis)
        along, other = cross.sphere, cross.sphere + cross.cylinder
        # A cylinder acts across its axis.
        return (other, along) if isinstance(ask.kind, CrossedCylinders) else (along, other)
    lens = value if as_written else value.in_form(form_of(case, case.truth[ask.name]))
    return (lens.sphere, lens.cylinder, lens.axis)


def _as_printed(cross: SphCyl, meridian: float) -> SphCyl:
    """Return a cross with its first power along a meridian in degrees; raises NotCarried where none acts along it."""
    if axis_gap(cross.axis, meridian) < 0.01 or not cross.cylinder:
        return SphCyl(cross.sphere, cross.cylinder, meridian)
    if axis_gap(cross.axis, across(meridian)) < 0.01:
        return SphCyl(cross.sphere + cross.cylinder, -cross.cylinder, meridian)
    raise NotCarried(ELSEWHERE)


def _lens_names(ask: Field[Any]) -> tuple[str, str, str]:
    return (f"{ask.name}-sphere", f"{ask.name}-cylinder", f"{ask.name}-axis")


def _pair_names(ask: Field[Any]) -> tuple[str, str]:
    return (f"{ask.name}-first", f"{ask.name}-second")


def _written(value: float) -> float:
    """Round to a hundredth, but for an eighth."""
    eighth = round(8 * value) / 8
    return eighth + 0.0 if abs(value - eighth) < 1e-9 else round(value, 2) + 0.0


def _extent(pieces: Sequence[Piece], names: Sequence[str], at: int) -> tuple[float, float]:
    """Return the least and the greatest of one of two numbers, however they hang together, in the first form."""
    reached = [corner[at] for corner in _corners([_row(one, names) for one in pieces[0].ranges if not one.wraps])]
    return min(reached), max(reached)


def _row(one: Range, names: Sequence[str]) -> tuple[int, int, float, float]:
    signs = {name: sign for sign, name in one.terms}
    return signs.get(names[0], 0), signs.get(names[1], 0), one.low, one.high


def _corners(rows: Sequence[tuple[int, int, float, float]]) -> list[tuple[float, float]]:
    (a, b, *first), (c, d, *second) = rows[:2]
    turn = a * d - b * c
    return [((d * x - b * y) / turn, (a * y - c * x) / turn) for x, y in product(first, second)]


def _pieces(found: Accepted) -> tuple[Piece, ...]:
    return tuple(one for one in found if isinstance(one, Piece))


# --- what is credited --------------------------------------------------------------------------------------------

Rule = Callable[[Kind[Any], Any, Any], bool]


def _credits(kind: Kind[Any], given: Any, truth: Any) -> bool:
    return kind.same(given, truth) or kind.close(given, truth)


def _matches(kind: Kind[Any], given: Any, truth: Any) -> bool:
    return kind.same(given, truth)


def accepted(case: Case, ask: Field[Any], truth: Any, rule: Rule) -> Accepted:
    """Return what counts as this answer to one thing asked, by a rule of the core.

    Raises
    ------
    NotCarried
        Where it is not finite, or no ranges tell it from others.
    """
    kind = ask.kind
    if isinstance(kind, Choice):
        return str(truth)
    if isinstance(kind, Marks | Order):
        return tuple(truth)
    if isinstance(kind, Quantity):
        return (Piece((_number(ask.name, kind, truth, rule),)),)
    if isinstance(kind, Cross):
        return _cross(case, ask, truth, rule)
    if isinstance(kind, Lens):
        # A slip is met as it is written: with the wrong sign of the cylinder, not as the same lens in the form asked.
        form = form_of(case, truth) if rule is _credits or not truth.cylinder else sign_form(truth)
        forms = (form,) if case.type.form_matters else (form, {"minus": "plus", "plus": "minus"}[form])
        return tuple(piece for one in forms for piece in _lens(ask, truth, one, rule))
    raise NotCarried(f"{ask.label}: an answer of this kind is neither a number nor a choice")


def _number(name: str, kind: Quantity, truth: float, rule: Rule) -> Range:
    if math.isinf(truth):
        raise NotCarried(INFINITE)

    def right(by: float) -> bool:
        try:
            given = axis_of(truth + by) if kind.on_dial else kind.from_json(truth + by)
        except CaseError:
            return False
        return any(rule(kind, one, truth) for one in kind.meant(given))

    return Range(((1, name),), truth - _reach(lambda by: right(-by)), truth + _reach(right), wraps=kind.on_dial)


def _reach(right: Callable[[float], bool]) -> float:
    """Return how far from 0 a rule holds: what it credits is one interval. 0 where it does not hold at once."""
    near, far = 0.0, 1 / 64
    while right(far):
        near, far = far, 2 * far
        if far > FARTHEST:
            return near
    for _ in range(HALVINGS):
        middle = (near + far) / 2
        near, far = (middle, far) if right(middle) else (near, middle)
    return near


Rows = tuple[tuple[int, int], tuple[int, int]]


def _lens(ask: Field[Any], truth: SphCyl, form: str, rule: Rule) -> Iterator[Piece]:
    """Yield the ranges of sphere, cylinder and axis of a lens written in one form."""
    names, lens = _lens_names(ask), truth.in_form(form)
    kind = ask.kind
    turned = _reach(
        lambda by: by <= 90 and rule(kind, SphCyl(lens.sphere, lens.cylinder, axis_of(lens.axis + by)), truth)
    )
    axis = () if turned > 89.9 else (Range(((1, names[2]),), lens.axis - turned, lens.axis + turned, wraps=True),)

    def make(sphere: float, cylinder: float) -> SphCyl | None:
        fits = cylinder <= 0 if form == "minus" else cylinder >= 0
        return SphCyl(sphere, cylinder, lens.axis) if fits else None

    # Lenses are compared in minus-cylinder form, where the sphere of a plus-cylinder form is sphere and cylinder.
    rows: Rows = ((1, 0), (0, 1)) if form == "minus" else ((1, 1), (0, 1))
    for ranges in _together(kind, truth, (lens.sphere, lens.cylinder), make, rows, rule):
        named = tuple(_named(one, names) for one in ranges)
        yield Piece(named + axis)
        if not axis and form == "minus" and named[1].high >= 0:
            yield Piece(named[:1], empty=(names[1],))


def _cross(case: Case, ask: Field[Any], truth: SphCyl, rule: Rule) -> tuple[Piece, ...]:
    """Return the ranges of two powers across each other: the more plus one, and the difference."""
    names, kind = _pair_names(ask), ask.kind
    truth = _as_printed(truth, case.truth[ask.name].axis)
    crossed = isinstance(kind, CrossedCylinders)
    if rule(kind, SphCyl.from_meridians(truth.axis, truth.sphere + truth.cylinder, truth.sphere), truth):
        raise NotCarried(NEARLY_EQUAL)
    values = numbers(case, ask, truth)

    def make(first: float, second: float) -> SphCyl | None:
        if (first >= second) != (values[0] >= values[1]):
            return None
        if crossed:
            return CrossedCylinders.of(truth.axis, first, second)
        return SphCyl.from_meridians(truth.axis, first, second)

    rows: Rows = ((1, 0), (1, -1)) if values[0] >= values[1] else ((0, 1), (-1, 1))
    found = _together(kind, truth, (values[0], values[1]), make, rows, rule)
    return tuple(Piece(tuple(_named(one, names) for one in ranges)) for ranges in found)


Row = tuple[int, int, float, float]
"""Signs of two numbers, and the bounds of their sum."""


def _named(row: Row, names: Sequence[str]) -> Range:
    terms = tuple((sign, name) for sign, name in zip(row[:2], names, strict=False) if sign)
    return Range(terms, row[2], row[3])


def _together(
    kind: Kind[Any],
    truth: SphCyl,
    at: tuple[float, float],
    make: Callable[[float, float], SphCyl | None],
    signs: Rows,
    rule: Rule,
) -> Iterator[tuple[Row, ...]]:
    """Yield the ranges of two powers that are marked together.

    at: the right powers. make: the lens of two powers, None where they are not in this form. signs: the two sums of
    the powers that the rule holds to bounds one by one. Where a power is an eighth it may be written in full, cut or
    rounded: for sums that is one more set of ranges for each eighth in reach.
    """

    def right(first: float, second: float) -> bool:
        given = make(first, second)
        return given is not None and rule(kind, given, truth)

    (a, b), (c, d) = signs
    turn = a * d - b * c
    start = (a * at[0] + b * at[1], c * at[0] + d * at[1])

    def moved(x: float, y: float) -> bool:
        return right((d * x - b * y) / turn, (a * y - c * x) / turn)

    xs = tuple(sign * _reach(lambda by, s=sign: moved(start[0] + s * by, start[1])) + start[0] for sign in (-1, 1))  # type: ignore[misc]
    ys = tuple(sign * _reach(lambda by, s=sign: moved(start[0], start[1] + s * by)) + start[1] for sign in (-1, 1))  # type: ignore[misc]
    rows: tuple[Row, Row] = ((a, b, xs[0], xs[1]), (c, d, ys[0], ys[1]))
    if signs == ((1, 0), (0, 1)):
        yield tuple((s, t, *_with_eighths(low, high)) for s, t, low, high in rows)
        return
    yield rows
    corners = _corners(rows)
    firsts, seconds = (_eighths(min(one[i] for one in corners), max(one[i] for one in corners)) for i in (0, 1))
    for ways in firsts:
        if span := _span(rows, 0, ways):
            yield ((1, 0, min(ways), max(ways)), (0, 1, *span))
    for ways in seconds:
        if span := _span(rows, 1, ways):
            yield ((0, 1, min(ways), max(ways)), (1, 0, *span))
    for ways, others in product(firsts, seconds):
        if any(_inside(rows, one, other) for one, other in product(ways, others)):
            yield ((1, 0, min(ways), max(ways)), (0, 1, min(others), max(others)))


def _eighths(low: float, high: float) -> list[tuple[float, ...]]:
    """Return the ways of writing each eighth in reach that has more than one."""
    found = (eighths_meant(at / 8) for at in range(math.floor(8 * low) - 1, math.ceil(8 * high) + 2))
    return [ways for ways in found if len(ways) > 1 and max(ways) >= low - 1e-9 and min(ways) <= high + 1e-9]


def _with_eighths(low: float, high: float) -> tuple[float, float]:
    """Widen a range by the ways of writing the eighths that it touches."""
    touched = [power for ways in _eighths(low, high) for power in ways]
    return min([low, *touched]), max([high, *touched])


def _span(rows: Sequence[Row], fixed: int, ways: Sequence[float]) -> tuple[float, float] | None:
    """Return the range of one power where the other is one of a few."""
    spans = []
    for value in ways:
        low, high = -math.inf, math.inf
        for row in rows:
            known, free = row[fixed] * value, row[1 - fixed]
            if not free:
                if not row[2] - 1e-9 <= known <= row[3] + 1e-9:
                    low, high = math.inf, -math.inf
                continue
            ends = sorted(((row[2] - known) / free, (row[3] - known) / free))
            low, high = max(low, ends[0]), min(high, ends[1])
        if low <= high + 1e-9:
            spans.append((low, max(low, high)))
    return (min(low for low, _ in spans), max(high for _, high in spans)) if spans else None


def _inside(rows: Sequence[Row], first: float, second: float) -> bool:
    return all(low - 1e-9 <= a * first + b * second <= high + 1e-9 for a, b, low, high in rows)


# --- slips -------------------------------------------------------------------------------------------------------


def _slips(found: Questions) -> Iterator[SlipMet]:
    """Yield what each slip leads to, but for what the app credits; slips with one answer are named together."""
    case = found.case
    titles = {(step.skill.id, slip.name.id): slip.name.title for step in case.type.steps for slip in step.slips}
    named: list[tuple[Mapping[str, Any], list[str]]] = []
    for one in case.singles:
        (ref,) = one.slips
        title = titles[(ref.step, ref.slip)]
        if is_credited(case, one.answer):
            continue
        alike = next((titles for answer, titles in named if case.type.same(one.answer, answer)), None)
        if alike is None:
            named.append((one.answer, [title]))
        elif title not in alike:
            alike.append(title)
    for answer, all_titles in named:
        try:
            ways = {ask.name: accepted(case, ask, answer[ask.name], _matches) for ask in case.type.asks}
        except NotCarried:
            continue
        yield SlipMet(tuple(all_titles), answer, ways)


def slip_words(titles: Sequence[str]) -> str:
    """Say which slips give this: every one that does, or the reader would take one of them for certain."""
    return f"This is what you get if you {', or if you '.join(titles)}."


def credits_numbers(found: Questions, given: Mapping[str, Any]) -> bool:
    """Mark given numbers and options by the ranges, as a platform does.

    given: for each field its number, None where it is empty; for each choice its option or options.
    """
    return any(all(fits(one, ask, given) for ask, one in way.items()) for way in found.ways)


def fits(one: Accepted, ask: str, given: Mapping[str, Any]) -> bool:
    """Say whether what was given for one thing asked is one of the answers that count."""
    pieces = [piece for piece in one if isinstance(piece, Piece)]
    if not pieces:
        return bool(given[ask] == one)
    return any(
        all(given[name] is None for name in piece.empty) and all(within(row, given) for row in piece.ranges)
        for piece in pieces
    )


def within(one: Range, given: Mapping[str, Any]) -> bool:
    """Say whether numbers lie in a range, an axis either way it is written."""
    if any(given[name] is None for _, name in one.terms):
        return False
    total = math.fsum(sign * given[name] for sign, name in one.terms)
    turns = (-180, 0, 180) if one.wraps else (0,)
    return any(one.low + turn - SLACK <= total <= one.high + turn + SLACK for turn in turns)
