"""The scatter of one retinoscopy: what one examiner reads of one eye, again and again."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.randomness import Chance

AXIS_FLOOR_D = 0.5
"""Cylinders weaker than this, in D, scatter in axis as this one does."""

_NORMAL = NormalDist()


@dataclass(frozen=True)
class Scatter:
    """Standard deviations of one reading: mean power and cylinder in D, axis in degrees for a cylinder of 1 D."""

    mean_d: float
    cylinder_d: float
    axis_deg_d: float

    def wider(self, times: float) -> Scatter:
        """Return the scatter of a hand or a patient that makes all of it wider."""
        return Scatter(self.mean_d * times, self.cylinder_d * times, self.axis_deg_d * times)


CHILD_WET = Scatter(0.29, 0.22, 16.0)
"""Fitted to `mccullough-2017`: limits of agreement of sphere, cylinder and mean, and axes within 20° in 71 %."""

ADULT = Scatter(0.23, 0.17, 7.0)
"""Fitted to `jorge-2005`: mean power against subjective refraction, SD 0.33 D with the scatter of both."""

NOVICE_TIMES, DRY_CHILD_TIMES = 1.6, 1.3
"""How much wider a new hand scatters, and a child without drops: ours, no published source."""


def usual_scatter(age_y: float, *, drops: bool, novice: bool = False) -> Scatter:
    """Return the scatter of one reading at this age."""
    found = ADULT if age_y >= 13 else CHILD_WET if drops else CHILD_WET.wider(DRY_CHILD_TIMES)
    return found.wider(NOVICE_TIMES) if novice else found


def with_blur(scatter: Scatter, blur_d: float) -> Scatter:
    """Return the scatter of an examiner who sees the reflex out of focus by this many dioptres: half wider for each."""
    return replace(scatter, mean_d=scatter.mean_d * (1 + 0.5 * blur_d))


def read_once(lens: SphCyl, scatter: Scatter, chance: Chance) -> SphCyl:
    """Return one reading of an eye whose lens is known, unrounded, in minus-cylinder form.

    Mean power, the size of the cylinder and its axis scatter apart from each other: equal scatter in J0 and J45 fits
    the published pairs in cylinder or in axis, never in both.
    """
    lens = lens.minus_form()
    size = -lens.cylinder
    mean = lens.spherical_equivalent + scatter.mean_d * _normal(chance)
    cylinder = size + scatter.cylinder_d * _normal(chance)
    axis = lens.axis + scatter.axis_deg_d / max(size, AXIS_FLOOR_D) * _normal(chance)
    if cylinder < 0:
        cylinder, axis = -cylinder, across(axis % 180)
    return SphCyl(mean + cylinder / 2, -cylinder, axis_of(axis))


def _normal(chance: Chance) -> float:
    return _NORMAL.inv_cdf(max(chance.unit(), 1e-12))


def sphere_sd(scatter: Scatter) -> float:
    """Return the standard deviation of one reading's sphere in D: the mean's and half the cylinder's."""
    return math.hypot(scatter.mean_d, scatter.cylinder_d / 2)
