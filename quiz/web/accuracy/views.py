"""What the accuracy log's page receives: readings, numbers, tests and charts. Loads scipy, so it is imported late."""

from __future__ import annotations

from dataclasses import dataclass

from cases.curriculum.register import case_type
from cases.notation.prescription import write_power
from quiz.accuracy.accuracy_charts import agreement_table, charts
from quiz.accuracy.conclusions import RULES, Reading, few, notes, p_words, quiet, readings
from quiz.accuracy.entries import Entry
from quiz.accuracy.patterns import Evidence, evidence_of
from quiz.accuracy.statistics import Agreement
from quiz.accuracy.wording import distance_words
from quiz.practice.charts import Table
from quiz.web.pictures import ChartView, chart_view

INTERVALS = (
    "In simulated logs 93 to 99 of 100 intervals contained the true limit. They count patients, which is cautious "
    "where the two eyes of a patient differ"
)
"""Of 6 to 60 patients with both eyes, 3000 logs each, the two eyes more or less alike (measured 2026-11-30);
tests/quiz/accuracy/test_statistics.py draws 20 patients again. The captions of tables end without a stop."""


@dataclass(frozen=True)
class ReadingView:
    """A reading with the titles of what it leads to."""

    reading: Reading
    practice: tuple[str, ...]
    rows: tuple[str, ...]
    """The rows that it speaks of, when it speaks of single ones."""


@dataclass(frozen=True)
class LogPage:
    """What the template receives."""

    eyes: int
    patients: int
    few: str
    quiet: str
    notes: tuple[str, ...]
    readings: tuple[ReadingView, ...]
    distance: str
    """The distance that would explain the mean of M; "" when the log has none."""
    vector: str
    tables: tuple[Table, ...]
    charts: tuple[ChartView, ...]
    added: int | None
    gone: int | None


def log_page(log: list[Entry], *, added: int | None = None, gone: int | None = None) -> LogPage:
    """Show what a log says."""
    evidence = evidence_of(log)
    return LogPage(
        eyes=len(log),
        patients=len({one.patient for one in log}),
        few=few(evidence) if log else "",
        quiet=quiet(evidence),
        notes=notes(evidence),
        readings=tuple(_reading(one, evidence, log) for one in readings(evidence)),
        distance="" if evidence.distance is None else distance_words(evidence.distance),
        vector=_vector(evidence),
        tables=_tables(evidence),
        charts=tuple(map(chart_view, charts(log, evidence))),
        added=added,
        gone=gone,
    )


def _reading(one: Reading, evidence: Evidence, log: list[Entry]) -> ReadingView:
    rows = tuple(
        f"row {place + 1}: patient {log[place].patient}, {log[place].eye} eye, {log[place].on.isoformat()}"
        for place, _ in evidence.forgotten
        if one.id == "left-in"
    )
    return ReadingView(one, tuple(case_type(type_id).title for type_id in one.practice), rows)


def _vector(evidence: Evidence) -> str:
    vector = evidence.vector
    if vector is None:
        return ""
    freedom = f"F({vector.dimensions}, {vector.n - vector.dimensions}) = {vector.f:.2f}"
    return (
        f"Mean difference as a vector against zero: Hotelling’s T² = {vector.t_squared:.2f}, {freedom}, "
        f"p {p_words(vector.p)}, {vector.n} patients."
    )


def _tables(evidence: Evidence) -> tuple[Table, ...]:
    if evidence.M is None or evidence.J0 is None or evidence.J45 is None:
        return ()
    rows = (("M", evidence.M), ("J0", evidence.J0), ("J45", evidence.J45))
    tables = [agreement_table(f"Mean difference and 95 % limits of agreement, in D. {INTERVALS}", rows)]
    right, left = evidence.by_side
    if right is not None and left is not None:
        tables.append(_sides(right, left, evidence))
    tables.append(
        Table(
            "Every question put to the log, sharing one 5 %",
            ("Question and test", "Patients", "Alone, p", "Shared, p", "Claimed"),
            tuple(
                (
                    RULES[test.id],
                    str(test.n),
                    p_words(test.p).removeprefix("= "),
                    p_words(test.adjusted).removeprefix("= "),
                    "yes" if test.claims else "no",
                )
                for test in evidence.tests
            ),
        )
    )
    return tuple(tables)


def _sides(right: tuple[Agreement, ...], left: tuple[Agreement, ...], evidence: Evidence) -> Table:
    gaps = ("–", "–", "–") if evidence.uneven is None else tuple(write_power(float(one)) for one in evidence.uneven)

    def mean(one: Agreement) -> str:
        low, high = one.mean_interval.low, one.mean_interval.high
        return f"{write_power(one.mean)} ({write_power(low)} to {write_power(high)})"

    return Table(
        "Right and left as mirror images: mean difference in D, left J45 mirrored",
        ("", "Right eyes (95 %)", "Left eyes (95 %)", "Right less left, same patients"),
        tuple(
            (name, mean(one), mean(other), gap)
            for name, one, other, gap in zip(("M", "J0", "J45"), right, left, gaps, strict=True)
        ),
    )
