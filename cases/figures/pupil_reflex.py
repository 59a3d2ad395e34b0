"""The reflex as it moves: with, against or neutral, the two widths on leaning in, and the zones of a wide pupil."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from cases.errors import OutOfRange
from cases.figures.parts import WASH, Point, band, checked_angle, heading, iris, lie, lit_disc, streak_outside
from cases.figures.pen import SMALL, WIDTH, Pen, joined, points, toward
from cases.notation.prescription import write_axis
from cases.optics.axes import axis_gap, axis_of
from cases.procedure.figure import Figure

Movement = Literal["with", "against", "neutral"]
Speed = Literal["slow", "fast"]
Breadth = Literal["narrow", "wide"]
Brightness = Literal["dim", "bright"]

HALF_WIDTH = {"narrow": 5.0, None: 10.0, "wide": 18.0}
RUN = {"slow": (5.0, 13.0), None: (9.0, 18.0), "fast": (13.0, 28.0)}
"""How far the reflex has come and how long its arrow is, in units of the drawing."""

MOST_TURNED = 85

SAME_WAY: dict[Movement, int] = {"with": 1, "against": -1, "neutral": 0}


@dataclass(frozen=True)
class DrawnLook:
    """How the reflex looks, so far as it is told: None leaves a cue at an ordinary middle and unmentioned."""

    speed: Speed | None = None
    width: Breadth | None = None
    brightness: Brightness | None = None
    share: float | None = None
    """How much of the pupil's width the band takes up, 0..1, where that is known better than as narrow or wide."""

    def words(self) -> list[str]:
        """Name the cues that are told."""
        return [cue for cue in (self.speed, self.width, self.brightness) if cue]


ORDINARY = DrawnLook()


def travel(streak: float) -> float:
    """Return the direction in degrees in which the drawings sweep a streak: across it, to the right or else up."""
    level = axis_gap(streak, 180) < 22.5 and streak < 90
    return streak + 90 if level else streak - 90 if axis_of(streak) != 180 else 90.0


def movement(
    seen: Movement,
    *,
    uid: str,
    streak: float = 90,
    reflex_at: float | None = None,
    look: DrawnLook = ORDINARY,
    say: bool = True,
    name: str = "",
    bare: bool = False,
) -> Figure:
    """Draw a streak sweeping over the face and the reflex moving in the pupil, an open and a filled arrow.

    streak: its long direction in degrees, 1..180. reflex_at: the reflex's own long direction when it stands turned to
    the streak. say: write and describe the movement by its word; when false neither "with", "against" nor "neutral"
    stands anywhere in the figure, only what travels where. name: letters over the drawing ("A"), to tell several apart.
    bare: leave out all lettering below it, for a page that has it in words and sets several side by side.

    Raises
    ------
    OutOfRange
        For an angle outside 1..180, or a reflex so nearly across the streak that "with" and "against" mean nothing.
    """
    checked_angle("streak", streak)
    turned = streak if reflex_at is None else checked_angle("reflex", reflex_at)
    if axis_gap(streak, turned) > MOST_TURNED:
        raise OutOfRange("reflex", f"{turned:g}", f"at most {MOST_TURNED} degrees from the streak at {streak:g}")
    pen, centre, pupil = Pen(), (WIDTH / 2, 124.0 + (18 if name else 0)), 58.0
    if name:
        pen.text(WIDTH / 2, 18, name)
    way = travel(streak)
    iris(pen, centre, 86, pupil)
    _moving_streak(pen, centre, streak, way, pupil=pupil, reach=96)
    _moving_reflex(pen, centre, pupil, turned, way, seen, look)
    y = centre[1] + 114
    if not bare:
        y += 20
        _key(pen, y, moves=seen != "neutral")
        told = ([seen] if say else []) + look.words()
        if told:
            y += 26
            pen.text(WIDTH / 2, y, ", ".join(told))
    return pen.figure(
        uid=uid,
        title=f"Streak and reflex {name}".strip(),
        description=_movement_words(streak, turned, way, seen, look, say=say),
        height=y + 10,
    )


def _moving_streak(pen: Pen, centre: Point, streak: float, way: float, *, pupil: float, reach: float) -> None:
    offset = 14.0 * _side(streak, way)
    streak_outside(pen, centre, streak, pupil=pupil, reach=reach, half_width=7, offset=offset)
    for end in (0, 180):
        at = toward(streak + end, reach + 8, centre)
        pen.arrow(toward(way, 4, at), toward(way, 44, at), solid=False)


def _side(line: float, way: float) -> int:
    """Return 1 when a movement goes to the side on which `band` counts offsets positive, else −1."""
    return 1 if math.cos(math.radians(way - line - 90)) > 0 else -1


def _moving_reflex(
    pen: Pen, centre: Point, pupil: float, turned: float, way: float, seen: Movement, look: DrawnLook
) -> None:
    brightness = look.brightness or "ordinary"
    if seen == "neutral":
        lit_disc(pen, centre, pupil, brightness=brightness)
        return
    side = _side(turned, way) * SAME_WAY[seen]
    come, length = RUN[look.speed]
    half = HALF_WIDTH[look.width] if look.share is None else min(max(look.share, 0.05), 1.0) * pupil
    band(pen, centre, pupil, turned, half_width=half, offset=side * come, brightness=brightness)
    start = min(come + half + 2, pupil - 20)
    out = turned + 90 * side
    pen.arrow(toward(out, start, centre), toward(out, min(start + length, pupil - 3), centre), weight=2.4)


