"""The memory replayed on a log one answer ahead, beside rivals: trained on half of the learners, judged on the others.

Pure: logs in, a report out. Needs numpy and scipy, which only the command that calls it loads.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from quiz.errors import QuizError
from quiz.learning.intervals import Interval
from quiz.learning.model import one_ahead
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.pooling import pooled_priors
from quiz.learning.prediction_scores import (
    Forecasts,
    Group,
    area_under_curve,
    by_tenth,
    by_wait,
    calibration_error,
    learner_interval,
    log_loss,
    paired_interval,
)
from quiz.learning.refit import fit_numbers
from quiz.learning.rivals import Rival, all_rivals, answers_right
from quiz.learning.state import Log

LEAST_LEARNERS = 8
"""Four to train on and four to judge: with fewer an interval over learners says nothing."""


class TooFewLearners(QuizError):
    """A log with too few learners for two halves."""

    def __init__(self, learners: int) -> None:
        people = "1 learner" if learners == 1 else f"{learners} learners"
        super().__init__(f"{people} in the log: half are trained on and half judged, so give at least {LEAST_LEARNERS}")


class Memory(Rival):
    """The app's own memory, with constants that training may change."""

    def __init__(self, name: str, numbers: Numbers, learn: Callable[[Sequence[Log], Numbers], Numbers] | None) -> None:
        self.name, self.numbers, self._learn = name, numbers, learn

    def train(self, logs: Sequence[Log]) -> None:
        """Learn priors, or all constants, or nothing."""
        if self._learn is not None:
            self.numbers = self._learn(logs, self.numbers)

    def forecast(self, log: Log) -> list[float]:
        """Fold a learner's answers, looking at each before it is taken in."""
        return list(one_ahead(log, self.numbers))


@dataclass(frozen=True)
class WayScore:
    """What one way of forecasting came to on the judges."""

    name: str
    loss: float
    loss_interval: Interval
    area: float
    area_interval: Interval
    calibration: float
    calibration_interval: Interval
    against: tuple[float, Interval] | None
    """The best of the memory's log loss minus this one's, with its interval; None for that one itself."""


@dataclass(frozen=True)
class Comparison:
    """All ways on the same answers. Intervals are 95 %, over learners."""

    trained_on: int
    judged_on: int
    """Learners."""
    answers: int
    """Of the judges."""
    scores: tuple[WayScore, ...]
    best: str
    """The memory that `tenths` and `waits` are of."""
    tenths: tuple[Group, ...]
    waits: tuple[Group, ...]


def compare(
    logs: Mapping[str, Log],
    *,
    seed: int = 0,
    numbers: Numbers = NUMBERS,
    fit: bool = False,
    said: Callable[[str], None] = lambda _: None,
) -> Comparison:
    """Train every way on one half of the learners, drawn by the seed, and judge it on the other half.

    Parameters
    ----------
    logs
        Each learner's answers, the oldest first.
    fit
        Also fit every constant of the memory to the training half, which takes minutes.
    said
        Told what is being done, in a line.

    Raises
    ------
    TooFewLearners
    """
    names = sorted(name for name, log in logs.items() if log)
    if len(names) < LEAST_LEARNERS:
        raise TooFewLearners(len(names))
    random.Random(seed).shuffle(names)
    training, judges = ([logs[name] for name in names[first::2]] for first in (0, 1))
    memories = [
        Memory("memory as shipped", numbers, None),
        Memory("memory, priors from the training half", numbers, pooled_priors),
    ]
    if fit:
        memories.append(
            Memory("memory, every constant from the training half", numbers, lambda a, b: fit_numbers(a, b, said=said))
        )
    found: dict[str, Forecasts] = {}
    for way in (*all_rivals(), *memories):
        said(f"training and judging: {way.name}")
        way.train(training)
        found[way.name] = _forecasts(judges, way)
    best = memories[-1].name
    return Comparison(
        trained_on=len(training),
        judged_on=len(judges),
        answers=sum(map(len, judges)),
        scores=tuple(_score(name, one, None if name == best else found[best]) for name, one in found.items()),
        best=best,
        tenths=tuple(by_tenth(found[best])),
        waits=tuple(by_wait(found[best])),
    )


def _forecasts(judges: Sequence[Log], way: Rival) -> Forecasts:
    waits, whose = [], []
    for number, log in enumerate(judges):
        last: dict[str, float] = {}
        for event in log:
            waits.append(max(event.at - last[event.type], 1e-3) if event.type in last else 0.0)
            last[event.type] = event.at
            whose.append(number)
    chances = np.array([chance for log in judges for chance in way.forecast(log)])
    return Forecasts(chances, answers_right(judges), np.array(whose), np.array(waits))


def _score(name: str, one: Forecasts, best: Forecasts | None) -> WayScore:
    return WayScore(
        name,
        log_loss(one.chances, one.right),
        learner_interval(one, log_loss),
        area_under_curve(one.chances, one.right),
        learner_interval(one, area_under_curve, resamples=100),
        calibration_error(one.chances, one.right),
        learner_interval(one, calibration_error),
        None if best is None else paired_interval(best, one),
    )


def as_markdown(found: Comparison) -> Iterator[str]:
    """Write a comparison as tables, line by line."""
    yield (
        f"Trained on {found.trained_on} learners, judged one answer ahead on {found.answers:,} answers of "
        f"{found.judged_on} others. Brackets: 95 % over learners."
    )
    yield ""
    yield f"| way | log loss | “{found.best}” minus it | area under the curve | calibration error |"
    yield "| --- | ---: | ---: | ---: | ---: |"
    for one in found.scores:
        gap = "" if one.against is None else f"{one.against[0]:+.4f} {_ends(one.against[1], '+.4f')}"
        yield (
            f"| {one.name} | {one.loss:.4f} {_ends(one.loss_interval, '.3f')} | {gap} "
            f"| {one.area:.3f} {_ends(one.area_interval, '.3f')} "
            f"| {one.calibration:.3f} {_ends(one.calibration_interval, '.3f')} |"
        )
    for title, groups in (("chance given", found.tenths), ("since the type was last answered", found.waits)):
        yield ""
        yield f"| {title} | answers | mean chance given | share right |"
        yield "| --- | ---: | ---: | ---: |"
        for group in groups:
            yield f"| {group.words} | {group.answers:,} | {group.given:.3f} | {group.came:.3f} |"


def _ends(one: Interval, form: str) -> str:
    return f"[{one.low:{form}}, {one.high:{form}}]"
