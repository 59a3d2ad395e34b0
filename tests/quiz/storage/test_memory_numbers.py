"""The numbers that a data file adopts: used at once, kept by version, and left when another is chosen."""

from __future__ import annotations

import dataclasses

import pytest

from quiz.learning.parameters import MODEL, NUMBERS, Prior
from quiz.storage import memory_numbers, projection
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Learner, Store
from tests.quiz.storage.test_projection import live

OTHER = dataclasses.replace(
    NUMBERS, dated="2031-01-01", start=2.5, steps={"take-off": Prior(1.5, 2.0)}, types={"net-sphere": Prior(-0.5, 0.4)}
)
RATES = dataclasses.replace(NUMBERS, slips={"subtract-distance distance-left-in": 0.18})


def test_a_file_works_with_the_shipped_numbers_until_it_adopts_others(store: Store) -> None:
    assert memory_numbers.current(store) == memory_numbers.Current(NUMBERS, projection.FOLDED_WITH)
    assert memory_numbers.versions(store) == memory_numbers.Versions()


def test_adopted_numbers_fold_every_memory_anew_and_going_back_brings_it_back(store: Store, learner: Learner) -> None:
    live(store, learner, 12)
    before = projection.states_of(store, learner.id).cases
    new = memory_numbers.adopt(store, OTHER, now=5.0, why="a fall")
    assert memory_numbers.current(store).numbers == OTHER
    after = projection.states_of(store, learner.id).cases
    assert after.numbers == OTHER
    assert after != before
    live(store, learner, 3, seed=9)
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    memory_numbers.use(store, memory_numbers.SHIPPED)
    assert projection.states_of(store, learner.id).cases.numbers == NUMBERS
    memory_numbers.use(store, new.id)
    assert projection.states_of(store, learner.id).cases.numbers == OTHER
    assert [(one.id, one.why, one.adopted_at) for one in memory_numbers.versions(store).adopted] == [
        (new.id, "a fall", 5.0)
    ]


def test_a_class_s_rates_of_slips_are_a_version_like_any_other(store: Store, learner: Learner) -> None:
    """States are folded again with them, a rebuild gives the same, and no rate is lost on the way through the file."""
    live(store, learner, 12)
    before = projection.states_of(store, learner.id).cases
    new = memory_numbers.adopt(store, RATES, now=5.0, why="a fall")
    assert new.id != memory_numbers.name_of(NUMBERS)[:8]
    assert memory_numbers.current(store).numbers.slip_chance("subtract-distance", "distance-left-in") == 0.18
    assert projection.states_of(store, learner.id).cases.numbers == RATES
    live(store, learner, 3, seed=9)
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    memory_numbers.use(store, memory_numbers.SHIPPED)
    assert projection.states_of(store, learner.id).cases.slips.keys() >= before.slips.keys()


def test_another_memory_leaves_adopted_numbers_alone(store: Store) -> None:
    new = memory_numbers.adopt(store, OTHER, now=5.0, why="a fall")
    text = store.app_value(memory_numbers.NAME)
    assert text is not None
    with store.writing():
        store.keep_app_value(memory_numbers.NAME, text.replace(f'"model":{MODEL}', '"model":1'))
    assert memory_numbers.current(store).numbers == NUMBERS
    with pytest.raises(memory_numbers.UnknownVersion, match=r"give one of shipped$"):
        memory_numbers.use(store, new.id)


def test_spoilt_numbers_are_refused_in_words_and_the_shipped_ones_can_be_used_again(store: Store) -> None:
    with store.writing():
        store.keep_app_value(memory_numbers.NAME, "{")
    with pytest.raises(memory_numbers.BadNumbers, match="refit --use shipped"):
        memory_numbers.current(store)
    memory_numbers.use(store, memory_numbers.SHIPPED)
    assert memory_numbers.current(store).numbers == NUMBERS


def test_a_check_says_that_memories_wait_to_be_worked_out_anew(
    data_file: DataFile, store: Store, learner: Learner
) -> None:
    live(store, learner, 2)
    memory_numbers.adopt(store, OTHER, now=5.0, why="a fall")
    found = list(check(data_file.where))
    assert all(one.good for one in found)
    assert any("1 memories were worked out with other numbers" in one.words for one in found)