def _key(pen: Pen, y: float, *, moves: bool) -> None:
    pen.arrow((44, y - 5), (78, y - 5), solid=False)
    pen.text(86, y, "streak", size=SMALL, anchor="start")
    if moves:
        pen.arrow((176, y - 5), (210, y - 5), weight=2.4)
        pen.text(218, y, "reflex", size=SMALL, anchor="start")
    else:
        pen.text(176, y, "pupil all lit", size=SMALL, anchor="start")


def _movement_words(streak: float, turned: float, way: float, seen: Movement, look: DrawnLook, *, say: bool) -> str:
    facts = f"The streak lies along {write_axis(streak)}, {lie(streak)}, and travels {heading(way)}. "
    if seen == "neutral":
        facts += "The whole pupil lights up and goes dark at once and no reflex is seen to travel"
        facts += ": neutral." if say else "."
    else:
        out = turned + 90 * _side(turned, way) * SAME_WAY[seen]
        facts += f"In the pupil the reflex travels {heading(out)}"
        facts += f": {seen} the streak." if say else f" while the streak travels {heading(way)}."
        if turned != streak:
            facts += f" The reflex itself is turned and lies along {write_axis(turned)}."
    if look.words():
        facts += f" The reflex is {joined(look.words())}."
    return facts


def lean_in(first: tuple[float, Breadth | None], second: tuple[float, Breadth | None], *, uid: str) -> Figure:
    """Draw the two reflexes seen on leaning in from an end-point: each a streak in degrees and how wide the band is.

    Widths "narrow" or "wide"; None for both draws and calls them equal.

    Raises
    ------
    OutOfRange
        For a streak outside 1..180.
    """
    pen, y = Pen(), 178.0
    facts = ["Leaning in."]
    for x, (streak, width) in ((82.0, first), (238.0, second)):
        checked_angle("streak", streak)
        centre = (x, 78.0)
        iris(pen, centre, 58, 40)
        streak_outside(pen, centre, streak, pupil=40, reach=66, half_width=6)
        band(pen, centre, 40, streak, half_width=HALF_WIDTH[width])
        pen.text(x, y, f"streak at {write_axis(streak)}", kind="number")
        pen.text(x, y + 21, f"{width} band" if width else "ordinary band")
        facts.append(f"With the streak along {write_axis(streak)} the band of light is {width or 'of ordinary width'}.")
    facts.append("The two are equally wide." if first[1] == second[1] else "The two differ in width.")
    return pen.figure(uid=uid, title="The two reflexes on leaning in", description=" ".join(facts), height=y + 32)


def zones(
    centre: Movement, margin: Movement, *, uid: str, streak: float = 90, say: bool = True, bare: bool = False
) -> Figure:
    """Draw a wide pupil whose centre and margin move differently; a dashed circle bounds the central zone.

    say: write each movement by its word; when false only what travels where is shown and described.
    bare: leave out what the arrows mean, for a page that says it once for several.

    Raises
    ------
    OutOfRange
        For a streak outside 1..180.
    """
    checked_angle("streak", streak)
    pen, middle, pupil, core = Pen(), (WIDTH / 2, 142.0), 86.0, 40.0
    way = travel(streak)
    iris(pen, middle, 108, pupil)
    pen.circle(middle, core, "mine")
    _moving_streak(pen, middle, streak, way, pupil=pupil, reach=116)
    _moving_reflex(pen, middle, core - 4, streak, way, centre, ORDINARY)
    if margin == "neutral":
        lit_disc(pen, middle, pupil, hole=(middle, core + 3))
    else:
        _margin(pen, middle, streak, way, (core + 4, pupil), SAME_WAY[margin])
    y = middle[1] + 126
    if not bare:
        y += 24
        _key(pen, y, moves=not centre == margin == "neutral")
    facts = [f"A wide pupil. The streak lies along {write_axis(streak)}, {lie(streak)}, and travels {heading(way)}."]
    for place, seen in (("centre", centre), ("margin", margin)):
        if say:
            y += 24
            pen.text(WIDTH / 2, y, f"{place}: {seen}")
        way_seen = (
            "lights up all at once and no reflex is seen to travel"
            if seen == "neutral"
            else f"shows a reflex that travels {heading(way if seen == 'with' else way + 180)}"
        )
        facts.append(f"The {place} {way_seen}{f' ({seen})' if say else ''}.")
    return pen.figure(uid=uid, title="Centre and margin of a wide pupil", description=" ".join(facts), height=y + 10)


def _margin(pen: Pen, middle: Point, streak: float, way: float, ring: tuple[float, float], same_way: int) -> None:
    inner, outer = ring
    side = _side(streak, way) * same_way
    out = streak + 90 * side
    for end in (0, 180):
        edges = []
        for step in range(5):
            across = 8 + 5.5 * (step - 2)
            foot = toward(out, across, middle)
            near = toward(streak + end, math.sqrt(max(inner**2 - across**2, 0)), foot)
            far = toward(streak + end, math.sqrt(outer**2 - across**2), foot)
            edges.append((near, far))
            pen.line(near, far, "ink" if step in (0, 4) else "hatch", weight=1.6 if step in (0, 4) else 1)
        pen.wash(f"M{points(*edges[0], *edges[-1][::-1])}Z", WASH["ordinary"])
        start = toward(streak + end, (inner + outer) / 2, middle)
        pen.arrow(toward(out, 23, start), toward(out, 46, start), weight=2.4)
