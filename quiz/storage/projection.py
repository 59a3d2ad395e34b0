"""A learner's memory kept in step with the logs: what one row means to memory, and the whole log folded anew."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from quiz.learning import model
from quiz.learning.parameters import NUMBERS
from quiz.learning.state import Answered, BadState, LearnerState, same_to_twelve_digits
from quiz.lru_cache import LockedCache
from quiz.storage import class_queries, memory_numbers, recall_queries, result_queries
from quiz.storage.datafile import Damaged
from quiz.storage.memory_numbers import Current
from quiz.storage.recall_queries import RecallMark
from quiz.storage.store import Answer, KeptStates, Learner, Retyped, Store

Kept = TypeVar("Kept")

FOLDED_WITH = memory_numbers.name_of(NUMBERS)
"""Names the numbers that are shipped: a state that was folded with others than those in use is folded anew."""
MOST = 500
"""Some 100 kB each."""
_lately: LockedCache[tuple[str, str], LearnerState] = LockedCache(MOST)
"""States by the name of their numbers and their JSON, to look at: what is folded on is a copy."""


@dataclass(frozen=True)
class States:
    """What a learner's two logs fold into."""

    cases: LearnerState
    recall: LearnerState

    @classmethod
    def new(cls) -> States:
        """Return the states of a learner who has answered nothing."""
        return cls(model.replay(()), model.replay(()))


@dataclass(frozen=True)
class Rebuilt:
    """What folding one learner's logs anew came to."""

    learner: str
    answers: int
    recall_marks: int
    as_kept: bool
    """Whether the kept states were the same to twelve digits."""


RETYPED_WEIGHT = 0.5
"""What the answer that was meant is worth where another was mistyped: it was given with the mark in view."""


def event_of(answer: Answer, retyped: Retyped | None = None) -> Answered:
    """Return what memory needs of an answer: of the one that was meant, where it was mistyped."""
    row = vars(answer)
    if retyped is not None:
        row = {**row, "verdict": retyped.verdict, "weighed": retyped.weighed, "weight": RETYPED_WEIGHT}
    return Answered.from_row(row)


def events_of(store: Store, learner_id: int) -> Iterator[Answered]:
    """Yield what memory needs of a learner's whole log, the earliest first."""
    retyped = store.retyped_of(learner_id)
    for one in store.answers_of(learner_id):
        yield event_of(one, retyped.get(one.dealt))


def recall_event_of(mark: RecallMark) -> Answered:
    """Return what memory needs of a recall mark: each prompt is a skill of its own."""
    return Answered(at=mark.at, type=mark.prompt, steps=(), verdict="right" if mark.had else "wrong")


def states_of(store: Store, learner_id: int) -> States:
    """Return a learner's states as kept now, or folded anew where they are unreadable or older numbers made them."""
    return _kept(store, learner_id, _both) or refolded(store, learner_id)


def cases_of(store: Store, learner_id: int) -> LearnerState:
    """Return what a learner's answers fold into, to look at and not to fold on: others look at the same."""
    return _kept(store, learner_id, _cases) or refolded(store, learner_id).cases


def told_of(store: Store, learner: Learner) -> LearnerState:
    """Return what a learner may be told of their answers: those whose marks are still to come leave no trace in it."""
    hidden = {one.dealt for one in class_queries.untold(store, learner)}
    if not hidden:
        return cases_of(store, learner.id)
    retyped = store.retyped_of(learner.id)
    told = (one for one in store.answers_of(learner.id) if one.dealt not in hidden)
    events = (event_of(one, retyped.get(one.dealt)) for one in told)
    return model.replay(events, memory_numbers.current(store).numbers)


def cases_to_fold(store: Store, learner_id: int) -> LearnerState:
    """Return what a learner's answers fold into, to fold on and to keep by `keep_cases`; inside `store.writing()`.

    States that are unreadable or were made by older numbers are folded anew from both logs and kept first.
    """
    kept = _kept(store, learner_id, lambda one, current: _cases(one, current).copy())
    if kept is not None:
        return kept
    states = refolded(store, learner_id)
    keep(store, learner_id, states)
    return states.cases


def _kept(store: Store, learner_id: int, read: Callable[[KeptStates, Current], Kept]) -> Kept | None:
    """Read what is kept of a learner; None where it is unreadable or other numbers made it."""
    current = memory_numbers.current(store)
    try:
        kept = store.states(learner_id)
        return read(kept, current) if kept is not None and kept.folded_with == current.name else None
    except (BadState, Damaged):
        return None


def _both(kept: KeptStates, current: Current) -> States:
    numbers = current.numbers
    return States(LearnerState.from_json(kept.state, numbers), LearnerState.from_json(kept.recall_state, numbers))


def _cases(kept: KeptStates, current: Current) -> LearnerState:
    key = current.name, kept.state
    found = _lately.get(key)
    if found is None:
        found = LearnerState.from_json(kept.state, current.numbers)
        _lately.keep(key, found)
    return found


def refolded(store: Store, learner_id: int) -> States:
    """Fold a learner's logs anew, with the numbers that the data file works with."""
    numbers = memory_numbers.current(store).numbers
    return States(
        model.replay(events_of(store, learner_id), numbers),
        model.replay(map(recall_event_of, recall_queries.recall_marks_of(store, learner_id)), numbers),
    )


def as_folded(store: Store, learner_id: int, states: States) -> bool:
    """Say whether what is kept of a learner's memory can be read and agrees with what the logs fold into."""
    try:
        kept = store.states(learner_id)
    except Damaged:
        return False
    return kept is not None and agrees(kept, states)


def keep(store: Store, learner_id: int, states: States) -> None:
    """Keep a learner's states; inside `store.writing()`."""
    store.keep_states(
        learner_id,
        state=states.cases.to_json(),
        recall_state=states.recall.to_json(),
        folded_with=memory_numbers.current(store).name,
    )


def keep_cases(store: Store, learner_id: int, state: LearnerState) -> None:
    """Keep what a learner's answers fold into, which is not folded on any more; inside `store.writing()`.

    The recall marks' state stays as it is.
    """
    text = state.to_json()
    store.keep_state(learner_id, text)
    _lately.keep((memory_numbers.current(store).name, text), state)


def agrees(kept: KeptStates, states: States) -> bool:
    """Say whether what is kept of a learner is what these states are, to twelve digits.

    Not to the last bit: how floats are added has changed between Pythons, and logarithms differ between machines.
    """
    return same_to_twelve_digits(kept.state, states.cases.to_json()) and same_to_twelve_digits(
        kept.recall_state, states.recall.to_json()
    )


def rebuild(store: Store) -> Iterable[Rebuilt]:
    """Fold every learner's logs anew, keep the result, and say whether it differed from what was kept."""
    for one in store.learners():
        with store.writing():
            states = refolded(store, one.id)
            same = as_folded(store, one.id, states)
            keep(store, one.id, states)
            result_queries.tally_anew(store, one)
            counts = len(store.answers_of(one.id)), len(recall_queries.recall_marks_of(store, one.id))
        yield Rebuilt(one.name, *counts, as_kept=same)
