"""What a learner's day holds: what may be forgotten, how long it takes, dates ahead, readiness for an exam.

Readiness is put into words, and into figures only where those held so far: where the chances that memory gave on this
data file, a night or more ahead, lay within .05 of what came, over at least 200 answers: the mean distance of given
from observed over tenths (Naeini, Cooper & Hauskrecht 2015, AAAI 29:2901). The range of a figure is what came true of
forecasts in the same tenth (Wilson 1927, J Am Stat Assoc 22:209).
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cases.curriculum.register import all_families, all_types, case_type
from cases.procedure.vocabulary import LEVELS
from quiz.errors import QuizError
from quiz.learning import model, words
from quiz.learning.catalogue import Catalogue, TypeInfo
from quiz.learning.intervals import Interval, share_interval
from quiz.learning.state import DAY, NIGHT, Answered, LearnerState
from quiz.practice import learners, sittings, what_to_practise
from quiz.practice.settings import Length
from quiz.practice.titles import topic_words
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import PAPER_LENGTH, SURVEY_FAMILIES, Aim
from quiz.storage import desk_queries, forecast_queries, projection
from quiz.storage.forecast_queries import Tenth
from quiz.storage.store import Learner, Sitting, Store

AWAY_DAYS = 30
"""After so long an absence practice begins with a look at what has gone."""
NAMED_AT_MOST = 3
LOOKED_BACK = 50
"""Timed answers by which a learner's pace is known."""
USUAL_PACE, LEAST_PACE, MOST_PACE = 2.0, 1.0, 4.0
"""How many times longer than a competent clinician someone takes; estimated 2026-11-30 until their answers say it."""
READING_SECONDS = 15.0
"""For reading a case and its mark; estimated 2026-11-30."""
LOOKED_AHEAD_DAYS = 90


@dataclass(frozen=True)
class Today:
    """What a day holds."""

    minutes: int
    """How long the sitting takes that the first case begins."""
    slipping: tuple[str, ...]
    """The topics in which steps may be forgotten, the most doubtful first."""
    new: str
    """The title of the type that comes next among those not met; "" where all are."""
    slips_next: tuple[str, float] | None
    """The step that may next be forgotten without practice, by its title, and when."""
    away_days: int | None
    """Days since the last answer, where they are many; None where they are not."""
    under_way: Sitting | None
    exam_at: float | None
    next_at: float | None = None
    """When the next sitting is due, where the length of this one says how often and this one was done."""
    every_days: int = 0
    """Days from one sitting to the next, where the length says so; what may slip by then counts as likely to."""
    check_up: int = 0
    """Topics that a check-up after an absence would look at."""


def today(store: Store, learner: Learner, length: Length, *, now: float) -> Today:
    """Say what a learner's day holds, at `now` in seconds since 1970."""
    settings = learners.settings_of(learner)
    state = projection.told_of(store, learner)
    offered = catalogue_for(settings.for_drawing)
    ahead = length.every_days * DAY
    found = slipping_steps(state, offered, now, ahead=ahead)
    last = max((one.at for one in state.types.values()), default=None)
    away = None if last is None else int((now - last) / DAY)
    sitting = store.sitting_under_way(learner.id)
    exam = settings.exam_at
    return Today(
        minutes=_minutes(found, state, offered, length, pace(store, learner.id, offered)),
        slipping=_topics(found, state, offered),
        new=_next_new(state, offered, settings.level),
        slips_next=_slips_next(state, offered, now),
        away_days=away if away is not None and away > AWAY_DAYS else None,
        under_way=None if sitting is None or sittings.is_left(sitting, now) else sitting,
        exam_at=exam if exam is not None and exam > now - DAY / 2 else None,
        next_at=_next_at(store, learner.id, length, now),
        every_days=length.every_days,
        check_up=len(what_to_practise.practised_topics(offered, state)),
    )


def _next_at(store: Store, learner_id: int, length: Length, now: float) -> float | None:
    """Return when the next sitting is due; None where it is due now, or the length does not say how often."""
    if not length.every_days or length.minutes is None:
        return None
    last = desk_queries.last_whole_sitting(store, learner_id, minutes=length.minutes)
    due = None if last is None else last + length.every_days * DAY
    # Half a day early is no reason to send anyone away.
    return due if due is not None and due - DAY / 2 > now else None


def slipping_steps(state: LearnerState, offered: Catalogue, now: float, *, ahead: float = 0.0) -> dict[str, float]:
    """Return the steps that are likely to slip by `ahead` seconds from now, with their chance then.

    Those that were met within a night are left out.
    """
    found = {}
    for step in offered.steps:
        memory = state.steps.get(step)
        if memory is not None and now - memory.at >= NIGHT:
            chance = words.chance_of(state, step, now + ahead)
            if chance < words.SLIPS_BELOW:
                found[step] = chance
    return found


