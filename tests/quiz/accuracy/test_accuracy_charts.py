"""The charts of the log: sound drawings whose marks stand where the numbers say, and tables with the same facts."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.evidence.sources import cited
from cases.optics.lens import SphCyl
from quiz.accuracy.accuracy_charts import PUBLISHED, charts
from quiz.accuracy.entries import Entry
from quiz.accuracy.patterns import evidence_of
from quiz.practice.charts import Chart, Scale, nice_step, scale_over
from tests.cases.drawing import SVG, Drawing, sound
from tests.quiz.accuracy.accuracy_logs import entry, log


def drawn(rows: list[Entry]) -> dict[str, Chart]:
    return {re.search(r'id="([\w-]+)-title"', one.figure.svg)[1]: one for one in charts(rows, evidence_of(rows))}  # type: ignore[index]


def dots(drawing: Drawing) -> list[tuple[float, float, bool]]:
    return [
        (float(e.get("cx", "")), float(e.get("cy", "")), e.get("fill") == "currentColor")
        for e in drawing.root.iter(SVG + "circle")
    ]


@pytest.mark.parametrize(
    "rows",
    [
        log(patients=20, shift=0.3),
        log(patients=2),
        log(patients=40, scatter=3, shift=-2),
        [entry()],
        [entry(1, ret=SphCyl(20, -6, 5), end=SphCyl(-20, -6, 95)), entry(1, "left", day=4000)],
        [entry(one, ret=SphCyl(-0.5), end_wet=True) for one in range(1, 15)],
    ],
    ids=["biased", "few", "wild", "one", "far apart", "wet"],
)
def test_every_chart_is_a_sound_drawing(rows: list[Entry]) -> None:
    for one in drawn(rows).values():
        sound(one.figure)
        assert one.key
        for table in one.tables:
            assert all(len(row) == len(table.headings) for row in table.rows)


def test_an_empty_log_has_no_chart() -> None:
    assert charts([], evidence_of([])) == ()


def test_charts_without_points_are_left_out() -> None:
    assert set(drawn([entry()])) == {"chart-m", "chart-j"}
    assert set(drawn([entry(1, ret=SphCyl(0, -1, 90), end=SphCyl(0, -1, 80)), entry(2, day=9)])) == {
        "chart-m",
        "chart-j",
        "chart-axis",
        "chart-time",
    }


def test_eyes_are_told_apart_by_shape_and_stand_where_they_belong() -> None:
    """A right eye read 1.00 too plus stands as a dot above a left eye read 1.00 too minus, a ring."""
    marks = dots(sound(drawn([entry(1, ret=SphCyl(1)), entry(1, "left", ret=SphCyl(-1))])["chart-m"].figure))
    (_, up, filled), (_, down, hollow) = marks
    assert (filled, hollow) == (True, False)
    assert up < down


def test_left_eyes_are_mirrored_in_the_chart_of_the_cylinder() -> None:
    """Minus cylinder axis 45 more in the right eye and 135 in the left: one place, J45 above zero."""
    rows = [entry(1, ret=SphCyl(0, -1, 45)), entry(1, "left", ret=SphCyl(0, -1, 135))]
    first, second = dots(sound(drawn(rows)["chart-j"].figure))
    assert first[:2] == second[:2]
    assert drawn(rows)["chart-j"].tables[-1].rows[1] == ("2", "1, left", "0.00", "+0.50")


def test_eyes_left_out_are_crosses_and_said_so() -> None:
    rows = [*log(patients=12), entry(40, wet=True, ret=SphCyl(1))]
    chart = drawn(rows)["chart-m"]
    assert len(dots(sound(chart.figure))) == 24
    assert any("Cross" in line for line in chart.key)
    assert chart.tables[-1].rows[-1][1] == "40, right (left out)"
    assert not any("Cross" in line for line in drawn(log(patients=12))["chart-m"].key)


def test_the_tables_carry_every_number_of_the_drawing() -> None:
    rows = log(patients=15, shift=0.3)
    evidence = evidence_of(rows)
    assert evidence.M is not None
    limits, studies, points = drawn(rows)["chart-m"].tables
    assert limits.rows[0][1].startswith(f"+{evidence.M.mean:.2f} (")
    assert [row[0][:2] for row in studies.rows] == ["a:", "b:", "c:"]
    assert [row[-1] for row in studies.rows] == [cited(one.sources) for one in PUBLISHED]
    assert len(points.rows) == 30


def test_of_very_many_points_the_tables_list_the_latest_and_say_so() -> None:
    table = drawn([entry(one) for one in range(1, 451)])["chart-m"].tables[-1]
    assert len(table.rows) == 400
    assert table.rows[-1][0] == "450"
    assert "the latest 400 of 450" in table.caption


def test_published_limits_are_drawn_to_the_same_scale() -> None:
    """The bar of a study spans as many units as its limits do on the scale of the chart."""
    drawing = sound(drawn(log(patients=15))["chart-m"].figure)
    bars = [line for line in drawing.lines("ink") if line[0] == line[2] > 265]
    zero = next(y for x, y, _, _ in drawing.lines("faint"))
    assert len(bars) == 3
    per_dioptre = {(y2 - y1) / (one.low - one.high) for (_, y1, _, y2), one in zip(bars, PUBLISHED, strict=True)}
    assert max(per_dioptre) - min(per_dioptre) < 0.3
    for (_, y1, _, _), one in zip(bars, PUBLISHED, strict=True):
        assert (zero - y1) / abs(min(per_dioptre)) == pytest.approx(one.low, abs=0.02)


def test_a_study_of_retinoscopy_against_subjective_is_as_published() -> None:
    """Jorge et al. 2005, Optom Vis Sci 82(1), abstract: −0.02 ± 0.33 D in 192 young adults without cycloplegia."""
    one = PUBLISHED[0]
    assert one.mean == -0.02
    assert (one.high - one.low) / (2 * 1.96) == pytest.approx(0.33, abs=0.001)


@given(st.lists(st.floats(-80, 80), min_size=1, max_size=5), st.integers(3, 8))
@settings(max_examples=200)
def test_a_scale_holds_its_values_with_a_handful_of_ticks(values: list[float], ticks: int) -> None:
    scale = scale_over(values, ticks=ticks)
    assert scale.low <= min(values)
    assert scale.high >= max(values)
    assert 2 <= len(scale.ticks) <= ticks + 3
    assert scale.ticks[0] == pytest.approx(scale.low)


def test_steps_are_the_usual_ones() -> None:
    assert [nice_step(rough) for rough in (0.07, 0.1, 0.22, 0.3, 1.1, 9)] == pytest.approx([0.1, 0.1, 0.25, 0.5, 2, 10])
    assert Scale(0, 1, 0.25).ticks == (0, 0.25, 0.5, 0.75, 1)
