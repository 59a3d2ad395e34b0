"""Bench cases: asked for by sort, saved in the log under their source, and open beside the one in Practise."""

from __future__ import annotations

from cases.curriculum.bench_types import staged
from quiz.practice import dealing, today, what_to_practise
from quiz.practice.settings import LENGTHS
from quiz.storage import projection
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, deal, lots, slipped, written


def test_a_case_at_the_bench_leaves_the_open_one_in_practise_and_each_answer_counts_once(
    store: Store, learner: Learner
) -> None:
    here = dealing.waiting(store, learner, now=NOON, lots=lots(3))
    there = dealing.at_bench(store, learner, staged(), now=NOON + 1, lots=lots(4))
    assert there.dealt.type in staged()
    assert dealing.at_bench(store, learner, staged(), now=NOON + 2, lots=lots(5)).dealt.id == there.dealt.id
    assert dealing.waiting(store, learner, now=NOON + 3, lots=lots(6)).dealt.id == here.dealt.id

    for number, one in enumerate((there, here)):
        taken = [
            dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON + 10 + number).outcome
            for _ in range(2)
        ]
        assert taken == ["new", "repeat"]
    answers = store.answers_of(learner.id)
    assert [one.dealt for one in answers] == [there.dealt.id, here.dealt.id]
    sittings = [store.sitting(one.sitting) for one in answers]
    assert [one and (one.answered, one.at_bench) for one in sittings] == [(1, True), (1, False)]
    assert projection.states_of(store, learner.id).cases.answers == 2


def test_another_sort_at_the_bench_skips_the_one_that_is_open_there(store: Store, learner: Learner) -> None:
    first = dealing.at_bench(store, learner, ("bench-eye",), now=NOON, lots=lots(4))
    second = dealing.at_bench(store, learner, ("bench-axis",), now=NOON + 1, lots=lots(5))
    skipped = store.dealt(first.dealt.id)
    assert skipped is not None
    assert skipped.closed_at == NOON + 1
    assert store.open_case(learner.id, at_bench=True) == second.dealt


def test_a_case_left_at_the_bench_comes_back_in_another_sitting(store: Store, learner: Learner) -> None:
    left = dealing.at_bench(store, learner, staged(), now=NOON, lots=lots(4))
    back = dealing.at_bench(store, learner, staged(), now=NOON + 3 * 3600, lots=lots(5))
    assert back.dealt.id == left.dealt.id
    assert back.dealt.sitting != left.dealt.sitting


def test_a_mock_paper_that_is_under_way_has_no_case_of_the_bench_in_it(store: Store, learner: Learner) -> None:
    aim = what_to_practise.read_aim(what_to_practise.PAPER)
    today.start(store, learner, aim, LENGTHS[0], level="novice", now=NOON)
    one = dealing.at_bench(store, learner, staged(), now=NOON + 1, lots=lots(4))
    assert not what_to_practise.is_withheld(store, one.dealt)
    paper = store.sitting_under_way(learner.id)
    assert paper is not None
    assert one.dealt.sitting != paper.id


def test_only_the_sort_asked_for_is_dealt(store: Store, learner: Learner) -> None:
    for seed in range(12):
        one = dealing.at_bench(store, learner, ("bench-axis", "bench-lean"), now=NOON + 10 * seed, lots=lots(seed))
        assert one.dealt.type in ("bench-axis", "bench-lean")
        dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON + 10 * seed + 5)


def test_a_slip_at_the_bench_is_kept_with_its_source_and_stands_against_the_learner(
    store: Store, learner: Learner
) -> None:
    case = deal(store, learner, "bench-sphere")
    open_case = store.open_case(learner.id)
    assert open_case is not None
    dealing.take(store, learner, open_case.id, slipped(case, "end-point-early"), None, now=NOON + 5)
    kept = store.answer_to(open_case.id)
    assert kept is not None
    # Half a dioptre out is what an arithmetic slip gives too: likely, and no fact.
    assert (kept.source, kept.verdict) == ("bench", "wrong")
    assert ("read-end-point", "end-point-early") in kept.explanations[0]
    again = dealing.at_bench(store, learner, ("bench-sphere",), now=NOON + 60, lots=lots(2))
    assert again.case.shows("end-point-early")
    assert projection.states_of(store, learner.id).cases


def test_a_case_on_paper_keeps_its_source(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    open_case = store.open_case(learner.id)
    assert open_case is not None
    dealing.take(store, learner, open_case.id, written(case), None, now=NOON + 5)
    kept = store.answer_to(open_case.id)
    assert kept is not None
    assert kept.source == "practice"
