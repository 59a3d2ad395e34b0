"""Kinds of quantity: how each is read, written, kept as JSON and compared. Choices and groups live elsewhere."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, Generic, TypeVar

from cases.errors import CaseError, OutOfRange
from cases.notation import prescription
from cases.optics.axes import across, at_right_angles, axis_gap
from cases.optics.lens import SphCyl

T = TypeVar("T")

POWER_LIMIT = 60.0
"""No lens or eye of this trade lies beyond it, in D."""


HALF_HUNDREDTH = 0.005
"""In D: what an eighth loses or gains where it is written with two decimals."""


class BadFinding(CaseError):
    """A finding in JSON is missing, unknown or of the wrong shape."""

    def __init__(self, given: object, rule: str) -> None:
        super().__init__(f"{_short(given)}: {rule}")


def _short(given: object) -> str:
    text = repr(given[:60] if isinstance(given, str | list) else given)
    return text if len(text) <= 60 else text[:57] + "…"


def _too(gap: float, above: str, below: str) -> str:
    return f"{prescription.write_size(gap)} D too {above if gap > 0 else below}"


def number_from(given: object, name: str) -> float:
    """Take a finite number out of JSON.

    Raises
    ------
    BadFinding
        When it is anything else.
    """
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise BadFinding(given, f"{name} must be a number")
    try:
        value = float(given)
    except OverflowError:  # a whole number of more than 308 digits
        value = math.inf
    if not math.isfinite(value):
        raise BadFinding(given, f"{name} must be a number")
    return value


def hold(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Return a number that lies within its range; raises OutOfRange with the range otherwise."""
    if not low <= value <= high:
        raise OutOfRange(name, f"{value:g}{unit}", f"give {low:g} to {high:g}{unit}")
    return value


def axis_from(given: object) -> float:
    """Take an axis in degrees out of JSON; 0 and angles past 180 are refused."""
    return SphCyl(0, 0, number_from(given, "axis")).axis


def power_from(given: object) -> float:
    """Take a power in D out of JSON; raises BadFinding or OutOfRange."""
    return hold("power", number_from(given, "power"), -POWER_LIMIT, POWER_LIMIT, " D")


def eighths_meant(power: float) -> tuple[float, ...]:
    """Return what a person may mean by a power in D: −3.37, −3.375 and −3.38 are three ways to write one eighth.

    Phoropters and trial lenses are marked either way (common practice, no published source).
    """
    eighth = round(power * 8) / 8
    if abs(power - eighth) > HALF_HUNDREDTH + 1e-9 or not eighth * 4 % 1:
        return (power,)
    return eighth, eighth - HALF_HUNDREDTH, eighth + HALF_HUNDREDTH


class Kind(ABC, Generic[T]):
    """One kind of quantity, asked for or found."""

    id: str
    hint = ""
    """How it is typed, for the line under an empty field."""

    @property
    def marked_within(self) -> str:
        """How far an answer may be out and is still right, to follow "within"; empty where nothing may."""
        return ""

    @property
    def missing(self) -> str:
        """What is said where nothing was given."""
        return f"nothing was written: give {self.hint or 'an answer'}"

    @abstractmethod
    def read(self, text: str) -> T:
        """Read what a person typed; raises a CaseError with the sentence why not."""

    @abstractmethod
    def write(self, value: T) -> str:
        """Write it as the trade does."""

    @abstractmethod
    def from_json(self, given: object) -> T:
        """Take it out of JSON; raises BadFinding or OutOfRange."""

    @abstractmethod
    def to_json(self, value: T) -> Any:
        """Put it into JSON, rounded to a thousandth."""

    @abstractmethod
    def same(self, given: T, truth: T) -> bool:
        """Say whether it is the exact value, as exactly as a person would write it."""

    @abstractmethod
    def close(self, given: T, truth: T) -> bool:
        """Say whether it lies within the tolerance."""

    def alike(self, given: T, slipped: T) -> bool:
        """Say whether an answer may have come from this slip's value."""
        return self.close(given, slipped)

    def tells_apart(self, one: T, other: T) -> bool:
        """Say whether the values of two slips differ enough to be told apart."""
        return not self.alike(one, other)

    def meant(self, given: T) -> tuple[T, ...]:
        """Return what a person may mean who writes this: an eighth is written in full, cut or rounded."""
        return (given,)

    def differs(self, given: T, truth: T) -> str:
        """Say in words how the answer differs from the truth."""
        return f"you gave {self.write(given)}; it is {self.write(truth)}"


