"""The formulas of the reflex against a brute-force ray trace, and the sayings of the trade that follow from them."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from cases.errors import OutOfRange
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.optics.reflex import (
    Setting,
    facts_json,
    look,
    movement,
    residual,
    residual_matrix,
    skew,
    speed_ratio,
    width_mm,
    zones,
)
from cases.optics.schematic_eye import astigmatism_band

Points = NDArray[np.float64]
PLANO = SphCyl(0)


# --- an independent ray trace ------------------------------------------------------------------------------------
# A reduced eye: one thin surface of 60 D less the correction, its retina 1/60 m behind. Each lens bends each ray in
# its own principal meridians; light goes from the source to the retina and from the retina to the sight hole. No
# power matrix and no residual is formed. Derived here.

EYE_POWER = 60.0


def bend(points: Points, slopes: Points, lens: SphCyl) -> Points:
    """Deflect rays (towards the eye or out of it) that cross a thin toric lens at `points` in m."""
    angle = math.radians(lens.axis)
    along = np.array([math.cos(angle), math.sin(angle)])
    beside = np.array([-math.sin(angle), math.cos(angle)])
    power_along, power_beside = lens.sphere, lens.sphere + lens.cylinder
    moved = power_along * (points @ along)[..., None] * along + power_beside * (points @ beside)[..., None] * beside
    return np.asarray(slopes - moved)


def to_retina(setting: Setting, points: Points, slopes: Points) -> Points:
    """Follow rays that reach the pupil at `points` with `slopes` (change per metre towards the eye) to the retina."""
    slopes = bend(points, slopes, setting.in_place)
    slopes = bend(points, slopes, SphCyl(EYE_POWER))
    slopes = bend(points, slopes, -setting.rx)
    r2 = (points**2).sum(axis=-1, keepdims=True) * 1e6
    slopes = slopes + setting.margin_per_mm2 * r2 * points
    return np.asarray(points + slopes / EYE_POWER)


def directions(streak: float) -> tuple[Points, Points]:
    """Return the unit vectors along the streak and across it (turned anticlockwise)."""
    angle = math.radians(streak)
    return np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])


def lit_retina(setting: Setting, streak: float, face_mm: float) -> tuple[float, float]:
    """Trace the streak's light in through the rim of the pupil; return the lit band's limits across the streak, m."""
    t, n = directions(streak)
    w, face = setting.distance_cm / 100, face_mm / 1000
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    rim = setting.pupil_mm / 2000 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    half = setting.filament_mrad / 1000
    reached = []
    for side in (-half, half):
        for fan in (-0.05, 0.0, 0.05):  # the streak is long: its light also comes from along its length
            if setting.sleeve == 0:
                slopes = (face / w + side) * n + fan * t + np.zeros_like(rim)
            else:
                a = -1 / setting.sleeve
                # The beam's middle passes the mirror at its centre and the face at `face`; so this is its source.
                source = (-a * face / w - side * (w + a)) * n - fan * (w + a) * t
                slopes = (rim - source) / (w + a)
            reached.append(to_retina(setting, rim, slopes) @ n)
    return float(np.min(reached)), float(np.max(reached))


def seen_retina(setting: Setting, streak: float, points: Points) -> tuple[Points, Points]:
    """Look back from all over the sight hole through each pupil point; return the limits of the retina seen, m."""
    _, n = directions(streak)
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    hole = setting.sight_hole_mm / 2000 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    slopes = (points[..., None, :] - hole) / (setting.distance_cm / 100)
    seen = to_retina(setting, np.broadcast_to(points[..., None, :], slopes.shape), slopes) @ n
    return seen.min(axis=-1), seen.max(axis=-1)


def lit(setting: Setting, streak: float, face_mm: float, points: Points, *, wholly: bool = False) -> NDArray[np.bool_]:
    """Say which pupil points send light of the streak into the sight hole (into all of it, when `wholly`)."""
    low, high = lit_retina(setting, streak, face_mm)
    seen_low, seen_high = seen_retina(setting, streak, points)
    if wholly:
        return np.asarray((seen_low >= low) & (seen_high <= high))
    return np.asarray((seen_high > low) & (seen_low < high))


@dataclass(frozen=True)
class Traced:
    """The lit band as found point by point: direction in degrees, offset of its middle across the streak, width; mm."""

    angle: float
    across_streak: float
    offset: float
    width: float


def traced(setting: Setting, streak: float, face_mm: float, *, wholly: bool = False) -> Traced:
    """Find the band along three lines across the streak, 1 mm apart, as if the pupil had no edge."""
    t, n = directions(streak)
    middles, lengths = [], []
    for beside in (-1.0, 0.0, 1.0):

        def lit_at(steps: Points, beside: float = beside) -> Points:
            points = (steps[:, None] * n + beside * t) / 1000
            return np.asarray(steps[lit(setting, streak, face_mm, points, wholly=wholly)])

        coarse = lit_at(np.arange(-40, 40, 0.05))
        assume(coarse.size > 0 and coarse[0] > -39 and coarse[-1] < 39)
        first = lit_at(np.linspace(coarse[0] - 0.05, coarse[0], 51))[0]
        last = lit_at(np.linspace(coarse[-1], coarse[-1] + 0.05, 51))[-1]
        middles.append((first + last) / 2)
        lengths.append(last - first)
    lean = math.atan((middles[2] - middles[0]) / 2)
    return Traced(
        axis_of(streak + math.degrees(lean)), middles[1], middles[1] * math.cos(lean), lengths[1] * math.cos(lean)
    )


def turned(a: float, b: float) -> float:
    """Return the angle between two lines, in degrees."""
    return abs((a - b + 90) % 180 - 90)


lenses = st.builds(SphCyl, st.floats(-6, 6), st.floats(-3, 0), st.floats(1, 180))
streaks = st.floats(1, 180)
beams = st.sampled_from([0.0, -100 / 30, -1.0, 100 / 15, 4.0])
clear = st.builds(
    Setting,
    rx=lenses,
    in_place=lenses,
    distance_cm=st.floats(30, 100),
    pupil_mm=st.floats(1, 6),
    sight_hole_mm=st.floats(0.5, 3),
    sleeve=beams,
    filament_mrad=st.floats(0.05, 4),
)


def readable(setting: Setting, streak: float) -> None:
    """Leave out reflexes too near neutral, or turned too far from the streak, to be measured along lines across it."""
    assume(math.hypot(*(residual_matrix(setting) @ directions(streak)[1])) > 0.7)
    assume(abs(skew(setting, streak)) < 50)


@settings(max_examples=40, deadline=None)
@given(clear, streaks, st.floats(-3, 3))
def test_line_and_width_agree_with_the_ray_trace(setting: Setting, streak: float, face_mm: float) -> None:
    """Derived here; independent ray trace: within 2 %, the step of the trace allowed for."""
    readable(setting, streak)
    found = traced(setting, streak, face_mm)
    assert turned(streak + skew(setting, streak), found.angle) < 1.0
    assert width_mm(setting, streak) == pytest.approx(found.width, rel=0.02, abs=0.02)


@settings(max_examples=40, deadline=None)
@given(clear, streaks)
def test_speed_and_sense_agree_with_the_ray_trace(setting: Setting, streak: float) -> None:
    """Derived here; independent ray trace of the streak at two places on the face, 4 mm apart."""
    readable(setting, streak)
    before, after = traced(setting, streak, -2), traced(setting, streak, 2)
    moved = (after.offset - before.offset) / 4
    assert speed_ratio(setting, streak) == pytest.approx(abs(moved), rel=0.02, abs=0.005)
    if abs(moved) > 0.01:
        assert movement(setting, streak, neutral_zone=0) == ("with" if moved > 0 else "against")


# --- skew --------------------------------------------------------------------------------------------------------


@given(st.floats(-6, 6), st.floats(-6, 6), st.floats(1, 180), st.floats(-89, 89))
def test_tangent_of_the_reflex_is_the_ratio_of_residuals_times_that_of_the_streak(
    e1: float, e2: float, meridian: float, phi: float
) -> None:
    """The law tan ψ = (e₁/e₂) tan φ, derived here: e₁ along the meridian from which both are measured, e₂ across it."""
    assume(min(abs(e1), abs(e2), abs(phi)) > 0.05)
    setting = Setting(rx=SphCyl.from_meridians(meridian, e1 - 1.5, e2 - 1.5), in_place=PLANO, distance_cm=200 / 3)
    psi = phi + skew(setting, meridian + phi)
    expected = math.degrees(math.atan(e1 / e2 * math.tan(math.radians(phi))))
    assert turned(psi, expected) < 1e-6


def test_no_skew_on_the_principal_meridians_and_it_swaps_side_as_the_streak_passes_the_axis() -> None:
    """AAO image caption "Skew": off axis, reflex and intercept go in directions that are not parallel."""
    setting = Setting(rx=SphCyl(2, -1.5, 30), in_place=PLANO, distance_cm=50)
    assert skew(setting, 30) == 0
    assert skew(setting, 120) == 0
    assert skew(setting, 20) * skew(setting, 40) < 0
    assert skew(setting, 110) * skew(setting, 130) < 0


@pytest.mark.parametrize(("streak", "expected"), [(40, 1), (20, -1)])
def test_side_of_the_skew(streak: float, expected: float) -> None:
    """E is +4 along 30 and +2.5 across: the reflex turns on, away from 30 (by hand from the tangent law)."""
    setting = Setting(rx=SphCyl(2, -1.5, 30), in_place=PLANO, distance_cm=50)
    psi = math.degrees(math.atan(4 / 2.5 * math.tan(math.radians(streak - 30))))
    assert skew(setting, streak) == pytest.approx(psi - (streak - 30))
    assert skew(setting, streak) * expected > 0


@given(st.floats(-6, 6), st.floats(-6, 6), streaks)
def test_a_spherical_eye_never_skews(sphere: float, lens: float, streak: float) -> None:
    """Common practice, no published source."""
    assert abs(skew(Setting(rx=SphCyl(sphere), in_place=SphCyl(lens), distance_cm=67), streak)) < 1e-6


# --- what the trade says -----------------------------------------------------------------------------------------


@given(st.floats(20, 150), streaks)
def test_uncorrected_emmetrope_moves_at_the_speed_of_the_streak(distance_cm: float, streak: float) -> None:
    """Derived here: a parallel beam returns along itself, at whatever distance."""
    seen = look(Setting(rx=PLANO, in_place=PLANO, distance_cm=distance_cm), streak)
    assert seen.speed_ratio == pytest.approx(1, abs=1e-12)
    assert seen.movement == "with"


@pytest.mark.parametrize(
    ("sphere", "lens", "distance_cm", "seen"),
    [
        # Common practice, no published source: with wants plus, against wants minus; no lens at 50 cm.
        (0.0, 0.0, 50, "with"),
        (2.0, 0.0, 50, "with"),
        (-1.0, 0.0, 50, "with"),
        (-2.0, 0.0, 50, "neutral"),
        (-3.0, 0.0, 50, "against"),
        (1.0, 3.0, 50, "neutral"),
        (1.0, 3.25, 50, "against"),
        (1.0, 2.75, 50, "with"),
        # 67 cm is 1.4925 D, and 1.50 D in the clinic: neutral all the same.
        (1.0, 2.5, 67, "neutral"),
    ],
)
def test_movement(sphere: float, lens: float, distance_cm: float, seen: str) -> None:
    setting = Setting(rx=SphCyl(sphere), in_place=SphCyl(lens), distance_cm=distance_cm)
    assert look(setting, 90).movement == seen


@pytest.mark.parametrize(("myopia", "far_point_m"), [(-1.5, 0.6667), (-2.0, 0.5), (-4.0, 0.25)])
def test_neutral_without_a_lens_at_the_far_point(myopia: float, far_point_m: float) -> None:
    """Far point = −1/K (values from memory, and by division)."""
    setting = Setting(rx=SphCyl(myopia), in_place=PLANO, distance_cm=100 * far_point_m)
    assert residual(setting, 90) == pytest.approx(0, abs=2e-4)
    assert look(setting, 90).movement == "neutral"
    assert look(setting.leaning_in(3), 90).residual > 0 > look(setting.leaning_in(-3), 90).residual


@given(clear, streaks)
def test_residual_is_the_lens_wanted_in_the_meridian_across_the_streak(setting: Setting, streak: float) -> None:
    """R − L + 1/w in one meridian, by the sine-squared law instead of matrices: two independent routes."""
    meridian = across(streak)
    wanted = setting.rx.power_at(meridian) - setting.in_place.power_at(meridian) + 100 / setting.distance_cm
    assert look(setting, streak).residual == pytest.approx(wanted, abs=1e-9)


@given(clear, streaks)
def test_the_neutraliser_neutralises_every_meridian(setting: Setting, streak: float) -> None:
    """The gross finding is R + I/w: derived here; definition of neutral."""
    seen = look(replace(setting, in_place=setting.neutraliser), streak)
    assert seen.movement == "neutral"
    assert seen.residual == pytest.approx(0, abs=1e-9)


@given(lenses, lenses, streaks, st.floats(40, 100))
def test_the_other_end_of_the_sleeve_reverses_every_movement(
    rx: SphCyl, in_place: SphCyl, streak: float, distance_cm: float
) -> None:
    """Common practice, no published source; the ray trace above says so too."""
    parallel = Setting(rx=rx, in_place=in_place, distance_cm=distance_cm)
    diverging, converging = replace(parallel, sleeve=-2), replace(parallel, sleeve=10 / 3)
    swap = {"with": "against", "against": "with", "neutral": "neutral", "neither": "neither"}
    assert movement(diverging, streak) == movement(parallel, streak)
    assert movement(converging, streak) == swap[movement(parallel, streak)]
    assert residual(converging, streak) == residual(parallel, streak)


@given(lenses, streaks, st.floats(40, 100), st.floats(1, 15))
def test_leaning_in_at_neutral_gives_with_and_one_width_in_all_meridians(
    rx: SphCyl, streak: float, distance_cm: float, by_cm: float
) -> None:
    """Common practice, no published source."""
    at_neutral = Setting(rx=rx, in_place=rx + SphCyl(100 / distance_cm), distance_cm=distance_cm)
    nearer, farther = at_neutral.leaning_in(by_cm), at_neutral.leaning_in(-by_cm)
    assert movement(nearer, streak, neutral_zone=0) == "with"
    assert movement(farther, streak, neutral_zone=0) == "against"
    assert width_mm(nearer, streak) == pytest.approx(width_mm(nearer, across(streak)), rel=1e-6)


@given(st.floats(1, 180), st.floats(0.2, 1.0), st.floats(5, 15))
def test_leaning_in_short_of_neutral_the_narrower_meridian_still_wants_plus(
    meridian: float, wanting: float, by_cm: float
) -> None:
    """Common practice, no published source. `wanting` D of plus are missing along `meridian`, none across it."""
    rx = SphCyl.from_meridians(meridian, wanting - 1.5, -1.5)
    nearer = Setting(rx=rx, in_place=PLANO, distance_cm=200 / 3).leaning_in(by_cm)
    short, neutral = width_mm(nearer, across(meridian)), width_mm(nearer, meridian)
    assert short < 0.95 * neutral


def test_margin_of_a_wide_pupil_disagrees_with_its_centre() -> None:
    """Common practice, no published source; where the margin is lit: derived here, independent ray trace."""
    setting = Setting(
        rx=SphCyl(-1.0), in_place=PLANO, distance_cm=200 / 3, pupil_mm=7, margin_per_mm2=-0.15, sight_hole_mm=0.5
    )
    centre, margin = zones(setting, 90)
    assert (centre.radius_mm, margin.radius_mm) == (0, 3.5)
    assert (centre.movement, margin.movement) == ("with", "against")
    assert centre.residual == pytest.approx(0.5)
    assert margin.residual == pytest.approx(0.5 - 0.15 * 3.5**2)

    _, n = directions(90)
    ring = np.array([0.2, 3.5, -0.2, -3.5])[:, None] * n / 1000
    seen = np.mean(seen_retina(setting, 90, ring), axis=0)  # where on the retina each point looks
    streak_moved = np.mean(lit_retina(replace(setting, pupil_mm=0.5, margin_per_mm2=0), 90, 2.0))
    # The streak, moved along n, lies where points on that side of the centre look, and the margin on the other side.
    assert seen[0] * streak_moved > 0 > seen[1] * streak_moved
    assert seen[2] * streak_moved < 0 < seen[3] * streak_moved


def test_a_small_pupil_hides_the_aberration() -> None:
    """Common practice, no published source: the central 3 to 4 mm are the ones to neutralise."""
    small = Setting(rx=SphCyl(-1.0), in_place=PLANO, distance_cm=200 / 3, pupil_mm=3, margin_per_mm2=-0.15)
    assert [zone.movement for zone in zones(small, 90)] == ["with", "with"]


# --- near neutral and far from it --------------------------------------------------------------------------------


def test_exactly_neutral_is_infinitely_fast_and_has_no_width() -> None:
    """Derived here."""
    setting = Setting(rx=SphCyl(-2), in_place=PLANO, distance_cm=50)
    seen = look(setting, 30)
    assert (seen.movement, seen.speed_ratio, seen.skew) == ("neutral", math.inf, 0)
    assert width_mm(setting, 30) == math.inf


@given(st.floats(0.2, 8), st.floats(0.1, 4), st.sampled_from([-1, 1]))
def test_slower_farther_from_neutral(e: float, more: float, sign: int) -> None:
    """Common practice, no published source: slow is far away, fast is nearly there."""
    near = Setting(rx=SphCyl(sign * e - 1.5), in_place=PLANO, distance_cm=200 / 3)
    far = replace(near, rx=SphCyl(sign * (e + more) - 1.5))
    assert speed_ratio(far, 90) < speed_ratio(near, 90)


def test_width_narrows_from_neutral_and_then_tends_to_that_of_the_pupil() -> None:
    """Derived here: a retinal streak blurred by the eye's own defocus keeps the band from thinning to nothing."""
    setting = Setting(rx=SphCyl(-1.25), in_place=PLANO, distance_cm=200 / 3)
    widths = [width_mm(replace(setting, rx=SphCyl(e - 1.5)), 90) for e in (0.25, 0.5, 1, 1.5)]
    assert widths == sorted(widths, reverse=True)
    assert width_mm(replace(setting, rx=SphCyl(500)), 90) == pytest.approx(setting.pupil_mm, rel=0.01)


