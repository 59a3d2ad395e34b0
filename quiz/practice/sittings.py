"""Sittings: where one begins and ends, and its result."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from cases.curriculum.register import all_skills, all_slips
from cases.procedure.vocabulary import CREDITED
from quiz.errors import QuizError
from quiz.learning import forecast, model, words
from quiz.learning.catalogue import Catalogue
from quiz.learning.state import LearnerState
from quiz.practice.settings import Length
from quiz.storage import projection
from quiz.storage.store import Answer, Learner, Sitting, Store

LEFT_SECONDS = 2 * 3600.0
"""A sitting in which nothing was dealt for so long was left; the next case begins another."""


GRACE_S = 10.0
"""For the network: an answer that arrives within this many seconds after the end of its time is in time."""


class UnknownSitting(QuizError):
    """No such sitting is this learner's."""

    def __init__(self) -> None:
        super().__init__("you had no such sitting: Today begins a new one")


@dataclass(frozen=True)
class Slipped:
    """A slip made in a sitting, or several of which one was made: an answer may have more than one explanation."""

    titles: tuple[str, ...]
    """What was done, to follow "you"; where there are several, one of these."""
    steps: tuple[str, ...]
    """Titles of their steps, each once."""
    times: int
    fact: bool = True
    """Whether it is said for a fact; else it is the likeliest explanation."""
    at_once: bool = False
    """Whether the titles are of slips that were made together."""


@dataclass(frozen=True)
class Facts:
    """What a sitting came to."""

    sitting: Sitting
    answers: tuple[Answer, ...]
    late: int
    """Answers that came after its time: of a mock paper, and in no number here."""
    right: int
    unaided: int
    """Right without a line of the working."""
    slipped: tuple[Slipped, ...]
    settled: tuple[str, ...]
    """Titles of steps met in it that are settled now."""
    shaky: tuple[str, ...]
    """Titles of steps met in it that are not solid yet, the shakiest first."""
    back_in_days: int | None
    """Days until a step met in it begins to fade; 0 while any is shaky, None when all will last for four weeks."""


def under_way(store: Store, learner_id: int, length: Length, now: float, *, at_bench: bool = False) -> int:
    """Return the learner's sitting that is under way, begun now if there is none or it was left; in `writing()`."""
    found = store.sitting_under_way(learner_id, at_bench=at_bench)
    if found is not None and not is_left(found, now):
        return found.id
    if found is not None:
        store.end_sitting(found.id, now=now)
    return store.begin_sitting(learner_id, now=now, cases=length.cases, minutes=length.minutes, at_bench=at_bench)


def is_left(sitting: Sitting | None, now: float) -> bool:
    """Say whether a sitting has ended or was left long ago."""
    if sitting is None or sitting.ended_at is not None:
        return True
    # A case that was left and came back is older than the sitting that it now belongs to.
    return now - max(sitting.last_dealt_at or 0.0, sitting.started_at) > LEFT_SECONDS


def is_over(sitting: Sitting, now: float) -> bool:
    """Say whether a sitting has had its cases or its minutes."""
    if sitting.cases is not None and sitting.answered >= sitting.cases:
        return True
    ends = ends_at(sitting)
    return ends is not None and now >= ends


def end_if_over(store: Store, sitting_id: int, now: float) -> None:
    """End a sitting that has had its cases or its minutes; in `writing()`."""
    sitting = store.sitting(sitting_id)
    if sitting is not None and is_over(sitting, now):
        end(store, sitting, now)


def end(store: Store, sitting: Sitting, now: float) -> None:
    """End a sitting, a drill's at the latest when its minutes are over; in `writing()`."""
    ends = ends_at(sitting)
    store.end_sitting(sitting.id, now=now if ends is None or sitting.drill is None else min(now, ends))


def ends_at(sitting: Sitting) -> float | None:
    """Return when the time of a sitting is over; None where it has cases alone."""
    if sitting.due_at is not None:
        return sitting.due_at
    return None if sitting.minutes is None else sitting.started_at + 60 * sitting.minutes


