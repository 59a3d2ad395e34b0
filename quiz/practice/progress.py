"""How a learner stands: words that were earned, recurring mistakes with the last wrong line, and weeks of answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from cases.curriculum import examination_names
from cases.curriculum.register import all_skills, all_slips
from cases.errors import CaseError
from cases.procedure.case_type import Case
from cases.procedure.chain import Slipped
from cases.procedure.marking import as_given, named
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.learning import words
from quiz.learning.state import LearnerState, SlipKey
from quiz.lru_cache import LockedCache
from quiz.practice import dealing
from quiz.practice.dealt_cases import Marked
from quiz.practice.type_catalogue import catalogue, catalogue_for
from quiz.storage import desk_queries, progress_queries
from quiz.storage.store import Answer, Learner, Store

WEEKS = 12
"""Weeks looked back on, this one included."""
SEEN_TWICE = 2
_lines: LockedCache[tuple[str, SlipKey], WrongLine] = LockedCache(2000)
"""Wrong lines by case and mistake: marked again once, since an answer that stands does not change."""


@dataclass(frozen=True)
class Held:
    """A step or a type as it stands now."""

    id: str
    title: str
    word: str
    """One of `words.WORDS`."""
    settled: bool
    """Right unaided on three days over a week, and solid."""


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
    """Whether the slip explains the answer for a fact, and no other does."""


@dataclass(frozen=True)
class StandingSlip:
    """A mistake that recurs."""

    key: SlipKey
    title: str
    """What was done, to follow "you"."""
    tells: str
    step: str
    last_at: float
    line: WrongLine | None


@dataclass(frozen=True)
class PastSlip:
    """A mistake that was made more than once and is gone."""

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
    # Those that only an examination has stand last, once they were met.
    steps |= dict.fromkeys(one.id for one in examination_names.SKILLS if one.id in state.steps)
    return tuple(
        Held(
            step,
            titles.get(step, step),
            words.word(state, (step,), now),
            words.settled(state, (step,), now),
        )
        for step in steps
    )


def held_types(state: LearnerState, now: float, drawing: Settings) -> tuple[Held, ...]:
    """Return every type that was met, and those not met up to the settings' level, in teaching order."""
    return tuple(
        Held(
            one.id,
            one.title,
            words.word(state, one.chain, now, type_id=one.id),
            words.settled(state, one.chain, now, type_id=one.id),
        )
        for one in sorted(catalogue_for(drawing).types, key=lambda one: one.place)
        if one.id in state.types or _at_level(one.level, drawing.level)
    )


def _at_level(one: str, level: str) -> bool:
    return LEVELS.index(one) <= LEVELS.index(level)


# --- slips -------------------------------------------------------------------------------------------------------


def standing_slips(store: Store, learner: Learner, state: LearnerState, now: float) -> tuple[StandingSlip, ...]:
    """Return the mistakes that recur, the most frequent first, each with the learner's last wrong line."""
    names, skills = all_slips(), all_skills()
    return tuple(
        StandingSlip(
            (step, slip),
            names[slip].title,
            names[slip].tells,
            skills[step].title,
            state.slips[step][slip].at,
            last_wrong_line(store, learner, (step, slip)),
        )
        for step, slip in words.recurring(state, now)
        if slip in names and step in skills
    )


def past_slips(state: LearnerState, now: float) -> tuple[PastSlip, ...]:
    """Return the mistakes that were made more than once and are gone, the latest first.

    Gone is what right answers that would have shown it have shown to be gone; a mistake of a minute ago is not.
    """
    names, skills = all_slips(), all_skills()
    stands = words.recurring(state, now)
    past = [
        PastSlip(names[slip].title, skills[step].title, one.seen[-1])
        for step, slips in state.slips.items()
        for slip, one in slips.items()
        if len(one.seen) >= SEEN_TWICE
        and one.left_out >= state.numbers.slip_gone
        and (step, slip) not in stands
        and slip in names
        and step in skills
    ]
    return tuple(sorted(past, key=lambda one: -one.last_at))


def last_wrong_line(store: Store, learner: Learner, key: SlipKey) -> WrongLine | None:
    """Mark the latest answer that a slip explains once more, and set the two lines of its step side by side.

    None when no such answer may be shown, or this version no longer has its type.
    """
    answer = desk_queries.last_that_showed(store, learner.id, key) or progress_queries.last_with_slip(
        store, learner.id, key
    )
    if answer is None:
        return None
    line = _lines.get((answer.dealt, key))
    if line is None:
        try:
            line = _line(dealing.marked(store, learner, answer.dealt), answer, key)
        except CaseError:
            return None
        if line is not None:
            _lines.keep((answer.dealt, key), line)
    return line


def _line(done: Marked | None, answer: Answer, key: SlipKey) -> WrongLine | None:
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
        found=case.found,
        given=named(case.type.asks, as_given(case.type.asks, answer.given)),
        right=named(case.type.asks, [ask.kind.write(case.truth[ask.name]) for ask in case.type.asks]),
        own_line=lines[0],
        right_line=lines[1],
        only=done.mark.verdict == "slip" and len(found) == 1,
    )


def _both_lines(case: Case, made: Slipped, key: SlipKey) -> tuple[str, str] | None:
    step, slip = key
    own = [line for line in made.run.lines if line.step == step]
    right = [line for line in case.run.lines if line.step == step]
    for own_line, right_line in zip(own, right, strict=False):
        if own_line.slip == slip:
            return own_line.says, right_line.says
    return None
