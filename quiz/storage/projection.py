"""A learner's memory kept in step with the logs: what one row means to memory, and the whole log folded again."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from quiz.learning import model
from quiz.learning.parameters import NUMBERS
from quiz.learning.state import NIGHT, Answered, BadState, LearnerState, same_to_twelve_digits
from quiz.lru_cache import LockedCache
from quiz.storage import (
    bringing_queries,
    class_queries,
    desk_queries,
    forecast_queries,
    memory_numbers,
    recall_queries,
    result_queries,
)
from quiz.storage.datafile import Damaged
from quiz.storage.examining import examination_queries
from quiz.storage.examining.examination_queries import ExaminationMark
from quiz.storage.forecast_queries import Tenth
from quiz.storage.memory_numbers import Current
from quiz.storage.recall_queries import RecallMark
from quiz.storage.rows import write_json
from quiz.storage.store import Answer, KeptStates, Learner, Retyped, Store

Kept = TypeVar("Kept")

FOLDED_WITH = memory_numbers.name_of(NUMBERS)
"""Names the numbers that are shipped: a state that was folded with others than those in use is folded again."""
MOST = 500
"""Some 100 kB each."""
_lately: LockedCache[tuple[str, str | None, str], LearnerState] = LockedCache(MOST)
"""States by the name of their numbers, what was known beforehand, and their JSON: what is folded on is a copy."""


class ForecastTally:
    """Chances that memory gave to right answers a night or more ahead, by tenths, with what came."""

    def __init__(self) -> None:
        self.tenths: dict[int, Tenth] = {}

    def add(self, state: LearnerState, event: Answered) -> None:
        """Count what memory foresees of an answer that is not folded in yet."""
        memory = state.types.get(event.type)
        if memory is None or event.at - memory.at < NIGHT or event.hints or event.weight < 1:
            return
        chance = model.expected(state, event)
        number = min(int(chance * 10), 9)
        before = self.tenths.get(number, Tenth(number, 0, 0.0, 0))
        self.tenths[number] = Tenth(number, before.answers + 1, before.given + chance, before.came + event.right)


@dataclass(frozen=True)
class States:
    """What a learner's two logs fold into."""

    cases: LearnerState
    recall: LearnerState
    forecasts: ForecastTally | None = None
    """How forecasts came true, where the log was folded again."""

    @classmethod
    def new(cls) -> States:
        """Return the states of a learner who has answered nothing."""
        return cls(model.replay(()), model.replay(()))


@dataclass(frozen=True)
class Rebuilt:
    """What folding one learner's logs again came to."""

    learner: str
    answers: int
    recall_marks: int
    as_kept: bool
    """Whether the kept states were the same to twelve digits."""


EXAMINATION = "whole-examination"
"""Under which memory keeps examinations beside case types."""
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
    yield from _events(store, learner_id, frozenset())


def _events(store: Store, learner_id: int, hidden: Collection[str]) -> Iterator[Answered]:
    """Yield answers, but those of hidden cases, and examinations that were handed in, in the order they came."""
    retyped = store.retyped_of(learner_id)
    answers = [one for one in _in_order(store, learner_id) if one.dealt not in hidden]
    marks = examination_queries.marks_of(store, learner_id)
    events = [event_of(one, retyped.get(one.dealt)) for one in answers]
    if not marks:
        yield from events
    elif bringing_queries.has_brought(store, learner_id):
        yield from sorted([*events, *map(examination_event_of, marks)], key=lambda one: one.at)
    else:
        numbers = examination_queries.answer_numbers(store, learner_id)
        ordered = [(numbers[one.dealt], 0, event) for one, event in zip(answers, events, strict=True)]
        ordered += [(one.after_answer, 1, examination_event_of(one)) for one in marks]
        yield from (event for _, _, event in sorted(ordered, key=lambda one: one[:2]))


def examination_event_of(mark: ExaminationMark) -> Answered:
    """Return what memory needs of an examination: its slips are known for sure, all of them made at once."""
    return Answered.from_row({**vars(mark), "type": EXAMINATION, "source": "examination"})


def _in_order(store: Store, learner_id: int) -> list[Answer]:
    """Return a learner's answers as they came; those that were brought in later stand where their time is."""
    answers = store.answers_of(learner_id)
    if bringing_queries.has_brought(store, learner_id):
        answers.sort(key=lambda one: one.at)
    return answers


def recall_event_of(mark: RecallMark) -> Answered:
    """Return what memory needs of a recall mark: each prompt is a skill of its own."""
    return Answered(at=mark.at, type=mark.prompt, steps=(), verdict="right" if mark.had else "wrong")


