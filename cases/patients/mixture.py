"""Patients for case types: three in five as they come, two in five by what they teach."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from cases.patients.drawing_patients import Refraction, Wanted, WantedMeans, draw_patient
from cases.patients.patient import Medium, Patient
from cases.patients.population import EUROPE
from cases.patients.streams import Streams
from cases.procedure.randomness import Chance

POPULATION_SHARE = 0.6

T = TypeVar("T")
Ages = tuple[float, float]


@dataclass(frozen=True)
class Stratum:
    """Patients who teach one thing: their ages in years, the refraction wanted, the conditions given."""

    id: str
    weight: float
    ages: Ages
    wanted: Wanted = lambda _refraction: True
    wanted_means: WantedMeans = lambda _means: True
    has: tuple[Medium, ...] = ()
    nystagmus: bool = False


def _lenses(refraction: Refraction) -> tuple[SphCyl, SphCyl]:
    right, left = (SphCyl.from_power_vector(one.M, one.J0, one.J45) for one in refraction)
    return right, left


def _cylinders(least: float) -> Wanted:
    return lambda refraction: any(2 * math.hypot(one.J0, one.J45) > least for one in refraction)


def _weakest(lens: SphCyl) -> float:
    return min(abs(lens.sphere), abs(lens.sphere + lens.cylinder))


def _oblique(refraction: Refraction) -> bool:
    return any(-lens.cylinder >= 0.75 and 30 <= axis_gap(lens.axis, 180) <= 60 for lens in _lenses(refraction))


STRATA = (
    Stratum("cylinder over 1.50", 0.22, (1, 85), _cylinders(1.5)),
    Stratum("oblique axis", 0.14, (2, 85), _oblique),
    Stratum("unequal eyes over 1.50 D", 0.16, (3, 85), wanted_means=lambda of: abs(of[0] - of[1]) > 1.5),
    Stratum("high minus", 0.08, (14, 70), wanted_means=lambda of: min(of) <= -6),
    Stratum("high plus", 0.10, (2, 70), wanted_means=lambda of: max(of) >= 4.5),
    Stratum("latent plus in a child", 0.12, (3, 12), wanted_means=lambda of: max(of) >= 2),
    Stratum(
        "media or cornea",
        0.10,
        (15, 85),
        has=("keratoconus", "nuclear opacity", "cortical opacity", "subcapsular opacity", "scar", "vitreous haze"),
    ),
    Stratum("artificial lens", 0.05, (55, 88), has=("artificial lens",)),
    Stratum("nystagmus or poor fixation", 0.03, (3, 60), nystagmus=True),
    Stratum(
        "strong lens with a strong cylinder",
        0.0,
        (2, 85),
        lambda refraction: any(_weakest(lens) >= 4 and -lens.cylinder >= 2 for lens in _lenses(refraction)),
        wanted_means=lambda of: max(map(abs, of)) >= 5,
    ),
)
"""The teaching share: weights and sorts are ours; no source says what a learner should meet how often.

One without weight comes only where a case asks for it by name."""

AGES: tuple[tuple[Ages, float], ...] = (
    ((0.1, 1), 0.06),
    ((1, 7), 0.20),
    ((7, 18), 0.26),
    ((18, 40), 0.22),
    ((40, 60), 0.14),
    ((60, 90), 0.12),
)
"""Ages of the population share in years, with the share of each band: ours."""


def _weighed(unit: float, options: tuple[tuple[T, float], ...]) -> T:
    reached = 0.0
    for one, weight in options:
        reached += weight
        if unit < reached:
            return one
    return options[-1][0]


def _overlap(ages: Ages, within: Ages) -> Ages | None:
    low, high = max(ages[0], within[0]), min(ages[1], within[1])
    return (low, high) if low < high else None


def mixed_patient(
    seed: str,
    *,
    region: str = EUROPE,
    within: Ages = (0.1, 90),
    teaching: bool = False,
    of_strata: tuple[str, ...] = (),
) -> Patient:
    """Draw a patient from the mixture, of an age within the limits.

    `teaching` leaves the population share out; `of_strata` names those that the teaching share is drawn from, all where
    it is empty.
    """
    streams = Streams(f"{seed}/mixture")
    strata = tuple(
        ((one, ages), one.weight)
        for one in STRATA
        if (not of_strata or one.id in of_strata) and (ages := _overlap(one.ages, within)) is not None
    )
    bands = tuple((ages, weight) for band, weight in AGES if (ages := _overlap(band, within)) is not None)
    if strata and (teaching or not streams.happens("share", POPULATION_SHARE)):
        total = math.fsum(weight for _, weight in strata)
        stratum, ages = _weighed(streams.unit("stratum") * total, strata)
        return draw_patient(
            seed,
            age=ages,
            region=region,
            origin=f"teaching: {stratum.id}",
            wanted=stratum.wanted,
            wanted_means=stratum.wanted_means,
            has=stratum.has[int(streams.unit("condition") * len(stratum.has))] if stratum.has else None,
            nystagmus=stratum.nystagmus,
        )
    total = math.fsum(weight for _, weight in bands)
    return draw_patient(seed, age=_weighed(streams.unit("band") * total, bands), region=region)


def mixed_patients(chance: Chance, *, region: str = EUROPE, within: Ages = (0.1, 90)) -> Iterator[Patient]:
    """Yield patients for a case, without end: of one draw of `chance` each."""
    while True:
        yield mixed_patient(f"{chance.whole(0, 10**12)}", region=region, within=within)
