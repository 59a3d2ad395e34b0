"""Reflexes that are not a plain band: schematic drawings, described by what is seen and named only on request."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from cases.figures.parts import WASH, Point, band, disc, iris, lit_disc
from cases.figures.pen import SMALL, WIDTH, Pen, toward
from cases.procedure.figure import Figure

OddReflex = Literal["scissors", "oil-drop", "dark-shadow", "dim", "white", "absent", "unequal", "fluctuating"]

CENTRE: Point = (WIDTH / 2, 104.0)
RIM, PUPIL = 94.0, 66.0
PAIR: tuple[Point, Point] = ((84.0, 82.0), (236.0, 82.0))


def odd_reflex(kind: OddReflex, *, uid: str, name_it: bool = False) -> Figure:
    """Draw an odd reflex as a diagram; strokes stand for light.

    The words say what is seen; the kind's own name is in the title only when `name_it` is true.
    """
    draw, name, caption, description = _KINDS[kind]
    pen = Pen()
    y = draw(pen)
    pen.text(WIDTH / 2, y, caption)
    return pen.figure(
        uid=uid,
        title=name if name_it else "An unusual reflex",
        description=description + " A diagram, not a likeness.",
        height=y + 12,
    )


def _scissors(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    pivot = toward(270, PUPIL - 14, CENTRE)
    for lean in (-17, 17):
        turn = 90 + lean
        # The band is placed by its offset from the pupil's centre so that both blades meet at the pivot.
        foot = toward(turn + 90, 1)
        offset = (pivot[0] - CENTRE[0]) * foot[0] + (pivot[1] - CENTRE[1]) * foot[1]
        band(pen, CENTRE, PUPIL, turn, half_width=7, offset=offset)
    for side in (-1, 1):
        pen.arrow((CENTRE[0] + 18 * side, CENTRE[1] - 32), (CENTRE[0] + 3 * side, CENTRE[1] - 32))
    return CENTRE[1] + RIM + 26


def _oil_drop(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    lit_disc(pen, CENTRE, PUPIL, hole=(CENTRE, 40))
    pen.circle(CENTRE, 40, weight=1.2)
    pen.circle(CENTRE, 27, weight=1.2)
    lit_disc(pen, CENTRE, 27)
    return CENTRE[1] + RIM + 26


def _dark_shadow(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    spot = toward(300, 20, CENTRE)
    lit_disc(pen, CENTRE, PUPIL, hole=(spot, 27))
    pen.circle(spot, 27, weight=1.2)
    pen.text(spot[0], spot[1] + 0.36 * SMALL, "dark", size=SMALL)
    return CENTRE[1] + RIM + 26


def _dim(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    lit_disc(pen, CENTRE, PUPIL, brightness="dim")
    return CENTRE[1] + RIM + 26


def _white(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    pen.wash(disc(CENTRE, PUPIL), WASH["bright"])
    # Rays say that it glows: on white paper the tint alone would look like a grey pupil.
    for turn in range(15, 360, 30):
        pen.line(toward(turn, PUPIL + 4, CENTRE), toward(turn, PUPIL + 13, CENTRE), weight=2.4)
    return CENTRE[1] + RIM + 26


def _absent(pen: Pen) -> float:
    iris(pen, CENTRE, RIM, PUPIL)
    return CENTRE[1] + RIM + 26


def _unequal(pen: Pen) -> float:
    for centre, eye, brightness in zip(PAIR, ("right eye", "left eye"), ("bright", "dim"), strict=True):
        iris(pen, centre, 62, 42)
        lit_disc(pen, centre, 42, brightness=brightness)
        pen.text(centre[0], 166, eye, size=SMALL)
    return 192


def _fluctuating(pen: Pen) -> float:
    for centre, moment, half_width, pupil in zip(PAIR, ("at first", "a moment later"), (16, 6), (44, 36), strict=True):
        iris(pen, centre, 62, pupil)
        band(pen, centre, pupil, 90, half_width=half_width, brightness="bright" if half_width > 10 else "dim")
        pen.text(centre[0], 166, moment, size=SMALL)
    return 192


_KINDS: dict[OddReflex, tuple[Callable[[Pen], float], str, str, str]] = {
    "scissors": (
        _scissors,
        "Scissors reflex",
        "two bands meet and part",
        "Two bands of light in one pupil, joined below, close towards each other and open again during one sweep.",
    ),
    "oil-drop": (
        _oil_drop,
        "Oil-drop reflex",
        "a round core inside a shadow",
        "A round lit core in the middle of the pupil is set off from the lit outer part by a ring of shadow.",
    ),
    "dark-shadow": (
        _dark_shadow,
        "Dark shadow in the reflex",
        "a dark patch in a lit pupil",
        "The pupil is lit apart from one dark patch with a clear edge, below and to the right of the centre.",
    ),
    "dim": (
        _dim,
        "Dim reflex",
        "faint light, no band",
        "The whole pupil is faintly lit, without a band whose movement could be judged.",
    ),
    "white": (
        _white,
        "White reflex",
        "glows white, not red",
        "The whole pupil glows white where a red or orange glow is expected.",
    ),
    "absent": (
        _absent,
        "Absent reflex",
        "no light comes back",
        "The whole pupil stays dark, with no light in it anywhere.",
    ),
    "unequal": (
        _unequal,
        "Reflexes of unequal brightness",
        "one bright, one faint",
        "The two pupils side by side as the examiner sees them: the patient's right eye, on the examiner's left, "
        "glows brightly; the left eye only faintly.",
    ),
    "fluctuating": (
        _fluctuating,
        "Fluctuating reflex",
        "same eye, same lens",
        "One eye at two moments behind the same lens: at first a wide bright band, a moment later a narrow faint one "
        "in a smaller pupil.",
    ),
}
