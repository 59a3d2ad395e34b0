"""Drawing a record of two eyes and spoiling it, for the audit in checking_records."""

from __future__ import annotations

from typing import NamedTuple

from cases.curriculum.drawn_eyes import ANYBODY, Sought, as_recorded, first_fitting
from cases.curriculum.record_faults import all_faults
from cases.curriculum.steps import mirrored, pick_axis, pick_distance
from cases.notation.prescription import write_axis, write_power
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Patient
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

Line = dict[str, str]

IN_A_LINE = ("sign-missing", "axis-missing", "cylinder-missing", "axis-off-dial", "line-open", "off-step")
IN_THE_WHOLE = ("forms-mixed", "eyes-swapped", "net-unsaid", "distance-unsaid", "drops-unsaid", "time-unsaid")
COUNTS = {"novice": (0, 1, 1, 2), "competent": (0, 1, 2, 2, 3), "expert": (0, 2, 2, 3, 3)}
"""How many faults a record has."""


_BASES = {(False, False): "net-from", (False, True): "net", (True, False): "from", (True, True): "unsaid"}
"""What the card says of net and distance, by whether it leaves out either."""


class Record(NamedTuple):
    """What was found in two eyes, by "right" and "left", and what their card says of it."""

    found: dict[str, SphCyl]
    lines: dict[str, Line]
    basis: str
    drops: str
    distance_cm: float


def draw_record(chance: Chance, settings: Settings) -> Record:
    """Draw what was found in two eyes, and a card that says it with zero to three faults."""
    count = chance.among(COUNTS[settings.level])
    while True:
        record = _spoilt(chance.shuffled([*IN_A_LINE, *IN_THE_WHOLE])[:count], chance, settings)
        faults = all_faults(record.lines, record.found, record.basis, record.drops)
        if len({fault for fault, _ in faults}) == count:
            return record


def _spoilt(wanted: list[str], chance: Chance, settings: Settings) -> Record:
    right, left = _two_eyes(chance, settings, swapped="eyes-swapped" in wanted)
    lines = {"right": _line(right, chance), "left": _line(_in_other_form(left, wanted), chance)}
    names = chance.shuffled(["right", "left"])
    for place, fault in enumerate(one for one in wanted if one in IN_A_LINE):
        _spoil(lines[names[place % 2]], fault, chance)
    if "eyes-swapped" in wanted:
        lines = {"right": lines["left"], "left": lines["right"]}
    return Record(
        {"right": right, "left": left},
        lines,
        _BASES["net-unsaid" in wanted, "distance-unsaid" in wanted],
        _drops(wanted, chance),
        pick_distance(chance, settings),
    )


def _in_other_form(lens: SphCyl, wanted: list[str]) -> SphCyl:
    return lens.transposed() if "forms-mixed" in wanted and lens.cylinder else lens


def _drops(wanted: list[str], chance: Chance) -> str:
    if "drops-unsaid" in wanted:
        return "unsaid"
    return "untimed" if "time-unsaid" in wanted else chance.among(("none", "timed"))


def _two_eyes(chance: Chance, settings: Settings, *, swapped: bool) -> tuple[SphCyl, SphCyl]:
    """Draw both eyes of a patient: so unlike, where lines are exchanged, that it shows whatever else is wrong."""

    def fits(patient: Patient) -> tuple[SphCyl, SphCyl] | None:
        right, left = (as_recorded(patient.eye(side).lens, settings) for side in SIDES)
        if max(right.strongest, left.strongest) > 9 or (swapped and not _unlike(right, left)):
            return None
        return right.in_form(settings.form), left.in_form(settings.form)

    found = first_fitting(chance, settings, fits, UNEQUAL if swapped else ANYBODY)
    return found or _evenly_drawn(chance, settings)


UNEQUAL = Sought(strata=("unequal eyes over 1.50 D",))


def _unlike(right: SphCyl, left: SphCyl) -> bool:
    return all(abs(a - b) >= 1 for a in _sizes(right) for b in _sizes(left))


def _evenly_drawn(chance: Chance, settings: Settings) -> tuple[SphCyl, SphCyl]:
    while True:
        axis = 180.0 if chance.happens(0.25) else pick_axis(chance, settings)
        right = _eye(chance, settings, axis)
        left = _eye(chance, settings, axis_of(mirrored(axis)))
        if _unlike(right, left):
            return right, left


def _eye(chance: Chance, settings: Settings, axis: float) -> SphCyl:
    sphere = 0.0 if chance.happens(0.2) else chance.stepped(-5, 5)
    if chance.happens(0.25):
        return SphCyl(sphere or 1.25)
    return SphCyl(sphere, -chance.stepped(0.5, 2.5), axis).in_form(settings.form)


def _sizes(lens: SphCyl) -> tuple[float, float]:
    return abs(lens.minus_form().sphere), abs(lens.plus_form().sphere)


def _line(lens: SphCyl, chance: Chance) -> Line:
    sphere = write_power(lens.sphere)
    if not lens.cylinder:
        return {"sphere": f"{sphere} DS", "cylinder": "", "axis": ""}
    if lens.sphere == 0 and chance.happens(0.5):
        sphere = "plano"
    return {"sphere": sphere, "cylinder": write_power(lens.cylinder), "axis": write_axis(lens.axis)}


def _spoil(line: Line, fault: str, chance: Chance) -> None:
    """Put a fault into one eye's line, where that line can have it."""
    toric = bool(line["cylinder"])
    cell = chance.among(("sphere", "cylinder")) if toric else "sphere"
    if fault == "sign-missing":
        line[cell] = line[cell].lstrip("+−")
    elif fault == "off-step":
        line[cell] = line[cell].replace(".25", ".30").replace(".50", ".55").replace(".75", ".70")
    elif fault == "line-open" and not toric:
        line["sphere"] = line["sphere"].removesuffix(" DS")
    elif fault == "axis-missing" and toric:
        line["axis"] = ""
    elif fault == "cylinder-missing" and toric:
        line["cylinder"] = ""
    elif fault == "axis-off-dial" and line["axis"]:
        axis = int(line["axis"])
        line["axis"] = "0" if axis == 180 else str(axis + 180)
