"""The pen that every drawing shares: lines, labels, escaping, and the Figure that comes out.

What is drawn stands in the files beside this one, each named for its subject; parts.py has what several of them draw.

Every drawing is 320 units wide unless it says otherwise, uses `currentColor` only and carries no style of its own, so
that it prints and works on a dark page unaided. A stylesheet may refine these classes (`.fig {width: 100%; height:
auto}` makes it fluid):

    fig     the svg itself                    ink     an ordinary line
    truth   solid: the right lens             mine    dashed: the learner's own, or what was assumed
    faint   a guide: scale, rim, eye level    lit     a place where light is seen (reflex, streak)
    arrow   a movement                        label   words that name a part
    number  words that carry a quantity       hatch   the strokes of lit ground
    may     dotted: what may be, or goes on   go      the one thing to look at
    scale   an axis with its ticks            hair    a line that carries nothing
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from html import escape
from typing import Literal

from cases.errors import OutOfRange
from cases.notation.prescription import write_axis, write_power, write_prescription
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure, Use

WIDTH = 320
TEXT, SMALL = 16.0, 14.0
"""Heights of lettering in units of the drawing; nothing is set smaller than SMALL."""

NOUGHT = write_power(0)

Anchor = Literal["start", "middle", "end"]

_NOT_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_UID = re.compile(r"[A-Za-z][\w-]*", re.ASCII)
_CLASSES = (
    ("iljtfrI.,:;'|!()/ ", 0.42),
    ("abcdeghknopqsuvxyz0123456789?°–·", 0.64),
    ("ABCDEFGHJKLNOPQRSTUVXYZ+−×=", 0.84),
)
_EMS = {mark: ems for marks, ems in _CLASSES for mark in marks}
_WIDEST = 1.02


@dataclass(frozen=True)
class Box:
    """A rectangle of the drawing that a label fills; y runs downward."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box) -> bool:
        """Say whether the two share any ground."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


def text_width(words: str, size: float = TEXT) -> float:
    """Return an upper estimate of the width of a line of lettering, in units of the drawing.

    Each character is counted as in a wide common face (DejaVu Sans), so that narrower ones leave room to spare.
    """
    return size * math.fsum(_EMS.get(mark, _WIDEST) for mark in words)


def text_box(x: float, y: float, words: str, size: float, anchor: Anchor) -> Box:
    """Return the ground that a label covers when its baseline is at y."""
    wide = text_width(words, size)
    left = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor]
    return Box(left, y - 0.8 * size, left + wide, y + 0.24 * size)


def toward(angle: float, reach: float, centre: tuple[float, float] = (0, 0)) -> tuple[float, float]:
    """Return the point at `reach` from a centre, `angle` degrees anticlockwise from the examiner's right.

    The page's y runs downward, hence the minus sign. Source: `iso-8429`.
    """
    turned = math.radians(angle)
    return centre[0] + reach * math.cos(turned), centre[1] - reach * math.sin(turned)


def engraved(lens: SphCyl) -> str:
    """Write a trial lens as it is engraved or entered: sphere DS, cylinder DC × axis, or both; plano for no power."""
    sphere, cylinder = write_power(lens.sphere), write_power(lens.cylinder)
    if sphere == NOUGHT != cylinder:
        return f"{cylinder} DC × {write_axis(lens.axis)}"
    return write_prescription(lens, "as-is")


def joined(things: list[str]) -> str:
    """Join words as a sentence does: a, b and c."""
    return things[0] if len(things) == 1 else ", ".join(things[:-1]) + " and " + things[-1] if things else "none"


def clean(words: str) -> str:
    """Escape text for SVG and drop the characters that XML forbids."""
    return escape(_NOT_XML.sub("", words), quote=True)


def _n(value: float) -> str:
    short = f"{value:.1f}".removesuffix(".0")
    return "0" if short == "-0" else short


class Pen:
    """Collects the strokes of one drawing, then bottles them with a title and a description."""

    def __init__(self) -> None:
        self._parts: list[str] = []

    def line(
        self, start: tuple[float, float], end: tuple[float, float], kind: str = "ink", *, weight: float = 1.5
    ) -> None:
        """Draw a straight line; the kinds mine and faint are dashed and pale by themselves."""
        (x1, y1), (x2, y2) = start, end
        self._parts.append(f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"{_manner(kind, weight)}/>')

    def circle(self, centre: tuple[float, float], radius: float, kind: str = "ink", *, weight: float = 1.5) -> None:
        """Draw a circle in outline."""
        self._parts.append(
            f'<circle cx="{_n(centre[0])}" cy="{_n(centre[1])}" r="{_n(radius)}"{_manner(kind, weight)}/>'
        )

    def path(self, steps: str, kind: str = "ink", *, weight: float = 1.5) -> None:
        """Draw an outline from SVG path data; one of kind `go` is said to be 1 long, so that a page may let it grow."""
        length = ' pathLength="1"' if kind == "go" else ""
        self._parts.append(f'<path d="{steps}"{_manner(kind, weight)}{length}/>')

    def wash(self, steps: str, depth: float) -> None:
        """Tint an area that is lit; depth 0..1 is how much ink. An outline inside another leaves a hole."""
        self._parts.append(
            f'<path class="lit" d="{steps}" fill="currentColor" fill-opacity="{depth:.2f}" fill-rule="evenodd" '
            'stroke="none"/>'
        )

    def bar(self, left: float, top: float, right: float, bottom: float, kind: str = "ink") -> None:
        """Fill an upright rectangle; left and right may come in either order."""
        x, wide = min(left, right), abs(right - left)
        self._parts.append(
            f'<rect class="{kind}" x="{_n(x)}" y="{_n(top)}" width="{_n(wide)}" height="{_n(bottom - top)}" '
            'fill="currentColor" stroke="none"/>'
        )

    def dot(self, centre: tuple[float, float], radius: float = 2.5, kind: str = "ink") -> None:
        """Set a small filled dot."""
        self._parts.append(
            f'<circle class="{kind}" cx="{_n(centre[0])}" cy="{_n(centre[1])}" r="{_n(radius)}" '
            'fill="currentColor" stroke="none"/>'
        )

    def arrow(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        *,
        solid: bool = True,
        weight: float = 2.0,
        kind: str = "arrow",
    ) -> None:
        """Draw an arrow; its head is filled, or open when `solid` is false."""
        (x1, y1), (x2, y2) = start, end
        run = math.hypot(x2 - x1, y2 - y1)
        ux, uy = (x2 - x1) / run, (y2 - y1) / run
        head = min(10.0, 0.7 * run)
        base = (x2 - head * ux, y2 - head * uy)
        left = (base[0] - 0.55 * head * uy, base[1] + 0.55 * head * ux)
        right = (base[0] + 0.55 * head * uy, base[1] - 0.55 * head * ux)
        barbs = f"M{points(left, end, right)}"
        if solid:
            self.line(start, base, kind, weight=weight)
            self._parts.append(f'<path class="{kind}" d="{barbs}Z" fill="currentColor" stroke="none"/>')
        elif kind != "go":
            self.line(start, end, kind, weight=weight)
            self.path(barbs, kind, weight=weight)
        else:
            self.path(f"M{points(start, end)}{barbs}", kind, weight=weight)  # one stroke, so that it can grow

    def text(
        self, x: float, y: float, words: str, *, size: float = TEXT, anchor: Anchor = "middle", kind: str = "label"
    ) -> Box:
        """Letter a line with its baseline at y and return the ground it covers."""
        self._parts.append(
            f'<text class="{kind}" x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}" '
            f'fill="currentColor" stroke="none">{clean(words)}</text>'
        )
        return text_box(x, y, words, size, anchor)

    def figure(
        self, *, uid: str, title: str, description: str, height: float, width: float = WIDTH, use: Use = "needed"
    ) -> Figure:
        """Close the drawing: `width` by `height`, named by `uid`, with its title and description inside.

        use: whether a page needs it, has it beside the words where there is room, or leaves it out.

        Raises
        ------
        OutOfRange
            When `uid` is not a letter followed by letters, digits, _ or -.
        """
        if not _UID.fullmatch(uid):
            raise OutOfRange("figure id", repr(uid), "begin with a letter, then letters, digits, _ or -")
        tall = _n(math.ceil(height))
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="fig" viewBox="0 0 {_n(width)} {tall}" width="{_n(width)}" '
            f'height="{tall}" role="img" aria-labelledby="{uid}-title {uid}-desc" fill="none" stroke="currentColor" '
            'stroke-linecap="round" stroke-linejoin="round">'
            f'<title id="{uid}-title">{clean(title)}</title><desc id="{uid}-desc">{clean(description)}</desc>'
            f"{''.join(self._parts)}</svg>"
        )
        return Figure(svg, title, description, use)


def points(*where: tuple[float, float]) -> str:
    """Write points as SVG path data, joined by straight lines."""
    return "L".join(f"{_n(x)} {_n(y)}" for x, y in where)


def _manner(kind: str, weight: float) -> str:
    extra = {
        "mine": ' stroke-dasharray="7 5"',
        "may": ' stroke-dasharray="0.1 4"',
        "faint": ' stroke-opacity="0.5"',
        "hatch": ' stroke-opacity="0.75"',
    }
    return f' class="{kind}" stroke-width="{_n(weight)}"{extra.get(kind, "")}'
