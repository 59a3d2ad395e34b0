"""Patients on paper: what is printed adds up, keys belong to sheets, and a log has the fault that was put in."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from cases.notation.prescription import read_prescription
from cases.optics.lens import SphCyl
from cases.patient_sheet import TooManyPatients, check_code, drawn_patients, patient_sheet
from cases.patients.examination.by_the_book import Otherwise, can_be_done, examine, found_in
from cases.patients.examination.ledger import TermId, ledger
from cases.patients.examination.vignettes import patient_of_vignette
from cases.patients.patient import SIDES, Patient, written

SHOWS: dict[Otherwise, TermId] = {
    "distance": "distance",
    "left in": "distance",
    "face": "accommodation",
    "not fogged": "accommodation",
    "aside": "off-axis",
    "swapped": "slips",
}


@pytest.fixture(scope="module")
def patients() -> tuple[Patient, ...]:
    return drawn_patients(count=30, seed=1, region="europe", within=(0.3, 90))


def test_by_the_book_a_record_is_right_but_for_plus_that_hides(
    patients: tuple[Patient, ...],
) -> None:
    for patient in patients:
        run = examine(patient)
        for side in run.examined.record.written:
            found = ledger(patient, run.examined, side)
            assert found.open_d < 0.01
            others = [one for one in found.shown if one.id != "accommodation"]
            assert all(one.size_d < 0.35 for one in others), (patient.seed, side)
            assert found.term("accommodation").mean_d <= 0.01


def test_a_fault_is_the_largest_term_of_either_eye(patients: tuple[Patient, ...]) -> None:
    told = 0
    for patient in patients:
        right = examine(patient)
        for fault in can_be_done(patient):
            run = examine(patient, fault)
            if not run.examined.end_points:
                continue
            terms = [
                (one.size_d - ledger(patient, right.examined, side).term(one.id).size_d, one.id)
                for side in SIDES
                for one in ledger(patient, run.examined, side).terms
            ]
            assert max(terms)[1] == SHOWS[fault], (patient.seed, fault)
            told += 1
    assert told > 60


def test_what_is_printed_leads_to_the_record(patients: tuple[Patient, ...]) -> None:
    """From the two neutral lenses and the distance by the trade's own rule: power along a meridian, axis across it."""
    for patient in patients:
        run = examine(patient)
        for side, lens in run.examined.record.written.items():
            (streak, first), (_, second) = found_in(run.examined, side)
            off = round(400 / run.distance_cm) / 4
            assert written(SphCyl(second - off, first - second, streak)) == lens


def test_dev_on_paper_is_the_dev_of_the_vignette() -> None:
    dev = patient_of_vignette("dev")
    key = patient_sheet([dev], key=True)
    rows = re.findall(r"(Right|Left) eye: ([^<]+)</p>", key.split("Write the record.")[1])
    assert read_prescription(rows[0][1]) == dev.right.rx
    assert read_prescription(rows[1][1]) == dev.left.rx


def test_a_white_reflex_is_not_measured_on_paper() -> None:
    one = patient_of_vignette("ada")
    one = replace(one, right=replace(one.right, media=("white reflex",)))
    sheet = patient_sheet([one], key=True)
    assert "neutral with" not in sheet
    assert "referred at once, before any measuring" in sheet


def test_the_same_seed_gives_the_same_sheet_and_another_another() -> None:
    one, again, other = (drawn_patients(count=2, seed=seed, region="europe", within=(3, 80)) for seed in (1, 1, 2))
    assert patient_sheet(one) == patient_sheet(again)
    assert check_code(one) != check_code(other)


@pytest.mark.parametrize("count", [0, 31])
def test_a_sheet_has_one_to_thirty_patients(count: int) -> None:
    with pytest.raises(TooManyPatients):
        drawn_patients(count=count, seed=1, region="europe", within=(3, 80))


def test_no_dose_is_printed(patients: tuple[Patient, ...]) -> None:
    printed = patient_sheet(patients, key=True).partition("</style>")[2]
    assert not re.search(r"\d\s?%|\bmg\b|\bml\b|drops? of", printed, re.IGNORECASE)
