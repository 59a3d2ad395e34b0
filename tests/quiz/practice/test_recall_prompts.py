"""Recall: what was missed comes back, what is held rests, and the learner's first mark stands."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from cases.curriculum.register import all_skills
from cases.recall.prompts import UnknownPrompt, all_prompts, prompt, prompts_in
from quiz.practice import dealing, learners, recall_prompts, today, what_to_practise
from quiz.practice.settings import LENGTHS
from quiz.storage import projection, recall_queries
from quiz.storage.recall_queries import Recall
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, deal, lots, slipped, written


def visit(store: Store, learner: Learner, marks: list[bool], *, now: float = NOON, seed: int = 1) -> list[str]:
    """Meet this many prompts of a group and return them in order."""
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
    for after, due in ((3600, 0), (40 * 86400, size)):
        assert sum(recall_prompts.is_due(state, one.id, NOON + after) for one in prompts_in("distance")) == due
    later = visit(store, learner, [True], now=NOON + 40 * 86400, seed=2)
    assert later[0] in met


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


# --- beside cases, and one's own words held against the answer -----------------------------------------------------


def practise(store: Store, learner: Learner, type_id: str, slip: str | None, *, at: float) -> None:
    case = deal(
        store, learner, type_id, seed=int(at - NOON) + 3, now=at, wanted=lambda one: slip is None or one.shows(slip)
    )
    waiting = store.open_case(learner.id)
    assert waiting is not None
    texts = written(case) if slip is None else slipped(case, slip)
    dealing.take(store, learner, waiting.id, texts, None, now=at + 9)


def beside(store: Store, learner: Learner, at: float) -> Recall | None:
    return recall_prompts.beside_last_case(store, learner, now=at, lots=lots(7))


def test_a_prompt_comes_beside_the_case_that_needs_it(store: Store, learner: Learner) -> None:
    practise(store, learner, "net-sphere", None, at=NOON)
    assert beside(store, learner, NOON + 20) is None, "one case is too few for another matter"
    practise(store, learner, "net-sphere", "distance-left-in", at=NOON + 30)
    put = beside(store, learner, NOON + 50)
    assert put is not None
    assert "take-off-distance" in prompt(put.prompt).steps
    assert put.dealt == store.answers_of(learner.id)[-1].dealt
    assert beside(store, learner, NOON + 60) == put, "it waits"
    recall_prompts.pass_over(store, learner, put.id, now=NOON + 70)
    assert beside(store, learner, NOON + 80) is None
    practise(store, learner, "net-sphere", "distance-left-in", at=NOON + 90)
    assert beside(store, learner, NOON + 100) is None, "two cases stand between two prompts"


def test_no_prompt_comes_within_a_mock_paper(store: Store, learner: Learner) -> None:
    aim = what_to_practise.read_aim("paper")
    today.start(store, learner, aim, LENGTHS[0], level="competent", now=NOON)
    for number in range(4):
        one = dealing.waiting(store, learner, now=NOON + number, lots=lots(number))
        dealing.give_up(store, learner, one.dealt.id, now=NOON + number)
        assert beside(store, learner, NOON + number) is None


def put(store: Store, learner: Learner, prompt_id: str) -> Recall:
    one = Recall(f"put-{prompt_id}", learner.id, prompt_id, prompt(prompt_id).group.id, "", NOON)
    with store.writing():
        recall_queries.put_recall(store, one)
    return one


def test_a_number_is_read_and_marked_and_asked_back_about(store: Store, learner: Learner) -> None:
    one = put(store, learner, "vergence-at-50-cm")
    for text in ("", "perhaps"):
        with pytest.raises(recall_prompts.Unreadable):
            recall_prompts.answer(store, learner, one.id, text, now=NOON)
    assert recall_queries.recall_marks_of(store, learner.id) == []
    recall_prompts.answer(store, learner, one.id, "2", now=NOON)
    other = put(store, learner, "vergence-at-40-cm")
    recall_prompts.answer(store, learner, other.id, "2", now=NOON)
    assert [one.had for one in recall_queries.recall_marks_of(store, learner.id)] == [True, False]


def test_words_are_held_against_each_part_of_the_answer_before_they_are_marked(store: Store, learner: Learner) -> None:
    one = put(store, learner, "read-the-bottle")
    shown = recall_prompts.answer(store, learner, one.id, "the strength, and when it expires", now=NOON)
    held = recall_prompts.held_against(shown)
    assert held.parts == ("The drug", "its strength", "its expiry date")
    assert held.had == (False, True, True)
    assert recall_queries.recall_marks_of(store, learner.id) == [], "nothing is marked yet"
    sentence = put(store, learner, "meaning-of-neutral")
    shown = recall_prompts.answer(store, learner, sentence.id, "the far point lies at the sight hole", now=NOON)
    assert recall_prompts.held_against(shown).had == (True,)
    shown = replace(shown, typed="the streak stands still")
    assert recall_prompts.held_against(shown).had == (False,)


def test_every_prompt_has_parts_that_its_own_answer_holds() -> None:
    for one in all_prompts():
        held = recall_prompts.held_against(Recall("id", 1, one.id, one.group.id, "", NOON, one.answer))
        assert held.parts, one.id
        assert all(held.had), (one.id, held)


def test_the_steps_of_prompts_are_steps_of_cases() -> None:
    assert {step for one in all_prompts() for step in one.steps} <= all_skills().keys()
