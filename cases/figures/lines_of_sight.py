"""Lines of sight: how far the examiner stands off the patient's gaze, from above and from the side. Not to scale."""

from __future__ import annotations

from cases.figures.parts import UNSCALED, Point, measure, profile
from cases.figures.pen import SMALL, WIDTH, Pen, points, toward
from cases.notation.prescription import write_distance
from cases.procedure.figure import Figure


def sighting_plan(*, offset_cm: float, distance_cm: float, uid: str, angle: float | None = None) -> Figure:
    """Draw patient and examiner from above: gaze, sight hole beside it, and the angle between.

    offset_cm: sight hole to the line of gaze. distance_cm: eye to sight hole along the gaze. angle: in degrees, written
    when given; otherwise a question mark stands in its place.
    """
    pen, eye, y = Pen(), (50.0, 62.0), 62.0
    profile(pen, eye[0], y, 20)
    pen.line((54, y), (312, y), "mine")
    pen.text(312, y - 10, "patient's gaze", size=SMALL, anchor="end")
    hole = (224.0, y + 64)
    pen.line(eye, hole)
    pen.line((hole[0], y + 5), (hole[0], hole[1] - 8), "faint")
    pen.circle(hole, 7, weight=2)
    pen.text(hole[0] + 10, y + 38, write_distance(offset_cm), anchor="start", kind="number")
    pen.text(hole[0] - 14, hole[1] + 20, "sight hole", size=SMALL)
    start, end = toward(0, 96, eye), toward(-20.2, 96, eye)
    pen.path(f"M{points(start)}A96 96 0 0 1 {points(end)}")
    told = "?" if angle is None else f"{angle:.1f}°"
    pen.text(158, y + 23, told, anchor="start", kind="number")
    base = hole[1] + 44
    measure(pen, eye[0], hole[0], base)
    pen.text((eye[0] + hole[0]) / 2, base + 22, write_distance(distance_cm), kind="number")
    pen.text(312, base + 22, UNSCALED, size=SMALL, anchor="end")
    facts = (
        f"Seen from above, the examiner's sight hole is {write_distance(offset_cm)} to the side of the patient's gaze, "
        f"{write_distance(distance_cm)} from the eye. "
    )
    facts += "The angle between the two lines is asked." if angle is None else f"The angle between is {told}."
    return pen.figure(uid=uid, title="Off the line of gaze", description=facts, height=base + 32)


def sighting_side(
    *, chart_height_cm: float, chart_path_cm: float, distance_cm: float, uid: str, height_cm: float | None = None
) -> Figure:
    """Draw from the side a chart that hangs above the patient's eye, seen by mirror, and the sight hole on the gaze.

    chart_height_cm: chart above the eye. chart_path_cm: eye to chart by way of the mirror. distance_cm: eye to sight
    hole. height_cm: sight hole above the eye, written when given; otherwise a question mark stands in its place.
    """
    pen, level = Pen(), 150.0
    eye, chart = high_chart(pen, level, chart_height_cm)
    part = (150 - eye[0]) / (chart[0] - eye[0])
    hole = (150.0, level + part * (chart[1] - level))
    pen.circle(hole, 7, weight=2)
    pen.text(hole[0] - 12, hole[1] - 12, "sight hole", size=SMALL, anchor="end")
    top, told = hole[1] + 7, "?" if height_cm is None else write_distance(height_cm)
    pen.line((hole[0], level), (hole[0], top))
    pen.text(hole[0] + 8, (level + top) / 2 + 6, told, anchor="start", kind="number")
    y = two_distances(pen, level + 38, eye[0], (hole[0], distance_cm), (chart[0], chart_path_cm))
    facts = (
        f"Seen from the side, the chart is {write_distance(chart_height_cm)} above the patient's eye and "
        f"{write_distance(chart_path_cm)} away by the mirror. The sight hole is on the gaze, "
        f"{write_distance(distance_cm)} from the eye; "
    )
    facts += (
        "its height above the eye is asked."
        if height_cm is None
        else f"it is {write_distance(height_cm)} above the eye."
    )
    return pen.figure(uid=uid, title="Sighting a chart that hangs high", description=facts, height=y)


def high_chart(pen: Pen, level: float, chart_height_cm: float) -> tuple[Point, Point]:
    """Draw an eye at `level` down the page and a chart above it on the right, the gaze between and the chart's height.

    Returns where the eye and the chart stand.
    """
    eye, chart = (50.0, level), (290.0, 52.0)
    profile(pen, eye[0], level, 20)
    pen.line((56, level), (312, level), "faint")
    pen.line(eye, chart, "mine")
    pen.path(f"M{points((chart[0], 32), (chart[0] + 8, 32), (chart[0] + 8, 72), (chart[0], 72))}Z")
    pen.text(chart[0] + 8, 22, "chart, by the mirror", size=SMALL, anchor="end")
    pen.line((chart[0], level), (chart[0], 74))
    pen.text(chart[0] - 8, 118, write_distance(chart_height_cm), anchor="end", kind="number")
    return eye, chart


def two_distances(pen: Pen, y: float, start: float, near: tuple[float, float], far: tuple[float, float]) -> float:
    """Draw from y down the distances from `start` across to the examiner and to the chart, each (place, cm).

    Returns how tall the drawing is with them.
    """
    measure(pen, start, near[0], y)
    pen.text((start + near[0]) / 2, y + 22, write_distance(near[1]), kind="number")
    y += 44
    measure(pen, start, far[0], y)
    pen.text(start, y + 22, f"{write_distance(far[1])} by the mirror", anchor="start", kind="number")
    pen.text(WIDTH / 2, y + 44, UNSCALED, size=SMALL)
    return y + 54
