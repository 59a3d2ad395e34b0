"""Confidence intervals: what one is, and that of a share. Needs no scipy, which only the accuracy log loads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

Z95 = 1.959964
"""95 % of a normal distribution lie within this many SD."""


@dataclass(frozen=True)
class Interval:
    """A confidence interval, both ends in the unit of what it is of."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        """Say whether a value lies inside."""
        return self.low <= value <= self.high


def z_for(comparisons: int) -> float:
    """Return in how many SD 95 % lie for this many intervals at once (Bonferroni): of pages, not rows, 1 in 20 errs."""
    return NormalDist().inv_cdf(1 - 0.025 / comparisons)


def share_interval(right: int, of: int, z: float = Z95) -> Interval:
    """Return the score interval of a share, both ends in 0..1; by default of 95 %.

    Source: Wilson 1927, J Am Stat Assoc 22:209 (without correction for continuity).
    """
    share, n = right / of, of
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return Interval(max(0.0, middle - half), min(1.0, middle + half))