def is_late(run: Sitting, closes_at: float | None, now: float) -> bool:
    """Say whether an answer that arrives now comes after the minutes of a run, or after its drill was closed."""
    return any(at is not None and now > at + GRACE_S for at in (ends_at(run), closes_at))


def stop(store: Store, learner: Learner, *, now: float, at_bench: bool = False) -> int | None:
    """End the learner's sitting here and return its number; None when none is under way."""
    with store.writing(learner.id):
        sitting = store.sitting_under_way(learner.id, at_bench=at_bench)
        if sitting is None:
            return None
        store.end_sitting(sitting.id, now=now)
        return sitting.id


def own(store: Store, learner: Learner, sitting_id: int) -> Sitting:
    """Return a sitting of this learner.

    Raises
    ------
    UnknownSitting
        When it is not.
    """
    sitting = store.sitting(sitting_id)
    if sitting is None or sitting.learner != learner.id:
        raise UnknownSitting
    return sitting


def facts(store: Store, learner: Learner, sitting_id: int, offered: Catalogue, *, now: float) -> Facts:
    """Say what a sitting came to, and when to come back.

    Raises
    ------
    UnknownSitting
        When it is not this learner's.
    """
    sitting = own(store, learner, sitting_id)
    answers = tuple(store.answers_in(sitting_id))
    state = projection.told_of(store, learner)
    in_time = [one for one in answers if not one.late]
    right = [one for one in in_time if one.verdict in CREDITED]
    met = list(dict.fromkeys(step for one in answers for step in one.steps))
    titles = {skill.id: skill.title for skill in all_skills().values()}
    return Facts(
        sitting=sitting,
        answers=answers,
        late=len(answers) - len(in_time),
        right=len(right),
        unaided=sum(not one.hints for one in right),
        slipped=slipped_in(answers),
        settled=tuple(titles[step] for step in met if words.settled(state, (step,), now) and step in titles),
        shaky=tuple(titles[step] for step in _shakiest(state, met, now) if step in titles),
        back_in_days=_back_in(state, met, offered, now),
    )


def slipped_in(answers: Sequence[Answer]) -> tuple[Slipped, ...]:
    """Return the slips that some answers would show, the most frequent first."""
    skills, slips = all_skills(), all_slips()
    times: Counter[tuple[tuple[tuple[str, str], ...], bool, bool]] = Counter()
    for answer in answers:
        fact = answer.verdict == "slip"
        if len(answer.explanations) == 1 and (fact or len(answer.explanations[0]) > 1):
            # Of before explanations were weighed there are pairs that were said for a fact.
            ways = ((one,) for one in answer.explanations[0]) if fact else (tuple(answer.explanations[0]),)
            times.update((way, fact, len(way) > 1) for way in ways)
        elif answer.explanations:
            ways_met = tuple(sorted({(step, slip) for one in answer.explanations for step, slip in one}))
            times[ways_met, fact, False] += 1
    return tuple(
        Slipped(
            tuple(slips[slip].title for _, slip in one),
            tuple(dict.fromkeys(skills[step].title for step, _ in one)),
            count,
            fact,
            at_once,
        )
        for (one, fact, at_once), count in times.most_common()
        if all(slip in slips and step in skills for step, slip in one)
    )


def _shakiest(state: LearnerState, steps: list[str], now: float) -> list[str]:
    unsure = [step for step in steps if words.word(state, (step,), now) in (words.UNSURE, words.FADING)]
    return sorted(unsure, key=lambda step: model.chance(state, (step,), now))


def _back_in(state: LearnerState, steps: list[str], offered: Catalogue, now: float) -> int | None:
    days = [
        row.fades_in
        for row in forecast.forward_look(state, offered, now)
        if row.kind == "step" and row.id in steps and row.fades_in is not None
    ]
    return min(days, default=None)
