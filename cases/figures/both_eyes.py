"""Both eyes side by side as the examiner faces the patient, each with its dial, its minus axis and its lens."""

from __future__ import annotations

from cases.figures.lenses import is_sphere
from cases.figures.parts import scale
from cases.figures.pen import SMALL, Pen, toward
from cases.notation.prescription import write_axis, write_prescription
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

CENTRES = ((82.0, 74.0), (238.0, 74.0))
DIAL = 44.0


def two_eyes(right: SphCyl, left: SphCyl, *, uid: str) -> Figure:
    """Draw a lens for each eye: the right eye on the examiner's left, a thick line along each cylinder's minus axis.

    Under each dial the lens is written in the form that it has, the cylinder below the sphere. The line lies along the
    minus axis in either form, so that the two can be compared at a glance. A sphere has no line.
    """
    pen = Pen()
    facts = []
    for name, lens, centre in (("right", right, CENTRES[0]), ("left", left, CENTRES[1])):
        pen.circle(centre, DIAL, weight=1.8)
        scale(pen, centre, DIAL + 3, lettered=False)
        told = write_prescription(lens, "as-is")
        if is_sphere(lens):
            pen.circle(centre, 5, "truth", weight=2)
            facts.append(f"{name.capitalize()} eye: {told}, without a cylinder.")
        else:
            axis = lens.minus_form().axis
            pen.line(toward(axis, DIAL, centre), toward(axis + 180, DIAL, centre), "truth", weight=3)
            facts.append(f"{name.capitalize()} eye: {told}; its minus axis lies along {write_axis(axis)}.")
        pen.text(centre[0], 146, f"{name} eye", size=SMALL)
        for line, words in enumerate(told.split(" / ")):
            pen.text(centre[0], 168 + 20 * line, words, kind="number")
    return pen.figure(uid=uid, title="Both eyes", description=" ".join(facts), height=198)
