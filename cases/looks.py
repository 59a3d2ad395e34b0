"""How a reflex looks a given power away from neutral, from the optics of retinoscope.py, in grades that have words."""

from __future__ import annotations

from dataclasses import dataclass

from cases.lens import SphCyl
from cases.retinoscope import Setting, brightness, movement, speed_ratio, width_mm

PUPIL_MM = 6.0
"""A pupil in a dim room: common practice, no published source."""

SPEEDS = (
    (2.5, "much faster than the streak"),
    (1.4, "faster than the streak"),
    (0.7, "about as fast as the streak"),
    (0.35, "slower than the streak"),
    (0.0, "much slower than the streak"),
)
BRIGHTNESSES = ((0.8, "bright"), (0.6, "fairly bright"), (0.45, "rather dull"), (0.0, "dull"))
WIDTHS = (
    (1.0, "fills the pupil"),
    (0.8, "takes up most of the pupil"),
    (0.0, "takes up about two thirds of the pupil"),
)
"""From so much upward a grade holds: speed ÷ that of the streak, the drawing's brightness, share of the pupil."""


@dataclass(frozen=True)
class Seen:
    """A reflex as it is seen.

    left: D still to be added in its meridian. movement: "with", "against" or "neutral". speed: reflex ÷ streak,
    infinite at neutral. width: share of the pupil that the band takes up, at most 1. brightness: 0 to 1.
    """

    left: float
    movement: str
    speed: float
    width: float
    brightness: float

    @property
    def speed_words(self) -> str:
        """Name the grade of the speed."""
        return _grade(self.speed, SPEEDS)

    @property
    def words(self) -> str:
        """Say all that is seen."""
        band = f"the band {_grade(self.width, WIDTHS)}; {_grade(self.brightness, BRIGHTNESSES)}"
        if self.movement == "neutral":
            return f"nothing travels; {band}"
        return f"{self.movement}, {self.speed_words}; {band}"


def seen(left: float, distance_cm: float) -> Seen:
    """Return how a reflex looks with `left` D still to be added (minus: too much in place), parallel beam.

    Raises
    ------
    OutOfRange
        For a distance outside 20 to 150 cm.

    Source: retinoscope.py; the grades and their words are ours.
    """
    setting = Setting(rx=SphCyl(left), in_place=SphCyl(100 / distance_cm), distance_cm=distance_cm, pupil_mm=PUPIL_MM)
    return Seen(
        left,
        movement(setting, 90),
        speed_ratio(setting, 90),
        min(1.0, width_mm(setting, 90)[0] / PUPIL_MM),
        brightness(setting, 90),
    )


def _grade(value: float, grades: tuple[tuple[float, str], ...]) -> str:
    return next(words for least, words in grades if value >= least)
