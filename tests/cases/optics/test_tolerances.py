"""The tables of tolerances and limits against the rules and the arithmetic that their own sources give for them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.evidence.sources import check_sources
from cases.optics.lens import SphCyl
from cases.optics.tolerances import (
    AGREEMENT,
    ANSI_1999_AXIS,
    ANSI_2010_AXIS,
    ANSI_2010_CYLINDER,
    ANSI_2010_SPHERE,
    AXIS_AGREEMENT,
    ISO_10341_POWER,
    LENS_TABLES,
    PUBLISHED,
    SUPERSEDED,
    Bands,
    axis_slack,
)


@pytest.mark.parametrize(("cylinder", "degrees"), [(0.25, 13.9), (0.5, 6.9), (0.75, 4.6), (1.0, 3.4), (1.5, 2.3)])
def test_axis_slack_is_what_the_white_paper_prints(cylinder: float, degrees: float) -> None:
    """D. Torgersen, white paper on ANSI Z80.1-2005: α = asin(C/2F) at 0.12 D, printed to a tenth of a degree."""
    assert axis_slack(cylinder) == pytest.approx(degrees, abs=0.05)
    assert axis_slack(-cylinder) == axis_slack(cylinder)


@pytest.mark.parametrize(("cylinder", "degrees"), [(0.25, 14), (0.5, 7), (0.75, 5), (1.5, 3)])
def test_ansi_axes_are_the_slack_of_the_strongest_cylinder_in_the_row(cylinder: float, degrees: float) -> None:
    """ANSI Z80.1-2010 by OptiCampus. The rows follow from asin(0.12/2C) at their upper end, taken up to a degree."""
    assert ANSI_2010_AXIS.within(cylinder) == degrees
    assert math.ceil(axis_slack(cylinder)) == degrees


@pytest.mark.parametrize(
    ("cylinder", "degrees"), [(0.12, 14), (0.26, 7), (0.51, 5), (1.0, 3), (1.51, 2), (-1.75, 2), (6, 2)]
)
def test_an_axis_row_ends_at_its_upper_cylinder(cylinder: float, degrees: float) -> None:
    """ANSI Z80.1-2010 by OptiCampus: greater than the row before, up to and with the row's own cylinder."""
    assert ANSI_2010_AXIS.within(cylinder) == degrees


def test_ansi_powers() -> None:
    """ANSI Z80.1-2010 by OptiCampus."""
    assert ANSI_2010_SPHERE.within(-6.5) == 0.13
    assert ANSI_2010_SPHERE.within(8) == pytest.approx(0.16)
    assert [ANSI_2010_CYLINDER.within(cylinder) for cylinder in (2, 2.25, 4.5)] == [0.13, 0.15, 0.15]
    assert ANSI_2010_CYLINDER.within(-5) == pytest.approx(0.20)


def test_the_percentages_take_over_where_they_meet_the_fixed_band() -> None:
    """ANSI Z80.1-2010: 2 % of 6.50 D is the 0.13 D of the row before, so the table has no jump there."""
    assert ANSI_2010_SPHERE.within(6.5) == pytest.approx(0.02 * 6.5)


@pytest.mark.parametrize(("cylinder", "degrees"), [(0.37, 7), (0.75, 5), (1.5, 3), (2, 2)])
def test_the_superseded_axes_were_narrower_for_weak_cylinders(cylinder: float, degrees: float) -> None:
    """ANSI Z80.1-1999, a laboratory's summary; widened to 14 and 7 in 2005."""
    assert ANSI_1999_AXIS.within(cylinder) == degrees
    assert ANSI_1999_AXIS.standing == SUPERSEDED
    assert degrees <= ANSI_2010_AXIS.within(cylinder)


def test_the_lenses_of_a_refractor_head() -> None:
    """GOST R ISO 10341-2013, Table 2."""
    assert [ISO_10341_POWER.within(p) for p in (3, 6, 9, 12, 15, 16)] == [0.06, 0.09, 0.12, 0.15, 0.18, 0.25]


@pytest.mark.parametrize("table", LENS_TABLES, ids=lambda table: table.id)
def test_a_table_covers_every_power_and_names_its_source(table: Bands) -> None:
    ends = [band.up_to for band in table.bands]
    assert ends == sorted(set(ends))
    assert ends[-1] == math.inf
    assert len(table.rows()) == len(ends)
    check_sources(table.sources)
    assert table.standing in (PUBLISHED, SUPERSEDED)
    assert table.within(50) > 0
    with pytest.raises(OutOfRange, match="finite"):
        table.within(math.nan)


