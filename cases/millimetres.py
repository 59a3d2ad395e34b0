"""Kinds of quantity in millimetres: a move along the line of sight, a radius of curvature, the width of a pupil."""

from __future__ import annotations

from dataclasses import dataclass

from cases import notation
from cases.kinds import Scalar


@dataclass(frozen=True)
class Move(Scalar):
    """A length along the line of sight in mm; as a move, plus is towards the eye and minus away from it."""

    exact: float = 0.25
    tolerance: float = 0.5
    low: float = -30.0
    high: float = 30.0
    id = "millimetres"
    unit = " mm"
    hint = "millimetres, such as 12"

    def read(self, text: str) -> float:
        """Read a signed length in mm."""
        return self._checked(notation.read_quantity(text, "mm"))

    def write(self, value: float) -> str:
        """Write it in mm."""
        return f"{value:g} mm".replace("-", "−")


@dataclass(frozen=True)
class Radius(Move):
    """A radius of curvature of a cornea or a contact lens in mm, to a hundredth."""

    exact: float = 0.005
    tolerance: float = 0.02
    low: float = 5.0
    high: float = 12.0
    id = "radius"
    hint = "millimetres, such as 7.80"

    def write(self, value: float) -> str:
        """Write it in mm to a hundredth."""
        return f"{value:.2f} mm"


@dataclass(frozen=True)
class Diameter(Move):
    """The diameter of a pupil in mm."""

    exact: float = 0.1
    tolerance: float = 0.3
    low: float = 3.0
    high: float = 8.0
    id = "diameter"
    hint = "millimetres, such as 6"
