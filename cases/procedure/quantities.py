"""Single numbers with a unit, as data: name, range, step, tolerance, and how each is read and written.

A new unit is a new value here, or beside the type that alone needs it: `Quantity(id="prism", unit=" Δ", …)`.
A type that needs other limits than the usual ones takes `POWER.having(low=0.25)`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from cases.notation import prescription
from cases.optics.axes import axis_gap
from cases.optics.vergence import FARTHEST_CM, NEAREST_CM
from cases.procedure.kinds import POWER_LIMIT, Kind, axis_from, eighths_meant, hold, number_from


@dataclass(frozen=True, kw_only=True)
class Quantity(Kind[float]):
    """A number with its unit, range, step, tolerance and the way it is written."""

    id: str
    unit: str
    """As written after the number, its space with it."""
    hint: str
    low: float
    high: float
    exact: float
    tolerance: float
    apart: float | None = None
    """How far apart the values of two slips have to be; None: the tolerance."""
    step: float
    """In which people write it: what a number field moves by."""
    decimals: int | None = None
    """Figures after the point; None: as many as there are."""
    trimmed: bool = False
    """Whether a last ".0" is left out."""
    eighths: bool = False
    """Whether an eighth may be written in full, cut or rounded."""
    sides: tuple[str, str] | None = None
    """What too much and too little are called; None: given and true value are both told."""
    spellings: tuple[str, ...] = ()
    """How else the unit may be typed."""
    reads: Callable[[str], float] | None = None
    """A reader of the trade's own notation; None: one number, with or without the unit."""
    on_dial: bool = False
    """Whether it goes round at 180."""
    writes: Callable[[float], str] | None = None
    """The trade's own way of writing it, unit and all; None: the number and the unit."""

    def having(self, **changed: Any) -> Quantity:
        """Return the same quantity with other limits or tolerances."""
        return replace(self, **changed)

    def read(self, text: str) -> float:
        """Read one number, with or without its unit, and hold it to its range."""
        return self._checked(self.reads(text) if self.reads else prescription.read_quantity(self._bare(text)))

    def _bare(self, text: str) -> str:
        for spelling in sorted((self.unit.strip(), *self.spellings), key=len, reverse=True):
            if spelling and text.strip().casefold().endswith(spelling.casefold()):
                return text.strip()[: -len(spelling)]
        return text

    def write(self, value: float) -> str:
        """Write it with its unit."""
        if self.writes:
            return self.writes(value)
        if self.decimals is None:
            return f"{value:g}{self.unit}".replace("-", "−")
        written = f"{round(value, self.decimals) + 0.0:.{self.decimals}f}"
        return f"{written.removesuffix('.0') if self.trimmed else written}{self.unit}".replace("-", "−")

    def from_json(self, given: object) -> float:
        """Take the number out of JSON and hold it to its range."""
        return axis_from(given) if self.on_dial else self._checked(number_from(given, self.id))

    def _checked(self, value: float) -> float:
        return value if self.on_dial else hold(self.id, value, self.low, self.high, self.unit)

    def to_json(self, value: float) -> Any:
        """Round to a thousandth."""
        return round(value, 3) + 0.0

    def same(self, given: float, truth: float) -> bool:
        """Compare within `exact`."""
        return self._gap(given, truth) <= self.exact + 1e-9

    def close(self, given: float, truth: float) -> bool:
        """Compare within `tolerance`."""
        return self._gap(given, truth) <= self.tolerance + 1e-9

    def tells_apart(self, one: float, other: float) -> bool:
        """Say whether they are further apart than `apart`."""
        return super().tells_apart(one, other) if self.apart is None else self._gap(one, other) > self.apart + 1e-9

    def _gap(self, given: float, truth: float) -> float:
        return axis_gap(given, truth) if self.on_dial else abs(given - truth)

    def meant(self, given: float) -> tuple[float, ...]:
        """Return the three ways of writing the eighth that it is, or itself."""
        return eighths_meant(given) if self.eighths else (given,)

    @property
    def marked_within(self) -> str:
        """Write the tolerance with its unit."""
        unit = "°" if self.on_dial else self.unit
        return f"{self.tolerance:g}{unit}"

    def differs(self, given: float, truth: float) -> str:
        """Say by how much it is out, and on which side where sides have names."""
        if self.on_dial:
            return f"{axis_gap(given, truth):.0f}° out"
        if self.sides is None:
            return super().differs(given, truth)
        gap = given - truth
        size = prescription.write_size(gap) if self.eighths else f"{abs(gap):.{self.decimals or 0}f}"
        return f"{size}{self.unit} too {self.sides[0] if gap > 0 else self.sides[1]}"


