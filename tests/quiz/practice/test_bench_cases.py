"""Bench cases in practice: asked for by sort, kept in the log under their source, and never two waiting at once."""

from __future__ import annotations

from cases.curriculum.bench_types import staged
from quiz.practice import dealing
from quiz.storage import projection
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, deal, lots, slipped, written


def test_asking_for_the_bench_sets_the_waiting_case_aside_and_asking_again_does_not(
    store: Store, learner: Learner
) -> None:
    deal(store, learner, "net-sphere")
    was = store.open_case(learner.id)
    assert was is not None
    one = dealing.another(store, learner, staged(), now=NOON + 1, lots=lots(4))
    assert one.dealt.type in staged()
    aside = store.dealt(was.id)
    assert aside is not None
    assert aside.closed_at == NOON + 1
    assert store.answer_to(was.id) is None
    assert dealing.another(store, learner, staged(), now=NOON + 2, lots=lots(5)).dealt.id == one.dealt.id
    assert dealing.waiting(store, learner, now=NOON + 3, lots=lots(6)).dealt.id == one.dealt.id


def test_only_the_sort_asked_for_is_dealt(store: Store, learner: Learner) -> None:
    for seed in range(12):
        one = dealing.another(store, learner, ("bench-axis", "bench-lean"), now=NOON + 10 * seed, lots=lots(seed))
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
    again = dealing.another(store, learner, ("bench-sphere",), now=NOON + 60, lots=lots(2))
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
