"""The error ledger: what was written less what the eye is, as an exact sum of what was really done, one term a cause.

`written − R` = distance + accommodation + off-axis + zone + axis + end-point + plane + tilt + rounding + slips, each a
power matrix. In the two meridians that were measured, the lens as marked is
`n·R·n − A + n·T·n + 100/w + zone − left + plane + tilt`; what is not measured between them is the axis term. A result
with its lens distance beside it is first moved from there to the eye's own prescription plane.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import WORKING, EndPoint, Examined
from cases.patients.examination.world import (
    Matrix,
    accommodation,
    across_streak,
    judged_at,
    left_at,
    lens_at_eye,
    pupil_mm,
    sight_angles,
)
from cases.patients.patient import Eye, Patient, Side, written

TermId = Literal[
    "distance",
    "accommodation",
    "off-axis",
    "zone",
    "axis",
    "end-point",
    "plane",
    "tilt",
    "rounding",
    "slips",
]
TERMS: dict[TermId, str] = {
    "distance": "working distance less what was taken off",
    "accommodation": "accommodation while it was measured",
    "off-axis": "sighting off the visual axis",
    "zone": "the part of the pupil that was judged",
    "axis": "the axis of the streak",
    "end-point": "what was left when neutral was called",
    "plane": "the distance of the lenses from the eye",
    "tilt": "tilt of the trial frame",
    "rounding": "rounding to a quarter dioptre",
    "slips": "the sum or the record",
}
SMALL_D = 0.03
"""A term weaker than this in every meridian is not shown."""


CLOSE_D = 0.26
"""A record within this in every meridian, in D, agrees with a right one: a quarter and what rounding leaves."""
UNEVEN_MM = 0.5
"""How far from the middle of the pupil, in mm, a hand may take its neutral where the cornea is uneven: ours."""


def allowed_d(eye: Eye) -> float:
    """Return how far from right, in D in any meridian, a record of this eye may be and agree with it.

    Where a cornea is irregular no lens is neutral all over: neutral differs from place to place by that many D for each
    mm, and with it power and axis. So much is far less than refraction of such eyes repeats: sphere ±2.91 D and
    cylinder ±1.39 D (SD), axis 18° apart on average, in 138 patients with keratoconus. Source: `davis-1998`.
    """
    return CLOSE_D + UNEVEN_MM * eye.irregular_d_per_mm


class NotMeasured(CaseError):
    """An eye was written down and never measured, or measured and never written."""


@dataclass(frozen=True)
class Term:
    """One cause, as the lens that it added to what was written."""

    id: TermId
    matrix: tuple[float, float, float]
    """The power matrix in D: x along 180, y along 90, and off the diagonal."""

    @property
    def lens(self) -> SphCyl:
        """The lens that it made, in minus-cylinder form."""
        return SphCyl.from_power_matrix(_square(self.matrix))

    @property
    def mean_d(self) -> float:
        """What it did to the mean power, in D."""
        return (self.matrix[0] + self.matrix[1]) / 2

    @property
    def size_d(self) -> float:
        """The length of its power vector in D: what it costs in blur."""
        M, J0, J45 = self.lens.power_vector()
        return math.hypot(M, J0, J45)

    @property
    def label(self) -> str:
        """What it is, in words."""
        return TERMS[self.id]


@dataclass(frozen=True)
class Ledger:
    """Where the error of one eye came from."""

    side: Side
    truth: SphCyl
    written: SphCyl
    """As the eye's own prescription plane has it."""
    right_sum: SphCyl
    """In the same plane, what a right sum of the lenses, less what was taken off, would have written."""
    terms: tuple[Term, ...]
    left_d: tuple[float, float]
    """What was left in the two meridians at the end points, in D."""

    @property
    def error(self) -> SphCyl:
        """Written less true, as a lens."""
        return self.written - self.truth

    @property
    def open_d(self) -> float:
        """By how much the terms miss the error in the worst meridian, in D: zero but for rounding of floats."""
        total = np.array([one.matrix for one in self.terms]).sum(axis=0)
        error = _flat(self.written.power_matrix() - self.truth.power_matrix())
        return SphCyl.from_power_matrix(_square(total - np.array(error))).strongest

    @property
    def shown(self) -> tuple[Term, ...]:
        """The terms that matter, largest first."""
        counted = [one for one in self.terms if one.lens.strongest >= SMALL_D]
        return tuple(sorted(counted, key=lambda one: -one.size_d))

    def term(self, term_id: TermId) -> Term:
        """Return a term by its name."""
        return next(one for one in self.terms if one.id == term_id)


@dataclass(frozen=True)
class _Measured:
    """One meridian: what each cause added to the power found in it, in D, and where that was."""

    normal: Matrix
    """The meridian that was measured."""
    place: Matrix
    """The meridian that it was taken for: across that of the other end point."""
    distance: float
    accommodation: float
    zone: float
    plane: float
    tilt: float
    left: float
    off_axis: Matrix


