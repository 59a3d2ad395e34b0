"""What the log may claim: planted biases are found, unbiased logs stay quiet, intervals hold what was planted.

The scatter is the published one (SD of M 0.33 D: Jorge et al. 2005, Optom Vis Sci 82(1), abstract); the examiners are
invented. Shares are of 2,000 logs, whose own error is about 0.5 % at 5 %.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import astigmatism_band
from cases.optics.vergence import vergence
from quiz.accuracy.entries import sample_of
from quiz.accuracy.patterns import (
    ALIKE,
    DRY_WET,
    LEFT_IN_SHARE,
    SHARE,
    USUAL_SD,
    WEIGHTS,
    Evidence,
    cylinders_and_axes,
    evidence_of,
    explaining_angle,
    explaining_distance,
    weigh,
)
from quiz.accuracy.statistics import agreement
from tests.quiz.accuracy.accuracy_logs import entry, log, sample

LOGS = 2000


def claims(evidence: Evidence) -> set[str]:
    made = {test.id for test in evidence.tests if test.claims}
    return made | ({"left-in"} if evidence.forgotten else set())


# --- simulation --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("patients", "eyes", "shared"),
    [(30, 1, 0.0), (15, 2, 0.0), (40, 2, 0.5)],
    ids=["one eye", "two eyes", "alike eyes"],
)
def test_an_unbiased_log_is_told_anything_at_all_in_at_most_5_of_100(patients: int, eyes: int, shared: float) -> None:
    rng = np.random.default_rng(20310528)
    told = [bool(claims(weigh(sample(rng, patients=patients, eyes=eyes, shared=shared)))) for _ in range(LOGS)]
    # Three standard errors of the share above 5 % would be chance; the procedure itself is held to 5 %.
    assert np.mean(told) <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / LOGS)
    # And it is not so timid that it never says anything.
    assert np.mean(told) >= 0.02


def test_the_shares_add_up_to_the_whole() -> None:
    assert sum(WEIGHTS.values()) + LEFT_IN_SHARE == pytest.approx(1)
    assert SHARE == 0.05


@pytest.mark.parametrize(("patients", "eyes", "shared"), [(30, 1, 0.0), (15, 2, 0.0)], ids=["one eye", "two eyes"])
def test_ten_cm_short_at_67_is_flagged_from_thirty_eyes(patients: int, eyes: int, shared: float) -> None:
    rng = np.random.default_rng(67)
    found = [weigh(sample(rng, patients=patients, eyes=eyes, shared=shared, shift_cm=10)) for _ in range(LOGS)]
    nearer = [one.claims("distance") and one.M is not None and one.M.mean > 0 for one in found]
    assert np.mean(nearer) >= 0.95


@pytest.mark.parametrize(
    ("allowed", "nearer"), [(67.0, 10.0), (67.0, 0.0), (50.0, -6.0), ((67.0, 67.0, 50.0, 50.0), 5.0)]
)
def test_the_interval_of_the_distance_holds_the_planted_one(allowed: float | tuple[float, ...], nearer: float) -> None:
    """93 to 97 of 100 logs, whatever the log claims."""
    rng = np.random.default_rng(95)
    held = 0
    for _ in range(LOGS):
        one = sample(rng, patients=16, shift_cm=nearer, allowed_cm=allowed)
        found = explaining_distance(one, agreement(one.difference[:, 0], one))
        low, high = found.interval
        held += low <= found.allowed_cm - nearer <= high
    assert 0.93 <= held / LOGS <= 0.97


@pytest.mark.parametrize(
    ("planted", "expected"),
    [
        ((-0.2, 0.0, -0.2, 0.0), "cylinder-level"),
        ((0.2, 0.0, 0.2, 0.0), "cylinder-level"),
        ((0.0, 0.2, 0.0, -0.2), "cylinder-mirrored"),
        ((-0.2, 0.0, 0.2, 0.0), "cylinder-uneven"),
        ((0.0, 0.2, 0.0, 0.2), "cylinder-oblique"),
    ],
)
def test_each_pattern_of_the_cylinder_is_told_apart(planted: tuple[float, float, float, float], expected: str) -> None:
    """Found in at least 95 of 100 logs of 25 patients, and any other pattern of the cylinder in no more than 5."""
    rng = np.random.default_rng(45)
    names = {"cylinder-level", "cylinder-mirrored", "cylinder-uneven", "cylinder-oblique"}
    made = [claims(weigh(sample(rng, patients=25, J=planted))) & names for _ in range(300)]
    assert np.mean([expected in one for one in made]) >= 0.95
    assert np.mean([len(one - {expected}) > 0 for one in made]) <= 0.05


# --- distance ----------------------------------------------------------------------------------------------------


@given(st.floats(25, 110), st.floats(-8, 12))
def test_the_distance_is_the_inverse_of_what_drifting_adds(allowed: float, nearer: float) -> None:
    """By the definition of vergence: every eye off by 1/actual − 1/allowed leads back to the actual distance."""
    actual = allowed - nearer
    shift = vergence(actual) - vergence(allowed)
    rows = [entry(one, ret=SphCyl(shift), cm=allowed) for one in range(1, 13)]
    found = evidence_of(rows).distance
    assert found is not None
    assert found.cm == pytest.approx(actual, abs=1e-6)


def test_with_several_distances_one_number_of_centimetres_explains_all() -> None:
    """4 cm too near at 67, 50 and 40 cm alike: the 4 cm come back, and each distance alone would give another shift."""
    rows = [
        entry(one, ret=SphCyl(vergence(cm - 4) - vergence(cm)), cm=cm)
        for one, cm in enumerate((67, 67, 67, 67, 67, 50, 50, 50, 50, 40, 40, 40), start=1)
    ]
    found = evidence_of(rows).distance
    assert found is not None
    assert found.several
    assert found.allowed_cm == 67
    assert found.nearer_cm == pytest.approx(4, abs=1e-4)


def test_a_shift_beyond_the_whole_distance_has_no_explanation() -> None:
    """At 50 cm the distance is 2.00 D: −2.50 D is more than an endless distance would cost."""
    found = evidence_of([entry(one, ret=SphCyl(-2.5), cm=50) for one in range(1, 13)]).distance
    assert found is not None
    assert found.cm is None
    assert found.interval == (math.inf, math.inf)


def test_the_explaining_angle_is_the_inverse_of_the_band() -> None:
    for angle in (4.0, 8.0, 15.0, 22.0):
        little, much = astigmatism_band(angle)
        least, most = explaining_angle((little * much) ** 0.5)
        assert least < angle
        assert most is None or most > angle
        assert explaining_angle(much)[0] == pytest.approx(angle, abs=0.5)
        assert explaining_angle(little)[1] == pytest.approx(angle, abs=0.5)
    assert explaining_angle(9.0)[1] is None


# --- single conditions -------------------------------------------------------------------------------------------


def test_under_ten_eyes_or_six_patients_nothing_is_asked() -> None:
    for rows in (log(patients=4), log(patients=5), [entry(one) for one in range(1, 10)]):
        found = evidence_of(rows)
        assert not found.enough
        assert found.tests == ()
    assert evidence_of(log(patients=6)).enough
    assert evidence_of([]).eyes == 0


def test_two_eyes_of_a_patient_are_one_witness() -> None:
    """A shift told from copies of one eye must not grow surer by the copying."""
    alone = [entry(one, ret=SphCyl(0.2 + 0.4 * (one % 2))) for one in range(1, 13)]
    twice = alone + [entry(one.patient, "left", one.retinoscopy) for one in alone]
    first, second = (evidence_of(rows).test("distance") for rows in (alone, twice))
    assert first is not None
    assert second is not None
    assert first.n == second.n
    assert first.p == pytest.approx(second.p)


def test_an_eye_with_its_distance_left_in_is_named_and_left_out() -> None:
    rows = log(patients=15, seed=4)
    place = 9
    was = rows[place]
    rows[place] = entry(was.patient, was.eye, was.end_point + SphCyl(1.5), was.end_point, day=30)
    found = evidence_of(rows)
    assert found.forgotten == ((place, 1),)
    assert found.eyes == 29
    assert evidence_of(log(patients=15, seed=4)).forgotten == ()


def test_dry_and_wet_are_not_mixed() -> None:
    """Dry retinoscopy against a cycloplegic repeat reads more minus by accommodation: no distance comes out of it."""
    rows = log(patients=12) + [entry(one, ret=SphCyl(-1), end_wet=True) for one in range(20, 26)]
    found = evidence_of(rows)
    assert (found.basis, found.left_out, found.eyes) == (ALIKE, 6, 24)
    wet = [entry(one, ret=SphCyl(-1), end_wet=True) for one in range(20, 50)]
    found = evidence_of(log(patients=6) + wet)
    assert (found.basis, found.left_out) == (DRY_WET, 12)
    assert found.distance is None
    assert not {"distance", "scatter", "drift", "accommodation", "eyes-differ"} & {test.id for test in found.tests}


def test_more_minus_where_accommodation_plays_is_claimed_and_more_plus_is_not() -> None:
    def of(shift: float) -> Evidence:
        rng = np.random.default_rng(2)
        return evidence_of(
            [
                entry(
                    one,
                    ret=SphCyl((shift if one % 2 else 0) + rng.normal(0, 0.33)),
                    age=("40-or-over", "under-20")[one % 2],
                )
                for one in range(1, 41)
            ]
        )

    assert of(-0.6).claims("accommodation")
    assert not of(0.6).claims("accommodation")
    assert not of(0).claims("accommodation")


def test_a_change_over_time_is_claimed() -> None:
    rng = np.random.default_rng(3)
    rows = [entry(one, ret=SphCyl(-0.4 + 0.02 * one + rng.normal(0, 0.3)), day=3 * one) for one in range(1, 41)]
    found = evidence_of(rows)
    assert found.claims("drift")
    assert found.line is not None
    assert 3 * found.line.slope == pytest.approx(0.02, abs=0.01)


def test_the_two_eyes_read_unlike_are_claimed() -> None:
    rng = np.random.default_rng(3)
    rows = [
        entry(one, eye, ret=SphCyl((0.3 if eye == "right" else -0.3) + rng.normal(0, 0.33)))
        for one in range(1, 21)
        for eye in ("right", "left")
    ]
    found = evidence_of(rows)
    assert found.claims("eyes-differ")
    assert not found.claims("distance")


def test_wide_scatter_without_bias_is_claimed_as_that_alone() -> None:
    found = evidence_of(log(patients=25, scatter=2.6, seed=11))
    assert "scatter" in claims(found)
    assert "distance" not in claims(found)
    assert not evidence_of(log(patients=25, seed=11)).claims("scatter")
    # McCullough et al. 2017: −0.90 to +0.78 is 2 × 1.96 SD.
    assert pytest.approx(0.4286, abs=0.0005) == USUAL_SD


def test_axes_that_scatter_are_claimed() -> None:
    """Axes at random: within 20° in 40/180 of eyes, where 71 % were within in the published study."""
    rng = np.random.default_rng(1)
    rows = [entry(one, ret=SphCyl(0, -1, int(rng.integers(1, 181))), end=SphCyl(0, -1, 90)) for one in range(1, 31)]
    found = evidence_of(rows)
    assert found.claims("axis-scatter")
    assert found.axes_within is not None
    assert found.axes_within[1] == 30
    steady = evidence_of([entry(one, ret=SphCyl(0, -1, 95), end=SphCyl(0, -1, 90)) for one in range(1, 31)])
    assert steady.axes_within == (30, 30)
    assert not steady.claims("axis-scatter")


def test_a_log_that_agrees_to_the_last_digit_claims_nothing() -> None:
    """Rounded records often agree fully: no scatter must not be taken for certainty of a bias."""
    rows = [
        entry(one, eye, SphCyl(-1, -0.5, 90), SphCyl(-1, -0.5, 90)) for one in range(1, 13) for eye in ("right", "left")
    ]
    assert claims(evidence_of(rows)) == set()


@given(st.integers(1, 180), st.integers(1, 180))
def test_axes_are_turned_as_counted_on_the_dial(own: int, end: int) -> None:
    sizes, turns = cylinders_and_axes(sample_of([entry(1, ret=SphCyl(1, -2, own), end=SphCyl(0, -1, end))]))
    assert sizes[0] == pytest.approx(1.5)
    assert math.isclose(math.cos(math.radians(2 * (turns[0] - own + end))), 1, abs_tol=1e-9)
    assert -90 <= turns[0] <= 90
