"""Two crossed cylinders, moves and radii as kinds of quantity: read, written, kept as JSON and compared."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import CaseError
from cases.notation.tokens import Ambiguous
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.crossed_cylinders import CrossedCylinders

KIND = CrossedCylinders()

quarters = st.integers(-80, 80).map(lambda n: n / 4)
crossed = st.builds(CrossedCylinders.of, st.integers(1, 180), quarters, quarters)


@pytest.mark.parametrize(
    "text",
    [
        "+2.00 × 90, +0.50 × 180",
        "+2,00 × 90; +0,50 × 180",
        "+2.00x90 +0.50x180",
        "+0.50 DC × 180 / +2.00 DC × 90",
        "+200x90, +050x180",
        "+2.00 axis 90, +0.50 axis 180",
        "+2.00 D × 90°, +0.50 D × 180°",
    ],
)
def test_two_cylinders_as_people_write_them(text: str) -> None:
    # ISO 13666: a cylinder has no power along its axis, so +2.00 × 90 acts along 180.
    assert KIND.read(text).equals(SphCyl(2, -1.5, 180), 1e-9)


@given(crossed)
def test_what_is_written_is_read_back(lens: SphCyl) -> None:
    assert KIND.same(KIND.read(KIND.write(lens)), lens)
    assert KIND.from_json(KIND.to_json(lens)).equals(lens, 1e-6)


@given(st.integers(1, 180), quarters, quarters)
def test_two_crossed_cylinders_are_the_sum_of_two_lenses(axis: int, power: float, other: float) -> None:
    one, two = KIND.to_json(CrossedCylinders.of(axis, power, other))
    assert (one, two["cylinder"]) == ({"cylinder": power, "axis": axis}, other)
    total = SphCyl(0, one["cylinder"], one["axis"]) + SphCyl(0, two["cylinder"], two["axis"])
    assert CrossedCylinders.of(axis, power, other).equals(total, 1e-9)


@pytest.mark.parametrize("text", ["+2.00 @ 90, +0.50 @ 180", "+2.00 at 90, +0.50 × 180"])
def test_at_is_no_axis_mark_of_a_cylinder_and_both_readings_are_asked_about(text: str) -> None:
    """ISO 13666: a cylinder has no power along its axis, so +2.00 along 90 is the cylinder +2.00 × 180."""
    with pytest.raises(Ambiguous, match="marks the power along a meridian; did you mean × 90") as caught:
        KIND.read(text)
    as_axes, along = caught.value.readings
    assert (as_axes, along) == ("+2.00 × 90, +0.50 × 180", "+2.00 × 180, +0.50 × 90")
    assert as_axes in str(caught.value)
    assert along in str(caught.value)
    assert KIND.read(along).power_at(90) == pytest.approx(2)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing was written"),
        ("+2.00 × 90", "2 numbers are given and two cylinders have four"),
        ("+2.00 × 90, 0.50 × 180", "0.50 has no sign"),
        ("+2.00 × 90, +0.50 × 170", "not at right angles; across 90 lies 180"),
        ("+2.00 × 0, +0.50 × 90", "write 180"),
        ("+2.00 × 90 cm, +0.50 × 180", "has no place here"),
        ("+2.00 × +90, +0.50 × 180", "no axis"),
    ],
)
def test_what_is_not_two_crossed_cylinders_is_refused(text: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        KIND.read(text)


@pytest.mark.parametrize(
    "given_json",
    [
        None,
        [],
        "+2.00 × 90",
        [{"cylinder": 1, "axis": 90}],
        [{"cylinder": 1}, {"cylinder": 2, "axis": 90}],
        [{"cylinder": 1, "axis": 90}, {"cylinder": 2, "axis": 100}],
        [{"cylinder": 1, "axis": 0}, {"cylinder": 2, "axis": 90}],
    ],
)
def test_json_that_is_not_two_crossed_cylinders_is_refused(given_json: object) -> None:
    with pytest.raises(CaseError):
        KIND.from_json(given_json)


def test_moves_and_radii_are_millimetres() -> None:
    assert [quantities.MOVE.read(text) for text in ("12", "12 mm", "1.2 cm")] == pytest.approx([12, 12, 12])
    assert quantities.MOVE.read("−5") == -5
    assert (quantities.MOVE.write(-5), quantities.MOVE.write(12.5)) == ("−5 mm", "12.5 mm")
    assert quantities.RADIUS.read("7,80 mm") == 7.8
    assert quantities.RADIUS.write(7.8) == "7.80 mm"
    with pytest.raises(CaseError, match="give -30 to 30 mm"):
        quantities.MOVE.read("45")
    with pytest.raises(CaseError, match="give 5 to 12 mm"):
        quantities.RADIUS.read("43.25")
