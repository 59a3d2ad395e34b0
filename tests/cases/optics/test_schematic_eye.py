"""The schematic eyes against an independent ray trace and published figures; expected vision against its sources."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from cases.errors import OutOfRange
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import (
    LE_GRAND,
    NAVARRO,
    SchematicEye,
    Surface,
    astigmatism_band,
    blur_strength,
    expected_mar,
    induced_astigmatism,
)

Vector = NDArray[np.float64]
EYES = pytest.mark.parametrize("eye", [LE_GRAND, NAVARRO], ids=lambda eye: eye.name)


# --- an independent trace: single rays in space, by Snell's law alone; no Coddington equation is used -------------


def meet(surface: Surface, vertex: float, start: Vector, way: Vector) -> Vector:
    """Find by Newton's method the point of a ray on z = vertex + sag(r)."""
    curve, shape = 1 / surface.radius_mm, 1 + surface.asphericity

    def gap(path: float) -> float:
        x, y, z = start + path * way
        r2 = x * x + y * y
        return float(z - vertex - curve * r2 / (1 + math.sqrt(1 - shape * curve * curve * r2)))

    path = (vertex - start[2]) / way[2]
    for _ in range(30):
        path -= gap(path) / ((gap(path + 1e-5) - gap(path - 1e-5)) / 2e-5)
    return np.asarray(start + path * way)


def bend(surface: Surface, at: Vector, way: Vector, before: float, behind: float) -> Vector:
    """Refract by Snell's law in vector form."""
    r2 = at[0] ** 2 + at[1] ** 2
    root = math.sqrt(surface.radius_mm**2 - (1 + surface.asphericity) * r2)
    tilt = math.copysign(1, surface.radius_mm) / root
    normal = np.array([-at[0] * tilt, -at[1] * tilt, 1.0])
    normal *= math.copysign(1, float(way[2])) / np.linalg.norm(normal)
    ratio, cos = before / behind, float(normal @ way)
    return ratio * way + (math.sqrt(1 - ratio**2 * (1 - cos**2)) - ratio * cos) * normal


def through(eye: SchematicEye, start: Vector, way: Vector, *, outwards: bool = False) -> list[tuple[Vector, Vector]]:
    """Trace one ray; return where it meets each surface and which way it goes on from there."""
    indices = [1.0, *(surface.index for surface in eye.surfaces)]
    vertices = np.cumsum([0.0, *(surface.gap_mm for surface in eye.surfaces[:-1])])
    met = []
    for number in reversed(range(4)) if outwards else range(4):
        surface = eye.surfaces[number]
        before, behind = indices[number], indices[number + 1]
        if outwards:
            before, behind = behind, before
        start = meet(surface, float(vertices[number]), start, way)
        way = bend(surface, start, way, before, behind)
        met.append((start, way))
    return met


def traced_astigmatism(eye: SchematicEye, degrees: float) -> float:
    """Send neighbours of the chief ray in, find the sagittal focus, send a narrow tangential fan out from it."""
    angle = math.radians(degrees)
    way = np.array([0.0, math.sin(angle), math.cos(angle)])

    def pupil_height(height: float) -> float:
        return float(through(eye, np.array([0.0, height, -5.0]), way)[2][0][1])

    low, high = -8 * math.tan(angle) - 1, -8 * math.tan(angle) + 1
    for _ in range(50):
        height = (low + high) / 2
        low, high = (low, height) if pupil_height(height) > 0 else (height, high)
    chief_at, chief_way = through(eye, np.array([0.0, height, -5.0]), way)[-1]
    side_at, side_way = through(eye, np.array([1e-3, height, -5.0]), way)[-1]
    # The two rays of the sagittal pair cross the plane of symmetry together.
    focus = side_at - side_way * side_at[0] / side_way[0]
    back = chief_at + chief_way * float((focus - chief_at) @ chief_way)

    out_at, out_way = through(eye, back, -chief_way, outwards=True)[-1]
    near = np.array([0.0, 1e-5 * math.cos(angle), 0.0])
    fan_way = -chief_way + near
    fan_at, fan_out = through(eye, back, fan_way / np.linalg.norm(fan_way), outwards=True)[-1]
    turn = float(np.cross(out_way, fan_out)[0])
    vertex = out_at + out_way * (-out_at[2] / out_way[2])
    fan = fan_at + fan_out * ((vertex - fan_at) @ out_way) / (fan_out @ out_way)
    apart = float(np.cross(out_way, fan - vertex)[0])
    # A ray leaves at a slope of R·y more than the chief ray: what it gains per height is the correcting power.
    return 1000 * turn / apart


