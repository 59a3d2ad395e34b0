"""Parts that several drawings share: the eye from the front and from the side, a band of light, a measured distance."""

from __future__ import annotations

import math

from cases.errors import OutOfRange
from cases.figures.pen import SMALL, Pen, points, toward
from cases.notation.prescription import write_axis
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl

Point = tuple[float, float]

UNSCALED = "not to scale"

WASH = {"bright": 0.34, "ordinary": 0.2, "dim": 0.07}
STROKES_APART = {"bright": 3.5, "ordinary": 5.5, "dim": 11.0}


def checked_angle(name: str, angle: float) -> float:
    """Return an axis, meridian or streak in degrees, refusing what lies outside 0 < angle ≤ 180.

    Raises
    ------
    OutOfRange
        For 0 (180 is written), a negative angle, one above 180, or no number.
    """
    if angle == 0:
        raise OutOfRange(name, "0", "write 180; angles run from 1 to 180")
    if not 0 < angle <= 180:
        raise OutOfRange(name, f"{angle:g}", "angles run from 1 to 180")
    return angle


def lie(angle: float) -> str:
    """Say in words how a line at this angle lies before the examiner."""
    turned = axis_of(angle)
    if turned == 180:
        return "level"
    if turned == 90:
        return "upright"
    return "rising to the right" if turned < 90 else "rising to the left"


def iris(pen: Pen, centre: Point, radius: float, pupil: float) -> None:
    """Draw an eye as the examiner faces it: the rim of the iris, its fibres, and the pupil's edge."""
    pen.circle(centre, radius, weight=1.8)
    for step in range(0, 360, 15):
        pen.line(toward(step, radius - 3, centre), toward(step, radius - (9 if step % 30 else 13), centre), "faint")
    pen.circle(centre, pupil, weight=1.8)


def scale(pen: Pen, centre: Point, radius: float, *, lettered: bool) -> None:
    """Draw the graduated dial round an eye: a tick each 15 degrees of the upper half, 45, 90, 135 and 180 lettered."""
    for angle in range(15, 181, 15):
        main = angle % 45 == 0
        pen.line(
            toward(angle, radius, centre),
            toward(angle, radius + (8 if main else 5), centre),
            "ink" if main else "faint",
        )
        if main and lettered:
            x, y = toward(angle, radius + (24 if angle == 180 else 20), centre)
            pen.text(x, y + 0.36 * SMALL, write_axis(angle), size=SMALL, kind="number")


def band(
    pen: Pen,
    centre: Point,
    radius: float,
    angle: float,
    *,
    half_width: float,
    offset: float = 0.0,
    brightness: str = "ordinary",
    edged: bool = True,
) -> None:
    """Light a band of a round pupil: along `angle`, its middle `offset` from the centre at `angle` + 90.

    half_width and offset in units of the drawing; brightness "bright", "ordinary" or "dim" sets how dense the strokes
    are. The band is cut off at the pupil's edge.
    """
    low, high = max(offset - half_width, -radius), min(offset + half_width, radius)
    if low >= high:
        return

    def at(across: float, side: int) -> Point:
        return toward(angle, side * math.sqrt(max(radius**2 - across**2, 0)), toward(angle + 90, across, centre))

    def arc(end: Point) -> str:
        return f"A{radius:g} {radius:g} 0 0 0 {points(end)}"

    pen.wash(
        f"M{points(at(low, -1), at(low, 1))}{arc(at(high, 1))}L{points(at(high, -1))}{arc(at(low, -1))}Z",
        WASH[brightness],
    )
    gap = STROKES_APART[brightness]
    strokes = int((high - low) / 2 / gap)
    middle = (low + high) / 2
    for step in range(-strokes, strokes + 1):
        across = middle + step * gap
        if min(across - low, high - across) > 0.6:
            pen.line(at(across, -1), at(across, 1), "hatch", weight=1)
    if edged:
        for across in (low, high):
            if abs(across) < radius - 0.5:
                pen.line(at(across, -1), at(across, 1), weight=1.6)


def streak_outside(
    pen: Pen, centre: Point, angle: float, *, pupil: float, reach: float, half_width: float, offset: float = 0.0
) -> None:
    """Draw the streak of light where it falls on the iris and lids, leaving the pupil free."""
    for side in (1, -1):
        corners = []
        for across in (offset - half_width, offset + half_width):
            foot = toward(angle + 90, across, centre)
            start = math.sqrt(max(pupil**2 - across**2, 0))
            corners.append((toward(angle, side * start, foot), toward(angle, side * reach, foot)))
        (a, b), (c, d) = corners
        pen.wash(f"M{points(a, b, d, c)}Z", 0.12)
        pen.line(a, b, weight=1.6)
        pen.line(c, d, weight=1.6)


