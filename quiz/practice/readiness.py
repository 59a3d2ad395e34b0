"""How ready a learner is for an exam: each topic, the whole paper, and what ten minutes can change.

Readiness is put into words, and into figures only where those held so far: where the chances that memory gave on this
data file, a night or more ahead, lay within .05 of what came, over at least 200 answers: the mean distance of given
from observed over tenths (Naeini, Cooper & Hauskrecht 2015, AAAI 29:2901). The range of a figure is what came true of
forecasts in the same tenth (Wilson 1927, J Am Stat Assoc 22:209).
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cases.procedure.vocabulary import LEVELS
from quiz.learning import model
from quiz.learning.catalogue import TypeInfo
from quiz.learning.intervals import Interval, share_interval
from quiz.learning.state import Answered, LearnerState
from quiz.practice import learners
from quiz.practice.paces import READING_SECONDS, pace
from quiz.practice.titles import topic_words
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import PAPER_LENGTH, SURVEY_FAMILIES
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
    return _readiness(projection.told_of(store, learner), _by_topic(learner), exam_at, _tenths(store))


def _readiness(
    state: LearnerState, by_topic: Mapping[str, Sequence[TypeInfo]], at: float, tenths: Mapping[int, Tenth]
) -> tuple[Ready, ...]:
    lines = [_ready(state, family, of, at, tenths) for family, of in by_topic.items()]
    return tuple(sorted(lines, key=lambda one: (not one.met, one.chance)))


def _by_topic(learner: Learner) -> dict[str, list[TypeInfo]]:
    settings = learners.settings_of(learner)
    rank = LEVELS.index(settings.level)
    by_topic: dict[str, list[TypeInfo]] = {}
    for one in catalogue_for(settings.for_drawing).types:
        if one.rank <= rank:
            by_topic.setdefault(one.family, []).append(one)
    return by_topic


def _tenths(store: Store) -> dict[int, Tenth]:
    found = forecast_queries.tenths(store)
    return {one.tenth: one for one in found} if may_give_figures(found) else {}


def may_give_figures(found: Sequence[Tenth]) -> bool:
    """Say whether forecasts on this data file came true closely enough, and often enough, to be given in figures."""
    answers = sum(one.answers for one in found)
    if answers < LEAST_ANSWERS:
        return False
    return math.fsum(abs(one.given - one.came) for one in found) / answers <= MOST_OFF


def _ready(
    state: LearnerState, family: str, types: Sequence[TypeInfo], at: float, tenths: Mapping[int, Tenth]
) -> Ready:
    chance, title = math.fsum(_foreseen(state, one, at) for one in types) / len(types), topic_words(family)
    tenth = tenths.get(min(int(chance * 10), 9))
    met = any(one.id in state.types for one in types)
    if tenth is None or tenth.answers < LEAST_IN_TENTH or not met:
        return Ready(family, title, chance, met, None)
    return Ready(family, title, chance, met, share_interval(tenth.came, tenth.answers), tenth.answers, tenth.came)


# --- the whole paper ---------------------------------------------------------------------------------------------

PAPER_SAID = (
    (0.85, "nearly all"),
    (0.7, "most"),
    (0.5, "more than half"),
    (0.0, "less than half"),
)
FOUR_IN_FIVE = 0.8


@dataclass(frozen=True)
class Paper:
    """A mock paper on the day of the exam, as the app deals it: its topics in turn, a type of each by chance."""

    cases: int
    known: int
    """Cases from topics that were met; of the others nothing is known."""
    share: float
    """Of those, the share (0..1) that is expected right."""
    figures: Interval | None
    """How many of them are right in four papers of five; None where figures may not be given."""

    @property
    def words(self) -> str:
        """Put the share into words, to precede "of the ... cases"."""
        return next(said for least, said in PAPER_SAID if self.share >= least)


def paper(lines: Sequence[Ready]) -> Paper | None:
    """Return what a mock paper would come to, from the readiness of each topic; None where no topic was met."""
    number = PAPER_LENGTH.cases or 0
    asked = Counter(itertools.islice(itertools.cycle(SURVEY_FAMILIES), number))
    there = [(one, asked[one.topic]) for one in lines if one.met and asked[one.topic]]
    known = sum(times for _, times in there)
    if not known:
        return None
    share = math.fsum(one.chance * times for one, times in there) / known
    ranges = [(one.figures, times) for one, times in there if one.figures is not None]
    figures = None
    if len(ranges) == len(there):
        tail = (1 - FOUR_IN_FIVE) / 2
        figures = Interval(
            _quantile([one.low for one, times in ranges for _ in range(times)], tail),
            _quantile([one.high for one, times in ranges for _ in range(times)], 1 - tail),
        )
    return Paper(number, known, share, figures)


def _quantile(chances: Sequence[float], level: float) -> int:
    """Return the least number of right answers that is not exceeded with this probability, each case by itself."""
    odds = [1.0]
    for chance in chances:
        odds = [math.fsum(((1 - chance) * a, chance * b)) for a, b in zip([*odds, 0.0], [0.0, *odds], strict=True)]
    return next(number for number in range(len(odds)) if math.fsum(odds[: number + 1]) >= level - 1e-9)


# --- ten minutes -------------------------------------------------------------------------------------------------

TEN_MINUTES_S = 600.0
LEAST_CHANGE = 0.02
"""Less than this is not told from no change."""


@dataclass(frozen=True)
class TenMinutes:
    """One topic without more practice, and after ten minutes of it now in which every answer is right."""

    before: Ready
    after: Ready

    @property
    def change(self) -> float:
        """What the minutes can add to the chance on that day."""
        return self.after.chance - self.before.chance


def ten_minutes(store: Store, learner: Learner, exam_at: float, *, now: float) -> tuple[TenMinutes, ...]:
    """Return what ten minutes of each topic can change by the day of the exam, the greatest change first.

    The topic's types in turn, the least certain of those met first, and every answer right: how many will be is not
    known, and a miss says as much of what was known before as of what the minutes did.
    """
    state, by_topic, tenths = projection.told_of(store, learner), _by_topic(learner), _tenths(store)
    speed = pace(store, learner.id, catalogue_for(learners.settings_of(learner).for_drawing))
    out = []
    for one in _readiness(state, by_topic, exam_at, tenths):
        chances = {info.id: _foreseen(state, info, exam_at) for info in by_topic[one.topic]}
        types = sorted(by_topic[one.topic], key=lambda info: (info.id not in state.types, chances[info.id]))
        end = state.copy()
        for number, info in enumerate(_within(types, TEN_MINUTES_S, speed)):
            model.fold(end, Answered(now + 60 * number, info.id, info.chain, "right", options=info.options))
        out.append(TenMinutes(one, _ready(end, one.topic, types, exam_at, tenths)))
    return tuple(sorted(out, key=lambda one: -one.change))


def _within(types: Sequence[TypeInfo], seconds: float, speed: float) -> list[TypeInfo]:
    """Return the cases that fit into so many seconds, at least one."""
    out: list[TypeInfo] = []
    for one in itertools.cycle(types):
        seconds -= READING_SECONDS + speed * one.seconds
        if out and seconds < 0:
            break
        out.append(one)
    return out


def _foreseen(state: LearnerState, one: TypeInfo, at: float) -> float:
    return model.chance(state, one.chain, at, type_id=one.id, options=one.options)
