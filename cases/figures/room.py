"""The room as the patient sees it: what is looked at, how far away it is, and where the examiner's light stands."""

from __future__ import annotations

from cases.figures.parts import UNSCALED, checked_distance, measure, profile, sight_hole
from cases.figures.pen import SMALL, WIDTH, Pen, points
from cases.notation.prescription import write_distance
from cases.procedure.figure import Figure

EYE = 50.0


def looking_at(*, fixation_cm: float, uid: str) -> Figure:
    """Draw an eye and, along its gaze, a thing that it looks at; the distance in cm between; not to scale.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    checked_distance("fixation distance", fixation_cm)
    pen, mid, at = Pen(), 54.0, 286.0
    profile(pen, EYE, mid, 20)
    pen.line((EYE + 6, mid), (at - 10, mid), "mine")
    pen.text(at + 14, mid - 28, "looked at", size=SMALL, anchor="end")
    pen.path(f"M{points((at - 10, mid - 18), (at + 10, mid - 18), (at + 10, mid + 18), (at - 10, mid + 18))}Z")
    pen.dot((at, mid), 4)
    y = mid + 44
    measure(pen, EYE, at, y)
    pen.text((EYE + at) / 2, y + 22, write_distance(fixation_cm), kind="number")
    pen.text(314, y + 22, UNSCALED, size=SMALL, anchor="end")
    facts = f"The patient looks at something {write_distance(fixation_cm)} from the eye."
    return pen.figure(uid=uid, title="What the patient looks at", description=facts, height=y + 34)


def three_targets(*, mirror_cm: float, switch_cm: float, light_cm: float, uid: str) -> Figure:
    """Draw an eye with the examiner's light, a mirror and a switch on the end wall, each with its distance in cm.

    Not to scale; the mirror and the switch stand in their true order.

    Raises
    ------
    OutOfRange
        For a distance that is not above 0.
    """
    far = [
        (checked_distance("mirror distance", mirror_cm), "mirror"),
        (checked_distance("switch distance", switch_cm), "switch"),
    ]
    checked_distance("light distance", light_cm)
    pen, mid = Pen(), 66.0
    profile(pen, EYE, mid, 20)
    pen.line((EYE + 6, mid), (306, mid), "faint")
    sight_hole(pen, 128, mid)
    far.sort()
    places = (210.0, 286.0)
    for (_, name), x in zip(far, places, strict=True):
        if name == "mirror":
            pen.line((x, mid - 34), (x, mid + 34), weight=2.4)
            for step in range(5):
                pen.line((x, mid - 30 + 14 * step), (x + 6, mid - 24 + 14 * step), "faint")
        else:
            pen.path(f"M{points((x - 6, mid - 10), (x + 6, mid - 10), (x + 6, mid + 10), (x - 6, mid + 10))}Z")
            pen.dot((x, mid), 3)
    pen.text(128, mid - 30, "your light", size=SMALL)
    for (_, name), x in zip(far, places, strict=True):
        pen.text(x, mid - 42, name, size=SMALL)
    y = mid + 62
    for cm, name, x in (
        (light_cm, "your light", 128.0),
        *((cm, name, x) for (cm, name), x in zip(far, places, strict=True)),
    ):
        measure(pen, EYE, x, y)
        pen.text(EYE, y + 22, f"{name} {write_distance(cm)}", anchor="start", kind="number")
        y += 46
    pen.text(WIDTH / 2, y, UNSCALED, size=SMALL)
    facts = (
        f"Along the patient's gaze: the examiner's light {write_distance(light_cm)} from the eye, then "
        + ", then ".join(f"a {name} {write_distance(cm)} from the eye" for cm, name in far)
        + "."
    )
    return pen.figure(uid=uid, title="Three things to look at", description=facts, height=y + 12)
