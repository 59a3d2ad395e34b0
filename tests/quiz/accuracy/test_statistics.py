"""The log's statistics against printed examples, scipy, and second routes. Sources stand beside each check."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from quiz.accuracy.sample import Sample
from quiz.accuracy.statistics import (
    adjusted,
    agreement,
    ellipses,
    fewer_than,
    hotelling,
    less_than,
    limits,
    per_patient,
    right_less_left,
    straight_line,
    t_test,
    wider_than,
)
from tests.quiz.accuracy.accuracy_logs import sample

Floats = NDArray[np.float64]

WRIGHT = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
"""Peak expiratory flow in l/min of 17 subjects, first measure by each of two meters: Bland & Altman 1986, Lancet i:307,
table (from memory; the test of the printed summary shows that it was remembered rightly)."""

SWEAT = (
    *((3.7, 48.5, 9.3), (5.7, 65.1, 8.0), (3.8, 47.2, 10.9), (3.2, 53.2, 12.0), (3.1, 55.5, 9.7), (4.6, 36.1, 7.9)),
    *((2.4, 24.8, 14.0), (7.2, 33.1, 7.6), (6.7, 47.4, 8.5), (5.4, 54.1, 11.3), (3.9, 36.9, 12.7), (4.5, 58.8, 12.3)),
    *((3.5, 27.8, 9.8), (4.5, 40.2, 8.4), (1.5, 13.5, 10.1), (8.5, 56.4, 7.1), (4.5, 71.6, 8.2), (6.5, 52.8, 10.9)),
    *((4.1, 44.1, 11.2), (5.5, 40.9, 9.4)),
)
"""Sweat rate, sodium and potassium of 20 women: Johnson & Wichern, Applied Multivariate Statistical Analysis, example
5.2 (from memory; the printed mean and T² below come out of it)."""


def one_eye_each(n: int) -> Sample:
    who = np.arange(n)
    nobody, rest = np.zeros((n, 3)), np.zeros(n)
    return Sample(who, who > -1, nobody, nobody, nobody, rest, rest, rest, rest)


# --- limits of agreement -----------------------------------------------------------------------------------------


def test_the_flow_meters_come_out_as_printed() -> None:
    """Bland & Altman 1986, Lancet i:307: mean −2.1, SD 38.8 l/min; 95 % interval of the bias −22.0 to 17.8."""
    one = agreement(np.array(WRIGHT, float) - np.array(MINI, float), one_eye_each(17))
    assert (round(one.mean, 1), round(one.sd, 1)) == (-2.1, 38.8)
    # Printed from the rounded −2.1 and 9.4, hence the tenth.
    assert one.mean_interval.low == pytest.approx(-22.0, abs=0.1)
    assert one.mean_interval.high == pytest.approx(17.8, abs=0.1)
    # The paper of 1986 has mean ± 2 SD, −79.7 and 75.5; that of 1999 writes 1.96: −78.1 and 73.9.
    assert one.low == pytest.approx(-78.1, abs=0.05)
    assert one.high == pytest.approx(73.9, abs=0.05)
    # Its standard error of a limit, √(3 SD²/n) = 16.3, rounds 1 + 1.96²/2 up to 3 and n − 1 to n.
    assert (one.high_interval.high - one.high) / 2.12 == pytest.approx(16.3, abs=0.2)


def test_the_blood_pressures_come_out_as_printed() -> None:
    """Bland & Altman 1999, Stat Methods Med Res 8:135: n 85, mean −16.29, SD 19.61 mmHg (from memory)."""
    one = limits(-16.29, 19.61, error=19.61 / math.sqrt(85), freedom=84)
    assert (round(one.low, 1), round(one.high, 1)) == (-54.7, 22.1)
    assert (round(one.mean_interval.low, 1), round(one.mean_interval.high, 1)) == (-20.5, -12.1)
    # The tenth: printed from 1.71 SD/√n, rounded.
    assert one.low_interval.low == pytest.approx(-61.9, abs=0.11)
    assert one.low_interval.high == pytest.approx(-47.5, abs=0.11)
    assert one.high_interval.low == pytest.approx(14.9, abs=0.11)
    assert one.high_interval.high == pytest.approx(29.3, abs=0.11)


def test_with_one_eye_a_patient_it_is_the_ordinary_mean_and_sd() -> None:
    values = np.random.default_rng(4).normal(0.1, 0.4, 30)
    one = agreement(values, one_eye_each(30))
    assert one.mean == pytest.approx(values.mean())
    assert one.sd == pytest.approx(values.std(ddof=1))
    low, high = stats.t.interval(0.95, 29, values.mean(), stats.sem(values))
    assert one.mean_interval.low == pytest.approx(low)
    assert one.mean_interval.high == pytest.approx(high)


@pytest.mark.parametrize("shared", [0.0, 0.5, 1.0])
def test_with_both_eyes_the_sd_of_an_eye_is_without_bias(shared: float) -> None:
    """The mean of the squared SD over many logs is the planted variance, however much the two eyes share."""
    rng = np.random.default_rng(7)
    squares = [
        agreement(one.difference[:, 0], one).sd ** 2
        for one in (sample(rng, patients=8, shared=shared) for _ in range(1500))
    ]
    assert np.mean(squares) == pytest.approx(0.33**2, rel=0.03)


def test_limits_hold_their_true_value_in_95_of_100_logs() -> None:
    """Bland & Altman's interval for a limit is an approximation: 93 to 97 of 100 are asked of it at 30 patients."""
    rng = np.random.default_rng(8)
    truth = 1.959964 * 0.33
    held = [
        agreement(one.difference[:, 0], one).high_interval.holds(truth)
        for one in (sample(rng, patients=30, eyes=1) for _ in range(2000))
    ]
    assert 0.93 <= np.mean(held) <= 0.97


