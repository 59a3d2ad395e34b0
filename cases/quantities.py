"""Single numbers with a unit, as data: a new unit is a new value here and no class. To replace kinds.Scalar."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from cases import notation
from cases.errors import OutOfRange
from cases.kinds import POWER_LIMIT, Kind, number_from
from cases.lens import SphCyl, axis_gap
from cases.vergence import FARTHEST_CM, NEAREST_CM


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
    step: float
    """What drawn values and number fields are multiples of."""
    decimals: int | None = None
    """Figures after the point; None: as many as there are."""
    trimmed: bool = False
    """Whether a last ".0" is left out."""
    signed: bool = False
    """Whether a plus is written."""
    sides: tuple[str, str] | None = None
    """What too much and too little are called; None: given and true value are both told."""
    spellings: tuple[str, ...] = ()
    """How else the unit may be typed."""
    reads: Callable[[str], float] | None = None
    """A reader of the trade's own notation; None: one number, with or without the unit."""
    on_dial: bool = False
    """Whether it goes round at 180."""

    def read(self, text: str) -> float:
        """Read one number, with or without its unit, and hold it to its range."""
        return self._checked(self.reads(text) if self.reads else notation.read_quantity(self._bare(text)))

    def _bare(self, text: str) -> str:
        for spelling in sorted((self.unit.strip(), *self.spellings), key=len, reverse=True):
            if spelling and text.strip().casefold().endswith(spelling.casefold()):
                return text.strip()[: -len(spelling)]
        return text

    def write(self, value: float) -> str:
        """Write it with its unit."""
        if self.on_dial:
            return notation.write_axis(value)
        if self.signed:
            return f"{notation.write_power(value, self.decimals or 0)}{self.unit}"
        return f"{self._size(value)}{self.unit}".replace("-", "−")

    def _size(self, value: float) -> str:
        if self.decimals is None:
            return f"{value:g}"
        if self.decimals == 2:  # as lenses are marked: an eighth loses its half hundredth
            return notation.write_size(value)
        written = f"{round(value, self.decimals) + 0.0:.{self.decimals}f}"
        return written.removesuffix(".0") if self.trimmed else written

    def from_json(self, given: object) -> float:
        """Take the number out of JSON and hold it to its range."""
        number = number_from(given, self.id)
        return SphCyl(0, 0, number).axis if self.on_dial else self._checked(number)

    def _checked(self, value: float) -> float:
        if not self.low <= value <= self.high:
            raise OutOfRange(self.id, f"{value:g}{self.unit}", f"give {self.low:g} to {self.high:g}{self.unit}")
        return value

    def to_json(self, value: float) -> float:
        """Round to a thousandth."""
        return round(value, 3) + 0.0

    def same(self, given: float, truth: float) -> bool:
        """Compare within `exact`."""
        return self._gap(given, truth) <= self.exact + 1e-9

    def close(self, given: float, truth: float) -> bool:
        """Compare within `tolerance`."""
        return self._gap(given, truth) <= self.tolerance + 1e-9

    def _gap(self, given: float, truth: float) -> float:
        return axis_gap(given, truth) if self.on_dial else abs(given - truth)

    def differs(self, given: float, truth: float) -> str:
        """Say by how much it is out, and on which side where sides have names."""
        if self.on_dial:
            return f"{axis_gap(given, truth):.0f}° out"
        if self.sides is None:
            return super().differs(given, truth)
        gap = given - truth
        size = notation.write_size(gap) if self.decimals == 2 else f"{abs(gap):.{self.decimals or 0}f}"
        return f"{size}{self.unit} too {self.sides[0] if gap > 0 else self.sides[1]}"


POWER = Quantity(
    id="power", unit=" D", hint="a power, such as +1.25 or −0.50", reads=notation.read_power,
    low=-POWER_LIMIT, high=POWER_LIMIT, step=0.25, exact=0.04, tolerance=0.125,
    decimals=2, signed=True, sides=("plus", "minus"),
)  # fmt: skip
SIZE = replace(
    POWER, id="size", hint="a size, such as 0.50", reads=notation.read_size,
    low=0.0, signed=False, sides=("large", "small"),
)  # fmt: skip
DISTANCE = Quantity(
    id="distance", unit=" cm", hint="centimetres, such as 67", reads=notation.read_distance_cm,
    low=NEAREST_CM, high=FARTHEST_CM, step=1.0, exact=0.5, tolerance=1.0, decimals=1, trimmed=True,
)  # fmt: skip
ANGLE = Quantity(
    id="angle", unit="°", hint="degrees, such as 4.3", reads=notation.read_angle,
    low=0.0, high=90.0, step=0.1, exact=0.1, tolerance=0.3, decimals=1, trimmed=True, sides=("large", "small"),
)  # fmt: skip
AXIS = Quantity(
    id="axis", unit="", hint="degrees from 1 to 180", reads=notation.read_axis,
    low=1.0, high=180.0, step=1.0, exact=0.5, tolerance=2.0, on_dial=True,
)  # fmt: skip
PRISM = Quantity(
    id="prism", unit=" Δ", hint="prism dioptres, such as 4", spellings=("pd", "prism dioptres"),
    low=0.0, high=40.0, step=0.5, exact=0.25, tolerance=0.5, decimals=1, trimmed=True, sides=("large", "small"),
)  # fmt: skip
CELSIUS = Quantity(
    id="temperature", unit=" °C", hint="degrees Celsius, such as 21.5", spellings=("C", "degrees"),
    low=-20.0, high=60.0, step=0.5, exact=0.05, tolerance=0.25, decimals=1, trimmed=True, sides=("warm", "cold"),
)  # fmt: skip
