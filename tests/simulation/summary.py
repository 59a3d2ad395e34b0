"""What played learners come to: means, paired 95 % intervals, how well chances were predicted, slips found and gone."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from scipy.stats import t as student

from tests.simulation.play import SlipStory, Story

BINS = 10
SHOWINGS = 3
"""Within how many showings a false belief should be named."""


class Mean(NamedTuple):
    """A mean, and half of its 95 % interval (Student's t; 0 with fewer than two values)."""

    value: float
    half: float

    def __str__(self) -> str:
        return f"{self.value:+.3f} ± {self.half:.3f}"


def mean(values: Sequence[float]) -> Mean:
    """Return the mean of independent values with its interval."""
    n = len(values)
    if n < 2:
        return Mean(statistics.fmean(values), 0.0)
    half = float(student.ppf(0.975, n - 1)) * statistics.stdev(values) / n**0.5
    return Mean(statistics.fmean(values), half)


def paired(ours: Sequence[Story], theirs: Sequence[Story], what: Callable[[Story], float]) -> Mean:
    """Return the mean difference, ours minus theirs, over the same learners."""
    return mean([what(a) - what(b) for a, b in zip(ours, theirs, strict=True)])


def predictions(stories: Iterable[Story]) -> list[tuple[float, bool]]:
    """Return every chance that was predicted, with what came."""
    return [one for story in stories for one in story.predictions]


SITTING = 10
"""Cases in a sitting, as the app has it by default."""


def sittings(story: Story) -> list[list[bool]]:
    """Return a learner's answers, right or not, in sittings of ten cases."""
    right = [came for _, came in story.predictions]
    return [right[at : at + SITTING] for at in range(0, len(right) - SITTING + 1, SITTING)]


def right_share(stories: Iterable[Story], number: int) -> float:
    """Return the share of right answers in a sitting by its number, from 0, over learners."""
    return statistics.fmean(statistics.fmean(each[number]) for each in map(sittings, stories) if len(each) > number)


def runs_of_misses(stories: Iterable[Story], of: int = 4) -> float:
    """Return the share of sittings that have this many misses in a row."""
    every = [one for story in stories for one in sittings(story)]
    return statistics.fmean(any(not any(one[at : at + of]) for at in range(SITTING - of + 1)) for one in every)


def minutes_saved(ours: Sequence[Story], theirs: Sequence[Story]) -> float | None:
    """Return the share of minutes (below 1) saved to the mean chance that theirs ends with; None: never reached.

    From the means at the ends of the weeks, joined by straight lines.
    """
    wanted, total = (
        statistics.fmean(value) for value in zip(*((one.mean, one.curve[-1][0]) for one in theirs), strict=True)
    )
    weeks = [
        [statistics.fmean(one) for one in zip(*each, strict=True)]
        for each in zip(*(one.curve for one in ours), strict=True)
    ]
    for (early, low), (late, high) in itertools.pairwise(weeks):
        if low <= wanted <= high:
            return 1 - (early + (late - early) * (wanted - low) / (high - low)) / total
    return None


def called_by_chance(stories: Iterable[Story]) -> float:
    """Return the share of slips made with no belief behind them that were ever called recurring."""
    each = list(stories)
    return sum(one.chance_called for one in each) / max(1, sum(one.chance_slips for one in each))


def brier(pairs: Sequence[tuple[float, bool]]) -> float:
    """Return the mean square of predicted chance minus outcome (Brier 1950)."""
    return statistics.fmean((p - y) ** 2 for p, y in pairs)


def calibration_error(pairs: Sequence[tuple[float, bool]]) -> float:
    """Return the mean distance of predicted from observed over ten bins of equal width, weighted by their answers.

    Naeini, Cooper & Hauskrecht 2015, AAAI 29:2901.
    """
    bins: dict[int, list[float]] = {}
    for p, y in pairs:
        bins.setdefault(min(int(p * BINS), BINS - 1), []).append(p - y)
    return sum(abs(sum(gaps)) for gaps in bins.values()) / len(pairs)


def slips(stories: Iterable[Story]) -> list[SlipStory]:
    """Return the planted stable slips that were made at all."""
    return [one for story in stories for one in story.slips if one.made]


def named_soon(found: Sequence[SlipStory]) -> tuple[int, int]:
    """Return how many were named within the first three showings, of those named so or shown so often at least."""
    soon = [one.named_at_showing is not None and one.named_at_showing <= SHOWINGS for one in found]
    return sum(soon), sum(yes or one.showings >= SHOWINGS for one, yes in zip(found, soon, strict=True))


def learners_named_soon(stories: Sequence[Story]) -> tuple[int, int]:
    """Return the learners all of whose planted slips were named so, of those with a slip shown or named so."""
    each = [named_soon(slips([story])) for story in stories]
    judged = [(soon, of) for soon, of in each if of]
    return sum(soon == of for soon, of in judged), len(judged)


def minutes(values: Sequence[float | None], total: float) -> float:
    """Return the mean of minutes, one that never came counting as all that there were."""
    return statistics.fmean(total if one is None else one for one in values) if values else math.nan


def gone_minutes(story: Story, total: float) -> float:
    """Return the mean minutes until a planted slip was gone, over one learner's."""
    return minutes([one.gone_minutes for one in story.slips], total)


def named_minutes(story: Story, total: float) -> float:
    """Return the mean minutes until a planted slip was named, over one learner's."""
    return minutes([one.named_minutes for one in story.slips], total)