def test_two_eyes_that_are_copies_count_as_one() -> None:
    values = np.random.default_rng(5).normal(0.1, 0.4, 12)
    twice = np.repeat(values, 2)
    who = np.repeat(np.arange(12), 2)
    nobody, rest = np.zeros((24, 3)), np.zeros(24)
    pairs = Sample(who, np.tile([True, False], 12), nobody, nobody, nobody, rest, rest, rest, rest)
    alone, both = agreement(values, one_eye_each(12)), agreement(twice, pairs)
    assert both.mean_interval.low == pytest.approx(alone.mean_interval.low)
    assert both.high_interval.high == pytest.approx(alone.high_interval.high)


def test_patients_and_sides_are_put_together_by_hand() -> None:
    """Patient 3: right 1 and 3 (mean 2), left 4: 3 in all, right less left −2. Patient 5 has a left eye alone: 7."""
    who, right = np.array([3, 5, 3, 3]), np.array([True, False, False, True])
    nobody, rest = np.zeros((4, 3)), np.zeros(4)
    one = Sample(who, right, nobody, nobody, nobody, rest, rest, rest, rest)
    values = np.array([[1.0], [7.0], [4.0], [3.0]])
    np.testing.assert_allclose(per_patient(values, one), [[3], [7]])
    np.testing.assert_allclose(right_less_left(values, one), [[-2]])


# --- single tests, against scipy ---------------------------------------------------------------------------------


def test_single_tests_agree_with_scipy() -> None:
    rng = np.random.default_rng(6)
    a, b = rng.normal(0.2, 0.5, 18), rng.normal(0.4, 0.2, 11)
    assert t_test(a) == pytest.approx(stats.ttest_1samp(a, 0).pvalue)
    assert less_than(a, b) == pytest.approx(stats.ttest_ind(a, b, equal_var=False, alternative="less").pvalue)
    assert wider_than(0.5, 20, 0.43) == pytest.approx(stats.chi2.sf(20 * 0.5**2 / 0.43**2, 20))
    assert fewer_than(8, 20, 0.71) == pytest.approx(stats.binomtest(8, 20, 0.71, alternative="less").pvalue)


