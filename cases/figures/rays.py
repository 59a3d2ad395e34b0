"""Where the dioptres went: the light that leaves an eye through the lens that was given, and through the right one."""

from __future__ import annotations

from cases.errors import OutOfRange
from cases.figures.parts import profile, sight_hole
from cases.figures.pen import Pen, points
from cases.notation.prescription import write_distance, write_size
from cases.procedure.figure import Figure

WIDTH, MID = 352.0, 62.0
EYE, LENS, FAR = 56.0, 92.0, 322.0
"""Units: the cornea, the lens and the farthest thing across the drawing."""
LETTERS = 13.5
HALF = 20.0
"""Half the width of the bundle at the lens."""
NEAR = 0.04
"""The share of the working distance by which light may meet beside the sight hole and be said to meet at it."""


def meets_cm(out: float) -> float:
    """Return where light meets in front of a lens that is `out` D too plus, in cm.

    Negative where it spreads as if from behind the lens. 100 ÷ out, the vergence of a distance.

    Raises
    ------
    OutOfRange
        Where nothing is out: the light never meets.
    """
    if out == 0:
        raise OutOfRange("error", "0 D", "light meets nowhere when the lens is right")
    return 100 / out


def at_sight_hole(out: float, distance_cm: float) -> bool:
    """Say whether the light meets at the sight hole, as nearly as the clinic rounds the working distance."""
    return out > 0 and abs(meets_cm(out) - distance_cm) <= NEAR * distance_cm


def rays_figure(out: float, *, distance_cm: float, uid: str) -> Figure:
    """Draw the light through a lens that is `out` D too plus (negative: too minus), broken, and the right way, dotted.

    distance_cm: eye to sight hole. Distances in front of the lens are to scale; the width of the bundle is not.

    Raises
    ------
    OutOfRange
        Where nothing is out.
    """
    meets, pen = meets_cm(out), Pen()
    farthest = max(distance_cm, meets if 0 < meets <= 3 * distance_cm else 0)
    unit = (FAR - LENS) / farthest
    hole = LENS + unit * distance_cm
    profile(pen, EYE, MID, 22)
    top, bottom = (LENS, MID - 34), (LENS, MID + 34)
    bulges = (f"Q{LENS + side * 11:g} {MID:g} {points(end)}" for side, end in ((1, bottom), (-1, top)))
    pen.path(f"M{points(top)}{''.join(bulges)}Z")
    for side in (-1, 1):
        start = (LENS, MID + HALF * side)
        pen.line(start, (WIDTH - 4, MID + HALF * side), "may", weight=1.5)
        if meets > 0:
            end = (LENS + unit * min(meets, farthest), MID + HALF * side * max(0.0, 1 - farthest / meets))
        else:
            end = (WIDTH - 4, MID + HALF * side * (1 + (WIDTH - 4 - LENS) / max(unit * -meets, 90)))
        pen.path(f"M{points(start, end)}", "mine", weight=2)
    sight_hole(pen, hole, MID)
    pen.text(LENS, MID - 42, "yours", size=LETTERS, kind="label")
    size = f"{write_size(abs(out))} D"
    if at_sight_hole(out, distance_cm):
        pen.text(hole, MID - 30, "meets at you", size=LETTERS, anchor="end" if hole > 290 else "middle", kind="go halo")
        where = f"meets at your sight hole, {write_distance(distance_cm)} away"
    elif meets > 0:
        x = LENS + unit * min(meets, farthest)
        told = f"meets at {write_distance(round(meets, 1))}"
        pen.text(min(x, WIDTH - 4), MID - 30, told, size=LETTERS, anchor="end" if x > 250 else "middle", kind="go halo")
        where = f"meets {write_distance(round(meets, 1))} away"
    else:
        pen.text(210, MID - 42, "still spreads", size=LETTERS, kind="go halo")
        where = f"still spreads, as if from {write_distance(round(-meets, 1))} behind the lens"
    foot = MID + 50
    pen.line((LENS, foot), (hole, foot), "scale", weight=1)
    for x in (LENS, hole):
        pen.line((x, foot - 5), (x, foot + 5), "scale", weight=1)
    pen.text((LENS + hole) / 2, foot + 18, f"sight hole at {write_distance(distance_cm)}", size=LETTERS, kind="number")
    way = "plus" if out > 0 else "minus"
    facts = (
        f"Through your lens the light from the eye {where} (broken): it is {size} too {way}. "
        "Through the right lens it leaves parallel (dotted)."
    )
    return pen.figure(uid=uid, title=f"Where the {size} went", description=facts, height=foot + 24, width=WIDTH)
