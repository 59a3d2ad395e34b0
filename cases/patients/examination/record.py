"""The record beside the lenses: what a clinic would have written for this patient as examined, and what is at fault.

Blamed is what is absent, or contradicts what was done; never how it is laid out. Where a record once had ticks, a tick
stands for its value. What a record holds is common practice, no published source; local rules may ask for more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cases.notation.prescription import write_distance
from cases.patients.examination.act_words import clock
from cases.patients.examination.acts import WET, WORKING, Drop, Examined
from cases.patients.examination.card import VISIONS, card_of
from cases.patients.examination.findings import DROPS_CONSIDERED_TO_Y
from cases.patients.examination.reflex_names import names_of, says
from cases.patients.examination.world import gaze
from cases.patients.patient import SIDES, Patient, Side

STRONG_D = 5.0
"""From this power in D on the distance of the lens from the eye is written: common practice, from memory."""
DISTANCE_OFF_CM, LENS_OFF_MM, TIME_OFF_MIN, LINES_OFF = 3.0, 1.5, 3.0, 1
"""How far a value may be from what was done and still agree with it: ours."""
FIXATION_TO_Y = 6.0
"""Up to this age in years a record says how the patient fixed: ours."""


@dataclass(frozen=True)
class Observation:
    """One thing that the log holds. No dioptres: what it cost is in the ledger, or cannot be known."""

    id: str
    says: str
    side: Side | None = None


@dataclass(frozen=True)
class RecordLine:
    """One line of the record: what was written, and what a clinic would have written for the same examination."""

    label: str
    written: str
    clinic: str


# --- faults ----------------------------------------------------------------------------------------------------------


def reflex_faults(patient: Patient, examined: Examined) -> Iterator[Observation]:
    """Yield a reflex that the record names otherwise than it is, or leaves out though it is odd."""
    for side in SIDES:
        names, was = names_of(patient.eye(side)), examined.record.entries.get(f"reflex {side}")
        looked_at = examined.ends_of(side) or patient.eye(side).unsafe
        # A referral says in its own words what was seen.
        if was is None and "clear" not in names and looked_at and not examined.record.referred:
            yield Observation(
                "reflex-not-noted", f"The record does not say that the {side} reflex is {says(names[0])}.", side
            )
        elif was is not None and was not in names:
            yield Observation(
                "reflex-misnamed", f"You wrote the {side} reflex as {says(was)}; it is {says(names[0])}.", side
            )


def record_faults(patient: Patient, examined: Examined) -> Iterator[Observation]:
    """Yield what the record lacks, and what in it contradicts what was done."""
    yield from _of_distance(examined)
    yield from _of_drops(patient, examined)
    yield from _of_vision(patient, examined)
    yield from _of_fixation(patient, examined)
    yield from _of_lens_distance(patient, examined)
    forms = {one.cylinder > 0 for one in examined.record.written.values() if one.cylinder}
    if len(forms) == 2:
        yield Observation("two-forms", "One eye is written with a plus cylinder and the other with a minus cylinder.")
    for side in SIDES:
        if side not in examined.record.written and examined.ends_of(side) and not patient.eye(side).unsafe:
            yield Observation("not-written", f"The {side} eye was measured and not written down.", side)


def _of_distance(examined: Examined) -> Iterator[Observation]:
    if not examined.record.has("distance"):
        yield Observation("no-distance", "The record has no working distance.")
        return
    was, sat = examined.record.number("distance"), _distances(examined)
    if was is not None and sat and all(abs(was - one) > DISTANCE_OFF_CM for one in sat):
        yield Observation(
            "other-distance",
            f"You wrote {write_distance(was)}; you sat at {' and '.join(map(write_distance, sat))}.",
        )


def _distances(examined: Examined) -> list[float]:
    return sorted({one.state.distance_cm for side in SIDES for one in examined.ends_of(side)})


def _of_drops(patient: Patient, examined: Examined) -> Iterator[Observation]:
    record, given = examined.record, examined.state.drops
    ends = [one.minute for side in SIDES for one in examined.ends_of(side)]
    said = record.entries.get("drops")
    if not ends:
        return
    before = [one for one in given if one.minute <= max(ends)]
    if said == WET and not given:
        yield Observation("wet-without-drops", "You wrote wet, and no drops were given.")
    if said not in (None, WET) and before:
        yield Observation("dry-with-drops", "You wrote dry, and drops were given before you called neutral.")
    if not given:
        if said is None and patient.age_y <= DROPS_CONSIDERED_TO_Y:
            yield Observation("no-wet-or-dry", "The record does not say whether it was wet or dry.")
        return
    if not record.notes_drops:
        yield Observation("no-drops-noted", "The record does not say which drops were used, and when.")
        return
    if not record.has("drop"):
        return
    written = list(record.drops)
    for one in given:
        if not any(_is_same(one, other) for other in written):
            yield Observation(
                "drops-missing", f"The record lacks {one.kind} in the {one.side} eye at {clock(one.minute)}.", one.side
            )
    for one in written:
        if not any(_is_same(one, other) for other in given):
            yield Observation(
                "drops-invented",
                f"The record has {one.kind} in the {one.side} eye at {clock(one.minute)}; none was given then.",
                one.side,
            )
    read = record.number("read at")
    if read is None:
        yield Observation("no-time-of-reading", "The record does not say when it was read after the drops.")
    elif not min(ends) - TIME_OFF_MIN <= read <= max(ends) + TIME_OFF_MIN:
        yield Observation(
            "other-time-of-reading",
            f"You wrote that it was read at {clock(read)}; neutral was called {_span(ends)}.",
        )


def _is_same(one: Drop, other: Drop) -> bool:
    return (one.side, one.kind) == (other.side, other.kind) and abs(one.minute - other.minute) <= TIME_OFF_MIN


def _span(minutes: list[float]) -> str:
    first, last = clock(min(minutes)), clock(max(minutes))
    return f"at {first}" if first == last else f"from {first} to {last}"


def _of_vision(patient: Patient, examined: Examined) -> Iterator[Observation]:
    record, card = examined.record, card_of(patient)
    if not record.has("vision") and not (card.no_chart and "test" in record.entries):
        yield Observation("no-vision", "The record has no vision.")
        return
    for side in SIDES:
        was, found = record.entries.get(f"vision {side}"), card.vision[side]
        if was is None and record.has("vision") and "vision" not in record.notes:
            yield Observation("no-vision", f"The record has no vision of the {side} eye.", side)
        elif was in VISIONS and found in VISIONS and abs(VISIONS.index(was) - VISIONS.index(found)) > LINES_OFF:
            yield Observation("other-vision", f"You wrote {was} for the {side} eye; the card has {found}.", side)
        elif was in VISIONS and found not in VISIONS:
            yield Observation("other-vision", f"You wrote {was} for the {side} eye; no chart was read.", side)
    test = record.entries.get("test")
    if test is None and "vision" not in record.notes:
        yield Observation("no-test", "The record does not say with which test vision was taken.")
    elif test is not None and test != card.test:
        yield Observation("other-test", f"You wrote the test as {test}; the card has {card.test}.")


def _of_fixation(patient: Patient, examined: Examined) -> Iterator[Observation]:
    said = examined.record.entries.get("fixation")
    ends = [one for side in SIDES for one in examined.ends_of(side)]
    away = next((one for one in ends if gaze(patient, one.state, one.minute).away), None)
    if said == "steady" and away is not None:
        yield Observation(
            "not-steady",
            f"You wrote steady fixation; at {clock(away.minute)} the gaze had left the target when you called neutral.",
        )
    values_written = bool(examined.record.entries)
    if said is None and ends and values_written and patient.age_y < FIXATION_TO_Y:
        yield Observation("no-fixation", "The record does not say how so young a child fixed.")


def _of_lens_distance(patient: Patient, examined: Examined) -> Iterator[Observation]:
    record = examined.record
    strongest = max((one.strongest for one in record.written.values()), default=0.0)
    if strongest >= STRONG_D and not record.has("lens distance"):
        yield Observation(
            "no-lens-distance", "The record of so strong a lens does not say how far from the eye it was."
        )
    was = record.number("lens distance")
    stood = {*_lens_distances(patient, examined), patient.right.vertex_mm}
    if was is not None and examined.end_points and all(abs(was - one) > LENS_OFF_MM for one in stood):
        yield Observation(
            "other-lens-distance",
            f"You wrote the lenses {was:g} mm from the eye; they stood at {_in_mm(patient, examined)}.",
        )


def _lens_distances(patient: Patient, examined: Examined) -> list[float]:
    return sorted(
        {
            patient.eye(side).vertex_mm if one.state.vertex_mm is None else one.state.vertex_mm
            for side in SIDES
            for one in examined.ends_of(side)
        }
    )


def _in_mm(patient: Patient, examined: Examined) -> str:
    return " and ".join(dict.fromkeys(f"{one:.0f} mm" for one in _lens_distances(patient, examined)))


# --- beside it, what a clinic would have written ---------------------------------------------------------------------


def record_lines(patient: Patient, examined: Examined) -> Iterator[RecordLine]:
    """Yield the lines beside the lenses: as written, and as a clinic would have, with the values of what was done."""
    record = examined.record
    if not any(patient.eye(side).unsafe for side in SIDES):
        yield RecordLine("Wet or dry", _drops_written(examined), _drops_done(examined))
        yield RecordLine("Working distance", _distance_written(examined), _distance_done(examined))
        strong = max(patient.eye(side).lens.strongest for side in SIDES) >= STRONG_D
        if strong or record.has("lens distance"):
            was = record.number("lens distance")
            written = "noted" if "lens distance" in record.notes else "not noted"
            yield RecordLine(
                "Lens to eye", written if was is None else f"{was:g} mm", _in_mm(patient, examined) or "not measured"
            )
    yield RecordLine("Reflex", _by_eye(record.entries, "reflex"), _reflexes(patient))
    measured = bool(examined.end_points)
    if (measured and patient.age_y < FIXATION_TO_Y) or "fixation" in record.entries:
        done = "steady when called" if patient.fixation_holds_s >= HOLDS_S else "wandering, called back"
        yield RecordLine("Fixation", record.entries.get("fixation", "not noted"), done)
    written = _by_eye(record.entries, "vision")
    written = "noted" if "vision" in record.notes else written
    test = record.entries.get("test", "")
    written = test if test and written == "not noted" else f"{written}, {test}" if test else written
    yield RecordLine("Vision", written, card_of(patient).vision_words)


HOLDS_S = 20.0
"""A gaze that holds for so long on average, in s, is called steady: ours."""


def _by_eye(entries: dict[str, str], name: str) -> str:
    said = [f"{side} {entries[f'{name} {side}']}" for side in SIDES if f"{name} {side}" in entries]
    return ", ".join(said) or "not noted"


def _reflexes(patient: Patient) -> str:
    right, left = (names_of(patient.eye(side))[0] for side in SIDES)
    return f"{right} in both eyes" if right == left else f"right {right}, left {left}"


def _drops_written(examined: Examined) -> str:
    record = examined.record
    if not record.entries.get("drops") and not record.has("drop"):
        return "drops noted" if record.notes_drops else "not noted"
    said = record.entries.get("drops", WET)
    read = record.number("read at")
    parts = [*_drops_in_words(record.drops), *([] if read is None else [f"read at {clock(read)}"])]
    return f"{said}: {'; '.join(parts)}" if parts else said


def _drops_done(examined: Examined) -> str:
    ends = [one.minute for side in SIDES for one in examined.ends_of(side)]
    given = [one for one in examined.state.drops if not ends or one.minute <= max(ends)]
    if not given:
        return "dry"
    read = [f"read {_span(ends)}"] if ends else []
    return f"wet: {'; '.join([*_drops_in_words(given), *read])}"


def _drops_in_words(drops: tuple[Drop, ...] | list[Drop]) -> list[str]:
    """Write drops as a record has them: both eyes at once where they had the same at the same moment."""
    at: dict[tuple[str, float], list[Side]] = {}
    for one in drops:
        at.setdefault((one.kind, one.minute), []).append(one.side)
    return [
        f"{kind} {'both eyes' if len(sides) == 2 else f'{sides[0]} eye'} at {clock(minute)}"
        for (kind, minute), sides in sorted(at.items(), key=lambda one: one[0][1])
    ]


def _distance_written(examined: Examined) -> str:
    record = examined.record
    was = record.number("distance")
    said = write_distance(was) if was is not None else "noted" if "distance" in record.notes else "not noted"
    taken = dict.fromkeys(f"{record.taken[side]:.2f} D" for side in SIDES if side in record.taken)
    return f"{said}, {' and '.join(taken)} taken off" if taken else f"{said}, nothing taken off"


def _distance_done(examined: Examined) -> str:
    sat = _distances(examined)
    if not sat:
        return "not measured"
    in_frame = any(cell == WORKING for one in examined.end_points for cell, _ in one.state.lenses(one.side))
    worth = " and ".join(dict.fromkeys(f"{round(400 / one) / 4:.2f} D" for one in sat))
    how = "as a working lens" if in_frame else "taken off"
    return f"{' and '.join(map(write_distance, sat))}, {worth} {how}"
