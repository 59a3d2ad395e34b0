"""The charts of the Progress page: what fades when, accuracy and time over the weeks, confidence against truth.

Shapes carry the meaning, never colour alone; each chart has its table.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

from cases.figures.pen import SMALL, WIDTH, Pen, text_width
from cases.notation.plurals import counted
from quiz.learning.forecast import Ahead
from quiz.learning.intervals import share_interval
from quiz.practice.charts import Chart, Plane, Scale, Table, scale_over
from quiz.storage.progress_queries import Sureness, Week

DRAWN_AT_MOST = 7
"""Steps drawn: those that fade first. The table has them all."""
DOUBTFUL_AT_MOST = 3
"""Steps drawn that may be forgotten even today, where others last."""
DAYS = 28
FEW = 5
"""Under this many answers a week is drawn as a ring: chance has the most say in it."""

_LEFT, _RIGHT = 6.0, WIDTH - 6.0
_TALL = 232.0
_DATES = 84.0
"""Units: for the day, at the right of a title."""


# --- what fades when ---------------------------------------------------------------------------------------------


def fading_chart(rows: Sequence[Ahead], today: date, exam: date | None) -> Chart:
    """Draw how steps will stand on each of the next 28 days if they are left alone, one lane for each.

    rows are steps and types, those that fade first at the beginning; the table holds both.
    """
    steps = sorted((row for row in rows if row.kind == "step"), key=_doubtful_first)
    drawn = _drawn(steps)
    away = None if exam is None or not 0 < (exam - today).days <= DAYS else (exam - today).days
    pen, down = Pen(), 2.0
    for row in drawn:
        until = doubtful_words(row.doubtful_in, today)
        for number, words in enumerate(wrapped(row.title, _RIGHT - _LEFT - _DATES)):
            down += 17
            pen.text(_LEFT, down, words, size=SMALL, anchor="start")
            if not number:
                pen.text(_RIGHT, down, until, size=SMALL, anchor="end", kind="quiet")
        down += 12
        _lane(pen, row, down)
        if away is not None:
            pen.line((_across(away), down - 7), (_across(away), down + 7), "truth", weight=3)
        down += 10
    down += 2
    ticks = ((0, "today"), (7, "1 week"), (14, "2"), (21, "3"), (28, "4 weeks"))
    for day, words in ticks:
        pen.line((_across(day), down), (_across(day), down + 5))
        pen.text(
            _across(day),
            down + 20,
            words,
            size=SMALL,
            anchor="start" if day == 0 else "end" if day == DAYS else "middle",
            kind="number",
        )
    pen.line((_LEFT, down), (_RIGHT, down))
    down += 24
    shown = f"{len(drawn)} of {len(steps)} steps" if len(drawn) < len(steps) else counted(len(steps), "step")
    words = f"{shown}, what may be forgotten first at the top. {_soonest(drawn)}"
    return Chart(
        pen.figure(uid="chart-fading", title="How long each step lasts", description=words, height=down + 2),
        (
            "Without practice. Line: you are likely to get the step right. Dot: from then on you are less sure.",
            *(("Stroke across each lane: the day of the exam.",) if away is not None else ()),
        ),
        (
            Table(
                "Every step and type that you have met, without practice from now on",
                ("Step or type", "Today", "In a week", "In 2 weeks", "In 3 weeks", "In 4 weeks", "Solid until"),
                tuple(
                    (row.title, *(row.words[day] for day in (0, 7, 14, 21, 28)), until_words(row.fades_in, today))
                    for row in rows
                ),
            ),
        ),
    )


def _doubtful_first(row: Ahead) -> tuple[int, float]:
    return DAYS + 1 if row.doubtful_in is None else row.doubtful_in, row.chances[0]


def _drawn(steps: Sequence[Ahead]) -> list[Ahead]:
    """Take those that may be forgotten first, and leave room for those that last."""
    now = [row for row in steps if row.doubtful_in == 0]
    later = [row for row in steps if row.doubtful_in != 0]
    room = max(DOUBTFUL_AT_MOST, DRAWN_AT_MOST - len(later))
    return [*now[:room], *later][:DRAWN_AT_MOST]


def _across(day: float) -> float:
    return _LEFT + day / DAYS * (_RIGHT - _LEFT)


def _lane(pen: Pen, row: Ahead, y: float) -> None:
    """Draw one lane: solid while the step is likely right, then dotted, and a dot where the one becomes the other."""
    until = DAYS if row.doubtful_in is None else row.doubtful_in
    if until:
        pen.line((_across(0), y), (_across(until), y), "truth", weight=4)
    if until < DAYS:
        pen.line((_across(until), y), (_RIGHT, y), "may", weight=2)
    if row.doubtful_in is not None:
        pen.dot((_across(until), y), 5, "go")


def doubtful_words(days: int | None, today: date) -> str:
    """Say from when a step may be forgotten."""
    if days is None:
        return "over 4 weeks"
    return "today" if days == 0 else day_words(today + timedelta(days=days))


def until_words(fades_in: int | None, today: date) -> str:
    """Say until when something lasts."""
    if fades_in is None:
        return "more than 4 weeks"
    return "fading or unsure now" if fades_in == 0 else day_words(today + timedelta(days=fades_in))


def day_words(day: date) -> str:
    """Write a day as in "3 May"."""
    return f"{day.day} {day:%b}"


def _soonest(rows: Sequence[Ahead]) -> str:
    now = [row.title for row in rows if row.doubtful_in == 0]
    soon = [f"{row.title}, in {counted(row.doubtful_in, 'day')}" for row in rows if row.doubtful_in]
    parts = []
    if now:
        parts.append(f"Less sure today: {'; '.join(now)}.")
    if soon:
        parts.append(f"Later: {'; '.join(soon)}.")
    return " ".join(parts) or "All last for four weeks."


def wrapped(words: str, wide: float) -> list[str]:
    """Break words into lines no wider than `wide`, in units of the drawing."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, SMALL) > wide:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


