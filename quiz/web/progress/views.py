"""What the Progress templates receive."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from quiz.learning import forecast, words
from quiz.learning.state import DAY, LearnerState
from quiz.practice import learners, progress
from quiz.practice.charts import Table
from quiz.practice.progress import Held, PastSlip, StandingSlip
from quiz.practice.progress_charts import day_words, fading_chart, sureness_chart, weeks_charts
from quiz.practice.settings import LearnerSettings
from quiz.practice.type_catalogue import catalogue
from quiz.storage import progress_queries, projection
from quiz.storage.progress_queries import Holdings, Sureness, Week
from quiz.storage.store import Learner, Store
from quiz.web.case_views import CONFIDENCE_WORDS
from quiz.web.pictures import ChartView, chart_view

MEANS = {
    words.SOLID: "right unaided on two days or more, and likely right a week from now",
    words.SO_FAR: "likely right a week from now; another day will tell",
    words.FADING: "known when last met; without practice likely to slip within a week",
    words.UNSURE: "met, and likely to slip, or a mistake recurs there",
    words.NOT_MET: "not met yet",
}
LATE_WEEKS = 4
"""The weeks that the table of steps sets apart as the latest."""


@dataclass(frozen=True)
class BandLine:
    """One band, and what stands in it."""

    word: str
    means: str
    held: tuple[Held, ...]


@dataclass(frozen=True)
class SlipView:
    """A slip that stands, and when it was last made, in words."""

    slip: StandingSlip
    last: str
    line_on: str


@dataclass(frozen=True)
class ProgressPage:
    """What the page receives."""

    answers: int
    standing: tuple[SlipView, ...]
    past: tuple[tuple[PastSlip, str], ...]
    steps: tuple[BandLine, ...]
    types: tuple[BandLine, ...]
    settled: int
    fading: ChartView | None
    step: str
    """The step whose weeks are shown; "" for whole answers."""
    step_choices: tuple[tuple[str, str], ...]
    weeks: tuple[ChartView, ...]
    weeks_told: str
    by_step: Table | None
    sure: ChartView | None
    sure_told: tuple[str, ...]
    exam: str
    exam_told: str
    holdings: Holdings
    in_class: bool


@dataclass(frozen=True)
class DeletePage:
    """What the page that asks once more receives."""

    name: str
    holdings: Holdings
    in_class: bool
    problem: str | None = None


def progress_page(store: Store, learner: Learner, *, now: float, step: str, in_class: bool) -> ProgressPage:
    """Show how a learner stands."""
    state, settings = projection.told_of(store, learner), learners.settings_of(learner)
    today = datetime.fromtimestamp(now, UTC).date()
    first, since = progress.first_monday(now), progress.since(now)
    by_step = progress_queries.weeks_by_step(store, learner.id, since=since)
    titles = catalogue().step_titles
    met = sorted({one.step for one in by_step if one.step in titles}, key=lambda one: titles[one])
    step = step if step in met else ""
    whole = progress_queries.weeks(store, learner.id, since=since)
    weeks = [one for one in by_step if one.step == step] if step else whole
    ahead = forecast.forward_look(state, catalogue(), now)
    sure = progress_queries.sureness(store, learner.id)
    holdings = progress_queries.holdings(store, learner.id)
    sure_chart = sureness_chart(sure, CONFIDENCE_WORDS)
    exam = datetime.fromtimestamp(settings.exam_at, UTC).date() if settings.exam_at else None
    steps = progress.held_steps(state, now, settings.for_drawing)
    return ProgressPage(
        answers=holdings.answers,
        standing=tuple(
            SlipView(one, _ago(one.last_at, now), _day(one.line.at) if one.line else "")
            for one in progress.standing_slips(store, learner, state, now)
        ),
        past=tuple((one, _ago(one.last_at, now)) for one in progress.past_slips(state, now)),
        steps=_bands(steps),
        types=_bands(progress.held_types(state, now, settings.for_drawing)),
        settled=sum(one.settled for one in steps),
        fading=chart_view(fading_chart(ahead, today, exam)) if ahead else None,
        step=step,
        step_choices=tuple((one, titles[one]) for one in met),
        weeks=tuple(
            map(chart_view, weeks_charts(weeks, first, progress.WEEKS, titles[step] if step else "All answers"))
        ),
        weeks_told=titles[step] if step else "all answers",
        by_step=_by_step(by_step, titles, met),
        sure=chart_view(sure_chart) if sure_chart else None,
        sure_told=_sure_words(sure),
        exam=_long_day(exam) if exam else "",
        exam_told=_exam_words(state, settings, now),
        holdings=holdings,
        in_class=in_class,
    )


def _bands(held: Sequence[Held]) -> tuple[BandLine, ...]:
    return tuple(BandLine(word, MEANS[word], tuple(one for one in held if one.word == word)) for word in words.WORDS)


def _by_step(weeks: Sequence[Week], titles: Mapping[str, str], met: Sequence[str]) -> Table | None:
    """Set each step's latest four weeks beside the eight before."""
    if not met:
        return None
    from_week = progress.WEEKS - LATE_WEEKS
    rows = []
    for step in met:
        own = [one for one in weeks if one.step == step]
        before = [one for one in own if one.number < from_week]
        late = [one for one in own if one.number >= from_week]
        rows.append((titles[step], _right(before), _right(late), _pace(before), _pace(late)))
    return Table(
        "Each step: right of answered, and seconds for one line",
        ("Step", "Weeks 1 to 8", "Last 4 weeks", "Seconds before", "Seconds lately"),
        tuple(rows),
    )


def _right(weeks: Sequence[Week]) -> str:
    met = sum(one.met for one in weeks)
    return f"{sum(one.right for one in weeks)} of {met}" if met else "–"


def _pace(weeks: Sequence[Week]) -> str:
    timed = sum(one.timed for one in weeks)
    return f"{math.fsum(one.seconds for one in weeks) / timed:.1f}" if timed else "–"


def _sure_words(rows: Sequence[Sureness]) -> tuple[str, ...]:
    return tuple(f"“{CONFIDENCE_WORDS[one.confidence]}”: right in {one.right} of {one.answered}." for one in rows)


def _day(at: float) -> str:
    return day_words(datetime.fromtimestamp(at, UTC).date())


def _long_day(day: date) -> str:
    return f"{day_words(day)} {day.year}"


def _ago(at: float, now: float) -> str:
    days = int(now // DAY) - int(at // DAY)
    return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"


def _exam_words(state: LearnerState, settings: LearnerSettings, now: float) -> str:
    at = settings.exam_at
    if at is None:
        return ""
    days = int(at // DAY) - int(now // DAY)
    if at <= now:
        return "That day has come: practice looks two weeks ahead again."
    there = [one.word for one in progress.held_steps(state, at, settings.for_drawing)]
    parts = [f"{there.count(word)} {word}" for word in words.WORDS if there.count(word)]
    away = "today" if days == 0 else "tomorrow" if days == 1 else f"in {days} days"
    return f"That is {away}. Without any practice until then, your steps would stand like this: {', '.join(parts)}."
