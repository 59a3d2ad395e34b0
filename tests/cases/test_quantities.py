"""Quantities as data do what the classes of kinds.py do, and a new unit needs no class."""

from __future__ import annotations

from typing import Any

import pytest

from cases.errors import CaseError
from cases.kinds import Angle, Axis, Distance, Kind, Power, Size
from cases.quantities import ANGLE, AXIS, CELSIUS, DISTANCE, POWER, PRISM, SIZE, Quantity

TEXTS = (
    "+1.25",
    "1,25",
    "-0.5",
    "−0.50 D",
    "0",
    "67",
    "67 cm",
    "66.7cm",
    "4.3°",
    "90",
    "× 90",
    "180",
    "185",
    "x",
    "",
    "61",
)
VALUES = (-59.9, -8.0, -0.375, -0.05, 0.0, 0.125, 0.25, 1.0, 4.36, 25.0, 66.667, 90.0, 179.6)


def told(kind: Kind[float], name: str, *given: Any) -> Any:
    try:
        return getattr(kind, name)(*given)
    except CaseError as error:
        return f"{type(error).__name__}: {error}"


@pytest.mark.parametrize(
    ("data", "made"), [(POWER, Power()), (SIZE, Size()), (DISTANCE, Distance()), (ANGLE, Angle()), (AXIS, Axis())]
)
def test_data_and_class_agree(data: Quantity, made: Kind[float]) -> None:
    assert (data.id, data.hint, data.missing) == (made.id, made.hint, made.missing)
    for text in TEXTS:
        assert told(data, "read", text) == told(made, "read", text), text
    for value in (one for one in VALUES if data.low <= one):
        for name in ("write", "to_json", "from_json"):
            assert told(data, name, value) == told(made, name, value), (name, value)
        for gap in (-2.5, -0.125, -0.04, 0.01, 0.125, 0.3, 1.0):
            for name in ("same", "close", "alike", "differs"):
                assert told(data, name, value + gap, value) == told(made, name, value + gap, value), (name, value, gap)


@pytest.mark.parametrize(
    ("quantity", "text", "value", "written", "differs"),
    [(PRISM, "4 Δ", 4.0, "4 Δ", "1.0 Δ too large"), (PRISM, "3,5 pd", 3.5, "3.5 Δ", "1.0 Δ too large"),
     (CELSIUS, "21.5 °C", 21.5, "21.5 °C", "1.0 °C too warm"), (CELSIUS, "-4", -4.0, "−4 °C", "1.0 °C too warm")],
)  # fmt: skip
def test_a_new_unit_is_data(quantity: Kind[float], text: str, value: float, written: str, differs: str) -> None:
    assert quantity.read(text) == value
    assert quantity.write(value) == written
    assert quantity.differs(value + 1, value) == differs
    assert told(quantity, "read", "900").startswith("OutOfRange")
