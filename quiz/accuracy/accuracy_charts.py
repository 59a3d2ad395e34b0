"""The charts of the accuracy log: agreement of M, the cylinder's two components, axes against cylinder, M over time.

Each carries what it shows as tables too. Filled dots are right eyes, rings left ones, crosses are left out of numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from cases.evidence.sources import cited
from cases.figures.pen import SMALL, Pen
from cases.notation.prescription import write_power
from cases.optics.tolerances import (
    AXIS_AGREEMENT,
    RETINOSCOPY_AND_SUBJECTIVE,
    SAME_EXAMINER_MEAN,
    TWO_EXAMINERS_MEAN,
    axis_slack,
)
from quiz.accuracy.entries import Entry, sample_of
from quiz.accuracy.patterns import Evidence, cylinders_and_axes
from quiz.accuracy.sample import Sample
from quiz.accuracy.statistics import Agreement, Ellipse, ellipses
from quiz.practice.charts import Chart, Plane, Scale, Table, scale_over

PUBLISHED = (RETINOSCOPY_AND_SUBJECTIVE, SAME_EXAMINER_MEAN, TWO_EXAMINERS_MEAN)
"""Studies drawn beside one's own limits, in the order of their letters a, b, c."""

RESIDUAL = 0.25
"""Residual cylinder in D whose axis error is drawn: within it, an axis is as good as any to most patients."""

MOST_ROWS = 400
"""Points that a table lists."""

_TALL = 316.0
_KEY = "Filled dot: a right eye. Ring: a left eye."
_KEY_OUT = "Cross: an eye left out of the numbers."


@dataclass(frozen=True)
class _Log:
    entries: Sequence[Entry]
    sample: Sample
    out: frozenset[int]

    def mark(self, place: int) -> str:
        return "out" if place in self.out else self.entries[place].eye

    @property
    def key(self) -> tuple[str, ...]:
        return (_KEY, _KEY_OUT) if self.out else (_KEY,)

    def table(self, caption: str, headings: tuple[str, ...], cells: Mapping[int, tuple[str, ...]]) -> Table:
        """Make the table of points by their place; the first two columns say whose they are. The latest, when many."""
        shown = sorted(cells)[-MOST_ROWS:]
        some = f" (the latest {len(shown)} of {len(cells)}; the file that can be taken out has all)"
        rows = tuple(
            (
                f"{place + 1}",
                f"{self.entries[place].patient}, {self.entries[place].eye}{' (left out)' if place in self.out else ''}",
                *cells[place],
            )
            for place in shown
        )
        return Table(caption + (some if len(shown) < len(cells) else ""), ("Row", "Patient and eye", *headings), rows)


def _log(entries: Sequence[Entry], evidence: Evidence) -> _Log:
    states = {"alike": 0, "dry-wet": -1, "wet-dry": 1}
    out = {place for place, one in enumerate(entries) if one.wet - one.end_wet != states[evidence.basis]}
    return _Log(entries, sample_of(entries), frozenset(out | {place for place, _ in evidence.forgotten}))


def charts(entries: Sequence[Entry], evidence: Evidence) -> tuple[Chart, ...]:
    """Draw every chart that the log has points for."""
    if not entries:
        return ()
    log = _log(entries, evidence)
    drawn = [agreement_chart(log, evidence), cylinder_chart(log, evidence), axis_chart(log), time_chart(log, evidence)]
    return tuple(one for one in drawn if one is not None)


def _powers(scale: Scale) -> tuple[tuple[float, str], ...]:
    decimals = 2 if scale.step % 0.5 > 1e-9 else 1
    return tuple((value, write_power(value, decimals)) for value in scale.ticks)


# --- M -----------------------------------------------------------------------------------------------------------


