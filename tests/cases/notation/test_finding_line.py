"""One line of findings, read as people write it.

How notes are abbreviated is common practice (no published source); the table beside this file was checked line by line.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.notation.finding_line import MOST_READINGS, FindingLine, read_finding_line
from cases.notation.prescription import write_prescription
from cases.notation.tokens import NotationError
from cases.optics.lens import SphCyl

ROWS = [
    row.split("\t")
    for row in Path(__file__).with_name("finding_lines.tsv").read_text("utf-8").splitlines()
    if not row.startswith("#")
]


def _written(line: FindingLine) -> str:
    differs = f" [{line.differs}]" if line.differs else ""
    return f"{line.says}{differs}{f' ({line.form})' if line.form else ''}"


def test_two_hundred_lines_are_kept() -> None:
    assert len({line for line, _ in ROWS}) >= 200


def _understood(text: str) -> str:
    try:
        readings = read_finding_line(text)
    except NotationError as error:
        return f"! {error.fault}"
    assert len(readings) <= MOST_READINGS
    assert (len(readings) > 1) == all(one.differs for one in readings)
    return " OR ".join(map(_written, readings))


@pytest.mark.parametrize(("text", "understood"), ROWS)
def test_a_line_is_understood_asked_back_or_refused(text: str, understood: str) -> None:
    assert _understood(text) == understood


@pytest.mark.parametrize("text", ["+2.00 0.00 WL", "+2.00/-0.50x90 WL 0", "WL 0"])
def test_a_working_lens_of_no_power_is_refused(text: str) -> None:
    with pytest.raises(NotationError, match="matches no distance"):
        read_finding_line(text)


powers = st.integers(-80, 80).map(lambda quarters: quarters / 4)


@given(powers, powers, st.integers(1, 180), st.sampled_from(("minus", "plus", "as-is")))
def test_what_we_write_is_read_back_with_its_distance(sphere: float, cylinder: float, axis: int, form: str) -> None:
    lens = SphCyl(sphere, cylinder, axis)
    [line] = read_finding_line(f"R {write_prescription(lens, form)} 50 cm")
    assert isinstance(line.found, SphCyl)
    assert line.found.equals(lens)
    assert (line.eye, line.distance_cm) == ("right", 50.0)


@given(st.text(max_size=60) | st.text("+-0123456789.,/x@ :;>rlcmstreakovwd", max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    assert _understood(text)


@pytest.mark.parametrize("number", ["1", "1 ", "1.50 ", "1/", "1-", "@1 "])
def test_a_line_of_nothing_but_numbers_is_refused_at_once(number: str) -> None:
    """Each number without a sign may be plus or minus: sixty of them must not be tried in 2 to the 60 ways."""
    assert _understood((number * 200)[:200]).startswith("!")
