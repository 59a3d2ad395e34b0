"""A simulated learner: a true memory step by step, false beliefs that fire whenever they can, and habitual slips.

What the learner truly knows is never shown to the app; the app sees the answers alone, marked by itself.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

from quiz.learning.catalogue import Catalogue
from quiz.learning.state import SlipKey
from tests.simulation.pool import MUDDLES, Outcome, Pool, Sample, Way
from tests.simulation.truth import MODELS, Memory

LAPSE = 0.03
"""Chance of muddling an answer that one knows."""
SYSTEMATIC = 0.75
"""Share of failures that are one of the step's known slips; the rest is muddle."""
GONE = 0.15
"""Chance of firing under which a false belief counts as gone."""
SAME_DAY = 0.6
"""What a correction is worth when there was one already within half a day."""
WEAK = 0.35
"""Chance of firing of a weak belief: with corrections its excess is gone after some forty answers, as in real logs."""
QUICKER = -0.15
"""Power of the times that a type was done by which its seconds shrink."""
GIVES_UP = 6
"""Misses in a row after which a human learner stops for the day."""
STABLE, PASSING = 3, 4
"""How many false beliefs of each sort a learner begins with."""
SHARED_BY = 4
"""A stable one is about a step that at least this many types share; a passing one, two."""


@dataclass
class Bug:
    """A false belief about one step: fires whenever the slip is live, until corrected often enough."""

    slip: SlipKey
    stable: bool
    strength: float
    """Chance of firing, as it stood after the last correction."""
    relapses: bool
    first: float = 0.0
    day: float = 0.0
    corrected: float = -1.0

    def __post_init__(self) -> None:
        self.first = self.strength

    def chance(self, day: float) -> float:
        """Return the chance of firing on a day: corrections wear off by up to a quarter of what they did."""
        if not self.relapses:
            return self.strength
        lost = (self.first - self.strength) * 0.25 * (1 - 0.5 ** ((day - self.day) / 14))
        return float(self.strength + lost)

    def correct(self, day: float, named: bool) -> None:
        """Take in that it fired and was shown, and whether it was called by its name."""
        worth = (1.0 if named else 0.5) * (SAME_DAY if day - self.corrected < 0.5 else 1.0)
        self.strength = self.chance(day) * (0.75 if self.stable else 0.4) ** worth
        self.day = self.corrected = day

    def hold(self, day: float) -> None:
        """Take in that it could have fired and did not."""
        self.strength, self.day = self.chance(day) * 0.9, day


