"""How ready a learner is for the day of an exam, topic by topic: in words, and in figures where those came true.

A figure is given only when the chances that memory gave on this data file, a night or more ahead, lay within .05 of
what came, over at least 200 answers: the mean distance of given from observed over tenths (Naeini, Cooper & Hauskrecht
2015, AAAI 29:2901). Its range is what came true of forecasts in the same tenth (Wilson 1927, J Am Stat Assoc 22:209).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cases.procedure.vocabulary import LEVELS
from quiz.learning import model
from quiz.learning.catalogue import TypeInfo
from quiz.learning.intervals import Interval, share_interval
from quiz.learning.state import LearnerState
from quiz.practice import learners
from quiz.practice.titles import topic_words
from quiz.practice.type_catalogue import catalogue_for
from quiz.storage import forecast_queries, projection
from quiz.storage.forecast_queries import Tenth
from quiz.storage.store import Learner, Store

LEAST_ANSWERS = 200
MOST_OFF = 0.05
LEAST_IN_TENTH = 20
"""Fewer forecasts of one tenth say too little of how such forecasts come true."""
SAID = (
    (0.85, "very likely right"),
    (0.7, "likely right"),
    (0.5, "more often right than wrong"),
    (0.0, "likely to slip"),
)
NOT_MET = "not met yet"


@dataclass(frozen=True)
class Ready:
    """One topic on the day of the exam."""

    topic: str
    """The family's id."""
    title: str
    chance: float
    met: bool
    """Whether any of its types was answered; else nothing is known of it."""
    figures: Interval | None
    """The range of the chance, where figures may be given."""
    forecasts: int = 0
    came: int = 0
    """How many of such forecasts came true."""

    @property
    def words(self) -> str:
        """Put the chance into words."""
        if not self.met:
            return NOT_MET
        return next(said for least, said in SAID if self.chance >= least)

    @property
    def tenth(self) -> tuple[int, int]:
        """Return the tenth in which the chance lies, in per cent."""
        low = 10 * min(int(self.chance * 10), 9)
        return low, low + 10


def readiness(store: Store, learner: Learner, exam_at: float) -> tuple[Ready, ...]:
    """Return how ready a learner will be at `exam_at` without practice, what is least certain first.

    All types up to the learner's level count alike within their topic.
    """
    settings = learners.settings_of(learner)
    state = projection.told_of(store, learner)
    rank = LEVELS.index(settings.level)
    types = [one for one in catalogue_for(settings.for_drawing).types if one.rank <= rank]
    found = forecast_queries.tenths(store)
    tenths = {one.tenth: one for one in found} if may_give_figures(found) else {}
    by_topic: dict[str, list[TypeInfo]] = {}
    for one in types:
        by_topic.setdefault(one.family, []).append(one)
    lines = [_ready(state, family, of, exam_at, tenths) for family, of in by_topic.items()]
    return tuple(sorted(lines, key=lambda one: (not one.met, one.chance)))


def may_give_figures(found: Sequence[Tenth]) -> bool:
    """Say whether forecasts on this data file came true closely enough, and often enough, to be given in figures."""
    answers = sum(one.answers for one in found)
    if answers < LEAST_ANSWERS:
        return False
    return math.fsum(abs(one.given - one.came) for one in found) / answers <= MOST_OFF


def _ready(state: LearnerState, family: str, types: Sequence[TypeInfo], at: float, tenths: dict[int, Tenth]) -> Ready:
    chances = [model.chance(state, one.chain, at, type_id=one.id, options=one.options) for one in types]
    chance = math.fsum(chances) / len(chances)
    tenth = tenths.get(min(int(chance * 10), 9))
    met = any(one.id in state.types for one in types)
    if tenth is None or tenth.answers < LEAST_IN_TENTH or not met:
        return Ready(family, topic_words(family), chance, met, None)
    return Ready(
        family, topic_words(family), chance, met, share_interval(tenth.came, tenth.answers), tenth.answers, tenth.came
    )