@EYES
@pytest.mark.parametrize("angle", [2.0, 5.0, 10.0, 20.0, 30.0])
def test_coddington_agrees_with_single_rays(eye: SchematicEye, angle: float) -> None:
    """Independent route: Snell's law on single rays, derived here."""
    assert induced_astigmatism(eye, angle) == pytest.approx(traced_astigmatism(eye, angle), rel=1e-3, abs=1e-4)


# --- published figures -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("eye", "power"), [(LE_GRAND, 59.94), (NAVARRO, 60.42)])
def test_power_of_the_eye(eye: SchematicEye, power: float) -> None:
    """Equivalent power in D as listed in Atchison & Smith, Optics of the Human Eye (from memory)."""
    height, slope, before = 1.0, 0.0, 1.0
    for surface in eye.surfaces:
        slope -= height * (surface.index - before) / surface.radius_mm
        height += surface.gap_mm * slope / surface.index
        before = surface.index
    assert -1000 * slope == pytest.approx(power, abs=0.02)


@pytest.mark.parametrize(("angle", "cylinder"), [(5, -0.08), (10, -0.33), (15, -0.76), (20, -1.37)])
def test_le_grand_off_axis(angle: float, cylinder: float) -> None:
    """The table of the design note on the reflex: a Coddington trace made apart from this code."""
    assert induced_astigmatism(LE_GRAND, angle) == pytest.approx(cylinder, abs=0.005)


@pytest.mark.parametrize("angle", [5, 10, 15, 20])
def test_navarro_has_some_six_tenths_of_it(angle: float) -> None:
    """The same note: an aspheric eye has some 0.6 of the spherical one's."""
    assert induced_astigmatism(NAVARRO, angle) / induced_astigmatism(LE_GRAND, angle) == pytest.approx(0.6, abs=0.05)


@EYES
@given(angle=st.floats(1, 15))
def test_grows_about_as_the_square_of_the_angle(eye: SchematicEye, angle: float) -> None:
    """Third-order theory: twice the angle gives four times the astigmatism."""
    assert induced_astigmatism(eye, 2 * angle) / induced_astigmatism(eye, angle) == pytest.approx(4, rel=0.15)


@EYES
@given(angle=st.floats(-30, 30))
def test_side_does_not_matter_and_the_tilted_meridian_turns_myopic(eye: SchematicEye, angle: float) -> None:
    """Symmetry of a centred eye; the sign is common practice, no published source."""
    assert induced_astigmatism(eye, angle) == induced_astigmatism(eye, -angle)
    assert induced_astigmatism(eye, angle) <= 0


def test_nothing_on_the_axis() -> None:
    assert induced_astigmatism(LE_GRAND, 0) == 0
    assert astigmatism_band(0) == (0, 0)


@EYES
@pytest.mark.parametrize("angle", [1, 5, 10, 20, 30])
def test_band_holds_both_eyes_and_is_threefold(eye: SchematicEye, angle: float) -> None:
    """Measured values scatter threefold (the design note on the reflex; common practice, no published source)."""
    low, high = astigmatism_band(angle)
    assert low < -induced_astigmatism(eye, angle) < high
    assert high == pytest.approx(3 * low)


def test_band_holds_the_foveal_oblique_astigmatism() -> None:
    """Liu & Thibos 2017, J Vis 17(3):24 (abstract): 0.06 D with the fovea 4.8° off the optical axis."""
    low, high = astigmatism_band(4.8)
    assert low < 0.06 < high


# Jackson et al. 2004, Am J Ophthalmol 137:1101 (abstract), 8 adults under cycloplegia looking aside by 0..20°:
# mean sphere and mean spherical equivalent in D. The cylinder 2(SE − sphere) supposes plus-cylinder writing.
JACKSON = {0: (-0.4, -0.02), 5: (-0.9, -0.59), 10: (-1.0, -0.45), 15: (-1.38, -0.64), 20: (-1.8, -0.98)}


