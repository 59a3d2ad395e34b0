"""Acts in words, as the log of an examination lists them."""

from __future__ import annotations

from collections.abc import Sequence

from cases.notation.prescription import write_axis, write_distance, write_prescription
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import Act
from cases.patients.patient import Side

_FIXED = {
    "asked": "Asked and looked at what local rules want before drops",
    "call": "Called “look over there”",
    "told": "Asked what the reflex is called",
    "pupil noted": "Judged the drops by the pupil",
    "lean in": "Leaned in to check neutral",
    "near check": "Checked from far to near",
}
_CELLS = {"sphere": "", "cylinder": "", "fog": " to fog", "working": " for the working distance"}


def clock(minute: float) -> str:
    """Write a moment of the examination's clock as minutes and seconds."""
    seconds = round(minute * 60)
    return f"{seconds // 60}:{seconds % 60:02d}"


def log_lines(acts: Sequence[Act], looking: Side = "right") -> tuple[tuple[str, str], ...]:
    """Return acts with their clock and words, in order, and each lens with what it was for.

    A sphere is for the eye before which it stands where that eye is judged next, and fogs where the other one is.
    looking: the eye that is looked at now, where nothing has been judged since.
    """
    out: list[tuple[str, str]] = []
    judged = looking
    for act in reversed(acts):
        judged = act.side if act.what in ("end point", "lean in") and act.side else judged
        out.append((clock(act.minute), _lens_words(act, judged) or act_words(act)))
    return tuple(reversed(out))


def _lens_words(act: Act, judged: Side) -> str:
    match act.value:
        case (str(cell), SphCyl() as lens) if act.what == "lens" and lens.strongest:
            fogs = cell == "fog" or (cell == "sphere" and act.side != judged)
            use = "Working lens" if cell == "working" else "To fog:" if fogs else "Trial lens"
            return f"{use} {write_prescription(lens, 'as-is')}, {act.side} eye"
    return ""


def act_words(act: Act) -> str:
    """Say what was done, without its moment."""
    eye = f", {act.side} eye" if act.side else ""
    return f"{_done(act)}{eye}"


def _done(act: Act) -> str:
    value = act.value
    match act.what, value:
        case "room", str():
            return f"Room {value}"
        case "target", "face":
            return "Target: your face"
        case "target", "off":
            return "No target"
        case "target", float() | int():
            return f"Target {value:g} m away"
        case "seat", float() | int():
            return f"Sat at {write_distance(float(value))}"
        case "sight", (float() as h, float() as v):
            return _sight(h, v)
        case "own eye", str():
            return f"Looked with your {value} eye"
        case "own glass", str():
            return "Put on a glass for this distance" if value == "on" else "Took your glass off"
        case "tape", str():
            return f"Tape from the {value}"
        case "sleeve", str():
            return f"Sleeve {value}"
        case "zone", str():
            return "Judged the whole pupil" if value == "whole" else f"Judged the {value} of the pupil"
        case "lens", (str() as cell, SphCyl() as lens):
            if lens.strongest == 0:
                return f"Took the {cell} out" if cell in ("sphere", "cylinder") else f"Took the lens{_CELLS[cell]} out"
            return f"{write_prescription(lens, 'as-is')}{_CELLS.get(cell, '')}"
        case "frame", (float() as vertex, float() as tilt, float() as off):
            askew = (f", tilted {tilt:g}°" if tilt else "") + (f", {off:g} mm off centre" if off else "")
            return f"Trial frame {vertex:g} mm from the eye{askew}"
        case "drops", str():
            return f"Drops: {value}" + ("" if act.side else ", both eyes")
        case "end point", float() | int():
            return f"Neutral with the streak at {write_axis(float(value))}°, along {write_axis(across(float(value)))}°"
        case "take off", float() | int():
            word = "Took off" if value >= 0 else "Put back"
            return f"{word} {abs(value):.2f} D for the distance" + ("" if act.side else ", both eyes")
        case "write", SphCyl():
            return f"Wrote {write_prescription(value)}"
        case "note", str():
            return f"Noted: {value}"
        case "entry", (str() as name, str() as text):
            return _entry(name, text)
        case "refer", str():
            return f"Referred: {value}"
        case "how soon", str():
            return f"Referral: {value}"
        case "wait", float() | int():
            return f"Waited {value:g} min" if value >= 1 else f"Waited {round(60 * value)} s"
    return _FIXED.get(act.what, act.what)


_UNITS = {"distance": " cm", "lens distance": " mm"}


def _entry(name: str, text: str) -> str:
    if not text:
        return f"Took out of the record: {name}"
    if name == "read at":
        return f"Wrote read at {clock(float(text))}"
    if name.startswith("drop "):
        kind, eyes, minute = text.split(" ")
        return f"Wrote {kind}, {eyes} {'eyes' if eyes == 'both' else 'eye'}, at {clock(float(minute))}"
    return f"Wrote {name}: {text}{_UNITS.get(name, '')}"


def _sight(h: float, v: float) -> str:
    if not h and not v:
        return "Looked along the visual axis"
    parts = [f"{abs(h):g}° to your {'right' if h > 0 else 'left'}"] if h else []
    parts += [f"{abs(v):g}° {'above' if v > 0 else 'below'}"] if v else []
    return f"Looked from {' and '.join(parts)}"