def _topics(found: dict[str, float], state: LearnerState, offered: Catalogue) -> tuple[str, ...]:
    """Name the families whose met types have the most doubt in steps that are likely to slip."""
    doubt: dict[str, dict[str, float]] = {}
    for one in offered.types:
        if one.id in state.types:
            own = doubt.setdefault(one.family, {})
            own |= {step: 1 - found[step] for step in one.chain if step in found}
    by_doubt = sorted((-math.fsum(own.values()), family) for family, own in doubt.items() if own)
    named: list[str] = []
    covered: set[str] = set()
    for _, family in by_doubt:
        # A step that many families share is named once.
        if doubt[family].keys() - covered:
            named.append(topic_words(family))
            covered |= doubt[family].keys()
    return tuple(named[:NAMED_AT_MOST])


def _minutes(found: dict[str, float], state: LearnerState, offered: Catalogue, length: Length, pace: float) -> int:
    """Return how long a sitting of this length takes, which begins with what covers the steps that may slip."""
    if length.minutes is not None:
        return math.ceil(length.minutes)
    cases = length.cases or 1
    met = [one for one in offered.types if one.id in state.types]
    seconds = [one.seconds for one in _cover(set(found), met)][:cases]
    usual = statistics.fmean(seconds or [one.seconds for one in met] or [15.0])
    seconds += [usual] * (cases - len(seconds))
    return max(1, math.ceil(math.fsum(READING_SECONDS + pace * one for one in seconds) / 60))


def _cover(steps: set[str], types: Sequence[TypeInfo]) -> list[TypeInfo]:
    """Return few types that together have all of these steps, the most in the least time first."""
    left, out = set(steps), []
    while left:
        best = max(types, key=lambda one: len(left.intersection(one.chain)) / one.seconds, default=None)
        if best is None or not left.intersection(best.chain):
            break
        out.append(best)
        left -= set(best.chain)
    return out


def pace(store: Store, learner_id: int, offered: Catalogue) -> float:
    """Return how many times longer than a competent clinician a learner takes."""
    ratios = [
        seconds / offered.by_id[type_id].seconds
        for type_id, seconds in desk_queries.paces(store, learner_id, most=LOOKED_BACK)
        if type_id in offered.by_id
    ]
    return min(max(statistics.median(ratios), LEAST_PACE), MOST_PACE) if len(ratios) >= 5 else USUAL_PACE


def _next_new(state: LearnerState, offered: Catalogue, level: str) -> str:
    rank = LEVELS.index(level)
    new = [one for one in offered.types if one.id not in state.types and one.rank <= rank]
    return min(new, key=lambda one: one.place).title if new else ""


def _slips_next(state: LearnerState, offered: Catalogue, now: float) -> tuple[str, float] | None:
    """Return the step that is the next to become likely to slip, with the moment."""
    best: tuple[str, float] | None = None
    for step in offered.steps:
        if step not in state.steps or words.likely_to_slip(state, step, now):
            continue
        until = now + LOOKED_AHEAD_DAYS * DAY if best is None else best[1]
        if words.likely_to_slip(state, step, until):
            at = words.slips_on(state, step, now, within_days=(until - now) / DAY)
            if at is not None:
                best = step, at
    return None if best is None else (offered.step_titles.get(best[0], best[0]), best[1])


def first_aim(day: Today) -> Aim:
    """Return what the day's first case begins: after an absence a look at what has gone."""
    return what_to_practise.read_aim(
        what_to_practise.CHECK_UP if day.away_days is not None and day.check_up else what_to_practise.SLIPPING
    )


def topics() -> tuple[tuple[str, str], ...]:
    """Return the topics that can be chosen, families by id and title."""
    there = {one.family.id for one in all_types().values()}
    return tuple((one.id, one.title) for one in all_families() if one.id in there)


# --- readiness ---------------------------------------------------------------------------------------------------

LEAST_ANSWERS = 200
MOST_OFF = 0.05
LEAST_IN_TENTH = 20
"""Fewer forecasts of one tenth say too little of how such forecasts come true."""
SAID = (
    (0.85, "very likely right"),
    (0.7, "likely right"),
    (0.5, "more often right than wrong"),
    (0.0, "more often wrong than right"),
)
NOT_MET, TOO_FEW = "not met yet", "too few answers to say"
LEAST_OF_TOPIC = 3
"""With fewer answers in a topic nothing is said of how it would go: ours."""


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
    few: bool = False
    """Whether the topic was met and too few of its cases were answered to say anything."""

    @property
    def words(self) -> str:
        """Put the chance into words."""
        if not self.met:
            return NOT_MET
        if self.few:
            return TOO_FEW
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
    few = met and sum(state.types[one.id].answered for one in types if one.id in state.types) < LEAST_OF_TOPIC
    if tenth is None or tenth.answers < LEAST_IN_TENTH or not met or few:
        return Ready(family, title, chance, met, None, few=few)
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
    """Cases from topics with enough answers; of the others nothing is known."""
    share: float
    """Of those, the share (0..1) that is expected right."""
    figures: Interval | None
    """How many of them are right in four papers of five; None where figures may not be given."""

    @property
    def words(self) -> str:
        """Put the share into words, to precede "of the ... cases"."""
        return next(said for least, said in PAPER_SAID if self.share >= least)