@dataclass(frozen=True)
class Lens(Kind[SphCyl]):
    """A prescription. Compared as a lens, whatever its form.

    Tolerance: sphere and cylinder within 0.125 D, and an axis error whose residual cylinder 2C·sin δ stays within
    0.25 D (14° at 0.50 DC, 7° at 1.00, 3.6° at 2.00): common practice, no published source for the 0.25.
    """

    exact: float = 0.04
    exact_axis: float = 0.75
    tolerance: float = 0.125
    residual: float = 0.25
    slip_axis: float = 2.0
    zone: float | None = None
    """In D, for a lens found by eye: how far each principal power may lie to either side, in place of `tolerance`."""
    id = "prescription"
    hint = "sphere, cylinder, axis, such as +1.00 −1.50 × 90"

    @property
    def marked_within(self) -> str:
        """Write the tolerance of its powers, and of its axis as what a cylinder of one dioptre allows."""
        turned = math.degrees(math.asin(self.residual / 2))
        powers = f"{self.tolerance:g} D" if self.zone is None else f"{self.zone:g} D in each meridian"
        return f"{powers} and, of axis, {turned:.0f}° at 1.00 DC (less for a stronger cylinder)"

    def read(self, text: str) -> SphCyl:
        """Read a prescription."""
        return prescription.read_prescription(text)

    def write(self, value: SphCyl) -> str:
        """Write it in the form that it has."""
        return prescription.write_prescription(value, "as-is")

    def from_json(self, given: object) -> SphCyl:
        """Take it out of {"sphere", "cylinder", "axis"}; a sphere may leave the others out."""
        if not isinstance(given, Mapping) or "sphere" not in given or set(given) - {"sphere", "cylinder", "axis"}:
            raise BadFinding(given, 'a prescription is {"sphere": D, "cylinder": D, "axis": 1..180}')
        sphere, cylinder = (number_from(given.get(name, 0), name) for name in ("sphere", "cylinder"))
        if cylinder and "axis" not in given:
            raise BadFinding(given, "a cylinder needs its axis, 1 to 180")
        lens = SphCyl(sphere, cylinder, number_from(given.get("axis", 180), "axis"))
        if lens.strongest > POWER_LIMIT:
            raise OutOfRange("power", prescription.write_prescription(lens), f"give powers within ±{POWER_LIMIT:g} D")
        return lens

    def to_json(self, value: SphCyl) -> dict[str, float]:
        """Give sphere, cylinder and axis, the axis 1..180 to a hundredth of a degree."""
        axis = round(value.axis, 2)
        return {
            "sphere": round(value.sphere, 3) + 0.0,
            "cylinder": round(value.cylinder, 3) + 0.0,
            "axis": axis if axis > 0 else 180.0,
        }

    def same(self, given: SphCyl, truth: SphCyl) -> bool:
        """Say whether it is the same lens as exactly as a person would write it."""
        return self._within(given, truth, self.exact, self.exact_axis, self.exact)

    def close(self, given: SphCyl, truth: SphCyl) -> bool:
        """Say whether it is within the tolerance of the class docstring, or each principal power within the zone."""
        if self.zone is not None:
            return self._in_zone(given, truth, self.zone) and self._across(given, truth) <= self.residual + 1e-9
        return self._within(given, truth, self.tolerance, 90, self.residual)

    def alike(self, given: SphCyl, slipped: SphCyl) -> bool:
        """Say whether it is within 0.125 D, or the zone, and 2° (or what a weak cylinder hides) of a slip's lens."""
        if self.zone is not None:
            gap = axis_gap(given.minus_form().axis, slipped.minus_form().axis)
            near = gap <= self.slip_axis + 1e-9 or self._across(given, slipped) <= 0.02
            return near and self._in_zone(given, slipped, self.zone)
        return self._within(given, slipped, self.tolerance, self.slip_axis, self.tolerance)

    def tells_apart(self, one: SphCyl, other: SphCyl) -> bool:
        """Say whether two slips' lenses are not within 0.125 D and 2°: the zone is for people's readings alone."""
        return not self._within(one, other, self.tolerance, self.slip_axis, self.tolerance)

    @staticmethod
    def _in_zone(given: SphCyl, truth: SphCyl, zone: float) -> bool:
        """Compare the more plus powers, and the less plus ones."""
        a, b = given.minus_form(), truth.minus_form()
        ends = (a.sphere - b.sphere, a.sphere + a.cylinder - b.sphere - b.cylinder)
        return all(abs(gap) <= zone + 1e-9 for gap in ends)

    @staticmethod
    def _across(given: SphCyl, truth: SphCyl) -> float:
        """Return the cylinder in D that a turned axis leaves."""
        a, b = given.minus_form(), truth.minus_form()
        return 2 * abs(b.cylinder) * math.sin(math.radians(axis_gap(a.axis, b.axis)))

    @staticmethod
    def _within(given: SphCyl, truth: SphCyl, power: float, axis: float, residual: float) -> bool:
        a, b = given.minus_form(), truth.minus_form()
        if abs(a.sphere - b.sphere) > power + 1e-9 or abs(a.cylinder - b.cylinder) > power + 1e-9:
            return False
        gap = axis_gap(a.axis, b.axis)
        left = 2 * abs(b.cylinder) * math.sin(math.radians(gap))
        return left <= residual + 1e-9 if axis >= 90 else gap <= axis + 1e-9 or left <= min(residual, 0.02)

    def meant(self, given: SphCyl) -> tuple[SphCyl, ...]:
        """Return the lens with every way of writing the eighths in it."""
        powers = product(eighths_meant(given.sphere), eighths_meant(given.cylinder))
        return tuple(SphCyl(sphere, cylinder, given.axis) for sphere, cylinder in powers)

    def differs(self, given: SphCyl, truth: SphCyl) -> str:
        """Say how the spherical equivalent, the cylinder and its axis differ; of a turned sign that is what is said."""
        if given.cylinder * truth.cylinder < 0 and axis_gap(given.axis, truth.axis) < 0.5:
            return self._sign_turned(given, truth)
        a, b = given.minus_form(), truth.minus_form()
        parts = []
        mean = a.spherical_equivalent - b.spherical_equivalent
        if abs(mean) >= 0.005:
            parts.append(f"{_too(mean, 'plus', 'minus')} on the whole")
        cylinder = abs(a.cylinder) - abs(b.cylinder)
        if abs(cylinder) >= 0.005:
            parts.append(f"{_too(cylinder, 'much', 'little')} cylinder")
        if a.cylinder and b.cylinder and axis_gap(a.axis, b.axis) >= 0.5:
            parts.append(f"the axis {axis_gap(a.axis, b.axis):.0f}° out")
        return ", ".join(parts) or "the same lens"

    @staticmethod
    def _sign_turned(given: SphCyl, truth: SphCyl) -> str:
        parts = [f"the cylinder {'plus' if given.cylinder > 0 else 'minus'} at an axis where the other sign is right"]
        size = abs(given.cylinder) - abs(truth.cylinder)
        if abs(size) >= 0.005:
            parts.append(f"{_too(size, 'much', 'little')} of it")
        sphere = given.sphere - truth.sphere
        if abs(sphere) >= 0.005:
            parts.append(f"the sphere {_too(sphere, 'plus', 'minus')}")
        return ", ".join(parts)


