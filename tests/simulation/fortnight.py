"""How often the core of the trade comes, and how often one type: `python -m tests.simulation.fortnight --seeds 10`.

The app's own types, draws and choice. A fortnight is ten cases a day by a learner who met every type a month ago and is
right in three of four; the core is an examination of both meridians (`type_catalogue.CORE`). The other sitting has 130
cases, a minute apart, all right.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from cases.procedure.settings import Settings
from quiz.learning.model import fold, replay
from quiz.learning.scheduler import Done, choose
from quiz.learning.state import DAY, Answered, LearnerState
from quiz.practice.type_catalogue import catalogue_for, options_of

START = 1.7e9
DAYS, A_DAY, MET_BEFORE = 14, 10, 30
ANSWERS = 130


def fortnight(level: str, seed: int) -> Counter[str]:
    """Return by type how often it came in a fortnight of usual practice."""
    drawing, rng = Settings(level=level), random.Random(seed)
    offered = catalogue_for(drawing)
    steps = {
        one.id: tuple(dict.fromkeys([*draw(all_types()[one.id], 1, drawing).skills, *one.steps]))
        for one in offered.types
    }
    state = replay(
        Answered(START + 60 * number, one.id, steps[one.id], "right", options=one.options)
        for number, one in enumerate(offered.types)
    )
    came: Counter[str] = Counter()
    for day in range(MET_BEFORE, MET_BEFORE + DAYS):
        recent: list[Done] = []
        for number in range(A_DAY):
            now = START + day * DAY + 60 * number
            one = offered.by_id[choose(state, offered, now, rng, recent=recent, level=level).type_id]
            right = rng.random() < 0.75
            fold(state, Answered(now, one.id, steps[one.id], "right" if right else "wrong", options=one.options))
            recent.append(Done(one.id, right))
            came[one.id] += 1
    return came


def core_share(came: Counter[str], level: str) -> float:
    """Return the share of cases that are of the core."""
    offered = catalogue_for(Settings(level=level)).by_id
    return sum(times for type_id, times in came.items() if offered[type_id].core) / came.total()


def all_right(level: str, form: str, seed: int) -> list[str]:
    """Return the types of 130 cases of one sitting, every answer right."""
    drawing, rng = Settings(level=level, form=form), random.Random(seed)
    state, recent = LearnerState(), list[Done]()
    for number in range(ANSWERS):
        now = START + 60 * number
        choice = choose(state, catalogue_for(drawing), now, rng, recent=recent[-60:], level=level)
        one = all_types()[choice.type_id]
        case = draw(one, rng.randrange(2**31), drawing)
        fold(state, Answered(now, one.id, case.skills, "right", options=options_of(one.asks)))
        recent.append(Done(one.id, right=True))
    return [done.type_id for done in recent]


def main() -> None:
    """Print both for a number of seeds."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation.fortnight", description=__doc__)
    parser.add_argument("--seeds", type=int, default=10, metavar="N", help="of each (%(default)s)")
    seeds = range(parser.parse_args().seeds)
    for level in ("competent", "expert"):
        each = [fortnight(level, seed) for seed in seeds]
        shares = sorted(core_share(one, level) for one in each)
        print(f"{level}: core {shares[0]:.3f} to {shares[-1]:.3f}", flush=True)  # noqa: T201
    for level, form in (("novice", "minus"), ("competent", "minus"), ("competent", "plus"), ("expert", "plus")):
        most = [Counter(all_right(level, form, seed)).most_common(1)[0] for seed in seeds]
        name, times = max(most, key=lambda one: one[1])
        print(f"{level}, {form} cylinder: at most {times} of {ANSWERS} ({name})", flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
