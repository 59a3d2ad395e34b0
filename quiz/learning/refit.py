"""Better numbers for the memory from a log of answers: fitted on some learners, judged on others.

Pure: logs in, an offer out. Reading the log is the command line's business; the numbers that are shipped stand in
parameters.py, those that a data file has adopted in that file.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from quiz.errors import QuizError
from quiz.learning.intervals import Z95, Interval
from quiz.learning.model import one_ahead
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.pooling import pooled_priors
from quiz.learning.slip_rates import class_slip_rates, slip_losses
from quiz.learning.state import Log

ENOUGH_ANSWERS = 2500
"""Under some 2,500 answers a fit follows chance more than the class."""
ENOUGH_LEARNERS = 12
HELD_OUT = 1 / 3
STANDARD_ERRORS = 2.0
ROUNDS = 3
"""Passes over all constants; each pass halves the stride."""
STRIDE = 0.7
"""Of the first pass: a factor of two, or .7 log-odds."""


class TooFew(QuizError):
    """A log too small to learn constants from."""

    def __init__(self, answers: int, learners: int) -> None:
        super().__init__(
            f"{answers:,} answers of {learners} learners: too few to fit the memory to. It needs about "
            f"{ENOUGH_ANSWERS:,} answers of at least {ENOUGH_LEARNERS} learners; the numbers stay as they are"
        )


def _with(numbers: Numbers, name: str, value: float) -> Numbers:
    return Numbers(**{**vars(numbers), name: value})


@dataclass(frozen=True)
class FittedRange:
    """How one constant may be moved: by adding (`log` False) or by a factor, and between which bounds."""

    name: str
    low: float
    high: float
    log: bool = True

    def moved(self, numbers: Numbers, stride: float) -> Numbers:
        """Return the numbers with this one moved by a stride, kept within its bounds."""
        value = self.at(numbers, stride)
        return numbers if value == getattr(numbers, self.name) else _with(numbers, self.name, value)

    def at(self, numbers: Numbers, stride: float) -> float:
        """Return this one's value a stride away, kept within its bounds."""
        value: float = getattr(numbers, self.name)
        if self.log:
            value = max(value, self.low) * math.exp(stride)  # from 0 a factor leads nowhere
        else:
            value += stride
        return min(max(value, self.low), self.high)


FREE = (
    FittedRange("start", -4.0, 4.0, log=False),
    FittedRange("strength_variance", 0.2, 8.0),
    FittedRange("offset_variance", 0.02, 3.0),
    FittedRange("offset_least_variance", 0.002, 0.5),
    FittedRange("form_variance", 0.005, 2.0),
    FittedRange("form_hours", 0.05, 24.0),
    FittedRange("fading_days", 0.01, 120.0),
    FittedRange("fading_variance", 0.05, 3.0),
    FittedRange("fading_gain", 0.005, 1.5),
    FittedRange("steepness", 0.05, 8.0),
    FittedRange("guess", 0.005, 0.4),
    FittedRange("careless", 0.005, 0.3),
    FittedRange("learn_right", 0.005, 5.0),
    FittedRange("learn_shown", 0.02, 5.0),
    FittedRange("learn_massed", 0.1, 1.5),
    FittedRange("learn_spaced", 0.02, 3.0),
    FittedRange("lesson_lost", 0.2, 1.0),
    FittedRange("drift", 0.002, 1.0),
    FittedRange("least_variance", 0.02, 1.0),
    FittedRange("term_variance", 0.02, 3.0),
    FittedRange("term_least_variance", 0.005, 0.6),
    FittedRange("term_drift", 0.0005, 0.5),
)
"""The constants that answers can tell something about. Those of slips, words and the choice are judgements."""


@dataclass(frozen=True)
class Fitted:
    """One constant after a fit: its value and the 95 % interval that the learners leave it."""

    name: str
    before: float
    value: float
    interval: Interval | None
    """None where the loss has no bottom there: the log says nothing of it."""


@dataclass(frozen=True)
class Judged:
    """One candidate on the learners who took no part in the fit. Losses are natural logarithms for one answer."""

    words: str
    numbers: Numbers
    loss_before: float
    loss_after: float
    fall: float
    """Mean fall of the held-out loss for one answer."""
    standard_error: float
    """Of that fall, learners being what was drawn."""

    @property
    def wins(self) -> bool:
        """Whether the loss fell by more than two standard errors of that fall."""
        return self.fall > STANDARD_ERRORS * self.standard_error

    @property
    def won_by(self) -> str:
        """What the held-out learners say, in words."""
        return (
            f"{self.words}: loss of one answer {self.loss_before:.4f} before, {self.loss_after:.4f} after; "
            f"a fall of {self.fall:.4f}, standard error {self.standard_error:.4f}"
        )


