"""The kind of answer that is two crossed cylinders, read and written as such and compared as the lens they make."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cases.notation.prescription import write_axis, write_power
from cases.notation.tokens import (
    Ambiguous,
    Incomplete,
    Number,
    OutOfBounds,
    Sign,
    Unreadable,
    axis_in_range,
    power_of,
    scan,
)
from cases.optics.axes import across, at_right_angles, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.kinds import Cross, two_across

LIKE = "+2.00 × 90, +0.50 × 180"

_MARKS = ("separator", "axis", "at", "degree", "cylinder", "dioptre")


@dataclass(frozen=True)
class CrossedCylinders(Cross):
    """Two cylinders at right angles in contact, kept as the lens that they make, its axis that of the first.

    A cylinder P × A acts with P D along the meridian across A, so the first one's power stands as the lens's power
    across its axis. Source: definition of a cylinder's axis, ISO 13666.
    """

    id = "cylinders"
    hint = f"power × axis twice, such as {LIKE}"

    @staticmethod
    def of(axis: float, power: float, other: float) -> SphCyl:
        """Build the lens of a cylinder of `power` D at `axis` degrees and one of `other` D at right angles to it."""
        return SphCyl.from_meridians(axis, other, power)

    def read(self, text: str) -> SphCyl:
        """Read two cylinders, each with its sign and axis; the axes must be at right angles, within a degree."""
        tokens = scan(text, LIKE)
        for token in tokens:
            if isinstance(token, Sign) and token.kind not in _MARKS:
                raise Unreadable(
                    text, f"“{token.text}” has no place here: write two cylinders, like {LIKE}", "no-meaning"
                )
        numbers = [token for token in tokens if isinstance(token, Number)]
        if len(numbers) != 4:
            says = f"{len(numbers)} numbers are given and two cylinders have four: write them like {LIKE}"
            raise Incomplete(text, says, "not-two-cylinders")
        power, axis = _cylinder(numbers[0], numbers[1], text)
        other, second = _cylinder(numbers[2], numbers[3], text)
        if not at_right_angles(axis, second):
            says = f"the axes {axis:g} and {second:g} are not at right angles; across {axis:g} lies {across(axis):g}"
            raise OutOfBounds(text, says, "not-at-right-angles")
        ats = [token.text for token in tokens if isinstance(token, Sign) and token.kind == "at"]
        if ats:
            raise _at_for_axis(text, ats[0], (power, axis), (other, second))
        return self.of(axis, power, other)

    def write(self, value: SphCyl) -> str:
        """Write two cylinders."""
        return ", ".join(f"{write_power(power)} × {write_axis(axis)}" for axis, power in self._cylinders(value))

    @staticmethod
    def _cylinders(value: SphCyl) -> tuple[tuple[float, float], ...]:
        return ((value.axis, value.sphere + value.cylinder), (across(value.axis), value.sphere))

    def from_json(self, given: object) -> SphCyl:
        """Take it out of [{"cylinder", "axis"}, {"cylinder", "axis"}], the axes at right angles."""
        rule = 'two crossed cylinders are [{"cylinder": D, "axis": 1..180}, {"cylinder": …, "axis": …}]'
        (axis, power), (_, other) = two_across(given, "axis", "cylinder", rule)
        return self.of(axis, power, other)

    def to_json(self, value: SphCyl) -> list[dict[str, float]]:
        """Give the two cylinders with their axes."""
        return [{"cylinder": round(power, 3) + 0.0, "axis": round(axis, 2)} for axis, power in self._cylinders(value)]


def _at_for_axis(text: str, mark: str, first: tuple[float, float], second: tuple[float, float]) -> Ambiguous:
    """Return the question asked back where "@" stands before the axes of two (power in D, degrees) cylinders."""

    def written(turn: Callable[[float], float]) -> str:
        return ", ".join(f"{write_power(power)} × {write_axis(turn(degrees))}" for power, degrees in (first, second))

    readings = written(axis_of), written(across)
    at = write_axis(first[1])
    says = (
        f"“{mark}” marks the power along a meridian; did you mean × {at}? "
        f"Write {readings[0]} if {at} is the first one's axis, {readings[1]} if it acts along {at}"
    )
    return Ambiguous(text, says, "at-for-axis", readings)


def _cylinder(power: Number, axis: Number, text: str) -> tuple[float, float]:
    if not power.sign and power.value:
        raise Incomplete(text, f"{power} has no sign: a cylinder is written with its sign, like {LIKE}", "no-sign")
    return power_of(power, text), axis_in_range(axis, text)
