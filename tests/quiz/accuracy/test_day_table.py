"""The table of a day: what is carried down, what is asked back, the sums by numpy, and the file out and in."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from cases.optics.lens import SphCyl
from quiz.accuracy.day_table import MOST_EYES, BadDayFile, TypedEye, day_eyes, read_day, write_day
from quiz.accuracy.importing import Wishes, read_table, write_table

ON = date(2026, 11, 30)
DAY = (
    TypedEye(found="+3.25/-1.50x20 67cm", drops="dry", subjective="+1.50/-1.50x20"),
    TypedEye(found="+3.00/-1.00x165", subjective="+1.25/-1.00x170"),
    TypedEye(found="+0.25 50 cm"),
    TypedEye(found="L -0.25/-0.50x90 net", drops="wet", subjective="-0.25/-0.50x90"),
)


def matrix(lens: SphCyl) -> np.ndarray:
    """Write a lens as its power matrix, by Long's formula as in Harris 1997 (Optom Vis Sci 74:349), from memory."""
    s, c, a = lens.sphere, lens.cylinder, np.radians(lens.axis)
    return np.array(
        [
            [s + c * np.sin(a) ** 2, -c * np.sin(a) * np.cos(a)],
            [-c * np.sin(a) * np.cos(a), s + c * np.cos(a) ** 2],
        ]
    )


def test_patient_eye_distance_and_drops_are_carried_down() -> None:
    eyes = day_eyes(DAY, on=ON)
    assert [one.whose for one in eyes] == ["1 R", "1 L", "2 R", "2 L"]
    assert [one.problem for one in eyes] == [""] * 4
    first, second, third, fourth = eyes
    assert first.entry is not None
    assert second.entry is not None
    assert third.entry is None, "no subjective yet"
    assert fourth.entry is not None
    assert (second.entry.distance_cm, second.entry.wet) == (67, False)
    assert (fourth.entry.distance_cm, fourth.entry.wet) == (50, True), "distance of the row above, drops of its own"


def test_the_net_is_the_gross_less_the_distance_in_every_meridian_by_numpy() -> None:
    """67 cm is 1.50 D as the clinic rounds 1/0.67 = 1.4925 to the quarter; 50 cm is 2.00 D."""
    for one, gross, off in zip(
        day_eyes(DAY, on=ON)[:2], (SphCyl(3.25, -1.5, 20), SphCyl(3, -1, 165)), (1.5, 1.5), strict=True
    ):
        assert one.entry is not None
        np.testing.assert_allclose(matrix(one.entry.retinoscopy), matrix(gross) - off * np.eye(2), atol=1e-9)
        mean = np.trace(matrix(one.entry.retinoscopy) - matrix(one.entry.end_point)) / 2
        assert float(one.difference) == pytest.approx(mean)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (TypedEye(found="+3.25/-1.50x20"), "Write the working distance"),
        (TypedEye(subjective="+1.00"), "Write what you found"),
        (TypedEye(found="+1.00 67cm", eye="X"), "write R or L"),
        (TypedEye(found="R +1.00 67cm", eye="L"), "Correct one of them"),
        (TypedEye(found="+1.00 67cm", patient="John"), "give a running number"),
        (TypedEye(found="+1.00 67cm", drops="yes"), "write dry or wet"),
        (TypedEye(found="+1.00 67cm", subjective="good"), "good"),
        (TypedEye(found="hello"), "hello"),
    ],
)
def test_what_is_missing_or_wrong_is_said_in_its_row_and_gives_no_entry(row: TypedEye, words: str) -> None:
    (one,) = day_eyes([row], on=ON)
    assert words in one.problem
    assert one.entry is None


def test_a_line_that_can_be_read_in_two_ways_is_asked_back() -> None:
    (one,) = day_eyes([TypedEye(found="90: +2.00, 180: +3.50, 50 cm", subjective="plano")], on=ON)
    assert "can be read in 2 ways" in one.problem
    assert one.net == ""
    assert one.entry is None


def test_a_fault_in_one_row_leaves_the_others() -> None:
    eyes = day_eyes([DAY[0], TypedEye(found="nonsense"), DAY[1]], on=ON)
    assert eyes[1].problem
    assert eyes[2].whose == "1 L"
    assert eyes[2].net


def test_the_complete_rows_are_what_the_accuracy_log_reads() -> None:
    entries = [one.entry for one in day_eyes(DAY, on=ON) if one.entry]
    preview = read_table(write_table(entries), Wishes(), today=ON, log=[])
    assert not preview.bad
    assert [row.entry for row in preview.good] == entries


def test_a_file_of_the_day_comes_back_the_same_and_is_no_formula_to_a_spreadsheet() -> None:
    text = write_day(day_eyes(DAY, on=ON))
    assert read_day(text) == DAY
    assert "'+3.25/-1.50x20 67cm" in text
    assert not any(cell.startswith(("=", "@")) for line in text.splitlines() for cell in line.split(","))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the column"),
        ("a,b\r\n1,2\r\n", "must name the column"),
        ("found\r\n" + "+1.00\r\n" * (MOST_EYES + 1), "is the most for one day"),
        ('found\r\n"open', "cannot be read"),
    ],
)
def test_a_file_that_is_no_day_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(BadDayFile, match=words):
        read_day(text)