def profile(pen: Pen, x: float, y: float, radius: float = 17) -> None:
    """Draw the patient's eye from the side, its cornea's front at x, looking to the right."""
    centre = (x - radius * 1.14, y)
    top, bottom = toward(42, radius, centre), toward(-42, radius, centre)
    pen.path(f"M{points(top)}A{radius:g} {radius:g} 0 1 0 {points(bottom)}", weight=1.8)
    pen.path(f"M{points(top)}Q{points((2 * x - top[0], y))} {points(bottom)}", weight=1.8)
    for limbus, side in ((top, -1), (bottom, 1)):
        pen.line(limbus, (limbus[0] - 1, y + side * 0.24 * radius), weight=2.4)


def lens_profile(
    pen: Pen, x: float, y: float, lens: SphCyl, *, kind: str = "ink", tall: float = 30, tilt: float = 0
) -> None:
    """Draw a trial lens from the side: bulging for plus, hollow for minus, flat for plano.

    tall: half its height in units of the drawing. tilt: degrees by which its upper edge leans to the right of the page.
    """
    power = lens.spherical_equivalent
    edge, bulge = (3.0, 5.0) if power > 0.001 else (7.0, -5.0) if power < -0.001 else (3.0, 0.0)
    sin, cos = math.sin(math.radians(tilt)), math.cos(math.radians(tilt))

    def at(along: float, up: float) -> Point:
        return x + along * cos + up * sin, y + along * sin - up * cos

    pen.path(
        f"M{points(at(-edge, tall))}Q{points(at(-edge - bulge, 0))} {points(at(-edge, -tall))}"
        f"L{points(at(edge, -tall))}Q{points(at(edge + bulge, 0))} {points(at(edge, tall))}Z",
        kind,
    )


def sight_hole(pen: Pen, x: float, y: float) -> None:
    """Draw the examiner's retinoscope from the side, its sight hole at (x, y), facing left."""
    pen.path(
        f"M{points((x, y - 5), (x, y - 14))}Q{points((x, y - 18))} {points((x + 4, y - 18))}L{points((x + 8, y - 18))}"
        f"Q{points((x + 12, y - 18))} {points((x + 12, y - 14))}L{points((x + 12, y + 14), (x, y + 14), (x, y + 5))}",
        weight=1.8,
    )
    pen.path(f"M{points((x + 3, y + 14), (x + 3, y + 38), (x + 9, y + 38), (x + 9, y + 14))}", weight=1.8)
    pen.circle((x, y), 3, weight=1.4)


def measure(pen: Pen, start: float, end: float, y: float, kind: str = "ink") -> None:
    """Draw a measured distance along a level line, closed by a small bar at either end."""
    pen.line((start, y), (end, y), kind)
    for x in (start, end):
        pen.line((x, y - 5), (x, y + 5))


def checked_distance(name: str, distance_cm: float) -> float:
    """Return a distance in cm, refusing what a drawing cannot hold.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    if not distance_cm > 0:
        raise OutOfRange(name, f"{distance_cm:g} cm", "a distance above 0 cm is needed")
    return distance_cm


def heading(angle: float) -> str:
    """Say which way on the page a movement at this angle goes, to the nearest eighth of a turn."""
    ways = (
        "to the right",
        "up and to the right",
        "upward",
        "up and to the left",
        "to the left",
        "down and to the left",
        "downward",
        "down and to the right",
    )
    return ways[round(angle / 45) % 8]


def lit_disc(
    pen: Pen, centre: Point, radius: float, *, hole: tuple[Point, float] | None = None, brightness: str = "ordinary"
) -> None:
    """Light a whole round area with upright strokes, leaving a round hole dark."""
    gap = STROKES_APART[brightness]
    rings = [disc(centre, radius)] + ([disc(*hole)] if hole else [])
    pen.wash("".join(rings), WASH[brightness])
    reach = int((radius - 1) / gap)
    for step in range(-reach, reach + 1):
        x = centre[0] + step * gap
        half = math.sqrt(radius**2 - (x - centre[0]) ** 2)
        cuts = [centre[1] - half, centre[1] + half]
        if hole:
            (across, down), size = hole
            if abs(x - across) < size:
                gone = math.sqrt(size**2 - (x - across) ** 2)
                cuts = [cuts[0], down - gone, down + gone, cuts[1]]
        for start, end in zip(cuts[::2], cuts[1::2], strict=True):
            if end - start > 1:
                pen.line((x, start), (x, end), "hatch", weight=1)


def disc(centre: Point, radius: float) -> str:
    """Write a circle as SVG path data."""
    (x, y), turn = centre, f"A{radius:g} {radius:g} 0 0 0 "
    return f"M{points((x - radius, y))}{turn}{points((x + radius, y))}{turn}{points((x - radius, y))}Z"