def test_the_stronger_meridian_gives_the_thinner_band() -> None:
    """The thickness cue to the axis: common practice, no published source. +1.00 along 90 and +0.50 along 180."""
    setting = Setting(rx=SphCyl(-1.0, 0.5, 180), in_place=PLANO, distance_cm=200 / 3)
    assert width_mm(setting, 180) < width_mm(setting, 90)


def test_sliding_along_the_streak_is_neither_with_nor_against() -> None:
    """Derived here: with residuals +1 and −1 and the streak half-way, the reflex lies across the streak."""
    setting = Setting(rx=SphCyl.from_meridians(180, -1, -3), in_place=PLANO, distance_cm=50)
    seen = look(setting, 45)
    assert seen.movement == "neither"
    assert seen.skew == pytest.approx(90)
    assert (look(setting, 90).movement, look(setting, 180).movement) == ("with", "against")


@pytest.mark.parametrize("meridian", range(5, 181, 5))
def test_a_right_angle_has_one_name(meridian: int) -> None:
    """A skew of −90 is one of 90: the docstring's range, −90 < skew ≤ 90."""
    setting = Setting(rx=SphCyl.from_meridians(meridian, -1, -3), in_place=PLANO, distance_cm=50)
    assert skew(setting, meridian + 45) == pytest.approx(90)
    assert skew(setting, meridian - 45) == pytest.approx(90)


