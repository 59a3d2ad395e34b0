"""What a record must hold, cell by cell. Common practice, no published source, where a test names none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.record_faults import (
    LONGEST,
    CellValue,
    Written,
    all_faults,
    cell_value,
    cylinder_faults,
    eye_faults,
    form_faults,
    note_faults,
    sign_faults,
    step_faults,
)
from cases.figures.record_card import fitted, record_card
from cases.optics.lens import SphCyl
from cases.procedure.kinds import BadFinding
from tests.cases.drawing import sound


def line(sphere: str, cylinder: str = "", axis: str = "") -> dict[str, str]:
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis}


SOUND = line("+1.00", "−0.50", "180")


def eyes(left: Mapping[str, str], right: Mapping[str, str] = SOUND) -> dict[str, Mapping[str, str]]:
    return {"right": right, "left": left}


def ids(faults: tuple[tuple[str, str], ...]) -> list[str]:
    return [fault for fault, _ in faults]


@pytest.mark.parametrize(
    ("cell", "text", "value"),
    [
        ("sphere", "+1.25", CellValue(1.25, "+")),
        ("sphere", "−1,25 DS", CellValue(-1.25, "-", True)),
        ("sphere", "+ 1.25 sph", CellValue(1.25, "+", True)),
        ("sphere", "1.25", CellValue(1.25)),
        ("sphere", "plano", CellValue(0.0)),
        ("sphere", "plano DS", CellValue(0.0, "", True)),
        ("sphere", "0.00", CellValue(0.0)),
        ("cylinder", "-.50", CellValue(-0.5, "-")),
        ("cylinder", "−0.50 DC", CellValue(-0.5, "-")),
        ("axis", "175°", CellValue(175.0)),
        ("axis", "", None),
    ],
)
def test_cells_are_read_as_people_write_them(cell: str, text: str, value: CellValue | None) -> None:
    assert cell_value(cell, text) == value


@pytest.mark.parametrize(
    ("cell", "text"), [("sphere", "abc"), ("axis", "pl"), ("cylinder", "+1.25 x"), ("sphere", "+")]
)
def test_what_is_no_cell_of_a_record_is_refused(cell: str, text: str) -> None:
    with pytest.raises(BadFinding, match="record holds"):
        cell_value(cell, text)


def test_powers_without_a_sign() -> None:
    """Trainee feedback from a refraction examination names missing signs first."""
    assert ids(sign_faults(eyes(line("1.25", "0.50", "90")))) == ["sign-missing", "sign-missing"]
    assert ids(sign_faults(eyes(line("plano", "−0.50", "90")))) == []
    assert ids(sign_faults(eyes(line("0.00", "−0.50", "90")))) == []


@pytest.mark.parametrize(
    ("left", "faults"),
    [
        (line("+1.00", "−0.50"), ["axis-missing"]),
        (line("+1.00", "", "90"), ["cylinder-missing"]),
        (line("+1.00", "", "0"), ["cylinder-missing", "axis-off-dial"]),
        (line("+1.00", "−0.50", "0"), ["axis-off-dial"]),
        (line("+1.00", "−0.50", "185"), ["axis-off-dial"]),
        (line("+1.00", "−0.50", "1"), []),
        (line("+1.00", "0.00"), []),
        (line("+1.00"), ["line-open"]),
        (line("+1.00 DS"), []),
        (line("plano"), ["line-open"]),
    ],
)
def test_cylinder_and_axis_go_together(left: Mapping[str, str], faults: list[str]) -> None:
    """ISO 8429: the dial runs to 180, and 180 is written for 0."""
    assert ids(cylinder_faults(eyes(left))) == faults


@pytest.mark.parametrize(("sphere", "off"), [("+1.25", False), ("+1.30", True), ("+1.12", True), ("−3.00 DS", False)])
def test_quarter_steps(sphere: str, off: bool) -> None:
    assert bool(step_faults(eyes(line(sphere)))) == off


def test_forms_are_told_by_the_signs_of_the_cylinders() -> None:
    assert ids(form_faults(eyes(line("+0.50", "+0.50", "90")))) == ["forms-mixed"]
    assert form_faults(eyes(line("−0.50", "−0.50", "90"))) == ()
    assert form_faults(eyes(line("−0.50", "0.50", "90"))) == ()
    assert form_faults(eyes(line("−0.50 DS"))) == ()


FOUND = {"right": SphCyl(1, -0.5, 180), "left": SphCyl(-3, -1, 20)}


@pytest.mark.parametrize(
    ("right", "left", "swapped"),
    [
        (SOUND, line("−3.00", "−1.00", "20"), False),
        (line("−3.00", "−1.00", "20"), SOUND, True),
        (line("−4.00", "+1.00", "110"), SOUND, True),
        (line("3.00", "−1.00"), line("+1.00", "", "180"), True),
        (SOUND, line("−4.00", "+1.00", "110"), False),
        (SOUND, SOUND, False),
    ],
)
def test_exchanged_eyes_show_whatever_else_is_wrong(
    right: Mapping[str, str], left: Mapping[str, str], swapped: bool
) -> None:
    assert bool(eye_faults(eyes(left, right), FOUND)) == swapped


def test_an_exchange_shows_in_the_other_cylinder_form_too() -> None:
    """−1.00/−2.00 and −2.00/−2.00 are −3.00/+2.00 and −4.00/+2.00: by the minus spheres alone neither line fits."""
    found = {"right": SphCyl(-1, -2, 180), "left": SphCyl(-2, -2, 180)}
    assert eye_faults(eyes(line("−3.00", "+2.00", "90"), line("−4.00", "+2.00", "90")), found)
    assert not eye_faults(eyes(line("−4.00", "+2.00", "90"), line("−3.00", "+2.00", "90")), found)


def test_notes_under_the_lines() -> None:
    assert note_faults("net-from", "none") == note_faults("net-from", "timed") == ()
    assert ids(note_faults("unsaid", "unsaid")) == ["net-unsaid", "distance-unsaid", "drops-unsaid"]
    assert ids(note_faults("from", "untimed")) == ["net-unsaid", "time-unsaid"]
    assert ids(note_faults("net", "none")) == ["distance-unsaid"]


def test_a_record_without_a_fault_has_none() -> None:
    assert all_faults(eyes(line("−3.00", "−1.00", "20")), FOUND, "net-from", "none") == ()


def test_cells_are_kept_as_they_stand() -> None:
    cell = Written("sphere")
    assert cell.read(" −1.25  DS ") == "−1.25 DS"
    assert cell.read("–") == cell.from_json("") == ""
    assert cell.write("") == "–"
    assert cell.read(cell.write("+1.30")) == "+1.30"
    with pytest.raises(BadFinding, match="text of the cell"):
        cell.from_json(1.25)
    with pytest.raises(BadFinding, match=f"at most {LONGEST}"):
        cell.read("+1.25 and so on")


CONTROLS: tuple[Literal["C"]] = ("C",)
PRINTABLE = st.characters(codec="utf-8", exclude_categories=CONTROLS)


@given(st.text(PRINTABLE, max_size=30), st.text(PRINTABLE, max_size=30), st.lists(st.text(PRINTABLE), max_size=3))
def test_the_card_holds_whatever_is_written(sphere: str, axis: str, notes: list[str]) -> None:
    sound(record_card(line(sphere, "−0.50", axis), line("", "", ""), notes, uid="f"))


def test_a_card_says_what_is_blank() -> None:
    figure = record_card(line("+1.25", "−0.50"), line("−2.00 DS"), ["net"], uid="f")
    assert figure.description == (
        "Right eye: sphere +1.25, cylinder −0.50, axis left blank. "
        "Left eye: sphere −2.00 DS, cylinder left blank, axis left blank. Under it: net."
    )
    assert record_card(SOUND, SOUND, uid="f").description.endswith("Nothing is written under it.")
    assert fitted("+1.25", 90) == "+1.25"
    assert fitted("M" * 40, 60).endswith("…")
