"""What a cylinder at the wrong axis leaves, against a published table, and which way to turn it, against optics."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import CaseError
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, residual, width_mm
from cases.procedure.marking import mark_text
from tests.cases.worked import (
    AXES,
    answer_of,
    case_of,
    rx,
    slip_answer,
    slips_of,
)

# ---- what is left over

# (cylinder, degrees out, sphere, cylinder, axis from the needed axis on the other side): IACLE Contact Lens Course,
# module 3 (1st ed.), lecture 3.3, appendix B, p. 127, printed to 0.01 D. The whole table is in test_lens.py.
IACLE = [
    (-0.75, 10, 0.13, -0.26, 40.0),
    (-1.0, 20, 0.34, -0.68, 35.0),
    (-2.0, 5, 0.17, -0.35, 42.5),
    (-2.0, 45, 1.41, -2.83, 22.5),
    (-3.0, 30, 1.5, -3.0, 30.0),
]


@pytest.mark.parametrize(("cylinder", "out", "sphere", "left", "axis_from_rx"), IACLE)
@pytest.mark.parametrize("way", [-1, 1])
@pytest.mark.parametrize("axis", [90, 178])
def test_published_residuals(
    cylinder: float, out: float, sphere: float, left: float, axis_from_rx: float, way: int, axis: float
) -> None:
    case = case_of("axis-error", {"rx": rx(-1, cylinder, axis), "placed": axis_of(axis + way * out)})
    assert answer_of(case) == {
        "sphere": pytest.approx(sphere, abs=0.0051),
        "cylinder": pytest.approx(left, abs=0.0051),
        "axis": pytest.approx(axis_of(axis - way * axis_from_rx), abs=0.01),
    }


@given(st.integers(-5, 5), st.integers(1, 8) | st.integers(-8, -1), AXES, AXES)
def test_the_short_way_is_the_difference_of_the_two_lenses(
    sphere: int, cylinder: int, axis: float, placed: float
) -> None:
    case = case_of("axis-error", {"rx": rx(sphere, cylinder, axis), "placed": placed})
    whole = SphCyl(sphere, cylinder, axis) - SphCyl(sphere, cylinder, placed)
    assert case.truth["residual"].equals(whole, 1e-6)
    assert case.truth["residual"].cylinder * cylinder >= 0


def test_slips_of_the_reference_axis_error() -> None:
    # True −2.00 DC × 180 worn at 10 leaves +0.35 −0.69 × 140 (curriculum's reference vector).
    case = case_of("axis-error", {"rx": rx(0, -2, 180), "placed": 10})
    truth = {"sphere": 0.347, "cylinder": -0.695, "axis": 140}
    assert answer_of(case) == pytest.approx(truth, abs=0.001)
    expected = {
        "residual-not-doubled": {"sphere": 0.174, "cylinder": -0.347, "axis": 140},
        "residual-in-proportion": {"sphere": 0.111, "cylinder": -0.222, "axis": 140},
        "share-for-residual": {"sphere": 0.030, "cylinder": -0.060, "axis": 140},
        "residual-sphere-nought": {**truth, "sphere": 0},
        "residual-sphere-same-sign": {**truth, "sphere": -0.347},
        "residual-on-other-side": {**truth, "axis": 50},
        "residual-from-true-axis": {**truth, "axis": 135},
        "residual-at-true-axis": {**truth, "axis": 180},
        # Half of 180 and 10 is 95; 45 back from there.
        "middle-across-180": {**truth, "axis": 50},
    }
    for slip, answer in expected.items():
        assert slip_answer(case, slip) == pytest.approx(answer, abs=0.001), slip
    assert len(slips_of(case)) == len(expected)


def test_quarters_are_near_enough_for_a_residual() -> None:
    case = case_of("axis-error", {"rx": rx(0, -2, 180), "placed": 10})
    assert mark_text(case, "+0.35/-0.69x140").verdict == "right"
    assert mark_text(case, "+0.25/-0.75x140").verdict == "near"


def test_a_sphere_has_no_axis_to_be_out() -> None:
    with pytest.raises(CaseError, match="give a lens with a cylinder"):
        _ = case_of("axis-error", {"rx": rx(2), "placed": 10}).truth


# ---- which way to turn


def bands(cylinder: float, axis: float, out: float) -> dict[str, object]:
    """Let the optics of the reflex say which of the two bands is the narrower.

    The eye needs the cylinder `out` degrees on from where it stands; the sight hole is a little nearer than neutral.
    """
    needed, placed = SphCyl(0, cylinder, axis_of(axis + out)), SphCyl(0, cylinder, axis)
    setting = Setting(rx=needed, in_place=placed + SphCyl(1.5), distance_cm=40, pupil_mm=6)
    streaks = [axis_of(axis + 45), axis_of(axis - 45)]
    assert all(residual(setting, streak) > 0 for streak in streaks)  # with, either way
    widths = [width_mm(setting, streak) for streak in streaks]
    looks = ["narrow", "wide"] if widths[0] < widths[1] else ["wide", "narrow"]
    first, second = ({"streak": s, "band": b} for s, b in zip(streaks, looks, strict=True))
    return {"cylinder": cylinder, "axis": axis, "first": first, "second": second}


@pytest.mark.parametrize("axis", [20, 90, 135, 170, 180])
@pytest.mark.parametrize("cylinder", [-2.0, -1.0, 1.0, 2.0])
@pytest.mark.parametrize("out", [-12, -6, 6, 12])
def test_the_rule_for_turning_agrees_with_the_optics_of_the_reflex(cylinder: float, axis: float, out: float) -> None:
    case = case_of("axis-straddling", bands(cylinder, axis, out))
    assert case.truth["turn"] == ("up" if out > 0 else "down")


def test_alike_bands_leave_the_axis() -> None:
    band = {"streak": 65, "band": "wide"}, {"streak": 155, "band": "wide"}
    case = case_of("axis-straddling", {"cylinder": -1, "axis": 20, "first": band[0], "second": band[1]})
    assert answer_of(case) == {"guide": "neither", "turn": "leave"}
    assert slips_of(case) == {"compare-bands/one-band-trusted": {"guide": "first", "turn": "down"}}


def test_slips_of_straddling() -> None:
    # −1.50 × 170 with the narrow band at 35: a minus axis goes away from it, towards 125, down the scale.
    findings = {
        "cylinder": -1.5,
        "axis": 170,
        "first": {"streak": 35, "band": "narrow"},
        "second": {"streak": 125, "band": "wide"},
    }
    case = case_of("axis-straddling", findings)
    assert answer_of(case) == {"guide": "first", "turn": "down"}
    assert slips_of(case) == {
        "compare-bands/wide-band-followed": {"guide": "second", "turn": "up"},
        "band-to-axis/turned-wrong-way": {"guide": "first", "turn": "up"},
        "band-to-axis/plus-rule-for-minus": {"guide": "first", "turn": "up"},
        "band-to-axis/power-before-axis": {"guide": "first", "turn": "leave"},
    }
    plus = case_of("axis-straddling", {**findings, "cylinder": 1.5})
    assert answer_of(plus) == {"guide": "first", "turn": "up"}
    # 35 is less than 170, and yet the way there is up the scale.
    assert slip_answer(plus, "through-the-numbers") == {"guide": "first", "turn": "down"}


def test_streaks_that_do_not_straddle_are_refused() -> None:
    findings = {"cylinder": 1, "axis": 20, "first": {"streak": 60, "band": "wide"}}
    with pytest.raises(CaseError, match="45° to either side of the axis, at 65 and 155"):
        _ = case_of("axis-straddling", {**findings, "second": {"streak": 155, "band": "wide"}}).truth
    with pytest.raises(CaseError, match="its power with the sign"):
        _ = case_of("axis-straddling", {**findings, "second": findings["first"], "cylinder": 0}).truth
