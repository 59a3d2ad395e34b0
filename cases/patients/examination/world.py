"""What the patient does and what is seen, at any minute: it needs only the patient and what was done.

R is the wet lens of an eye as a power matrix, A its accommodation, w the distance, θ the angle of sight off the axis, L
the lenses as they act at the eye, r and y places in the pupil. Still missing for neutral is
E = R − A·I + T(θ) + (100/w)·I − L + margin·r²·I + κ·y·I, and `cases.optics.reflex` says how that looks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, residual_matrix
from cases.patients.examination.acts import EndPoint, State
from cases.patients.patient import Eye, Patient, Side, other
from cases.patients.streams import Streams

Matrix = NDArray[np.float64]

CYCLOPLEGIA_MIN = 12.5
"""Time constant of cycloplegia in minutes: 71, 89 and 96 % of the gain at 15, 30 and 45 minutes (brown eyes)."""
PUPIL_MIN = 20.0
"""Time constant of the pupil under drops, in minutes: it tells nothing of accommodation. Ours."""
LEFT_OVER_D = {"cyclopentolate": 0.25, "tropicamide": 0.4, "atropine": 0.05}
"""Accommodation that drops leave in the end, in D, on average of studies in children."""

FOG_LEAST_D, FOG_MOST_D = 0.75, 3.0
FOGGED_TONE = 0.6
"""The share of the latent plus that stays while the fixing eye is fogged by 0.75 to 3 D: ours."""

GAZE_SLOT_MIN = 5 / 60
CALL_HOLDS_MIN = 10 / 60
AWAY_DEG, AWAY_M = 20.0, 0.5
"""Where a patient looks whose gaze has left the target, and how far off that is: ours."""
WRONG_OWN_EYE_DEG = 5.58
"""The angle at which the examiner's eye of the other side looks: the separation of two eyes at a usual distance."""
MOST_ASIDE_DEG = 29.9
LENS_INDEX = 1.5
SHOWS_PLAINLY_D, SHOWS_A_LITTLE_D = 1.5, 0.6
"""How much accommodation left in D a check from far to near shows: ours."""


@dataclass(frozen=True)
class Gaze:
    """Where the patient looks: away or not, and how many degrees to the examiner's right that turns the eyes."""

    away: bool
    angle_h: float = 0.0


def gaze(patient: Patient, state: State, minute: float) -> Gaze:
    """Say where the patient looks at a minute: the gaze is drawn again every five seconds, and held after a call."""
    if state.called is not None and 0 <= minute - state.called <= CALL_HOLDS_MIN:
        return Gaze(away=False)
    slot = math.floor(minute / GAZE_SLOT_MIN + 1e-9)
    streams = Streams(f"{patient.seed}/gaze/{slot}")
    leaves = 1 - math.exp(-5 / patient.fixation_holds_s)
    if not streams.happens("away", leaves):
        return Gaze(away=False)
    return Gaze(away=True, angle_h=AWAY_DEG if streams.happens("side", 0.5) else -AWAY_DEG)


def cycloplegia(patient: Patient, side: Side, state: State, minute: float) -> float:
    """Return the share of accommodation that drops have taken from an eye by then, 0 to 1."""
    share = 0.0
    for drop in state.drops:
        if drop.side == side and minute >= drop.minute:
            most = max(0.0, 1 - LEFT_OVER_D[drop.kind] / max(patient.amplitude_d, LEFT_OVER_D[drop.kind]))
            share = max(share, most * (1 - math.exp(-(minute - drop.minute) / CYCLOPLEGIA_MIN)))
    return share


def seen_far_and_near(patient: Patient, side: Side, state: State, minute: float) -> tuple[float, bool]:
    """Return what a near check finds: accommodation still left in D, and whether the pupil is wide (6 mm or more)."""
    left = patient.amplitude_d * (1 - cycloplegia(patient, side, state, minute))
    return left, pupil_mm(patient, side, state, minute) >= 6


def pupil_mm(patient: Patient, side: Side, state: State, minute: float) -> float:
    """Return the diameter of a pupil in mm, by the room and the drops."""
    eye = patient.eye(side)
    diameter = eye.pupil_bright_mm if state.room == "lit" else eye.pupil_dim_mm
    for drop in state.drops:
        if drop.side == side and minute >= drop.minute:
            widened = 1 - math.exp(-(minute - drop.minute) / PUPIL_MIN)
            diameter = max(diameter, diameter + (eye.pupil_drops_mm - diameter) * widened)
    return diameter


def amplitude_d(patient: Patient, side: Side) -> float:
    """Return what an eye can accommodate in D: nothing with an artificial lens."""
    return patient.amplitude_d if patient.eye(side).accommodates else 0.0


def accommodation(patient: Patient, side: Side, state: State, minute: float) -> float:
    """Return the accommodation in D of an eye that is being measured, 0 or more.

    The other eye looks at the target and rules both. Tone is the latent plus, less while that eye is fogged; drive is
    the response to what the target asks for. In the dark without a target the eyes go to their dark focus.
    """
    free = 1 - cycloplegia(patient, side, state, minute)
    reach = amplitude_d(patient, side) * free
    fixing = other(side)
    fog = state.sum_of_lenses(fixing).spherical_equivalent - patient.eye(fixing).M
    tone = patient.eye(side).latent_d * free
    target = _target_m(patient, state, minute)
    if target is None:
        return min(reach, max(tone, patient.dark_near_d))
    if FOG_LEAST_D <= fog <= FOG_MOST_D:
        tone *= FOGGED_TONE
    elif fog > FOG_MOST_D:
        tone = max(tone, patient.dark_near_d * free)
    demand = 1 / target - fog
    if state.target == "face" or gaze(patient, state, minute).away:
        # Near the beam both eyes see what is looked at.
        own = patient.eye(side).M - state.sum_of_lenses(side).spherical_equivalent
        demand = max(demand, 1 / target + own)
    drive = patient.response_lead_d + patient.response_slope * demand if demand > 0 else 0.0
    return min(reach, max(tone, drive))


