"""The state kept beside the log and the log folded again are the same to the last bit."""

from __future__ import annotations

import dataclasses
import json
import random

import pytest

from quiz.learning.state import LearnerState
from quiz.practice import dealing, dealt_cases, recall_prompts
from quiz.storage import projection
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, lots, written


def live(store: Store, learner: Learner, answers: int, seed: int = 1) -> None:
    """Practise for some days: right, slipped and undiagnosed answers, with and without help."""
    rng, chance = random.Random(seed), lots(seed)
    now = NOON
    for _ in range(answers):
        now += rng.choice((15, 40, 3600, 90_000))
        one = dealing.waiting(store, learner, now=now, lots=chance)
        if rng.random() < 0.2:
            dealing.show_line(store, learner, one.dealt.id, 1)
        wrong = [s.answer for s in one.case.singles + one.case.doubles] if rng.random() < 0.5 else []
        texts = written(one.case, rng.choice(wrong)) if wrong else written(one.case)
        try:
            dealing.take(store, learner, one.dealt.id, texts, rng.choice((None, 1, 2, 3)), now=now + 7)
        except dealt_cases.SentBack:
            dealing.take(store, learner, one.dealt.id, written(one.case), None, now=now + 9)
        put = recall_prompts.waiting(store, learner, rng.choice(("distance", "movement")), now=now, lots=chance)
        recall_prompts.mark(store, learner, put.id, had=rng.random() < 0.6, now=now + 3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rebuilt_from_the_log_equals_kept_beside_it(store: Store, learner: Learner, seed: int) -> None:
    live(store, learner, 60, seed)
    assert list(projection.rebuild(store)) == [projection.Rebuilt("Imre", 60, 60, as_kept=True)]


def test_a_state_that_was_spoilt_is_put_right(store: Store, learner: Learner) -> None:
    live(store, learner, 12)
    good = store.states(learner.id)
    assert good is not None
    for state, folded_with in (
        ("{}", projection.FOLDED_WITH),
        (projection.States.new().cases.to_json(), "other numbers"),
    ):
        with store.writing():
            store.keep_states(learner.id, state=state, recall_state=good.recall_state, folded_with=folded_with)
        assert projection.states_of(store, learner.id).cases.to_json() == good.state
    assert [one.as_kept for one in projection.rebuild(store)] == [False]
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    assert store.states(learner.id) == good


def test_a_state_is_its_numbers_and_not_how_they_are_written(store: Store, learner: Learner) -> None:
    # 0.0000001 stands in older files as 1e-07, and as 1e-7 in newer ones; spaces and order say nothing either.
    live(store, learner, 12)
    kept = store.states(learner.id)
    assert kept is not None
    state = json.dumps(dict(reversed(json.loads(kept.state).items())))
    assert state != kept.state
    written_otherwise = dataclasses.replace(kept, state=state)
    assert projection.agrees(written_otherwise, projection.refolded(store, learner.id))
    moved = dataclasses.replace(kept, state=kept.state.replace('"misses":0.0', '"misses":1e-7', 1))
    assert not projection.agrees(moved, projection.refolded(store, learner.id))
    assert LearnerState.from_json(moved.state) == LearnerState.from_json(moved.state.replace("1e-7", "1e-07"))


def test_an_answer_to_a_spoilt_state_is_folded_once(store: Store, learner: Learner) -> None:
    live(store, learner, 5)
    with store.writing():
        store.keep_states(learner.id, state="{}", recall_state="{}", folded_with="other numbers")
    live(store, learner, 1, seed=8)
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
