"""An eye of an examination on the bench: what a learner sees there at this moment, through the lenses in the frame."""

from __future__ import annotations

import numpy as np

from cases.curriculum.bench_stage import Bench
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import CYLINDER, SPHERE, State
from cases.patients.examination.chairside import haze_of
from cases.patients.examination.world import setting_of
from cases.patients.patient import Patient, Side


def in_hand(state: State, side: Side) -> SphCyl:
    """Return the sphere and the cylinder before an eye that the hand at the bench changes, as one lens."""
    total = SphCyl(0)
    for cell, lens in state.lenses(side):
        if cell in (SPHERE, CYLINDER):
            total = total + lens
    return total


def bench_of(patient: Patient, side: Side, state: State, minute: float, *, streak: float, sleeve: float) -> Bench:
    """Return the bench on which an eye looks as it does at this minute.

    The hand's sphere and cylinder are the bench's lenses; all else before the eye, how far the lenses are from it, its
    accommodation and its periphery are put into the eye, so that the sum is that of `cases.patients.examination.world`.
    sleeve: vergence of the beam in D.
    """
    setting = setting_of(patient, side, _centre(state), minute)
    held = {cell: lens for cell, lens in state.lenses(side) if cell in (SPHERE, CYLINDER)}
    sphere = held.get(SPHERE, SphCyl(0)).sphere
    cylinder = held.get(CYLINDER, SphCyl(0))
    beside = setting.in_place.power_matrix() - in_hand(state, side).power_matrix()
    eye = SphCyl.from_power_matrix(setting.rx.power_matrix() - np.asarray(beside))
    return Bench(
        eye=eye,
        sphere=sphere,
        cylinder=cylinder.cylinder,
        axis=cylinder.axis,
        streak=streak,
        distance_cm=state.distance_cm,
        sleeve=sleeve,
        pupil_mm=setting.pupil_mm,
        margin=setting.margin_per_mm2 * (setting.pupil_mm / 2) ** 2,
        off_h=setting.off_axis_h,
        off_v=setting.off_axis_v,
        coma_v=patient.eye(side).irregular_d_per_mm,
        haze=haze_of(patient.eye(side)),
        unrest="jerk" if patient.nystagmus else "none",
    )


def _centre(state: State) -> State:
    # Which part of the pupil is judged is the examiner's affair: the picture shows all of it.
    return State(**{**vars(state), "zone": "centre"})