def _target_m(patient: Patient, state: State, minute: float) -> float | None:
    if gaze(patient, state, minute).away:
        return AWAY_M
    if state.target == "face":
        return state.distance_cm / 100
    if state.target == "off":
        # With the lights on there is always something to look at, and the examiner's face is the nearest.
        return None if state.room == "dark" else state.distance_cm / 100
    return state.target


def lens_at_eye(eye: Eye, state: State, side: Side) -> tuple[Matrix, Matrix, Matrix]:
    """Return the lenses before an eye as power matrices in D: as marked, moved to its plane, and tilted as well.

    Tilted by t about the horizontal, a lens of mean power F acts as F·(1 + sin²t/2n) with a cylinder F·tan²t.
    """
    nominal = state.sum_of_lenses(side)
    by = 0.0 if state.vertex_mm is None else state.vertex_mm - eye.vertex_mm
    moved = nominal.moved(by) if by else nominal
    tilt = math.radians(state.tilt_deg)
    mean = moved.spherical_equivalent
    added = SphCyl(mean * math.sin(tilt) ** 2 / (2 * LENS_INDEX)).power_matrix()
    added = added + SphCyl(0, mean * math.tan(tilt) ** 2, 180).power_matrix()
    return nominal.power_matrix(), moved.power_matrix(), moved.power_matrix() + added


def sight_angles(patient: Patient, side: Side, state: State, minute: float) -> tuple[float, float]:
    """Return how far off its visual axis an eye is looked at, in degrees (to the examiner's right, up), at most 30."""
    h, v = state.sight
    if state.own_eye is not None and state.own_eye != side:
        h += WRONG_OWN_EYE_DEG if side == "right" else -WRONG_OWN_EYE_DEG
    h += gaze(patient, state, minute).angle_h
    # Further out the formulas of the reflex do not hold.
    times = min(1.0, MOST_ASIDE_DEG / max(math.hypot(h, v), 1.0))
    return h * times, v * times


def judged_at(eye: Eye, state: State, pupil: float) -> tuple[float, float]:
    """Return the radius in mm that was judged, and what an irregular cornea adds there in D."""
    if state.zone == "whole":
        return pupil / 2, 0.0
    if state.zone in ("upper", "lower"):
        return 0.0, eye.irregular_d_per_mm * pupil / 4 * (1 if state.zone == "upper" else -1)
    return 0.0, 0.0


def setting_of(patient: Patient, side: Side, state: State, minute: float) -> Setting:
    """Return the eye, the lenses and the retinoscope as the optics of the reflex take them, to look or to draw."""
    eye = patient.eye(side)
    h, v = sight_angles(patient, side, state, minute)
    pupil = pupil_mm(patient, side, state, minute)
    _, irregular = judged_at(eye, state, pupil)
    sphere = eye.peripheral_m2 * (h * h + v * v) - accommodation(patient, side, state, minute) + irregular
    return Setting(
        rx=SphCyl.from_power_matrix(eye.lens.power_matrix() + sphere * np.eye(2)),
        in_place=SphCyl.from_power_matrix(lens_at_eye(eye, state, side)[2]),
        distance_cm=state.distance_cm,
        pupil_mm=pupil,
        # Converging, the beam crosses half-way, and every movement is turned round.
        sleeve=200 / state.distance_cm if state.converging else 0.0,
        coma=(0.0, eye.irregular_d_per_mm),
        haze=0.6 if "vitreous haze" in eye.media else 0.0,
        margin_per_mm2=eye.margin_per_mm2,
        off_axis_h=h,
        off_axis_v=v,
        oblique_per_deg2=eye.peripheral_j2,
    )


def left_at(patient: Patient, end: EndPoint) -> float:
    """Return what was still missing in the meridian across the streak when it was called neutral, in D."""
    setting = setting_of(patient, end.side, end.state, end.minute)
    radius, _ = judged_at(patient.eye(end.side), end.state, setting.pupil_mm)
    normal = across_streak(end.streak)
    return float(normal @ residual_matrix(setting, radius) @ normal)


def across_streak(streak: float) -> Matrix:
    """Return the unit vector along the meridian that a streak measures: the streak turned by 90°."""
    turned = math.radians(streak + 90)
    return np.array([math.cos(turned), math.sin(turned)])


@dataclass(frozen=True)
class Examiner:
    """Who measures: years of age, the eye's own mean error in D, whether it is corrected for the working distance."""

    age_y: float = 30.0
    own_mean_d: float = 0.0
    corrected: bool = True

    def blur_d(self, distance_cm: float) -> float:
        """Return how far out of focus this examiner sees a reflex at this distance, in D."""
        if self.corrected:
            return 0.0
        amplitude = max(0.0, 7.33 - 0.0035 * max(0.0, self.age_y - 3) ** 2)
        asked = 100 / distance_cm + self.own_mean_d
        return max(0.0, asked - amplitude) if asked > 0 else -asked

    def neutral_zone_d(self, distance_cm: float) -> float:
        """Return half the width of what this examiner calls neutral, in D: wider with blur, ours."""
        return 0.125 * (1 + 2 * self.blur_d(distance_cm))
