"""Readiness: words always, figures only where forecasts on this data file came true often and closely enough."""

from __future__ import annotations

import pytest
from scipy.stats import binom

from quiz.app import create_app
from quiz.learning import model
from quiz.learning.intervals import Interval
from quiz.learning.state import Answered, LearnerState
from quiz.practice import dealing, learners
from quiz.practice import today as exam_readiness
from quiz.practice.settings import LearnerSettings
from quiz.practice.today import Ready
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import SURVEY_FAMILIES
from quiz.storage import forecast_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.forecast_queries import Tenth
from quiz.storage.store import Learner, Store
from quiz.web.desk.views import DeskPage, desk_page
from quiz.web.ready_words import paper_words
from tests.conftest import NOON, Clock, deal, written

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
    assert exam_readiness.may_give_figures(tenths) is may


def test_a_topic_is_put_into_words_and_figures_come_with_their_range(store: Store, learner: Learner) -> None:
    for number in range(8):
        at = NOON + number * DAY
        case = deal(store, learner, "net-sphere", seed=number + 3, now=at)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        dealing.take(store, learner, dealt.id, written(case), None, now=at + 9)
    exam = NOON + 20 * DAY
    lines = {one.topic: one for one in exam_readiness.readiness(store, learner, exam)}
    assert lines["distance"].figures is None
    assert lines["distance"].words in {said for _, said in exam_readiness.SAID}
    assert lines["near"].words == "not met yet"
    tenth = min(int(lines["distance"].chance * 10), 9)
    with store.writing():
        forecast_queries.keep(store, learner.id, [Tenth(tenth, 400, 400 * (tenth + 0.5) / 10, 40 * tenth + 20)])
    one = next(one for one in exam_readiness.readiness(store, learner, exam) if one.topic == "distance")
    assert one.figures is not None
    assert one.figures.low < (tenth + 0.5) / 10 < one.figures.high
    assert (one.forecasts, one.came) == (400, 40 * tenth + 20)
    assert next(one for one in exam_readiness.readiness(store, learner, exam) if one.topic == "near").figures is None


def lines(*chances: float, figures: bool = True) -> tuple[Ready, ...]:
    """Readiness of the topics of a paper, each with a range of a tenth where figures may be given."""
    ranges = (Interval(one - 0.05, one + 0.05) if figures else None for one in chances)
    return tuple(
        Ready(family, family, one, one > 0, range_)
        for family, one, range_ in zip(SURVEY_FAMILIES, chances, ranges, strict=True)
    )


@pytest.mark.parametrize("chance", [0.15, 0.5, 0.62, 0.9])
def test_a_papers_range_is_that_of_independent_cases(chance: float) -> None:
    """Twenty cases of one chance: scipy's binomial quantiles, at the ends of the range of each forecast."""
    found = exam_readiness.paper(lines(*[chance] * 8))
    assert found is not None
    assert (found.cases, found.known) == (20, 20)
    assert found.share == pytest.approx(chance)
    low, high = binom.ppf(0.1, 20, chance - 0.05), binom.ppf(0.9, 20, chance + 0.05)
    assert found.figures == Interval(low, high)
    assert paper_words(found) == (
        f"In a mock paper on that day about {round(20 * chance)} of its 20 cases would be right, "
        f"and {low:.0f} to {high:.0f} in four papers of five."
    )


def test_of_topics_that_were_not_met_a_paper_says_nothing() -> None:
    # The first four topics come three times in twenty cases, the other four twice.
    found = exam_readiness.paper(lines(0.9, 0.8, 0.0, 0.0, 0.7, 0.0, 0.0, 0.0, figures=False))
    assert found is not None
    assert (found.known, found.figures) == (8, None)
    assert found.share == pytest.approx((3 * 0.9 + 3 * 0.8 + 2 * 0.7) / 8)
    assert paper_words(found) == (
        "In a mock paper on that day most of the 8 cases from topics that you have practised would probably be right. "
        "Nothing is known of the other 12: you have answered too few cases of their topics."
    )
    assert exam_readiness.paper(lines(*[0.0] * 8)) is None


