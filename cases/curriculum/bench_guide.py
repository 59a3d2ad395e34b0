"""The guided first run at the bench: what a novice is to feel there, a bench set up for each, and what tells it.

`goal` names a condition that static/js/bench-goals.js watches for; without scripts the same is found by changing the
numbers and looking again.
"""

from __future__ import annotations

from dataclasses import dataclass

from cases.curriculum.bench_stage import Bench
from cases.optics.lens import SphCyl


@dataclass(frozen=True)
class Guided:
    """One part of the guided run."""

    goal: str
    title: str
    says: tuple[str, ...]
    """What is before you, and what to do."""
    then: str
    """What was felt, told once it has been."""
    bench: Bench
    free: frozenset[str] = frozenset()


GUIDE = (
    Guided(
        "swept",
        "With",
        (
            "You sit two thirds of a metre from an eye and look along the beam. The streak lights the face, and where "
            "it enters the pupil some of it comes back: the reflex.",
            "Sweep the streak across the pupil, slowly, from one side to the other and back. Watch the glow inside the "
            "pupil, not the light on the lids.",
        ),
        "The glow went the way your hand went. That is with. It means that plus is wanted.",
        Bench(eye=SphCyl(1.0), pupil_mm=6.5),
    ),
    Guided(
        "neutral",
        "Towards neutral",
        (
            "Put plus in, a quarter at a time, and sweep after every step.",
            "The reflex grows faster and brighter and, over the last dioptre or so, wider, until nothing travels: the "
            "pupil lights up whole and goes dark whole. That is neutral. Go on until you have it.",
        ),
        "Neutral: all of it at once, and bright. Fast, wide and bright is near. Slow and dull is far: the band is "
        "narrowest on the way in, and far off it is wide again.",
        Bench(eye=SphCyl(1.0), sphere=0.5, pupil_mm=6.5),
        frozenset({"lenses"}),
    ),
    Guided(
        "reversal",
        "Past it: against",
        (
            "This eye is at neutral. Put another half dioptre of plus in and sweep: now the glow runs the other way. "
            "That is against, and it wants minus.",
            "Then take the plus back out until it is neutral again. Going past and coming back is how an end-point is "
            "found: neutral is a zone, not a point.",
        ),
        "With wants plus, against wants minus, and neutral lies between the two.",
        Bench(eye=SphCyl(1.0), sphere=2.5, pupil_mm=6.5),
        frozenset({"lenses"}),
    ),
    Guided(
        "aligned",
        "Skew",
        (
            "This eye has astigmatism, and your streak does not lie on its axis. Sweep, and compare the glow in the "
            "pupil with the light on the lids above and below: the two do not lie in one line.",
            "Turn the streak the way the glow is turned, until they do. Sweep to check.",
        ),
        "In line: the streak lies on a principal meridian. The axis is read there.",
        Bench(eye=SphCyl(-1.0, 2.0, 105), streak=85, pupil_mm=6.5),
        frozenset({"streak"}),
    ),
    Guided(
        "both",
        "Thickness",
        (
            "The same eye, with the streak on one of its meridians. Sweep and look how broad the band is and how fast.",
            "Now turn the streak through 90° and sweep again. Two meridians, two bands.",
        ),
        "The thin, slow band belongs to the meridian that is farther from neutral; its streak shows the axis best.",
        Bench(eye=SphCyl(-1.0, 2.0, 105), streak=105, pupil_mm=6.5),
        frozenset({"streak"}),
    ),
    Guided(
        "leaned",
        "Leaning in",
        (
            "Both meridians of this eye look neutral behind the lenses in the frame. Is it true? Lean in by 30 cm: a "
            "true neutral turns to with.",
            "Sweep with the streak at 105 and at 15. If the bands are equally wide and fast, the two were neutral "
            "together.",
        ),
        "With in both, and alike: a true end-point. Had one band been thinner, that meridian would still want plus.",
        Bench(eye=SphCyl(1.0, -2.0, 105), sphere=2.5, cylinder=-2.0, axis=105, streak=105, pupil_mm=7),
        frozenset({"streak", "lean"}),
    ),
)
