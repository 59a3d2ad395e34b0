"""How often a class makes each slip where no wrong belief is behind it: estimated from its logs, judged on others.

Pure: logs in, rates out. A slip recurs in a learner by the odds against that rate (`model.standing`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

from quiz.learning.model import HALF, Observed, by_chance, observe, take
from quiz.learning.parameters import Numbers
from quiz.learning.state import Answered, LearnerState, Log, SlipKey

SHIPPED_CASES = 20.0
"""The rate that is shipped weighs as much as this many cases. A judgement, not an estimate."""
LEAST_RATE = 0.05
"""No rate is taken to be lower: two showings would then weigh too much, and a class is few people. A judgement."""
FEWEST_LEARNERS = 3
"""Of fewer a rate is no class's, but one person's habit."""


def class_slip_rates(logs: Iterable[Log], numbers: Numbers) -> dict[str, float]:
    """Return by "step slip" how often (0..1) it is made where it could show, by those in whom it never recurred.

    The mean of a beta posterior whose prior is the shipped rate, worth `SHIPPED_CASES` cases; between
    `LEAST_RATE` and `slip_most_rate`. Answers of which nobody knows what they could show are left out.
    """
    made: dict[SlipKey, list[float]] = {}
    could: dict[SlipKey, list[float]] = {}
    for log in logs:
        mine: dict[SlipKey, list[float]] = {}
        held: set[SlipKey] = set()
        state = LearnerState.new(numbers)
        for event, found in _observed(log, state):
            for key, share in _chances_to_show(event, found):
                mine.setdefault(key, []).append(share)
            held |= {key for one in event.explanations for key in one if _recurs(state, key)}
        for key, shares in mine.items():
            if key not in held:
                made.setdefault(key, []).append(math.fsum(shares))
                could.setdefault(key, []).append(float(len(shares)))
    return {
        " ".join(key): _bounded(
            (math.fsum(made[key]) + SHIPPED_CASES * numbers.slip_rate) / (math.fsum(cases) + SHIPPED_CASES), numbers
        )
        for key, cases in sorted(could.items())
        if len(cases) >= FEWEST_LEARNERS
    }


def slip_losses(logs: Sequence[Log], numbers: Numbers, rates: Numbers) -> list[tuple[float, int]]:
    """Return each learner's summed loss under some rates, and of how many chances to show a slip.

    The loss is −ln of the chance given to a slip that was made, or left out. Memory is folded with `numbers`, whatever
    the rates, so that two sets of rates are judged on the same chances. Those after which the slip recurs are left out:
    there a belief is behind it, which no rate foresees.
    """
    out = []
    for log in logs:
        state, losses = LearnerState.new(numbers), []
        for event, found in _observed(log, state):
            for key, share in _chances_to_show(event, found):
                if not _recurs(state, key):
                    p = by_chance(event, key, found.seen, rates)
                    losses.append(-share * math.log(p) - (1 - share) * math.log(1 - p))
        out.append((math.fsum(losses), len(losses)))
    return out


def _observed(log: Log, state: LearnerState) -> Iterator[tuple[Answered, Observed]]:
    """Fold a log, and yield each answer with what it said beforehand; the state is the one after it."""
    for event in log:
        found = observe(state, event)
        take(state, event, found)
        yield event, found


def _chances_to_show(event: Answered, found: Observed) -> Iterator[tuple[SlipKey, float]]:
    """Yield each slip that an answer could have shown, and how far (0..1) it was; nothing of what is unexplained."""
    if event.could_show is None or not (event.right or (event.diagnosed and event.unexplained < HALF)):
        return
    shares: Mapping[SlipKey, float] = _made(event, found)
    for key in event.could_show:
        if key[0] in event.unaided:
            yield key, min(1.0, shares.get(key, 0.0))


def _made(event: Answered, found: Observed) -> dict[SlipKey, float]:
    if not event.diagnosed:
        return {}
    shares: dict[SlipKey, list[float]] = {}
    for one, share in zip(event.explanations, found.shares, strict=True):
        for key in dict.fromkeys(one):
            shares.setdefault(key, []).append(share)
    return {key: math.fsum(each) for key, each in shares.items()}


def _recurs(state: LearnerState, key: SlipKey) -> bool:
    memory = state.slips.get(key[0], {}).get(key[1])
    return memory is not None and memory.recurs


def _bounded(rate: float, numbers: Numbers) -> float:
    return min(numbers.slip_most_rate, max(LEAST_RATE, rate))
