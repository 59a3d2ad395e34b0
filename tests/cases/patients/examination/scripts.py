"""Scripts of acts: an examiner who finds neutral exactly and writes the right sum, with one thing done otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from cases.optics.lens import SphCyl
from cases.patients.drawing_patients import draw_patient
from cases.patients.examination.acts import Act, Examined, What, read_acts
from cases.patients.examination.ledger import Ledger, ledger
from cases.patients.examination.world import across_streak, left_at
from cases.patients.patient import SIDES, Patient, Side, other, written

TWO_THIRDS_CM = 200 / 3
"""The distance that 1.50 D is for, exactly."""


def patient_of(
    right: SphCyl, left: SphCyl | None = None, *, age: float = 60, latent: float = 0.0, **fields: Any
) -> Patient:
    """Make a patient of these lenses who accommodates as at that age, without aberration, whose gaze holds."""
    drawn = draw_patient("script", age=(age, age))
    amplitude = max(0.0, 7.33 - 0.0035 * max(0.0, age - 3) ** 2)
    eyes = {}
    for side, lens in zip(SIDES, (right, left if left is not None else right), strict=True):
        M, J0, J45 = lens.power_vector()
        eyes[side] = replace(
            drawn.eye(side), M=M, J0=J0, J45=J45, latent_d=min(latent, amplitude), c40_um=0.0, peripheral_m2=0.0,
            vertex_mm=12.0, pupil_dim_mm=5.4, media=(), irregular_d_per_mm=0.0,
        )  # fmt: skip
    usual: dict[str, Any] = {
        "amplitude_d": amplitude, "response_slope": 0.83, "response_lead_d": 0.10, "dark_near_d": 0.75,
        "fixation_holds_s": 1e12,
    }  # fmt: skip
    return replace(drawn, **{**usual, **fields}, right=eyes["right"], left=eyes["left"])


class Script:
    """Acts one after another, a tenth of a minute apart."""

    def __init__(self, patient: Patient) -> None:
        self.patient = patient
        self.acts: list[Act] = []
        self.minute = 0.0

    def do(self, what: What, value: Any = None, side: Side | None = None) -> Script:
        self.minute += 0.1
        self.acts.append(Act(self.minute, what, value, side))
        return self

    def wait(self, minutes: float) -> Script:
        self.minute += minutes
        return self

    def set_up(self) -> Script:
        """Set everything as it should be: dim room, far target, 66.7 cm, frame at 12 mm."""
        return self.do("room", "dim").do("target", 6.0).do("seat", TWO_THIRDS_CM).do("tape", "eye")

    def fog(self, side: Side, by: float = 1.5) -> Script:
        """Fog an eye by this many dioptres."""
        return self.do("lens", ("fog", SphCyl(self.patient.eye(side).M + by)), side)

    def clear(self, side: Side, cell: str = "fog") -> Script:
        return self.do("lens", (cell, SphCyl(0)), side)

    def neutralise(self, side: Side, streak: float, *, short_by: float = 0.0) -> Script:
        """Find the sphere that is neutral in a meridian, and call it; `short_by` D are left."""
        power = 0.0
        here = [*self.acts]
        for _ in range(60):
            tried = [*here, Act(self.minute + 0.1, "lens", ("sphere", SphCyl(power or 1e-9)), side)]
            end = read_acts([*tried, Act(self.minute + 0.2, "end point", streak, side)]).end_points[-1]
            left = left_at(self.patient, end) - short_by
            power += left
            if abs(left) < 1e-10:
                break
        return self.do("lens", ("sphere", SphCyl(power or 1e-9)), side).do("end point", streak, side)

    def measure(self, side: Side, *, axis: float = 180, fog: bool = True, short_by: float = 0.0) -> Script:
        """Measure both meridians, the other eye fogged: by its own lenses where it was measured before."""
        fog = fog and not read_acts(self.acts).state.lenses(other(side))
        if fog:
            self.fog(other(side))
        self.do("sight", (0.0, 0.0)).neutralise(side, axis, short_by=short_by)
        self.neutralise(side, (axis + 90) % 180 or 180, short_by=short_by).do("lean in", None, side)
        return self.clear(other(side)) if fog else self

    def found(self, side: Side, off: float = 0.0) -> SphCyl:
        """Return the right sum of what was found, as it is written."""
        examined = read_acts(self.acts)
        ends = examined.ends_of(side)
        taken = examined.record.taken.get(side, 0.0) + off
        gross = np.zeros((2, 2))
        for end in ends:
            n = across_streak(end.streak)
            gross = gross + float(n @ end.state.sum_of_lenses(side).power_matrix() @ n) * np.outer(n, n)
        return written(SphCyl.from_power_matrix(gross - taken * np.eye(2)), axis_step=1)

    def take(self, off: float = 1.5, side: Side | None = None) -> Script:
        return self.do("take off", off, side)

    def record(self, *sides: Side) -> Script:
        for side in sides or SIDES:
            self.do("write", self.found(side), side)
        for note in ("distance", "vision", "lens distance"):
            self.do("note", note)
        if read_acts(self.acts).state.drops:
            self.do("note", "drops").do("note", "time of drops")
        return self

    @property
    def examined(self) -> Examined:
        return read_acts(self.acts)

    def ledger(self, side: Side) -> Ledger:
        found = ledger(self.patient, self.examined, side)
        assert found.open_d < 0.01
        return found


def whole(patient: Patient) -> Script:
    """Do all of it right."""
    script = Script(patient).set_up()
    for side in SIDES:
        script.measure(side)
    return script.take().record()
