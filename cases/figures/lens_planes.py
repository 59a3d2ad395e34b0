"""Lenses that change place or stand in two planes: moved along the line of sight, on the eye, or turned on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from cases.errors import OutOfRange
from cases.figures.parts import lens_profile, measure, profile
from cases.figures.pen import SMALL, WIDTH, Pen, engraved, points, toward
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

MOST_LINES = 8


def vertex(lens: SphCyl, *, toward_eye_mm: float, uid: str, acts_as: SphCyl | None = None) -> Figure:
    """Draw a lens, solid, and the plane it is moved to, dashed, before the eye; not to scale.

    toward_eye_mm: how far the new plane is nearer the eye; negative when farther. acts_as: the lens that acts alike
    there, written when given; otherwise a question mark stands in its place.

    Raises
    ------
    OutOfRange
        For a move of zero.
    """
    if not (math.isfinite(toward_eye_mm) and toward_eye_mm):
        raise OutOfRange("move", f"{toward_eye_mm:g} mm", "a lens moves by more or less than 0 mm")
    pen, mid = Pen(), 60.0
    profile(pen, 98, mid, 42)
    near, far = 132.0, 252.0
    start, end = (far, near) if toward_eye_mm > 0 else (near, far)
    lens_profile(pen, start, mid, lens, tall=40)
    lens_profile(pen, end, mid, lens, tall=40, kind="mine")
    run = 1 if end > start else -1
    pen.arrow((start + 20 * run, mid), (end - 20 * run, mid))
    y = mid + 58
    measure(pen, near, far, y)
    size = f"{abs(toward_eye_mm):g} mm"
    pen.text((near + far) / 2, y + 22, size, kind="number")
    told = "?" if acts_as is None else engraved(acts_as)
    for kind, words in (("truth", engraved(lens)), ("mine", told)):
        y += 26 if kind == "mine" else 54
        pen.line((20, y - 5), (58, y - 5), kind, weight=2)
        pen.text(70, y, words, anchor="start", kind="number")
    way = "toward the eye" if toward_eye_mm > 0 else "away from the eye"
    facts = f"A lens {engraved(lens)} is moved {size} {way}. "
    facts += (
        "The equivalent power in the new plane is asked." if acts_as is None else f"There {told} has the same effect."
    )
    return pen.figure(uid=uid, title="A lens in another plane", description=facts, height=y + 12)


def over_contact_lens(
    over: SphCyl, told: Sequence[tuple[str, str]], *, uid: str, vertex_mm: float | None = None
) -> Figure:
    """Draw a contact lens on the eye and a trial lens before it, and list what is known of them; not to scale.

    over: the trial lens. told: what is written under the drawing, a (name, value) pair a line, at most 8. vertex_mm:
    when given, the distance in mm from the cornea to the trial lens is drawn and written.

    Raises
    ------
    OutOfRange
        For more than 8 lines, or for a vertex distance that is not above 0.
    """
    if len(told) > MOST_LINES:
        raise OutOfRange("lines under the drawing", str(len(told)), f"at most {MOST_LINES}")
    if vertex_mm is not None and not (math.isfinite(vertex_mm) and vertex_mm > 0):
        raise OutOfRange("vertex distance", f"{vertex_mm:g} mm", "it must be above 0")
    pen, mid, cornea, far = Pen(), 62.0, 110.0, 232.0
    profile(pen, cornea, mid, 42)
    _contact_lens(pen, cornea, mid)
    lens_profile(pen, far, mid, over, tall=40)
    y = mid + 58
    facts = "A contact lens on the eye and a trial lens before it."
    if vertex_mm is not None:
        measure(pen, cornea, far, y)
        pen.text((cornea + far) / 2, y + 22, f"{vertex_mm:g} mm", kind="number")
        facts += f" The trial lens is {vertex_mm:g} mm before the cornea."
        y += 26
    for name, value in told:
        y += 24
        pen.text(20, y, name, size=SMALL, anchor="start")
        pen.text(300, y, value, anchor="end", kind="number")
        facts += f" {name[:1].upper()}{name[1:]}: {value}."
    return pen.figure(uid=uid, title="A trial lens over a contact lens", description=facts, height=y + 14)


def _contact_lens(pen: Pen, cornea: float, mid: float) -> None:
    """Draw a thin bowl just before the cornea."""
    edge, half = cornea - 11, 27.0
    for apex in (cornea + 4, cornea + 9):
        sag = apex - edge
        radius = (half**2 + sag**2) / (2 * sag)
        pen.path(
            f"M{points((edge, mid - half))}A{radius:.1f} {radius:.1f} 0 0 1 {points((edge, mid + half))}", weight=1.8
        )


def toric_rotation(turned: float, side: Literal["left", "right"], *, uid: str) -> Figure:
    """Draw a toric contact lens on the eye, its 6-o'clock mark turned by degrees to the examiner's left or right.

    Raises
    ------
    OutOfRange
        For a turn outside 0..90.
    """
    if not 0 <= turned <= 90:
        raise OutOfRange("rotation", f"{turned:g}", "give 0 to 90 degrees and a side")
    pen, centre, rim = Pen(), (WIDTH / 2, 112.0), 92.0
    pen.circle(centre, 66, weight=1.8)
    pen.circle(centre, 26, weight=1.8)
    pen.circle(centre, rim, weight=1.2)
    below = 270 + (-turned if side == "left" else turned)
    pen.line(toward(270, 30, centre), toward(270, rim + 14, centre), "mine")
    pen.line(toward(below, rim - 20, centre), toward(below, rim + 4, centre), weight=4)
    if turned:
        pen.line(toward(below, 30, centre), toward(below, rim - 20, centre))
        sweep = 1 if side == "left" else 0
        pen.path(f"M{points(toward(270, 50, centre))}A50 50 0 0 {sweep} {points(toward(below, 50, centre))}")
    pen.text(12, 18, "examiner's left", size=SMALL, anchor="start")
    pen.text(308, 18, "right", size=SMALL, anchor="end")
    words = f"mark {turned:g}° to the {side}" if turned else "mark at 6 o'clock"
    pen.text(WIDTH / 2, centre[1] + rim + 40, words, kind="number")
    facts = "A toric contact lens on the eye as the examiner faces the patient. Its 6-o'clock mark stands "
    facts += f"{turned:g} degrees to the examiner's {side}." if turned else "at 6 o'clock."
    return pen.figure(uid=uid, title="A toric contact lens on the eye", description=facts, height=centre[1] + rim + 52)
