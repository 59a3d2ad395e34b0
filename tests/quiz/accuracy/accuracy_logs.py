"""Logs of invented examiners for the tests of the accuracy log: known bias, known scatter, nobody's data."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from cases.optics.lens import SphCyl
from quiz.accuracy.entries import Entry
from quiz.accuracy.sample import Sample

SD_M = 0.33
"""SD in D of retinoscopy less subjective in M: Jorge et al. 2005, Optom Vis Sci 82(1) (abstract)."""
SD_J = 0.15
"""Assumed for each cylinder component."""
PLANO = SphCyl(0)
FIRST_DAY = date(2026, 1, 5)


def sample(
    rng: np.random.Generator,
    *,
    patients: int,
    eyes: int = 2,
    shift_cm: float = 0.0,
    allowed_cm: float | tuple[float, ...] = 67.0,
    J: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    shared: float = 0.3,
) -> Sample:
    """Make a log: `shift_cm` nearer than allowed, J0 and J45 of right and left shifted by `J`.

    shared: how much of the scatter's variance the two eyes of a patient have in common.
    """
    n = patients * eyes
    who = np.repeat(np.arange(1, patients + 1), eyes)
    right = np.tile([True, False][:eyes], patients)
    allowed = np.resize(np.atleast_1d(np.asarray(allowed_cm, dtype=float)), n)
    common = np.repeat(rng.normal(size=(patients, 3)), eyes, axis=0)
    noise = np.sqrt(1 - shared) * rng.normal(size=(n, 3)) + np.sqrt(shared) * common
    difference = noise * [SD_M, SD_J, SD_J]
    difference[:, 0] += 100 / (allowed - shift_cm) - 100 / allowed
    difference[:, 1:] += np.where(right[:, None], J[:2], J[2:])
    end: NDArray[np.float64] = np.column_stack(
        [rng.normal(-1, 2.5, n), rng.normal(0.15, 0.4, n), rng.normal(0, 0.25, n)]
    )
    return Sample(
        patient=who.astype(np.int64),
        right=right,
        difference=difference,
        middle=end + difference / 2,
        end_point=end,
        distance_cm=allowed,
        day=np.repeat(rng.integers(0, 200, patients), eyes).astype(float),
        accommodates=np.repeat(rng.choice([0.0, 1.0, np.nan], patients), eyes),
        young=np.full(n, np.nan),
    )


def entry(
    patient: int = 1,
    eye: str = "right",
    ret: SphCyl = PLANO,
    end: SphCyl = PLANO,
    *,
    cm: float = 67.0,
    day: int = 0,
    wet: bool = False,
    end_wet: bool = False,
    age: str = "",
    remark: str = "",
) -> Entry:
    """Make an entry; what does not matter to a test has a usual value."""
    return Entry(eye, patient, ret, end, cm, FIRST_DAY + timedelta(days=day), wet, end_wet, age, remark)


def written(*, patients: int, shift: float = 0.0, seed: int = 1) -> list[Entry]:
    """Make a log as people write one down: powers in quarters, axes in whole degrees."""
    return [
        replace(one, retinoscopy=_rounded(one.retinoscopy), end_point=_rounded(one.end_point))
        for one in log(patients=patients, shift=shift, seed=seed)
    ]


def _rounded(lens: SphCyl) -> SphCyl:
    sphere, cylinder = (round(one * 4) / 4 + 0.0 for one in (lens.sphere, lens.cylinder))
    return SphCyl(sphere, cylinder, round(lens.axis) or 180) if cylinder else SphCyl(sphere)


def log(
    *,
    patients: int = 20,
    shift: float = 0.0,
    J0: tuple[float, float] = (0.0, 0.0),
    J45: tuple[float, float] = (0.0, 0.0),
    seed: int = 1,
    scatter: float = 1.0,
    cm: float = 67.0,
) -> list[Entry]:
    """Make a log of entries, both eyes of each patient; J0 and J45 are shifts of (right, left) in D."""
    rng = np.random.default_rng(seed)
    out = []
    for patient in range(1, patients + 1):
        for side, eye in enumerate(("right", "left")):
            end = SphCyl(
                round(rng.normal(-1, 2) * 4) / 4,
                -round(abs(rng.normal(0, 0.9)) * 4) / 4,
                90 + 90 * (rng.random() < 0.7),
            )
            off = rng.normal(0, [SD_M * scatter, SD_J * scatter, SD_J * scatter])
            ret = end + SphCyl.from_power_vector(shift + off[0], J0[side] + off[1], J45[side] + off[2])
            out.append(entry(patient, eye, ret, end, cm=cm, day=3 * patient))
    return out
