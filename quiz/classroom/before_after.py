"""Two drills side by side, step by step, paired by learner. Loads scipy, so it is imported when it is asked for."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from scipy import special

from quiz.learning.intervals import Interval

FEWEST_PAIRS = 2


@dataclass(frozen=True)
class StepChange:
    """How a step went in two drills, over the learners who met it in both."""

    step: str
    learners: int
    before: float
    """Mean share not slipped, in 0..1."""
    after: float
    change: float
    """Mean of each learner's after less before."""
    interval: Interval | None
    """95 % of that mean; None where there are too few pairs, or all changed by the same."""
    sure: str
    """"better" or "worse" where an interval widened for the number of steps leaves no doubt, else nothing."""


Shares = Mapping[str, Mapping[int, tuple[int, int]]]
"""By step and learner: answers without a slip at it, and answers that called for it."""


def changes(before: Shares, after: Shares) -> list[StepChange]:
    """Return each step that somebody met in both drills, the largest change for the better first."""
    pairs = {step: sorted(before[step].keys() & after[step].keys()) for step in before.keys() & after.keys()}
    met = {step: both for step, both in pairs.items() if both}
    found = []
    for step, both in met.items():
        first, second = ([_share(of[step][who]) for who in both] for of in (before, after))
        found.append(_change(step, first, second, len(met)))
    return sorted(found, key=lambda one: (-one.change, one.step))


def _share(counted: tuple[int, int]) -> float:
    good, of = counted
    return good / of


def _change(step: str, before: list[float], after: list[float], steps: int) -> StepChange:
    apart = [late - early for early, late in zip(before, after, strict=True)]
    n = len(apart)
    change, surely = math.fsum(apart) / n, paired_interval_of(apart, steps)
    sure = "" if surely is None or surely.holds(0.0) else "better" if change > 0 else "worse"
    return StepChange(step, n, math.fsum(before) / n, math.fsum(after) / n, change, paired_interval_of(apart), sure)


def paired_interval_of(apart: list[float], comparisons: int = 1) -> Interval | None:
    """Return the 95 % interval of a mean of paired differences, by Student's t; None under two, or with no spread.

    comparisons: how many such intervals are to hold at once (Bonferroni).
    Source: the paired t interval, mean ± t(n - 1, 0.975) SD / sqrt(n).
    """
    n = len(apart)
    if n < FEWEST_PAIRS:
        return None
    sd, mean = statistics.stdev(apart), math.fsum(apart) / n
    if sd == 0:
        return None
    half = float(special.stdtrit(n - 1, 1 - 0.025 / comparisons)) * sd / math.sqrt(n)
    return Interval(mean - half, mean + half)
