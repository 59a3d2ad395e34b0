"""Two or three reflexes side by side, so that their speed, width and brightness can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cases.errors import OutOfRange
from cases.figures.parts import band, checked_angle, iris, lie, lit_disc, streak_outside
from cases.figures.pen import SMALL, WIDTH, Pen
from cases.notation.prescription import write_axis
from cases.optics.appearance import Seen
from cases.procedure.figure import Figure

RADII = {2: (58.0, 42.0), 3: (46.0, 34.0)}
"""Of the iris and the pupil, by how many stand side by side."""

STREAK_ARROW, LONGEST_ARROW, SHORTEST_ARROW = 24.0, 92.0, 6.0


@dataclass(frozen=True)
class ComparedReflex:
    """One reflex to compare: its name, the long direction of the streak in degrees, and what is seen."""

    name: str
    streak: float
    seen: Seen


def side_by_side(views: Sequence[ComparedReflex], *, uid: str) -> Figure:
    """Draw 2 or 3 reflexes, with arrows as long as streak and reflex travel in the same time.

    Raises
    ------
    OutOfRange
        For another number of views, or a streak outside 1..180.
    """
    if len(views) not in RADII:
        raise OutOfRange("reflexes side by side", str(len(views)), "2 or 3 fit")
    rim, pupil = RADII[len(views)]
    pen, top = Pen(), 26.0 + rim + 6
    y = top + rim + 26
    facts = []
    turned = any(view.streak != 90 for view in views)
    for place, view in enumerate(views):
        checked_angle("streak", view.streak)
        x = WIDTH * (2 * place + 1) / (2 * len(views))
        pen.text(x, 16, view.name)
        iris(pen, (x, top), rim, pupil)
        streak_outside(pen, (x, top), view.streak, pupil=pupil, reach=rim + 6, half_width=5)
        _light(pen, (x, top), pupil, view)
        if turned:
            pen.text(x, y, f"streak at {write_axis(view.streak)}", size=SMALL, kind="number")
        _arrows(pen, x, y + (22 if turned else 0), view.seen)
        facts.append(f"{view.name}: streak along {write_axis(view.streak)}, {lie(view.streak)}; {view.seen.words}.")
    y += 22 if turned else 0
    y += 50
    pen.arrow((8, y - 5), (8 + STREAK_ARROW, y - 5), solid=False, weight=1.6)
    pen.text(38, y, "streak", size=SMALL, anchor="start")
    pen.arrow((100, y - 5), (100 + STREAK_ARROW, y - 5), weight=2.4)
    pen.text(130, y, "reflex in the same time", size=SMALL, anchor="start")
    title = "Two reflexes to compare" if len(views) == 2 else "Three reflexes to compare"
    return pen.figure(uid=uid, title=title, description=" ".join(facts), height=y + 12)


def _light(pen: Pen, centre: tuple[float, float], pupil: float, view: ComparedReflex) -> None:
    light = view.seen.brightness
    brightness = "bright" if light >= 0.7 else "ordinary" if light >= 0.48 else "dim"
    if view.seen.width >= 1:
        lit_disc(pen, centre, pupil, brightness=brightness)
    else:
        band(pen, centre, pupil, view.streak, half_width=pupil * view.seen.width, brightness=brightness)


def _arrows(pen: Pen, x: float, y: float, seen: Seen) -> None:
    start = x - LONGEST_ARROW / 2
    pen.arrow((start, y), (start + STREAK_ARROW, y), solid=False, weight=1.6)
    if seen.movement == "neutral":
        return
    length = min(LONGEST_ARROW, max(SHORTEST_ARROW, STREAK_ARROW * seen.speed))
    ends = ((start, y + 18), (start + length, y + 18))
    pen.arrow(*(ends if seen.movement == "with" else ends[::-1]), weight=2.4)
