"""The pupil as the examiner sees it: the streak across it, and the reflex inside it."""

from __future__ import annotations

from dataclasses import dataclass

from cases.figures.parts import Point, band, checked_angle, iris, lie, scale, streak_outside
from cases.figures.pen import SMALL, WIDTH, Pen, toward
from cases.notation.prescription import write_axis, write_power
from cases.procedure.figure import Figure


def streak_in_pupil(
    streak: float, *, uid: str, tell_angle: bool = True, sweep: bool = False, reflex: bool = True
) -> Figure:
    """Draw a streak lying across a pupil, with the graduated dial, as the examiner faces the patient.

    streak: its long direction in degrees, anticlockwise from the examiner's right, 1..180 (ISO 8429).
    tell_angle: write the angle under the drawing too; the description names it either way, as the dial does.
    sweep: arrows across the streak, the way it is moved.
    reflex: light the part of the pupil that glows.

    Raises
    ------
    OutOfRange
        For an angle outside 1..180.
    """
    checked_angle("streak", streak)
    pen, centre = Pen(), (WIDTH / 2, 140.0)
    _streaked_eye(pen, centre, streak, rim=88, pupil=46, reflex=reflex, lettered=True)
    if sweep:
        for side in (90, -90):
            pen.arrow(toward(streak + side, 54, centre), toward(streak + side, 80, centre))
    height = 256.0
    if tell_angle:
        height = 276
        pen.text(centre[0], 268, f"streak at {write_axis(streak)}", kind="number")
    facts = f"A pupil as the examiner faces the patient. The streak lies along {write_axis(streak)}, {lie(streak)}."
    if reflex:
        facts += " Inside the pupil the reflex lies along the streak."
    if sweep:
        facts += " Arrows show the streak being swept across its own length, to and fro."
    return pen.figure(uid=uid, title="The streak in the pupil", description=facts, height=height)


def _streaked_eye(
    pen: Pen, centre: Point, streak: float, *, rim: float, pupil: float, reflex: bool, lettered: bool
) -> None:
    half_width = pupil * 0.2
    iris(pen, centre, rim, pupil)
    scale(pen, centre, rim + 9, lettered=lettered)
    streak_outside(pen, centre, streak, pupil=pupil, reach=rim + 5, half_width=half_width)
    if reflex:
        band(pen, centre, pupil, streak, half_width=half_width)
    for side in (0, 180):
        pen.line(toward(streak + side, rim + 5, centre), toward(streak + side, rim + 17, centre), weight=2.4)


@dataclass(frozen=True)
class NeutralStreak:
    """What neutralised one streak: the sphere in D and, when one was in place, the cylinder in D with its axis.

    streak: the streak's long direction in degrees, 1..180. cylinder_axis None leaves the axis unwritten, for a case
    that asks for it.
    """

    streak: float
    sphere: float
    cylinder: float | None = None
    cylinder_axis: float | None = None

    def lines(self) -> list[str]:
        """Write the lenses in place, one a line."""
        written = [f"{write_power(self.sphere)} DS"]
        if self.cylinder is not None:
            turn = "" if self.cylinder_axis is None else f" × {write_axis(self.cylinder_axis)}"
            written.append(f"{write_power(self.cylinder)} DC{turn}")
        return written


def two_streaks(first: NeutralStreak, second: NeutralStreak, *, uid: str) -> Figure:
    """Draw two views of one pupil side by side, each with its streak and the lenses that made it neutral.

    Raises
    ------
    OutOfRange
        For a streak outside 1..180.
    """
    pen, top, y = Pen(), 96.0, 0.0
    facts = []
    for x, name, view in ((82.0, "first", first), (238.0, "second", second)):
        checked_angle("streak", view.streak)
        _streaked_eye(pen, (x, top), view.streak, rim=52, pupil=29, reflex=True, lettered=False)
        pen.text(x, 16, name, size=SMALL)
        y = 192.0
        pen.text(x, y, f"streak at {write_axis(view.streak)}", kind="number")
        pen.text(x, y + 20, "neutral in place:" if view.cylinder is not None else "neutral lens:", size=SMALL)
        for line, words in enumerate(view.lines()):
            pen.text(x, y + 42 + 21 * line, words, kind="number")
        facts.append(
            f"{name.capitalize()} view: the streak lies along {write_axis(view.streak)}, {lie(view.streak)}, "
            f"neutral behind {' and '.join(view.lines())}."
        )
    height = y + 42 + 21 * max(len(first.lines()), len(second.lines())) - 12
    return pen.figure(
        uid=uid, title="Two streaks, each made neutral", description=" ".join(facts), height=height, use="aid"
    )