def paper(lines: Sequence[Ready]) -> Paper | None:
    """Return what a mock paper would come to, from the readiness of each topic; None where of none enough is known."""
    number = PAPER_LENGTH.cases or 0
    asked = Counter(itertools.islice(itertools.cycle(SURVEY_FAMILIES), number))
    there = [(one, asked[one.topic]) for one in lines if one.met and not one.few and asked[one.topic]]
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
    """Return the cases that fit into this many seconds, at least one."""
    out: list[TypeInfo] = []
    for one in itertools.cycle(types):
        seconds -= READING_SECONDS + speed * one.seconds
        if out and seconds < 0:
            break
        out.append(one)
    return out


def _foreseen(state: LearnerState, one: TypeInfo, at: float) -> float:
    return model.chance(state, one.chain, at, type_id=one.id, options=one.options)


# --- beginning what was chosen ------------------------------------------------------------------------------------


class NothingThere(QuizError):
    """A choice that holds no case now: no mistakes, or every type met."""


def begin(store: Store, learner: Learner, types: Sequence[str], why: str, *, length: Length, now: float) -> int:
    """Begin a sitting of a length that keeps to these types, and return its number.

    A sitting under way ends here, and a case that was open is left unanswered.

    Raises
    ------
    UnknownType
        When there is no such type.
    """
    known = tuple(case_type(one).id for one in types)
    with store.writing(learner.id):
        return _begin(store, learner, Aim(known, why), length, now)


def start(store: Store, learner: Learner, aim: Aim, length: Length, *, level: str, now: float) -> None:
    """Begin what was chosen, or go on with it where it is under way.

    Raises
    ------
    NothingThere
        When the choice holds no case now.
    """
    with store.writing(learner.id):
        before = store.sitting_under_way(learner.id)
        same = before is not None and not sittings.is_left(before, now) and _aim(store, before) == aim
        if same and before is not None and (before.answered or before.last_dealt_at is not None):
            return
        state = projection.cases_of(store, learner.id)
        offered = catalogue_for(learners.settings_of(learner).for_drawing)
        problem = nothing_there(offered, state, level, aim, now)
        if problem:
            raise NothingThere(problem)
        topics = len(what_to_practise.practised_topics(offered, state))
        _begin(store, learner, aim, what_to_practise.length_of(aim, length, topics=topics), now)


def _aim(store: Store, sitting: Sitting) -> Aim:
    return what_to_practise.of_sitting(store, sitting.id) or what_to_practise.read_aim(what_to_practise.SLIPPING)


def _begin(store: Store, learner: Learner, aim: Aim, length: Length, now: float) -> int:
    before = store.sitting_under_way(learner.id)
    if before is not None:
        store.end_sitting(before.id, now=now)
    left = store.open_case(learner.id)
    if left is not None:
        store.close_case(left.id, now=now)
    sitting = store.begin_sitting(learner.id, now=now, cases=length.cases, minutes=length.minutes)
    if aim.what != what_to_practise.SLIPPING:
        desk_queries.keep_aim(store, sitting, aim)
    return sitting


def end_if_time_is_over(store: Store, learner: Learner, *, now: float) -> int | None:
    """End a mock paper whose time is over and return its number; None where there is none."""
    sitting = store.sitting_under_way(learner.id)
    if sitting is None or what_to_practise.seconds_left(store, sitting, now) > -sittings.GRACE_S:
        return None
    with store.writing(learner.id):
        left = store.open_case(learner.id)
        if left is not None:
            store.close_case(left.id, now=now)
        minutes = (what_to_practise.of_sitting(store, sitting.id) or Aim()).minutes or 0.0
        store.end_sitting(sitting.id, now=min(now, sitting.started_at + 60 * minutes))
    return sitting.id


def nothing_there(offered: Catalogue, state: LearnerState, level: str, aim: Aim, now: float) -> str:
    """Say why a choice holds no case now; "" where it holds some."""
    if aim.what == what_to_practise.MISTAKES and not aim.topic and not what_to_practise.mistakes(offered, state, now):
        return "You have made no recent mistake that could be practised."
    if aim.what == what_to_practise.CHECK_UP and not what_to_practise.practised_topics(offered, state):
        return "You have not practised any topic yet."
    if aim.what == what_to_practise.UNMET and not what_to_practise.unmet(offered, state, level):
        return "You have met every type up to your level."
    if aim.what == what_to_practise.TOPIC and not aim.topic:
        return "Pick a topic."
    return ""
