"""One cause put right: the acts of an examination as they would have been without it, for a replay."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from cases.notation.prescription import write_distance
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import FAR_M, WORKING, Act, Examined
from cases.patients.examination.findings import DROPS_CONSIDERED_TO_Y, FAR_ENOUGH_M, NOT_YET
from cases.patients.examination.ledger import Ledger, TermId
from cases.patients.examination.world import FOG_LEAST_D, FOG_MOST_D, cycloplegia, gaze
from cases.patients.patient import Patient, Side, other

DROPS_BEFORE_MIN = 40.0
"""How long before the rest of it drops are replayed: by then nothing climbs any more."""
FOG_BY_D = 1.5


@dataclass(frozen=True)
class PutRight:
    """What is changed, in words that follow "Replay", and the acts with it."""

    words: str
    acts: tuple[Act, ...]


def put_right(patient: Patient, examined: Examined, found: Ledger, term_id: TermId) -> PutRight | None:
    """Return the acts with one cause put right; None for a cause that no other act would mend."""
    maker = _MAKERS.get(term_id)
    return None if maker is None else maker(patient, examined, found)


def _distance(_: Patient, examined: Examined, found: Ledger) -> PutRight | None:
    end = examined.ends_of(found.side)[-1]
    taken = examined.record.taken.get(found.side, 0.0)
    in_frame = math.fsum(lens.sphere for cell, lens in end.state.lenses(found.side) if cell == WORKING)
    if taken and in_frame:
        acts = tuple(one for one in examined.acts if not (one.what == "take off" and one.side in (None, found.side)))
        return PutRight("with the distance taken off once", acts)
    total = taken + in_frame
    if total < 0.75 or total > 4:
        vergence = 100 / end.state.distance_cm
        last = examined.acts[-1].minute
        acts = (*examined.acts, Act(last, "take off", vergence - taken, found.side))
        return PutRight(f"with {vergence:.2f} D taken off", acts)
    cm = 100 / total
    return PutRight(f"at {write_distance(round(cm, 1))}", tuple(_seated(one, cm) for one in examined.acts))


def _seated(act: Act, cm: float) -> Act:
    return replace(act, value=cm) if act.what == "seat" else act


def _accommodation(patient: Patient, examined: Examined, found: Ledger) -> PutRight | None:
    side, fellow = found.side, other(found.side)
    end = examined.ends_of(side)[-1]
    away = gaze(patient, end.state, end.minute).away
    far = isinstance(end.state.target, float | int) and end.state.target >= FAR_ENOUGH_M
    fogged = end.state.sum_of_lenses(fellow).spherical_equivalent - patient.eye(fellow).M
    share = cycloplegia(patient, side, end.state, end.minute)
    relaxed = share >= NOT_YET
    kept_far = far and not away and FOG_LEAST_D <= fogged <= FOG_MOST_D
    # Target and fog come first: drops show what those leave, or were given and had not worked.
    if patient.age_y <= DROPS_CONSIDERED_TO_Y and not relaxed and (kept_far or share):
        rest = tuple(replace(one, minute=one.minute + DROPS_BEFORE_MIN) for one in examined.acts if one.what != "drops")
        acts = (Act(0.0, "drops", "cyclopentolate"), *rest)
        return PutRight("forty minutes after drops in both eyes, with the gaze called", _watched(acts, side))
    if kept_far or (far and not away and relaxed):
        # What is left is what the drops leave, or what only drops show: no other act would mend it.
        return None
    fog = Act(0.0, "lens", ("fog", SphCyl(patient.eye(fellow).M + FOG_BY_D)), fellow)
    kept = tuple(
        replace(one, value=FAR_M) if one.what == "target" else one
        for one in examined.acts
        if not (one.what == "lens" and one.side == fellow and one.minute <= end.minute)
    )
    return PutRight(
        "with a far target and the other eye fogged", _watched((Act(0.0, "target", FAR_M), fog, *kept), side)
    )


def _watched(acts: tuple[Act, ...], side: Side) -> tuple[Act, ...]:
    """Call the patient's gaze just before every end point of an eye."""
    out: list[Act] = []
    for one in acts:
        if one.what == "end point" and one.side == side:
            out.append(Act(one.minute, "call"))
        out.append(one)
    return tuple(out)


def _off_axis(_: Patient, examined: Examined, found: Ledger) -> PutRight:
    acts = tuple(
        replace(one, value=(0.0, 0.0)) if one.what == "sight" else one for one in examined.acts if one.what != "own eye"
    )
    return PutRight("along the visual axis", _watched(acts, found.side))


def _zone(_: Patient, examined: Examined, __: Ledger) -> PutRight:
    return PutRight("by the centre of the pupil", tuple(one for one in examined.acts if one.what != "zone"))


def _axis(patient: Patient, examined: Examined, found: Ledger) -> PutRight:
    axis = patient.eye(found.side).lens.axis

    def turned(act: Act) -> Act:
        if act.what != "end point" or act.side != found.side or not isinstance(act.value, float | int):
            return act
        near = min((axis, axis_of(axis + 90)), key=lambda one: axis_gap(float(act.value), one))  # type: ignore[arg-type]
        return replace(act, value=near)

    return PutRight("with the streak along the principal meridians", tuple(turned(one) for one in examined.acts))


def _plane(patient: Patient, examined: Examined, found: Ledger) -> PutRight | None:
    # A distance that is written beside the lens is where the result is for: no other place of the frame mends it.
    return None if examined.record.number("lens distance") is not None else _frame(patient, examined, found)


def _frame(_: Patient, examined: Examined, __: Ledger) -> PutRight:
    return PutRight(
        "with the frame upright and where the result is for", tuple(one for one in examined.acts if one.what != "frame")
    )


_MAKERS: dict[TermId, Callable[[Patient, Examined, Ledger], PutRight | None]] = {
    "distance": _distance,
    "accommodation": _accommodation,
    "off-axis": _off_axis,
    "zone": _zone,
    "axis": _axis,
    "plane": _plane,
    "tilt": _frame,
}
