"""What a sitting is for: what may be forgotten, a topic, one's mistakes, types not met, whole runs, a mock paper.

A choice is three words (what, topic, length), so that an address can hold it. Each is a limit on the types from which
the scheduler chooses; memory learns from all of them alike.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from cases.curriculum.register import all_families, all_types
from cases.procedure.vocabulary import CREDITED, LEVELS
from quiz.errors import QuizError
from quiz.learning import model, words
from quiz.learning.catalogue import Catalogue, TypeInfo, Wish
from quiz.learning.state import LearnerState, SlipKey
from quiz.practice.settings import LENGTHS, Length
from quiz.storage import desk_queries, projection
from quiz.storage.store import Answer, Dealt, Learner, Sitting, Store

SLIPPING, TOPIC, MISTAKES, UNMET, RUNS = "slipping", "topic", "mistakes", "unmet", "runs"
PAPER = desk_queries.PAPER
SURVEY = "survey"
"""One composite case a family: where someone stands who knows the trade and is new here."""
CHECK_UP = "check-up"
"""After an absence: a case from each topic that was practised, then what was lost."""
TYPES = "types"
"""Certain types, because something asked for them: a reading of the accuracy log, for one."""
TESTS = (PAPER, SURVEY, CHECK_UP)
"""What finds out what someone knows: no worked example and no prompt stands between its cases."""
OFFERED = {
    SLIPPING: "What I may forget",
    TOPIC: "A topic",
    MISTAKES: "My mistakes",
    UNMET: "Not met yet",
    RUNS: "Both meridians",
    PAPER: "A mock paper",
}
"""What can be chosen, as the desk names it."""
WHOLE_RUNS = ("two-spheres", "sphere-then-cyl", "whole-run", "bench-eye")
PAPER_LENGTH = Length("mock-paper", "20 cases in 30 minutes", cases=20)
PAPER_MINUTES = 30.0
SURVEY_FAMILIES = ("distance", "movement", "meridians", "algebra", "sighting", "near", "planes", "checking")
"""All but the bench, whose cases take minutes."""
SURVEY_LENGTH = Length("survey", "eight cases", cases=len(SURVEY_FAMILIES))
WHY_PAPER = "A mock paper takes its cases from every topic, known or not."
WHY_SURVEY = "One case from each topic, to find what you know."
WHY_CHECK_UP = "After your absence: one case from each topic that you practised before."
WHY_LOST = "A step of it was missed in this sitting, or you may be forgetting it."
WHY_REST = "A type that you practised before your absence."


class UnknownChoice(QuizError):
    """Something to practise that there is not."""

    def __init__(self, given: str) -> None:
        super().__init__(f"“{given[:40]}” is no choice of what to practise: pick one on the page Today")


@dataclass(frozen=True)
class Aim:
    """What a sitting is for, as it is kept."""

    types: tuple[str, ...] = ()
    """Of "types"; else none."""
    why: str = ""
    """The line that says why a case came; "" where the choice says it."""
    what: str = TYPES
    topic: str = ""
    minutes: float | None = None
    """How long a mock paper may take."""


# --- the words of an address -------------------------------------------------------------------------------------


def read_aim(what: str, topic: str = "") -> Aim:
    """Read what an address or a form asks for.

    Raises
    ------
    UnknownChoice
    """
    if what not in (*OFFERED, SURVEY, CHECK_UP):
        raise UnknownChoice(what)
    if what == TOPIC:
        if topic and not topic_types(topic):
            raise UnknownChoice(topic)
    elif what == MISTAKES and topic:
        if not has_slip(key_of_topic(topic)):
            raise UnknownChoice(topic)
    else:
        topic = ""
    why = {PAPER: WHY_PAPER, SURVEY: WHY_SURVEY, CHECK_UP: WHY_CHECK_UP}.get(what, "")
    return Aim(why=why, what=what, topic=topic, minutes=PAPER_MINUTES if what == PAPER else None)


def read_length(length_id: str, usual: Length) -> Length:
    """Return the length of this id, the usual one where it names none."""
    return next((one for one in LENGTHS if one.id == length_id), usual)


def length_of(aim: Aim, asked: Length, *, topics: int = 0) -> Length:
    """Return how long a sitting is: a mock paper and a survey have lengths of their own.

    topics: how many a check-up looks at; it has a case for each at least, or its minutes.
    """
    if aim.what == CHECK_UP and asked.cases is not None:
        return replace(asked, cases=max(asked.cases, topics))
    return {PAPER: PAPER_LENGTH, SURVEY: SURVEY_LENGTH}.get(aim.what, asked)


def topic_of_slip(key: SlipKey) -> str:
    """Write a mistake at its step as an address holds it."""
    return f"{key[0]}:{key[1]}"


def key_of_topic(topic: str) -> SlipKey:
    """Read a mistake at its step."""
    step, _, slip = topic.partition(":")
    return step, slip


def topic_types(topic: str) -> tuple[str, ...]:
    """Return the types of a topic, a family or a single type; none where there is no such topic."""
    if topic in all_types():
        return (topic,)
    return tuple(one.id for one in all_types().values() if one.family.id == topic)


def topic_title(topic: str) -> str:
    """Return the title of a family or of a type."""
    if topic in all_types():
        return all_types()[topic].title
    return next((one.title for one in all_families() if one.id == topic), topic)


def has_slip(key: SlipKey) -> bool:
    """Say whether there is a mistake of this name at this step."""
    return any((ref.step, ref.slip) == key for one in all_types().values() for ref in one.slips)


# --- sittings ----------------------------------------------------------------------------------------------------


def of_sitting(store: Store, sitting_id: int) -> Aim | None:
    """Return what a sitting is for; None for an ordinary one, and when this version has none of its types."""
    found = desk_queries.aim_of(store, Aim, sitting_id)
    if found is None or found.what != TYPES:
        return found
    known = tuple(one for one in found.types if one in all_types())
    return Aim(known, found.why) if known else None


def seconds_left(store: Store, sitting: Sitting, now: float) -> float:
    """Return how long a mock paper still runs, below 0 when its time is over; without end for any other sitting."""
    aim = of_sitting(store, sitting.id)
    if aim is None or aim.minutes is None:
        return float("inf")
    return sitting.started_at + 60 * aim.minutes - now


def is_withheld(store: Store, dealt: Dealt) -> bool:
    """Say whether the mark of a case comes later: of a mock paper that is under way."""
    aim = None if dealt.drill is not None else of_sitting(store, dealt.sitting)
    if aim is None or aim.what != PAPER:
        return False
    sitting = store.sitting(dealt.sitting)
    return sitting is not None and sitting.ended_at is None


# --- which types -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TypeLimit:
    """What the choice of the next case is limited to."""

    types: tuple[str, ...]
    shows: str | None = None
    """A mistake that the case must show."""
    open: bool = False
    """Whether these were asked for by name, so that they come whatever their level and needs."""
    why: str = ""
    """Why these; "" where the sitting says it."""


def limit(
    store: Store,
    learner: Learner,
    level: str,
    offered: Catalogue,
    sitting_id: int,
    aim: Aim,
    *,
    now: float,
    rng: random.Random,
    unable: frozenset[tuple[str, Wish]],
) -> TypeLimit | None:
    """Return what the next case of a sitting is limited to; None where nothing of the choice is left."""
    if aim.what == TYPES:
        return TypeLimit(aim.types, open=True)
    if aim.what == TOPIC:
        return TypeLimit(topic_types(aim.topic)) if aim.topic else None
    if aim.what == RUNS:
        return TypeLimit(tuple(one for one in WHOLE_RUNS if one in all_types()))
    state = projection.cases_of(store, learner.id)
    dealt = desk_queries.types_dealt_in(store, sitting_id)
    if aim.what == PAPER:
        return _of_paper(offered, dealt, level, rng)
    if aim.what == SURVEY:
        return _of_survey(offered, state, dealt, level, now)
    if aim.what == CHECK_UP:
        return _of_check_up(offered, state, dealt, store.answers_in(sitting_id), now)
    if aim.what == MISTAKES:
        return _of_mistakes(offered, state, aim, unable, now)
    types = unmet(offered, state, level)
    return TypeLimit(types) if types else None


def unmet(offered: Catalogue, state: LearnerState, level: str) -> tuple[str, ...]:
    """Return the types up to a level that a learner has never answered."""
    rank = LEVELS.index(level)
    return tuple(one.id for one in offered.types if one.id not in state.types and one.rank <= rank)


def mistakes(offered: Catalogue, state: LearnerState, now: float) -> tuple[SlipKey, ...]:
    """Return the mistakes to practise, the most frequent first: those that recur, then those made recently."""
    counts = model.slip_counts(state, now)
    followed = state.numbers.slip_followed
    lately = sorted((key for key, count in counts.items() if count >= followed), key=lambda key: -counts[key])
    known = offered.with_slip
    return tuple(one for one in dict.fromkeys((*words.recurring(state, now), *lately)) if one in known)


def _of_mistakes(
    offered: Catalogue, state: LearnerState, aim: Aim, unable: frozenset[tuple[str, Wish]], now: float
) -> TypeLimit | None:
    keys = (key_of_topic(aim.topic),) if aim.topic else mistakes(offered, state, now)
    for key in keys:
        able = tuple(one for one in offered.with_slip.get(key, ()) if (one, key[1]) not in unable)
        if able and aim.topic:
            return TypeLimit(able, shows=key[1])
    every = {one for key in keys for one in offered.with_slip.get(key, ()) if (one, key[1]) not in unable}
    return TypeLimit(tuple(sorted(every))) if every and not aim.topic else None


def _of_paper(offered: Catalogue, dealt: Sequence[str], level: str, rng: random.Random) -> TypeLimit:
    """Take the topics in turn, and of each a type by chance that has not come yet while there is one."""
    family = SURVEY_FAMILIES[len(dealt) % len(SURVEY_FAMILIES)]
    rank = LEVELS.index(level)
    # A mock paper has time for short cases: 90 seconds each on average.
    there = [one for one in _in_family(offered, family) if one.rank <= rank] or list(_in_family(offered, family))
    fresh = [one for one in there if one.id not in dealt] or there
    return TypeLimit((fresh[int(rng.random() * len(fresh))].id,), open=True)


def _of_survey(
    offered: Catalogue, state: LearnerState, dealt: Sequence[str], level: str, now: float
) -> TypeLimit | None:
    by_id: Mapping[str, TypeInfo] = offered.by_id
    done = {all_types()[one].family.id for one in dealt if one in all_types()}
    left = [one for one in SURVEY_FAMILIES if one not in done]
    if not left:
        return None
    rank = LEVELS.index(level)
    there = [by_id[one.id] for one in _in_family(offered, left[0]) if one.rank <= rank]
    there = there or [by_id[one.id] for one in _in_family(offered, left[0])]
    return TypeLimit((max(there, key=lambda one: _information(state, one, now)).id,), open=True)


def practised_topics(offered: Catalogue, state: LearnerState) -> tuple[str, ...]:
    """Return the families of which a learner has met a type, all but the bench."""
    met = {one.family for one in offered.types if one.id in state.types}
    return tuple(one for one in SURVEY_FAMILIES if one in met)


def _of_check_up(
    offered: Catalogue, state: LearnerState, dealt: Sequence[str], answers: Iterable[Answer], now: float
) -> TypeLimit | None:
    """Take a case from each topic that was practised, what is least known first; then the steps that were lost."""
    met = [one for one in offered.types if one.id in state.types]
    done = {all_types()[one].family.id for one in dealt if one in all_types()}
    left = [one for one in practised_topics(offered, state) if one not in done]
    if left:
        there = [one for one in met if one.family in left]
        return TypeLimit((max(there, key=lambda one: _information(state, one, now)).id,), open=True)
    lost = _lost(state, answers, now)
    types = tuple(one.id for one in met if lost.intersection(one.chain))
    if types:
        return TypeLimit(types, why=WHY_LOST)
    return TypeLimit(tuple(one.id for one in met), why=WHY_REST) if met else None


def _lost(state: LearnerState, answers: Iterable[Answer], now: float) -> set[str]:
    """Return the steps that the latest of some answers to exercise them missed, and those that are likely to slip."""
    missed, exercised = set[str](), set[str]()
    for one in answers:
        exercised.update(one.steps)
        if one.verdict in CREDITED:
            missed.difference_update(one.steps)
        else:
            missed.update(one.steps)
    return missed | {one for one in exercised if one in state.steps and words.likely_to_slip(state, one, now)}


def _information(state: LearnerState, one: TypeInfo, now: float) -> float:
    """Return how much a case says of its steps: their number, where right and wrong are about as likely."""
    right = model.chance(state, one.chain, now, type_id=one.id, options=one.options)
    return len(one.distinct) * right * (1 - right)


def _in_family(offered: Catalogue, family: str) -> tuple[TypeInfo, ...]:
    return tuple(one for one in offered.types if one.family == family)