def jackson_growth(angle: int) -> float:
    cylinder = {at: 2 * (equivalent - sphere) for at, (sphere, equivalent) in JACKSON.items()}
    return cylinder[angle] - cylinder[0]


@pytest.mark.parametrize("angle", [10, 15, 20])
def test_band_holds_the_measured_growth_of_cylinder(angle: int) -> None:
    """Direction and order of magnitude only, as befits 8 eyes."""
    low, high = astigmatism_band(angle)
    assert low < jackson_growth(angle) < high


def test_at_5_degrees_those_eyes_did_not_follow() -> None:
    """Said plainly: at 5° the same eight eyes show less cylinder than on axis, and the band does not hold that."""
    assert jackson_growth(5) < 0 < astigmatism_band(5)[0]


@pytest.mark.parametrize(
    ("angle", "error_low", "error_high", "inside"),
    [(10, 0.23, 0.38, True), (5, 0.15, 0.23, False)],
)
def test_band_beside_the_errors_of_young_myopes(angle: int, error_low: float, error_high: float, inside: bool) -> None:
    """Mohd Nor et al., IIUM (IJAHS) abstract, 26 young myopes: low value inferior, high value temporal.

    The error is of retinoscopy as a whole, not of cylinder alone. At 10° the band holds it; at 5° it is larger than
    the band, though within 0.15 D of it.
    """
    low, high = astigmatism_band(angle)
    assert (low < error_low and error_high < high) is inside
    assert high > error_low - 0.15


def test_four_degrees_do_not_matter() -> None:
    """Pacific University thesis 1985 (44 eyes): clinically insignificant up to 4°; so less than a 0.12 D lens step."""
    assert astigmatism_band(4)[1] < 0.12


@given(st.floats(0.5, 29), st.floats(0.1, 1))
def test_band_rises_with_the_angle(angle: float, more: float) -> None:
    """Millodot 1981 (abstract): astigmatism rises with the angle in 91 % of 62 eyes; the band shows the rule."""
    here, further = astigmatism_band(angle), astigmatism_band(angle + more)
    assert further[0] > here[0]
    assert further[1] > here[1]


@pytest.mark.parametrize("angle", [30.5, -45.0, math.nan, math.inf])
def test_too_far_off_axis_is_refused(angle: float) -> None:
    with pytest.raises(OutOfRange, match="within 30°"):
        induced_astigmatism(LE_GRAND, angle)


# --- expected vision ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("defocus", "mar"), [(0.0, 1.0), (-1.0, 2.0), (-2.0, 5.0), (2.0, 5.0)])
def test_best_end_follows_one_plus_the_square(defocus: float, mar: float) -> None:
    """Blendowske 2015, Optom Vis Sci (abstract): MAR in proportion to 1 + b²; the scale of b was not read."""
    assert expected_mar(SphCyl(defocus))[0] == pytest.approx(mar)


@pytest.mark.parametrize(
    ("myopia", "metres"), [(0.5, 9), (0.75, 12), (1.0, 18), (1.5, 24), (2.0, 36), (2.5, 60)], ids=lambda v: f"{v:g}"
)
def test_range_holds_the_clinical_table(myopia: float, metres: int) -> None:
    """Clinical rule table 6/9 … 6/60 for an uncorrected myope (from memory)."""
    best, worst = expected_mar(SphCyl(-myopia))
    assert best <= metres / 6 <= worst


@given(st.floats(-6, 6), st.floats(-3, 3), st.floats(1, 180))
def test_range_is_at_most_twofold_and_blind_to_form(sphere: float, cylinder: float, axis: float) -> None:
    """Sources differ about twofold (common practice, no published source); a lens is one lens in either form."""
    rx = SphCyl(sphere, cylinder, axis)
    best, worst = expected_mar(rx)
    assert 1 <= best <= worst <= 2 * best
    assert expected_mar(rx.transposed()) == pytest.approx((best, worst))


def test_strength_of_a_crossed_cylinder() -> None:
    """The strength is √(M² + J0² + J45²): +0.50/−1.00 has M 0 and J 0.5 (Thibos et al. 1997, by hand)."""
    assert blur_strength(SphCyl(0.5, -1.0, 37)) == pytest.approx(0.5)
