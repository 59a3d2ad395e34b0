"""Retinoscopy against other results: the difference as a lens, its cause, and the pattern of two eyes."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.register import case_type
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import LE_GRAND, NAVARRO, blur_strength, induced_astigmatism
from cases.optics.tolerances import TWO_EXAMINERS_CYLINDER, TWO_EXAMINERS_MEAN
from tests.cases.worked import answer_of, case_of, rx, slip_answer, slips_of

# --- the difference as a lens ------------------------------------------------------------------------------------


def test_a_difference_with_other_axes() -> None:
    """−3.00/−1.00×180 with +0.50/−0.75×45 makes −2.75/−1.25×18: a 3-4-5 triangle of half cylinders, by hand."""
    case = case_of("result-difference", {"found": rx(-3, -1, 180), "other": rx(-0.5, 0.75, 45)})
    answer = answer_of(case)
    assert answer["difference"] == {"sphere": -2.75, "cylinder": -1.25, "axis": 18.43}
    assert answer["blur"] == pytest.approx((3.375**2 + 0.625**2) ** 0.5, abs=0.001)
    naive = slip_answer(case, "cylinders-added-as-they-stand")["difference"]
    assert (naive["sphere"], naive["cylinder"]) == (-2.5, -1.75)


def test_what_a_cylinder_set_10_degrees_out_leaves() -> None:
    """−2.00×180 against −2.00×10: +0.35/−0.69×140, about a third of the cylinder (computed reference vector)."""
    answer = answer_of(case_of("result-difference", {"found": rx(0, -2, 180), "other": rx(0, -2, 10)}))
    assert answer["difference"] == {"sphere": 0.347, "cylinder": -0.695, "axis": 140}
    assert answer["blur"] == pytest.approx(0.347, abs=0.001)


def test_slips_of_a_difference_on_one_axis() -> None:
    """+1.00/−1.00×90 less −0.50/+1.75×180 (= +1.25/−1.75×90) is −0.25/+0.75×90 = +0.50/−0.75×180, by hand."""
    case = case_of("result-difference", {"found": rx(1, -1, 90), "other": rx(-0.5, 1.75, 180)})
    assert answer_of(case) == {"difference": {"sphere": 0.5, "cylinder": -0.75, "axis": 180}, "blur": 0.395}

    def difference(slip: str) -> Any:
        return slip_answer(case, slip)["difference"]

    assert difference("difference-reversed") == {"sphere": 0.25, "cylinder": -0.75, "axis": 90}
    assert difference("added-for-difference") == {"sphere": 2.25, "cylinder": -2.75, "axis": 90}
    assert difference("sphere-alone-turned") == {"sphere": 3.25, "cylinder": -2.75, "axis": 90}
    assert difference("forms-not-matched") == {"sphere": 1.5, "cylinder": -2.75, "axis": 90}
    assert difference("cylinder-carried-over") == {"sphere": -0.25, "cylinder": -1.0, "axis": 90}
    assert difference("axis-not-turned") == {"sphere": 0.5, "cylinder": -0.75, "axis": 90}
    assert slip_answer(case, "sphere-alone-as-equivalent")["blur"] == 0.625
    assert slip_answer(case, "cylinder-left-out-of-blur")["blur"] == 0.125
    assert slip_answer(case, "blur-parts-added")["blur"] == 0.5


LENSES = st.builds(
    SphCyl,
    st.integers(-40, 40).map(lambda n: n / 4),
    st.integers(-20, 20).map(lambda n: n / 4),
    st.integers(1, 180).map(float),
)


@given(LENSES, LENSES, st.sampled_from(["minus", "plus"]))
def test_found_is_the_other_with_the_difference_on_top(found: SphCyl, other: SphCyl, form: str) -> None:
    """Two routes: the chain, by one cross or by components, and the subtraction of power matrices."""
    truth = case_type("result-difference").case({"found": found, "other": other, "form": form}).truth
    matrix = SphCyl.from_power_matrix(found.power_matrix() - other.power_matrix())
    assert truth["difference"].equals(matrix, tolerance=1e-6)
    assert truth["blur"] == pytest.approx(blur_strength(matrix), abs=1e-6)


# --- what is behind a difference ---------------------------------------------------------------------------------

AGAINST = {"found": rx(1, -1, 90), "other": rx(-0.5, -1, 90), "against": "subjective", "distance_cm": 67}


def test_limits_are_those_of_two_examiners() -> None:
    """McCullough, Doyle & Saunders 2017: mean −0.95 to +0.69 D, cylinder −0.75 to +0.59 D between two examiners."""
    case = case_of("difference-cause", AGAINST)
    assert case.findings["mean_limit"] == TWO_EXAMINERS_MEAN.widest == 0.95
    assert case.findings["cylinder_limit"] == TWO_EXAMINERS_CYLINDER.widest == 0.75


@pytest.mark.parametrize(
    ("change", "mean", "cylinder", "cause"),
    [
        ({}, 1.5, 0.0, "left-in"),
        ({"distance_cm": 50}, 1.5, 0.0, "other-accommodated"),
        ({"distance_cm": 50, "against": "autorefractor"}, 1.5, 0.0, "other-accommodated"),
        ({"distance_cm": 50, "against": "last"}, 1.5, 0.0, "changed"),
        ({"other": rx(2.25, -1, 90)}, -1.25, 0.0, "accommodated"),
        ({"other": rx(2.25, -1, 90), "against": "last"}, -1.25, 0.0, "changed"),
        ({"other": rx(0.25, -1, 90)}, 0.75, 0.0, "scatter"),
        ({"other": rx(1, -1, 120)}, 0.0, 1.0, "axis"),
        ({"other": rx(1, -2.25, 90)}, 0.625, 1.25, "one-meridian"),
        ({"other": rx(-1.25, 1.25, 90)}, 1.125, 2.25, "one-meridian"),
        # Stronger by 1.50 and 5° away: √(1² + 2.5² − 2·2.5·cos 10°) = 1.524.
        ({"other": rx(1, -2.5, 95)}, 0.75, 1.525, "one-meridian"),
        ({"other": rx(-3, -2.25, 90)}, 4.625, 1.25, "several"),
    ],
)
def test_causes(change: dict[str, Any], mean: float, cylinder: float, cause: str) -> None:
    """Which pattern points to what: common practice, no published source. A cylinder 30° out leaves all of itself."""
    case = case_of("difference-cause", {**AGAINST, **change})
    assert answer_of(case) == {"mean": mean, "cylinder": cylinder, "cause": cause}


def test_the_autorefractor_that_reads_young_eyes_too_minus() -> None:
    """Jorge 2005, Optom Vis Sci 82(1): retinoscopy −0.02 and autorefractor −0.44 D from the subjective, on average.

    The difference, 0.42 D, is within what two measures of one eye scatter by; thrice as much points to accommodation.
    """
    findings = {**AGAINST, "against": "autorefractor", "found": rx(-0.02), "other": rx(-0.44)}
    assert answer_of(case_of("difference-cause", findings)) == {"mean": 0.42, "cylinder": 0.0, "cause": "scatter"}
    thrice = {**findings, "other": rx(-1.28)}
    assert answer_of(case_of("difference-cause", thrice))["cause"] == "other-accommodated"


@pytest.mark.parametrize(
    ("change", "slip", "answer"),
    [
        ({}, "distance-unseen-in-difference", "other-accommodated"),
        ({"against": "last"}, "distance-unseen-in-difference", "changed"),
        ({"distance_cm": 50}, "wrong-result-blamed", "accommodated"),
        ({"distance_cm": 50, "against": "last"}, "last-taken-for-today", "other-accommodated"),
        ({"other": rx(1.5, -1, 120)}, "cylinder-put-down-to-accommodation", "accommodated"),
        ({"other": rx(1.5, -1, 120)}, "turned-axis-taken-for-strength", "one-meridian"),
        ({"other": rx(1.25, -1.25, 90)}, "again-without-cause", "accommodated"),
        ({"other": rx(2.25, -1, 90)}, "limit-by-sign", "scatter"),
    ],
)
def test_each_wrong_cause_is_the_consequence_of_a_wrong_step(change: dict[str, Any], slip: str, answer: str) -> None:
    case = case_of("difference-cause", {**AGAINST, **change})
    given = slip_answer(case, slip)
    assert given["cause"] == answer
    assert {name: given[name] for name in ("mean", "cylinder")} == {
        name: answer_of(case)[name] for name in ("mean", "cylinder")
    }


def test_cylinders_compared_wrongly() -> None:
    turned = case_of("difference-cause", {**AGAINST, "other": rx(1, -1, 120)})
    assert slip_answer(turned, "axes-left-out-of-change")["cylinder"] == 0.0
    plus = case_of("difference-cause", {**AGAINST, "other": rx(0, 1, 180)})
    assert answer_of(plus) == {"mean": 0.0, "cylinder": 0.0, "cause": "scatter"}
    assert slip_answer(plus, "forms-not-matched")["cylinder"] == 2.0


# --- two eyes together -------------------------------------------------------------------------------------------

PAIR = {"right": rx(0.75), "left": rx(0.75), "distance_cm": 67}


@pytest.mark.parametrize(
    ("right", "left", "pattern", "suggests"),
    [
        (rx(0.25, -0.25, 30), rx(0.25), "small", "nothing"),
        (rx(0.75), rx(0.75), "shift", "nearer"),
        (rx(-0.75), rx(-0.5), "shift", "farther"),
        (rx(1.5), rx(1.5), "shift", "left-in"),
        (rx(0.75), rx(0.25), "one-eye", "repeat-eye"),
        (rx(0.75), rx(-0.75), "unclear", "repeat-both"),
        (rx(0.5, -1, 30), rx(0.5, -1, 150), "mirror", "each-side"),
        (rx(0.5, -1, 30), rx(0.5, -1, 35), "same-way", "one-side"),
        (rx(0.5, -1, 30), rx(-0.5, 1, 120), "same-way", "one-side"),
        (rx(0.5, -1, 90), rx(0.5, -1, 90), "unclear", "repeat-both"),
        (rx(0.5, -1, 30), rx(0.75), "unclear", "repeat-both"),
    ],
)
def test_patterns(right: Any, left: Any, pattern: str, suggests: str) -> None:
    """Which pattern suggests what: common practice, no published source."""
    case = case_of("two-eyes-pattern", {**PAIR, "right": right, "left": left})
    assert answer_of(case) == {"pattern": pattern, "suggests": suggests}


@pytest.mark.parametrize(
    ("directions", "suggests"),
    [
        # Seen from above and the examiner's right for both eyes: the tilt lies in the 45 meridian of both.
        ((45, 45), "one-side"),
        # From above and each eye's temporal side. The right eye's temple is on the examiner's left, at 135.
        ((135, 45), "each-side"),
        ((120, 55), "each-side"),
        ((150, 145), "one-side"),
    ],
)
@pytest.mark.parametrize("eye", [LE_GRAND, NAVARRO], ids=lambda eye: eye.name)
def test_what_is_suggested_agrees_with_eyes_traced_off_their_axis(
    directions: tuple[float, float], suggests: str, eye: Any
) -> None:
    """A schematic eye seen 20° off axis, by Coddington's equations: minus cylinder across the meridian of the tilt."""
    power = induced_astigmatism(eye, 20)
    right, left = (SphCyl(-power / 2, power, across(axis_of(direction))) for direction in directions)
    case = case_type("two-eyes-pattern").case({**PAIR, "right": right, "left": left, "limit": 0.1})
    assert case.truth["suggests"] == suggests


