"""How a learner stands: bands in words, slips that stand with their last wrong line, and weeks of answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from cases.curriculum.register import all_skills, all_slips
from cases.errors import CaseError
from cases.procedure.case_type import Case, Slipped
from cases.procedure.marking import as_given, named
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.learning import model
from quiz.learning.state import LearnerState, SlipKey
from quiz.practice import dealing
from quiz.practice.type_catalogue import catalogue, catalogue_for
from quiz.storage import progress_queries
from quiz.storage.store import Learner, Store

WEEKS = 12
"""Weeks looked back on, this one included."""
BANDS = ("solid", "fading", "shaky", "new")
SEEN_TWICE = 2


@dataclass(frozen=True)
class Held:
    """A step or a type as it stands now."""

    id: str
    title: str
    band: str
    settled: bool
    """Right unaided on three different days, and solid."""


@dataclass(frozen=True)
class WrongLine:
    """The latest answer that a slip explains, marked again: the learner's line beside the right one."""

    dealt: str
    at: float
    type_title: str
    found: tuple[str, ...]
    given: tuple[str, ...]
    right: tuple[str, ...]
    own_line: str
    right_line: str
    only: bool
    """Whether no other slip explains the answer."""


@dataclass(frozen=True)
class StandingSlip:
    """A slip that stands."""

    title: str
    """What was done, to follow "you"."""
    tells: str
    step: str
    last_at: float
    line: WrongLine | None


@dataclass(frozen=True)
class PastSlip:
    """A slip that was made more than once and stands no more."""

    title: str
    step: str
    last_at: float


def first_monday(now: float) -> date:
    """Return the Monday (UTC) on which the weeks looked back on begin."""
    today = datetime.fromtimestamp(now, UTC).date()
    return today - timedelta(days=today.weekday() + 7 * (WEEKS - 1))


def since(now: float) -> float:
    """Return the beginning of those weeks in seconds since 1970."""
    day = first_monday(now)
    return datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()


def held_steps(state: LearnerState, now: float, drawing: Settings) -> tuple[Held, ...]:
    """Return every step that was met, and those not met that cases drawn with these settings call for.

    In teaching order, of the types up to the settings' level.
    """
    here = catalogue_for(drawing).by_id
    titles = catalogue().step_titles
    steps = dict.fromkeys(
        step
        for one in sorted(catalogue().types, key=lambda one: one.place)
        for step in one.chain
        if step in state.steps or (_at_level(one.level, drawing.level) and step in here[one.id].chain)
    )
    return tuple(
        Held(
            step,
            titles.get(step, step),
            model.band(state, (step,), now),
            model.settled(state, (step,), now),
        )
        for step in steps
    )


def held_types(state: LearnerState, now: float, drawing: Settings) -> tuple[Held, ...]:
    """Return every type that was met, and those not met up to the settings' level, in teaching order."""
    return tuple(
        Held(
            one.id,
            one.title,
            model.band(state, one.chain, now, type_id=one.id),
            model.settled(state, one.chain, now, type_id=one.id),
        )
        for one in sorted(catalogue_for(drawing).types, key=lambda one: one.place)
        if one.id in state.types or _at_level(one.level, drawing.level)
    )


def _at_level(one: str, level: str) -> bool:
    return LEVELS.index(one) <= LEVELS.index(level)


# --- slips -------------------------------------------------------------------------------------------------------


def standing_slips(store: Store, learner: Learner, state: LearnerState, now: float) -> tuple[StandingSlip, ...]:
    """Return the slips that stand, the most frequent first, each with the learner's last wrong line."""
    names, skills = all_slips(), all_skills()
    return tuple(
        StandingSlip(
            names[slip].title,
            names[slip].tells,
            skills[step].title,
            state.slips[step][slip].at,
            last_wrong_line(store, learner, (step, slip)),
        )
        for step, slip in model.standing(state, now)
        if slip in names and step in skills
    )


def past_slips(state: LearnerState, now: float) -> tuple[PastSlip, ...]:
    """Return the slips that were made more than once and stand no more, the latest first."""
    names, skills = all_slips(), all_skills()
    stands = model.standing(state, now)
    past = [
        PastSlip(names[slip].title, skills[step].title, one.seen[-1])
        for step, slips in state.slips.items()
        for slip, one in slips.items()
        if len(one.seen) >= SEEN_TWICE and (step, slip) not in stands and slip in names and step in skills
    ]
    return tuple(sorted(past, key=lambda one: -one.last_at))


def last_wrong_line(store: Store, learner: Learner, key: SlipKey) -> WrongLine | None:
    """Mark the latest answer that a slip explains once more, and set the two lines of its step side by side.

    None when no such answer may be shown, or this version no longer has its type.
    """
    answer = progress_queries.last_with_slip(store, learner.id, key)
    if answer is None:
        return None
    try:
        done = dealing.marked(store, learner, answer.dealt)
    except CaseError:
        return None
    if done is None:
        return None
    case, found = done.mark.case, done.mark.explanations
    made = next((one for one in found if key in [(ref.step, ref.slip) for ref in one.slips]), None)
    lines = None if made is None else _both_lines(case, made, key)
    if lines is None:
        return None
    return WrongLine(
        dealt=answer.dealt,
        at=answer.at,
        type_title=case.type.title,
        found=case.type.found(case.findings),
        given=named(case.type.asks, as_given(case.type.asks, answer.given)),
        right=named(case.type.asks, [ask.kind.write(case.truth[ask.name]) for ask in case.type.asks]),
        own_line=lines[0],
        right_line=lines[1],
        only=len(found) == 1,
    )


def _both_lines(case: Case, made: Slipped, key: SlipKey) -> tuple[str, str] | None:
    step, slip = key
    own = [line for line in made.run.lines if line.step == step]
    right = [line for line in case.run.lines if line.step == step]
    for own_line, right_line in zip(own, right, strict=False):
        if own_line.slip == slip:
            return own_line.says, right_line.says
    return None