def ledger(patient: Patient, examined: Examined, side: Side, *, as_in: Ledger | None = None) -> Ledger:
    """Work out where the error of an eye came from.

    `as_in` is the ledger of another run of the same patient: the examiner then stops as far from neutral, and slips as
    much in the record, as there. What is written is what would have been.

    Raises
    ------
    NotMeasured
        When the eye has no end point or no written result.
    """
    ends = examined.ends_of(side)
    if not ends or side not in examined.record.written:
        raise NotMeasured(f"{side} eye: call it neutral in one meridian at least, and write a result")
    R = patient.eye(side).lens.power_matrix()
    measured = [_measured(patient, one) for one in ends]
    if len(measured) == 1:
        # One look at a sphere stands for both meridians.
        measured = [measured[0], _turned(ends[0], patient)]
    first, second = measured
    second = _placed(second, first)
    both = (first, second)
    lefts = [one.left for one in both] if as_in is None else [*as_in.left_d]
    taken = examined.record.taken.get(side, 0.0) + _working_lens(ends[-1])
    off_axis = _joined(first, second)
    found_in = [float(one.normal @ (R + one.off_axis) @ one.normal) for one in both]
    terms: dict[TermId, Matrix] = {
        "distance": _diagonal(both, [one.distance for one in both]) - taken * np.eye(2),
        "accommodation": -_diagonal(both, [one.accommodation for one in both]),
        "off-axis": off_axis,
        "zone": _diagonal(both, [one.zone for one in both]),
        "axis": _diagonal(both, found_in) - R - off_axis,
        "end-point": -_diagonal(both, lefts),
        "plane": _diagonal(both, [one.plane for one in both]),
        "tilt": _diagonal(both, [one.tilt for one in both]),
    }
    net = R + sum(terms.values(), start=np.zeros((2, 2)))
    # What a right sum of the lenses gives; in a replay the lenses of another day would have been found.
    marked = [_marked(one, ends[min(place, len(ends) - 1)]) for place, one in enumerate(both)]
    exact = _diagonal(both, marked) - taken * np.eye(2) if as_in is None else net
    right_sum = written(SphCyl.from_power_matrix(exact))
    terms["rounding"] = right_sum.power_matrix() - exact
    was, summed = examined.record.written[side], right_sum
    noted = examined.record.number("lens distance")
    if noted is not None:
        by = noted - patient.eye(side).vertex_mm
        was, right_sum = was.moved(by), summed.moved(by)
        terms["plane"] = terms["plane"] + right_sum.power_matrix() - summed.power_matrix()
    if as_in is not None:
        was = SphCyl.from_power_matrix(right_sum.power_matrix() + _square(as_in.term("slips").matrix))
    terms["slips"] = was.power_matrix() - right_sum.power_matrix()
    return Ledger(
        side,
        patient.eye(side).lens,
        was,
        right_sum,
        tuple(Term(name, _flat(matrix)) for name, matrix in terms.items()),
        (lefts[0], lefts[1]),
    )


def _measured(patient: Patient, end: EndPoint) -> _Measured:
    eye = patient.eye(end.side)
    normal = across_streak(end.streak)
    nominal, moved, tilted = lens_at_eye(eye, end.state, end.side)
    h, v = sight_angles(patient, end.side, end.state, end.minute)
    radius, irregular = judged_at(eye, end.state, pupil_mm(patient, end.side, end.state, end.minute))
    return _Measured(
        normal=normal,
        place=normal,
        distance=100 / end.state.distance_cm,
        accommodation=accommodation(patient, end.side, end.state, end.minute),
        zone=eye.margin_per_mm2 * radius**2 + irregular,
        plane=float(normal @ (nominal - moved) @ normal),
        tilt=float(normal @ (moved - tilted) @ normal),
        left=left_at(patient, end),
        off_axis=_off_axis(eye.peripheral_j2, eye.peripheral_m2, h, v),
    )


def _off_axis(j2: float, m2: float, h: float, v: float) -> Matrix:
    """Return what sighting this many degrees off the axis adds: j2·θ² in the meridian of the tilt, m2·θ² in all."""
    along = np.array([h, v])
    return j2 * np.outer(along, along) + m2 * (h * h + v * v) * np.eye(2)


def _turned(end: EndPoint, patient: Patient) -> _Measured:
    across = EndPoint(end.minute, end.side, (end.streak + 90) % 180 or 180.0, end.state)
    return _measured(patient, across)


def _placed(second: _Measured, first: _Measured) -> _Measured:
    """Put the second meridian across the first, where the person who writes a cylinder takes it to be."""
    place = np.array([-first.normal[1], first.normal[0]])
    return replace(second, place=place)


def _diagonal(both: Sequence[_Measured], values: Sequence[float]) -> Matrix:
    total = np.zeros((2, 2))
    for one, value in zip(both, values, strict=True):
        total = total + value * np.outer(one.place, one.place)
    return total


def _joined(first: _Measured, second: _Measured) -> Matrix:
    """Join what sighting added at the two end points: each in its meridian, between them the mean of the two."""
    a, b = first.place, second.place
    between = float(a @ (first.off_axis + second.off_axis) @ b) / 2
    own = _diagonal((first, second), [float(one.normal @ one.off_axis @ one.normal) for one in (first, second)])
    joined: Matrix = own + between * (np.outer(a, b) + np.outer(b, a))
    return joined


def _marked(one: _Measured, end: EndPoint) -> float:
    return float(one.normal @ end.state.sum_of_lenses(end.side).power_matrix() @ one.normal)


def _working_lens(end: EndPoint) -> float:
    return math.fsum(lens.spherical_equivalent for cell, lens in end.state.lenses(end.side) if cell == WORKING)


def _flat(matrix: Matrix) -> tuple[float, float, float]:
    return float(matrix[0, 0]), float(matrix[1, 1]), float(matrix[0, 1])


def _square(flat: Sequence[float] | Matrix) -> Matrix:
    x, y, xy = flat
    return np.array([[x, xy], [xy, y]])
