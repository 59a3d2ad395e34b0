"""The eye on the bench, as several types have it: its findings, its pupil in words, views side by side."""

from __future__ import annotations

from cases.curriculum.bench_stage import View
from cases.figures.reflexes_compared import ComparedReflex as Compared
from cases.figures.reflexes_compared import side_by_side
from cases.optics.appearance import PUPIL_MM, seen_in
from cases.procedure import quantities
from cases.procedure.fields import Field
from cases.procedure.figure import Figure
from cases.procedure.kinds import Lens

RX = Field("rx", "Net prescription of the eye on the bench", Lens())
PUPIL = Field("pupil_mm", "Diameter of the pupil", quantities.DIAMETER, default=PUPIL_MM)
MARGIN = Field(
    "margin",
    "Spherical aberration, edge of the pupil minus centre",
    quantities.POWER.having(low=-2, high=2),
    default=0.0,
)

SWEEP_ALONE = frozenset[str]()
"""What can be moved where a look alone is asked for: nothing but the sweep."""


def pupil_words(pupil_mm: float) -> tuple[str, ...]:
    """Say how wide the pupil is, where it is wide."""
    return (f"The pupil is wide: {quantities.DIAMETER.write(pupil_mm)}.",) if pupil_mm > PUPIL_MM else ()


def several(uid: str, views: tuple[View, ...]) -> Figure:
    """Draw the views side by side."""
    compared = [
        Compared(one.name.removeprefix("View "), one.bench.streak, seen_in(one.bench.setting, one.bench.streak))
        for one in views
    ]
    return side_by_side(compared, uid=uid)
