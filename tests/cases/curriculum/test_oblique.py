"""Crossed cylinders, the power on a meridian between, sums with other axes, and retinoscopy over a lens."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.register import case_type
from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from cases.procedure.case_type import draw
from cases.procedure.marking import mark_text
from tests.cases.seeds import settings_of
from tests.cases.worked import (
    AXES,
    answer_of,
    case_of,
    rx,
    slip_answer,
    slips_of,
)

# ---- two crossed cylinders: definition of a cylinder's axis, ISO 13666; the sums by hand


@pytest.mark.parametrize(
    ("lens", "cylinders"),
    [
        (rx(2, -1.5, 180), [(2, 90), (0.5, 180)]),
        (rx(-1, -2, 20), [(-1, 110), (-3, 20)]),
        (rx(-1, 3, 60), [(-1, 150), (2, 60)]),
    ],
)
def test_a_lens_as_two_crossed_cylinders(lens: dict[str, float], cylinders: list[tuple[float, float]]) -> None:
    case = case_of("crossed-cylinders", {"rx": lens})
    written = [{"cylinder": power, "axis": axis} for power, axis in cylinders]
    assert answer_of(case) == {"cylinders": written}
    made = SphCyl(0, *cylinders[0]) + SphCyl(0, *cylinders[1])
    assert made.equals(SphCyl(**lens), 1e-9)


def test_crossed_cylinders_are_marked_in_either_order() -> None:
    case = case_of("crossed-cylinders", {"rx": rx(2, -1.5, 180)})
    assert mark_text(case, "+2.00 x 90; +0.50 x 180").verdict == "right"
    assert mark_text(case, "+0.50 DC x 180, +2.00 DC x 90").verdict == "right"
    turned = mark_text(case, "+2.00 x 180, +0.50 x 90")
    assert {ref.slip for one in turned.explanations for ref in one.slips} == {
        "cross-powers-swapped",
        "axis-at-the-power",
    }


def test_slips_with_crossed_cylinders() -> None:
    case = case_of("crossed-cylinders", {"rx": rx(2, -1.5, 20)})
    first, second = {"cylinder": 2.0, "axis": 20.0}, {"cylinder": 0.5, "axis": 110.0}
    assert slip_answer(case, "axis-at-the-power") == {"cylinders": [first, second]}
    assert slip_answer(case, "cylinder-alone-on-cross")["cylinders"][1] == {"cylinder": -1.5, "axis": 20.0}
    assert slip_answer(case, "scale-mirrored")["cylinders"][1] == {"cylinder": 0.5, "axis": 160.0}


# ---- the power along a meridian

# (lens, meridian, power): the sine-squared law at plain fractions, worked by hand.
ALONG = [
    (rx(1, -2, 180), 30, 0.5),
    (rx(1, -2, 180), 45, 0),
    (rx(1, -2, 180), 60, -0.5),
    (rx(-3, 1, 20), 110, -2),
    (rx(-3, 1, 20), 20, -3),
    (rx(-3, 4, 170), 20, -2),
]


@pytest.mark.parametrize(("lens", "meridian", "power"), ALONG)
def test_the_power_along_a_meridian(lens: dict[str, float], meridian: float, power: float) -> None:
    assert answer_of(case_of("oblique-power", {"rx": lens, "meridian": meridian})) == {"power": pytest.approx(power)}


def test_the_power_between_is_never_asked_along_a_principal_meridian() -> None:
    """None of the cylinder acts along its axis and all of it across (ISO 13666): both need no sine."""
    for seed in range(600):
        asked = draw(case_type("oblique-power"), seed, settings_of(seed)).findings
        assert 5 <= axis_gap(asked["meridian"], asked["rx"].axis) <= 85, seed


def test_slips_along_a_meridian() -> None:
    # +1.00 −2.00 × 10 along 40, 30° from the axis: a quarter of the cylinder, so +0.50.
    case = case_of("oblique-power", {"rx": rx(1, -2, 10), "meridian": 40})
    expected = {
        "angle-from-horizontal": 1 - 2 * 0.41318,  # sin² 40°
        "linear-fraction": 1 - 2 / 3,
        "sine-not-squared": 0,
        "cosine-for-sine": 1 - 2 * 0.75,
        "share-without-sphere": -0.5,
        "cylinder-subtracted": 1.5,
    }
    assert {slip: slip_answer(case, slip)["power"] for slip in expected} == pytest.approx(expected, abs=0.001)
    assert len(slips_of(case)) == len(expected)


def test_half_way_round_the_fraction_and_the_square_agree() -> None:
    at_45 = slips_of(case_of("oblique-power", {"rx": rx(1, -2, 10), "meridian": 55}))
    assert not {"share-of-cylinder/linear-fraction", "share-of-cylinder/cosine-for-sine"} & set(at_45)


# ---- sums


def sum_of(first: dict[str, float], second: dict[str, float], form: str = "minus") -> Any:
    return case_of("crossed-sum", {"first": first, "second": second, "form": form})


def test_the_reference_sum() -> None:
    # Curriculum's reference vector: naive adding gives −2.50 / −1.75.
    case = sum_of(rx(-3, -1, 180), rx(0.5, -0.75, 45))
    assert answer_of(case) == pytest.approx({"sphere": -2.75, "cylinder": -1.25, "axis": 18.43}, abs=0.005)
    assert slip_answer(case, "cylinders-added-as-they-stand") == rx(-2.5, -1.75, 180)
    assert slip_answer(case, "cylinders-added-middle-axis") == rx(-2.5, -1.75, 112.5)


def test_the_published_example_of_equal_cylinders() -> None:
    # The Indian Optician, May–June 2022, p. 105: +2 × 30 with +2 × 60 is 0.2679 / 3.4641 × 45.
    case = sum_of(rx(0, 2, 30), rx(0, 2, 60), "plus")
    assert answer_of(case) == pytest.approx({"sphere": 0.268, "cylinder": 3.464, "axis": 45}, abs=0.001)


def test_slips_of_a_sum_worked_by_hand() -> None:
    # plano −2.00 × 30 and plano −2.00 × 75: J 0.5 + (−0.866), 0.866 + 0.5; M −2; so C −2√2, axis ½·105° = 52.5.
    case = sum_of(rx(0, -2, 30), rx(0, -2, 75))
    root = math.sqrt(2)
    J0, J45 = -0.366, 1.366
    truth = {"sphere": -2 + root, "cylinder": -2 * root, "axis": 52.5}
    assert answer_of(case) == pytest.approx(truth, abs=0.001)
    c30, s30, c75, s75 = 0.8660, 0.5, 0.2588, 0.9659
    length = math.hypot(c30 + c75, s30 + s75)
    expected = {
        "whole-cylinder-added": {**truth, "sphere": -4 + root},
        "half-cylinder-unsigned": {**truth, "sphere": 2 + root},
        "sphere-alone-as-equivalent": {**truth, "sphere": root},
        "angle-not-doubled": {"sphere": -2 + length, "cylinder": -2 * length, "axis": 52.5 / 2},
        "component-sign-lost": {**truth, "axis": 142.5},
        "cylinder-left-halved": {"sphere": -2 + root / 2, "cylinder": -root, "axis": 52.5},
        "mean-as-sphere": {**truth, "sphere": -2},
        "axis-not-halved": {**truth, "axis": 105},
        "quadrant-missed": {**truth, "axis": math.degrees(math.atan(J45 / J0)) / 2 + 180},
    }
    for slip, answer in expected.items():
        assert slip_answer(case, slip) == pytest.approx(answer, abs=0.002), slip


@given(
    st.builds(rx, st.integers(-6, 6), st.integers(-3, 3), AXES),
    st.builds(rx, st.integers(-6, 6), st.integers(-3, 3), AXES),
)
def test_the_chain_of_components_agrees_with_power_matrices(first: dict[str, float], second: dict[str, float]) -> None:
    for form in ("minus", "plus"):
        truth = sum_of(first, second, form).truth["prescription"]
        matrix = SphCyl(**first).power_matrix() + SphCyl(**second).power_matrix()
        np.testing.assert_allclose(truth.power_matrix(), matrix, atol=1e-9)
        assert truth.cylinder == 0 or (truth.cylinder < 0) == (form == "minus")


# ---- over-refraction


def over(worn: dict[str, float], found: dict[str, float], form: str = "minus") -> Any:
    return case_of("over-refraction", {"worn": worn, "found": found, "form": form})


# Powers in two meridians added by hand: (worn, found, sum).
OVER = [
    (rx(-2, -1, 180), rx(0.5), rx(-1.5, -1, 180)),
    (rx(-2, -1, 180), rx(0.5, -0.5, 180), rx(-1.5, -1.5, 180)),
    (rx(-2, -1, 180), rx(0.5, -0.5, 90), rx(-2, -0.5, 180)),
    (rx(-2, -1, 180), rx(0, 0.5, 180), rx(-2, -0.5, 180)),
    (rx(1), rx(0.5, -0.5, 35), rx(1.5, -0.5, 35)),
    (rx(1), rx(0.5), rx(1.5)),
]


@pytest.mark.parametrize(("worn", "found", "total"), OVER)
def test_aligned_over_refractions(worn: dict[str, float], found: dict[str, float], total: dict[str, float]) -> None:
    case = over(worn, found)
    assert case.truth["prescription"].equals(SphCyl(**total), 1e-9)
    assert "lay-both-on-cross" in case.skills
    assert "resolve-cylinders" not in case.skills


def test_oblique_over_refraction_is_the_sum_by_components() -> None:
    # The reference vector again, now as worn and found.
    case = over(rx(-3, -1, 180), rx(0.5, -0.75, 45))
    assert answer_of(case) == pytest.approx({"sphere": -2.75, "cylinder": -1.25, "axis": 18.43}, abs=0.005)
    assert "lay-both-on-cross" not in case.skills
    assert slip_answer(case, "over-refraction-replaces") == rx(0.5, -0.75, 45)
    # −3.00 −1.00 × 180 less +0.50 −0.75 × 45: M −3.625, J0 0.5, J45 −0.375.
    assert slip_answer(case, "over-refraction-taken-off") == pytest.approx(
        {"sphere": -3, "cylinder": -1.25, "axis": 161.57}, abs=0.005
    )


def test_slips_over_spectacles_worked_by_hand() -> None:
    # Worn −2.00 −1.00 × 180, found +0.50 −0.50 × 90: −2.00 along 180 and −2.50 along 90.
    case = over(rx(-2, -1, 180), rx(0.5, -0.5, 90))
    expected = {
        "over-refraction-replaces": rx(0.5, -0.5, 90),
        "over-refraction-taken-off": rx(-2, -1.5, 180),
        "cylinders-added-as-they-stand": rx(-1.5, -1.5, 180),
        "sign-lost-in-sum": rx(-2, -1.5, 180),
        "cylinder-alone-on-cross": rx(-0.5, -2, 90),
        "wrong-sphere": rx(-2.5, -0.5, 180),
        "mean-as-sphere": rx(-2.25, -0.5, 180),
        "cylinder-sign-flipped": rx(-2, 0.5, 180),
        "axis-at-the-power": rx(-2, -0.5, 90),
    }
    for slip, answer in expected.items():
        assert SphCyl(**slip_answer(case, slip)).equals(SphCyl(**answer), 1e-6), slip


def test_levels_of_over_refraction() -> None:
    kind = case_type("over-refraction")
    oblique = {"novice": 0, "competent": 0, "expert": 0}
    for seed in range(90):
        chosen = settings_of(seed)
        oblique[chosen.level] += "resolve-cylinders" in draw(kind, seed, chosen).skills
    assert oblique["novice"] == oblique["competent"] == 0
    assert 15 <= oblique["expert"] < 30
