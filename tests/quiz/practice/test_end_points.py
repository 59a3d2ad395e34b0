"""A bias of end-points at the bench is told from six eyes on, and only where it is more than chance."""

from __future__ import annotations

import pytest

from quiz.practice import dealing, end_points
from quiz.practice.end_points import bias_of
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, deal, written


@pytest.mark.parametrize(
    ("errors", "mean"),
    [
        ([0.25] * 5, None),
        ([0.25] * 6, 0.25),
        ([-0.25, -0.25, 0.0, -0.25, -0.25, 0.0], -1 / 6),
        ([0.25, -0.25, 0.25, -0.25, 0.25, 0.25], None),  # as likely chance
        ([0.05] * 6, None),  # too small to matter
        ([0.25] * 5 + [-2.5], None),  # a sign turned is no end-point
    ],
)
def test_a_bias_is_told_where_it_is_known(errors: list[float], mean: float | None) -> None:
    found = bias_of(errors)
    assert (None if found is None else found.mean) == (None if mean is None else pytest.approx(mean))


def test_six_eyes_a_quarter_too_plus_are_told(store: Store, learner: Learner) -> None:
    for number in range(6):
        assert end_points.bias(store, learner.id, ("bench-sphere",)) is None
        case = deal(store, learner, "bench-sphere", seed=20 + number, now=NOON + 60 * number)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        answer = written(case, {"power": case.truth["power"] + 0.25})
        dealing.take(store, learner, dealt.id, answer, None, now=NOON + 60 * number + 30)
    found = end_points.bias(store, learner.id, ("bench-sphere",))
    assert found is not None
    assert (found.eyes, round(found.mean, 2)) == (6, 0.25)
