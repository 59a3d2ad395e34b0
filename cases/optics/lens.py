"""A thin sphero-cylindrical lens and its algebra. Reading and writing it as text lives in prescription.py."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cases.errors import NoFiniteEquivalent, OutOfRange
from cases.optics.axes import across, axis_of

SAME_LENS = 0.005
"""Two lenses closer than this in every meridian, in D, are one lens: half the last digit that the project keeps."""


@dataclass(frozen=True)
class SphCyl:
    """A sphere, cylinder and axis: powers in D, the axis in degrees as the examiner faces the patient.

    `axis` lies in 0 < axis ≤ 180, anticlockwise, both eyes alike (ISO 8429). A cylinder of zero keeps the axis it
    was given, since it has no effect. `==` compares the written form; `equals` compares the lenses.

    Raises
    ------
    OutOfRange
        When a power is not finite or the axis is outside 0 < axis ≤ 180.
    """

    sphere: float
    cylinder: float = 0.0
    axis: float = 180.0

    def __post_init__(self) -> None:
        for name, given in (("sphere", self.sphere), ("cylinder", self.cylinder), ("axis", self.axis)):
            if not math.isfinite(given):
                raise OutOfRange(name, str(float(given)), "a finite number is needed")
            if type(given) is not float:  # a whole number, or one of numpy's
                object.__setattr__(self, name, float(given))
        if self.axis == 0:
            raise OutOfRange("axis", "0", "write 180; axes run from 1 to 180")
        if not 0 < self.axis <= 180:
            raise OutOfRange("axis", f"{self.axis:g}", "axes run from 1 to 180")

    @classmethod
    def from_power_vector(cls, M: float, J0: float, J45: float) -> SphCyl:
        """Build the minus-cylinder lens of a power vector (all in D).

        Source: `thibos-1997`.
        """
        half = math.hypot(J0, J45)
        if half < 1e-9:
            return cls(M)
        return cls(M + half, -2 * half, axis_of(math.degrees(math.atan2(J45, J0)) / 2))

    @classmethod
    def from_power_matrix(cls, P: NDArray[np.float64]) -> SphCyl:
        """Build the minus-cylinder lens of a symmetric 2×2 power matrix in D.

        Source: Long 1976, Am J Optom Physiol Opt 53:27.
        """
        return cls.from_power_vector((P[0, 0] + P[1, 1]) / 2, (P[0, 0] - P[1, 1]) / 2, (P[0, 1] + P[1, 0]) / 2)

    @classmethod
    def from_meridians(cls, meridian: float, power: float, power_across: float) -> SphCyl:
        """Build a lens from the powers in D along a meridian and the one across it; the axis is the first meridian.

        No cylinder power acts along its own axis, so the sphere is the power along the axis. Source: ISO 13666.
        """
        return cls(power, power_across - power, axis_of(meridian))

    def power_at(self, meridian: float) -> float:
        """Return the power in D along a meridian in degrees: S + C·sin²(meridian − axis).

        Source: `thibos-1997`, the sine-squared law.
        """
        return self.sphere + self.cylinder * math.sin(math.radians(meridian - self.axis)) ** 2

    def power_vector(self) -> tuple[float, float, float]:
        """Return (M, J0, J45) in D: M = S + C/2, J0 = −(C/2)cos 2A, J45 = −(C/2)sin 2A.

        Source: `thibos-1997`.
        """
        half, double = -self.cylinder / 2, math.radians(2 * self.axis)
        return self.sphere + self.cylinder / 2, half * math.cos(double), half * math.sin(double)

    def power_matrix(self) -> NDArray[np.float64]:
        """Return the symmetric 2×2 power matrix in D, x along the 180 meridian and y along the 90.

        Source: Long 1976, Am J Optom Physiol Opt 53:27.
        """
        sin, cos = math.sin(math.radians(self.axis)), math.cos(math.radians(self.axis))
        off = -self.cylinder * sin * cos
        return np.array(
            [[self.sphere + self.cylinder * sin * sin, off], [off, self.sphere + self.cylinder * cos * cos]]
        )

    @property
    def spherical_equivalent(self) -> float:
        """The mean power S + C/2 in D."""
        return self.sphere + self.cylinder / 2

    @property
    def strongest(self) -> float:
        """The larger of the two principal powers in D, without sign."""
        return max(abs(self.sphere), abs(self.sphere + self.cylinder))

    def transposed(self) -> SphCyl:
        """Return the same lens in the other cylinder form: S + C, −C, axis turned 90."""
        return SphCyl(self.sphere + self.cylinder, -self.cylinder or 0.0, across(self.axis))

    def in_form(self, form: str) -> SphCyl:
        """Return the same lens in "minus" or "plus" cylinder form; a sphere comes back with axis 180."""
        if self.cylinder == 0:
            return SphCyl(self.sphere)
        return self if (self.cylinder < 0) == (form == "minus") else self.transposed()

    def minus_form(self) -> SphCyl:
        """Return the same lens in minus-cylinder form."""
        return self._in_minus_form

    @cached_property
    def _in_minus_form(self) -> SphCyl:
        # Comparing the answers of slips asks for it hundreds of times a case.
        return self.in_form("minus")

    def plus_form(self) -> SphCyl:
        """Return the same lens in plus-cylinder form."""
        return self.in_form("plus")

    def __add__(self, other: SphCyl) -> SphCyl:
        """Thin lenses in contact, axes free; the sum comes in minus-cylinder form."""
        a, b = self.power_vector(), other.power_vector()
        return SphCyl.from_power_vector(a[0] + b[0], a[1] + b[1], a[2] + b[2])

    def __neg__(self) -> SphCyl:
        return SphCyl(-self.sphere or 0.0, -self.cylinder or 0.0, self.axis)

    def __sub__(self, other: SphCyl) -> SphCyl:
        return self + -other

    def equals(self, other: SphCyl, tolerance: float = SAME_LENS) -> bool:
        """Say whether the two act alike: no meridian of the difference exceeds `tolerance` D, whatever the forms."""
        return (self - other).strongest <= tolerance

    def moved(self, toward_eye_mm: float) -> SphCyl:
        """Return the lens that acts alike from a plane `toward_eye_mm` nearer the eye (negative: away from it).

        Each principal power F in D becomes F/(1 − xF) with x in metres; the axis stays. Source: definition of
        effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory).

        Raises
        ------
        NoFiniteEquivalent
            When the new plane holds the focus of either meridian.
        """
        along = moved_power(self.sphere, toward_eye_mm=toward_eye_mm)
        return SphCyl.from_meridians(
            self.axis, along, moved_power(self.sphere + self.cylinder, toward_eye_mm=toward_eye_mm)
        )


def moved_power(power: float, *, toward_eye_mm: float) -> float:
    """Return the power in D that acts alike from a plane `toward_eye_mm` nearer the eye (negative: away): F/(1 − xF).

    Source: definition of effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory).

    Raises
    ------
    NoFiniteEquivalent
        When the new plane holds the focus.
    """
    left = 1 - toward_eye_mm / 1000 * power
    if abs(left) < 1e-6:
        raise NoFiniteEquivalent(power, toward_eye_mm)
    return power / left
