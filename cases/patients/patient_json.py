"""A patient as JSON: one line, both eyes, unrounded and as written. README.md of this room has the names."""

from __future__ import annotations

from typing import Any

from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Eye, Patient, written

DECIMALS = 6
"""Unrounded powers are printed so far: what machines differ by lies beyond."""


def patient_document(patient: Patient) -> dict[str, Any]:
    """Return a patient for JSON. Powers in D, ages in years, axes in degrees from 1 to 180, distances in mm."""
    return {
        "seed": patient.seed,
        "origin": patient.origin,
        "region": patient.region,
        "age_y": _number(patient.age_y),
        "sex": patient.sex,
        "pd_mm": _number(patient.pd_mm),
        "iris": patient.iris,
        "complaint": patient.complaint,
        "history": patient.history,
        "latent_f": _number(patient.latent_f),
        "amplitude_d": _number(patient.amplitude_d),
        "dark_near_d": _number(patient.dark_near_d),
        "response_slope": _number(patient.response_slope),
        "response_lead_d": _number(patient.response_lead_d),
        "fixation_holds_s": _number(patient.fixation_holds_s),
        "nystagmus": patient.nystagmus,
        **{side: eye_document(patient.eye(side)) for side in SIDES},
    }


def patient_line(patient: Patient) -> str:
    """Return a patient in one line of words: age, complaint, and the written lens of each eye under cycloplegia."""
    eyes = "; ".join(
        f"{side} {write_prescription(patient.eye(side).rx)}"
        + "".join(f", {medium}" for medium in patient.eye(side).media)
        for side in SIDES
    )
    return f"{patient.age_y:.1f} y, {patient.sex}, {patient.complaint}: {eyes}"


def eye_document(eye: Eye) -> dict[str, Any]:
    """Return one eye for JSON: `wet` under cycloplegia, `dry` without."""
    return {
        "wet": _refraction(eye.lens),
        "dry": _refraction(eye.dry_lens),
        "latent_d": _number(eye.latent_d),
        "media": list(eye.media),
        "natural_lens": eye.natural_lens,
        "irregular_d_per_mm": _number(eye.irregular_d_per_mm),
        "vertex_mm": _number(eye.vertex_mm),
        "pupil_dim_mm": _number(eye.pupil_dim_mm),
        "pupil_bright_mm": _number(eye.pupil_bright_mm),
        "pupil_drops_mm": _number(eye.pupil_drops_mm),
        "c40_um": _number(eye.c40_um),
        "margin_per_mm2": _number(eye.margin_per_mm2),
        "peripheral_m2": _number(eye.peripheral_m2),
        "peripheral_j2": _number(eye.peripheral_j2),
        "mar0": _number(eye.mar0),
        "blur_k": _number(eye.blur_k),
        "best_logmar": _number(eye.best_logmar),
        "habitual": None if eye.habitual_rx is None else _lens(eye.habitual_rx),
        "habitual_age_y": eye.habitual_age_y,
    }


def _refraction(lens: SphCyl) -> dict[str, Any]:
    M, J0, J45 = lens.power_vector()
    return {
        "M": _number(M),
        "J0": _number(J0),
        "J45": _number(J45),
        **_lens(lens),
        "written": _lens(written(lens)),
    }


def _lens(lens: SphCyl) -> dict[str, float]:
    return {"sphere": _number(lens.sphere), "cylinder": _number(lens.cylinder), "axis": _number(lens.axis)}


def _number(value: float) -> float:
    return round(value, DECIMALS) + 0.0
