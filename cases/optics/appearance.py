"""How a reflex looks a given power away from neutral, from the optics of reflex.py, in grades that have words."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from cases.optics.lens import SphCyl
from cases.optics.light import light
from cases.optics.reflex import Setting, movement, residual, speed_ratio, width_mm

PUPIL_MM = 6.0
"""A pupil in a dim room: common practice, no published source."""

LIGHTS_MM2 = (0.05, 0.4, 1.5, 5.0, 15.0)
LIGHTS_DRAWN = (0.3, 0.45, 0.6, 0.8, 1.0)
"""The light at the pupil's centre with the streak on it, and the brightness from 0 to 1 with which it is drawn and
worded, straight between on a scale of logarithms: the steps of the bench's words, ours, to be tried with clinicians."""

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
    def brightness_words(self) -> str:
        """Name the grade of the brightness."""
        return _grade(self.brightness, BRIGHTNESSES)

    @property
    def words(self) -> str:
        """Say all that is seen."""
        band = f"the band {_grade(self.width, WIDTHS)}; {self.brightness_words}"
        if self.movement == "neutral":
            return f"nothing travels; {band}"
        return f"{self.movement}, {self.speed_words}; {band}"


def seen_in(setting: Setting, streak: float) -> Seen:
    """Return how the reflex of a setting looks behind a streak in degrees, 1..180.

    Source: reflex.py.
    """
    return Seen(
        residual(setting, streak),
        movement(setting, streak),
        speed_ratio(setting, streak),
        min(1.0, width_mm(setting, streak) / setting.pupil_mm),
        _brightness(setting, streak),
    )


@lru_cache(4096)
def _brightness(setting: Setting, streak: float) -> float:
    peak = float(light(setting, streak, face_mm=0.0, x_mm=0.0, y_mm=0.0))
    return float(np.interp(math.log(max(peak, LIGHTS_MM2[0])), [math.log(one) for one in LIGHTS_MM2], LIGHTS_DRAWN))


def seen(left: float, distance_cm: float) -> Seen:
    """Return how a reflex looks with `left` D still to be added (minus: too much in place), parallel beam.

    Raises
    ------
    OutOfRange
        For a distance outside 20 to 150 cm.

    Source: reflex.py; the grades and their words are ours.
    """
    setting = Setting(rx=SphCyl(left), in_place=SphCyl(100 / distance_cm), distance_cm=distance_cm, pupil_mm=PUPIL_MM)
    # The residual of the setting is `left` but for rounding, and orders of nearness are drawn from `left` itself.
    return replace(seen_in(setting, 90), left=left)


def _grade(value: float, grades: tuple[tuple[float, str], ...]) -> str:
    return next(words for least, words in grades if value >= least)
