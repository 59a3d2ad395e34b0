"""Recall: which plain prompt comes next, and the learner's own mark on it. Each prompt is a skill of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cases.errors import CaseError
from cases.recall.prompts import Prompt, prompt, prompts_in
from quiz.errors import QuizError
from quiz.learning import model
from quiz.learning.parameters import NUMBERS
from quiz.learning.state import DAY, LearnerState
from quiz.practice.randomness import Lots
from quiz.storage import projection, recall_queries
from quiz.storage.recall_queries import Recall, RecallMark
from quiz.storage.store import Learner, Store

REST_SECONDS = 8 * 3600.0
"""A prompt that was met is left alone for so long, unless it was missed."""
OTHERS_BETWEEN = 3
"""Other prompts between missing one and meeting it again."""
VISIT_SECONDS = 2 * 3600.0
"""Marks no older than this belong to the same visit."""
HELD = NUMBERS.settled_chance
"""A prompt is held while the chance of having it is at least this."""


class UnknownRecall(QuizError):
    """No such prompt was put to this learner."""

    def __init__(self) -> None:
        super().__init__("no such prompt was put to you: pick a group on the Recall page")


class NotMarked(QuizError):
    """A recall mark that is neither of the two."""

    def __init__(self) -> None:
        super().__init__("no mark came with the form: use one of the two buttons")


@dataclass(frozen=True)
class Stand:
    """How a group stands for a learner: prompts never met, to be met again, and held."""

    new: int
    due: int
    held: int


@dataclass(frozen=True)
class TypedAgainst:
    """What was typed set against the answer; `same` is None where only the learner can tell."""

    same: bool | None
    problem: str | None = None


def next_prompt(
    state: LearnerState, prompts: Sequence[Prompt], recent: Sequence[tuple[str, bool]], now: float
) -> tuple[Prompt, str]:
    """Choose the next prompt of a group, and say why.

    A prompt missed in this visit comes back after three others; then comes what was met and is no longer held, the
    weakest first; then new prompts in their order; and when all are held, the weakest of them. Never the same at once
    while there is another.

    recent: this visit's prompts and whether the learner had them, the latest last.
    """
    last = recent[-1][0] if recent else None
    others = [one for one in prompts if one.id != last] or list(prompts)
    missed = [one for one in others if _waited(one.id, recent)]
    if missed:
        return missed[0], "You did not have it a moment ago: once more."
    due = [one for one in others if is_due(state, one.id, now)]
    if due:
        one = min(due, key=lambda one: _chance(state, one.id, now))
        days = int((now - state.types[one.id].at) / DAY)
        return one, f"Not met for {days} days." if days > 1 else "Not sure yet: once more."
    new = [one for one in others if one.id not in state.types]
    if new:
        return new[0], "New to you."
    return min(others, key=lambda one: _chance(state, one.id, now)), "You hold all of these: one to keep fresh."


def _waited(prompt_id: str, recent: Sequence[tuple[str, bool]]) -> bool:
    """Say whether a prompt was missed the last time in this visit, and enough others have come since."""
    for since, (one, had) in enumerate(reversed(recent)):
        if one == prompt_id:
            return not had and since >= OTHERS_BETWEEN
    return False


def _chance(state: LearnerState, prompt_id: str, now: float) -> float:
    return model.chance(state, (), now, type_id=prompt_id)


def is_due(state: LearnerState, prompt_id: str, now: float) -> bool:
    """Say whether a prompt that was met is no longer held, and has rested."""
    met = state.types.get(prompt_id)
    return met is not None and now - met.at >= REST_SECONDS and _chance(state, prompt_id, now) < HELD


def _missed_last(state: LearnerState, prompt_id: str) -> bool:
    return prompt_id in state.steps and state.steps[prompt_id].misses > 0


def stand(state: LearnerState, prompts: Sequence[Prompt], now: float) -> Stand:
    """Count how a group's prompts stand."""
    new = sum(one.id not in state.types for one in prompts)
    # What was missed the last time is not held, though it rests before it comes again.
    due = sum(is_due(state, one.id, now) or _missed_last(state, one.id) for one in prompts)
    return Stand(new, due, len(prompts) - new - due)


def waiting(store: Store, learner: Learner, group_id: str, *, now: float, lots: Lots) -> Recall:
    """Return the prompt of a group that waits for this learner, put now if there is none.

    Raises
    ------
    UnknownPrompt
        When there is no such group.
    """
    prompts = prompts_in(group_id)
    found = _waiting_still(store, learner, group_id, prompts)
    if found is not None:
        return found
    with store.writing():
        found = _waiting_still(store, learner, group_id, prompts)
        if found is not None:
            return found
        left = recall_queries.open_recall(store, learner.id, group_id)
        if left is not None:
            recall_queries.close_recall(store, left.id, now=now)
        state = projection.states_of(store, learner.id).recall
        recent = [
            (one.prompt, one.had)
            for one in recall_queries.recall_marks_of(store, learner.id)
            if one.prompt_group == group_id and now - one.at <= VISIT_SECONDS
        ]
        one, why = next_prompt(state, prompts, recent, now)
        put = Recall(lots.new_id(), learner.id, one.id, group_id, why, now)
        recall_queries.put_recall(store, put)
        return put


def _waiting_still(store: Store, learner: Learner, group_id: str, prompts: Sequence[Prompt]) -> Recall | None:
    found = recall_queries.open_recall(store, learner.id, group_id)
    return found if found is not None and found.prompt in {one.id for one in prompts} else None


def own(store: Store, learner: Learner, recall_id: str) -> Recall:
    """Return a prompt that was put to this learner.

    Raises
    ------
    UnknownRecall
        When it was not.
    """
    found = recall_queries.recall_of_id(store, recall_id)
    if found is None or found.learner != learner.id:
        raise UnknownRecall
    return found


def show(store: Store, learner: Learner, recall_id: str, typed: str) -> Recall:
    """Record that the answer was shown and what had been typed; the first time counts."""
    own(store, learner, recall_id)
    with store.writing():
        recall_queries.show_recall(store, recall_id, typed.strip())
    return own(store, learner, recall_id)


def compared(one: Recall) -> TypedAgainst:
    """Set what was typed against the answer, as far as a program can."""
    typed, wanted = one.typed or "", prompt(one.prompt).typed
    if not typed or wanted is None:
        return TypedAgainst(None)
    try:
        return TypedAgainst(wanted.accepts(typed))
    except CaseError as error:
        return TypedAgainst(None, str(error))


def mark(store: Store, learner: Learner, recall_id: str, *, had: bool, now: float) -> Recall:
    """Keep the learner's own mark, in one transaction with what follows from it; the first one stands."""
    with store.writing():
        put = own(store, learner, recall_id)
        states = projection.states_of(store, learner.id)
        one = RecallMark(put.id, learner.id, now, put.prompt, put.prompt_group, put.typed or "", had)
        if recall_queries.add_recall_mark(store, one):
            model.fold(states.recall, projection.recall_event_of(one))
            projection.keep(store, learner.id, states)
            recall_queries.close_recall(store, put.id, now=now)
    return put