def agreement_chart(log: _Log, evidence: Evidence) -> Chart:
    """Draw the difference of M against its mean, with own limits and published ones beside.

    Source: Bland & Altman 1986, Lancet i:307.
    """
    M, middle, of = log.sample.difference[:, 0], log.sample.middle[:, 0], evidence.M
    ends = [0.0, *M, *(end for one in PUBLISHED for end in (one.low, one.high))]
    if of is not None:
        ends += [of.low_interval.low, of.high_interval.high]
    pen, x, y = Pen(), scale_over(list(middle), ticks=4, least=2), scale_over(ends, ticks=7)
    plane = Plane(pen, x, y, height=_TALL, right=62)
    if of is not None:
        for interval in (of.low_interval, of.mean_interval, of.high_interval):
            plane.belt(interval.low, interval.high, 0.12)
        plane.level(of.mean, "truth", weight=2)
        plane.level(of.low, "mine")
        plane.level(of.high, "mine")
    plane.level(0, "faint")
    for place, (across, up) in enumerate(zip(middle, M, strict=True)):
        plane.mark(float(across), float(up), log.mark(place))
    for number, one in enumerate(PUBLISHED):
        at = plane.right + 14 + 18 * number
        pen.line((at, plane.up(one.low)), (at, plane.up(one.high)))
        for end in (one.low, one.high):
            pen.line((at - 5, plane.up(end)), (at + 5, plane.up(end)))
        pen.line((at - 5, plane.up(one.mean)), (at + 5, plane.up(one.mean)), weight=2.5)
        pen.text(at, plane.top - 8, "abc"[number], size=SMALL)
    plane.frame(
        x_ticks=_powers(x), y_ticks=_powers(y), x="mean of the two, M in D", y=("M: retinoscopy less end-point, D")
    )
    key = [*log.key]
    if of is not None:
        key.append(
            "Full line: your mean difference. Broken lines: your 95 % limits of agreement. Tinted: their 95 % "
            "intervals."
        )
    key.append("Bars a, b, c: limits found in studies, from end to end, with the mean as a thicker stroke.")
    return Chart(
        pen.figure(
            uid="chart-m", title="Difference of M against its mean", description=_m_words(log, of), height=_TALL
        ),
        tuple(key),
        (
            *((agreement_table("Limits of agreement of M in D", (("M", of),)),) if of else ()),
            Table(
                "Limits found in studies, M in D",
                ("Study", "Mean", "Lower limit", "Upper limit", "Source"),
                tuple(
                    (
                        f"{'abc'[number]}: {one.compared}",
                        *(write_power(value) for value in (one.mean, one.low, one.high)),
                        cited(one.sources),
                    )
                    for number, one in enumerate(PUBLISHED)
                ),
            ),
            log.table(
                "M of each eye in D",
                ("Mean of the two", "Difference"),
                dict(enumerate((write_power(float(a)), write_power(float(b))) for a, b in zip(middle, M, strict=True))),
            ),
        ),
    )


def _m_words(log: _Log, of: Agreement | None) -> str:
    eyes = f"{len(log.entries)} eyes as points"
    if of is None:
        return f"{eyes}; too few for limits. Three bars at the side show limits found in studies."
    return (
        f"{eyes}; mean difference {write_power(of.mean)} D, 95 % limits {write_power(of.low)} to "
        f"{write_power(of.high)} D. Three bars at the side show limits found in studies: "
        + "; ".join(f"{write_power(one.low)} to {write_power(one.high)} D, {one.compared}" for one in PUBLISHED)
        + "."
    )


def agreement_table(caption: str, rows: Sequence[tuple[str, Agreement]]) -> Table:
    """Make the table of limits of agreement: each value with its 95 % interval."""

    def with_interval(value: float, low: float, high: float) -> str:
        return f"{write_power(value)} ({write_power(low)} to {write_power(high)})"

    return Table(
        caption,
        ("", "Mean (95 %)", "SD", "Lower limit (95 %)", "Upper limit (95 %)"),
        tuple(
            (
                name,
                with_interval(one.mean, one.mean_interval.low, one.mean_interval.high),
                f"{one.sd:.2f}",
                with_interval(one.low, one.low_interval.low, one.low_interval.high),
                with_interval(one.high, one.high_interval.low, one.high_interval.high),
            )
            for name, one in rows
        ),
    )


# --- J0 and J45 --------------------------------------------------------------------------------------------------


