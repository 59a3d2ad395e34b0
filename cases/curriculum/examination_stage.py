"""An eye of an examination on the bench: what a learner sees there at this moment, through the lenses in the frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cases.curriculum.bench_stage import SEEN_WAYS, SLEEVES, Bench, seen
from cases.figures.unusual_reflexes import OddReflex
from cases.optics import light
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import CYLINDER, SPHERE, State
from cases.patients.examination.chairside import haze_of, in_the_pupil, unsafe_words
from cases.patients.examination.world import setting_of
from cases.patients.patient import Patient, Side

LEAN_CM = 12.0
"""How far one leans in to check neutral: common practice, no published source."""


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
        media=patient.eye(side).media,
    )


def sweep_words(patient: Patient, side: Side, bench: Bench) -> tuple[str, ...]:
    """Say what a sweep shows at this bench, and what stands in the pupil, as the picture has it: no names."""
    eye, lines = patient.eye(side), seen(bench)
    if eye.unsafe:
        return lines[0], unsafe_words(eye), "Nothing is seen to travel."
    # Two bands show near neutral alone, and there `seen` says so.
    return (*lines, *in_the_pupil(eye, scissors=False))


def reflex_shows(patient: Patient, side: Side, bench: Bench) -> bool:
    """Say whether so much light comes back that anything of the reflex can be judged."""
    if "no reflex" in patient.eye(side).media:
        return False
    return light.seen(bench.setting, bench.streak, light.watched(bench.setting)).peak_mm2 >= light.TOO_DULL_MM2


def odd_picture(patient: Patient, side: Side, bench: Bench) -> OddReflex | None:
    """Return which diagram stands for what is seen where no plain band is; None where one is."""
    media = patient.eye(side).media
    if "no reflex" in media or "white reflex" in media:
        return "absent" if "no reflex" in media else "white"
    return "scissors" if light.parts_and_meets(bench.setting, bench.streak) else None


def lean_in_words(patient: Patient, side: Side, state: State, streak: float, minute: float) -> str:
    """Say how the reflex moves on leaning in by 12 cm, where neutral turns to with: what a sweep from there shows."""
    if unsafe_words(patient.eye(side)):
        return "On leaning in, nothing is seen to move."
    nearer = replace(state, distance_cm=max(25.0, state.distance_cm - LEAN_CM))
    sleeve = SLEEVES["converging" if state.converging else "parallel"]
    setting = bench_of(patient, side, nearer, minute, streak=streak, sleeve=sleeve).setting
    if light.parts_and_meets(setting, streak):
        return "On leaning in, two bands travel opposite ways."
    word = light.seen(setting, streak, light.watched(setting)).word
    if word not in SEEN_WAYS:
        return "On leaning in, no movement can be told."
    return f"On leaning in, the reflex moves {word.replace(', faint', ', faintly')}."


def _centre(state: State) -> State:
    # Which part of the pupil is judged is the examiner's affair: the picture shows all of it.
    return State(**{**vars(state), "zone": "centre"})
