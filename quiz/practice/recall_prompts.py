"""Recall prompts: which one comes beside which case, and a learner's own words held against its answer.

Cases and prompts are one queue: after a case comes a prompt that a step of it rests on, where it was missed or is no
longer held. Each prompt is a skill of its own.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.vocabulary import CREDITED
from cases.recall.prompts import Prompt, TypedNumber, all_prompts, prompt, prompts_for, prompts_in
from quiz.errors import QuizError
from quiz.learning import model
from quiz.learning.parameters import NUMBERS
from quiz.learning.state import DAY, LearnerState
from quiz.practice import sittings, what_to_practise
from quiz.practice.randomness import Lots
from quiz.storage import projection, recall_queries
from quiz.storage.recall_queries import Recall, RecallMark
from quiz.storage.store import Answer, Learner, Store

REST_SECONDS = 8 * 3600.0
"""A prompt that was met is left alone for so long, unless it was missed."""
OTHERS_BETWEEN = 3
"""Other prompts between missing one and meeting it again."""
VISIT_SECONDS = 2 * 3600.0
"""Marks no older than this belong to the same visit."""
HELD = NUMBERS.settled_chance
"""A prompt is held while the chance of having it is at least this."""
CASES_BETWEEN, CASES_BEFORE_NEW = 2, 4
"""Cases since the last prompt before one that is needed comes, and before a new one does."""
FAMILIES_OF = {
    "distance": ("distance",),
    "movement": ("movement",),
    "meridians": ("meridians",),
    "lenses": ("algebra", "planes"),
    "sighting": ("sighting",),
    "near": ("near",),
    "evidence": ("checking",),
    "records": ("checking", "meridians"),
    "signs": ("movement", "checking"),
    "drops": ("near",),
    "conduct": ("checking", "bench"),
}
"""Beside which families' cases the prompts of a group come that rest on no step."""
LONGEST_ITEM = 4
STEM = 5
_AND = re.compile(r",? and |[,;] ")
_SENTENCE = re.compile(r"(?<=[.;]) ")
_LITTLE = frozenset(
    [
        "the",
        "and",
        "for",
        "you",
        "are",
        "was",
        "its",
        "not",
        "but",
        "with",
        "that",
        "this",
        "than",
        "from",
        "into",
        "has",
        "have",
        "one",
    ]
)


class UnknownRecall(QuizError):
    """No such prompt was put to this learner."""

    def __init__(self) -> None:
        super().__init__("no such prompt was put to you: pick a group on the Recall page")


class Unreadable(QuizError):
    """What was written for a prompt cannot be read, or nothing was written; nothing is kept."""


@dataclass(frozen=True)
class HeldAgainst:
    """A learner's words held against the answer, part by part."""

    parts: tuple[str, ...]
    """What the answer holds."""
    had: tuple[bool, ...]
    """Whether each part is in the words, as far as a program can tell."""


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
        return one, f"Last practised {days} days ago." if days > 1 else "Not sure yet: once more."
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
    with store.writing(learner.id):
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


def beside_last_case(store: Store, learner: Learner, *, now: float, lots: Lots) -> Recall | None:
    """Return the prompt that comes after the last case, put now if one is due; None where the next case comes.

    A step of that case that went wrong calls for its prompt; else one that was met and is no longer held; else, less
    often, a new one. Between two prompts are `CASES_BETWEEN` cases.
    """
    sitting = store.sitting_under_way(learner.id)
    if sitting is None or sittings.is_left(sitting, now) or _is_test(store, sitting.id):
        return None
    answers = store.answers_in(sitting.id)
    found = recall_queries.open_beside(store, learner.id, answers[-1].dealt) if answers else None
    if found is not None:
        return found if found.prompt in _known() else None
    last = recall_queries.last_beside(store, learner.id)
    since = [one for one in answers if last is None or one.at > last.put_at]
    if len(since) < CASES_BETWEEN or (store.open_case(learner.id) is not None):
        return None
    chosen = _for_case(projection.states_of(store, learner.id).recall, since[-1], len(since), now)
    if chosen is None:
        return None
    one, why = chosen
    with store.writing(learner.id):
        left = recall_queries.open_recall(store, learner.id, one.group.id)
        if left is not None:
            recall_queries.close_recall(store, left.id, now=now)
        put = Recall(lots.new_id(), learner.id, one.id, one.group.id, why, now, dealt=since[-1].dealt)
        recall_queries.put_recall(store, put)
    return put


def _is_test(store: Store, sitting_id: int) -> bool:
    aim = what_to_practise.of_sitting(store, sitting_id)
    return aim is not None and aim.what in what_to_practise.TESTS