# --- over the weeks ----------------------------------------------------------------------------------------------


def weeks_charts(weeks: Sequence[Week], first: date, count: int, what: str) -> tuple[Chart, ...]:
    """Draw the share that was right, and the time that one line took, week by week; none where nothing was answered."""
    if not weeks:
        return ()
    charts = [_share_chart(weeks, first, count, what)]
    if any(one.timed for one in weeks):
        charts.append(_time_chart(weeks, first, count, what))
    return tuple(charts)


def week_words(number: int, first: date) -> str:
    """Name a week by its Monday."""
    return f"from {day_words(first + timedelta(weeks=number))}"


def _ticks(first: date, count: int) -> tuple[tuple[float, str], ...]:
    half = (count - 1) // 2
    return tuple((float(number), day_words(first + timedelta(weeks=number))) for number in (0, half, count - 1))


def _joined(pen: Plane, places: Sequence[tuple[int, float]]) -> None:
    """Join what stands in neighbouring weeks; a week without answers leaves a gap."""
    for (a, low), (b, high) in pairwise(places):
        if b == a + 1:
            pen.curve([(a, low), (b, high)])


_KEY = (f"Each point is a week from its Monday on (UTC). Ring: fewer than {FEW} answers, so that chance has much say.",)


def _share_chart(weeks: Sequence[Week], first: date, count: int, what: str) -> Chart:
    pen = Pen()
    plane = Plane(pen, Scale(-0.4, count - 0.6, 1), Scale(0, 100, 25), height=_TALL, right=28)
    places = [(one.number, 100 * one.right / one.met) for one in weeks]
    _joined(plane, places)
    for (number, share), one in zip(places, weeks, strict=True):
        plane.mark(number, share, "left" if one.met < FEW else "right")
    plane.frame(
        x_ticks=_ticks(first, count),
        y_ticks=[(value, f"{value:.0f}") for value in (0, 50, 100)],
        x="week",
        y="right, of 100 answered",
    )
    met, right = sum(one.met for one in weeks), sum(one.right for one in weeks)
    words = f"{what}: {right} of {met} right in {counted(len(weeks), 'week')}."
    return Chart(
        pen.figure(uid="chart-share", title="Right, week by week", description=words, height=_TALL),
        _KEY,
        (
            Table(
                "Right, week by week",
                ("Week", "Answered", "Right"),
                tuple((week_words(one.number, first), str(one.met), str(one.right)) for one in weeks),
            ),
        ),
    )