def test_a_straight_line_agrees_with_scipy() -> None:
    rng = np.random.default_rng(2)
    x = rng.uniform(700000, 700300, 25)
    y = 0.002 * (x - 700100) + rng.normal(0, 0.3, 25)
    mine, theirs = straight_line(x, y), stats.linregress(x, y)
    assert mine is not None
    assert mine.slope == pytest.approx(theirs.slope)
    assert mine.p == pytest.approx(theirs.pvalue)
    wide = stats.t.ppf(0.975, 23) * theirs.stderr
    assert mine.slope_interval.low == pytest.approx(theirs.slope - wide)
    assert mine.value(700200.0) == pytest.approx(theirs.intercept + theirs.slope * 700200)
    assert straight_line(np.ones(5), y[:5]) is None


def test_values_without_scatter_are_decided_without_dividing() -> None:
    assert t_test(np.zeros(9)) == 1
    assert t_test(np.full(9, 0.25)) == 0
    assert less_than(np.zeros(5), np.zeros(6)) == 1
    assert less_than(np.full(5, -0.25), np.zeros(6)) == 0
    exact = straight_line(np.arange(5.0), np.arange(5.0))
    assert exact is not None
    assert exact.p == 0


# --- vectors -----------------------------------------------------------------------------------------------------


def test_the_sweat_of_twenty_women_comes_out_as_printed() -> None:
    """Johnson & Wichern, example 5.2: T² 9.74 for (4, 50, 10), beyond the 8.18 of 10 %."""
    data = np.array(SWEAT)
    np.testing.assert_allclose(data.mean(axis=0), [4.640, 45.400, 9.965], atol=5e-4)
    one = hotelling(data - [4, 50, 10])
    assert one is not None
    assert one.t_squared == pytest.approx(9.74, abs=0.005)
    assert 0.05 < one.p < 0.10


def test_in_one_dimension_it_is_student() -> None:
    values = np.random.default_rng(3).normal(0.2, 0.5, 15)
    one = hotelling(np.column_stack([values, np.zeros(15)]))
    assert one is not None
    assert one.dimensions == 1
    assert one.p == pytest.approx(t_test(values))


@given(st.integers(0, 10_000))
def test_it_does_not_depend_on_how_the_axes_lie(seed: int) -> None:
    rng = np.random.default_rng(seed)
    data, turn = rng.normal(0.2, 1, (12, 3)), rng.normal(size=(3, 3)) + 3 * np.eye(3)
    one, other = hotelling(data), hotelling(data @ turn)
    assert one is not None
    assert other is not None
    assert one.t_squared == pytest.approx(other.t_squared, rel=1e-6)


def test_too_few_vectors_give_no_test_and_no_scatter_gives_certainty() -> None:
    assert hotelling(np.zeros((3, 3))) is None
    nothing = hotelling(np.zeros((8, 3)))
    assert nothing is not None
    assert nothing.p == 1
    steady = hotelling(np.column_stack([np.random.default_rng(1).normal(size=8), np.full(8, 0.25)]))
    assert steady is not None
    assert steady.p == 0


def test_the_mean_s_ellipse_holds_nought_when_the_test_says_so() -> None:
    """Two routes to one thing: zero is inside the 95 % ellipse of the mean just when T² has p above 0.05."""
    rng = np.random.default_rng(9)
    verdicts = set()
    for _ in range(60):
        one = sample(rng, patients=10, J=(0.08, 0.05, 0.08, -0.05))
        values = one.mirrored[:, 1:]
        ellipse, test = ellipses(values, one)[1], hotelling(per_patient(values, one))
        turn = math.radians(ellipse.angle)
        (x, y), (a, b) = ellipse.centre, ellipse.half
        along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
        inside = (along / a) ** 2 + (across / b) ** 2 <= 1
        assert test is not None
        assert inside == (test.p >= 0.05)
        verdicts.add(inside)
    assert verdicts == {True, False}


