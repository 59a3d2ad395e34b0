"""A trial lens that stands askew in its frame: the tilt seen along its axis, and that axis from the front."""

from __future__ import annotations

from cases.figures.parts import checked_angle, lens_profile, profile
from cases.figures.pen import SMALL, WIDTH, Pen, engraved, points, toward
from cases.notation.prescription import write_axis
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

TALL = 44.0


def tilted_lens(lens: SphCyl, *, tilt: float, tilt_axis: float, uid: str) -> Figure:
    """Draw the eye and a lens tilted before it, and beside them, from the front, the meridian about which it is tilted.

    lens: as it is marked. tilt: degrees. tilt_axis: the meridian about which it turns, 1..180.

    Raises
    ------
    OutOfRange
        For a tilt axis outside 1..180.
    """
    checked_angle("axis of tilt", tilt_axis)
    pen, mid = Pen(), 84.0
    profile(pen, 44, mid, 20)
    pen.line((50, mid), (196, mid), "mine")
    stand = (126.0, mid)
    pen.line((stand[0], mid - 62), (stand[0], mid + 62), "faint")
    lens_profile(pen, *stand, lens, tall=TALL, tilt=tilt)
    # A tilt of a few degrees would leave no room for its arc.
    edge = toward(90 - tilt, 56, stand)
    pen.path(f"M{points((stand[0], mid - 56))}A56 56 0 0 1 {points(edge)}")
    pen.text(stand[0] + 34, mid - 52, f"{tilt:g}°", anchor="start", kind="number")
    dial = (256.0, mid)
    pen.circle(dial, 40)
    pen.line(toward(tilt_axis, 46, dial), toward(tilt_axis + 180, 46, dial), "mine", weight=2)
    pen.text(dial[0], mid - 62, "from the front", size=SMALL)
    pen.text(312, mid + 76, f"turned about {write_axis(tilt_axis)}", size=SMALL, anchor="end")
    pen.text(8, mid + 76, "seen along that line", size=SMALL, anchor="start")
    pen.text(WIDTH / 2, mid + 104, f"marked {engraved(lens)}", kind="number")
    facts = (
        f"A lens marked {engraved(lens)} is in front of the eye, tilted by {tilt:g} degrees about its "
        f"{write_axis(tilt_axis)} meridian. The line of sight passes its middle."
    )
    return pen.figure(uid=uid, title="A tilted trial lens", description=facts, height=mid + 116)
