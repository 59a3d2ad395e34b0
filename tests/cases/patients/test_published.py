"""The population against published aggregates (published.py), and one reading against published repeatability."""

from __future__ import annotations

import math
import statistics

import pytest

from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from cases.patients.drawing_patients import draw_patient
from cases.patients.patient import Patient, written
from cases.patients.readings import CHILD_WET, read_once
from cases.procedure.randomness import Chance
from tests.cases.patients.published import BANDS, Band, people_of

COUNT = 2000
"""Patients a band; `python -m tests.benchmarks.patients` draws 20,000."""


@pytest.mark.parametrize("band", BANDS, ids=lambda one: f"{one.region} {one.ages[0][0]:g}-{one.ages[-1][1]:g}")
def test_the_population_is_as_published(band: Band) -> None:
    people = people_of(band, COUNT)
    found = {one.what: (one.measure(people), one) for one in band.values}
    off = {
        f"{what} ({one.source}; {one.eye}; {one.measured})": f"{got:.3f}, published {one.value:g} ± {one.within:g}"
        for what, (got, one) in found.items()
        if abs(got - one.value) > one.within
    }
    assert off == {}


def test_with_the_rule_astigmatism_of_infants_goes_within_half_a_year() -> None:
    """Mutti 2004, n 298, right eyes, cycloplegic retinoscopy: mean J0 changes by −0.26 D from 3 to 9 months."""
    at = [statistics.fmean(draw_patient(k, age=(age, age)).right.J0 for k in range(1500)) for age in (0.25, 0.75)]
    assert at[1] - at[0] == pytest.approx(-0.26, abs=0.06)


@pytest.fixture(scope="module")
def pairs() -> list[tuple[SphCyl, SphCyl]]:
    """Two readings each of children of 4 to 5 years under cycloplegia, written to 0.25 D and 5°."""
    children = (draw_patient(f"pair {k}", age=(4, 6)) for k in range(3000))
    return [(_read(child, "first"), _read(child, "second")) for child in children]


def _read(child: Patient, which: str) -> SphCyl:
    return written(read_once(child.right.lens, CHILD_WET, Chance(f"{child.seed} {which}")))


def _limits(differences: list[float]) -> float:
    return 1.96 * statistics.pstdev(differences)


def test_two_readings_of_a_child_differ_as_published(pairs: list[tuple[SphCyl, SphCyl]]) -> None:
    """McCullough 2017, one examiner, cycloplegia: sphere ±0.85, cylinder ±0.65, mean ±0.84; 80 % within 0.50 D."""
    means = [a.spherical_equivalent - b.spherical_equivalent for a, b in pairs]
    assert _limits([a.sphere - b.sphere for a, b in pairs]) == pytest.approx(0.85, abs=0.08)
    assert _limits([a.cylinder - b.cylinder for a, b in pairs]) == pytest.approx(0.65, abs=0.08)
    assert _limits(means) == pytest.approx(0.84, abs=0.06)
    assert statistics.fmean(abs(one) <= 0.5 for one in means) == pytest.approx(0.80, abs=0.04)


def test_axes_of_two_readings_differ_as_published(pairs: list[tuple[SphCyl, SphCyl]]) -> None:
    """McCullough 2017: within 20° in 71 % where both cylinders are 0.75 D or more."""
    gaps = [axis_gap(a.axis, b.axis) for a, b in pairs if a.cylinder <= -0.75 and b.cylinder <= -0.75]
    assert len(gaps) > 300
    assert statistics.fmean(gap <= 20 for gap in gaps) == pytest.approx(0.71, abs=0.06)


def test_drops_find_more_plus_the_more_plus_there_is() -> None:
    """Chan & Edwards 1994, 27 children of 3 to 5½ years: wet = 1.45 × dry + 0.39. Read as a line through the means."""
    eyes = [draw_patient(f"wet {k}", age=(3, 5.5)).right for k in range(3000)]
    line = statistics.linear_regression(
        [one.M - one.latent_d for one in eyes if one.M > 0], [one.M for one in eyes if one.M > 0]
    )
    assert line.slope == pytest.approx(1.45, abs=0.13)
    assert line.intercept == pytest.approx(0.39, abs=0.13)


@pytest.mark.parametrize(("age", "amplitude"), [(10, 7.2), (20, 6.3), (30, 4.8), (40, 2.5), (60, 0.0)])
def test_amplitude_falls_with_age(age: float, amplitude: float) -> None:
    """Anderson 2008, n 140, objective, 3 to 40 years: 7.33 − 0.0035 (age − 3)²."""
    found = statistics.fmean(draw_patient(f"amplitude {k}", age=(age, age)).amplitude_d for k in range(500))
    assert found == pytest.approx(amplitude, abs=0.12)


def test_two_eyes_belong_to_one_person() -> None:
    """The correlation of M at 20 years is about 0.95 (from memory); mirrored J45 goes along, direct J45 does not."""
    people = [draw_patient(f"both {k}", age=(20, 20)) for k in range(2000)]
    right, left = [one.right for one in people], [one.left for one in people]
    assert statistics.correlation([one.M for one in right], [one.M for one in left]) > 0.92
    assert statistics.correlation([one.J0 for one in right], [one.J0 for one in left]) > 0.75
    assert statistics.correlation([one.J45 for one in right], [-one.J45 for one in left]) > 0.6
    assert all(math.isfinite(one.best_logmar) for one in right)
