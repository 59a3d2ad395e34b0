"""Cases from drawn patients: few are looked at for one case, findings belong together, and no type has few cases."""

from __future__ import annotations

import json
import statistics

import pytest

from cases.curriculum.drawn_eyes import age_words, patient_lens, patient_sphere
from cases.curriculum.register import case_type
from cases.procedure.case_type import draw
from cases.procedure.documents import case_document
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings
from tests.benchmarks.drawn_eyes import TYPES, count_looks

ONCE_FEW = (
    *("dark-near", "eye-for-eye", "lag-lens", "lag-move-back", "near-response", "off-axis-effect", "sighting-angle"),
)
"""Types that had fewer than 200 cases in 500 draws."""


@pytest.mark.parametrize("type_id", ONCE_FEW)
def test_five_hundred_draws_give_two_hundred_cases(type_id: str) -> None:
    drawn = {json.dumps(case_document(draw(case_type(type_id), k))["findings"], sort_keys=True) for k in range(500)}
    assert len(drawn) >= 200


def test_few_patients_are_looked_at_for_a_case(monkeypatch: pytest.MonkeyPatch) -> None:
    """10,000 cases: `python -m tests.benchmarks.drawn_eyes`."""
    found = {one: count_looks(one, 12, monkeypatch) for one in TYPES}
    assert statistics.fmean(looks <= 5 for one in found.values() for looks in one.looked_at) >= 0.7
    assert {name: one.within_five for name, one in found.items() if one.within_five < 0.25} == {}
    assert sum(one.exhausted for one in found.values()) == 0


def test_axes_and_cylinders_are_those_of_people() -> None:
    """Evenly drawn, 45 % of axes were oblique and 29 % of cylinders over 2.00 D. Refraction clinics see far fewer."""
    lenses = [patient_lens(Chance(f"{k}"), Settings(level="competent")) for k in range(400)]
    oblique = statistics.fmean(30 < one.axis % 90 < 60 for one in lenses)
    assert oblique < 0.35
    assert statistics.fmean(one.cylinder < -2 for one in lenses) < 0.2


def test_a_sphere_is_within_its_limits() -> None:
    assert all(-1 <= patient_sphere(Chance(f"{k}"), Settings(), -1, 2) <= 2 for k in range(100))


def test_an_age_that_is_not_given_is_not_told() -> None:
    assert age_words({"age": 0.0}) == ()
    assert age_words({"age": 9.0}) == ("The patient is 9 years old.",)


def test_two_eyes_that_differ_are_one_patients() -> None:
    """The left-in distance apart, both eyes of a case have alike refractions: no +4 beside a −4 by chance."""
    for k in range(60):
        case = draw(case_type("two-eyes"), k)
        right, left = case.findings["right"].minus_form(), case.findings["left"].minus_form()
        if case.truth["act"] == "keep":
            assert abs(right.spherical_equivalent - left.spherical_equivalent) <= 1


def test_cases_are_of_patients_as_in_the_region_that_is_set() -> None:
    """Of all ages more are myopic as in east Asia than as in western Europe (`kim-2013`, `williams-2015`)."""

    def myopic(region: str) -> float:
        spheres = [patient_sphere(Chance(f"{k}"), Settings(region=region), -12, 12) for k in range(300)]
        return statistics.fmean(one <= -0.5 for one in spheres)

    assert myopic("east-asia") > myopic("europe") + 0.1