def cylinder_chart(log: _Log, evidence: Evidence) -> Chart:
    """Draw the differences of J0 and mirrored J45 with the 95 % ellipses of a single eye and of the mean."""
    J = log.sample.mirrored[:, 1:]
    found = ellipses(evidence.used.mirrored[:, 1:], evidence.used) if evidence.enough else None
    outlines = [_outline(one) for one in found] if found else []
    reach = max(0.5, float(np.abs(J).max()), *(abs(value) for line in outlines for point in line for value in point))
    both = scale_over([-reach, reach], ticks=6)
    pen, tall = Pen(), 338.0
    plane = Plane(pen, both, both, height=tall)
    plane.level(0, "faint")
    pen.line(plane.at(0, both.low), plane.at(0, both.high), "faint")
    for outline, kind in zip(outlines, ("mine", "truth"), strict=False):
        plane.curve(outline, kind, closed=True)
    for place, (across, up) in enumerate(J):
        plane.mark(float(across), float(up), log.mark(place))
    ticks = _powers(both)
    plane.frame(x_ticks=ticks[1::2], y_ticks=ticks, x="J0 in D", y="J45 in D, left eyes mirrored")
    words = f"{len(J)} eyes as points about the crossing of the two zero lines"
    key = [*log.key, "To the right: more minus cylinder at axis 180; to the left: at axis 90."]
    tables = []
    if found:
        single, mean = found
        words += f"; the mean lies at J0 {write_power(mean.centre[0])}, J45 {write_power(mean.centre[1])} D"
        words += f"; zero lies {'inside' if _holds_nought(mean) else 'outside'} the 95 % ellipse of the mean"
        key.append("Broken ellipse: 95 % of single eyes. Full ellipse: where the mean lies, with 95 % confidence.")
        tables.append(
            Table(
                "Ellipses of J0 and mirrored J45 in D",
                ("Ellipse", "Centre J0", "Centre J45", "Half axes", "Longer one at"),
                tuple(
                    (
                        name,
                        write_power(one.centre[0]),
                        write_power(one.centre[1]),
                        f"{one.half[0]:.2f} and {one.half[1]:.2f}",
                        f"{one.angle:.0f}°",
                    )
                    for name, one in (("single eye", single), ("mean", mean))
                ),
            )
        )
    return Chart(
        pen.figure(uid="chart-j", title="Differences of J0 and J45", description=f"{words}.", height=tall),
        tuple(key),
        (
            *tables,
            log.table(
                "Difference of each eye in D, left eyes mirrored",
                ("J0", "J45"),
                dict(enumerate((write_power(float(a)), write_power(float(b))) for a, b in J)),
            ),
        ),
    )


def _outline(ellipse: Ellipse) -> list[tuple[float, float]]:
    turn = math.radians(ellipse.angle)
    (x, y), (a, b) = ellipse.centre, ellipse.half
    steps = (2 * math.pi * number / 72 for number in range(72))
    return [
        (
            x + a * math.cos(at) * math.cos(turn) - b * math.sin(at) * math.sin(turn),
            y + a * math.cos(at) * math.sin(turn) + b * math.sin(at) * math.cos(turn),
        )
        for at in steps
    ]


def _holds_nought(ellipse: Ellipse) -> bool:
    turn = math.radians(ellipse.angle)
    x, y = ellipse.centre
    along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    a, b = (max(one, 1e-9) for one in ellipse.half)
    return (along / a) ** 2 + (across / b) ** 2 <= 1


# --- axes --------------------------------------------------------------------------------------------------------


