"""The bench: an eye, a sphere and a cylinder before it, and a retinoscope; what is seen there, in words and as a still.

The moving picture is static/js/bench*.js; both draw on the same optics (reflex.py, static/reflex.js), and the
names of the fields are those of the form on the page and of the script's state.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

from cases.figures import pupil_reflex
from cases.figures.parts import heading
from cases.figures.pupil_reflex import Breadth, Brightness, Speed, travel
from cases.notation.prescription import write_axis
from cases.optics.appearance import PUPIL_MM, seen_in
from cases.optics.lens import SphCyl
from cases.optics.reflex import DIM_AT, NEUTRAL_ZONE, Setting, movement, skew, speed_ratio, width_mm, zones
from cases.procedure.figure import Figure
from cases.procedure.keys import Drawing, Rule, given

SLEEVES = {"diverging": -1.5, "parallel": 0.0, "converging": 4.5}
"""The sleeve in D, by its names. The bench's own instrument."""
SIGHT_HOLE_MM, STREAK_MRAD = 1.5, 1.0

SAME_AS_STREAK = 2.0
"""Degrees within which a reflex is said to lie along the streak: about what an eye can tell; an estimate."""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What is set at the bench.

    eye: the lens that corrects the eye. sphere, cylinder: the lenses in place in D; axis, streak: degrees in 1..180.
    sleeve: "diverging" or "parallel", both plane-mirror settings, or "converging", the concave-mirror setting.
    margin: D that the edge of the pupil wants more than its centre. off_h, off_v: degrees off the visual axis, to the
    examiner's right and up.
    """

    eye: SphCyl = field(default_factory=lambda: SphCyl(0))
    sphere: float = 0.0
    cylinder: float = 0.0
    axis: float = 180.0
    streak: float = 90.0
    distance_cm: float = 67.0
    sleeve: str = "parallel"
    pupil_mm: float = PUPIL_MM
    margin: float = 0.0
    off_h: float = 0.0
    off_v: float = 0.0

    @property
    def setting(self) -> Setting:
        """The same for the optics.

        Raises
        ------
        OutOfRange
            See `Setting`.
        """
        return Setting(
            rx=self.eye,
            in_place=SphCyl(self.sphere, self.cylinder, self.axis),
            distance_cm=self.distance_cm,
            pupil_mm=self.pupil_mm,
            sight_hole_mm=SIGHT_HOLE_MM,
            sleeve=SLEEVES[self.sleeve],
            filament_mrad=STREAK_MRAD,
            margin_per_mm2=self.margin / (self.pupil_mm / 2) ** 2,
            off_axis_h=self.off_h,
            off_axis_v=self.off_v,
        )

    def holding(self, lens: SphCyl) -> Bench:
        """Return the same bench with this lens in place, its powers in D."""
        return replace(self, sphere=lens.sphere, cylinder=lens.cylinder, axis=lens.axis)

    def as_json(self) -> dict[str, Any]:
        """Return the fields under their own names for JSON."""
        return asdict(self)


def instrument() -> dict[str, Any]:
    """Return for JSON the numbers of the bench's instrument that a script which draws it needs as well.

    Lengths in mm as their names say, `filament_mrad` in milliradians, `oblique_per_deg2` in D per degree squared,
    `sleeves`, `neutral_zone` and `dim_at` in D. What each is, reflex.py says.
    """
    return {
        "sight_hole_mm": SIGHT_HOLE_MM,
        "filament_mrad": STREAK_MRAD,
        "sleeves": SLEEVES,
        "oblique_per_deg2": Setting.oblique_per_deg2,
        "neutral_zone": NEUTRAL_ZONE,
        "dim_at": DIM_AT,
    }


@dataclass(frozen=True)
class View:
    """One place from which the bench is looked at: most cases have one, some set two or three side by side."""

    name: str
    bench: Bench


@dataclass(frozen=True)
class Stage:
    """How a case type is put on the bench: its views, and which parts of the bench the learner may change there."""

    views: Rule[tuple[View, ...]]
    """Made of the type's findings alone."""
    free: frozenset[str]
    """Out of "streak", "lenses" and "lean"; sweeping is always free."""


