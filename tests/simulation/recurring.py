"""How often a slip is called recurring by chance, and how soon where a belief is behind it: a command of its own.

`python -m tests.simulation.recurring --learners 400`. One step that is right ten times before; then a slip of it could
show 220 times (40 where there is a belief), ten a day, and is made each time with the same chance. With slips beside it
that could show too, the learner's own chance of this one is put lower (`model.by_chance`).
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from quiz.learning.model import fold, standing
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.state import DAY, Answered, LearnerState, SlipKey

START = 1.7e9
STEP, SLIP = "take-off", "left-in"
KEY: SlipKey = (STEP, SLIP)
BESIDE: Sequence[SlipKey] = ((STEP, "twice"), (STEP, "added"))
RIGHT_BEFORE, BY_CHANCE, WITH_BELIEF = 10, 220, 40
CHANCES = (0.05, 0.10, 0.17, 0.25)
BELIEFS = (0.9, 0.6, 0.35)
THRESHOLDS = (4.0, 5.0, 5.2, 5.4)


class Called(NamedTuple):
    """When a slip was called recurring."""

    showings: int


def played(chance: float, numbers: Numbers, of: int, seed: int, could_show: tuple[SlipKey, ...]) -> Called | None:
    """Play one learner until the slip is called recurring; None where it never is."""
    rng, state, showings = random.Random(seed), LearnerState.new(numbers), 0
    for number in range(RIGHT_BEFORE + of):
        at = START + number * DAY / 10
        able = number >= RIGHT_BEFORE
        made = able and rng.random() < chance
        showings += made
        explained, verdict = (((KEY,),), "slip") if made else ((), "right")
        fold(state, Answered(at, "net", (STEP,), verdict, explained, could_show=could_show if able else ()))
        if KEY in standing(state, at):
            return Called(showings)
    return None


def main() -> None:
    """Print both for some thresholds, with and without other slips that could show."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation.recurring", description=__doc__)
    parser.add_argument("--learners", type=int, default=400, metavar="N", help="of each sort (%(default)s)")
    seeds = range(parser.parse_args().learners)
    for beside in ((), BESIDE):
        for threshold in THRESHOLDS:
            numbers = replace(NUMBERS, slip_standing=threshold, slip_most_evidence=threshold + 2)
            by_chance, named = [], []
            for chance in CHANCES:
                each = [played(chance, numbers, BY_CHANCE, seed, (KEY, *beside)) for seed in seeds]
                by_chance.append(f"{chance:g}: {sum(one is not None for one in each) / len(seeds):.3f}")
            for belief in BELIEFS:
                each = [played(belief, numbers, WITH_BELIEF, 1000 + seed, (KEY, *beside)) for seed in seeds]
                called = [one.showings for one in each if one is not None]
                soon = sum(showings <= 3 for showings in called) / max(1, len(called))
                named.append(f"{belief:g}: {len(called) / len(seeds):.2f}, within 3 showings {soon:.2f} of them")
            print(f"{len(beside)} beside it, {threshold:g}: by chance {'; '.join(by_chance)}")  # noqa: T201
            print(f"    belief {'; '.join(named)}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
