"""What a sitting is for: what is likely to slip, a topic, one's mistakes, types not met, whole runs, a mock paper.

A choice is three words (what, topic, length), so that an address can hold it. Each is a limit on the types from which
the scheduler chooses; memory learns from all of them alike.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cases.curriculum.register import all_families, all_types, case_type
from cases.procedure.vocabulary import LEVELS
from quiz.errors import QuizError
from quiz.learning import model, words
from quiz.learning.catalogue import Catalogue, TypeInfo, Wish
from quiz.learning.state import LearnerState, SlipKey
from quiz.practice import sittings
from quiz.practice.settings import LENGTHS, LearnerSettings, Length
from quiz.practice.titles import slip_title, type_title
from quiz.practice.type_catalogue import catalogue, catalogue_for
from quiz.storage import desk_queries, projection
from quiz.storage.store import Dealt, Learner, Sitting, Store

SLIPPING, TOPIC, MISTAKES, UNMET, RUNS = "slipping", "topic", "mistakes", "unmet", "runs"
PAPER = desk_queries.PAPER
SURVEY = "survey"
"""One composite case a family: where someone stands who knows the trade, or was away."""
TYPES = "types"
"""Certain types, because something asked for them: a reading of the accuracy log, for one."""
OFFERED = {
    SLIPPING: "Likely to slip",
    TOPIC: "A topic",
    MISTAKES: "My mistakes",
    UNMET: "Not met yet",
    RUNS: "Whole runs in two meridians",
    PAPER: "A mock paper",
}
"""What can be chosen, as the desk names it."""
WHOLE_RUNS = ("two-spheres", "sphere-then-cyl", "whole-run", "bench-eye")
PAPER_LENGTH = Length("mock-paper", "20 cases in 30 minutes", cases=20)
PAPER_MINUTES = 30.0
SURVEY_FAMILIES = ("distance", "movement", "meridians", "algebra", "sighting", "near", "planes", "checking")
"""All but the bench, whose cases take minutes."""
SURVEY_LENGTH = Length("survey", "eight cases", cases=len(SURVEY_FAMILIES))
WHY_PAPER = "A mock paper takes its cases from every topic, whatever you know."
WHY_SURVEY = "One case from each topic, to find what you know."


class UnknownChoice(QuizError):
    """Something to practise that there is not."""

    def __init__(self, given: str) -> None:
        super().__init__(f"“{given[:40]}” is no choice of what to practise: pick one on the page Today")


class NothingThere(QuizError):
    """A choice that holds no case now: no mistakes, or every type met."""


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

    @property
    def title(self) -> str:
        """Name it in a few words."""
        if self.what == TOPIC:
            return topic_title(self.topic)
        if self.what == MISTAKES and self.topic:
            return f"You {slip_title(key_of_topic(self.topic)[1])}"
        return "Where you stand" if self.what == SURVEY else OFFERED.get(self.what, "")


# --- the words of an address -------------------------------------------------------------------------------------


def read_aim(what: str, topic: str = "") -> Aim:
    """Read what an address or a form asks for.

    Raises
    ------
    UnknownChoice
    """
    if what not in (*OFFERED, SURVEY):
        raise UnknownChoice(what)
    if what == TOPIC:
        if topic and not topic_types(topic):
            raise UnknownChoice(topic)
    elif what == MISTAKES and topic:
        if key_of_topic(topic) not in catalogue().with_slip:
            raise UnknownChoice(topic)
    else:
        topic = ""
    why = {PAPER: WHY_PAPER, SURVEY: WHY_SURVEY}.get(what, "")
    return Aim(why=why, what=what, topic=topic, minutes=PAPER_MINUTES if what == PAPER else None)


def read_length(length_id: str, usual: Length) -> Length:
    """Return the length of this id, the usual one where it names none."""
    return next((one for one in LENGTHS if one.id == length_id), usual)


def length_of(aim: Aim, asked: Length) -> Length:
    """Return how long a sitting is: a mock paper and a survey have lengths of their own."""
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
    return next((one.title for one in all_families() if one.id == topic), type_title(topic))


# --- sittings ----------------------------------------------------------------------------------------------------


def of_sitting(store: Store, sitting_id: int) -> Aim | None:
    """Return what a sitting is for; None for an ordinary one, and when this version has none of its types."""
    found = desk_queries.aim_of(store, Aim, sitting_id)
    if found is None or found.what != TYPES:
        return found
    known = tuple(one for one in found.types if one in all_types())
    return Aim(known, found.why) if known else None


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
        problem = nothing_there(state, level, aim, now)
        if problem:
            raise NothingThere(problem)
        _begin(store, learner, aim, length_of(aim, length), now)


def _aim(store: Store, sitting: Sitting) -> Aim:
    return of_sitting(store, sitting.id) or read_aim(SLIPPING)


def _begin(store: Store, learner: Learner, aim: Aim, length: Length, now: float) -> int:
    before = store.sitting_under_way(learner.id)
    if before is not None:
        store.end_sitting(before.id, now=now)
    left = store.open_case(learner.id)
    if left is not None:
        store.close_case(left.id, now=now)
    sitting = store.begin_sitting(learner.id, now=now, cases=length.cases, minutes=length.minutes)
    if aim.what != SLIPPING:
        desk_queries.keep_aim(store, sitting, aim)
    return sitting


def end_if_time_is_over(store: Store, learner: Learner, *, now: float) -> int | None:
    """End a mock paper whose time is over and return its number; None where there is none."""
    sitting = store.sitting_under_way(learner.id)
    if sitting is None or seconds_left(store, sitting, now) > -sittings.GRACE_S:
        return None
    with store.writing():
        left = store.open_case(learner.id)
        if left is not None:
            store.close_case(left.id, now=now)
        minutes = (of_sitting(store, sitting.id) or Aim()).minutes or 0.0
        store.end_sitting(sitting.id, now=min(now, sitting.started_at + 60 * minutes))
    return sitting.id


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


def limit(
    store: Store,
    learner: Learner,
    settings: LearnerSettings,
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
        return _of_paper(dealt, settings.level, rng)
    if aim.what == SURVEY:
        return _of_survey(catalogue_for(settings.for_drawing), state, dealt, settings.level, now)
    if aim.what == MISTAKES:
        return _of_mistakes(state, aim, unable, now)
    types = unmet(state, settings.level)
    return TypeLimit(types) if types else None


def unmet(state: LearnerState, level: str) -> tuple[str, ...]:
    """Return the types up to a level that a learner has never answered."""
    rank = LEVELS.index(level)
    return tuple(one.id for one in catalogue().types if one.id not in state.types and one.rank <= rank)


def mistakes(state: LearnerState, now: float) -> tuple[SlipKey, ...]:
    """Return the mistakes to practise, the most frequent first: those that recur, then those made lately."""
    counts = model.slip_counts(state, now)
    followed = state.numbers.slip_followed
    lately = sorted((key for key, count in counts.items() if count >= followed), key=lambda key: -counts[key])
    known = catalogue().with_slip
    return tuple(one for one in dict.fromkeys((*words.recurring(state, now), *lately)) if one in known)


def nothing_there(state: LearnerState, level: str, aim: Aim, now: float) -> str:
    """Say why a choice holds no case now; "" where it holds some."""
    if aim.what == MISTAKES and not aim.topic and not mistakes(state, now):
        return "You have made no mistake lately that could be practised."
    if aim.what == UNMET and not unmet(state, level):
        return "You have met every type up to your level."
    if aim.what == TOPIC and not aim.topic:
        return "Pick a topic."
    return ""


def _of_mistakes(state: LearnerState, aim: Aim, unable: frozenset[tuple[str, Wish]], now: float) -> TypeLimit | None:
    keys = (key_of_topic(aim.topic),) if aim.topic else mistakes(state, now)
    for key in keys:
        able = tuple(one for one in catalogue().with_slip.get(key, ()) if (one, key[1]) not in unable)
        if able and aim.topic:
            return TypeLimit(able, shows=key[1])
    every = {one for key in keys for one in catalogue().with_slip.get(key, ()) if (one, key[1]) not in unable}
    return TypeLimit(tuple(sorted(every))) if every and not aim.topic else None


def _of_paper(dealt: Sequence[str], level: str, rng: random.Random) -> TypeLimit:
    """Take the topics in turn, and of each a type by chance that has not come yet while there is one."""
    family = SURVEY_FAMILIES[len(dealt) % len(SURVEY_FAMILIES)]
    rank = LEVELS.index(level)
    # A mock paper has time for short cases: 90 seconds each on average.
    there = [one for one in _in_family(family) if one.rank <= rank] or list(_in_family(family))
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
    there = [by_id[one.id] for one in _in_family(left[0]) if one.rank <= rank]
    there = there or [by_id[one.id] for one in _in_family(left[0])]
    return TypeLimit((max(there, key=lambda one: _information(state, one, now)).id,), open=True)


def _information(state: LearnerState, one: TypeInfo, now: float) -> float:
    """Return how much a case says of its steps: their number, where right and wrong are about as likely."""
    right = model.chance(state, one.chain, now, type_id=one.id, options=one.options)
    return len(one.distinct) * right * (1 - right)


def _in_family(family: str) -> tuple[TypeInfo, ...]:
    return tuple(one for one in catalogue().types if one.family == family)
