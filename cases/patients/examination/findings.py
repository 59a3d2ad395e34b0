"""What the log of an examination says beside the ledger: why its terms are there, and whether the whole fails."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from cases.notation.prescription import write_distance, write_power, write_prescription
from cases.optics.axes import across, axis_gap
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import WORKING, Examined
from cases.patients.examination.ledger import Ledger, TermId, ledger
from cases.patients.examination.world import (
    FOG_LEAST_D,
    FOG_MOST_D,
    SHOWS_A_LITTLE_D,
    cycloplegia,
    gaze,
    left_at,
    seen_far_and_near,
    sight_angles,
)
from cases.patients.patient import SIDES, Patient, Side, other

DROPS_CONSIDERED_TO_Y = 12.0
"""Up to this age in years a result without drops is worth a word: local rules decide."""
FAR_ENOUGH_M = 5.0
UNSTEADY_D = 0.2
"""From so much cylinder in D on it is said that accommodation changed between the meridians: ours."""
NOT_YET = 0.85
"""A share of cycloplegia below which the reading still climbs: ours."""


def causes(patient: Patient, examined: Examined, found: Ledger, term_id: TermId) -> tuple[str, ...]:
    """Say from the log why a term of an eye's ledger is there, a sentence each, with this examination's numbers."""
    # The same thing done at both end points is said once.
    return tuple(dict.fromkeys(_CAUSES[term_id](patient, examined, found))) if term_id in _CAUSES else ()


def _distance(_: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    ends = examined.ends_of(found.side)
    cms = [one.state.distance_cm for one in ends]
    taken = examined.record.taken.get(found.side, 0.0)
    in_frame = math.fsum(lens.sphere for cell, lens in ends[-1].state.lenses(found.side) if cell == WORKING)
    if not taken and not in_frame:
        yield "Nothing was taken off for the working distance."
    elif taken and in_frame:
        yield "The working distance came off twice: with the working lens and in the head."
    else:
        off = taken or in_frame
        yield (f"You sat at {write_distance(cms[-1])}, worth {100 / cms[-1]:.2f} D, and took off {off:.2f} D.")
    if len(cms) == 2 and cms[0] != cms[1]:
        yield f"The distance moved between the meridians: {write_distance(cms[0])}, then {write_distance(cms[1])}."
    tapes = [act for act in examined.did("tape") if act.value != "eye"]
    if tapes:
        yield f"The tape was held at the {tapes[-1].value}, not at the eye."


def _accommodation(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    said = tuple(_why_it_accommodated(patient, examined, found))
    yield from said
    end = examined.ends_of(found.side)[-1]
    if abs(found.term("accommodation").lens.cylinder) >= UNSTEADY_D:
        yield "It was not the same in the two meridians, which leaves a cylinder that the eye does not have."
    if said:
        return
    if cycloplegia(patient, found.side, end.state, end.minute):
        fellow = other(found.side)
        lens, needs = end.state.sum_of_lenses(fellow).spherical_equivalent, patient.eye(fellow).M
        if lens - needs < FOG_LEAST_D and needs > 0:
            yield f"The {fellow} eye was not fogged, and what the drops left was used for its plus."
        left, _ = seen_far_and_near(patient, found.side, end.state, end.minute)
        shows = (
            "A check from far to near shows it." if left >= SHOWS_A_LITTLE_D else "A check from far to near hardly can."
        )
        yield f"The drops left a little accommodation. {shows}"
    else:
        yield "With a far target and fog this much plus stays hidden: only cycloplegia shows it."


def _why_it_accommodated(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    end = examined.ends_of(found.side)[-1]
    state = end.state
    share = cycloplegia(patient, found.side, state, end.minute)
    if gaze(patient, state, end.minute).away:
        yield "The patient had turned to something near when neutral was called."
    elif state.target == "face":
        yield "The patient looked at your face."
    elif state.target == "off":
        yield "There was no target." if state.room != "dark" else "There was no target in the dark."
    elif state.target < FAR_ENOUGH_M:
        yield f"The target was only {state.target:g} m away."
    fellow = other(found.side)
    lens, needs = state.sum_of_lenses(fellow).spherical_equivalent, patient.eye(fellow).M
    fog = lens - needs
    if share >= NOT_YET:
        pass  # once drops have worked nobody fogs, and nothing is gained by it
    elif fog > FOG_MOST_D:
        myopic = ", most of it by its own myopia" if -needs > lens else ""
        yield f"The other eye was fogged by more than 3 D{myopic}, so that nothing held its focus."
    elif fog < FOG_LEAST_D and lens > 0:
        yield (
            f"The {fellow} eye needs {write_power(needs)} D and had {write_power(lens)} D: that fogs it too little, "
            "and it set the focus of both while lenses blurred this one."
        )
    elif fog < FOG_LEAST_D:
        yield "The other eye was not fogged, and it set the focus of both while lenses blurred this one."
    if share and share < NOT_YET:
        yield "The drops had not yet worked when neutral was called."
    given = [one for one in examined.state.drops if one.side == found.side]
    if given and all(one.minute > end.minute for one in given):
        yield "You called neutral before giving the drops, so they could not affect this reading."
    if not examined.state.drops and patient.age_y <= DROPS_CONSIDERED_TO_Y:
        yield "No drops were used in a child. Local rules and a licensed person decide on them."
    if cycloplegia(patient, fellow, state, end.minute) and not given:
        yield "Only the other eye had drops."


def _off_axis(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    for end in examined.ends_of(found.side):
        h, v = sight_angles(patient, found.side, end.state, end.minute)
        if gaze(patient, end.state, end.minute).away:
            yield f"At {end.minute:.1f} min the patient's gaze had left the target."
        elif end.state.own_eye is not None and end.state.own_eye != found.side:
            yield f"You looked with your {end.state.own_eye} eye."
        if h or v:
            yield f"You were {(h * h + v * v) ** 0.5:.0f}° off the visual axis."


def _zone(_: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    zone = examined.ends_of(found.side)[-1].state.zone
    if zone == "whole":
        yield "The whole pupil was judged, not its centre."
    elif zone != "centre":
        yield f"The {zone} part of the pupil was judged, where the cornea differs."


def _axis(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    end = examined.ends_of(found.side)[-1]
    axis = patient.eye(found.side).lens.axis
    off = min(axis_gap(end.streak, axis), axis_gap(end.streak, axis + 90))
    if off >= 1:
        yield f"The streak was {off:.0f}° off a principal meridian."


def _end_point(_: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    for end, left in zip(examined.ends_of(found.side), found.left_d, strict=False):
        if abs(left) >= 0.2:
            yield f"Along {across(end.streak):.0f}° {write_power(left)} D was left."
    last = examined.ends_of(found.side)[-1]
    if last.state.converging:
        yield "The sleeve was converging, which turns every movement round."
    if max(abs(one) for one in found.left_d) >= 4:
        yield "So far from neutral the reflex is dim and hardly moves. No strong lens was tried."


def _plane(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    state = examined.ends_of(found.side)[-1].state
    noted = examined.record.number("lens distance")
    if noted is not None and state.vertex_mm is not None and abs(noted - state.vertex_mm) < 1:
        yield (
            f"You wrote {noted:g} mm beside it. It was moved to {patient.eye(found.side).vertex_mm:.0f} mm after the "
            "distance had come off, which leaves this."
        )
    elif noted is not None:
        yield f"You wrote the lens for {noted:g} mm from the eye."
    elif state.vertex_mm is not None:
        yield (
            f"The lenses were {state.vertex_mm:g} mm from the eye; "
            f"the result is for {patient.eye(found.side).vertex_mm:.0f} mm."
        )


def _tilt(_: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    yield f"The frame was tilted by {examined.ends_of(found.side)[-1].state.tilt_deg:.0f}°."


RecordSlip = Literal["eyes", "sign", "axis", "forms", "second-sphere", "lens-left-out", "sum"]


def record_slip(patient: Patient, examined: Examined, found: Ledger) -> tuple[RecordSlip, str]:
    """Name what lies between a right sum of the lenses and what was written, with a sentence for it."""
    was, right = found.written, found.right_sum
    fellow = other(found.side)
    measured = examined.ends_of(fellow) and fellow in examined.record.written
    if measured and ledger(patient, examined, fellow).right_sum == was != right:
        return "eyes", "The two eyes are swapped in the record."
    if was == SphCyl(-right.sphere, right.cylinder, right.axis):
        return "sign", "The sphere is written with the wrong sign."
    if was.cylinder == right.cylinder and axis_gap(was.axis, right.axis) > 80:
        return "axis", "The axis is written across where it belongs."
    if was.sphere == right.sphere and was.cylinder == -right.cylinder:
        return "forms", "The forms are mixed: the sphere of one with the cylinder of the other."
    second = abs(right.sphere + right.cylinder)
    if was.sphere == right.sphere and was.cylinder not in (0, right.cylinder) and abs(was.cylinder) == second:
        return "second-sphere", "The second sphere is written as the cylinder."
    for _cell, lens in examined.ends_of(found.side)[-1].state.lenses(found.side):
        if (was + lens).equals(right, 0.13):
            return "lens-left-out", f"Leaving out {write_prescription(lens)} in the frame gives what is written."
    return "sum", "The sum of the lenses and what is written differ."


def _slips(patient: Patient, examined: Examined, found: Ledger) -> Iterator[str]:
    yield record_slip(patient, examined, found)[1]


_CAUSES = {
    "distance": _distance,
    "accommodation": _accommodation,
    "off-axis": _off_axis,
    "zone": _zone,
    "axis": _axis,
    "end-point": _end_point,
    "plane": _plane,
    "tilt": _tilt,
    "slips": _slips,
}


def failed(patient: Patient, examined: Examined) -> str | None:
    """Say why the whole examination fails, or return None: only where a white or absent reflex was not referred."""
    if examined.record.referred_at_once:
        return None
    for side in SIDES:
        if patient.eye(side).unsafe:
            reflex = "a white reflex" if "white reflex" in patient.eye(side).media else "no red reflex"
            later = " You referred it for another day." if examined.record.referred else ""
            return f"The {side} eye has {reflex}.{later} Refer at once by the local protocol, before any measuring."
    return None


def what_was_left(patient: Patient, examined: Examined, side: Side) -> tuple[float, ...]:
    """Return what was still missing at each end point of an eye, in D."""
    return tuple(left_at(patient, one) for one in examined.ends_of(side))


NEAR_D = 0.15
"""A single cause fits where it gives the mean error within so much, in D, and leaves no more cylinder: ours."""
_SPHERES = (
    (1.5, "1.50 D for the distance left in"),
    (2.0, "2.00 D for the distance left in"),
    (0.5, "sitting nearer than was taken off"),
    (0.25, "stopping a step late"),
    (-1.5, "1.50 D taken off twice"),
    (-0.5, "sitting farther than was taken off"),
    (-0.25, "stopping a step early"),
)


def from_numbers_alone(found: Ledger) -> tuple[str, ...]:
    """Name the single causes that would give an error of this size and sort, were only the numbers known."""
    error = found.error
    mean, cylinder = error.spherical_equivalent, abs(error.cylinder)
    fits: list[str] = []
    if cylinder < 0.375:
        fits += [words for size, words in _SPHERES if abs(mean - size) <= NEAR_D]
    elif abs(mean) < 0.375:
        fits.append("the axis, or both meridians stopped early or late, one each way")
        if axis_gap(error.axis, 90) <= 10:
            fits += ["sighting off the axis to one side", "true astigmatism against the rule"]
    if cylinder >= 0.375 and abs(abs(mean) - cylinder / 2) <= NEAR_D:
        # All of the error lies in one meridian.
        fits += ["one meridian measured from another distance", "one meridian stopped early or late"]
    if mean <= -0.25:
        # It may change between the meridians, so that a cylinder does not speak against it.
        fits += [
            "accommodation: a near target, a face or an unfogged other eye",
            "latent plus that drops would show",
        ]
    return tuple(fits)
