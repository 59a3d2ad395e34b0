"""What the Progress templates receive."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from quiz.learning import forecast, words
from quiz.learning.forecast import Ahead
from quiz.learning.state import DAY
from quiz.practice import learners, progress, what_to_practise
from quiz.practice import today as day_ahead
from quiz.practice.charts import Table
from quiz.practice.progress import Held, PastSlip, StandingSlip
from quiz.practice.progress_charts import day_words, fading_chart, sureness_chart, weeks_charts
from quiz.practice.settings import LearnerSettings
from quiz.practice.type_catalogue import catalogue
from quiz.storage import progress_queries, projection
from quiz.storage.progress_queries import Holdings, Sureness, Week
from quiz.storage.store import Learner, Store
from quiz.web import ready_words
from quiz.web.case_views import CONFIDENCE_WORDS
from quiz.web.pictures import ChartView, chart_view

MEANS = {
    words.SOLID: "right unaided on two days or more, and likely right a week from now",
    words.SO_FAR: "likely right a week from now; another day will tell",
    words.FADING: "known when last met; without practice you may forget it within a week",
    words.UNSURE: "met, and more practice is needed, or a mistake recurs there",
    words.NOT_MET: "not met yet",
}
NAMED = 2
"""Steps that are named beside the one in the heading."""
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
    topic: str
    """As the address of a choice of what to practise names it."""
    at_chair: bool
    """Whether only a whole examination shows it."""


@dataclass(frozen=True)
class ProgressPage:
    """What the first glance receives."""

    answers: int
    heading: str
    more: str
    exam: str
    exam_told: str
    exam_ahead: bool
    standing: tuple[SlipView, ...]
    past: tuple[tuple[PastSlip, str], ...]
    fading: ChartView | None
    means: tuple[tuple[str, str], ...]
    """What the words mean in which steps and types stand."""


@dataclass(frozen=True)
class StepsPage:
    """What the page of every step and type receives."""

    steps: tuple[BandLine, ...]
    types: tuple[BandLine, ...]
    fading: Table | None


@dataclass(frozen=True)
class WeeksPage:
    """What the page of the weeks receives."""

    step: str
    """The step whose weeks are shown; "" for whole answers."""
    step_choices: tuple[tuple[str, str], ...]
    weeks: tuple[ChartView, ...]
    by_step: Table | None


@dataclass(frozen=True)
class SurenessPage:
    """What the page of sureness against truth receives."""

    sure: ChartView | None
    told: tuple[str, ...]


@dataclass(frozen=True)
class MinutesLine:
    """One topic, and what ten minutes of it can change."""

    title: str
    topic: str
    before: str
    after: str


@dataclass(frozen=True)
class ReadyPage:
    """What the page of readiness receives."""

    exam: str
    paper: str
    lines: tuple[MinutesLine, ...]
    note: str


@dataclass(frozen=True)
class DeletePage:
    """What the page that asks once more receives."""

    name: str
    holdings: Holdings
    in_class: bool
    problem: str | None = None
    of_platform: bool = False
    """Whether grades of theirs may have been sent to a course platform."""
    overwritten: bool = True
    """Whether the data are held where what is deleted is overwritten at once."""


def progress_page(store: Store, learner: Learner, *, now: float) -> ProgressPage:
    """Show how a learner stands at a glance: what may be forgotten, how ready they are, what recurs."""
    state, settings = projection.told_of(store, learner), learners.settings_of(learner)
    today = datetime.fromtimestamp(now, UTC).date()
    ahead = forecast.forward_look(state, catalogue(), now)
    exam = datetime.fromtimestamp(settings.exam_at, UTC).date() if settings.exam_at else None
    heading, more = _doubtful([one for one in ahead if one.kind == "step"], today)
    return ProgressPage(
        answers=progress_queries.holdings(store, learner.id).answers,
        heading=heading,
        more=more,
        exam=_long_day(exam) if exam else "",
        exam_told=_exam_words(store, learner, settings, now),
        exam_ahead=settings.exam_at is not None and settings.exam_at > now,
        standing=tuple(
            SlipView(
                one,
                _ago(one.last_at, now),
                _day(one.line.at) if one.line else "",
                what_to_practise.topic_of_slip(one.key),
                not what_to_practise.has_slip(one.key),
            )
            for one in progress.standing_slips(store, learner, state, now)
        ),
        past=tuple((one, _ago(one.last_at, now)) for one in progress.past_slips(state, now)),
        fading=chart_view(fading_chart(ahead, today, exam)) if ahead else None,
        means=tuple(MEANS.items()),
    )


def _doubtful(steps: Sequence[Ahead], today: date) -> tuple[str, str]:
    """Say which steps are least sure today, and which without practice next."""
    now = sorted((one for one in steps if one.doubtful_in == 0), key=lambda one: one.chances[0])
    later = sorted((one for one in steps if one.doubtful_in), key=lambda one: one.doubtful_in or 0)
    following = ""
    if later:
        following = f"{later[0].title}, on {day_words(today + timedelta(later[0].doubtful_in or 0))}."
    if now:
        more = [f"Also: {listed([one.title for one in now[1 : NAMED + 1]])}."] if len(now) > 1 else []
        if later:
            more.append(f"Next without practice: {following}")
        return f"Least sure today: {now[0].title}", " ".join(more)
    if later:
        return (
            "Each step that you have met is likely right today",
            f"Without practice you may forget first: {following}",
        )
    return "Each step that you have met is likely right for four weeks", ""


def listed(titles: Sequence[str]) -> str:
    """Join titles as a sentence does: "a, b and c"."""
    *others, last = titles
    return f"{', '.join(others)} and {last}" if others else last


def steps_page(store: Store, learner: Learner, *, now: float) -> StepsPage:
    """Show every step and type by the word in which it stands, and when each fades."""
    state, settings = projection.told_of(store, learner), learners.settings_of(learner)
    today = datetime.fromtimestamp(now, UTC).date()
    ahead = forecast.forward_look(state, catalogue(), now)
    return StepsPage(
        _bands(progress.held_steps(state, now, settings.for_drawing)),
        _bands(progress.held_types(state, now, settings.for_drawing)),
        fading_chart(ahead, today, None).tables[0] if ahead else None,
    )


def weeks_page(store: Store, learner: Learner, *, now: float, step: str) -> WeeksPage:
    """Show twelve weeks of all answers or of one step."""
    first, since = progress.first_monday(now), progress.since(now)
    by_step = progress_queries.weeks_by_step(store, learner.id, since=since)
    titles = catalogue().step_titles
    met = sorted({one.step for one in by_step if one.step in titles}, key=lambda one: titles[one])
    step = step if step in met else ""
    whole = progress_queries.weeks(store, learner.id, since=since)
    weeks = [one for one in by_step if one.step == step] if step else whole
    charts = weeks_charts(weeks, first, progress.WEEKS, titles[step] if step else "All answers")
    return WeeksPage(
        step, tuple((one, titles[one]) for one in met), tuple(map(chart_view, charts)), _by_step(by_step, titles, met)
    )


def sureness_page(store: Store, learner: Learner) -> SurenessPage:
    """Show how often a learner was right when sure."""
    sure = progress_queries.sureness(store, learner.id)
    chart = sureness_chart(sure, CONFIDENCE_WORDS)
    return SurenessPage(chart_view(chart) if chart else None, _sure_words(sure))


def ready_page(store: Store, learner: Learner, exam_at: float, *, now: float) -> ReadyPage:
    """Show each topic on the day of the exam, and after ten minutes of it."""
    found = day_ahead.ten_minutes(store, learner, exam_at, now=now)
    before = [one.before for one in found]
    return ReadyPage(
        _long_day(datetime.fromtimestamp(exam_at, UTC).date()),
        ready_words.paper_words(day_ahead.paper(before)),
        tuple(
            MinutesLine(ready_words.title(one.before), one.before.topic, *ready_words.minutes_words(one))
            for one in found
        ),
        ready_words.note(before),
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
        ("Step", "Weeks 1 to 8", "Last 4 weeks", "Seconds before", "Recent seconds"),
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


def _exam_words(store: Store, learner: Learner, settings: LearnerSettings, now: float) -> str:
    """Say which topics are likely right on the day of the exam without practice, and which are not."""
    at = settings.exam_at
    if at is None:
        return ""
    if at <= now:
        return "That day has come: new types come as before."
    days = int(at // DAY) - int(now // DAY)
    away = "today" if days == 0 else "tomorrow" if days == 1 else f"in {days} days"
    by_words: dict[str, list[str]] = {}
    for one in day_ahead.readiness(store, learner, at):
        by_words.setdefault(one.words, []).append(one.title)
    said = "; ".join(f"{words}: {listed(titles)}" for words, titles in by_words.items())
    return f"That is {away}. Without practice until then, {said}."
