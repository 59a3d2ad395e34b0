"""Distances worked backwards: computed bands, the lens's own plane, each slip by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.working_distance.distance_backwards import IN_INCHES
from cases.errors import CaseError
from cases.procedure.marking import mark_text
from tests.cases.worked import answer_of, case_of, slips_of

DISTANCES = (33.0, 40.0, 50.0, 57.0, 67.0, 80.0, 100.0)


# ---- dioptres to distance

# (D, cm): definition of vergence in air, ISO 13666; the same pairs as Arch Ophthalmol 1935;14:458 read backwards.
PAIRS = [(2.0, 50), (1.5, 66.667), (1.25, 80), (1.0, 100), (3.0, 33.333), (2.5, 40), (4.0, 25)]


@pytest.mark.parametrize(("power", "centimetres"), PAIRS)
def test_dioptres_to_distance(power: float, centimetres: float) -> None:
    assert case_of("vergence-distance", {"power": power}).truth["distance"] == pytest.approx(centimetres, abs=0.001)


def test_slips_of_dioptres_to_distance_by_hand() -> None:
    case = case_of("vergence-distance", {"power": 2})
    assert {name.split("/")[1]: answer["distance"] for name, answer in slips_of(case).items()} == {
        "dioptres-not-inverted": 200,
        "distance-in-proportion": pytest.approx(88.889, abs=0.001),
        "tenfold-too-small": 5,
        "tenfold-too-large": 500,
    }


def test_either_name_of_two_thirds_of_a_metre_is_right() -> None:
    case = case_of("vergence-distance", {"power": 1.5})
    for text, verdict in (("66.7 cm", "right"), ("2/3 m", "right"), ("67", "right"), ("66", "near"), ("75", "wrong")):
        assert mark_text(case, text).verdict == verdict


# ---- inches


# The inch is 2.54 cm; "about 40 over the inches" is the recall prompt's rule of thumb, common practice.
@pytest.mark.parametrize(("inches", "power"), [(10, 3.937), (16, 2.461), (20, 1.969), (26, 1.514), (40, 0.984)])
def test_inches(inches: float, power: float) -> None:
    case = case_of("inches-vergence", {"inches": inches})
    assert case.truth["power"] == pytest.approx(power, abs=0.0006)
    assert abs(case.truth["power"] - 40 / inches) < 0.07


def test_slips_of_inches_by_hand() -> None:
    case = case_of("inches-vergence", {"inches": 20})
    assert slips_of(case) == {
        "inches-to-metres/inches-as-centimetres": {"power": 5},
        "distance-in-dioptres/metres-not-inverted": {"power": 0.508},
        "distance-in-dioptres/always-one-fifty": {"power": 1.5},
    }


@pytest.mark.parametrize(("text", "inches"), [("26", 26), ("26 in", 26), ("66.04 cm", 26), ("40.5", 40.5)])
def test_inches_are_read(text: str, inches: float) -> None:
    assert IN_INCHES.read(text) == pytest.approx(inches)


# ---- how far one may drift

# The band that keeps the error within 0.25 D, to whole centimetres: computed by the curriculum's authors for 1.50,
# 2.00, 2.50 and 3.00 D (67 cm 57–80, 50 cm 44–57, 40 cm 36–44, 33 cm 31–36).
BANDS = [(66.667, 57, 80), (50, 44, 57), (40, 36, 44), (33.333, 31, 36)]


@pytest.mark.parametrize(("distance", "nearest", "farthest"), BANDS)
def test_the_band_of_a_quarter_dioptre(distance: float, nearest: float, farthest: float) -> None:
    truth = case_of("drift-allowed", {"distance_cm": distance, "allowed": 0.25}).truth
    assert truth["nearest"] == pytest.approx(nearest, abs=0.51)
    assert truth["farthest"] == pytest.approx(farthest, abs=0.51)


@given(st.integers(25, 120), st.sampled_from([0.125, 0.25, 0.5]))
def test_at_either_limit_the_error_is_what_was_allowed(distance: int, allowed: float) -> None:
    """A second route: drift-type cases at the two limits hold just that error."""
    truth = case_of("drift-allowed", {"distance_cm": distance, "allowed": allowed}).truth
    for limit, error in (("nearest", allowed), ("farthest", -allowed)):
        drift = {"written": 0, "assumed_cm": distance, "actual_cm": truth[limit]}
        assert case_of("distance-drift", drift).truth["error"] == pytest.approx(error)


def test_slips_of_the_limits_by_hand() -> None:
    # 2.00 ± 0.50: 2.50 and 1.50, 40 and 66.67 cm.
    case = case_of("drift-allowed", {"distance_cm": 50, "allowed": 0.5})
    assert answer_of(case) == {"nearest": 40, "farthest": 66.667}
    assert slips_of(case) == {
        # 0.50 D taken for 50 cm would end at the eye, and 0.5 m for 0.5 D leaves no far limit: neither is an answer.
        "distance-in-dioptres/always-one-fifty": {"nearest": 50, "farthest": 100},
        "set-limits/limits-swapped": {"nearest": 66.667, "farthest": 40},
        "invert-dioptres/same-centimetres-both-ways": {"nearest": 40, "farthest": 60},
    }
    wide = slips_of(case_of("drift-allowed", {"distance_cm": 67, "allowed": 0.25}))
    assert wide["invert-dioptres/drift-by-centimetres"] == {"nearest": 42, "farthest": 92}
    # 0.67 ± 0.25 for dioptres: 0.92 and 0.42.
    assert wide["distance-in-dioptres/metres-not-inverted"] == {
        "nearest": pytest.approx(108.696, abs=0.001),
        "farthest": pytest.approx(238.095, abs=0.001),
    }


def test_a_drift_without_a_far_end_is_refused() -> None:
    with pytest.raises(CaseError, match="walk away for ever"):
        _ = case_of("drift-allowed", {"distance_cm": 400, "allowed": 0.5}).truth


# ---- the lens's plane


# Computed by the curriculum's authors: the plane makes 0.18 D when the lens is 25 cm off (the cornea 26.2), and 0.03 D
# at 67 cm; the others by hand from 1/(d − v).
@pytest.mark.parametrize(("distance", "difference"), [(26.2, 0.18), (67, 0.03)])
def test_what_the_lens_plane_makes(distance: float, difference: float) -> None:
    truth = case_of("lens-plane", {"distance_cm": distance, "vertex_mm": 12}).truth
    assert truth["power"] - 100 / distance == pytest.approx(difference, abs=0.005)


@pytest.mark.parametrize(
    ("distance", "power", "matters"), [(25, 4.2017, "yes"), (67, 1.5198, "no"), (40, 2.5773, "no")]
)
def test_measured_from_the_lens(distance: float, power: float, matters: str) -> None:
    truth = case_of("lens-plane", {"distance_cm": distance, "vertex_mm": 12}).truth
    assert truth["power"] == pytest.approx(power, abs=0.0001)
    assert truth["matters"] == matters


def test_slips_of_the_lens_plane_by_hand() -> None:
    case = case_of("lens-plane", {"distance_cm": 20, "vertex_mm": 12})
    assert answer_of(case) == {"power": 5.319, "matters": "yes"}
    assert slips_of(case) == {
        "find-lens-plane/lens-plane-farther": {"power": 4.717, "matters": "yes"},
        "find-lens-plane/measured-from-cornea": {"power": 5, "matters": "no"},
        "find-lens-plane/millimetres-as-centimetres": {"power": 12.5, "matters": "yes"},
        "distance-in-dioptres/metres-not-inverted": {"power": 0.188, "matters": "yes"},
        "weigh-difference/difference-thought-too-small": {"power": 5.319, "matters": "no"},
    }
    far = slips_of(case_of("lens-plane", {"distance_cm": 60, "vertex_mm": 12}))
    assert far["weigh-difference/difference-thought-too-large"]["matters"] == "yes"


def test_a_lens_at_the_sight_hole_is_refused() -> None:
    with pytest.raises(CaseError, match="between the cornea and the sight hole"):
        _ = case_of("lens-plane", {"distance_cm": 5, "vertex_mm": 30}).truth
