"""Eyes for cases from drawn patients: the first of forty whom a case can use, so that findings belong together.

A case needs its slips to show, so it cannot take every patient, and that bends the population a little. The population
is checked before it (tests/cases/patients).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import TypeVar

from cases.curriculum.steps import pick_lens
from cases.optics.lens import SphCyl
from cases.patients.mixture import mixed_patient
from cases.patients.patient import SIDES, Patient, written
from cases.procedure.fields import Field
from cases.procedure.keys import given
from cases.procedure.quantities import Quantity
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

PATIENTS = 20_000
"""How many different patients cases have; each is drawn when it is first asked for."""
TRIES, TEACHING_TRIES = 40, 160
"""Patients of the mixture looked at for one case, and then patients of the teaching share."""

AGES = Quantity(
    id="age", unit=" years", hint="years, such as 34", low=0.0, high=110.0, step=1.0, exact=0.0, tolerance=0.0,
)  # fmt: skip
AGE = Field("age", "Age of the patient; 0: a usual one", AGES, default=0.0)

T = TypeVar("T")


@given(AGE)
def age_words(age: float) -> tuple[str, ...]:
    """Say how old the patient is, in a line of its own; nothing for a usual one."""
    return (f"The patient is {age:.0f} years old.",) if age else ()


@lru_cache(maxsize=4096)
def _patient(number: int, *, teaching: bool) -> Patient:
    return mixed_patient(f"case {number}", teaching=teaching)


def patients(chance: Chance) -> Iterator[Patient]:
    """Yield patients to look through for one case: of the mixture, then of the teaching share."""
    for teaching, tries in ((False, TRIES), (True, TEACHING_TRIES)):
        for _ in range(tries):
            yield _patient(chance.whole(0, PATIENTS - 1), teaching=teaching)


def first_fitting(chance: Chance, fits: Callable[[Patient], T | None]) -> T | None:
    """Return what the first patient gives that fits, or None where none of those looked at does."""
    return next((found for one in patients(chance) if (found := fits(one)) is not None), None)


def as_recorded(lens: SphCyl, settings: Settings) -> SphCyl:
    """Write a lens in quarters and 5°, or 1° for experts."""
    return written(lens, axis_step=1 if settings.level == "expert" else 5)


def patient_lens(
    chance: Chance,
    settings: Settings,
    *,
    sphere: tuple[float, float] = (-7, 6),
    cylinder: tuple[float, float] = (0.5, 3.5),
) -> SphCyl:
    """Draw the minus-cylinder lens of a patient's eye: sphere and size of the cylinder within these limits in D.

    The axis is none that mirrors onto itself (45, 90, 135, 180), where a mirrored axis would not show.
    """
    high = min(cylinder[1], 2.0) if settings.level == "novice" else cylinder[1]
    sides = chance.shuffled(SIDES)

    def fits(patient: Patient) -> SphCyl | None:
        for side in sides:
            lens = as_recorded(patient.eye(side).lens, settings)
            if sphere[0] <= lens.sphere <= sphere[1] and cylinder[0] <= -lens.cylinder <= high and lens.axis % 45:
                return lens
        return None

    return first_fitting(chance, fits) or pick_lens(chance, settings, sphere=sphere, cylinder=cylinder)


def patient_sphere(chance: Chance, low: float, high: float) -> float:
    """Draw the mean power of a patient's eye in D, to a quarter, within these limits."""
    side = chance.among(SIDES)

    def fits(patient: Patient) -> float | None:
        mean = round(4 * patient.eye(side).M) / 4 + 0.0
        return mean if low <= mean <= high else None

    found = first_fitting(chance, fits)
    return chance.stepped(low, high) if found is None else found