def _in(unit: str) -> Callable[[str], float]:
    return lambda text: prescription.read_quantity(text, unit)


POWER = Quantity(
    id="power", unit=" D", hint="a power, such as +1.25 or −0.50",
    reads=prescription.read_power, writes=lambda value: f"{prescription.write_power(value)} D",
    low=-POWER_LIMIT, high=POWER_LIMIT, step=0.25, exact=0.04, tolerance=0.125, eighths=True, sides=("plus", "minus"),
)  # fmt: skip
"""A power or a vergence, signed."""
SIZE = POWER.having(
    id="size", hint="a size, such as 0.50", reads=prescription.read_size,
    writes=lambda value: f"{prescription.write_size(value)} D", low=0.0, sides=("large", "small"),
)  # fmt: skip
"""How large a power or a difference of powers is: never below zero, written without a sign."""
DISTANCE = Quantity(
    id="distance", unit=" cm", hint="centimetres, such as 67",
    reads=prescription.read_distance_cm, writes=prescription.write_distance,
    low=NEAREST_CM, high=FARTHEST_CM, step=1.0, exact=0.5, tolerance=1.0,
)  # fmt: skip
ANGLE = Quantity(
    id="angle", unit="°", hint="degrees, such as 4.3", reads=prescription.read_angle,
    low=0.0, high=90.0, step=0.1, exact=0.1, tolerance=0.3, decimals=1, trimmed=True, sides=("large", "small"),
)  # fmt: skip
"""Between two lines of sight, or through which a lens is tilted; not an axis."""
HEIGHT = Quantity(
    id="height", unit=" cm", hint="centimetres, such as 8", reads=_in("cm"),
    low=-150.0, high=300.0, step=0.1, exact=0.3, tolerance=0.6, decimals=1, trimmed=True, sides=("high", "low"),
)  # fmt: skip
"""A height above the patient's eye (minus: below), or an offset square to a line of sight."""
AXIS = Quantity(
    id="axis", unit="", hint="degrees from 1 to 180", reads=prescription.read_axis, writes=prescription.write_axis,
    low=1.0, high=180.0, step=1.0, exact=0.5, tolerance=2.0, on_dial=True,
)  # fmt: skip
MERIDIAN = AXIS.having(reads=prescription.read_meridian)
"""A meridian or the direction of a streak, never an axis."""
MOVE = Quantity(
    id="millimetres", unit=" mm", hint="millimetres, such as 12", reads=_in("mm"),
    low=-30.0, high=30.0, step=1.0, exact=0.25, tolerance=0.5,
)  # fmt: skip
"""A length along the line of sight; as a move, plus is towards the eye and minus away from it."""
RADIUS = MOVE.having(
    id="radius", hint="millimetres, such as 7.80",
    low=5.0, high=12.0, step=0.05, exact=0.005, tolerance=0.02, decimals=2,
)  # fmt: skip
"""A radius of curvature of a cornea or a contact lens."""
DIAMETER = MOVE.having(
    id="diameter", hint="millimetres, such as 6", low=3.0, high=8.0, step=0.5, exact=0.1, tolerance=0.3,
)  # fmt: skip
"""Of a pupil."""
