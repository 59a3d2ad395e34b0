"""Charts as drawings with their tables: scales, frames and marks that all share; the pen is cases.figures.pen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cases.figures.pen import SMALL, WIDTH, Pen, points
from cases.procedure.figure import Figure

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_LEFT, _TOP, _BOTTOM = 52.0, 36.0, 46.0


@dataclass(frozen=True)
class Table:
    """The data of a chart: a caption, headings, and rows of words; the first cell of a row names it."""

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Chart:
    """A drawing, what its marks mean, and the same facts as tables."""

    figure: Figure
    key: tuple[str, ...]
    tables: tuple[Table, ...]


@dataclass(frozen=True)
class Scale:
    """Data from `low` to `high` along one side of a chart, with a tick each `step`."""

    low: float
    high: float
    step: float

    @property
    def ticks(self) -> tuple[float, ...]:
        """The values that get a tick."""
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return tuple(number * self.step for number in range(first, last + 1))


def scale_over(values: Sequence[float], *, ticks: int = 6, least: float = 1.0) -> Scale:
    """Return a scale that holds all values with a little room, spans at least `least`, and has about `ticks` ticks."""
    low, high = (min(values), max(values)) if len(values) else (0.0, 0.0)
    short = max(0.0, least - (high - low)) / 2
    low, high = low - short, high + short
    room = 0.04 * (high - low)
    low, high = low - room, high + room
    step = nice_step((high - low) / ticks)
    return Scale(math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step, step)


def nice_step(rough: float) -> float:
    """Return the smallest of 1, 2, 2.5, 5 × a power of ten that is no less than `rough`."""
    power = 10.0 ** math.floor(math.log10(rough))
    return next(one * power for one in _STEPS if one * power >= rough * (1 - 1e-9))


class Plane:
    """The field of a chart: data to places, and the frame round it. y runs upward in the data."""

    def __init__(self, pen: Pen, x: Scale, y: Scale, *, height: float, right: float = 12.0) -> None:
        self.pen, self.x, self.y = pen, x, y
        self.left, self.right = _LEFT, WIDTH - right
        self.top, self.bottom = _TOP, height - _BOTTOM

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the place of a point."""
        return self.across(x), self.up(y)

    def across(self, x: float) -> float:
        """Return how far to the right x lies."""
        return self.left + (x - self.x.low) / (self.x.high - self.x.low) * (self.right - self.left)

    def up(self, y: float) -> float:
        """Return how far down the page y lies."""
        return self.bottom - (y - self.y.low) / (self.y.high - self.y.low) * (self.bottom - self.top)

    def frame(
        self, *, x_ticks: Sequence[tuple[float, str]], y_ticks: Sequence[tuple[float, str]], x: str, y: str
    ) -> None:
        """Draw the two sides with their ticks, the numbers on them, and what they measure (y stands above the side)."""
        pen = self.pen
        pen.line((self.left, self.top), (self.left, self.bottom))
        pen.line((self.left, self.bottom), (self.right, self.bottom))
        for value, words in y_ticks:
            place = self.up(value)
            pen.line((self.left - 4, place), (self.left, place))
            pen.text(self.left - 7, place + 0.36 * SMALL, words, size=SMALL, anchor="end", kind="number")
        for value, words in x_ticks:
            place = self.across(value)
            pen.line((place, self.bottom), (place, self.bottom + 4))
            pen.text(place, self.bottom + 21, words, size=SMALL, kind="number")
        pen.text((self.left + self.right) / 2, self.bottom + 41, x, size=SMALL)
        pen.text(2, 11.5, y, size=SMALL, anchor="start")

    def level(self, y: float, kind: str = "ink", *, weight: float = 1.5) -> None:
        """Draw a level line across the field."""
        self.pen.line((self.left, self.up(y)), (self.right, self.up(y)), kind, weight=weight)

    def belt(self, low: float, high: float, depth: float) -> None:
        """Tint the field between two values of y, as far as it is in the field."""
        low, high = max(low, self.y.low), min(high, self.y.high)
        if low < high:
            corners = ((self.left, self.up(low)), (self.right, self.up(low)), (self.right, self.up(high)))
            self.pen.wash(f"M{points(*corners, (self.left, self.up(high)))}Z", depth)

    def mark(self, x: float, y: float, kind: str) -> None:
        """Set a mark: "right" a filled dot, "left" a ring, "out" a cross."""
        across, up = self.at(x, y)
        if kind == "right":
            self.pen.dot((across, up), 2.6)
        elif kind == "left":
            self.pen.circle((across, up), 2.9, weight=1.2)
        else:
            for way in (1, -1):
                self.pen.line((across - 3, up - 3 * way), (across + 3, up + 3 * way), weight=1.2)

    def curve(self, where: Sequence[tuple[float, float]], kind: str = "ink", *, closed: bool = False) -> None:
        """Draw a line through points of the data."""
        self.pen.path(f"M{points(*(self.at(*one) for one in where))}{'Z' if closed else ''}", kind)