def two_across(given: object, angle: str, power: str, rule: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Take two (angle in degrees, power in D) pairs at right angles out of a JSON list of two objects.

    angle, power: the names under which the objects hold them. rule: what would be right, for the refusal.

    Raises
    ------
    BadFinding, OutOfRange
        When it is no such list, or the two do not lie across each other within a degree.
    """
    if not isinstance(given, Sequence) or isinstance(given, str) or len(given) != 2:
        raise BadFinding(given, rule)
    for one in given:
        if not isinstance(one, Mapping) or set(one) != {angle, power}:
            raise BadFinding(one, rule)
    first, second = ((axis_from(one[angle]), power_from(one[power])) for one in given)
    if not at_right_angles(first[0], second[0]):
        plural = {"axis": "axes"}.get(angle, f"{angle}s")
        raise BadFinding(given, f"the {plural} must be at right angles; across {first[0]:g} lies {across(first[0]):g}")
    return first, second


@dataclass(frozen=True)
class Cross(Kind[SphCyl]):
    """A power cross: the lens by its two principal powers, kept as a SphCyl whose axis is the first meridian."""

    lens: Lens = Lens()
    id = "powers"
    hint = "power @ meridian twice, such as +1.00 @ 180, −0.50 @ 90"

    @property
    def marked_within(self) -> str:
        """Write the tolerance of its lens."""
        return self.lens.marked_within

    def read(self, text: str) -> SphCyl:
        """Read two powers at two meridians."""
        (meridian, power), (_, other) = prescription.read_powers(text)
        return SphCyl.from_meridians(meridian, power, other)

    def write(self, value: SphCyl) -> str:
        """Write two powers at two meridians."""
        return prescription.write_powers(self._pairs(value))

    @staticmethod
    def _pairs(value: SphCyl) -> tuple[tuple[float, float], ...]:
        return ((value.axis, value.sphere), (across(value.axis), value.sphere + value.cylinder))

    def from_json(self, given: object) -> SphCyl:
        """Take it out of [{"meridian", "power"}, {"meridian", "power"}], the meridians at right angles."""
        rule = 'a power cross is [{"meridian": 1..180, "power": D}, {"meridian": …, "power": …}]'
        (meridian, power), (_, other) = two_across(given, "meridian", "power", rule)
        return SphCyl.from_meridians(meridian, power, other)

    def to_json(self, value: SphCyl) -> list[dict[str, float]]:
        """Give the two meridians with their powers."""
        return [{"meridian": round(m, 2), "power": round(p, 3) + 0.0} for m, p in self._pairs(value)]

    def same(self, given: SphCyl, truth: SphCyl) -> bool:
        """Compare as lenses."""
        return self.lens.same(given, truth)

    def close(self, given: SphCyl, truth: SphCyl) -> bool:
        """Compare as lenses."""
        return self.lens.close(given, truth)

    def alike(self, given: SphCyl, slipped: SphCyl) -> bool:
        """Compare as lenses."""
        return self.lens.alike(given, slipped)

    def meant(self, given: SphCyl) -> tuple[SphCyl, ...]:
        """Return the lens with every way of writing the eighths among its two powers."""
        powers = product(eighths_meant(given.sphere), eighths_meant(given.sphere + given.cylinder))
        return tuple(SphCyl.from_meridians(given.axis, along, other) for along, other in powers)

    def differs(self, given: SphCyl, truth: SphCyl) -> str:
        """Compare as lenses."""
        return self.lens.differs(given, truth)