def axis_chart(log: _Log) -> Chart | None:
    """Draw how far each axis is turned against the size of the cylinder; None where no eye has two cylinders."""
    sizes, turns = cylinders_and_axes(log.sample)
    places = [
        place
        for place, one in enumerate(log.entries)
        if min(abs(one.retinoscopy.cylinder), abs(one.end_point.cylinder)) > 0
    ]
    if not places:
        return None
    within, share, least = AXIS_AGREEMENT
    x = scale_over([0.0, *(float(sizes[place]) for place in places)], ticks=5, least=1.5)
    x = Scale(0.0, x.high, x.step)
    reach = 30 * math.ceil(max(30.0, *(abs(float(turns[place])) for place in places)) / 30 - 1e-9)
    y = Scale(-reach, reach, reach / 3)
    pen = Pen()
    plane = Plane(pen, x, y, height=_TALL)
    plane.level(0, "faint")
    for side in (1, -1):
        pen.line(plane.at(least, side * within), plane.at(x.high, side * within), "mine")
        grid = np.linspace(0.02, x.high, 160)
        line = [(float(C), side * axis_slack(float(C), RESIDUAL)) for C in grid]
        plane.curve([one for one in line if abs(one[1]) <= reach])
    for place in places:
        plane.mark(float(sizes[place]), float(turns[place]), log.mark(place))
    plane.frame(
        x_ticks=_plain(x),
        y_ticks=tuple((value, f"{value:+.0f}°".replace("-", "−") if value else "0°") for value in y.ticks),
        x="cylinder (mean of the two), D",
        y="axis: retinoscopy less end-point",
    )
    strong = [place for place in places if sizes[place] >= least - 1e-9]
    near = sum(abs(float(turns[place])) <= within for place in strong)
    words = f"{len(places)} eyes with a cylinder as points"
    if strong:
        words += f"; of {len(strong)} with {least:g} D or more, {near} lie within {within:g}°"
    return Chart(
        pen.figure(
            uid="chart-axis", title="How far axes are turned, by cylinder", description=f"{words}.", height=_TALL
        ),
        (
            *log.key,
            f"Curves: where the residual cylinder is {RESIDUAL:g} D. Broken lines: ±{within:g}°, within which two "
            f"examiners came in {share:.0%} of eyes with {least:g} D or more. Plus: turned anticlockwise.",
        ),
        (
            log.table(
                "Axes of eyes with a cylinder in both",
                ("Cylinder, D", "Turned by"),
                {place: (f"{sizes[place]:.2f}", f"{turns[place]:+.0f}°".replace("-", "−")) for place in places},
            ),
        ),
    )


def _plain(scale: Scale) -> tuple[tuple[float, str], ...]:
    return tuple((value, f"{value:g}") for value in scale.ticks)


# --- over time ---------------------------------------------------------------------------------------------------


def time_chart(log: _Log, evidence: Evidence) -> Chart | None:
    """Draw the difference of M over the days, with the straight line where one was fitted; None for a single day."""
    days, M = log.sample.day, log.sample.difference[:, 0]
    if float(np.ptp(days)) < 1:
        return None
    first, last = float(days.min()), float(days.max())
    x = Scale(first, last, max(1.0, (last - first) / 2))
    y = scale_over([0.0, *M], ticks=6)
    pen, line = Pen(), evidence.line
    plane = Plane(pen, x, y, height=_TALL, right=52)
    plane.level(0, "faint")
    if line is not None:
        plane.curve([(day, line.value(day)) for day in (first, last)], "truth")
    for place, (day, value) in enumerate(zip(days, M, strict=True)):
        plane.mark(float(day), float(value), log.mark(place))
    ends = tuple((day, date.fromordinal(round(day)).isoformat()) for day in (first, last))
    plane.frame(x_ticks=ends, y_ticks=_powers(y), x="day of the examination", y="M: retinoscopy less end-point, D")
    words = f"{len(M)} eyes as points from {ends[0][1]} to {ends[1][1]}"
    tables = []
    if line is not None:
        words += f"; a straight line goes from {write_power(line.value(first))} to {write_power(line.value(last))} D"
        slope, low, high = (
            f"{write_power(100 * one, 3)} D" for one in (line.slope, line.slope_interval.low, line.slope_interval.high)
        )
        tables.append(
            Table(
                "Straight line through M",
                ("Line", "In 100 days", "95 % from", "to"),
                (("one value a patient", slope, low, high),),
            )
        )
    return Chart(
        pen.figure(uid="chart-time", title="Difference of M over time", description=f"{words}.", height=_TALL),
        (*log.key, *(("Full line: straight line through one value a patient.",) if line is not None else ())),
        (
            *tables,
            log.table(
                "M of each eye by day",
                ("Day", "Difference, D"),
                dict(
                    enumerate(
                        (one.on.isoformat(), write_power(float(value)))
                        for one, value in zip(log.entries, M, strict=True)
                    )
                ),
            ),
        ),
    )
