"""Published aggregates of refraction, each with its cut-off, eye, instrument, drops and source, and how it is counted.

A tolerance allows for the sampling of the study, for what differs between studies (drops, instrument, rounding), and
for our own draws. Most of these were in view when the model was tuned, so they are a calibration and no validation.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cases.optics.axes import axis_gap
from cases.patients.drawing_patients import draw_patient
from cases.patients.patient import SIDES, Eye, Patient

People = Sequence[Patient]
Measure = Callable[[People], float]


@dataclass(frozen=True)
class Published:
    """One value: what was counted, in which eye, with what, and how near the model is to come."""

    what: str
    source: str
    eye: str
    measured: str
    value: float
    within: float
    measure: Measure


@dataclass(frozen=True)
class Band:
    """Patients of one age and region, with what was published of them. `share` weighs bands that make up one study."""

    ages: tuple[tuple[float, float, float], ...]
    region: str
    values: tuple[Published, ...]
    natural: bool = False
    """Whether operated eyes are left out, as studies of adults do."""


def dry(eye: Eye) -> float:
    return eye.M - eye.latent_d


def cylinder(eye: Eye) -> float:
    return 2 * math.hypot(eye.J0, eye.J45)


def quarter_cylinder(eye: Eye) -> float:
    return round(4 * cylinder(eye)) / 4


def worse(patient: Patient) -> Eye:
    return max(patient.right, patient.left, key=cylinder)


def wears(patient: Patient) -> bool:
    return any(patient.eye(side).habitual_rx is not None for side in SIDES)


def share(fits: Callable[[Patient], bool]) -> Measure:
    return lambda people: sum(map(fits, people)) / len(people)


def mean(of: Callable[[Patient], float]) -> Measure:
    return lambda people: statistics.fmean(map(of, people))


def spread(of: Callable[[Patient], float]) -> Measure:
    return lambda people: statistics.stdev(map(of, people))


def right_mean(patient: Patient) -> float:
    return patient.right.M


def with_the_rule(eye: Eye) -> bool:
    return axis_gap(eye.lens.axis, 180) <= 20


def against_the_rule(eye: Eye) -> bool:
    return axis_gap(eye.lens.axis, 90) <= 20


def axis_gaps(people: People, *, mirrored: bool) -> float:
    pairs = [
        (one.right.lens.axis, 180 - one.left.lens.axis if mirrored else one.left.lens.axis)
        for one in people
        if cylinder(one.right) >= 0.25 and cylinder(one.left) >= 0.25
    ]
    return statistics.median(axis_gap(a, b) for a, b in pairs)


RETINOSCOPY, AUTO_WET = "retinoscopy, cycloplegia", "autorefractor, cycloplegia"
DRY = "dry: cycloplegic less the latent part"
AUTOREFRACTOR = -0.23
"""What an autorefractor finds more minus than retinoscopy in adults without drops, in D: ours, tuned."""

# The European Standard Population of Eurostat, 2013, per 100,000 in bands of five years from 25: from memory.
STANDARD = (6000, 6500, 7000, 7000, 7000, 7000, 6500, 6000, 5500, 5000, 4000, 2500, 1500)

SEMERARO, MUTTI_5, MUTTI_4 = "Semeraro 2020, n 12,427", "Mutti 2005 (from memory)", "Mutti 2004, n 298"
GIORDANO, BORCHERT = "Giordano 2009, n 2,546", "Borchert 2010, n 6,024"
IRELAND = "O'Donoghue 2010, n 1,053; Harrington 2019, n 1,626"
WILLIAMS, WOLFRAM, SCHUSTER = "Williams 2015, n 61,946", "Wolfram 2014, n 13,959", "Schuster 2017, n 13,558"


def one_age(low: float, high: float) -> tuple[tuple[float, float, float], ...]:
    return ((low, high, 1.0),)


BANDS = (
    Band(
        one_age(0, 0.01),
        "europe",
        (
            Published("M from +0.50 to +4.00", SEMERARO, "both alike", "retinoscopy, tropicamide", 0.880, 0.03,
                      share(lambda p: 0.5 <= p.right.M <= 4)),
            Published("M above +4.00", SEMERARO, "both alike", "retinoscopy, tropicamide", 0.072, 0.02,
                      share(lambda p: p.right.M > 4)),
            Published("cylinder from 1.00", SEMERARO, "both alike", "retinoscopy, tropicamide", 0.0094, 0.01,
                      share(lambda p: cylinder(p.right) >= 1)),
        ),
    ),
    Band(
        one_age(0.25, 0.25),
        "europe",
        (
            Published("mean M", MUTTI_5, "right", RETINOSCOPY, 2.16, 0.20, mean(right_mean)),
            Published("SD of M", MUTTI_5, "right", RETINOSCOPY, 1.30, 0.20, spread(right_mean)),
            Published("cylinder from 1.00", MUTTI_4, "right", RETINOSCOPY, 0.416, 0.05,
                      share(lambda p: cylinder(p.right) >= 1)),
            Published("of it with the rule, ±20°", MUTTI_4, "right", RETINOSCOPY, 0.370, 0.05,
                      share(lambda p: cylinder(p.right) >= 1 and with_the_rule(p.right))),
            Published("of it against the rule, ±20°", MUTTI_4, "right", RETINOSCOPY, 0.027, 0.02,
                      share(lambda p: cylinder(p.right) >= 1 and against_the_rule(p.right))),
        ),
    ),
    Band(
        one_age(0.75, 0.75),
        "europe",
        (
            Published("mean M", MUTTI_5, "right", RETINOSCOPY, 1.36, 0.20, mean(right_mean)),
            Published("SD of M", MUTTI_5, "right", RETINOSCOPY, 1.06, 0.20, spread(right_mean)),
        ),
    ),
    Band(
        one_age(3, 3),
        "europe",
        (
            Published("cylinder from 1.00", MUTTI_4, "right", RETINOSCOPY, 0.041, 0.02,
                      share(lambda p: cylinder(p.right) >= 1)),
        ),
    ),
    Band(
        one_age(0.5, 6),
        "europe",
        (
            Published("mean M", GIORDANO, "right", AUTO_WET, 1.49, 0.15, mean(right_mean)),
            Published("SD of M", GIORDANO, "right", AUTO_WET, 1.23, 0.15, spread(right_mean)),
            Published("M from +3.00", GIORDANO, "the less plus", AUTO_WET, 0.089, 0.03,
                      share(lambda p: min(p.right.M, p.left.M) >= 3)),
            Published("difference of M from 1", BORCHERT, "both", AUTO_WET, 0.042, 0.012,
                      share(lambda p: p.unequal_d >= 1)),
            Published("cylinder from 1.50", "MEPEDS, n 3,008: 6.3 % white", "worse", AUTO_WET, 0.063, 0.02,
                      share(lambda p: cylinder(worse(p)) >= 1.5)),
        ),
    ),
    Band(
        one_age(6, 8),
        "europe",
        (
            Published("M to −0.50", IRELAND, "either", AUTO_WET, 0.0305, 0.015,
                      share(lambda p: min(p.right.M, p.left.M) <= -0.5)),
            Published("M from +2.00", IRELAND, "either", AUTO_WET, 0.255, 0.05,
                      share(lambda p: max(p.right.M, p.left.M) >= 2)),
            Published("cylinder from 1.00", "Harrington 2019", "either", AUTO_WET, 0.192, 0.03,
                      share(lambda p: cylinder(worse(p)) >= 1)),
        ),
    ),
    Band(
        one_age(6, 7),
        "europe",
        (
            Published("difference of M from 1", "Huynh 2006, n 1,765", "both", AUTO_WET, 0.016, 0.008,
                      share(lambda p: p.unequal_d >= 1)),
            # Other children than the Irish ones on whom the model stands: so wide a tolerance is ours.
            Published("wears spectacles", "Robaei 2005, n 1,740", "either", "asked", 0.044, 0.05, share(wears)),
        ),
    ),
    Band(
        one_age(12, 14),
        "europe",
        (
            Published("M to −0.50", IRELAND, "either", AUTO_WET, 0.188, 0.03,
                      share(lambda p: min(p.right.M, p.left.M) <= -0.5)),
            Published("M from +2.00", IRELAND, "either", AUTO_WET, 0.118, 0.059,
                      share(lambda p: max(p.right.M, p.left.M) >= 2)),
            Published("cylinder from 1.00", "Harrington 2019", "either", AUTO_WET, 0.159, 0.03,
                      share(lambda p: cylinder(worse(p)) >= 1)),
            Published("wears spectacles", "Robaei 2006, n 2,353", "either", "asked", 0.190, 0.05, share(wears)),
        ),
    ),
    Band(
        one_age(25, 30),
        "europe",
        (
            Published("M to −0.75", WILLIAMS, "right", DRY, 0.472, 0.055, share(lambda p: dry(p.right) <= -0.75)),
        ),
        natural=True,
    ),
    Band(
        tuple((25.0 + 5 * place, 30.0 + 5 * place, weight) for place, weight in enumerate(STANDARD)),
        "europe",
        (
            Published("M to −0.75", WILLIAMS, "right", DRY, 0.306, 0.03, share(lambda p: dry(p.right) <= -0.75)),
            Published("M to −6", WILLIAMS, "right", DRY, 0.027, 0.008, share(lambda p: dry(p.right) <= -6)),
            Published("M from +1", WILLIAMS, "right", DRY, 0.252, 0.03, share(lambda p: dry(p.right) >= 1)),
            Published("cylinder from 1.00, in quarters", WILLIAMS, "right", DRY, 0.239, 0.035,
                      share(lambda p: quarter_cylinder(p.right) >= 1)),
            Published("median gap of the axes, direct", "Guggenheim 2008, n 50,995", "both from 0.25", "spectacles",
                      20, 4, lambda people: axis_gaps(people, mirrored=False)),
            Published("median gap of the axes, mirrored", "Guggenheim 2008, n 50,995", "both from 0.25", "spectacles",
                      10, 2, lambda people: axis_gaps(people, mirrored=True)),
        ),
        natural=True,
    ),
    Band(
        one_age(48, 89),
        "europe",
        (
            Published("wears spectacles for distance", "Sherwin 2012, n 4,428", "either", "asked", 0.692, 0.05,
                      share(wears)),
        ),
    ),
    Band(
        one_age(35, 75),
        "europe",
        (
            Published("M below −0.5", WOLFRAM, "right", "autorefractor, dry", 0.351, 0.03,
                      share(lambda p: dry(p.right) + AUTOREFRACTOR < -0.5)),
            Published("M above +0.5", WOLFRAM, "right", "autorefractor, dry", 0.318, 0.06,
                      share(lambda p: dry(p.right) + AUTOREFRACTOR > 0.5)),
            Published("difference of M above 1", WOLFRAM, "both", "autorefractor, dry", 0.135, 0.03,
                      share(lambda p: p.unequal_d > 1)),
            Published("cylinder above 1.00, in quarters", SCHUSTER, "right", "autorefractor, dry", 0.130, 0.025,
                      share(lambda p: quarter_cylinder(p.right) > 1)),
            Published("J0 a year", "Namba 2018, n 421 (Japan)", "right", "autorefractor", -0.014, 0.005,
                      lambda people: statistics.linear_regression(
                          [p.age_y for p in people], [p.right.J0 for p in people]).slope),
        ),
        natural=True,
    ),
    Band(
        one_age(67, 67),
        "europe",
        (
            Published("difference of M from 1", "Haegerstrom-Portnoy 2014, n 118", "both", "subjective", 0.161, 0.05,
                      share(lambda p: p.unequal_d >= 1)),
        ),
        natural=True,
    ),
    Band(
        one_age(79, 79),
        "europe",
        (
            Published("difference of M from 1", "Haegerstrom-Portnoy 2014, n 118", "both", "subjective", 0.322, 0.06,
                      share(lambda p: p.unequal_d >= 1)),
        ),
        natural=True,
    ),
    Band(
        one_age(20, 46),
        "europe",
        (
            # The middle of those who are in neither tail: the mode of all, by half-dioptre bins.
            Published("peak of M", "Rozema 2024, n 3,576", "right", AUTO_WET, 0.50, 0.15,
                      lambda people: statistics.median([p.right.M for p in people if -0.25 < p.right.M < 1.25])),
            Published("peak of M", "Rozema 2024, n 3,576", "right", "autorefractor, dry", 0.00, 0.15,
                      lambda people: statistics.median(
                          [dry(p.right) + AUTOREFRACTOR for p in people if -0.25 < p.right.M < 1.25])),
        ),
        natural=True,
    ),
    Band(
        one_age(0.5, 6),
        "east-asia",
        (
            Published("mean M", "Dirani 2010, n 3,009", "right", AUTO_WET, 0.69, 0.15, mean(right_mean)),
            Published("SD of M", "Dirani 2010", "right", AUTO_WET, 1.15, 0.15, spread(right_mean)),
            Published("M to −0.50", "Dirani 2010", "right", AUTO_WET, 0.110, 0.025, share(lambda p: p.right.M <= -0.5)),
            Published("M from +3.00", "Dirani 2010", "right", AUTO_WET, 0.014, 0.01, share(lambda p: p.right.M >= 3)),
            Published("cylinder from 1.50", "Dirani 2010", "right", AUTO_WET, 0.086, 0.025,
                      share(lambda p: cylinder(p.right) >= 1.5)),
        ),
    ),
    Band(
        one_age(6, 7),
        "east-asia",
        (
            Published("M to −0.50", "Li 2022, n 4,806", "right", AUTO_WET, 0.025, 0.015,
                      share(lambda p: p.right.M <= -0.5)),
        ),
    ),
    Band(
        one_age(12, 13),
        "east-asia",
        (
            Published("M to −0.50", "Li 2022, n 4,806", "right", AUTO_WET, 0.716, 0.05,
                      share(lambda p: p.right.M <= -0.5)),
            Published("cylinder from 1.00", "Anyang study at 12.7 y, n 1,783", "right", AUTO_WET, 0.174, 0.03,
                      share(lambda p: cylinder(p.right) >= 1)),
        ),
    ),
    Band(
        one_age(20, 30),
        "east-asia",
        (
            Published("M below −0.5", "Kim 2013, n 22,562", "right", DRY, 0.789, 0.04,
                      share(lambda p: dry(p.right) < -0.5)),
        ),
        natural=True,
    ),
    Band(
        one_age(60, 70),
        "east-asia",
        (
            Published("M below −0.5", "Kim 2013, n 22,562", "right", DRY, 0.161, 0.04,
                      share(lambda p: dry(p.right) < -0.5)),
        ),
        natural=True,
    ),
    Band(
        one_age(0.5, 6),
        "less-plus",
        (
            Published("mean M", GIORDANO, "right", AUTO_WET, 0.71, 0.15, mean(right_mean)),
            Published("SD of M", GIORDANO, "right", AUTO_WET, 1.35, 0.15, spread(right_mean)),
            Published("M from +3.00", GIORDANO, "the less plus", AUTO_WET, 0.044, 0.02,
                      share(lambda p: min(p.right.M, p.left.M) >= 3)),
            Published("M to −1.00", GIORDANO, "the less minus", AUTO_WET, 0.055, 0.02,
                      share(lambda p: max(p.right.M, p.left.M) <= -1)),
        ),
    ),
    Band(
        one_age(0.5, 1),
        "less-plus",
        (
            Published("cylinder from 1.50", "Fozailoff 2011", "worse", AUTO_WET, 0.25, 0.05,
                      share(lambda p: cylinder(worse(p)) >= 1.5)),
        ),
    ),
    Band(
        one_age(3, 4),
        "less-plus",
        (
            Published("cylinder from 1.50", "Fozailoff 2011", "worse", AUTO_WET, 0.07, 0.025,
                      share(lambda p: cylinder(worse(p)) >= 1.5)),
        ),
    ),
)  # fmt: skip


def people_of(band: Band, count: int, seed: str = "") -> list[Patient]:
    """Draw the patients of a band, as many as are asked for before operated eyes are left out."""
    total = sum(weight for *_, weight in band.ages)
    drawn = [
        draw_patient(f"{seed}{low:g}/{one}", age=(low, high), region=band.region)
        for low, high, weight in band.ages
        for one in range(round(count * weight / total))
    ]
    return [one for one in drawn if not band.natural or (one.right.natural_lens and one.left.natural_lens)]
