"""Distances from the patient's eye, seen from the side: working distance, far point, and the near methods."""

from __future__ import annotations

from cases.figures.parts import checked_distance, lens_profile, measure, profile, sight_hole
from cases.figures.pen import SMALL, WIDTH, Pen, points
from cases.notation.prescription import write_distance
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

EYE, FAR, MID = 50.0, 296.0, 58.0
"""Where the cornea and the farthest thing stand across the drawing, and the height of the line of sight."""


def distance_ruler(
    *, actual_cm: float, uid: str, assumed_cm: float | None = None, lens: SphCyl | None = None
) -> Figure:
    """Draw the eye, the trial frame and the examiner's sight hole with the distance between, to scale.

    actual_cm: eye to sight hole. assumed_cm: the distance taken for granted, drawn dashed. lens: the shape of what
    stands in the frame (plus, minus, plano); none leaves the frame empty.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    shown = [checked_distance("actual distance", actual_cm)]
    if assumed_cm is not None:
        shown.append(checked_distance("assumed distance", assumed_cm))
    unit = (FAR - EYE) / max(shown)
    pen, y = Pen(), 112.0
    profile(pen, EYE, MID, 20)
    if lens is not None:
        lens_profile(pen, EYE + 14, MID, lens, tall=26)
    _ends(pen)
    at = EYE + unit * actual_cm
    sight_hole(pen, at, MID)
    facts = f"The examiner's sight hole is {write_distance(actual_cm)} from the eye"
    if assumed_cm is None:
        measure(pen, EYE, at, y)
        pen.text((EYE + at) / 2, y + 22, write_distance(actual_cm), kind="number")
        facts += "."
    else:
        # The shorter distance is written above, so that no upright runs through the lettering.
        rows = sorted([(actual_cm, "actual", "ink"), (assumed_cm, "assumed", "mine")])
        for row, (cm, name, kind) in enumerate(rows):
            y = 112.0 + 48 * row
            if kind == "mine":
                pen.line((EYE + unit * cm, MID - 26), (EYE + unit * cm, y - 6), kind)
            measure(pen, EYE, EYE + unit * cm, y, kind)
            pen.text(EYE, y + 22, f"{name} {write_distance(cm)}", anchor="start", kind="number")
        facts += f"; {write_distance(assumed_cm)} was assumed (dashed)."
    facts += " A lens is in the trial frame." if lens is not None else ""
    return pen.figure(uid=uid, title="Working distance", description=facts, height=y + 32, use="none")


def far_point(*, neutral_cm: float, uid: str) -> Figure:
    """Draw an eye with no lens before it, neutral at a distance: its light meets at the sight hole.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    checked_distance("neutral distance", neutral_cm)
    pen, y = Pen(), 112.0
    profile(pen, EYE, MID, 20)
    _ends(pen)
    for side in (-1, 1):
        pen.path(f"M{points((EYE - 4, MID + 7 * side), (FAR, MID))}", weight=1.2)
    sight_hole(pen, FAR, MID)
    measure(pen, EYE, FAR, y)
    pen.text((EYE + FAR) / 2, y + 22, write_distance(neutral_cm), kind="number")
    pen.text(WIDTH / 2, y + 46, "no lens in place, neutral here")
    facts = (
        f"No lens is in place. The reflex is neutral with the sight hole {write_distance(neutral_cm)} from "
        "the eye, where the light that leaves the pupil meets."
    )
    return pen.figure(uid=uid, title="Neutral without a lens", description=facts, height=y + 58, use="none")


def near_card(*, target_cm: float, scope_cm: float, uid: str, lens: SphCyl | None = None) -> Figure:
    """Draw a near target and the retinoscope, each at its distance from the eye, to scale.

    target_cm: eye to the card that the patient reads. scope_cm: eye to sight hole. lens: what is held before the eye.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    unit = (FAR - EYE) / max(
        checked_distance("target distance", target_cm), checked_distance("retinoscope distance", scope_cm)
    )
    pen, mid, y = Pen(), MID + 36, 154.0
    profile(pen, EYE, mid, 20)
    _ends(pen)
    if lens is not None:
        lens_profile(pen, EYE + 14, mid, lens, tall=26)
    card, scope = EYE + unit * target_cm, EYE + unit * scope_cm
    pen.path(f"M{points((card - 3, mid - 66), (card + 3, mid - 66), (card + 3, mid - 28), (card - 3, mid - 28))}Z")
    for line in range(4):
        pen.line((card - 8, mid - 60 + 9 * line), (card - 5, mid - 60 + 9 * line))
    pen.line((EYE + 4, mid - 3), (card - 12, mid - 44), "faint")
    sight_hole(pen, scope, mid)
    measure(pen, EYE, card, y)
    pen.text(EYE, y + 22, f"target {write_distance(target_cm)}", anchor="start", kind="number")
    y += 48
    measure(pen, EYE, scope, y)
    pen.text(EYE, y + 22, f"sight hole {write_distance(scope_cm)}", anchor="start", kind="number")
    facts = (
        f"The patient looks at a card {write_distance(target_cm)} from the eye. The sight hole is "
        f"{write_distance(scope_cm)} from the eye, "
    )
    facts += (
        "level with the card."
        if scope_cm == target_cm
        else ("behind the card." if scope_cm > target_cm else "in front of the card.")
    )
    facts += " A lens is held before the eye." if lens is not None else ""
    return pen.figure(uid=uid, title="Target and retinoscope at near", description=facts, height=y + 32)


def _ends(pen: Pen) -> None:
    pen.text(6, 18, "eye", size=SMALL, anchor="start")
    pen.text(314, 18, "examiner", size=SMALL, anchor="end")
