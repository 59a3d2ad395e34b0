"""Lanes: the powers of two lenses on one scale of dioptres, meridian by meridian, and the error as the arrow between.

The pattern of the arrows tells the kind of error before any word does: both the same is a sphere, one alone a single
reading or the cylinder, opposite and equal the cylinder with the mean right, each to the other's bar the meridians
changed over. A line joins the two bars of each lens, so that the same is seen as a shape: side by side, leaning apart,
crossed. Two lenses whose meridians differ share no lanes: lenses.power_cross draws those.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cases.errors import OutOfRange
from cases.figures.pen import Anchor, Pen, text_width
from cases.notation.prescription import write_axis, write_power, write_size
from cases.optics.axes import across, axis_gap
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

WIDTH, LEFT, RIGHT = 352.0, 46.0, 288.0
"""Units: the drawing's width, and where its scale begins and ends; right of it stands by how much each lane is out."""
LANE, BAR = 54.0, 11.0
"""Units: from lane to lane, and half a bar's height."""
TOP = 48.0
"""Units: where the first lane lies, below its values and the words that say whose they are."""
LETTERS = 13.5
SAME_AXIS = 0.5
"""Degrees by which meridians may differ and still be the same as they are written."""
SAME_POWER = 0.005
"""Dioptres by which powers may differ and still be the same as they are written."""


@dataclass(frozen=True)
class Lane:
    """One meridian: its name ("180°", or "" where there is but one power), the right power and the one given, in D."""

    name: str
    right: float
    given: float

    @property
    def out(self) -> float:
        """The error in D: what was given less what is right."""
        return self.given - self.right


def lanes_of(right: SphCyl, given: SphCyl) -> tuple[Lane, ...]:
    """Return the meridians that two lenses share, the one nearest the horizontal first; empty where they share none.

    A sphere has every meridian, so it shares those of the other lens; two spheres have one lane without a name.
    """
    round_right, round_given = abs(right.cylinder) < SAME_POWER, abs(given.cylinder) < SAME_POWER
    if round_right and round_given:
        return (Lane("", right.sphere, given.sphere),)
    axis = given.axis if round_right else right.axis
    if not (round_right or round_given):
        gap = axis_gap(right.axis, given.axis)
        if min(gap, 90 - gap) > SAME_AXIS:
            return ()
    turns = sorted((axis, across(axis)), key=lambda turn: axis_gap(turn, 180))
    return tuple(Lane(f"{write_axis(turn)}°", right.power_at(turn), given.power_at(turn)) for turn in turns)


def pattern(lanes: Sequence[Lane]) -> str:
    """Say what kind of error the arrows show: "Both meridians are out by the same +1.50 D: …"; "" where nothing is.

    It says what the numbers are and names no step: several steps may lead to one pattern.
    """
    outs = [one.out for one in lanes]
    if all(abs(out) < SAME_POWER for out in outs):
        return ""
    if len(lanes) == 1:
        return f"Yours is {write_size(outs[0])} D too {_way(outs[0])}."
    (one, other), (first, second) = lanes, outs
    if abs(first - second) < SAME_POWER:
        size = f"{write_size(first)} D too {_way(first)}"
        return f"Both meridians are {size}: the sphere is out, not the cylinder or the axis."
    if abs(one.given - other.right) < SAME_POWER and abs(other.given - one.right) < SAME_POWER:
        return "The meridians have changed places: the two powers are right, where they act is not."
    if min(abs(first), abs(second)) < SAME_POWER:
        wrong = one if abs(first) > SAME_POWER else other
        return f"Only the power along {wrong.name} is out: {write_size(wrong.out)} D too {_way(wrong.out)}."
    stronger = abs(one.given - other.given) - abs(one.right - other.right)
    by = write_size(abs(stronger))
    cylinder = f"the cylinder is {by} D too strong" if stronger > 0 else f"the cylinder is {by} D too weak"
    if abs(first + second) < SAME_POWER and abs(stronger) > SAME_POWER:
        return f"The spherical equivalent is right; {cylinder}."
    return f"Both meridians are out, by different amounts: {write_size(first)} and {write_size(second)} D."


def _way(out: float) -> str:
    return "plus" if out > 0 else "minus"