@dataclass(frozen=True)
class FittedNumbers:
    """What a fit came to."""

    candidates: tuple[Judged, ...]
    fitted: tuple[Fitted, ...]
    fitted_on: int
    judged_on: int
    """Learners."""
    slips: Judged | None = None
    """The class's own rates of slips, judged by how well they foresee slips; None where no case says what could show.

    Its numbers are those that the fit began with, and the rates.
    """

    @property
    def best(self) -> Judged:
        """The candidate with the least held-out loss."""
        return min(self.candidates, key=lambda one: one.loss_after)

    @property
    def accepted(self) -> bool:
        """Whether something wins on learners who took no part in the fit."""
        return self.best.wins or (self.slips is not None and self.slips.wins)

    @property
    def numbers(self) -> Numbers:
        """Those that won, together; where nothing did, those of the best candidate."""
        if self.slips is None or not self.slips.wins:
            return self.best.numbers
        return replace(self.best.numbers, slips=self.slips.numbers.slips) if self.best.wins else self.slips.numbers

    @property
    def won_by(self) -> str:
        """What the held-out learners say of what won, in words."""
        return "; ".join(one.won_by for one in (self.best, self.slips) if one is not None and one.wins)


def losses(logs: Sequence[Log], numbers: Numbers) -> list[float]:
    """Return each learner's summed loss: −ln of the chance given to what came, one answer ahead."""
    return [math.fsum(_steps(log, numbers)) for log in logs]


def _steps(log: Log, numbers: Numbers) -> Iterator[float]:
    for event, chance in zip(log, one_ahead(log, numbers), strict=True):
        p = min(max(chance, 1e-6), 1 - 1e-6)
        yield -math.log(p if event.right else 1 - p)


