"""What a whole examination shows of a learner's steps and slips.

A step that a case type has too is the same skill here: distance, end point, meridians, the sum. What goes wrong in an
examination is read from its ledger and its log, so a slip is known for sure and not inferred from numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cases.curriculum.examination_names import FOG_OTHER_EYE, LEAN_IN, SET_FRAME, SIT_ON_AXIS, WATCH_GAZE, WRITE_RECORD
from cases.patients.examination.acts import WORKING, Examined
from cases.patients.examination.findings import (
    FAR_ENOUGH_M,
    NOT_YET,
    RecordSlip,
    failed,
    record_slip,
)
from cases.patients.examination.ledger import CLOSE_D, Ledger, NotMeasured, TermId, allowed_d, ledger
from cases.patients.examination.world import FOG_LEAST_D, FOG_MOST_D, cycloplegia, gaze
from cases.patients.patient import SIDES, Patient, other

Key = tuple[str, str]
"""A slip where it happens: (skill, slip)."""

MATTERS_D = 0.2
"""A term weaker than this, in D, is no slip: hands are not finer. Ours."""
EARLY_D = 0.375
"""More than this left when neutral was called, in D, is a step early or late. Ours."""

_ALWAYS = (
    "distance-in-dioptres",
    "take-off-distance",
    "fixation-task",
    FOG_OTHER_EYE.id,
    SIT_ON_AXIS.id,
    WATCH_GAZE.id,
    "find-meridians",
    "read-end-point",
    "choose-zone",
    LEAN_IN.id,
    "add-lenses",
    "find-cylinder",
    WRITE_RECORD.id,
)
EVERYTHING: tuple[Key, ...] = (
    ("take-off-distance", "distance-left-in"),
    ("add-lenses", "distance-taken-twice"),
    ("add-lenses", "lens-unsummed"),
    ("distance-in-dioptres", "always-one-fifty"),
    ("distance-in-dioptres", "drift-unheeded"),
    ("distance-in-dioptres", "distance-not-taken"),
    ("fixation-task", "light-without-cycloplegia"),
    (FOG_OTHER_EYE.id, "other-eye-unfogged"),
    (FOG_OTHER_EYE.id, "other-eye-overfogged"),
    ("judge-cycloplegia", "measured-too-soon"),
    ("judge-cycloplegia", "pupil-as-proof"),
    (SIT_ON_AXIS.id, "stood-aside"),
    ("eye-for-eye", "eye-across"),
    (WATCH_GAZE.id, "gaze-away"),
    ("choose-zone", "margin-read"),
    ("find-meridians", "skew-left"),
    ("read-end-point", "end-point-early"),
    ("read-end-point", "end-point-late"),
    ("read-sleeve", "sleeve-setting-missed"),
    ("neutral-or-dull", "dull-taken-for-neutral"),
    (SET_FRAME.id, "frame-as-left"),
    (SET_FRAME.id, "frame-tilted"),
    (LEAN_IN.id, "no-lean-in"),
    (WRITE_RECORD.id, "eyes-exchanged"),
    (WRITE_RECORD.id, "sphere-sign-turned"),
    (WRITE_RECORD.id, "forms-mixed"),
    ("place-axis", "axis-at-the-power"),
    ("find-cylinder", "second-gross-as-cylinder"),
    (WRITE_RECORD.id, "distance-not-noted"),
    (WRITE_RECORD.id, "drops-not-noted"),
    ("reflex-action", "referral-put-off"),
)
"""All that an examination can show."""
_OF_RECORD: dict[RecordSlip, Key] = {
    "eyes": (WRITE_RECORD.id, "eyes-exchanged"),
    "sign": (WRITE_RECORD.id, "sphere-sign-turned"),
    "axis": ("place-axis", "axis-at-the-power"),
    "forms": (WRITE_RECORD.id, "forms-mixed"),
    "second-sphere": ("find-cylinder", "second-gross-as-cylinder"),
    "lens-left-out": ("add-lenses", "lens-unsummed"),
}
"""A sum that differs for no reason that is known blames no slip."""


@dataclass(frozen=True)
class Shown:
    """What an examination shows: the steps done, the slips made, and those that it could have shown."""

    steps: tuple[str, ...]
    slips: tuple[Key, ...]
    could_show: tuple[Key, ...]


def shown_by(patient: Patient, examined: Examined) -> Shown | None:
    """Read from an examination that was handed in what it shows; None where nothing was measured and written.

    A patient whose reflex is to be referred shows that alone.
    """
    if any(patient.eye(side).unsafe for side in SIDES):
        slips: tuple[Key, ...] = (("reflex-action", "referral-put-off"),) if failed(patient, examined) else ()
        return Shown(("reflex-action",), slips, (("reflex-action", "referral-put-off"),))
    ledgers = []
    for side in SIDES:
        try:
            ledgers.append(ledger(patient, examined, side))
        except NotMeasured:
            continue
    if not ledgers:
        return None
    made = [key for found in ledgers for key in _of_eye(patient, examined, found)]
    made += _of_record(examined, [found.side for found in ledgers])
    steps = [*_ALWAYS]
    if examined.state.drops:
        steps.append("judge-cycloplegia")
    if any(one.what == "own eye" for one in examined.acts):
        steps.append("eye-for-eye")
    steps += [key[0] for key in made]
    kept = tuple(dict.fromkeys(steps))
    return Shown(kept, tuple(dict.fromkeys(made)), tuple(key for key in EVERYTHING if key[0] in kept))


def _of_eye(patient: Patient, examined: Examined, found: Ledger) -> Iterator[Key]:
    size = {term.id: term.size_d for term in found.terms}
    if size["distance"] >= MATTERS_D:
        yield _distance(examined, found)
    if size["accommodation"] >= MATTERS_D:
        yield from _accommodation(patient, examined, found)
    if size["off-axis"] >= MATTERS_D / 2:
        yield from _sight(patient, examined, found)
    if size["zone"] >= MATTERS_D:
        yield "choose-zone", "margin-read"
    uneven = allowed_d(patient.eye(found.side)) - CLOSE_D
    if size["axis"] >= MATTERS_D + uneven:
        yield "find-meridians", "skew-left"
    yield from _end_point(examined, found, EARLY_D + uneven)
    terms: tuple[tuple[TermId, Key], ...] = (
        ("plane", (SET_FRAME.id, "frame-as-left")),
        ("tilt", (SET_FRAME.id, "frame-tilted")),
    )
    for term, key in terms:
        if size[term] >= MATTERS_D:
            yield key
    if size["slips"] >= MATTERS_D:
        kind, _ = record_slip(patient, examined, found)
        if kind in _OF_RECORD:
            yield _OF_RECORD[kind]


def _distance(examined: Examined, found: Ledger) -> Key:
    ends = examined.ends_of(found.side)
    taken = examined.record.taken.get(found.side, 0.0)
    in_frame = sum(1 for cell, _ in ends[-1].state.lenses(found.side) if cell == WORKING)
    if not taken and not in_frame:
        return "take-off-distance", "distance-left-in"
    if taken and in_frame:
        return "add-lenses", "distance-taken-twice"
    if len({one.state.distance_cm for one in examined.end_points}) > 1:
        return "distance-in-dioptres", "drift-unheeded"
    if abs(taken - 1.5) < 0.01:
        return "distance-in-dioptres", "always-one-fifty"
    return "distance-in-dioptres", "distance-not-taken"


def _accommodation(patient: Patient, examined: Examined, found: Ledger) -> Iterator[Key]:
    end = examined.ends_of(found.side)[-1]
    state, fellow = end.state, other(found.side)
    if gaze(patient, state, end.minute).away:
        yield WATCH_GAZE.id, "gaze-away"
    elif not isinstance(state.target, float | int) or state.target < FAR_ENOUGH_M:
        yield "fixation-task", "light-without-cycloplegia"
    share = cycloplegia(patient, found.side, state, end.minute)
    if share:
        if share < NOT_YET:
            yield "judge-cycloplegia", "measured-too-soon"
        return
    fog = state.sum_of_lenses(fellow).spherical_equivalent - patient.eye(fellow).M
    if fog > FOG_MOST_D:
        yield FOG_OTHER_EYE.id, "other-eye-overfogged"
    elif fog < FOG_LEAST_D:
        yield FOG_OTHER_EYE.id, "other-eye-unfogged"


def _sight(patient: Patient, examined: Examined, found: Ledger) -> Iterator[Key]:
    for end in examined.ends_of(found.side):
        if gaze(patient, end.state, end.minute).away:
            yield WATCH_GAZE.id, "gaze-away"
        elif end.state.own_eye is not None and end.state.own_eye != found.side:
            yield "eye-for-eye", "eye-across"
        elif any(end.state.sight):
            yield SIT_ON_AXIS.id, "stood-aside"


def _end_point(examined: Examined, found: Ledger, early_d: float) -> Iterator[Key]:
    worst = max(found.left_d, key=abs)
    if abs(worst) < early_d:
        return
    if examined.ends_of(found.side)[-1].state.converging:
        yield "read-sleeve", "sleeve-setting-missed"
    elif abs(worst) >= 4:
        yield "neutral-or-dull", "dull-taken-for-neutral"
    else:
        yield "read-end-point", "end-point-early" if worst > 0 else "end-point-late"


def _of_record(examined: Examined, sides: list[str]) -> Iterator[Key]:
    record = examined.record
    if not record.has("distance"):
        yield WRITE_RECORD.id, "distance-not-noted"
    if examined.state.drops and not record.notes_drops:
        yield WRITE_RECORD.id, "drops-not-noted"
    leaned = {one.side for one in examined.did("lean in")}
    if not all(side in leaned or None in leaned for side in sides):
        yield LEAN_IN.id, "no-lean-in"
    first = min((one.minute for one in examined.state.drops), default=None)
    if first is not None and examined.did("pupil noted"):
        last = max(one.minute for one in examined.end_points)
        if not any(first < one.minute <= last for one in examined.did("near check")):
            yield "judge-cycloplegia", "pupil-as-proof"
