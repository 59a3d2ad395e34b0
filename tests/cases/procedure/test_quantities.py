"""Quantities are data: a new unit, its range, its reading and its words take one value and no class."""

from __future__ import annotations

import pytest

from cases.errors import OutOfRange
from cases.procedure.quantities import AXIS, DISTANCE, HEIGHT, MOVE, POWER, RADIUS, SIZE, Quantity

PRISM = Quantity(
    id="prism", unit=" Δ", hint="prism dioptres, such as 4", spellings=("pd", "prism dioptres"),
    low=0.0, high=40.0, step=0.5, exact=0.25, tolerance=0.5, decimals=1, trimmed=True, sides=("large", "small"),
)  # fmt: skip
CELSIUS = Quantity(
    id="temperature", unit=" °C", hint="degrees Celsius, such as 21.5", spellings=("C", "degrees"),
    low=-20.0, high=60.0, step=0.5, exact=0.05, tolerance=0.25, decimals=1, trimmed=True, sides=("warm", "cold"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "value", "written"),
    [
        (POWER, 1.25, "+1.25 D"), (POWER, -3.375, "−3.375 D"), (SIZE, 0.5, "0.50 D"), (DISTANCE, 66.7, "66.7 cm"),
        (HEIGHT, -8.0, "−8 cm"), (AXIS, 90.0, "90"), (MOVE, 12.0, "12 mm"), (RADIUS, 7.8, "7.80 mm"),
    ],
)  # fmt: skip
def test_a_value_is_written_as_the_trade_does_and_read_back(quantity: Quantity, value: float, written: str) -> None:
    """Signs and two decimals for powers, whole degrees for axes (ISO 8429), radii to a hundredth: common practice."""
    assert quantity.write(value) == written
    assert quantity.read(written) == pytest.approx(value)


def test_other_limits_are_said_where_they_are_needed() -> None:
    near = DISTANCE.having(high=80.0)
    assert near.read("67") == 67.0
    with pytest.raises(OutOfRange, match="to 80 cm"):
        near.read("120")
    assert DISTANCE.read("120") == 120.0


@pytest.mark.parametrize(
    ("quantity", "text", "value", "written", "differs"),
    [(PRISM, "4 Δ", 4.0, "4 Δ", "1.0 Δ too large"), (PRISM, "3,5 pd", 3.5, "3.5 Δ", "1.0 Δ too large"),
     (CELSIUS, "21.5 °C", 21.5, "21.5 °C", "1.0 °C too warm"), (CELSIUS, "-4", -4.0, "−4 °C", "1.0 °C too warm")],
)  # fmt: skip
def test_a_new_unit_is_data(quantity: Quantity, text: str, value: float, written: str, differs: str) -> None:
    assert quantity.read(text) == value
    assert quantity.write(value) == written
    assert quantity.differs(value + 1, value) == differs
    with pytest.raises(OutOfRange, match=quantity.id):
        quantity.read("900")