def test_ten_right_minutes_never_make_a_topic_less_ready_that_was_met_whole(store: Store, learner: Learner) -> None:
    state = LearnerState()
    for number, one in enumerate(catalogue_for(learners.settings_of(learner).for_drawing).types):
        verdict = "right" if number % 3 else "wrong"
        model.fold(state, Answered(NOON + 60 * number, one.id, one.chain, verdict, options=one.options))
    with store.writing():
        projection.keep_cases(store, learner.id, state)
    now, exam = NOON + 5 * DAY, NOON + 20 * DAY
    found = exam_readiness.ten_minutes(store, learner, exam, now=now)
    assert {one.before.topic for one in found} == {one.topic for one in exam_readiness.readiness(store, learner, exam)}
    assert all(one.change >= 0 for one in found)
    assert found[0].change > exam_readiness.LEAST_CHANGE
    assert [one.change for one in found] == sorted((one.change for one in found), reverse=True)


def test_of_one_or_two_answers_in_a_topic_nothing_is_said(store: Store, learner: Learner) -> None:
    """One right answer was followed by "more often wrong than right"."""
    said = []
    for number in range(3):
        case = deal(store, learner, "net-sphere", seed=number + 3, now=NOON + 60 * number)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        dealing.take(store, learner, dealt.id, written(case), None, now=NOON + 60 * number + 9)
        lines = exam_readiness.readiness(store, learner, NOON + 600)
        said.append(next(one.words for one in lines if one.met))
        assert (exam_readiness.paper(lines) is None) == (number < 2)
    assert said[:2] == ["too few answers to say"] * 2
    assert said[2] != said[1]


def test_what_ten_minutes_can_change_has_a_page(data_file: DataFile, store: Store, learner: Learner) -> None:
    for number in range(3):
        case = deal(store, learner, "net-sphere", seed=number + 3, now=NOON + 60 * number)
        dealt = store.open_case(learner.id)
        assert dealt is not None
        dealing.take(store, learner, dealt.id, written(case), None, now=NOON + 60 * number + 9)
    client = create_app(data_file, clock=Clock(NOON + DAY)).test_client()
    assert "No exam is ahead" in client.get("/progress/ready").text
    learners.keep_settings(store, learner.id, LearnerSettings(exam_day="2026-12-24"))
    assert "/progress/ready" in client.get("/").text
    page = client.get("/progress/ready").text
    assert "Without more practice" in page
    assert "takes every answer as right" in page
    assert "%" not in page[page.index("<main") :]
    assert "of the 3 cases from topics that you have practised" in page


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


def test_today_says_how_ready_one_is_without_the_day_of_an_exam(store: Store, learner: Learner) -> None:
    """For now where no exam is set, for its day where one is; of topics not met nothing but that."""

    def shown(now: float) -> DeskPage:
        return desk_page(store, learners.get(store, learner.id), what="", topic="", length="", now=now)

    assert (shown(NOON).ready_day, shown(NOON).paper) == ("", ""), "nothing is known of a newcomer"
    case = deal(store, learner, "net-sphere", now=NOON)
    dealt = store.open_case(learner.id)
    assert dealt is not None
    dealing.take(store, learner, dealt.id, written(case), None, now=NOON + 9)
    page = shown(NOON + DAY)
    assert page.ready_day == "If you were examined today"
    assert [one.topic for one in page.ready] == ["distance"]
    assert page.paper == "", "of 20 cases 17 would be from topics of which nothing is known"
    assert "two meridians" in page.not_met
    learners.keep_settings(store, learner.id, LearnerSettings(exam_day="2026-12-24"))
    assert shown(NOON + DAY).ready_day == "On 24 December, without more practice"
