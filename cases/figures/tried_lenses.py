"""A log of lenses tried, drawn as rows: each lens with an arrow for the streak and one for the reflex."""

from __future__ import annotations

from collections.abc import Sequence

from cases.figures.parts import Point, checked_angle, lie, lit_disc
from cases.figures.pen import SMALL, WIDTH, Pen
from cases.notation.prescription import write_axis, write_power
from cases.procedure.figure import Figure
from cases.procedure.lens_log import Log, Tried

ROW = 32.0
ARROW = 32.0


def lens_log(log: Log, *, uid: str) -> Figure:
    """Draw one meridian's log in the order of trying: an open arrow is the streak, a filled one the reflex."""
    pen = Pen()
    y = _column(pen, 80, log, top=8)
    y = _key(pen, y, unsteady=any(one.unsteady for one in log))
    return pen.figure(uid=uid, title="Lenses tried", description=_log_words(log), height=y, use="aid")


def two_logs(first: tuple[float, Log], second: tuple[float, Log], *, uid: str) -> Figure:
    """Draw the logs of two streaks (long direction in degrees, 1..180) side by side.

    Raises
    ------
    OutOfRange
        For a streak outside 1..180.
    """
    pen, facts, bottom = Pen(), [], 0.0
    for x, (streak, log) in ((0.0, first), (162.0, second)):
        checked_angle("streak", streak)
        pen.text(x + 79, 18, f"streak at {write_axis(streak)}", kind="number")
        bottom = max(bottom, _column(pen, x, log, top=26))
        facts.append(f"Streak along {write_axis(streak)}, {lie(streak)}. {_log_words(log)}")
    pen.line((WIDTH / 2, 30), (WIDTH / 2, bottom - 6), "faint")
    bottom = _key(pen, bottom, unsteady=any(one.unsteady for _, log in (first, second) for one in log))
    return pen.figure(
        uid=uid, title="Lenses tried along two meridians", description=" ".join(facts), height=bottom, use="aid"
    )


def _column(pen: Pen, left: float, log: Sequence[Tried], *, top: float) -> float:
    y = top
    for one in log:
        y += ROW
        pen.text(left + 63, y, write_power(one.lens), anchor="end", kind="number")
        at = (left + 76, y - 5.5)
        pen.arrow(at, (at[0] + ARROW, at[1]), solid=False, weight=1.6)
        _reflex(pen, (at[0] + ARROW + 9, at[1]), one.movement)
        if one.unsteady:
            pen.text(left + 64, y, "*", size=SMALL, anchor="start")
    return y + 14


def _reflex(pen: Pen, at: Point, movement: str) -> None:
    x, y = at
    if movement == "neutral":
        pen.circle((x + 12, y), 9)
        lit_disc(pen, (x + 12, y), 9, brightness="bright")
    elif movement == "with":
        pen.arrow((x, y), (x + ARROW, y), weight=2.4)
    else:
        pen.arrow((x + ARROW, y), (x, y), weight=2.4)


def _key(pen: Pen, y: float, *, unsteady: bool) -> float:
    y += 18
    pen.arrow((16, y - 5), (44, y - 5), solid=False, weight=1.6)
    pen.text(50, y, "streak", size=SMALL, anchor="start")
    pen.arrow((112, y - 5), (140, y - 5), weight=2.4)
    pen.text(146, y, "reflex", size=SMALL, anchor="start")
    pen.circle((216, y - 5), 9)
    lit_disc(pen, (216, y - 5), 9, brightness="bright")
    pen.text(230, y, "all lit", size=SMALL, anchor="start")
    if unsteady:
        y += 22
        pen.text(16, y, "* the pupil shrank", size=SMALL, anchor="start")
    return y + 12


def _log_words(log: Sequence[Tried]) -> str:
    lines = [
        f"{write_power(one.lens)}: {_SEEN[one.movement]}{', while the pupil shrank' if one.unsteady else ''}"
        for one in log
    ]
    return f"In the order of trying: {'; '.join(lines)}."


_SEEN = {
    "with": "the reflex goes with the streak",
    "against": "the reflex goes against the streak",
    "neutral": "the pupil is all lit and nothing travels",
}