def test_the_neutral_zone_is_the_callers_to_state() -> None:
    setting = Setting(rx=SphCyl(0.2), in_place=SphCyl(2), distance_cm=50)
    assert look(setting, 90).movement == "with"
    assert look(setting, 90, neutral_zone=0.25).movement == "neutral"


# --- off the visual axis -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("h", "v", "axis"), [(10, 0, 90), (-10, 0, 90), (0, 10, 180), (6, 8, 143.13), (-6, 8, 36.87)])
def test_off_axis_adds_minus_cylinder_across_the_tilt(h: float, v: float, axis: float) -> None:
    """Common practice, no published source: a tilt to the side adds minus cylinder axis 90."""
    setting = Setting(rx=SphCyl(1), in_place=PLANO, distance_cm=50, off_axis_h=h, off_axis_v=v)
    assert setting.off_axis == pytest.approx(10)
    assert setting.induced.equals(SphCyl(0, -0.26, axis), tolerance=0.001)
    plain = Setting(rx=SphCyl(1) + SphCyl(0, -0.26, axis), in_place=PLANO, distance_cm=50)
    assert residual_matrix(setting) == pytest.approx(residual_matrix(plain), abs=1e-4)
    assert setting.neutraliser.equals(plain.neutraliser, tolerance=0.001)


