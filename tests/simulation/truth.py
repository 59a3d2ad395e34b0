"""Five ways in which a learner may really learn and forget a skill; none of them is the app's own model.

Every model gives the chance that a skill is carried out rightly at a time (days), and takes practice of it: done
rightly, or done wrongly and then shown. Numbers are invented within the range of the cited work, not fitted to people.
"""

from __future__ import annotations

import math
import random
from abc import ABC, abstractmethod
from dataclasses import dataclass, field

BEST = 0.98
"""No skill is surer than this."""


@dataclass
class Memory(ABC):
    """The true memory of one learner. `ability` and `hardness` are log-odds, `quick` and `lasting` factors about 1."""

    ability: float
    quick: float
    lasting: float
    rng: random.Random
    world: int
    """Where a step is as hard in each of its types' own versions."""
    hardness: dict[str, float] = field(default_factory=dict)

    def start(self, skill: str) -> float:
        """Log-odds of a skill before any practice; versions of one step are about as hard, and a little their own."""
        if skill not in self.hardness:
            common = random.Random(f"hardness {self.world} {skill.rsplit('@', 1)[0]}").gauss(0, 0.6)
            self.hardness[skill] = common + self.rng.gauss(0, 0.6)
        return self.ability - self.hardness[skill]

    @abstractmethod
    def chance(self, skill: str, day: float) -> float:
        """Return the chance that the skill is carried out rightly on a day."""

    @abstractmethod
    def practise(self, skill: str, day: float, right: bool) -> None:
        """Take one practice of the skill into the memory."""

    def read(self, skill: str, day: float) -> None:
        """Take in a line of a worked example: as much as one that is shown after a miss, and no failure."""
        self.practise(skill, day, right=False)


def _sigmoid(x: float) -> float:
    return 1 / (1 + math.exp(-x))


@dataclass
class Exponential(Memory):
    """A share that halves; each success after a wait makes the half-life longer (half-life regression's shape).

    After Settles & Meeder 2016, ACL 1:1848, for the shape.
    """

    kept: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    """Skill to (chance at the last practice, half-life in days, day)."""

    def chance(self, skill: str, day: float) -> float:
        floor = 0.9 * _sigmoid(self.start(skill))  # what was brought along hardly fades
        if skill not in self.kept:
            return min(BEST, floor / 0.9)
        level, half_life, last = self.kept[skill]
        return float(min(BEST, floor + max(0.0, level - floor) * 0.5 ** ((day - last) / half_life)))

    def practise(self, skill: str, day: float, right: bool) -> None:
        now = self.chance(skill, day)
        _, half_life, last = self.kept.get(skill, (0.0, 5.0 * self.lasting, day))
        waited = 1 - 0.5 ** ((day - last) / half_life)
        half_life *= 1.15 + 2.0 * waited if right else 0.9
        level = now + (1 - now) * min(1.0, (0.35 if right else 0.30) * self.quick)
        self.kept[skill] = level, max(half_life, 2.0 * self.lasting), day

    def read(self, skill: str, day: float) -> None:
        now = self.chance(skill, day)
        _, half_life, _ = self.kept.get(skill, (0.0, 5.0 * self.lasting, day))
        self.kept[skill] = now + (1 - now) * min(1.0, 0.30 * self.quick), half_life, day


@dataclass
class PowerLaw(Memory):
    """Traces that decay as powers of time, faster when laid down on a strong memory: ACT-R with spacing.

    Pavlik & Anderson 2005, Cognitive Science 29:559: decay .217·e^activation + .177, threshold −.704, noise .255; time
    between sittings runs at .025 of the clock.
    """

    traces: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    """Skill to (time in seconds as memory feels it, decay)."""

    def _activation(self, skill: str, day: float) -> float:
        base = 0.3 * self.start(skill)
        total = math.exp(-0.704)  # what was brought along: a chance of one half where start is 0
        for at, decay in self.traces.get(skill, ()):
            total += max(_felt(day) - at, 1.0) ** -decay
        return base + math.log(total)

    def chance(self, skill: str, day: float) -> float:
        return min(BEST, _sigmoid((self._activation(skill, day) + 0.704) / 0.3))

    def practise(self, skill: str, day: float, right: bool) -> None:  # noqa: ARG002
        decay = (0.217 * math.exp(min(1.0, self._activation(skill, day))) + 0.177) / self.lasting
        self.traces.setdefault(skill, []).append((_felt(day), decay / self.quick**0.5))