def _time_chart(weeks: Sequence[Week], first: date, count: int, what: str) -> Chart:
    timed = [one for one in weeks if one.timed]
    means = [one.seconds / one.timed for one in timed]
    pen, y = Pen(), scale_over([0.0, *means], ticks=4, least=4)
    y = Scale(0.0, y.high, y.step)
    plane = Plane(pen, Scale(-0.4, count - 0.6, 1), y, height=_TALL, right=28)
    places = [(one.number, mean) for one, mean in zip(timed, means, strict=True)]
    _joined(plane, places)
    for (number, mean), one in zip(places, timed, strict=True):
        plane.mark(number, mean, "left" if one.timed < FEW else "right")
    plane.frame(
        x_ticks=_ticks(first, count),
        y_ticks=[(value, f"{value:g}") for value in y.ticks],
        x="week",
        y="seconds for one line of the working",
    )
    words = (
        f"{what}: {means[0]:.0f} s for one line in the week {week_words(timed[0].number, first)}, "
        f"{means[-1]:.0f} s in the week {week_words(timed[-1].number, first)}."
    )
    return Chart(
        pen.figure(uid="chart-time", title="Time for one line, week by week", description=words, height=_TALL),
        (*_KEY, "The time of an answer is shared out evenly over the lines of its working."),
        (
            Table(
                "Time for one line, week by week",
                ("Week", "Timed answers", "Seconds for one line"),
                tuple(
                    (week_words(one.number, first), str(one.timed), f"{mean:.1f}")
                    for one, mean in zip(timed, means, strict=True)
                ),
            ),
        ),
    )


# --- confidence against truth ------------------------------------------------------------------------------------


def sureness_chart(rows: Sequence[Sureness], words_for: dict[int, str]) -> Chart | None:
    """Draw how often answers were right, by how sure the learner was; None where it was never said."""
    if not rows:
        return None
    pen = Pen()
    plane = Plane(pen, Scale(0.5, 3.5, 1), Scale(0, 100, 25), height=_TALL)
    told = []
    for one in rows:
        share, interval = one.right / one.answered, share_interval(one.right, one.answered)
        ends = [(float(one.confidence), 100 * end) for end in (interval.low, interval.high)]
        pen.line(plane.at(*ends[0]), plane.at(*ends[1]), weight=1.5)
        for x, y in ends:
            across, up = plane.at(x, y)
            pen.line((across - 6, up), (across + 6, up))
        pen.dot(plane.at(one.confidence, 100 * share), 4)
        told.append(f"{words_for[one.confidence]}: {one.right} of {one.answered} right")
    plane.frame(
        x_ticks=((1, "guessing"), (2, "would check"), (3, "sure")),
        y_ticks=[(value, f"{value:.0f}") for value in (0, 50, 100)],
        x="what you said beforehand",
        y="right, of 100 answered",
    )
    return Chart(
        pen.figure(
            uid="chart-sure", title="How sure, and how often right", description=f"{'; '.join(told)}.", height=_TALL
        ),
        ("Dot: how often you were right. Bar: where the share may well lie, by chance alone (95 % score interval).",),
        (
            Table(
                "How sure, and how often right",
                ("You said", "Answered", "Right", "Right, of 100 (95 %)"),
                tuple(
                    (words_for[one.confidence], str(one.answered), str(one.right), _share_words(one)) for one in rows
                ),
            ),
        ),
    )


def _share_words(one: Sureness) -> str:
    interval = share_interval(one.right, one.answered)
    return f"{100 * one.right / one.answered:.0f} ({100 * interval.low:.0f} to {100 * interval.high:.0f})"
