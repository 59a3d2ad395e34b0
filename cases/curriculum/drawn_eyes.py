"""Eyes for cases from drawn patients: the first of forty whom a case can use, so that findings belong together.

A case needs its slips to show, so it cannot take every patient, and that bends the population a little. The population
is checked before it (tests/cases/patients).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

from cases.curriculum.steps import pick_lens
from cases.optics.lens import SphCyl
from cases.patients.mixture import Ages, mixed_patient
from cases.patients.patient import SIDES, Patient, written
from cases.patients.readings import read_once, usual_scatter
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


ANY_AGE: Ages = (0.1, 90)


STRONG_CYLINDERS = ("cylinder over 1.50", "oblique axis")
STRONG_LENSES = ("high minus", "high plus")
STRONG_AND_TORIC = ("strong lens with a strong cylinder",)
"""Strata for cases that weaker eyes would be of no use to."""


@dataclass(frozen=True)
class Sought:
    """Whom a case asks for: ages in years, and the strata of its teaching share, all where none is named."""

    within: Ages = ANY_AGE
    strata: tuple[str, ...] = ()


ANYBODY = Sought()
UNDER_DROPS = Sought((0.5, 35.0))
"""Ages in years at which accommodation is worth relaxing: ours, common practice, no published source."""
AT_A_CHART = Sought((4.0, 90.0))
"""Ages in years at which letters or their like are named at a chart: ours, common practice."""
STRONG = Sought((0.5, 90.0), STRONG_LENSES)
"""Patients whose lens is so strong that where and how it stands matters."""


@lru_cache(maxsize=4096)
def _patient(number: int, region: str, sought: Sought, *, teaching: bool) -> Patient:
    return mixed_patient(
        f"case {number}", region=region, within=sought.within, teaching=teaching, of_strata=sought.strata
    )


def of_subject(chance: Chance) -> Chance:
    """Return a source that gives the same choices for as long as the subject of a case stays: for what it is to teach.

    Choices from the usual source are drawn again when a case is thrown back, so that the easy ones would win.
    """
    return Chance(f"{chance.subject}/kind") if chance.subject else chance


def patients(chance: Chance, settings: Settings, sought: Sought = ANYBODY) -> Iterator[Patient]:
    """Yield patients to look through for one case: of the mixture, then of the teaching share.

    While the subject of a case stays the same they are the same ones in the same order.
    """
    if chance.subject:
        chance = Chance(chance.subject)
    for teaching, tries in ((False, TRIES), (True, TEACHING_TRIES)):
        for _ in range(tries):
            yield _patient(chance.whole(0, PATIENTS - 1), settings.region, sought, teaching=teaching)


def first_fitting(
    chance: Chance, settings: Settings, fits: Callable[[Patient], T | None], sought: Sought = ANYBODY
) -> T | None:
    """Return what the first patient gives that fits, or None where none of those looked at does."""
    every = patients(chance, settings, sought)
    return next((found for one in every if (found := fits(one)) is not None), None)


def as_recorded(lens: SphCyl, settings: Settings) -> SphCyl:
    """Write a lens in quarters and 5°, or 1° for experts."""
    return written(lens, axis_step=1 if settings.level == "expert" else 5)


def patient_lens(
    chance: Chance,
    settings: Settings,
    *,
    sphere: tuple[float, float] = (-7, 6),
    cylinder: tuple[float, float] = (0.5, 3.5),
    at_the_bench: bool = False,
    sought: Sought = ANYBODY,
) -> SphCyl:
    """Draw the minus-cylinder lens of a patient's eye: sphere and size of the cylinder within these limits in D.

    An eye at the bench has its axis at a whole degree, which nobody has rounded to 5° yet.

    The axis is none that mirrors onto itself (45, 90, 135, 180), where a mirrored axis would not show.
    """
    high = min(cylinder[1], 2.0) if settings.level == "novice" else cylinder[1]
    sides = chance.shuffled(SIDES)

    def fits(patient: Patient) -> SphCyl | None:
        for side in sides:
            eye = patient.eye(side).lens
            lens = written(eye, axis_step=1) if at_the_bench else as_recorded(eye, settings)
            if sphere[0] <= lens.sphere <= sphere[1] and cylinder[0] <= -lens.cylinder <= high and lens.axis % 45:
                return lens
        return None

    return first_fitting(chance, settings, fits, sought) or pick_lens(
        chance, settings, sphere=sphere, cylinder=cylinder
    )


READINGS = 8
"""Pairs of readings taken of one eye before another is looked at."""
ADULT_Y = 13.0
"""Age in years under which readings are taken under drops, and scatter as those of children do."""


def two_readings(
    chance: Chance,
    settings: Settings,
    wanted: Callable[[SphCyl, SphCyl], bool],
    *,
    practised: bool,
    sought: Sought = ANYBODY,
) -> tuple[SphCyl, SphCyl] | None:
    """Take two readings of one eye of a patient, by one hand and with the published scatter, until a pair is wanted.

    Both in minus form, as recorded; None where none of the patients looked at gives such a pair.
    """
    sides = chance.shuffled(SIDES)

    def fits(patient: Patient) -> tuple[SphCyl, SphCyl] | None:
        scatter = usual_scatter(patient.age_y, drops=patient.age_y < ADULT_Y, novice=not practised)
        for side in sides:
            lens = patient.eye(side).lens
            for _ in range(READINGS):
                first, second = (as_recorded(read_once(lens, scatter, chance), settings) for _ in SIDES)
                if wanted(first, second):
                    return first, second
        return None

    return first_fitting(chance, settings, fits, sought)


def patient_sphere(chance: Chance, settings: Settings, low: float, high: float) -> float:
    """Draw the mean power of a patient's eye in D, to a quarter, within these limits."""
    side = chance.among(SIDES)

    def fits(patient: Patient) -> float | None:
        mean = round(4 * patient.eye(side).M) / 4 + 0.0
        return mean if low <= mean <= high else None

    found = first_fitting(chance, settings, fits)
    return chance.stepped(low, high) if found is None else found
