"""What is done in an examination: acts in order of time, and what stands after them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Side

What = Literal[
    "room",
    "target",
    "seat",
    "sight",
    "own eye",
    "own glass",
    "tape",
    "sleeve",
    "lens",
    "frame",
    "drops",
    "near check",
    "pupil noted",
    "call",
    "zone",
    "lean in",
    "end point",
    "take off",
    "write",
    "note",
    "entry",
    "told",
    "refer",
    "how soon",
    "asked",
    "wait",
]
Value = float | str | SphCyl | tuple[float, ...] | tuple[str, ...] | tuple[str, SphCyl] | None

FAR_M = 6.0
"""A far target: what a room of usual length allows."""
TAPE_OFFSETS_CM = {"eye": 0.0, "brow": -5.0, "ear": 8.0}
"""How much longer than from the eye the tape reads from there to the sight hole, in cm: ours."""
DROPS = ("cyclopentolate", "tropicamide", "atropine")
HOW_SOON = ("today", "soon", "routine")
NOTES = ("distance", "drops", "time of drops", "vision", "lens distance")
"""What a record once ticked, in examinations that were kept so; now their values are written."""
Entry = Literal["distance", "lens distance", "drops", "drop", "read at", "reflex", "fixation", "vision", "test"]
"""What a record holds beside the lenses; `ExaminationRecord.entries` says how each is written."""
ENTRIES: tuple[Entry, ...] = get_args(Entry)
DRY, WET = "dry", "wet"
REFLEXES = ("clear", "dull", "scissors", "dark in places", "middle differs", "glints", "white", "none")
"""Names of a reflex in a record: common practice, no published source."""
FIXATION = ("steady", "wandering", "poor")
TESTS = ("letter chart", "letters matched", "pictures named", "fixing and following")
"""How vision was tested: common practice, no published source."""
SPHERE, CYLINDER = "sphere", "cylinder"
"""Cells of the trial frame that a hand changes at the bench; the sphere of the other eye may fog it."""
WORKING = "working"
"""The cell of the trial frame whose lens stands for the working distance and is left out of the sum."""


NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,4})?")
DROP_ENTRY = re.compile(r"drop \d{1,2}")
DROP = re.compile(r"[a-z]{1,20} (?:right|left|both) \d{1,4}(?:\.\d{1,4})?")


class BadAct(CaseError):
    """An act that cannot be done, with what would be right."""

    def __init__(self, act: Act, rule: str) -> None:
        super().__init__(f"{act.what} {act.value}: {rule}")


@dataclass(frozen=True)
class Act:
    """One thing done, this many minutes after the start; `side` is the eye it was done to, None for both or neither.

    room: "lit", "dim" or "dark". target: its distance in m, "face" (the examiner's) or "off". seat: eye to sight hole
    in cm. sight: degrees off the visual axis, (to the examiner's right, up). own eye: the examiner's, "right" or
    "left". own glass: "on" or "off", what the examiner wears for this distance. tape: where it was held at the
    patient, of `TAPE_OFFSETS_CM`. sleeve: "parallel" or "converging". lens: (cell, lens) before that eye; a lens of
    zero empties the cell. frame: (mm from the cornea, tilt in degrees, mm off centre). drops: which of `DROPS`;
    never how much. zone: part of the pupil judged: "centre", "whole", "upper" or "lower". end point: the streak in
    degrees at which it was called neutral. take off: D taken off for the distance. write: the lens written. note: one
    of `NOTES`. entry: (one of `ENTRIES`, what is written there). refer: why. how soon: of `HOW_SOON`. wait: minutes.
    Told (asked what the reflex is called), asked (what local rules want asked and looked at before drops), near check,
    pupil noted, lean in and call (for the patient's gaze) have no value.
    """

    minute: float
    what: What
    value: Value = None
    side: Side | None = None


TAKES_MIN: dict[What, float] = {
    "room": 0.1,
    "target": 0.1,
    "seat": 0.05,
    "tape": 0.1,
    "lens": 0.08,
    "frame": 0.2,
    "drops": 0.5,
    "near check": 0.2,
    "call": 0.02,
    "lean in": 0.04,
    "end point": 0.04,
    "write": 0.2,
}
"""How long an act takes in minutes; any other 0.03. Ours: what counts is that drops and gaze have a clock."""
OTHERWISE_MIN = 0.03


def minute_after(acts: Sequence[Act]) -> float:
    """Return the minute of an examination at which its next act begins."""
    if not acts:
        return 0.0
    last = acts[-1]
    takes = float(last.value) if last.what == "wait" and isinstance(last.value, int | float) else None
    return last.minute + (TAKES_MIN.get(last.what, OTHERWISE_MIN) if takes is None else takes)


@dataclass(frozen=True)
class Drop:
    """Drops put into one eye: which, and at what minute."""

    side: Side
    kind: str
    minute: float


@dataclass(frozen=True)
class State:
    """The room, the frame and the examiner's place at one moment. Units as in `Act`."""

    room: str = "lit"
    target: float | Literal["face", "off"] = "face"
    distance_cm: float = 67.0
    sight: tuple[float, float] = (0.0, 0.0)
    own_eye: Side | None = None
    """None: the one on the patient's side that is measured, as it should be."""
    converging: bool = False
    zone: str = "centre"
    vertex_mm: float | None = None
    """Cornea to the trial lenses; None: as far as the eye's own prescription plane."""
    tilt_deg: float = 0.0
    decentred_mm: float = 0.0
    cells: tuple[tuple[Side, str, SphCyl], ...] = ()
    drops: tuple[Drop, ...] = ()
    called: float | None = None
    """The minute at which the patient was last called to look."""

    def lenses(self, side: Side) -> tuple[tuple[str, SphCyl], ...]:
        """Return the lenses before an eye, each with its cell."""
        return tuple((cell, lens) for one, cell, lens in self.cells if one == side)

    def sum_of_lenses(self, side: Side) -> SphCyl:
        """Return their nominal sum, as marked on their rims."""
        total = SphCyl(0)
        for _, lens in self.lenses(side):
            total = total + lens
        return total


@dataclass(frozen=True)
class EndPoint:
    """A meridian called neutral: when, in which eye, with the streak at how many degrees, and the state of all else."""

    minute: float
    side: Side
    streak: float
    state: State


@dataclass(frozen=True)
class ExaminationRecord:
    """What was written, and what was done that the record rests on."""

    written: dict[Side, SphCyl] = field(default_factory=dict)
    taken: dict[Side, float] = field(default_factory=dict)
    notes: frozenset[str] = frozenset()
    entries: dict[str, str] = field(default_factory=dict)
    """Values beside the lenses: "distance" in cm, "lens distance" in mm, "drops" dry or wet, "drop 1" and so on as
    kind, eye and minute, "read at" in minutes, "reflex right" of `REFLEXES`, "fixation", "vision right", "test"."""
    referred: str = ""
    how_soon: str = ""
    """"" where no referral says so: those that were kept before it was asked."""

    def has(self, name: str) -> bool:
        """Say whether something is in the record: its value, or the tick of a record that was kept with ticks."""
        return name in self.notes or any(key == name or key.startswith(f"{name} ") for key in self.entries)

    @property
    def notes_drops(self) -> bool:
        """Say whether it has which drops were given, and when."""
        return {"drops", "time of drops"} <= self.notes or self.has("drop")

    def number(self, name: str) -> float | None:
        """Return what is written there as a number; None where nothing is."""
        return float(self.entries[name]) if name in self.entries else None

    @property
    def drops(self) -> tuple[Drop, ...]:
        """Return the drops that are written down, one for each eye, with their minute."""
        out: list[Drop] = []
        for name, text in sorted(self.entries.items()):
            if name.startswith("drop "):
                kind, eyes, minute = text.split(" ")
                out += [Drop(side, kind, float(minute)) for side in SIDES if eyes in (side, "both")]
        return tuple(out)

    @property
    def referred_at_once(self) -> bool:
        """Say whether the patient was referred, and not for another day."""
        return bool(self.referred) and self.how_soon in ("", HOW_SOON[0])


@dataclass(frozen=True)
class Examined:
    """An examination read from its acts."""

    acts: tuple[Act, ...]
    state: State
    end_points: tuple[EndPoint, ...]
    record: ExaminationRecord

    def ends_of(self, side: Side) -> tuple[EndPoint, ...]:
        """Return the end points that count for an eye: the last, and the last of another meridian, oldest first."""
        mine = [one for one in self.end_points if one.side == side]
        if not mine:
            return ()
        last = mine[-1]
        others = [one for one in mine if 45 <= abs(one.streak - last.streak) % 180 <= 135]
        return (others[-1], last) if others else (last,)

    def did(self, what: What, side: Side | None = None) -> tuple[Act, ...]:
        """Return the acts of a sort, to one eye or to both."""
        return tuple(one for one in self.acts if one.what == what and (side is None or one.side in (None, side)))


def read_acts(acts: Sequence[Act]) -> Examined:
    """Fold acts into what stands after them.

    Raises
    ------
    BadAct
        When one has a value that it cannot have, or comes before the one above it.
    """
    state, record = State(), ExaminationRecord()
    ends: list[EndPoint] = []
    minute = 0.0
    for act in acts:
        if act.minute < minute:
            raise BadAct(act, f"it comes after minute {minute:g}: give acts in order of time")
        minute = act.minute
        state = _state_after(state, act)
        if act.what == "end point":
            ends.append(EndPoint(act.minute, _side(act), _number(act) % 180 or 180.0, state))
        record = _record_after(record, act)
    return Examined(tuple(acts), state, tuple(ends), record)


def _state_after(state: State, act: Act) -> State:
    match act.what:
        case "room":
            return replace(state, room=_word(act, ("lit", "dim", "dark")))
        case "target":
            target: float | Literal["face", "off"]
            target = "face" if act.value == "face" else "off" if act.value == "off" else _number(act)
            return replace(state, target=target)
        case "seat":
            return replace(state, distance_cm=_number(act))
        case "sight":
            h, v = _numbers(act, 2)
            return replace(state, sight=(h, v))
        case "own eye":
            return replace(state, own_eye="right" if _word(act, SIDES) == "right" else "left")
        case "sleeve":
            return replace(state, converging=_word(act, ("parallel", "converging")) == "converging")
        case "zone":
            return replace(state, zone=_word(act, ("centre", "whole", "upper", "lower")))
        case "frame":
            vertex, tilt, off = _numbers(act, 3)
            return replace(state, vertex_mm=vertex, tilt_deg=tilt, decentred_mm=off)
        case "lens":
            return replace(state, cells=_cells_after(state, act))
        case "drops":
            kind = _word(act, DROPS)
            sides = SIDES if act.side is None else (act.side,)
            return replace(state, drops=(*state.drops, *(Drop(side, kind, act.minute) for side in sides)))
        case "call":
            return replace(state, called=act.minute)
    return state


def _cells_after(state: State, act: Act) -> tuple[tuple[Side, str, SphCyl], ...]:
    side = _side(act)
    if not (isinstance(act.value, tuple) and len(act.value) == 2 and isinstance(act.value[1], SphCyl)):
        raise BadAct(act, 'give a cell and a lens, such as ("sphere", SphCyl(1.5))')
    cell, lens = f"{act.value[0]}", act.value[1]
    kept = tuple(one for one in state.cells if one[:2] != (side, cell))
    return kept if lens.strongest == 0 else (*kept, (side, cell, lens))


def _record_after(record: ExaminationRecord, act: Act) -> ExaminationRecord:
    match act.what:
        case "take off":
            by = _number(act)
            sides = SIDES if act.side is None else (act.side,)
            return replace(record, taken={**record.taken, **{one: record.taken.get(one, 0.0) + by for one in sides}})
        case "write":
            if not isinstance(act.value, SphCyl):
                raise BadAct(act, "give the lens that was written")
            return replace(record, written={**record.written, _side(act): act.value})
        case "note":
            return replace(record, notes=record.notes | {_word(act, NOTES)})
        case "entry":
            return replace(record, entries=_entries_after(record.entries, act))
        case "refer":
            return replace(record, referred=f"{act.value}")
        case "how soon":
            return replace(record, how_soon=_word(act, HOW_SOON))
    return record


_WORDS_OF: dict[Entry, tuple[str, ...]] = {
    "drops": (DRY, WET),
    "reflex": REFLEXES,
    "fixation": FIXATION,
    "test": TESTS,
}
_IN_NUMBERS: tuple[Entry, ...] = ("distance", "lens distance", "read at")


def _entries_after(entries: dict[str, str], act: Act) -> dict[str, str]:
    if not (isinstance(act.value, tuple) and len(act.value) == 2 and all(isinstance(one, str) for one in act.value)):
        raise BadAct(act, 'give what is written and where, such as ("distance", "67")')
    name, text = f"{act.value[0]}", f"{act.value[1]}"
    kind = next((one for one in ENTRIES if name == one or (one == "drop" and DROP_ENTRY.fullmatch(name))), None)
    if kind is None or name == "drop":
        raise BadAct(act, f"give one of {', '.join(ENTRIES)}")
    key = f"{name} {_side(act)}" if kind in ("reflex", "vision") else name
    if not text:
        return {one: was for one, was in entries.items() if one != key}
    good = text in _WORDS_OF[kind] if kind in _WORDS_OF else True
    good = good and (kind not in _IN_NUMBERS or NUMBER.fullmatch(text) is not None)
    if not good or (kind == "drop" and not DROP.fullmatch(text)):
        raise BadAct(act, f"this cannot be written as {name}")
    return {**entries, key: text}


def _side(act: Act) -> Side:
    if act.side is None:
        raise BadAct(act, "say to which eye: right or left")
    return act.side


def _number(act: Act) -> float:
    if not isinstance(act.value, int | float):
        raise BadAct(act, "give a number")
    return float(act.value)


def _numbers(act: Act, count: int) -> tuple[float, ...]:
    if not (isinstance(act.value, tuple) and len(act.value) == count):
        raise BadAct(act, f"give {count} numbers")
    found = [one for one in act.value if isinstance(one, int | float)]
    if len(found) != count:
        raise BadAct(act, f"give {count} numbers")
    return tuple(float(one) for one in found)


def _word(act: Act, words: Sequence[str]) -> str:
    if act.value not in words:
        raise BadAct(act, f"give one of {', '.join(words)}")
    return f"{act.value}"
