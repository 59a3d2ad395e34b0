"""The lens and its algebra, against published tables and by two routes that share nothing but the definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cases.errors import CaseError, NoFiniteEquivalent, OutOfRange
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SAME_LENS, SphCyl, moved_power

powers = st.floats(-20, 20)
axes = st.floats(0.01, 180)
lenses = st.builds(SphCyl, powers, st.floats(-8, 8), axes)
cylinders = st.builds(SphCyl, powers, st.floats(0.25, 8) | st.floats(-8, -0.25), axes)


def lens(sphere: float, cylinder: float = 0, axis: float = 180) -> SphCyl:
    return SphCyl(sphere, cylinder, axis)


def by_eigenvectors(P: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> SphCyl:
    """Read the minus-cylinder lens off a power matrix by numpy's eigen-decomposition, a route of its own.

    The larger eigenvalue is the sphere, and its eigenvector lies along the axis, where no cylinder acts.
    """
    values, vectors = np.linalg.eigh(P)
    x, y = vectors[:, 1]
    return SphCyl(values[1], values[0] - values[1], axis_of(math.degrees(math.atan2(y, x))))


# ---- forms of a prescription

# (source, lens, the same transposed). B01 to B11: NFOS optician course, module 8, practice answers, lenses 1, 3, 5, 7,
# 9 and 11. B14, B16: Eye and Contacts, examples 1 and 3. B18: OptomInsight, simple transposition, example 1.
TRANSPOSED = [
    ("B01", lens(3.5), lens(3.5)),
    ("B03", lens(0.5, -2, 30), lens(-1.5, 2, 120)),
    ("B05", lens(2, -3, 20), lens(-1, 3, 110)),
    ("B07", lens(-16.75, -2, 179), lens(-18.75, 2, 89)),
    ("B09", lens(0.25, -1, 2), lens(-0.75, 1, 92)),
    ("B11", lens(0.25, -0.5, 135), lens(-0.25, 0.5, 45)),
    ("B14", lens(2.5, -1.5, 170), lens(1, 1.5, 80)),
    ("B16", lens(1.75, -3.25, 40), lens(-1.5, 3.25, 130)),
    ("B18", lens(1, 1, 90), lens(2, -1, 180)),
]


@pytest.mark.parametrize(("source", "given_lens", "other"), TRANSPOSED)
def test_published_transpositions(source: str, given_lens: SphCyl, other: SphCyl) -> None:
    form = "plus" if given_lens.cylinder <= 0 else "minus"
    assert given_lens.in_form(form) == other, source
    assert given_lens.equals(other, 1e-9)


def test_published_spherical_equivalent() -> None:
    # B24: Mathebula & Rubin 2022, BMJ Open Ophthalmol 7:e000954 gives the mean prescription; its equivalent computed.
    assert lens(-7.68, -4.5, 10).spherical_equivalent == pytest.approx(-9.93)


@given(lenses)
def test_transposing_twice_changes_nothing(rx: SphCyl) -> None:
    again = rx.transposed().transposed()
    assert (again.sphere, again.cylinder) == pytest.approx((rx.sphere, rx.cylinder), abs=1e-9)
    assert axis_gap(again.axis, rx.axis) < 1e-6


@given(lenses, axes)
def test_both_forms_have_the_same_power_everywhere(rx: SphCyl, meridian: float) -> None:
    for other in (rx.transposed(), rx.minus_form(), rx.plus_form()):
        assert other.power_at(meridian) == pytest.approx(rx.power_at(meridian), abs=1e-6)
    assert rx.minus_form().cylinder <= 0 <= rx.plus_form().cylinder


def test_a_sphere_takes_axis_180_in_either_form() -> None:
    assert lens(1, 0, 35).minus_form() == lens(1, 0, 35).plus_form() == lens(1, 0, 180)


@given(lenses)
def test_the_equivalent_is_the_mean_of_any_two_powers_at_right_angles(rx: SphCyl) -> None:
    for meridian in (180, 33, rx.axis):
        mean = (rx.power_at(meridian) + rx.power_at(across(meridian))) / 2
        assert mean == pytest.approx(rx.spherical_equivalent, abs=1e-9)


# ---- the power along a meridian

# The share of the cylinder at this many degrees from its axis: the sine-squared law at the angles where it is a plain
# fraction; Bennett & Rabbetts, Clinical Visual Optics (from memory).
SHARES = [(0, 0), (30, 0.25), (45, 0.5), (60, 0.75), (90, 1)]


@pytest.mark.parametrize(("angle", "share"), SHARES)
@pytest.mark.parametrize("side", [-1, 1])
def test_the_share_of_a_cylinder_along_a_meridian(angle: float, share: float, side: int) -> None:
    assert lens(1, -2, 70).power_at(70 + side * angle) == pytest.approx(1 - 2 * share)


@given(lenses, st.floats(1, 180))
def test_the_power_along_a_meridian_is_that_of_the_matrix(rx: SphCyl, meridian: float) -> None:
    u = np.array([math.cos(math.radians(meridian)), math.sin(math.radians(meridian))])
    assert u @ rx.power_matrix() @ u == pytest.approx(rx.power_at(meridian), abs=1e-9)


@given(axes, powers, powers)
def test_two_powers_at_right_angles_make_the_lens_that_has_them(meridian: float, one: float, other: float) -> None:
    rx = SphCyl.from_meridians(meridian, one, other)
    assert rx.power_at(meridian) == pytest.approx(one, abs=1e-9)
    assert rx.power_at(meridian + 90) == pytest.approx(other, abs=1e-9)


# Neutral spheres in two meridians less the distance; the questions are from published mock examinations, the answers
# computed by hand for the curriculum. (powers at 180 and 90 or 45 and 135, D off, net)
CROSSES = [
    (180, 2.25, 3.0, 1.5, lens(1.5, -0.75, 90)),
    (180, 2.25, -0.25, 1.5, lens(0.75, -2.5, 180)),
    (135, 2.0, -1.0, 1.5, lens(0.5, -3.0, 135)),
]


@pytest.mark.parametrize(("meridian", "power", "power_across", "off", "net"), CROSSES)
def test_reference_crosses(meridian: float, power: float, power_across: float, off: float, net: SphCyl) -> None:
    rx = SphCyl.from_meridians(meridian, power - off, power_across - off).minus_form()
    assert rx.equals(net, 1e-9)
    assert (rx.sphere, rx.cylinder, rx.axis) == pytest.approx((net.sphere, net.cylinder, net.axis))


def test_the_first_reference_lens_in_plus_form() -> None:
    assert lens(1.5, -0.75, 90).plus_form() == lens(0.75, 0.75, 180)


# ---- power vectors and power matrices


# C11: Long 1976, Am J Optom Physiol Opt 53:27, abstract read, the entries from memory; the test above holds them to
# the power along every meridian, and by_eigenvectors to the axis.
def test_the_power_matrix_of_a_published_example() -> None:
    P = lens(1, -2, 30).power_matrix()
    np.testing.assert_allclose(P, [[0.5, 0.866], [0.866, -0.5]], atol=0.0005)
    M, J0, J45 = lens(1, -2, 30).power_vector()
    np.testing.assert_allclose(P, [[M + J0, J45], [J45, M - J0]], atol=1e-12)


@given(lenses)
def test_vectors_and_matrices_give_the_lens_back(rx: SphCyl) -> None:
    assert SphCyl.from_power_vector(*rx.power_vector()).equals(rx, 1e-9)
    assert SphCyl.from_power_matrix(rx.power_matrix()).equals(rx, 1e-9)


@given(cylinders)
def test_eigenvectors_find_the_same_sphere_cylinder_and_axis(rx: SphCyl) -> None:
    ours, theirs = rx.minus_form(), by_eigenvectors(rx.power_matrix())
    assert (ours.sphere, ours.cylinder) == pytest.approx((theirs.sphere, theirs.cylinder), abs=1e-9)
    assert axis_gap(ours.axis, theirs.axis) < 1e-4


@given(lenses)
def test_a_power_vector_is_as_long_as_its_parts(rx: SphCyl) -> None:
    # Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367: the length of (J0, J45) is half the cylinder.
    _, J0, J45 = rx.power_vector()
    assert 2 * math.hypot(J0, J45) == pytest.approx(abs(rx.cylinder), abs=1e-9)


# ---- sums


# Curriculum's reference vector: components added naively would give −2.50 / −1.75.
def test_the_reference_sum() -> None:
    total = lens(-3, -1, 180) + lens(0.5, -0.75, 45)
    assert (total.sphere, total.cylinder) == pytest.approx((-2.75, -1.25), abs=0.005)
    assert total.axis == pytest.approx(18, abs=0.5)


def tionet(first: float, second: float, angle: float) -> SphCyl:
    """Add a cylinder × 180 and one whose axis lies `angle` degrees on, both plus, as the published formula has it.

    C05: The Indian Optician, May–June 2022, p. 105.
    """
    double = math.radians(2 * angle)
    cylinder = math.sqrt(first**2 + second**2 + 2 * first * second * math.cos(double))
    axis = math.degrees(math.atan2(second * math.sin(double), first + second * math.cos(double))) / 2
    return SphCyl((first + second - cylinder) / 2, cylinder, axis_of(axis))


@given(st.floats(0.25, 8), st.floats(0.25, 8), st.floats(0, 89))
def test_sums_are_those_of_the_published_formula(first: float, second: float, angle: float) -> None:
    ours = lens(0, first, 180) + lens(0, second, axis_of(angle))
    assert ours.equals(tionet(first, second, angle), 1e-6)


@given(st.floats(0.25, 8), st.floats(1, 89))
def test_equal_cylinders_meet_half_way(power: float, angle: float) -> None:
    # C05 again: for equal powers the axis is half-way, S = 2F sin²(a/2), C = 2(F − S).
    total = (lens(0, power, 180) + lens(0, power, angle)).plus_form()
    sphere = 2 * power * math.sin(math.radians(angle / 2)) ** 2
    assert total.sphere == pytest.approx(sphere, abs=1e-6)
    assert total.cylinder == pytest.approx(2 * (power - sphere), abs=1e-6)


def test_the_worked_example_of_the_published_formula() -> None:
    # C05, its check: +2 × 30 with +2 × 60 makes S 0.2679, C 3.4641, axis 45.
    total = (lens(0, 2, 30) + lens(0, 2, 60)).plus_form()
    assert (total.sphere, total.cylinder, total.axis) == pytest.approx((0.2679, 3.4641, 45), abs=0.00005)


@given(lenses, lenses)
def test_sums_by_vectors_are_sums_by_matrices(first: SphCyl, second: SphCyl) -> None:
    by_matrix = by_eigenvectors(first.power_matrix() + second.power_matrix())
    assert (first + second).equals(by_matrix, 1e-9)


@given(lenses, lenses, axes)
def test_powers_of_a_sum_add_up_in_every_meridian(first: SphCyl, second: SphCyl, meridian: float) -> None:
    assert (first + second).power_at(meridian) == pytest.approx(
        first.power_at(meridian) + second.power_at(meridian), abs=1e-6
    )


@given(lenses, lenses, lenses)
def test_sums_commute_and_may_be_grouped(a: SphCyl, b: SphCyl, c: SphCyl) -> None:
    assert (a + b).equals(b + a, 1e-9)
    assert ((a + b) + c).equals(a + (b + c), 1e-9)


@given(lenses, lenses)
def test_what_is_added_can_be_taken_off(first: SphCyl, second: SphCyl) -> None:
    assert (first + second - second).equals(first, 1e-9)
    assert (first + -first).strongest < 1e-9


# ---- a cylinder at the wrong axis

# (cylinder needed and worn, degrees out, over-refraction sphere, its cylinder, its axis from the needed axis on the
# other side). C08: IACLE Contact Lens Course, module 3 (1st ed.), lecture 3.3, appendix B, p. 127, printed to 0.01 D.
IACLE = [
    (-0.75, 10, 0.13, -0.26, 40.0),
    (-0.75, 20, 0.26, -0.51, 35.0),
    (-0.75, 45, 0.53, -1.06, 22.5),
    (-1.0, 10, 0.17, -0.35, 40.0),
    (-1.0, 20, 0.34, -0.68, 35.0),
    (-1.0, 30, 0.5, -1.0, 30.0),
    (-1.0, 40, 0.64, -1.29, 25.0),
    (-2.0, 5, 0.17, -0.35, 42.5),
    (-2.0, 15, 0.52, -1.04, 37.5),
    (-2.0, 25, 0.85, -1.69, 32.5),
    (-2.0, 45, 1.41, -2.83, 22.5),
    (-3.0, 10, 0.52, -1.04, 40.0),
    (-3.0, 30, 1.5, -3.0, 30.0),
]


@pytest.mark.parametrize(("cylinder", "out", "sphere", "left", "axis_from_rx"), IACLE)
@pytest.mark.parametrize("way", [-1, 1])
def test_the_published_table_of_mislocated_cylinders(
    cylinder: float, out: float, sphere: float, left: float, axis_from_rx: float, way: int
) -> None:
    residual = lens(-1, cylinder, 70) - lens(-1, cylinder, 70 + way * out)
    assert residual.sphere == pytest.approx(sphere, abs=0.0051)
    assert residual.cylinder == pytest.approx(left, abs=0.0051)
    assert residual.axis == pytest.approx(axis_of(70 - way * axis_from_rx), abs=1e-6)


def test_ten_degrees_leave_about_a_third() -> None:
    # C09: Felipe et al. 2011, J Cataract Refract Surg (abstract): a third; exactly 2 sin 10° = 0.347.
    residual = lens(0, -3, 90) - lens(0, -3, 100)
    assert residual.cylinder / -3 == pytest.approx(1 / 3, abs=0.015)
    exact = lens(0, -3, 90) - lens(0, -3, 90 + math.degrees(math.asin(1 / 6)))
    assert exact.cylinder / -3 == pytest.approx(1 / 3)


def test_the_reference_axis_error() -> None:
    residual = lens(0, -2, 180) - lens(0, -2, 10)
    assert (residual.sphere, residual.cylinder) == pytest.approx((0.35, -0.69), abs=0.005)
    assert residual.axis == pytest.approx(140)


@given(cylinders, st.floats(0.5, 89.5))
def test_an_axis_error_leaves_twice_the_sine_and_no_mean_power(rx: SphCyl, out: float) -> None:
    residual = rx - SphCyl(rx.sphere, rx.cylinder, axis_of(rx.axis + out))
    assert residual.spherical_equivalent == pytest.approx(0, abs=1e-9)
    assert abs(residual.cylinder) == pytest.approx(2 * abs(rx.cylinder) * math.sin(math.radians(out)), abs=1e-6)


# ---- change of plane

# Curriculum's reference vectors, computed; (power, mm towards the eye, power there).
MOVED = [(-8.0, 12, -7.30), (8.0, 12, 8.85), (-4.0, 12, -3.82), (-6.0, 12, -5.60), (-9.0, 12, -8.12)]


@pytest.mark.parametrize(("power", "toward_eye_mm", "there"), MOVED)
def test_reference_moves(power: float, toward_eye_mm: float, there: float) -> None:
    assert moved_power(power, toward_eye_mm=toward_eye_mm) == pytest.approx(there, abs=0.005)
    assert lens(power).moved(toward_eye_mm).sphere == pytest.approx(there, abs=0.005)


def test_both_meridians_are_moved() -> None:
    there = lens(-6, -3, 25).moved(12)
    assert (there.sphere, there.sphere + there.cylinder) == pytest.approx((-5.60, -8.12), abs=0.005)
    assert there.cylinder == pytest.approx(-2.53, abs=0.01)
    assert there.axis == 25


def test_a_published_error_of_instrument_distance() -> None:
    # D18: D. R. Neal, ASCRS 2012, as reported: 2 mm at 10 D cost 0.2 D (rule dF = d·F²).
    assert moved_power(10, toward_eye_mm=2) - 10 == pytest.approx(0.2, abs=0.005)


@given(st.floats(0.5, 20) | st.floats(-20, -0.5), st.floats(-20, 20))
def test_a_moved_lens_keeps_its_focus(power: float, toward_eye_mm: float) -> None:
    # The focus stays where it is, so its distance is reckoned from the new plane: a route without the formula.
    focus_mm = 1000 / power - toward_eye_mm
    assume(abs(focus_mm) > 1)
    assert moved_power(power, toward_eye_mm=toward_eye_mm) == pytest.approx(1000 / focus_mm, rel=1e-9)


@given(lenses, st.floats(-15, 15))
def test_there_and_back_is_where_it_began(rx: SphCyl, toward_eye_mm: float) -> None:
    assert rx.moved(toward_eye_mm).moved(-toward_eye_mm).equals(rx, 1e-6)


@given(lenses, st.floats(-15, 15))
def test_form_and_plane_do_not_mind_each_other(rx: SphCyl, toward_eye_mm: float) -> None:
    assert rx.transposed().moved(toward_eye_mm).equals(rx.moved(toward_eye_mm), 1e-9)


@given(st.floats(0.5, 20), st.floats(0.5, 15))
def test_nearer_the_eye_plus_grows_and_minus_shrinks(power: float, toward_eye_mm: float) -> None:
    assert moved_power(power, toward_eye_mm=toward_eye_mm) > power
    assert -power < moved_power(-power, toward_eye_mm=toward_eye_mm) < 0


def test_a_plane_at_the_focus_has_no_power() -> None:
    with pytest.raises(NoFiniteEquivalent, match=r"\+50.00 D moved by \+20.0 mm has no finite equivalent"):
        lens(50).moved(20)
    with pytest.raises(NoFiniteEquivalent):
        lens(40, 10, 30).moved(20)


# ---- angles and what is refused


@given(st.floats(-1000, 1000))
def test_any_angle_becomes_an_axis(angle: float) -> None:
    axis = axis_of(angle)
    assert 0 < axis <= 180
    assert axis_gap(axis, angle % 180) < 1e-6


@given(axes, axes)
def test_two_axes_are_at_most_a_right_angle_apart(a: float, b: float) -> None:
    assert 0 <= axis_gap(a, b) <= 90
    assert axis_gap(a, b) == pytest.approx(axis_gap(b, a))
    assert axis_gap(a, across(a)) == pytest.approx(90)


@pytest.mark.parametrize(("angle", "axis"), [(0, 180), (180, 180), (181, 1), (-10, 170), (360, 180), (95, 95)])
def test_axes_of_angles(angle: float, axis: float) -> None:
    # ISO 8429: the dial runs from 0 to 180; 0 is written 180 (common practice).
    assert axis_of(angle) == axis


def test_what_is_no_lens_is_refused_with_the_way_out() -> None:
    with pytest.raises(OutOfRange, match="axis 0: write 180; axes run from 1 to 180"):
        lens(1, -1, 0)
    with pytest.raises(OutOfRange, match="axis 181: axes run from 1 to 180"):
        lens(1, -1, 181)
    with pytest.raises(CaseError, match="sphere nan: a finite number is needed"):
        lens(math.nan)
    with pytest.raises(CaseError, match="cylinder inf"):
        lens(0, math.inf)


def test_lenses_are_compared_as_lenses() -> None:
    assert lens(1, -0.5, 90).equals(lens(0.5, 0.5, 180))
    assert lens(1, 0, 20).equals(lens(1, 0, 160))
    assert not lens(1, -0.5, 90).equals(lens(1, -0.5, 92))
    assert lens(1).equals(lens(1 + SAME_LENS * 0.99))
    assert not lens(1).equals(lens(1 + SAME_LENS * 1.01))
    assert lens(1, -3, 20).strongest == 2
