"""Entries of the accuracy log: what is taken, what is questioned, and the arrays that they become."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.optics.lens import SphCyl
from quiz.accuracy.entries import BadEntry, doubts, read_entry, sample_of, tidy_remark
from tests.quiz.accuracy.accuracy_logs import entry

TODAY = date(2031, 5, 28)
TYPED = {
    "eye": "right",
    "patient": "7",
    "retinoscopy": "+1,25 −0,75 × 90",
    "end_point": "+1.00/-0.50x95",
    "distance_cm": "67",
    "on": "2031-05-27",
    "wet": "dry",
    "end_wet": "dry",
    "age": "20-to-39",
    "remark": " small  pupils ",
}


def test_an_entry_is_read_as_people_type_it() -> None:
    one = read_entry(TYPED, today=TODAY)
    assert (one.eye, one.patient, one.distance_cm, one.on) == ("right", 7, 67, date(2031, 5, 27))
    assert one.retinoscopy == SphCyl(1.25, -0.75, 90)
    assert one.end_point == SphCyl(1, -0.5, 95)
    assert one.remark == "small pupils"


def test_the_difference_is_a_lens_and_plus_means_read_too_plus() -> None:
    """By hand: +2.00 read where −0.50 was the end-point is +2.50; crossed cylinders leave no mean power."""
    assert entry(ret=SphCyl(2), end=SphCyl(-0.5)).difference.equals(SphCyl(2.5))
    crossed = entry(ret=SphCyl(0, -1, 90), end=SphCyl(0, -1, 180)).difference
    assert crossed.equals(SphCyl(1, -2, 90))


@pytest.mark.parametrize(
    ("field", "text", "word"),
    [
        ("eye", "both", "right or left"),
        ("patient", "", "running number"),
        ("patient", "A. Name", "running number"),
        ("patient", "0", "1 to 9999"),
        ("patient", "4418230", "say nothing of who"),
        ("retinoscopy", "-25", "may be"),
        ("end_point", "+1.00 −0.50", "no axis"),
        ("distance_cm", "0", "zero"),
        ("on", "28/05/2031", "year-month-day"),
        ("on", "2031-05-29", "still to come"),
        ("on", "1950-01-01", "1970"),
        ("age", "34", "under-20, 20-to-39"),
        ("remark", "x" * 201, "201 characters"),
    ],
)
def test_what_cannot_be_taken_is_named_with_its_field(field: str, text: str, word: str) -> None:
    with pytest.raises(BadEntry) as caught:
        read_entry({**TYPED, field: text}, today=TODAY)
    assert list(caught.value.faults) == [field]
    assert word in caught.value.faults[field]


def test_every_fault_is_named_at_once() -> None:
    with pytest.raises(BadEntry) as caught:
        read_entry({}, today=TODAY)
    assert set(caught.value.faults) == {"eye", "patient", "retinoscopy", "end_point", "distance_cm", "on"}


@pytest.mark.parametrize(
    "remark",
    [
        "dob 3/4/1987",
        "born 1987",
        "03.04.1987",
        "1987-04-03",
        "3rd April 1987",
        "3 apr 87",
        "no 4418230",
        "943 476 5919",
        "944-555-0100",
        "mail someone@example.org",
        "Mr X",
        "mrs example",
        "Dr. Example wants it",
        "Jane Example",
        "Example J.",
        "pt Example",
        "ZZ1 9ZZ",
        "４４１８２３０",
    ],
)
def test_what_may_tell_who_it_was_is_questioned(remark: str) -> None:
    assert doubts(remark)


@pytest.mark.parametrize(
    "remark",
    [
        "",
        "small pupils",
        "Scissors reflex, centre taken",
        "6/12 unaided, 6/6 with +1.00 −0.50 × 90",
        "+1.25/-0.50x175 on repeat",
        "no fixation; chart at 6 m, 67 cm",
        "40 min after drops",
        "Left eye first",
        "2 of 3 readings",
        "streak at 90@180",
        "nystagmus",
    ],
)
def test_an_ordinary_remark_is_not_questioned(remark: str) -> None:
    assert doubts(remark) == ()


@given(st.text(max_size=300))
def test_a_tidied_remark_is_one_line_and_stays_as_it_is(text: str) -> None:
    tidy = tidy_remark(text)
    assert "\n" not in tidy
    assert tidy_remark(tidy) == tidy
    doubts(tidy)


def test_accommodation_is_out_of_play_when_wet_or_from_forty() -> None:
    """Common practice, no published source."""
    assert entry(age="under-20").can_accommodate is True
    assert entry(age="under-20", wet=True).can_accommodate is False
    assert entry(age="40-or-over").can_accommodate is False
    assert entry().can_accommodate is None


def test_eyes_of_a_patient_share_one_weight() -> None:
    """One eye counts one; two eyes a half each; an eye measured twice shares its half."""
    rows = [entry(1), entry(2), entry(2, "left"), entry(3), entry(3), entry(3, "left")]
    np.testing.assert_allclose(sample_of(rows).weight, [1, 0.5, 0.5, 0.25, 0.25, 0.5])


@given(st.integers(1, 180), st.integers(1, 180))
def test_a_left_eye_is_mirrored_as_a_mirror_does(axis: int, other: int) -> None:
    """A mirror turns an axis A into 180 − A: mirrored by power vector and by turning the axes must agree."""
    ret, end = SphCyl(1, -1.25, axis), SphCyl(0.5, -0.75, other)
    seen = SphCyl(1, -1.25, 180 - axis or 180) - SphCyl(0.5, -0.75, 180 - other or 180)
    left = sample_of([entry(1, "left", ret, end)])
    np.testing.assert_allclose(left.mirrored[0], seen.power_vector(), atol=1e-9)
    right = sample_of([entry(1, "right", ret, end)])
    np.testing.assert_allclose(right.mirrored, right.difference)


def test_an_empty_log_is_a_sample_of_none() -> None:
    assert len(sample_of([])) == 0
    assert sample_of([]).patients == 0
