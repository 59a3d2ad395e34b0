"""Recall: what was missed comes back, what is held rests, and the learner's first mark stands."""

from __future__ import annotations

from collections import Counter

import pytest

from cases.recall.prompts import UnknownPrompt, prompts_in
from quiz.practice import learners, recall_prompts
from quiz.storage import projection, recall_queries
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, lots


def visit(store: Store, learner: Learner, marks: list[bool], *, now: float = NOON, seed: int = 1) -> list[str]:
    """Meet so many prompts of a group and return them in order."""
    met, chance = [], lots(seed)
    for number, had in enumerate(marks):
        one = recall_prompts.waiting(store, learner, "distance", now=now + 10 * number, lots=chance)
        recall_prompts.mark(store, learner, one.id, had=had, now=now + 10 * number + 5)
        met.append(one.prompt)
    return met


def test_the_prompt_waits_until_it_is_marked(store: Store, learner: Learner) -> None:
    one = recall_prompts.waiting(store, learner, "distance", now=NOON, lots=lots())
    shown = recall_prompts.show(store, learner, one.id, " +1.50 ")
    assert shown.typed == "+1.50"
    assert recall_prompts.show(store, learner, one.id, "changed my mind").typed == "+1.50"
    assert recall_prompts.waiting(store, learner, "distance", now=NOON + 9, lots=lots(2)).id == one.id
    recall_prompts.mark(store, learner, one.id, had=True, now=NOON + 10)
    assert recall_prompts.waiting(store, learner, "distance", now=NOON + 11, lots=lots(3)).prompt != one.prompt


def test_what_was_missed_comes_back_after_three_others(store: Store, learner: Learner) -> None:
    met = visit(store, learner, [True, False, True, True, True, True])
    assert met[5] == met[1]
    assert len(set(met[:5])) == 5


def test_what_was_had_rests_and_comes_back_when_it_fades(store: Store, learner: Learner) -> None:
    size = len(prompts_in("distance"))
    met = visit(store, learner, [True] * size)
    assert Counter(met) == Counter(one.id for one in prompts_in("distance")), "each once before any twice"
    state = projection.states_of(store, learner.id).recall
    assert recall_prompts.stand(state, prompts_in("distance"), NOON + 3600).new == 0
    assert recall_prompts.stand(state, prompts_in("distance"), NOON + 3600).due == 0
    assert recall_prompts.stand(state, prompts_in("distance"), NOON + 40 * 86400).due == size
    later = visit(store, learner, [True], now=NOON + 40 * 86400, seed=2)
    assert later[0] in met


def test_what_was_just_missed_does_not_count_as_held(store: Store, learner: Learner) -> None:
    """What the learner said they did not have must not stand under Held, rested or not."""
    visit(store, learner, [True, False, True])
    stand = recall_prompts.stand(projection.states_of(store, learner.id).recall, prompts_in("distance"), NOON + 120)
    assert (stand.due, stand.held) == (1, 2)
    assert stand.new == len(prompts_in("distance")) - 3


def test_the_first_mark_stands(store: Store, learner: Learner) -> None:
    one = recall_prompts.waiting(store, learner, "distance", now=NOON, lots=lots())
    recall_prompts.mark(store, learner, one.id, had=False, now=NOON + 5)
    recall_prompts.mark(store, learner, one.id, had=True, now=NOON + 6)
    assert [mark.had for mark in recall_queries.recall_marks_of(store, learner.id)] == [False]
    assert [one.as_kept for one in projection.rebuild(store)] == [True]


def test_typed_numbers_are_set_against_the_answer(store: Store, learner: Learner) -> None:
    numbers = [one for one in prompts_in("distance") if hasattr(one.typed, "unit")]
    assert numbers
    put = recall_prompts.waiting(store, learner, "distance", now=NOON, lots=lots())
    for typed, same in ((numbers[0].answer.split()[0], True), ("+9.75", False), ("perhaps", None), ("", None)):
        one = type(put)(**{**vars(put), "prompt": numbers[0].id, "typed": typed})
        assert recall_prompts.compared(one).same is same, typed


def test_unknown_groups_and_others_prompts_are_refused(store: Store, learner: Learner) -> None:
    with pytest.raises(UnknownPrompt):
        recall_prompts.waiting(store, learner, "no-such-group", now=NOON, lots=lots())
    one = recall_prompts.waiting(store, learner, "distance", now=NOON, lots=lots())
    with pytest.raises(recall_prompts.UnknownRecall):
        recall_prompts.mark(store, learners.add(store, "Bea", now=NOON), one.id, had=True, now=NOON)
