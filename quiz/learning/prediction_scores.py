"""How well chances that were given beforehand agree with what came: loss, ranking, calibration, and their intervals.

A chance is that of a right answer, in 0..1. Needs numpy and scipy, which the app itself does not load for its choice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from quiz.learning.intervals import Interval

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SUREST = 1e-6
"""No chance counts as surer than one in a million, so that one miss cannot decide a mean."""
RESAMPLES = 400
TENTHS = 10
WAITS = (
    ("first of its type", 0.0),
    ("within the hour", 3600.0),
    ("within the day", 86400.0),
    ("within a week", 7 * 86400.0),
    ("within a month", 30 * 86400.0),
    ("longer", float("inf")),
)
"""How long ago the type was last answered: words, and up to how many seconds; 0 stands for never."""


@dataclass(frozen=True)
class Forecasts:
    """Chances given one answer ahead, with what came; one entry an answer, in any order."""

    chances: Floats
    right: Floats
    """1 for a right answer, 0 for a miss."""
    learners: Whole
    """Whose answer it was."""
    waits: Floats
    """Seconds since the learner last answered this type; 0 for its first answer."""

    def __post_init__(self) -> None:
        if not len(self.chances) == len(self.right) == len(self.learners) == len(self.waits):
            raise ValueError("chances, answers, learners and waits differ in number: give one of each for every answer")


@dataclass(frozen=True)
class Group:
    """Answers taken together: how many, the mean chance given and the share that was right."""

    words: str
    answers: int
    given: float
    came: float


def log_losses(chances: Floats, right: Floats) -> Floats:
    """Return −ln of the chance that was given to what came, one for each answer."""
    kept = np.clip(chances, SUREST, 1 - SUREST)
    return -np.log(np.where(right > 0.5, kept, 1 - kept))


def log_loss(chances: Floats, right: Floats) -> float:
    """Return the mean log loss of an answer, natural logarithm."""
    return float(log_losses(chances, right).mean())


def area_under_curve(chances: Floats, right: Floats) -> float:
    """Return how often a right answer was given a higher chance than a miss, ties counting half; .5 is luck.

    The Mann-Whitney statistic over the number of pairs (Hanley & McNeil 1982, Radiology 143:29). Not a number where
    every answer is alike.
    """
    wins = float(right.sum())
    misses = len(right) - wins
    if wins == 0 or misses == 0:
        return float("nan")
    ranks = rankdata(chances)
    return float((ranks[right > 0.5].sum() - wins * (wins + 1) / 2) / (wins * misses))


def calibration_error(chances: Floats, right: Floats) -> float:
    """Return the mean distance of given from observed over ten bins of equal width, weighted by their answers.

    Naeini, Cooper & Hauskrecht 2015, AAAI 29:2901.
    """
    bins = np.minimum((chances * TENTHS).astype(int), TENTHS - 1)
    gaps = np.bincount(bins, weights=chances - right, minlength=TENTHS)
    return float(np.abs(gaps).sum() / len(chances))


def by_tenth(forecasts: Forecasts) -> list[Group]:
    """Group the answers by the chance that was given, in tenths."""
    bins = np.minimum((forecasts.chances * TENTHS).astype(int), TENTHS - 1)
    words = [f"{one / TENTHS:.1f} to {(one + 1) / TENTHS:.1f}" for one in range(TENTHS)]
    return _groups(forecasts, bins, words)


def by_wait(forecasts: Forecasts) -> list[Group]:
    """Group the answers by how long ago the learner last answered the type."""
    return _groups(
        forecasts, np.searchsorted([limit for _, limit in WAITS], forecasts.waits), [words for words, _ in WAITS]
    )


def _groups(forecasts: Forecasts, bins: NDArray[np.intp], words: list[str]) -> list[Group]:
    out = []
    for number, one in enumerate(words):
        there = bins == number
        count = int(there.sum())
        if count:
            given, came = float(forecasts.chances[there].mean()), float(forecasts.right[there].mean())
            out.append(Group(one, count, given, came))
    return out


def learner_interval(
    forecasts: Forecasts, score: Callable[[Floats, Floats], float], *, resamples: int = RESAMPLES, seed: int = 0
) -> Interval:
    """Return the 95 % percentile interval of a score when learners are drawn again, with replacement.

    Answers of one learner hang together, so the learner is what is drawn (a cluster bootstrap: Davison & Hinkley 1997,
    Bootstrap Methods and their Application, section 3.8). The same seed gives the same interval.
    """
    names = np.unique(forecasts.learners)
    rows = [np.flatnonzero(forecasts.learners == one) for one in names]
    rng = np.random.default_rng(seed)
    found = np.empty(resamples)
    for number in range(resamples):
        drawn = np.concatenate([rows[one] for one in rng.integers(0, len(rows), len(rows))])
        found[number] = score(forecasts.chances[drawn], forecasts.right[drawn])
    low, high = np.nanpercentile(found, [2.5, 97.5])
    return Interval(float(low), float(high))


def paired_interval(
    ours: Forecasts, theirs: Forecasts, *, resamples: int = RESAMPLES, seed: int = 0
) -> tuple[float, Interval]:
    """Return our mean log loss minus theirs over the same answers, and its 95 % interval over learners."""
    gaps = log_losses(ours.chances, ours.right) - log_losses(theirs.chances, theirs.right)
    learners = np.unique(ours.learners, return_inverse=True)[1]
    sums, sizes = np.bincount(learners, weights=gaps), np.bincount(learners)
    drawn = np.random.default_rng(seed).integers(0, len(sums), (resamples, len(sums)))
    low, high = np.percentile(sums[drawn].sum(axis=1) / sizes[drawn].sum(axis=1), [2.5, 97.5])
    return float(gaps.mean()), Interval(float(low), float(high))
