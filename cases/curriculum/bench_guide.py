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
            "You look along the beam at an eye 67 cm away. The light that comes back out of the pupil is the reflex.",
            "Drag the streak slowly across the pupil and back. Watch the pupil, not the lids.",
        ),
        "The reflex went the way the streak went: with. Add plus until it stops; part of that plus is the working "
        "distance.",
        Bench(eye=SphCyl(1.0), pupil_mm=6.5),
    ),
    Guided(
        "neutral",
        "Towards neutral",
        (
            "Put plus in, a quarter dioptre at a time, and sweep after every lens.",
            "Stop when nothing travels: the pupil fills and empties at once.",
        ),
        "Neutral: all at once. Just before it the reflex was fast and wide. The brightest band came earlier.",
        Bench(eye=SphCyl(1.0), sphere=0.5, pupil_mm=6.5),
        frozenset({"lenses"}),
    ),
    Guided(
        "reversal",
        "Past it: against",
        (
            "This eye is neutral. Add +0.50 and sweep: the reflex now goes the other way, against.",
            "Take the +0.50 out again and sweep. An end-point is found by passing it and coming back.",
        ),
        "With needs plus, against needs minus. Neutral lies between them.",
        Bench(eye=SphCyl(1.0), sphere=2.5, pupil_mm=6.5),
        frozenset({"lenses"}),
    ),
    Guided(
        "faded",
        "Where against fades",
        (
            "This eye needs a lot of minus. Sweep: the pupil is dull, and you cannot see which way the light moves.",
            "Add minus, 1 D at a time, and sweep until against is plain.",
        ),
        "More than about 4 D from neutral, against fades: you see only the edge of the beam. Try a strong lens.",
        Bench(eye=SphCyl(-6.5), pupil_mm=6.5),
        frozenset({"lenses"}),
    ),
    Guided(
        "sleeved",
        "The sleeve",
        (
            "The sleeve makes the beam broader or narrower. Move it until the streak is one thin line on the lids.",
            "Push it farther, and the beam crosses: every movement then turns round.",
        ),
        "A line on the face shows the axis best. Sweep with a broad streak: there, with needs plus.",
        Bench(eye=SphCyl(1.0), pupil_mm=6.5),
        frozenset({"sleeve"}),
    ),
    Guided(
        "aligned",
        "Skew",
        (
            "This eye is astigmatic, and your streak is off its axis. The band in the pupil is turned from the streak.",
            "Turn the streak the way the band is turned, until the two are in line. Then sweep.",
        ),
        "In line: the streak is on a principal meridian. Read the axis there.",
        Bench(eye=SphCyl(-1.0, 2.0, 105), streak=85, pupil_mm=6.5),
        frozenset({"streak"}),
    ),
    Guided(
        "both",
        "Thickness",
        (
            "The streak is on one meridian of the same eye. Sweep, and see how broad and how fast the band is.",
            "Turn the streak through 90° and sweep again.",
        ),
        "Two meridians, two bands. The slower one is farther from neutral.",
        Bench(eye=SphCyl(-1.0, 2.0, 105), streak=105, pupil_mm=6.5),
        frozenset({"streak"}),
    ),
    Guided(
        "leaned",
        "Leaning in",
        (
            "Both meridians look neutral behind these lenses. To check, lean in to 40 cm: neutral turns to with.",
            "Sweep with the streak at 105 and at 15. Compare the two bands.",
        ),
        "With in both, equally wide: a true end-point. The meridian of a thinner band would still need plus.",
        Bench(eye=SphCyl(1.0, -2.0, 105), sphere=2.5, cylinder=-2.0, axis=105, streak=105, pupil_mm=7),
        frozenset({"streak", "lean"}),
    ),
)