def test_rows_read_as_a_table_does() -> None:
    assert ANSI_2010_AXIS.rows() == (
        ("up to 0.25", "±14°"),
        ("up to 0.50", "±7°"),
        ("up to 0.75", "±5°"),
        ("up to 1.50", "±3°"),
        ("over 1.50", "±2°"),
    )
    assert ANSI_2010_SPHERE.rows() == (("up to 6.50", "±0.13 D"), ("over 6.50", "±2 %"))


@given(st.floats(0.1, 8), st.floats(0.01, 0.5))
def test_a_cylinder_set_the_slack_out_leaves_the_residual(cylinder: float, residual: float) -> None:
    """Two routes: the slack's formula against the subtraction of two whole lenses."""
    slack = axis_slack(cylinder, residual)
    if slack == 90:
        assert residual >= 2 * cylinder
        return
    left = SphCyl(0, -cylinder, 40) - SphCyl(0, -cylinder, 40 + slack)
    assert abs(left.cylinder) == pytest.approx(residual, abs=1e-6)


@pytest.mark.parametrize(("cylinder", "residual"), [(math.inf, 0.12), (1, -0.1), (1, math.nan)])
def test_a_slack_of_nonsense_is_refused(cylinder: float, residual: float) -> None:
    with pytest.raises(OutOfRange):
        axis_slack(cylinder, residual)


BY_ID = {limits.id: limits for limits in AGREEMENT}

PRINTED: Mapping[str, tuple[float, float, float]] = {
    # McCullough, Doyle & Saunders 2017, cycloplegic retinoscopy at 4 to 5 years
    "same-examiner-sphere": (0, -0.85, 0.85),
    "same-examiner-cylinder": (-0.03, -0.68, 0.62),
    "same-examiner-mean": (-0.06, -0.9, 0.78),
    "two-examiners-sphere": (-0.08, -0.92, 0.76),
    "two-examiners-cylinder": (-0.08, -0.75, 0.59),
    "two-examiners-mean": (-0.13, -0.95, 0.69),
    # PMC10996980, Table 2
    "junior-a-mean": (0.09, -0.49, 0.67),
    "junior-b-mean": (-0.1, -1.02, 0.82),
    "junior-a-sphere": (0.18, -0.41, 0.77),
    "junior-b-sphere": (0.05, -0.83, 0.94),
    "junior-a-cylinder": (-0.18, -0.86, 0.5),
    "junior-b-cylinder": (-0.3, -1.0, 0.39),
    # British Journal of Ophthalmology, Table 6
    "autorefractor-less-retinoscopy": (0.26, -1.06, 1.58),
}


@pytest.mark.parametrize("study", PRINTED)
def test_limits_of_agreement_are_as_printed_and_stand_round_their_mean(study: str) -> None:
    """Limits of agreement are mean ± 1.96 (or 2) SD, so their middle is the mean to the last printed digit."""
    limits = BY_ID[study]
    assert (limits.mean, limits.low, limits.high) == PRINTED[study]
    assert (limits.low + limits.high) / 2 == pytest.approx(limits.mean, abs=0.0051)
    check_sources(limits.sources)


def test_two_standard_deviations_make_the_limits_of_the_autorefractor() -> None:
    """British Journal of Ophthalmology, Table 6: mean 0.26, SD 0.66, limits at 2 SD."""
    limits = BY_ID["autorefractor-less-retinoscopy"]
    assert (limits.low, limits.high) == pytest.approx((0.26 - 2 * 0.66, 0.26 + 2 * 0.66))
    assert limits.widest == 1.58


@pytest.mark.parametrize(
    ("study", "reach"), [("subjective-sphere", 0.27), ("subjective-cylinder", 0.16), ("subjective-mean", 0.29)]
)
def test_limits_given_as_a_reach_alone(study: str, reach: float) -> None:
    """Rosenfield & Chiu as tabulated in the British Journal of Ophthalmology."""
    limits = BY_ID[study]
    assert (-limits.low, limits.high, limits.widest) == (reach, reach, reach)
    check_sources(limits.sources)


def test_what_else_the_studies_say() -> None:
    """McCullough and others 2017 (axis)."""
    assert AXIS_AGREEMENT == (20, 0.71, 0.75)
    assert len(BY_ID) == len(AGREEMENT)