@dataclass
class Person:
    """One learner. `own` is the share of steps that do not carry over from one type to another."""

    memory: Memory
    bugs: dict[str, Bug]
    """By skill."""
    taste: Mapping[SlipKey, float]
    """How prone to each slip where a step fails."""
    own: float
    rng: random.Random
    slow: float
    """Factor on a clinician's time."""
    human: bool = False
    """Whether beliefs are weak, sums go wrong, days are left out, a run of misses ends one; quicker with practice."""
    pen: float = 0.0
    """Chance of an arithmetic error at a step that is known."""
    times: Counter[str] = field(default_factory=Counter)
    """How often each type was done."""

    def skill(self, step: str, type_id: str) -> str:
        """Name what is really exercised: the step, or this type's own version of it."""
        return f"{step}@{type_id}" if self.own and _place(step, type_id) < self.own else step

    def chance(self, sample: Sample, day: float) -> float:
        """Return the true chance of a right answer to a case, lucky hits left out."""
        out = 1 - LAPSE
        live = sample.live
        for step in sample.skills:
            skill = self.skill(step, sample.type_id)
            out *= (1 - self.pen) * self.memory.chance(skill, day) * (1 - self._fires(skill, step, live, day))
        return out

    def _fires(self, skill: str, step: str, live: Mapping[str, list[str]], day: float) -> float:
        bug = self.bugs.get(skill)
        return bug.chance(day) if bug is not None and bug.slip[1] in live.get(step, ()) else 0.0

    def answer(self, sample: Sample, day: float, pool: Pool) -> tuple[Outcome, Way, list[Bug]]:
        """Do a case, see it marked with its working, and learn from that; also return what really went wrong."""
        way: dict[str, str] = {}
        fired: list[Bug] = []
        live, type_id = sample.live, sample.type_id
        for step in sample.skills:
            skill = self.skill(step, type_id)
            if self.rng.random() < self._fires(skill, step, live, day):
                fired.append(self.bugs[skill])
                way[step] = self.bugs[skill].slip[1]
            elif self.rng.random() >= self.memory.chance(skill, day):
                way[step] = self._failing(step, live.get(step, []))
            elif self.pen and self.rng.random() < self.pen:
                way[step] = self._muddle()
        if not way and self.rng.random() < LAPSE:
            way[self.rng.choice(sample.skills)] = self._muddle()
        outcome = pool.outcome(sample, tuple(way.items()))
        self._learn(sample, day, way, outcome)
        return outcome, tuple(way.items()), fired

    def _failing(self, step: str, slips: list[str]) -> str:
        if not slips or self.rng.random() >= SYSTEMATIC:
            return self._muddle()
        return self.rng.choices(slips, [self.taste[step, slip] for slip in slips])[0]

    def _muddle(self) -> str:
        return f"muddle-{self.rng.randrange(MUDDLES)}"

    def _learn(self, sample: Sample, day: float, way: Mapping[str, str], outcome: Outcome) -> None:
        named = {key for one in outcome.explanations for key in one}
        live = sample.live
        for step in sample.skills:
            skill = self.skill(step, sample.type_id)
            self.memory.practise(skill, day, step not in way)
            bug = self.bugs.get(skill)
            if bug is None or bug.slip[1] not in live.get(step, ()):
                continue
            if way.get(step) == bug.slip[1]:
                bug.correct(day, (step, bug.slip[1]) in named)
            elif step not in way:
                bug.hold(day)

    def read(self, sample: Sample, day: float) -> None:
        """Take in a worked example in two parts: every line read, then the last one filled in and the others read."""
        *others, last = sample.skills
        for step in (*sample.skills, *others):
            self.memory.read(self.skill(step, sample.type_id), day)
        skill = self.skill(last, sample.type_id)
        self.memory.practise(skill, day, self.rng.random() < self.memory.chance(skill, day))

    def seconds(self, type_id: str, competent: float, right: bool) -> float:
        """Return what a case took with reading its mark, given what a competent clinician takes for it."""
        self.times[type_id] += 1
        quicker = self.times[type_id] ** QUICKER if self.human else 1.0
        return self.slow * competent * quicker + (6 if right else 15)

    def days(self, days: Sequence[float], minutes_a_day: float, seed: int) -> dict[float, float]:
        """Return the days on which they practise, with the minutes: a human learner leaves out two of five."""
        if not self.human:
            return dict.fromkeys(days, minutes_a_day)
        rng = random.Random(f"attendance {seed}")
        return {
            day: minutes_a_day * rng.lognormvariate(0.0, 0.5) for day in days if rng.random() < 0.6 or day == days[0]
        }


@cache
def _place(step: str, type_id: str) -> float:
    return random.Random(f"own {step} {type_id}").random()


def person(seed: int, model: str, catalogue: Catalogue, own: float = 0.0, *, human: bool = False) -> Person:
    """Make the learner of this seed: the same for every way of choosing."""
    rng = random.Random(f"person {seed}")
    memory = MODELS[model](
        ability=rng.gauss(0.2, 0.8),
        quick=rng.lognormvariate(0, 0.25),
        lasting=rng.lognormvariate(0, 0.3),
        rng=random.Random(f"memory {seed}"),
        world=seed,
    )
    for step in sorted({step for one in catalogue.types for step in one.chain}):
        memory.start(step)  # drawn in this order, whatever is met first
    taste = {key: rng.lognormvariate(0, 1) for one in catalogue.types for key in one.slips}
    one = Person(memory, {}, taste, own, random.Random(f"answers {seed}"), rng.uniform(1.3, 2.2), human)
    if human:
        one.pen = rng.uniform(0.03, 0.10)
    uses: dict[SlipKey, list[str]] = {}
    for type_ in catalogue.types:
        for key in type_.slips:
            uses.setdefault(key, []).append(type_.id)
    for stable, wanted, types in ((True, STABLE, SHARED_BY), (False, STABLE + PASSING, 2)):
        keys = sorted(key for key, used in uses.items() if len(used) >= types)
        rng.shuffle(keys)
        for key in keys:
            skill = one.skill(key[0], rng.choice(uses[key]))
            if skill not in one.bugs and len(one.bugs) < wanted:
                strength = WEAK if human else 0.9 if stable else 0.6
                relapses = model != "no forgetting" and not human
                one.bugs[skill] = Bug(key, stable and not human, strength, relapses=relapses)
    return one


def exam(one: Person, pool: Pool, day: float) -> dict[str, float]:
    """Return the true chance of each type on a day, over the pool's cases of it."""
    out = {}
    for info in pool.catalogue.types:
        samples = pool.plain(info.id)
        out[info.id] = sum(one.chance(sample, day) for sample in samples) / len(samples)
    return out
