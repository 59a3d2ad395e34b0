"""What a class's answers say about each case of a drill, and about the scores: pure sums over answers.

A statement about a case is made only where its interval allows it, widened for how many cases are looked at (`z_for`).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from quiz.learning.intervals import Z95, Interval, share_interval, z_for
from quiz.storage.item_queries import CaseAnswer

FEWEST_FOR_CORRELATION = 4
"""An interval of a correlation needs four pairs (its standard error is 1 / sqrt(n - 3))."""


@dataclass(frozen=True)
class ItemFacts:
    """What is known of one case of a drill, over those who came to the end of it."""

    place: int
    answered: int
    right: int
    share: Interval | None
    """95 % of the share right; None where nobody answered."""
    discrimination: float | None
    """Point-biserial with the number right on the other cases; None where either is the same for all."""
    discrimination_interval: Interval | None
    median_seconds: float | None
    against: bool
    """Whether those who were better on the rest surely did worse on it."""
    rather: bool
    """Whether the commonest wrong answer was surely given more often than a right one."""

    @property
    def look(self) -> bool:
        """Whether the case is one to look at again."""
        return self.against or self.rather


@dataclass(frozen=True)
class Spread:
    """Scores of a drill: number right of those who came to its end."""

    scores: tuple[int, ...]
    mean: float | None
    median: float | None
    sd: float | None
    """Of a sample (n - 1); None under two."""


def spread(scores: Sequence[int]) -> Spread:
    """Return how scores are spread."""
    n = len(scores)
    mean = math.fsum(scores) / n if n else None
    return Spread(
        tuple(scores),
        mean,
        float(statistics.median(scores)) if n else None,
        statistics.stdev(scores) if n > 1 else None,
    )


def point_biserial(right: Sequence[bool], rest: Sequence[float]) -> float | None:
    """Return the correlation of right or not with the rest of the score; None where either does not vary.

    Source: Pearson's r with a variable of 0 and 1, which the point-biserial coefficient is.
    """
    n = len(right)
    if n < 2 or len(set(right)) < 2 or len(set(rest)) < 2:
        return None
    x, y = np.asarray(right, dtype=float), np.asarray(rest, dtype=float)
    x, y = x - x.mean(), y - y.mean()
    return float((x @ y) / math.sqrt(float(x @ x) * float(y @ y)))


def correlation_interval(r: float, n: int, z: float = Z95) -> Interval | None:
    """Return the interval of a correlation over n pairs, by default of 95 %; None where there are too few.

    Source: Fisher's transformation, atanh r with a standard error of 1 / sqrt(n - 3).
    """
    if n < FEWEST_FOR_CORRELATION or abs(r) >= 1:
        return None
    middle, half = math.atanh(r), z / math.sqrt(n - 3)
    return Interval(math.tanh(middle - half), math.tanh(middle + half))


def items(
    places: int, answers: Mapping[tuple[int, int], CaseAnswer], finished: Collection[int], commonest: Mapping[int, int]
) -> list[ItemFacts]:
    """Return the facts of each case of a drill.

    Parameters
    ----------
    places
        How many cases there are, from place 0.
    answers
        By learner and place; what a learner did not hand in is not right, and in no share of its case.
    finished
        The learners who came to the drill's end: nobody else is counted.
    commonest
        Of each place, how many of them gave its commonest wrong answer.
    """
    people = sorted(finished)
    totals = {
        who: sum(answers[who, place].right for place in range(places) if (who, place) in answers) for who in people
    }
    wide = z_for(max(1, 2 * places))
    return [_facts(place, answers, people, totals, commonest.get(place, 0), wide) for place in range(places)]


def _facts(
    place: int,
    answers: Mapping[tuple[int, int], CaseAnswer],
    people: Sequence[int],
    totals: Mapping[int, int],
    commonest: int,
    wide: float,
) -> ItemFacts:
    there = [(who, answers[who, place]) for who in people if (who, place) in answers]
    right = [one.right for _, one in there]
    rest = [float(totals[who] - one.right) for who, one in there]
    timed = [one.seconds for _, one in there if one.seconds is not None]
    n, good = len(right), sum(right)
    r = point_biserial(right, rest)
    surely = None if r is None else correlation_interval(r, n, wide)
    return ItemFacts(
        place=place,
        answered=n,
        right=good,
        share=share_interval(good, n) if n else None,
        discrimination=r,
        discrimination_interval=None if r is None else correlation_interval(r, n),
        median_seconds=statistics.median(timed) if timed else None,
        against=surely is not None and surely.high < 0,
        rather=commonest > good and share_interval(commonest, commonest + good, wide).low > 0.5,
    )
