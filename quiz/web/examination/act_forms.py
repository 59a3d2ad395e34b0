"""What a form of an examination asks to be done, read into acts."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from cases.curriculum.bench_stage import SLEEVE
from cases.curriculum.examination_stage import bench_of, reflex_shows
from cases.errors import CaseError
from cases.notation.prescription import read_axis, read_power, read_prescription
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import (
    CYLINDER,
    DRY,
    FAR_M,
    FIXATION,
    HOW_SOON,
    REFLEXES,
    SPHERE,
    TAPE_OFFSETS_CM,
    TESTS,
    WET,
    WORKING,
    What,
)
from cases.patients.examination.card import LOOKS, VISIONS
from cases.patients.patient import SIDES, Side, other
from quiz.practice.examining.examinations import Done, UnderWay
from quiz.practice.forms import BadFields

NEAREST_CM, FARTHEST_CM = 25.0, 120.0
STRONGEST_D, STRONGEST_CYLINDER_D = 20.0, 8.0
OFFERED_DROPS = ("cyclopentolate", "tropicamide")
"""Drops that are given in the examination room; others are begun days before."""
LONGEST_REFERRAL = 200
MOST_DROPS = 6
"""So many instillations a record has room for."""
CLOCK = re.compile(r"(\d{1,3})(?::([0-5]\d))?")
NOTHING_TO_JUDGE = "Too dark to call neutral. Try a strong minus or plus lens."

Given = Mapping[str, str]


def read_form(given: Given, stands: UnderWay) -> list[Done]:
    """Read what is to be done; nothing where it stands so already.

    Raises
    ------
    BadFields
        With the reason at each field that cannot be read.
    """
    reader = _READERS.get(given.get("do", ""))
    if reader is None:
        raise BadFields({"": "nothing of this name can be done here"})
    return reader(given, stands)


def side_of(given: Given) -> Side:
    """Return the eye that a form or an address names; the right one where it names none."""
    return "left" if given.get("eye") == "left" else "right"


def streak_of(given: Given) -> float:
    """Return how the streak lies, in degrees; 180 where that cannot be read."""
    try:
        return read_axis(given.get("streak", "") or "180")
    except CaseError:
        return 180.0


def sleeve_of(given: Given, usual: float) -> float:
    """Return the vergence of the beam in D; the usual one where that cannot be read."""
    try:
        value = float(given.get("sleeve", "").replace("−", "-") or usual)
    except ValueError:
        return usual
    return value if -4 <= value <= 6 else usual


# --- readers -----------------------------------------------------------------------------------------------------


def _one_word(what: What, words: tuple[str, ...]) -> Callable[[Given, UnderWay], list[Done]]:
    def read(given: Given, _: UnderWay) -> list[Done]:
        value = given.get("value", "")
        if value not in words:
            raise BadFields({"": f"give one of {', '.join(words)}"})
        return [(what, value, None)]

    return read


def _target(given: Given, _: UnderWay) -> list[Done]:
    value = given.get("value", "")
    if value in ("face", "off"):
        return [("target", value, None)]
    return [("target", _number(given, "value", 0.3, FAR_M, "m"), None)]


def _seat(given: Given, stands: UnderWay) -> list[Done]:
    cm = _number(given, "cm", NEAREST_CM, FARTHEST_CM, "cm")
    return [] if math.isclose(cm, stands.examined.state.distance_cm) else [("seat", cm, None)]


def _sight(given: Given, _: UnderWay) -> list[Done]:
    h, v = (_number(given, name, -20, 20, "°", empty=0.0) for name in ("h", "v"))
    return [("sight", (h, v), None)]


def _sleeve(given: Given, stands: UnderWay) -> list[Done]:
    crossed = given.get("value") == "converging"
    if crossed == stands.examined.state.converging:
        return []
    return [("sleeve", "converging" if crossed else "parallel", None)]


def _lens(given: Given, stands: UnderWay) -> list[Done]:
    """Read the sphere and the cylinder that the hand has before the eye: what changed becomes an act."""
    side = side_of(given)
    sphere = _number(given, "sphere", -STRONGEST_D, STRONGEST_D, "D", empty=0.0)
    size = _number(given, "cylinder", -STRONGEST_CYLINDER_D, STRONGEST_CYLINDER_D, "D", empty=0.0)
    axis = _axis(given) if size else 180.0
    state = stands.examined.state
    held = dict(state.lenses(side))
    done: list[Done] = []
    if held.get(SPHERE, SphCyl(0)) != SphCyl(sphere):
        done.append(("lens", (SPHERE, SphCyl(sphere)), side))
    cylinder = SphCyl(0, size, axis)
    if held.get(CYLINDER, SphCyl(0)) != (cylinder if size else SphCyl(0)):
        done.append(("lens", (CYLINDER, cylinder), side))
    return done


def _before(cell: str, *, fellow: bool) -> Callable[[Given, UnderWay], list[Done]]:
    def read(given: Given, stands: UnderWay) -> list[Done]:
        side = other(side_of(given)) if fellow else side_of(given)
        power = _number(given, "power", -STRONGEST_D, STRONGEST_D, "D", empty=0.0)
        held = dict(stands.examined.state.lenses(side)).get(cell, SphCyl(0))
        return [] if held == SphCyl(power) else [("lens", (cell, SphCyl(power)), side)]

    return read


def _empty(given: Given, stands: UnderWay) -> list[Done]:
    side = other(side_of(given))
    return [("lens", (cell, SphCyl(0)), side) for cell, _ in stands.examined.state.lenses(side)]


def _frame(given: Given, _: UnderWay) -> list[Done]:
    vertex = _number(given, "vertex", 8, 20, "mm")
    tilt = _number(given, "tilt", 0, 20, "°", empty=0.0)
    off_centre = _number(given, "off-centre", 0, 10, "mm", empty=0.0)
    return [("frame", (vertex, tilt, off_centre), None)]


def _drops(given: Given, __: UnderWay) -> list[Done]:
    kind, _, eyes = given.get("value", "").partition(" ")
    if kind not in OFFERED_DROPS or eyes not in (*SIDES, "both"):
        raise BadFields({"": "say which drops, and in which eye"})
    return [("drops", kind, None if eyes == "both" else "right" if eyes == "right" else "left")]


def _near_check(_: Given, __: UnderWay) -> list[Done]:
    return [("near check", None, side) for side in SIDES]


def _simple(what: What) -> Callable[[Given, UnderWay], list[Done]]:
    return lambda _given, _stands: [(what, None, None)]


def _reflex(given: Given, stands: UnderWay) -> list[Done]:
    side, name = side_of(given), given.get("value", "")
    if name not in REFLEXES:
        raise BadFields({"reflex": "Choose how the reflex looks."})
    was = stands.examined.record.entries.get(f"reflex {side}")
    return [] if was == name else [("entry", ("reflex", name), side)]


def _told(given: Given, _: UnderWay) -> list[Done]:
    return [("told", None, side_of(given))]


def _lean_in(given: Given, _: UnderWay) -> list[Done]:
    return [("lean in", None, side_of(given))]


def _end_point(given: Given, stands: UnderWay) -> list[Done]:
    """Read a call of neutral; refuse it where nothing of the reflex can be judged."""
    side, patient, state = side_of(given), stands.patient, stands.examined.state
    if "white reflex" in patient.eye(side).media:
        raise BadFields({"": "Nothing travels in this pupil: there is nothing to call neutral."})
    streak, sleeve = streak_of(given), sleeve_of(given, SLEEVE)
    bench = bench_of(patient, side, state, stands.minute, streak=streak, sleeve=sleeve)
    if not reflex_shows(patient, side, bench):
        raise BadFields({"": NOTHING_TO_JUDGE})
    return [("end point", streak, side)]


def _wait(given: Given, _: UnderWay) -> list[Done]:
    return [("wait", _number(given, "value", 0.05, 60, "min"), None)]


def _record(given: Given, stands: UnderWay) -> list[Done]:
    """Read the record as a whole: each part that is not as it was becomes an act."""
    record = stands.examined.record
    faults: dict[str, str] = {}
    done: list[Done] = []
    for side in SIDES:
        text = given.get(f"written-{side}", "").strip()
        if not text:
            continue
        try:
            lens = read_prescription(text)
        except CaseError as error:
            faults[f"written-{side}"] = str(error)
            continue
        if record.written.get(side) != lens:
            done.append(("write", lens, side))
    for side in SIDES:
        text = given.get(f"taken-{side}", "").strip()
        try:
            taken = read_power(text) if text else 0.0
        except CaseError as error:
            faults[f"taken-{side}"] = str(error)
            continue
        if not -5 <= taken <= 5:
            faults[f"taken-{side}"] = f"“{text[:20]}”: give what came off, 0 to 5 D"
        elif abs(taken - record.taken.get(side, 0.0)) > 1e-9:
            # Before what was written, so that the log reads as it was worked out.
            done.insert(0, ("take off", taken - record.taken.get(side, 0.0), side))
    if faults:
        raise BadFields(faults)
    return [*done, *_entries(given, stands), *_referral(given, stands)]


def _entries(given: Given, stands: UnderWay) -> list[Done]:
    """Read the values beside the lenses: one that is not as it was becomes an act, and an emptied one too."""
    entries, faults = stands.examined.record.entries, dict[str, str]()
    now: dict[tuple[str, Side | None], str] = {}
    for name, least, most, unit in (("distance", 10, 200, "cm"), ("lens-distance", 5, 30, "mm")):
        if name in given:
            with _kept(faults, name):
                number = _number(given, name, least, most, unit, empty=0.0)
                now[name.replace("-", " "), None] = f"{round(number, 2):g}" if number else ""
    if "read-at" in given:
        with _kept(faults, "read-at"):
            now["read at", None] = _minute(given.get("read-at", ""), "read-at")
    for name, words in (("drops", (DRY, WET)), ("fixation", FIXATION), ("test", TESTS)):
        if given.get(name, "") in ("", *words) and name in given:
            now[name, None] = given[name]
    for side in SIDES:
        if given.get(f"vision-{side}", "-") in ("", *VISIONS, *LOOKS):
            now["vision", side] = given[f"vision-{side}"]
    for row in range(1, MOST_DROPS + 1):
        if f"drop-{row}-kind" in given:
            with _kept(faults, f"drop-{row}-minute"):
                now[f"drop {row}", None] = _drop(given, row)
    if faults:
        raise BadFields(faults)
    return [
        ("entry", (name, text), side)
        for (name, side), text in now.items()
        if entries.get(f"{name} {side}" if side else name, "") != text
    ]


@contextmanager
def _kept(faults: dict[str, str], name: str) -> Iterator[None]:
    """Keep what is wrong with a field under its own name, and go on with the next."""
    try:
        yield
    except BadFields as error:
        faults[name] = next(iter(error.faults.values()))


def _drop(given: Given, row: int) -> str:
    kind, eyes = given.get(f"drop-{row}-kind", ""), given.get(f"drop-{row}-eyes", "")
    minute = _minute(given.get(f"drop-{row}-minute", ""), f"drop-{row}-minute")
    if not kind and not minute:
        return ""
    if kind not in OFFERED_DROPS or eyes not in (*SIDES, "both") or not minute:
        raise BadFields({"": "Give the drug, the eye and the time, for example cyclopentolate, both, 0:30."})
    return f"{kind} {eyes} {minute}"


def _minute(text: str, name: str) -> str:
    """Read a moment of the examination’s clock, minutes or minutes:seconds, as minutes."""
    text = text.strip()
    if not text:
        return ""
    found = CLOCK.fullmatch(text)
    if found is None:
        raise BadFields({name: f"“{text[:20]}”: give the clock as minutes and seconds, for example 12:30."})
    return f"{round(int(found[1]) + int(found[2] or 0) / 60, 3):g}"


def _referral(given: Given, stands: UnderWay) -> list[Done]:
    """Read how soon a patient is referred, and why; a reason alone does not say whether it can wait."""
    record = stands.examined.record
    reason = given.get("refer", "").strip()[:LONGEST_REFERRAL]
    soon = given.get("how-soon", "")
    if not reason and not soon:
        return []
    if soon not in HOW_SOON:
        raise BadFields({"refer": "Say how soon: today, soon or routine."})
    reason = reason or "no reason given"
    done: list[Done] = [("refer", reason, None)] if reason != record.referred else []
    return done + ([("how soon", soon, None)] if soon != record.how_soon else [])


_READERS: dict[str, Callable[[Given, UnderWay], list[Done]]] = {
    "room": _one_word("room", ("lit", "dim", "dark")),
    "target": _target,
    "seat": _seat,
    "tape": _one_word("tape", tuple(TAPE_OFFSETS_CM)),
    "own-eye": _one_word("own eye", SIDES),
    "own-glass": _one_word("own glass", ("on", "off")),
    "sight": _sight,
    "sleeve": _sleeve,
    "zone": _one_word("zone", ("centre", "whole", "upper", "lower")),
    "lens": _lens,
    "fog": _before(SPHERE, fellow=True),
    "working": _before(WORKING, fellow=False),
    "empty-other": _empty,
    "frame": _frame,
    "drops": _drops,
    "near-check": _near_check,
    "pupil-noted": _simple("pupil noted"),
    "call": _simple("call"),
    "lean-in": _lean_in,
    "reflex": _reflex,
    "told": _told,
    "asked": _simple("asked"),
    "end-point": _end_point,
    "wait": _wait,
    "record": _record,
}


def _number(given: Given, name: str, low: float, high: float, unit: str, *, empty: float | None = None) -> float:
    text = given.get(name, "").strip()
    if not text and empty is not None:
        return empty
    try:
        value = float(text.replace("−", "-").replace(",", "."))
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise BadFields({name: f"“{text[:20]}”: give {low:g} to {high:g} {unit}".replace("-", "−")})
    return value


def _axis(given: Given) -> float:
    try:
        return read_axis(given.get("axis", "") or "180")
    except CaseError as error:
        raise BadFields({"axis": str(error)}) from error