def lanes_figure(lanes: Sequence[Lane], *, uid: str) -> Figure:
    """Draw lanes: the right power a solid bar, the one given a broken bar, the error the arrow from right to given.

    Raises
    ------
    OutOfRange
        Without a lane.
    """
    if not lanes:
        raise OutOfRange("lanes", "none", "two lenses that share their meridians have one or two")
    low, high, step = _range([value for one in lanes for value in (one.right, one.given)])

    def at(power: float) -> float:
        return LEFT + (RIGHT - LEFT) * (power - low) / (high - low)

    pen, foot = Pen(), TOP + LANE * (len(lanes) - 1) + 38
    if low < 0 < high:
        pen.line((at(0), TOP - BAR - 4), (at(0), foot), "scale", weight=1)
    if len(lanes) == 2:
        _joined(pen, lanes, at)
    pen.text(WIDTH, TOP - 31, "out by", size=LETTERS, anchor="end", kind="quiet")
    for number, one in enumerate(lanes):
        _lane(pen, TOP + LANE * number, one, at, first=number == 0)
    pen.line((LEFT, foot), (RIGHT, foot), "scale", weight=1)
    for tick in range(round((high - low) / step) + 1):
        value = low + tick * step
        pen.line((at(value), foot), (at(value), foot + 6), "scale", weight=1)
        pen.text(at(value), foot + 21, _mark(value), size=LETTERS, kind="quiet")
    pen.text(WIDTH, foot + 21, "D", size=LETTERS, anchor="end", kind="quiet")
    told = " ".join(_told(one) for one in lanes)
    described = f"{told} {pattern(lanes)}".strip()
    return pen.figure(uid=uid, title="Yours and the right one", description=described, height=foot + 26, width=WIDTH)


def _joined(pen: Pen, lanes: Sequence[Lane], at: Callable[[float], float]) -> None:
    """Join each lens's two bars: side by side for a sphere, leaning apart for a cylinder, crossed for a swap."""
    ends = (TOP + BAR, TOP + LANE - BAR)
    for kind, values in (("truth", [one.right for one in lanes]), ("mine", [one.given for one in lanes])):
        start, end = ((at(value), y) for value, y in zip(values, ends, strict=True))
        pen.line(start, end, kind, weight=1.2)


def _lane(pen: Pen, y: float, one: Lane, at: Callable[[float], float], *, first: bool) -> None:
    """Draw one lane; in the first, whose value is whose is written above, in the other the values stand below."""
    if one.name:
        pen.text(0, y + 5, one.name, size=LETTERS, anchor="start", kind="number")
    pen.line((LEFT, y), (RIGHT, y), "hair", weight=1)
    right, given = at(one.right), at(one.given)
    pen.line((right, y - BAR), (right, y + BAR), "truth", weight=2.5)
    value_y = y - BAR - 5 if first else y + BAR + 15
    if abs(one.out) < SAME_POWER:
        # Both bars stand at one place: the given one is drawn beside it, so that it does not seem to be left out.
        pen.line((right + 3.5, y - BAR), (right + 3.5, y + BAR), "mine", weight=2.5)
        pen.text(WIDTH, y + 5, "0", size=LETTERS, anchor="end", kind="quiet")
        _value(pen, right, value_y, (write_power(one.right), "both" if first else ""), "middle", "number halo")
        return
    way = math.copysign(1, given - right)
    pen.line((given, y - BAR), (given, y + BAR), "mine", weight=2.5)
    if abs(given - right) > 8:
        pen.arrow((right + 2.5 * way, y), (given - 3 * way, y), solid=False, kind="go")
    pen.text(WIDTH, y + 5, write_power(one.out), size=LETTERS, anchor="end", kind="go")
    # Side by side, two values that are close would run into each other: each is written away from the other.
    needed = (text_width(write_power(one.right), LETTERS) + text_width(write_power(one.given), LETTERS)) / 2 + 6
    apart = abs(given - right) >= needed
    outward: tuple[Anchor, Anchor] = (
        ("middle", "middle") if apart else (("end", "start") if way > 0 else ("start", "end"))
    )
    _value(pen, right, value_y, (write_power(one.right), "right" if first else ""), outward[0], "number halo")
    _value(pen, given, value_y, (write_power(one.given), "yours" if first else ""), outward[1], "mine halo")


def _value(pen: Pen, x: float, y: float, words: tuple[str, str], anchor: Anchor, kind: str) -> None:
    """Write a value, and whose it is above it."""
    for line, up in zip(words, (0, 15), strict=True):
        if line:
            pen.text(x, y - up, line, size=LETTERS, anchor=anchor, kind=kind)


def _range(values: Sequence[float]) -> tuple[float, float, float]:
    """Return the ends of a scale in whole steps, and the step in D: to the data, with room for a bar at either end."""
    low, high = min(values), max(values)
    step = 1.0 if high - low <= 5 else 2.0 if high - low <= 11 else 5.0
    first, last = math.floor((low - 0.4) / step) * step, math.ceil((high + 0.4) / step) * step
    return first, max(last, first + 3 * step), step


def _mark(value: float) -> str:
    return "0" if value == 0 else f"{'+' if value > 0 else '−'}{abs(value):g}"


def _told(one: Lane) -> str:
    where = f"Along {one.name} " if one.name else ""
    if abs(one.out) < SAME_POWER:
        told = f"both {write_power(one.right)}."
    else:
        told = f"right {write_power(one.right)}, yours {write_power(one.given)}."
    return f"{where}{told}" if where else f"{told[:1].upper()}{told[1:]}"
