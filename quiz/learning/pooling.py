"""What is known of single steps and types before a learner has met them, estimated from many learners' logs.

Pure: logs in, numbers out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from quiz.learning.model import Observation, observe, take
from quiz.learning.parameters import Numbers, Prior
from quiz.learning.state import LearnerState, Log

PASSES = 4
"""Over all logs; each takes one Newton step."""
LONGEST_STEP = 1.0
"""No mean moves further than this in one pass, log-odds."""
LEAST_SPREAD = 0.05
"""The least variance of the means among steps, and among types, that is believed."""


@dataclass
class _Slope:
    """Slope and curvature of the log-likelihood against one mean."""

    slope: float = 0.0
    information: float = 0.0

    def add(self, slope: float, information: float) -> None:
        self.slope += slope
        self.information += information


@dataclass
class _Means:
    """The means of one sort, about a common one with a common spread."""

    centre: float
    spread: float
    fixed: bool
    """Whether the centre stays where it is."""
    between: float
    """Variance between learners of one step or type."""
    values: dict[str, float] = field(default_factory=dict)
    doubts: dict[str, float] = field(default_factory=dict)
    """Variance of each mean."""

    def priors(self) -> dict[str, Prior]:
        return {name: Prior(value, self.between + self.doubts[name]) for name, value in sorted(self.values.items())}

    def take(self, found: Mapping[str, _Slope]) -> None:
        """Take one Newton step on every mean, then see how far they lie apart."""
        for name, one in sorted(found.items()):
            value = self.values.get(name, self.centre)
            precision = one.information + 1 / self.spread
            move = (one.slope - (value - self.centre) / self.spread) / precision
            self.values[name] = value + min(max(move, -LONGEST_STEP), LONGEST_STEP)
            self.doubts[name] = 1 / precision
        if not self.values:
            return
        if not self.fixed:
            weights = {name: 1 / (self.spread + self.doubts[name]) for name in self.values}
            self.centre = math.fsum(w * self.values[name] for name, w in weights.items()) / math.fsum(weights.values())
        squares = ((value - self.centre) ** 2 + self.doubts[name] for name, value in self.values.items())
        self.spread = max(LEAST_SPREAD, math.fsum(squares) / len(self.values))


def pooled_priors(logs: Iterable[Log], numbers: Numbers, *, passes: int = PASSES) -> Numbers:
    """Return the numbers with the priors of steps and types re-estimated from these learners (empirical Bayes).

    Each mean takes Newton steps on the likelihood one answer ahead, drawn towards their common mean (types: towards 0)
    by the spread that the means themselves show: few answers move a mean little. After Efron & Morris 1975, JASA
    70:311, the spread by the EM step for a normal mean. A later answer of a learner counts by how much of the prior is
    left in the strength by then, which is the product of the filter's 1 − gain. The variance of a prior is that between
    learners (`strength_variance`, `term_variance`) and the doubt about the mean together. `start` becomes the common
    mean, for steps that nobody has met.
    """
    kept = list(logs)
    steps = _Means(numbers.start, 0.5, False, numbers.strength_variance)
    types = _Means(0.0, 0.25, True, numbers.term_variance)
    for _ in range(passes):
        by_step, by_type = _slopes(kept, numbers)
        steps.take(by_step)
        types.take(by_type)
        numbers = replace(numbers, start=steps.centre, steps=steps.priors(), types=types.priors())
    return numbers


def _slopes(logs: Sequence[Log], numbers: Numbers) -> tuple[dict[str, _Slope], dict[str, _Slope]]:
    by_step: dict[str, _Slope] = {}
    by_type: dict[str, _Slope] = {}
    for log in logs:
        state = LearnerState.new(numbers)
        left: dict[str, float] = {}
        left_types: dict[str, float] = {}
        for event in log:
            found = observe(state, event)
            for one in found.steps:
                _gather(one, left, by_step)
            if found.own is not None:
                _gather(found.own, left_types, by_type)
            take(state, event, found)
    return by_step, by_type


def _gather(one: Observation, left: dict[str, float], into: dict[str, _Slope]) -> None:
    share = left.get(one.id, 1.0)
    into.setdefault(one.id, _Slope()).add(share * one.slope, share * share * one.information / one.divisor)
    left[one.id] = share * one.left
