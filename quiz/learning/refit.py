"""Better numbers for the memory from a log of answers: fitted on some learners, judged on others.

Pure: logs in, an offer out. Reading the log is the command line's business; the numbers stand in parameters.py.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from quiz.errors import QuizError
from quiz.learning.model import expected, fold
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.state import Answered, LearnerState

ENOUGH_ANSWERS = 2500
"""Under some 2,500 answers a fit follows chance more than the class."""
ENOUGH_LEARNERS = 12
HELD_OUT = 1 / 3
STANDARD_ERRORS = 2.0
ROUNDS = 4
"""Passes over all constants; each pass halves the stride."""

Log = Sequence[Answered]


class TooFew(QuizError):
    """A log too small to learn constants from."""

    def __init__(self, answers: int, learners: int) -> None:
        super().__init__(
            f"{answers:,} answers of {learners} learners: too few to fit the memory to. It takes some "
            f"{ENOUGH_ANSWERS:,} answers of at least {ENOUGH_LEARNERS} learners; the numbers stay as they are"
        )


@dataclass(frozen=True)
class Scale:
    """How one constant may be moved: by adding (`log` False) or by a factor, and between which bounds."""

    name: str
    low: float
    high: float
    log: bool = True

    def moved(self, numbers: Numbers, stride: float) -> Numbers:
        """Return the numbers with this one moved by a stride, kept within its bounds."""
        value = getattr(numbers, self.name)
        value = value * math.exp(stride) if self.log else value + stride
        return replace(numbers, **{self.name: min(max(value, self.low), self.high)})


FREE = (
    Scale("start", -4.0, 3.0, log=False),
    Scale("strength_variance", 0.2, 6.0),
    Scale("offset_variance", 0.02, 3.0),
    Scale("fading_days", 3.0, 120.0),
    Scale("fading_variance", 0.05, 3.0),
    Scale("fading_gain", 0.02, 1.5),
    Scale("steepness", 0.5, 8.0),
    Scale("learn_right", 0.05, 5.0),
    Scale("learn_shown", 0.02, 5.0),
    Scale("learn_massed", 0.1, 1.5),
    Scale("learn_spaced", 0.02, 3.0),
    Scale("lesson_lost", 0.2, 1.0),
    Scale("drift", 0.002, 0.3),
    Scale("least_variance", 0.02, 0.6),
    Scale("term_variance", 0.02, 2.0),
)
"""The constants that answers can tell something about. Those of slips, words and the choice are judgements; guessing
and carelessness are left alone because a fit raises them to explain away what the steps should."""


@dataclass(frozen=True)
class Offer:
    """What a fit came to. Losses are natural logarithms for one answer, of learners who took no part in the fit."""

    numbers: Numbers
    accepted: bool
    loss_before: float
    loss_after: float
    fall: float
    """Mean fall of the held-out loss for one answer."""
    standard_error: float
    """Of that fall, learners being what was drawn."""
    fitted_on: int
    judged_on: int
    """Learners."""


def losses(logs: Sequence[Log], numbers: Numbers) -> list[float]:
    """Return each learner's summed loss: −ln of the chance given to what came, one answer ahead."""
    return [math.fsum(_steps(log, numbers)) for log in logs]


def _steps(log: Log, numbers: Numbers) -> Iterator[float]:
    state = LearnerState(offset_variance=numbers.offset_variance)
    for event in log:
        p = min(max(expected(state, event, numbers), 1e-6), 1 - 1e-6)
        yield -math.log(p if event.right else 1 - p)
        fold(state, event, numbers)


def refit(
    logs: Mapping[int, Log],
    rng: random.Random,
    *,
    numbers: Numbers = NUMBERS,
    dated: str,
    free: Sequence[Scale] = FREE,
    said: Callable[[str], None] = lambda _: None,
) -> Offer:
    """Fit the memory's constants to a class's logs, and say whether they foretell better for others.

    Two learners of three, drawn by `rng`, are fitted to; the third judges. The offer is accepted when the loss of the
    judges falls by more than two standard errors of that fall, learner by learner.

    Parameters
    ----------
    logs
        Each learner's answers, the oldest first.
    dated
        The day to put on the new numbers.
    said
        Told how the fit goes on, in a line.

    Raises
    ------
    TooFew
        Under some 2,500 answers or twelve learners.
    """
    kept = [log for _, log in sorted(logs.items()) if log]
    answers = sum(map(len, kept))
    if answers < ENOUGH_ANSWERS or len(kept) < ENOUGH_LEARNERS:
        raise TooFew(answers, len(kept))
    rng.shuffle(kept)
    judges = kept[: round(len(kept) * HELD_OUT)]
    fitted = _fit(kept[len(judges) :], numbers, free, said)
    before, after = losses(judges, numbers), losses(judges, fitted)
    size = sum(map(len, judges))
    fall, error = _fall(before, after, size)
    return Offer(
        numbers=replace(fitted, dated=dated),
        accepted=fall > STANDARD_ERRORS * error,
        loss_before=math.fsum(before) / size,
        loss_after=math.fsum(after) / size,
        fall=fall,
        standard_error=error,
        fitted_on=len(kept) - len(judges),
        judged_on=len(judges),
    )


def changes(before: Numbers, after: Numbers) -> list[tuple[str, Any, Any]]:
    """Return the name, old and new value of every number that differs, new ones to four figures."""
    pairs = ((one.name, getattr(before, one.name), getattr(after, one.name)) for one in fields(Numbers))
    return [(name, a, float(f"{b:.4g}") if isinstance(b, float) else b) for name, a, b in pairs if a != b]


def _fall(before: Sequence[float], after: Sequence[float], answers: int) -> tuple[float, float]:
    """Return the fall of the loss for one answer and its standard error, from learners' paired sums."""
    falls = [a - b for a, b in zip(before, after, strict=True)]
    mean = math.fsum(falls) / len(falls)
    spread = math.sqrt(math.fsum((one - mean) ** 2 for one in falls) / (len(falls) - 1))
    return math.fsum(falls) / answers, spread * math.sqrt(len(falls)) / answers


def _fit(logs: Sequence[Log], numbers: Numbers, free: Sequence[Scale], said: Callable[[str], None]) -> Numbers:
    """Move one constant at a time, as far as it pays, with strides that grow shorter."""
    size = sum(map(len, logs))

    def loss(candidate: Numbers) -> float:
        return math.fsum(losses(logs, candidate)) / size

    best = loss(numbers)
    said(f"loss {best:.4f} before the fit")
    for round_ in range(ROUNDS):
        for scale in free:
            numbers, best = _along(scale, 0.4 / 2**round_, numbers, best, loss)
        said(f"loss {best:.4f} after round {round_ + 1} of {ROUNDS}")
    return numbers


def _along(
    scale: Scale, stride: float, numbers: Numbers, best: float, loss: Callable[[Numbers], float]
) -> tuple[Numbers, float]:
    for signed in (stride, -stride):
        moved = False
        while True:
            candidate = scale.moved(numbers, signed)
            found = loss(candidate) if candidate != numbers else math.inf
            if found >= best - 1e-6:
                break
            numbers, best, moved = candidate, found, True
        if moved:
            break
    return numbers, best