def _for_case(state: LearnerState, answer: Answer, cases: int, now: float) -> tuple[Prompt, str] | None:
    beside = [one for step in answer.steps for one in prompts_for(step)]
    rested = [one for one in beside if one.id not in state.types or now - state.types[one.id].at >= REST_SECONDS]
    went_wrong = {step for one in answer.explanations for step, _ in one}
    if answer.verdict not in CREDITED and (not went_wrong or answer.did_not_know):
        went_wrong = set(answer.steps)
    missed = [one for one in rested if went_wrong.intersection(one.steps) and _chance(state, one.id, now) < HELD]
    if missed:
        return missed[0], "This went wrong in the case before."
    due = [one for one in rested if is_due(state, one.id, now)]
    if due:
        return min(due, key=lambda one: _chance(state, one.id, now)), "You knew this; it may have gone."
    if cases < CASES_BEFORE_NEW:
        return None
    family = all_types()[answer.type].family.id if answer.type in all_types() else ""
    plain = [one for one in all_prompts() if not one.steps and family in FAMILIES_OF.get(one.group.id, ())]
    new = [one for one in (*rested, *plain) if one.id not in state.types]
    return (new[0], "It belongs to the case before.") if new else None


def _known() -> frozenset[str]:
    return frozenset(one.id for one in all_prompts())


def pass_over(store: Store, learner: Learner, recall_id: str, *, now: float) -> None:
    """Let a prompt go unanswered; nothing is marked."""
    own(store, learner, recall_id)
    with store.writing(learner.id):
        recall_queries.close_recall(store, recall_id, now=now)


def answer(store: Store, learner: Learner, recall_id: str, typed: str, *, now: float) -> Recall:
    """Keep what was written, and mark it where a program can: a number, or words that are surely right.

    Raises
    ------
    Unreadable
        When nothing was written, or a number cannot be read.
    """
    put = own(store, learner, recall_id)
    if put.typed is not None:
        return put
    if not typed.strip():
        raise Unreadable("Write it in your own words first, or choose “I don’t know”.")
    against = compared(replace(put, typed=typed.strip()))
    if against.problem is not None:
        raise Unreadable(against.problem)
    put = show(store, learner, recall_id, typed)
    if against.same or isinstance(prompt(put.prompt).typed, TypedNumber):
        mark(store, learner, recall_id, had=bool(against.same), now=now)
    return own(store, learner, recall_id)


def give_up(store: Store, learner: Learner, recall_id: str, *, now: float) -> None:
    """Keep that a learner does not know, and show the answer."""
    if show(store, learner, recall_id, "").closed_at is None:
        mark(store, learner, recall_id, had=False, now=now)


def held_against(one: Recall) -> HeldAgainst:
    """Hold a learner's words against the answer, part by part: what holds half of a part's words has it."""
    parts = _parts(prompt(one.prompt).answer)
    own_words = _content(one.typed or "")
    had = []
    for part in parts:
        wanted = _content(part)
        had.append(bool(wanted) and 2 * len(wanted & own_words) >= len(wanted))
    return HeldAgainst(parts, tuple(had))


def _parts(text: str) -> tuple[str, ...]:
    """Return what an answer holds: the items of a list, or its sentences."""
    items = [one.strip() for one in _AND.split(text.rstrip(".")) if one.strip()]
    if len(items) > 2 and all(len(one.split()) <= LONGEST_ITEM for one in items):
        return tuple(items)
    return tuple(one.strip() for one in _SENTENCE.split(text) if one.strip())


_WORD_OR_NUMBER = re.compile(r"[a-z]+|[\d.]*\d")


def _content(text: str) -> set[str]:
    """Return the words that carry something, without their endings, so that “lenses” is “lens”."""
    words = {one[:STEM] for one in _WORD_OR_NUMBER.findall(text.casefold())}
    little = {one[:STEM] for one in _LITTLE}
    return {one for one in words - little if not one.isalpha() or len(one) > 2} or words


def marked_as(store: Store, one: Recall) -> bool | None:
    """Return whether a prompt was had; None where it is not marked."""
    found = recall_queries.mark_of(store, one.id)
    return None if found is None else found.had


def show(store: Store, learner: Learner, recall_id: str, typed: str) -> Recall:
    """Record that the answer was shown and what had been typed; the first time counts."""
    own(store, learner, recall_id)
    with store.writing(learner.id):
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
    with store.writing(learner.id):
        put = own(store, learner, recall_id)
        states = projection.states_of(store, learner.id)
        one = RecallMark(put.id, learner.id, now, put.prompt, put.prompt_group, put.typed or "", had)
        if recall_queries.add_recall_mark(store, one):
            model.fold(states.recall, projection.recall_event_of(one))
            projection.keep(store, learner.id, states)
            recall_queries.close_recall(store, put.id, now=now)
    return put
