"""A whole examination done as it should be, or with one thing done otherwise: for paper, where nobody can act."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import FAR_M, Act, Examined, What, minute_after, read_acts
from cases.patients.examination.findings import DROPS_CONSIDERED_TO_Y
from cases.patients.examination.world import left_at
from cases.patients.patient import SIDES, Patient, Side, other, written
from cases.patients.streams import Streams

Otherwise = Literal["distance", "left in", "face", "not fogged", "aside", "swapped"]

SEATS_CM = (50.0, 67.0)
DROPS_WORK_MIN = 45.0
"""How long the book waits for drops, in minutes: of their gain 97 % is there by then (`world.CYCLOPLEGIA_MIN`)."""
FOG_D = 1.5
ASIDE_DEG = 15.0
SWAP_SHOWS_D = 0.75


@dataclass(frozen=True)
class StandardExamination:
    """An examination on paper: the acts, their results, and what was done otherwise (None: nothing)."""

    acts: tuple[Act, ...]
    examined: Examined
    distance_cm: float
    taken_d: float
    drops: bool
    otherwise: Otherwise | None


class _Hand:
    """Acts one after another, each when the one before is done."""

    def __init__(self, patient: Patient) -> None:
        self.patient = patient
        self.acts: list[Act] = []

    def do(self, what: What, value: Any = None, side: Side | None = None) -> None:
        self.acts.append(Act(minute_after(self.acts), what, value, side))

    def neutralise(self, side: Side, streak: float) -> None:
        """Find the sphere that is neutral with the streak there, to a quarter dioptre, and call it neutral."""
        self.do("call")
        power = 0.0
        for _ in range(40):
            tried = [*self.acts, Act(minute_after(self.acts), "lens", ("sphere", SphCyl(power)), side)]
            tried.append(Act(minute_after(tried), "end point", streak, side))
            left = left_at(self.patient, read_acts(tried).end_points[-1])
            power += left
            if abs(left) < 1e-6:
                break
        found = SphCyl(round(4 * power) / 4 + 0.0)
        held = dict(read_acts(self.acts).state.lenses(side)).get("sphere", SphCyl(0))
        if found != held:
            self.do("lens", ("sphere", found), side)
        self.do("end point", streak, side)


def seat_of(patient: Patient) -> float:
    """Return the working distance in cm at which a patient is examined on paper."""
    return SEATS_CM[0] if Streams(f"{patient.seed}/paper").happens("seat", 0.5) else SEATS_CM[1]


def can_be_done(patient: Patient) -> tuple[Otherwise, ...]:
    """Return what done otherwise would change a result of this patient by so much that a record shows it."""
    found: list[Otherwise] = ["distance" if seat_of(patient) == SEATS_CM[0] else "left in"]
    if patient.age_y > DROPS_CONSIDERED_TO_Y and patient.amplitude_d >= 2.5:
        found.append("face")
        if patient.left.M >= 1:
            found.append("not fogged")
    found.append("aside")
    if patient.unequal_d >= SWAP_SHOWS_D:
        found.append("swapped")
    return tuple(found)


def examine(patient: Patient, otherwise: Otherwise | None = None) -> StandardExamination:
    """Examine both eyes: in a dim room with a far target, the other eye fogged, children under drops.

    What is seen to the quarter dioptre is called neutral, the sum is written down, and reflexes to refer at once are
    not measured but referred.
    """
    hand, distance = _Hand(patient), seat_of(patient)
    drops = patient.age_y <= DROPS_CONSIDERED_TO_Y
    taken = 0.0 if otherwise == "left in" else 1.5 if otherwise == "distance" else _worth(distance)
    if any(patient.eye(side).unsafe for side in SIDES):
        hand.do("refer", "reflex")
        return StandardExamination(tuple(hand.acts), read_acts(hand.acts), distance, taken, drops=False, otherwise=None)
    if drops:
        hand.do("drops", "cyclopentolate")
        hand.do("wait", DROPS_WORK_MIN)
        hand.do("near check")
    hand.do("room", "dim")
    hand.do("target", "face" if otherwise == "face" else FAR_M)
    hand.do("seat", distance)
    hand.do("tape", "eye")
    if otherwise == "aside":
        hand.do("sight", (ASIDE_DEG, 0.0))
    for side in SIDES:
        # The lens at which the first eye was neutral fogs it, by what the distance is worth, while the second is seen.
        fogs = side == SIDES[0] and otherwise != "not fogged"
        if fogs:
            fog = round(4 * (patient.eye(other(side)).M + FOG_D)) / 4
            hand.do("lens", ("fog", SphCyl(fog)), other(side))
        axis = patient.eye(side).rx.axis or 180.0
        for streak in (axis, across(axis)):
            hand.neutralise(side, streak)
        hand.do("lean in", None, side)
        if fogs:
            hand.do("lens", ("fog", SphCyl(0)), other(side))
    if taken:
        hand.do("take off", taken)
    sums = {side: _sum_of(read_acts(hand.acts), side, taken) for side in SIDES}
    for side in SIDES:
        hand.do("write", sums[other(side) if otherwise == "swapped" else side], side)
    for note in ("distance", "vision", "lens distance", *(("drops", "time of drops") if drops else ())):
        hand.do("note", note)
    return StandardExamination(
        tuple(hand.acts), read_acts(hand.acts), distance, taken, drops=drops, otherwise=otherwise
    )


def found_in(examined: Examined, side: Side) -> tuple[tuple[float, float], ...]:
    """Return (streak in degrees, neutral sphere in D) of the two meridians of an eye; empty where none was measured."""
    return tuple(
        (end.streak, dict(end.state.lenses(side)).get("sphere", SphCyl(0)).sphere) for end in examined.ends_of(side)
    )


def _worth(distance_cm: float) -> float:
    return round(400 / distance_cm) / 4


def _sum_of(examined: Examined, side: Side, taken: float) -> SphCyl:
    (streak, first), (_, second) = found_in(examined, side)
    # The first streak lies along the axis, so that its sphere is the power across it.
    return written(SphCyl(second - taken, first - second, streak))