def one_view(bench: Rule[Bench], free: frozenset[str]) -> Stage:
    """Make the stage on which a bench stands alone."""
    return Stage(given(bench)(lambda only: (View("", only),)), free)


def seen(bench: Bench) -> tuple[str, ...]:
    """Say what a sweep shows, as plainly as eyes would, without judging it: a sentence for each thing.

    Source: reflex.py; the words are ours.
    """
    setting, streak = bench.setting, bench.streak
    way = travel(streak)
    seen_movement = movement(setting, streak)
    lines = [f"The streak lies at {write_axis(streak)} and is swept {heading(way)}."]
    if seen_movement == "neutral":
        lines.append("The whole pupil lights up and goes dark at once; no reflex is seen to travel.")
    else:
        lines.append(f"In the pupil the reflex {_travels(seen_movement)}, {_speed(speed_ratio(setting, streak))}.")
        lines.append(
            f"Its band {_width(width_mm(setting, streak)[0] / bench.pupil_mm)}, {_skew(skew(setting, streak))}."
        )
    lines.append(f"It is {seen_in(setting, streak).brightness_words}.")
    centre, margin = zones(setting, streak)
    if centre.movement != margin.movement:
        edge = (
            "lights up and goes dark at once"
            if margin.movement == "neutral"
            else f"shows light that {_travels(margin.movement)}"
        )
        lines.append(f"That is the centre; the edge of the pupil {edge}.")
    return tuple(lines)


def _travels(seen_movement: str) -> str:
    return {
        "with": "travels the same way as the streak",
        "against": "travels the opposite way to the streak",
        "neither": "lies nearly across the streak and slides along it",
    }[seen_movement]


def _speed(ratio: float) -> str:
    if ratio > 5:
        return "more than five times as fast as it"
    if 0.9 <= ratio <= 1.1:
        return "about as fast as it"
    return f"about {ratio:.2g} times as fast as it"


def _width(share: float) -> str:
    return "fills the pupil" if share >= 1 else f"takes up about {round(share * 20) * 5} % of the pupil's width"


def _skew(turned: float) -> str:
    if abs(turned) <= SAME_AS_STREAK:
        return "and it lies along the streak"
    way = "anticlockwise" if turned > 0 else "clockwise"
    return f"and it stands turned {way} from the streak by about {abs(turned):.0f}°"


def still(bench: Bench, *, uid: str, name: str = "") -> Figure:
    """Draw what a sweep shows as a still: the movement in arrows, never in words.

    Raises
    ------
    OutOfRange
        When `uid` is no id.
    """
    setting, streak = bench.setting, bench.streak
    centre, margin = zones(setting, streak)
    seen_movement = centre.movement
    if seen_movement == "neither" or margin.movement == "neither":
        # No way of travel to draw: the streak alone, and the words beside it say why.
        return pupil_reflex.movement("neutral", streak=streak, uid=uid, say=False, name=name)
    if seen_movement != margin.movement:
        return pupil_reflex.zones(seen_movement, margin.movement, uid=uid, streak=streak, say=False)
    turned = skew(setting, streak)
    bent = min(max(turned, -80.0), 80.0)
    reflex_at = (streak + bent) % 180 or 180.0
    lies_along = abs(turned) <= SAME_AS_STREAK
    return pupil_reflex.movement(
        seen_movement,
        uid=uid,
        streak=streak,
        reflex_at=None if lies_along else reflex_at,
        look=_look(bench),
        say=False,
        name=name,
    )


def as_still(bench: Rule[Bench]) -> Drawing:
    """Make the rule of a figure that is the `still` of this bench."""
    return given(bench).drawing(lambda uid, drawn: still(drawn, uid=uid))


def _look(bench: Bench) -> pupil_reflex.DrawnLook:
    look = seen_in(bench.setting, bench.streak)
    # Where nothing travels there is no speed to tell: to call neutral fast would be the very slip that is to be seen.
    speed: Speed | None = "fast" if look.speed > 1.2 else "slow" if look.speed < 0.6 else None
    width: Breadth | None = "wide" if look.width > 0.85 else "narrow" if look.width < 0.6 else None
    light: Brightness | None = "bright" if look.brightness >= 0.8 else "dim" if look.brightness < 0.6 else None
    return pupil_reflex.DrawnLook(None if look.movement == "neutral" else speed, width, light, look.width)
