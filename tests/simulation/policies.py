"""Ways of choosing the next case: the app's own, and the plain ones that it is held against, at the level of types."""

from __future__ import annotations

import math
import random
from abc import ABC, abstractmethod
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from quiz.learning.catalogue import Catalogue, TypeInfo
from quiz.learning.scheduler import Choice, Done
from quiz.learning.state import DAY, LearnerState
from quiz.practice.dealing import RECENT, next_choice
from quiz.practice.settings import LearnerSettings


@dataclass
class Policy(ABC):
    """One way of choosing. It is told the result of each answer, and how much of all the minutes is spent."""

    catalogue: Catalogue
    rng: random.Random
    exam_day: float
    """Seconds since 1970."""
    learner: LearnerSettings
    """What the learner has set."""

    @property
    def ids(self) -> list[str]:
        """The types in the register's order: families from simple to composed."""
        return [one.id for one in self.catalogue.types]

    @abstractmethod
    def next(self, now: float, state: LearnerState, spent: float) -> Choice:
        """Choose; `now` in seconds, `spent` the share (0..1) of all minutes that is gone."""

    def saw(self, choice: Choice, right: bool, now: float) -> None:  # noqa: ARG002
        """Take in how it went; most ways do not."""
        return


class Random(Policy):
    """Any type, all alike."""

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        return Choice(self.rng.choice(self.ids), "")


@dataclass
class RoundRobin(Policy):
    """Every type in turn, over and over."""

    turn: int = -1

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        self.turn += 1
        return Choice(self.ids[self.turn % len(self.ids)], "")


class Blocked(Policy):
    """Every type for its share of the minutes, then the next."""

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        return Choice(self.ids[min(int(spent * len(self.ids)), len(self.ids) - 1)], "")


@dataclass
class WeakestFirst(Policy):
    """The type with the lowest share of right answers of late; one never met counts as one half."""

    share: dict[str, float] = field(default_factory=dict)
    last: str = ""

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        others = [one for one in self.ids if one != self.last] or self.ids
        return Choice(min(others, key=lambda one: (self.share.get(one, 0.5), self.rng.random())), "")

    def saw(self, choice: Choice, right: bool, now: float) -> None:  # noqa: ARG002
        self.share[choice.type_id] = 0.7 * self.share.get(choice.type_id, 0.5) + 0.3 * right
        self.last = choice.type_id


@dataclass
class FixedBoxes(Policy):
    """Five boxes (Leitner 1972): right, one box up; wrong, back to the first; due after 1, 2, 4, 8 and 16 days.

    What is due comes first, the longest overdue for its box before others; then what was never met, in order; then what
    will be due next.
    """

    box: dict[str, int] = field(default_factory=dict)
    met: dict[str, float] = field(default_factory=dict)
    last: str = ""
    days = (1.0, 2.0, 4.0, 8.0, 16.0)

    def overdue(self, one: str, now: float) -> float:
        return (now - self.met[one]) / DAY / self.days[self.box[one]]

    def worth(self, one: str, now: float) -> float:
        """Say how pressing a type that was met is."""
        return self.overdue(one, now)

    def first(self, new: list[str]) -> str:
        """Pick among types never met."""
        return new[0]

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        known = [one for one in self.met if one != self.last]
        due = [one for one in known if self.overdue(one, now) >= 0.8]
        new = [one for one in self.ids if one not in self.met]
        if new and not due:
            return Choice(self.first(new), "")
        return Choice(max(due or known or list(self.met), key=lambda one: self.worth(one, now)), "")

    def saw(self, choice: Choice, right: bool, now: float) -> None:
        box = self.box.get(choice.type_id, 0)
        self.box[choice.type_id] = min(box + 1, 4) if right else 0
        self.met[choice.type_id] = now
        self.last = choice.type_id


class BoxesByTime(FixedBoxes):
    """The same five boxes by someone who looks at the clock: the most overdue per second, shortest new types first.

    Seconds are what a case of the type takes; new types come while nothing is due.
    """

    def worth(self, one: str, now: float) -> float:
        return self.overdue(one, now) / self.catalogue.by_id[one].seconds

    def first(self, new: list[str]) -> str:
        return min(new, key=lambda one: self.catalogue.by_id[one].seconds)


@dataclass
class EloByTime(Policy):
    """A rating for each type and a half-life that doubles with each spaced success; the greatest doubt per second.

    After Pelánek 2016 for the rating; the half-life doubles when right on another day and halves when wrong.
    """

    rating: dict[str, float] = field(default_factory=dict)
    half_life: dict[str, float] = field(default_factory=dict)
    met: dict[str, float] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    last: str = ""

    def _chance(self, one: str, now: float) -> float:
        if one not in self.met:
            return 0.4
        faded: float = 0.5 ** ((now - self.met[one]) / DAY / self.half_life[one])
        return faded / (1 + math.exp(-self.rating[one]))

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        others = [one for one in self.catalogue.types if one.id != self.last] or list(self.catalogue.types)
        rest = {one.id: 1.0 if one.id not in self.met else (now - self.met[one.id]) / DAY for one in others}

        def worth(one: TypeInfo) -> float:
            waited = rest[one.id] / (rest[one.id] + self.half_life.get(one.id, 1.0) / 4)
            return (1 - self._chance(one.id, now)) * waited / one.seconds

        return Choice(max(others, key=worth).id, "")

    def saw(self, choice: Choice, right: bool, now: float) -> None:
        one = choice.type_id
        half_life = self.half_life.get(one, 1.0)
        if one in self.met and now - self.met[one] > 0.5 * DAY:
            half_life *= 2.0 if right else 0.5
        gain = 1 / (1 + 0.05 * self.times.get(one, 0))
        rating = self.rating.get(one, 0.0)
        self.rating[one] = rating + gain * (right - 1 / (1 + math.exp(-rating)))
        self.half_life[one] = min(max(half_life, 1.0), 32.0)
        self.times[one] = self.times.get(one, 0) + 1
        self.met[one] = now
        self.last = one


@dataclass
class Ours(Policy):
    """What Practise deals, by the same function, for a learner who has set the exam's day."""

    recent: list[Done] = field(default_factory=list)

    @property
    def settings(self) -> LearnerSettings:
        return replace(self.learner, exam_day=datetime.fromtimestamp(self.exam_day, UTC).date().isoformat())

    def next(self, now: float, state: LearnerState, spent: float) -> Choice:  # noqa: ARG002
        return next_choice(state, self.settings, self.recent, now, self.rng, offered=self.catalogue)

    def saw(self, choice: Choice, right: bool, now: float) -> None:  # noqa: ARG002
        self.recent.append(Done(choice.type_id, right, choice.for_drill, choice.why))
        del self.recent[:-RECENT]

    def new_day(self) -> None:
        """Begin a day: the app looks back for two hours only."""
        self.recent.clear()


class AsComes(Ours):
    """The same for a learner who sets no exam day, as the app has it by default."""

    @property
    def settings(self) -> LearnerSettings:
        return self.learner


PLAIN: dict[str, type[Policy]] = {
    "random": Random,
    "round robin": RoundRobin,
    "fixed boxes": FixedBoxes,
    "boxes by time": BoxesByTime,
    "Elo by time": EloByTime,
    "weakest first": WeakestFirst,
    "blocked": Blocked,
}