def _felt(day: float) -> float:
    """Return seconds as memory feels them: time between days runs at .025 of the clock, an hour's practice in full."""
    whole = math.floor(day)
    return 86400 * (0.025 * whole + min(day - whole, 0.04))


@dataclass
class TwoStates(Memory):
    """Known or not; lost at random, the less often the more it was practised with waits between."""

    kept: dict[str, tuple[bool, float, float]] = field(default_factory=dict)
    """Skill to (known, losses a day, day)."""

    def _at(self, skill: str, day: float) -> tuple[float, float]:
        if skill not in self.kept:
            return _sigmoid(self.start(skill)), 0.03 / self.lasting
        known, rate, last = self.kept[skill]
        return (math.exp(-rate * (day - last)) if known else 0.0), rate

    def chance(self, skill: str, day: float) -> float:
        known, _ = self._at(skill, day)
        return 0.97 * known + 0.10 * (1 - known)

    def practise(self, skill: str, day: float, right: bool) -> None:
        known, rate = self._at(skill, day)
        seen = (0.97 if right else 0.03) * known
        known = seen / (seen + (0.10 if right else 0.90) * (1 - known))  # what the answer says of it
        _, _, last = self.kept.get(skill, (False, 0.0, day))
        if right:
            rate *= 0.6 if day - last > 0.5 else 0.9
        learnt = self.rng.random() < known or self.rng.random() < min(1.0, 0.35 * self.quick)
        self.kept[skill] = learnt, rate, day

    def read(self, skill: str, day: float) -> None:
        known, rate = self._at(skill, day)
        learnt = self.rng.random() < known or self.rng.random() < min(1.0, 0.35 * self.quick)
        self.kept[skill] = learnt, rate, day


@dataclass
class Windows(Memory):
    """Log-odds from attempts and successes counted within an hour, a day, a week, a month and ever.

    After DAS3H: Choffin, Popineau, Bourda & Vie 2019, EDM 12:29.
    """

    spans = (1 / 24, 1.0, 7.0, 30.0, math.inf)
    wins = (0.05, 0.15, 0.35, 0.45, 0.45)
    tries = (0.02, 0.08, 0.15, 0.25, 0.25)
    kept: dict[str, list[tuple[float, bool]]] = field(default_factory=dict)

    def chance(self, skill: str, day: float) -> float:
        x = self.start(skill)
        past = self.kept.get(skill, ())
        for span, win, attempt in zip(self.spans, self.wins, self.tries, strict=True):
            within = [right for at, right in past if day - at <= span * self.lasting]
            x += self.quick * (win * math.log1p(sum(within)) + attempt * math.log1p(len(within)))
        return min(BEST, _sigmoid(x))

    def practise(self, skill: str, day: float, right: bool) -> None:
        self.kept.setdefault(skill, []).append((day, right))


@dataclass
class NoForgetting(Memory):
    """Log-odds from the numbers of successes and of corrected failures, whenever they were: performance factors.

    After Pavlik, Cen & Koedinger 2009, AIED 200:531.
    """

    kept: dict[str, float] = field(default_factory=dict)

    def chance(self, skill: str, day: float) -> float:  # noqa: ARG002
        return min(BEST, _sigmoid(self.start(skill) + 1.3 * self.quick * math.log1p(self.kept.get(skill, 0.0))))

    def practise(self, skill: str, day: float, right: bool) -> None:  # noqa: ARG002
        self.kept[skill] = self.kept.get(skill, 0.0) + (0.5 if right else 0.4)


MODELS: dict[str, type[Memory]] = {
    "exponential": Exponential,
    "power law": PowerLaw,
    "two states": TwoStates,
    "windows": Windows,
    "no forgetting": NoForgetting,
}
