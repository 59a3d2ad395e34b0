"""Readiness: words always, figures only where forecasts on this data file came true often and closely enough."""

from __future__ import annotations

import pytest

from quiz.learning import model
from quiz.practice import dealing, today
from quiz.storage import forecast_queries, projection
from quiz.storage.forecast_queries import Tenth
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, deal, written

DAY = 86400.0


@pytest.mark.parametrize(
    ("tenths", "may"),
    [
        ([], False),
        ([Tenth(8, 199, 0.85 * 199, 169)], False),  # too few
        ([Tenth(8, 200, 0.85 * 200, 170)], True),
        ([Tenth(8, 200, 0.85 * 200, 159)], False),  # .055 off
        # A mean that is right over all hides two tenths that are not.
        ([Tenth(8, 100, 85.0, 75), Tenth(4, 100, 45.0, 55)], False),
    ],
)
def test_figures_are_given_only_where_they_held(tenths: list[Tenth], may: bool) -> None:
    assert today.may_give_figures(tenths) is may


def test_a_topic_is_put_into_words_and_figures_come_with_their_range(store: Store, learner: Learner) -> None:
    for number in range(8):
        at = NOON + number * DAY
        case = deal(store, learner, "net-sphere", seed=number + 3, now=at)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        dealing.take(store, learner, dealt.id, written(case), None, now=at + 9)
    exam = NOON + 20 * DAY
    lines = {one.topic: one for one in today.readiness(store, learner, exam)}
    assert lines["distance"].figures is None
    assert lines["distance"].words in {said for _, said in today.SAID}
    assert lines["near"].words == "not met yet"
    tenth = min(int(lines["distance"].chance * 10), 9)
    with store.writing():
        forecast_queries.keep(store, learner.id, [Tenth(tenth, 400, 400 * (tenth + 0.5) / 10, 40 * tenth + 20)])
    one = next(one for one in today.readiness(store, learner, exam) if one.topic == "distance")
    assert one.figures is not None
    assert one.figures.low < (tenth + 0.5) / 10 < one.figures.high
    assert (one.forecasts, one.came) == (400, 40 * tenth + 20)
    assert next(one for one in today.readiness(store, learner, exam) if one.topic == "near").figures is None


def test_forecasts_are_counted_with_each_answer_as_a_rebuild_counts_them(store: Store, learner: Learner) -> None:
    """A night or more after the type was last answered; what was forecast is what memory expected then."""
    given = []
    for number, hours in enumerate((0, 1, 30, 31, 70, 140)):
        at = NOON + 3600 * hours
        case = deal(store, learner, "net-sphere", seed=number + 3, now=at)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        if hours in (30, 70, 140):
            event = projection.event_of(store.answers_of(learner.id)[-1])
            later = type(event)(**{**vars(event), "at": at + 9, "steps": case.skills})
            given.append(model.expected(projection.cases_of(store, learner.id), later))
        dealing.take(store, learner, dealt.id, written(case), None, now=at + 9)
    found = forecast_queries.tenths(store)
    assert sum(one.answers for one in found) == 3
    assert sum(one.given for one in found) == pytest.approx(sum(given))
    list(projection.rebuild(store))
    assert forecast_queries.tenths(store) == [
        Tenth(one.tenth, one.answers, pytest.approx(one.given), one.came)  # type: ignore[arg-type]
        for one in found
    ]
