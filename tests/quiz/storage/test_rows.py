"""Rows and JSON: what goes into a column comes out as the very same value; what is no number never goes in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.optics.lens import SphCyl
from quiz.accuracy.entries import Entry
from quiz.classroom.drills import Plan
from quiz.storage.rows import from_row, read_json, to_row, write_json


@dataclass(frozen=True)
class Everything:
    """A field of every sort there is."""

    text: str
    number: float | None
    flag: bool
    day: date | None
    lens: SphCyl
    pairs: tuple[tuple[str, str], ...]
    found: dict[str, float | str] | None


ROWS = st.builds(
    Everything,
    st.text(),
    st.none() | st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.none() | st.dates(),
    st.builds(SphCyl, st.floats(-20, 20), st.floats(-8, 8), st.floats(1, 180)),
    st.lists(st.tuples(st.text(), st.text()), max_size=3).map(tuple),
    st.none() | st.dictionaries(st.text(), st.floats(allow_nan=False, allow_infinity=False) | st.text(), max_size=3),
)


@given(ROWS)
def test_a_row_holds_what_was_put_into_it(what: Everything) -> None:
    row = to_row(what)
    assert {type(value) for value in row.values()} <= {str, int, float, bool, type(None)}, "columns hold no others"
    assert from_row(Everything, {**row, "flag": int(what.flag), "a column of a later version": 7}) == what


def test_a_row_is_written_as_the_schema_says() -> None:
    entry = Entry("right", 1, SphCyl(1, -0.5, 90), SphCyl(0.75), 67, date(2031, 5, 20), wet=True)
    row = to_row(entry)
    assert (row["retinoscopy"], row["on"]) == ('{"sphere":1.0,"cylinder":-0.5,"axis":90.0}', "2031-05-20")
    assert row["wet"] is True
    plan = to_row(Plan("Monday", ("transpose",), slips=(("write", "axis-kept"),)))
    assert (plan["types"], plan["slips"], plan["minutes"]) == ('["transpose"]', '[["write","axis-kept"]]', None)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_json_has_no_number_for_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json({"power": [number]})


def test_a_column_that_holds_something_else_is_refused() -> None:
    row = to_row(Entry("right", 1, SphCyl(1), SphCyl(1), 67, date(2031, 5, 20)))
    for name, text in (("retinoscopy", '{"cylinder":1}'), ("end_point", "[]"), ("on", "yesterday")):
        with pytest.raises(ValueError, match=f"{name} cannot be read"):
            from_row(Entry, {**row, name: text})


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_is_the_same_to_the_last_bit(number: float) -> None:
    assert read_json(write_json(number)) == number
