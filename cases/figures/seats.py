"""Where the examiner sits: before the other eye, above the gaze, or off the line to a chart that hangs high."""

from __future__ import annotations

from typing import Literal

from cases.figures.lines_of_sight import high_chart, two_distances
from cases.figures.parts import UNSCALED, measure, profile
from cases.figures.pen import SMALL, Anchor, Pen, points, toward
from cases.notation.prescription import write_distance
from cases.procedure.figure import Figure

HOLE = 7.0


def before_other_eye(measured: Literal["right", "left"], *, pupils_cm: float, distance_cm: float, uid: str) -> Figure:
    """Draw from above a patient looking ahead with both eyes, and a sight hole in front of the wrong one.

    measured: the patient's eye that is to be measured. pupils_cm: between the pupils. distance_cm: face to sight hole.
    """
    pen, x = Pen(), 62.0
    # The patient looks to the right of the page, so the left eye is at its top.
    rows = {"left": 58.0, "right": 150.0}
    other = "left" if measured == "right" else "right"
    for side, y in rows.items():
        profile(pen, x, y, 20)
        pen.line((x + 6, y), (312, y), "mine")
        name = f"{side} eye, to be measured" if side == measured else f"{side} eye"
        pen.text(8, y - 32 if side == "left" else y + 42, name, size=SMALL, anchor="start")
        pen.text(312, y - 8 if side == "left" else y + 20, "gaze", size=SMALL, anchor="end")
    hole, turn = (226.0, rows[other]), 1 if other == "left" else -1
    pen.line((x + 4, rows[measured]), hole)
    pen.circle(hole, HOLE, weight=2)
    pen.text(hole[0], rows[other] + (-14 if turn > 0 else 24), "sight hole", size=SMALL)
    start, end = toward(0, 70, (x, rows[measured])), toward(turn * 29.3, 70, (x, rows[measured]))
    pen.path(f"M{points(start)}A70 70 0 0 {0 if turn > 0 else 1} {points(end)}")
    pen.text(x + 76, rows[measured] - turn * 14 + 6, "?", anchor="start", kind="number")
    middle = (rows["left"] + rows["right"]) / 2
    for y, way in ((rows["left"] + 24, -1), (rows["right"] - 24, 1)):
        pen.line((40, middle + way * 10), (40, y))
    pen.text(8, middle + 6, write_distance(pupils_cm), anchor="start", kind="number")
    base = rows["right"] + 66
    measure(pen, x, hole[0], base)
    pen.text((x + hole[0]) / 2, base + 22, write_distance(distance_cm), kind="number")
    pen.text(312, base + 22, UNSCALED, size=SMALL, anchor="end")
    facts = (
        f"Seen from above, the patient looks straight ahead with both eyes, {write_distance(pupils_cm)} apart. The "
        f"{measured} eye is to be measured, but the sight hole is in front of the {other} eye, "
        f"{write_distance(distance_cm)} away."
    )
    return pen.figure(uid=uid, title="Patient and sight hole from above", description=facts, height=base + 32)


def above_the_gaze(*, offset_cm: float, distance_cm: float, uid: str) -> Figure:
    """Draw from the side a patient looking level and a sight hole above that gaze; the angle between is asked."""
    pen, eye, y = Pen(), (50.0, 126.0), 126.0
    profile(pen, eye[0], y, 20)
    pen.line((54, y), (312, y), "mine")
    pen.text(312, y + 20, "patient's gaze", size=SMALL, anchor="end")
    hole = (224.0, y - 64)
    pen.line(eye, hole)
    pen.line((hole[0], y - 5), (hole[0], hole[1] + 8), "faint")
    pen.circle(hole, HOLE, weight=2)
    pen.text(hole[0] + 10, y - 26, write_distance(offset_cm), anchor="start", kind="number")
    pen.text(hole[0], hole[1] - 16, "sight hole", size=SMALL)
    start, end = toward(0, 96, eye), toward(20.2, 96, eye)
    pen.path(f"M{points(start)}A96 96 0 0 0 {points(end)}")
    pen.text(158, y - 12, "?", anchor="start", kind="number")
    base = y + 40
    measure(pen, eye[0], hole[0], base)
    pen.text((eye[0] + hole[0]) / 2, base + 22, write_distance(distance_cm), kind="number")
    pen.text(312, base + 22, UNSCALED, size=SMALL, anchor="end")
    facts = (
        f"Seen from the side, the patient looks level. The examiner's sight hole is {write_distance(offset_cm)} above "
        f"that gaze, {write_distance(distance_cm)} from the eye. The angle between the two lines is asked."
    )
    return pen.figure(uid=uid, title="Above the line of gaze", description=facts, height=base + 32)


def beside_the_gaze(
    *, chart_height_cm: float, chart_path_cm: float, distance_cm: float, own_height_cm: float, uid: str
) -> Figure:
    """Draw from the side a chart above the patient's eye, the gaze up to it, and the examiner's eye off that gaze.

    chart_height_cm: chart above the patient's eye. chart_path_cm: eye to chart by way of the mirror. distance_cm:
    patient to examiner. own_height_cm: the examiner's eye above the patient's, negative below. Not to scale: the
    examiner is drawn on the true side of the gaze and of the level of the eye.
    """
    pen, level, x = Pen(), 170.0, 170.0
    eye, chart = high_chart(pen, level, chart_height_cm)
    above_gaze = own_height_cm > chart_height_cm * distance_cm / chart_path_cm
    at = level if own_height_cm == 0 else level + 28 if own_height_cm < 0 else 72 if above_gaze else 136.0
    size = write_distance(abs(own_height_cm))
    told = "level" if own_height_cm == 0 else f"{size} {'up' if own_height_cm > 0 else 'down'}"
    pen.circle((x, at), HOLE, weight=2)
    anchor: Anchor = "end" if above_gaze and own_height_cm > 0 else "start"
    beside, first = x + (12 if anchor == "start" else -12), at + (20 if own_height_cm == 0 else 2)
    pen.text(beside, first, "you", size=SMALL, anchor=anchor)
    pen.text(beside, first + 20, told, anchor=anchor, kind="number")
    y = two_distances(pen, level + 72, eye[0], (x, distance_cm), (chart[0], chart_path_cm))
    where = "level with" if own_height_cm == 0 else f"{size} {'above' if own_height_cm > 0 else 'below'}"
    facts = (
        f"Seen from the side, the chart is {write_distance(chart_height_cm)} above the patient's eye and "
        f"{write_distance(chart_path_cm)} away by the mirror. The examiner's eye is {write_distance(distance_cm)} from "
        f"the patient's, {where} the patient's eye."
    )
    return pen.figure(uid=uid, title="Your eye and the gaze to the chart", description=facts, height=y)