def refit(
    logs: Mapping[int, Log],
    rng: random.Random,
    *,
    numbers: Numbers = NUMBERS,
    dated: str,
    free: Sequence[FittedRange] = FREE,
    said: Callable[[str], None] = lambda _: None,
) -> FittedNumbers:
    """Fit the memory to a class's logs, and say whether it then forecasts better for others.

    Two learners of three, drawn by `rng`, are fitted to; the third judges. Two candidates are judged: the priors of
    steps and types re-estimated, and every constant fitted besides. What is offered is the better one; it is accepted
    when the loss of the judges falls by more than two standard errors of that fall, learner by learner.

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
    rest = kept[len(judges) :]
    pooled = pooled_priors(rest, numbers)
    fitted = fit_numbers(rest, numbers, free=free, said=said)
    before = losses(judges, numbers)

    def judged(words: str, one: Numbers) -> Judged:
        after, size = losses(judges, one), sum(map(len, judges))
        fall, error = _fall(before, after, size)
        one = replace(one, dated=dated)
        return Judged(words, one, math.fsum(before) / size, math.fsum(after) / size, fall, error)

    return FittedNumbers(
        candidates=(judged("priors of steps and types", pooled), judged("priors and every constant", fitted)),
        fitted=tuple(intervals(rest, numbers, fitted, free)),
        fitted_on=len(rest),
        judged_on=len(judges),
        slips=_slips_judged(rest, judges, numbers, dated),
    )


def _slips_judged(rest: Sequence[Log], judges: Sequence[Log], numbers: Numbers, dated: str) -> Judged | None:
    """Judge the rates of slips of some learners on others, by the loss of one chance to show a slip."""
    rates = class_slip_rates(rest, numbers)
    own = replace(numbers, slips=rates, dated=dated)
    before, after = (slip_losses(judges, numbers, one) for one in (numbers, own))
    size = int(math.fsum(chances for _, chances in before))
    if not rates or not size:
        return None
    old, new = ([loss for loss, _ in one] for one in (before, after))
    fall, error = _fall(old, new, size)
    words = "rate of 1 slip" if len(rates) == 1 else f"rates of {len(rates)} slips"
    return Judged(f"the class's own {words}", own, math.fsum(old) / size, math.fsum(new) / size, fall, error)


def intervals(
    logs: Sequence[Log], before: Numbers, numbers: Numbers, free: Sequence[FittedRange] = FREE
) -> Iterator[Fitted]:
    """Give each constant with its 95 % interval, the others being held.

    From the slopes and curvatures of the learners' losses, by differences: the variance is Σ slope² ÷ (Σ curvature)²,
    which holds where answers of one learner hang together (the sandwich: Huber 1967; White 1982, Econometrica 50:1).
    """
    middle = losses(logs, numbers)
    for scale in free:
        value: float = getattr(numbers, scale.name)
        up, down = (losses(logs, scale.moved(numbers, stride)) for stride in (NUDGE, -NUDGE))
        slopes = [(a - b) / (2 * NUDGE) for a, b in zip(up, down, strict=True)]
        curvature = math.fsum(a - 2 * m + b for a, m, b in zip(up, middle, down, strict=True)) / NUDGE**2
        found = None
        if curvature > 0:
            half = Z95 * math.sqrt(math.fsum(one**2 for one in slopes)) / curvature
            found = Interval(scale.at(numbers, -half), scale.at(numbers, half))
        yield Fitted(scale.name, getattr(before, scale.name), value, found)


NUDGE = 0.1
"""For the differences: a tenth of a unit, or 10 %."""


def report(offer: FittedNumbers) -> Iterator[str]:
    """Say in lines what a fit came to."""
    yield f"Fitted on {offer.fitted_on} learners; judged on {offer.judged_on} others:"
    for one in (*offer.candidates, *([] if offer.slips is None else [offer.slips])):
        yield f"    {one.won_by}"
    yield "Constants fitted, with the 95 % interval that the learners leave each while the others stay:"
    for found in offer.fitted:
        ends = "the log says nothing of it"
        if found.interval is not None:
            ends = f"{found.interval.low:.4g} to {found.interval.high:.4g}"
        yield f"    {found.name} = {found.value:.4g}    ({ends}; was {found.before:.4g})"
    if offer.accepted:
        steps, types = len(offer.numbers.steps), len(offer.numbers.types)
        won = [one.words for one in (offer.best, offer.slips) if one is not None and one.wins]
        yield (
            f"Better on the others by more than two standard errors: {' and '.join(won)} "
            f"({steps} steps, {types} types have priors)."
        )
    else:
        yield "No fall of more than two standard errors: the numbers stay as they are."


def _fall(before: Sequence[float], after: Sequence[float], answers: int) -> tuple[float, float]:
    """Return the fall of the loss for one answer and its standard error, from learners' paired sums."""
    falls = [a - b for a, b in zip(before, after, strict=True)]
    mean = math.fsum(falls) / len(falls)
    spread = math.sqrt(math.fsum((one - mean) ** 2 for one in falls) / (len(falls) - 1))
    return math.fsum(falls) / answers, spread * math.sqrt(len(falls)) / answers


def fit_numbers(
    logs: Sequence[Log],
    numbers: Numbers,
    *,
    free: Sequence[FittedRange] = FREE,
    said: Callable[[str], None] = lambda _: None,
) -> Numbers:
    """Return the numbers with constants and priors fitted to these learners.

    One constant is moved at a time, as far as it pays, with strides that grow shorter. What pays is judged on one half
    of the learners, with priors from the other half: priors that have seen the answers would leave nothing to explain.
    """
    pool, judges = logs[::2], logs[1::2]
    size = sum(map(len, judges))

    def loss(candidate: Numbers) -> float:
        return math.fsum(losses(judges, candidate)) / size

    for round_ in range(ROUNDS):
        numbers = pooled_priors(pool, numbers)
        best = loss(numbers)
        if round_ == 0:
            said(f"loss {best:.4f} before the fit")
        for scale in free:
            numbers, best = _along(scale, STRIDE / 2**round_, numbers, best, loss)
        said(f"loss {best:.4f} after round {round_ + 1} of {ROUNDS}")
    return pooled_priors(logs, numbers)


def _along(
    scale: FittedRange, stride: float, numbers: Numbers, best: float, loss: Callable[[Numbers], float]
) -> tuple[Numbers, float]:
    for signed in (stride, -stride):
        moved = False
        while True:
            candidate = scale.moved(numbers, signed)
            found = loss(candidate) if candidate != numbers else math.inf
            if found >= best - 1e-5:
                break
            numbers, best, moved = candidate, found, True
        if moved:
            break
    return numbers, best
