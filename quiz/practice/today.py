"""What a learner's day holds: what is likely to slip, how long it takes, dates ahead; and its start."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from cases.curriculum.register import all_families, all_types, case_type
from cases.procedure.vocabulary import LEVELS
from quiz.errors import QuizError
from quiz.learning import words
from quiz.learning.catalogue import Catalogue, TypeInfo
from quiz.learning.state import DAY, NIGHT, LearnerState
from quiz.practice import learners, sittings, what_to_practise
from quiz.practice.paces import READING_SECONDS, pace
from quiz.practice.settings import Length
from quiz.practice.titles import topic_words
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import Aim
from quiz.storage import desk_queries, projection
from quiz.storage.store import Learner, Sitting, Store

AWAY_DAYS = 30
"""After so long an absence practice begins with a look at what has gone."""
NAMED_AT_MOST = 3
LOOKED_AHEAD_DAYS = 90


@dataclass(frozen=True)
class Today:
    """What a day holds."""

    minutes: int
    """How long the sitting takes that the first case begins."""
    slipping: tuple[str, ...]
    """The topics in which steps are likely to slip, the most doubtful first."""
    new: str
    """The title of the type that comes next among those not met; "" where all are."""
    slips_next: tuple[str, float] | None
    """The step that is next likely to slip without practice, by its title, and when."""
    away_days: int | None
    """Days since the last answer, where they are many; None where they are not."""
    under_way: Sitting | None
    exam_at: float | None


def today(store: Store, learner: Learner, length: Length, *, now: float) -> Today:
    """Say what a learner's day holds, at `now` in seconds since 1970."""
    settings = learners.settings_of(learner)
    state = projection.told_of(store, learner)
    offered = catalogue_for(settings.for_drawing)
    found = slipping_steps(state, offered, now)
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
    )


def slipping_steps(state: LearnerState, offered: Catalogue, now: float) -> dict[str, float]:
    """Return the steps that are likely to slip now, with their chance, those left out that were met within a night."""
    found = {}
    for step in offered.steps:
        memory = state.steps.get(step)
        if memory is not None and now - memory.at >= NIGHT:
            chance = words.chance_of(state, step, now)
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
        what_to_practise.SURVEY if day.away_days is not None else what_to_practise.SLIPPING
    )


def topics() -> tuple[tuple[str, str], ...]:
    """Return the topics that can be chosen, families by id and title."""
    there = {one.family.id for one in all_types().values()}
    return tuple((one.id, one.title) for one in all_families() if one.id in there)


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
    with store.writing():
        return _begin(store, learner, Aim(known, why), length, now)


def start(store: Store, learner: Learner, aim: Aim, length: Length, *, level: str, now: float) -> None:
    """Begin what was chosen, or go on with it where it is under way.

    Raises
    ------
    NothingThere
        When the choice holds no case now.
    """
    with store.writing():
        before = store.sitting_under_way(learner.id)
        same = before is not None and not sittings.is_left(before, now) and _aim(store, before) == aim
        if same and before is not None and (before.answered or before.last_dealt_at is not None):
            return
        state = projection.cases_of(store, learner.id)
        offered = catalogue_for(learners.settings_of(learner).for_drawing)
        problem = nothing_there(offered, state, level, aim, now)
        if problem:
            raise NothingThere(problem)
        _begin(store, learner, aim, what_to_practise.length_of(aim, length), now)


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
    with store.writing():
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
    if aim.what == what_to_practise.UNMET and not what_to_practise.unmet(offered, state, level):
        return "You have met every type up to your level."
    if aim.what == what_to_practise.TOPIC and not aim.topic:
        return "Pick a topic."
    return ""