def test_slips_of_reading_a_pattern() -> None:
    mirror = case_of("two-eyes-pattern", {**PAIR, "right": rx(0.75, -1, 30), "left": rx(0.5, -1, 150)})
    assert slips_of(mirror) == {
        "split-difference/sphere-alone-as-equivalent": {"pattern": "unclear", "suggests": "repeat-both"},
        "judge-each-eye/cylinder-left-out-of-blur": {"pattern": "small", "suggests": "nothing"},
        "read-pattern/equal-numbers-taken-for-mirror": {"pattern": "same-way", "suggests": "one-side"},
        "pattern-cause/each-side-and-one-side-confused": {"pattern": "mirror", "suggests": "one-side"},
    }
    near = case_of("two-eyes-pattern", PAIR)
    assert slip_answer(near, "drift-sign-reversed") == {"pattern": "shift", "suggests": "farther"}
    left_in = case_of("two-eyes-pattern", {**PAIR, "right": rx(1.5), "left": rx(1.5)})
    assert slip_answer(left_in, "distance-unseen-in-difference") == {"pattern": "shift", "suggests": "nearer"}
    one = case_of("two-eyes-pattern", {**PAIR, "left": rx(0.25)})
    assert slip_answer(one, "one-eye-taken-for-both") == {"pattern": "shift", "suggests": "nearer"}
    opposite = case_of("two-eyes-pattern", {**PAIR, "left": rx(-0.75)})
    assert slip_answer(opposite, "opposite-signs-passed-over")["pattern"] == "shift"
    small = case_of("two-eyes-pattern", {**PAIR, "right": rx(0.25), "left": rx(0, -0.25, 20)})
    assert slip_answer(small, "again-without-cause") == {"pattern": "unclear", "suggests": "repeat-both"}
