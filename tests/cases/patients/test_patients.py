"""Patients are whole, coherent, and the same on every machine."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from cases.errors import CaseError
from cases.evidence.sources import UnknownSource
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, residual
from cases.patients import drawing_patients
from cases.patients.drawing_patients import draw_patient, pupil_mm
from cases.patients.examination.card import vision_of
from cases.patients.mixture import POPULATION_SHARE, STRATA, mixed_patient
from cases.patients.patient import MARGIN_PER_C40, SIDES, near_a_tie, written
from cases.patients.patient_json import patient_document
from cases.patients.population import CLAIMS, REGIONS, BadPopulation, _tables, population, read_population
from cases.patients.streams import Streams

PINNED = Path(__file__).parent / "drawn.json"


def pinned_patients() -> list[dict[str, object]]:
    return [patient_document(draw_patient(f"pinned {k}", region=region)) for region in REGIONS for k in range(6)]


def test_patients_are_drawn_as_ever() -> None:
    """A change that moves one of these moves every saved examination: write drawn.json again, and say so."""
    assert json.loads(PINNED.read_text(encoding="utf-8")) == pinned_patients()


def test_the_command_prints_what_the_core_draws() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "cases", "patients", "--count", "2", "--seed", "7", "--age", "6-12", "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    lines = [json.loads(line) for line in ran.stdout.splitlines()]
    assert lines == [patient_document(draw_patient(f"7/{k}", age=(6, 12))) for k in range(2)]
    assert all(6 <= one["age_y"] <= 12 for one in lines)
    assert set(lines[0]["right"]["wet"]) == {"M", "J0", "J45", "sphere", "cylinder", "axis", "written"}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--region", "atlantis"], "give one of europe, east-asia, less-plus"),
        (["--age", "9-4"], "give the lower and the higher age"),
        (["--age", "young"], "for example 6-12"),
        (["--count", "0"], "give 1 to"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_words(arguments: list[str], says: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "cases", "patients", "--seed", "1", *arguments],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 2
    assert says in ran.stderr


def test_a_field_moves_no_other() -> None:
    one, two = Streams("a"), Streams("a")
    two.unit("something new")
    assert one.unit("pupil") == two.unit("pupil")
    assert one.unit("pupil") != one.unit("vertex")


def test_a_refraction_near_a_rounding_tie_is_drawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    assert near_a_tie(SphCyl(1.125 + 1e-12))
    assert not near_a_tie(SphCyl(1.13))
    before = draw_patient(3)
    seen: list[SphCyl] = []

    def first_only(lens: SphCyl) -> bool:
        seen.append(lens)
        return len(seen) == 1

    monkeypatch.setattr(drawing_patients, "near_a_tie", first_only)
    assert draw_patient(3).right.M != before.right.M


def test_a_lens_is_written_once_in_quarters_and_5_degrees() -> None:
    assert written(SphCyl(1.37, -0.61, 178.2)) == SphCyl(1.25, -0.5, 180)
    assert written(SphCyl(0.2, -0.1, 30)) == SphCyl(0.25)
    assert written(SphCyl(1, -1, 2.4)).axis == 180
    assert written(SphCyl(1, -1, 33), axis_step=1).axis == 33


def test_every_patient_is_whole() -> None:
    for k in range(400):
        one = draw_patient(f"whole {k}", region=REGIONS[k % 3])
        assert one.complaint
        for eye in (one.right, one.left):
            assert eye.pupil_bright_mm < eye.pupil_drops_mm
            assert 0 <= eye.latent_d <= one.amplitude_d
            assert 9 <= eye.vertex_mm <= 18
            assert eye.best_logmar >= math.log10(eye.mar0) - 1e-9
            assert abs(eye.margin_per_mm2) < 1
            Setting(rx=eye.lens, in_place=SphCyl(0), distance_cm=67, margin_per_mm2=eye.margin_per_mm2)
        if one.age_y > 60:
            assert one.amplitude_d == 0
        if one.age_y < 20:
            assert one.right.natural_lens


def test_an_artificial_lens_neither_accommodates_nor_clouds() -> None:
    for k in range(40):
        one = draw_patient(f"lens {k}", age=(20, 90), has="artificial lens")
        operated = [one.eye(side) for side in SIDES if "artificial lens" in one.eye(side).media]
        assert operated
        for eye in operated:
            assert eye.latent_d == 0
            assert abs(eye.M) < 3
            assert not any(medium.endswith("opacity") for medium in eye.media)


def test_a_cone_has_irregular_power_and_one_eye_is_further() -> None:
    for k in range(20):
        one = draw_patient(f"cone {k}", age=(15, 40), has="keratoconus")
        grades = [one.eye(side).irregular_d_per_mm for side in SIDES]
        assert min(grades) >= 0.3
        assert max(grades) <= 1.5
        assert grades[0] != grades[1]


def test_three_in_five_come_from_the_population() -> None:
    drawn = [mixed_patient(f"{k}") for k in range(600)]
    origins = {one.origin for one in drawn}
    assert sum(one.origin == "population" for one in drawn) / 600 == pytest.approx(POPULATION_SHARE, abs=0.06)
    assert origins - {"population"} == {f"teaching: {one.id}" for one in STRATA if one.weight}
    for one in drawn:
        if one.origin.endswith("high minus"):
            assert min(one.right.M, one.left.M) <= -6
        if one.origin.endswith("unequal eyes over 1.50 D"):
            assert one.unequal_d > 1.5
        if one.origin.endswith("artificial lens"):
            assert not (one.right.natural_lens and one.left.natural_lens)


def test_patients_of_an_age_are_of_that_age() -> None:
    assert all(18 <= mixed_patient(f"{k}", within=(18, 40)).age_y <= 40 for k in range(80))


@pytest.mark.parametrize(
    ("luminance", "expected"),
    [(1.0, {20: 5.4, 30: 5.1, 50: 4.6, 70: 4.0}), (10.0, {20: 4.0, 30: 3.8, 50: 3.5, 70: 3.2})],
)
def test_pupils_by_the_published_formula(luminance: float, expected: dict[float, float]) -> None:
    """Watson & Yellott 2012: a field 60° across, both eyes."""
    for age, diameter in expected.items():
        assert pupil_mm(age, "female", luminance=luminance) == pytest.approx(diameter, abs=0.06)


def test_the_margin_follows_from_the_aberration() -> None:
    """The slope of the wave c·√5·(6ρ⁴ − 6ρ² + 1), ρ = r/2.5 mm, over r, by differences; µm/mm² is D."""

    def wave(r: float) -> float:
        p = r / 2.5
        return math.sqrt(5) * (6 * p**4 - 6 * p**2 + 1)

    def power(r: float) -> float:
        return (wave(r + 1e-4) - wave(r - 1e-4)) / 2e-4 / r

    assert -(power(2.0) - power(1.0)) / 3 == pytest.approx(MARGIN_PER_C40, rel=1e-5)
    # A child's margin at 2.5 mm and that of an adult of 60, in D, from the design's own working of published means.
    eye = replace(draw_patient(1, age=(60, 60)).right, c40_um=0.080)
    setting = Setting(rx=SphCyl(0), in_place=SphCyl(0), distance_cm=100, margin_per_mm2=eye.margin_per_mm2)
    assert residual(setting, 90, 2.5) - residual(setting, 90) == pytest.approx(-0.69, abs=0.01)


def test_the_numbers_are_complete_and_have_sources() -> None:
    for region in REGIONS:
        population(region)
    assert {name for _, names in CLAIMS for name in names} == set(_tables())
    with pytest.raises(BadPopulation, match="missing or not needed: p_scar"):
        read_population({name: table for name, table in _tables().items() if name != "p_scar"}, "europe")
    with pytest.raises(BadPopulation, match="rise in age"):
        read_population({**_tables(), "c40": {"sources": ["berrio-2010"], "knots": [[2, 1], [1, 1]]}}, "europe")
    with pytest.raises(UnknownSource):
        read_population({**_tables(), "c40": {"sources": ["nobody"], "knots": [[2, 1]]}}, "europe")


def test_spectacles_are_for_both_eyes_and_feel_weak_where_they_are() -> None:
    people = [mixed_patient(f"worn {k}") for k in range(400)]
    assert all((one.right.habitual_rx is None) == (one.left.habitual_rx is None) for one in people)
    weak = [one for one in people if one.complaint == "the glasses feel weak"]
    assert all(one.right.habitual_rx is not None for one in weak)
    assert all(
        max(abs(one.eye(side).M - one.eye(side).habitual_rx.spherical_equivalent) for side in SIDES) >= 0.37  # type: ignore[union-attr]
        for one in weak
    )


def test_one_eye_is_said_to_see_less_where_it_does() -> None:
    told = [one for k in range(600) if (one := mixed_patient(f"less {k}")).complaint == "one eye sees less"]
    assert told
    for one in told:
        seen = [float(vision_of(one, side).replace("below ", "").removeprefix("6/")) for side in SIDES]
        assert max(seen) > min(seen) or max(seen) == 120


def test_nobody_whose_spectacles_are_right_sees_far_things_blurred() -> None:
    for k in range(300):
        one = mixed_patient(f"far {k}", within=(20, 60))
        if one.right.habitual_rx and max(one.right.best_logmar, one.left.best_logmar) < 0.1:
            lacks = [abs(one.eye(side).M - one.eye(side).habitual_rx.spherical_equivalent) for side in SIDES]  # type: ignore[union-attr]
            assert max(lacks) >= 0.37 or one.complaint not in (
                "distance vision is blurred",
                "road signs are late to read",
            )


def test_a_child_who_does_not_read_yet_complains_of_no_print() -> None:
    told = {draw_patient(f"small {k}", age=(3, 7)).complaint for k in range(300)}
    assert not any(word in one for one in told for word in ("print", "reading", "letters", "computer", "board", "road"))
    assert "sits close to the television" in told


def test_a_sort_that_nobody_is_of_is_refused() -> None:
    with pytest.raises(CaseError, match="none of this kind"):
        draw_patient(1, wanted=lambda _refraction: False)