def test_the_ellipse_of_an_eye_holds_95_of_100() -> None:
    rng = np.random.default_rng(10)
    one = sample(rng, patients=3000, eyes=1)
    values = one.mirrored[:, 1:]
    ellipse = ellipses(values, one)[0]
    turn = math.radians(ellipse.angle)
    off = values - ellipse.centre
    along = off @ [math.cos(turn), math.sin(turn)]
    across = off @ [-math.sin(turn), math.cos(turn)]
    inside = (along / ellipse.half[0]) ** 2 + (across / ellipse.half[1]) ** 2 <= 1
    assert inside.mean() == pytest.approx(0.95, abs=0.012)


# --- many tests --------------------------------------------------------------------------------------------------


def by_closing(ps: dict[str, float], weights: dict[str, float]) -> dict[str, float]:
    """Find the same by brute force: a claim needs every intersection that holds it refused by weighted Bonferroni.

    Closed testing: Marcus, Peritz & Gabriel 1976, Biometrika 63:655.
    """
    out = {}
    for name in ps:
        others = [one for one in ps if one != name]
        worst = 0.0
        for size in range(len(others) + 1):
            for rest in itertools.combinations(others, size):
                together = (name, *rest)
                whole = sum(weights[one] for one in together)
                worst = max(worst, min(ps[one] * whole / weights[one] for one in together))
        out[name] = min(1.0, worst)
    return out


@given(
    st.lists(st.tuples(st.floats(1e-6, 1), st.sampled_from((0.01, 0.04, 0.2, 0.56))), min_size=1, max_size=6),
)
def test_sharing_is_the_closed_procedure(tests: list[tuple[float, float]]) -> None:
    ps = {f"t{number}": p for number, (p, _) in enumerate(tests)}
    weights = {f"t{number}": weight for number, (_, weight) in enumerate(tests)}
    mine, theirs = adjusted(ps, weights), by_closing(ps, weights)
    assert mine == {name: pytest.approx(p) for name, p in theirs.items()}


def test_with_equal_weights_it_is_holm_by_hand() -> None:
    """0.01, 0.04, 0.03 → 3 × 0.01, then 2 × 0.03, then 0.04 raised to the 0.06 before it: Holm 1979."""
    mine = adjusted({"a": 0.01, "b": 0.04, "c": 0.03}, dict.fromkeys("abc", 1.0))
    assert mine == {"a": pytest.approx(0.03), "c": pytest.approx(0.06), "b": pytest.approx(0.06)}


def test_what_is_kept_back_is_kept_from_every_test() -> None:
    assert adjusted({"a": 0.04}, {"a": 0.8}, kept_back=0.2) == {"a": pytest.approx(0.05)}


@pytest.mark.parametrize("shared", [0.0, 0.5, 0.9])
def test_the_intervals_of_the_limits_contain_the_true_limits_as_often_as_the_page_says(shared: float) -> None:
    """Simulated: 20 patients, both eyes, SD .4 D, `shared` of the variance common to the eyes of one patient."""
    random, patients, logs = np.random.default_rng(7), 20, 1000
    both = sample(random, patients=patients)
    true = (0.1 - 1.96 * 0.4, 0.1 + 1.96 * 0.4)
    hits = 0
    for _ in range(logs):
        common = random.normal(0, math.sqrt(shared), (patients, 1))
        drawn = 0.1 + 0.4 * (common + random.normal(0, math.sqrt(1 - shared), (patients, 2)))
        found = agreement(drawn.ravel(), both)
        hits += found.low_interval.low <= true[0] <= found.low_interval.high
        hits += found.high_interval.low <= true[1] <= found.high_interval.high
    assert 0.925 < hits / (2 * logs) < 0.99