@pytest.mark.parametrize("angle", [1, 5, 10, 20, 30])
def test_the_usual_amount_off_axis_lies_in_the_band_of_the_schematic_eyes(angle: float) -> None:
    """Liu & Thibos 2017, J Vis 17(3):24 (abstract): 0.06 D at 4.8°; the band: see test_eye."""
    setting = Setting(rx=PLANO, in_place=PLANO, distance_cm=67, off_axis_v=angle)
    low, high = astigmatism_band(angle)
    assert low < -setting.induced.cylinder < high
    assert Setting(rx=PLANO, in_place=PLANO, distance_cm=67, off_axis_h=4.8).induced.cylinder == pytest.approx(
        -0.06, abs=0.001
    )


# --- the same facts as JSON, and refusals ------------------------------------------------------------------------


@given(clear, streaks)
def test_facts_are_plain_json_and_the_same_facts(setting: Setting, streak: float) -> None:
    facts = json.loads(json.dumps(facts_json(setting, streak), allow_nan=False))
    assert facts["residual"] == look(setting, streak).residual
    assert facts["movement"] == look(setting, streak).movement
    assert facts["zones"][1]["radius_mm"] == setting.pupil_mm / 2


def test_what_is_infinite_becomes_null() -> None:
    setting = Setting(rx=SphCyl(-2), in_place=PLANO, distance_cm=50)
    facts = facts_json(setting, 30)
    assert facts["speed_ratio"] is None
    assert setting.as_json()["rx"] == {"sphere": -2, "cylinder": 0, "axis": 180}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"distance_cm": 10}, "working distance 10 cm: it must lie between 20 and 150 cm"),
        ({"distance_cm": math.nan}, "working distance nan cm"),
        ({"pupil_mm": 0}, "pupil 0 mm"),
        ({"sight_hole_mm": -1}, "sight hole -1 mm"),
        ({"filament_mrad": 60}, "half-width of the filament 60 mrad"),
        ({"length_mrad": 0}, "half-length of the filament 0 mrad"),
        ({"beam_mm": 0}, "radius of the beam 0 mm"),
        ({"filament": "cross"}, "filament 'cross': give streak or spot"),
        ({"coma": (0.0, 3.0)}, "coma 3 D/mm"),
        ({"haze": 1.5}, "haze 1.5: it must lie between 0 and 1"),
        ({"margin_per_mm2": 2}, "aberration of the margin 2 D"),
        ({"oblique_per_deg2": 0.01}, "astigmatism off axis 0.01 D"),
        ({"off_axis_h": 25, "off_axis_v": 25}, "angle off axis 35.3553"),
        ({"sleeve": 21}, "sleeve 21 D"),
        ({"sleeve": math.nan}, "sleeve nan D"),
        ({"sleeve": -math.inf}, "sleeve -inf D"),
    ],
)
def test_impossible_settings_are_refused_in_words(change: dict[str, Any], message: str) -> None:
    with pytest.raises(OutOfRange, match=message):
        replace(Setting(rx=PLANO, in_place=PLANO, distance_cm=67), **change)


def test_a_streak_without_direction_is_refused() -> None:
    with pytest.raises(OutOfRange, match="streak nan"):
        look(Setting(rx=PLANO, in_place=PLANO, distance_cm=67), math.nan)
