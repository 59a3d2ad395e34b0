"""A retinoscopy record as it stands on the card, blanks and all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cases.figures.pen import SMALL, TEXT, Pen, text_width
from cases.procedure.figure import Figure

COLUMNS = (("sphere", 46.0, 116.0), ("cylinder", 162.0, 90.0), ("axis", 252.0, 58.0))
TOP, ROW = 30.0, 34.0


def record_card(right: Mapping[str, str], left: Mapping[str, str], notes: Sequence[str] = (), *, uid: str) -> Figure:
    """Draw a record of both eyes: what is written for sphere, cylinder and axis, and the notes under it, as they stand.

    right, left: texts by "sphere", "cylinder" and "axis"; an empty one leaves its place blank.
    """
    pen = Pen()
    for name, start, wide in COLUMNS:
        pen.text(start + wide / 2, TOP - 10, name, size=SMALL)
    bottom = TOP + 2 * ROW
    for level in range(3):
        pen.line((10, TOP + level * ROW), (310, TOP + level * ROW), weight=1.2)
    for _, start, _ in COLUMNS:
        pen.line((start, TOP), (start, bottom), "faint", weight=1)
    facts = []
    for row, (letter, eye, entry) in enumerate((("R", "Right", right), ("L", "Left", left))):
        y = TOP + row * ROW + 23
        pen.text(26, y, letter)
        for name, start, wide in COLUMNS:
            if entry[name]:
                pen.text(start + wide / 2, y, fitted(entry[name], wide - 8), kind="number")
        written = ", ".join(f"{name} {entry[name] or 'left blank'}" for name, _, _ in COLUMNS)
        facts.append(f"{eye} eye: {written}.")
    y = bottom + 8
    for note in notes:
        y += 20
        pen.text(12, y, fitted(note, 296, SMALL), size=SMALL, anchor="start")
    facts.append("Under it: " + "; ".join(notes) + "." if notes else "Nothing is written under it.")
    return pen.figure(uid=uid, title="The record", description=" ".join(facts), height=y + 12)


def fitted(words: str, room: float, size: float = TEXT) -> str:
    """Shorten a text to the room that it has, in units of the drawing, with an ellipsis for what is left out."""
    short = words
    while short and text_width(short + ("…" if short != words else ""), size) > room:
        short = short[:-1]
    return short if short == words else short + "…"