def states_of(store: Store, learner_id: int) -> States:
    """Return a learner's states as kept now, or folded again where they are unreadable or older numbers made them."""
    return _kept(store, learner_id, _both) or refolded(store, learner_id)


def cases_of(store: Store, learner_id: int) -> LearnerState:
    """Return what a learner's answers fold into, to look at and not to fold on: others look at the same."""
    return _kept(store, learner_id, _cases) or refolded(store, learner_id).cases


def untold(store: Store, learner: Learner) -> list[Answer]:
    """Return the answers whose marks a learner may not see yet: of drills and mock papers that show them at the end."""
    return class_queries.untold(store, learner) + desk_queries.withheld(store, learner.id)


def told_of(store: Store, learner: Learner) -> LearnerState:
    """Return what a learner may be told of their answers: those whose marks are still to come leave no trace in it."""
    hidden = {one.dealt for one in untold(store, learner)}
    if not hidden:
        return cases_of(store, learner.id)
    events = _events(store, learner.id, hidden)
    return model.replay(events, memory_numbers.personal(memory_numbers.current(store), _priors(store, learner.id)))


def cases_to_fold(store: Store, learner_id: int) -> LearnerState:
    """Return what a learner's answers fold into, to fold on and to keep by `keep_cases`; inside `store.writing()`.

    States that are unreadable or were made by older numbers are folded again from both logs and kept first.
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
    own = memory_numbers.personal(current, kept.priors)
    return States(LearnerState.from_json(kept.state, own), LearnerState.from_json(kept.recall_state, numbers))


def _cases(kept: KeptStates, current: Current) -> LearnerState:
    key = current.name, kept.priors, kept.state
    found = _lately.get(key)
    if found is None:
        found = LearnerState.from_json(kept.state, memory_numbers.personal(current, kept.priors))
        _lately.keep(key, found)
    return found


def refolded(store: Store, learner_id: int) -> States:
    """Fold a learner's logs again, with the numbers that the data file works with."""
    current = memory_numbers.current(store)
    state, forecasts = LearnerState.new(memory_numbers.personal(current, _priors(store, learner_id))), ForecastTally()
    for event in events_of(store, learner_id):
        forecasts.add(state, event)
        model.fold(state, event)
    marks = map(recall_event_of, recall_queries.recall_marks_of(store, learner_id))
    return States(state, model.replay(marks, current.numbers), forecasts)


def _priors(store: Store, learner_id: int) -> str | None:
    try:
        kept = store.states(learner_id)
    except Damaged:
        return None
    return None if kept is None else kept.priors


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
    if states.forecasts is not None:
        forecast_queries.keep(store, learner_id, states.forecasts.tenths.values())


def keep_forecast(store: Store, learner_id: int, state: LearnerState, event: Answered) -> None:
    """Count how a forecast came true, before the answer is folded in; inside `store.writing()`."""
    found = ForecastTally()
    found.add(state, event)
    forecast_queries.add(store, learner_id, found.tenths.values())


def keep_priors(store: Store, learner_id: int, priors: Mapping[str, tuple[float, float]]) -> None:
    """Keep what a learner said of themselves, and fold their log again with it; inside `store.writing()`."""
    store.change("UPDATE learners SET priors = ? WHERE id = ?", write_json(priors), learner_id)
    keep(store, learner_id, refolded(store, learner_id))


def was_asked(store: Store, learner_id: int) -> bool:
    """Say whether a learner has answered the first questions, or passed over them."""
    return _priors(store, learner_id) is not None


def keep_cases(store: Store, learner_id: int, state: LearnerState) -> None:
    """Keep what a learner's answers fold into, which is not folded on any more; inside `store.writing()`.

    The recall marks' state stays as it is.
    """
    text = state.to_json()
    store.keep_state(learner_id, text)
    _lately.keep((memory_numbers.current(store).name, _priors(store, learner_id), text), state)


def agrees(kept: KeptStates, states: States) -> bool:
    """Say whether what is kept of a learner is what these states are, to twelve digits.

    Not to the last bit: how floats are added has changed between Pythons, and logarithms differ between machines.
    """
    return same_to_twelve_digits(kept.state, states.cases.to_json()) and same_to_twelve_digits(
        kept.recall_state, states.recall.to_json()
    )


def rebuild(store: Store) -> Iterable[Rebuilt]:
    """Fold every learner's logs again, keep the result, and say whether it differed from what was kept."""
    for one in store.learners():
        with store.writing(one.id):
            states = refolded(store, one.id)
            same = as_folded(store, one.id, states)
            keep(store, one.id, states)
            result_queries.tally_anew(store, one)
            counts = len(store.answers_of(one.id)), len(recall_queries.recall_marks_of(store, one.id))
        yield Rebuilt(one.name, *counts, as_kept=same)
