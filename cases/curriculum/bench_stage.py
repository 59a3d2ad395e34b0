"""The bench: an eye, a sphere and a cylinder before it, and a retinoscope; what is seen there, in words and as a still.

The moving picture is static/js/bench*.js; both draw on the same optics (reflex.py, static/reflex.js), and the
names of the fields are those of the form on the page and of the script's state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from cases.errors import CaseError
from cases.figures import pupil_reflex
from cases.figures.parts import heading
from cases.figures.pupil_reflex import Breadth, Brightness, Speed, travel
from cases.notation.prescription import write_axis
from cases.optics import light
from cases.optics.appearance import PUPIL_MM, Seen, seen_in
from cases.optics.lens import SphCyl
from cases.optics.reflex import NEUTRAL_ZONE, Cone, Setting, movement, skew, speed_ratio, zones
from cases.procedure.figure import Figure
from cases.procedure.keys import Drawing, Rule, given

SLEEVES = {"parallel": -1.5, "converging": 4.5}
"""The sleeve in D, by the setting that a case names: plane mirror, concave mirror. A plane-mirror setting is a slightly
diverging beam: against stays in sight farther from neutral than with a parallel one."""
SLEEVE = SLEEVES["parallel"]
SIGHT_HOLE_MM, BEAM_MM, FILAMENT_MRAD, SPOT_MRAD = 1.5, 5.0, 1.0, 5.0
"""The bench's own instrument. The beam's radius is what to measure on a real one: its parallel streak on a wall is
2(b + w·κ) wide."""
CONE_BELOW_MM, CONE_SPREAD_MM = 1.0, 1.0
"""Where the bench puts a cone, and how far it spreads: an example, no published source."""

NEAR_LAG, MOST_ACCOMMODATION = 0.5, 8.0
"""How far in D an eye stays behind a near target, the middle of the usual range (`norms`), and the most that it puts
in, an example."""

SAME_AS_STREAK = 2.0
"""Degrees within which a reflex is said to lie along the streak: about what an eye can tell; an estimate."""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """What is set at the bench.

    eye: the lens that corrects the eye. sphere, cylinder: the lenses in place in D; axis, streak: degrees in 1..180.
    sleeve: vergence of the beam in D; filament: "streak" or "spot".
    margin: D that the edge of the pupil wants more than its centre. off_h, off_v: degrees off the visual axis, to the
    examiner's right and up. coma, coma_v: D per mm by which E changes along 180 and 90. cone: D of a cone below the
    centre. haze: share of the light that the media scatter. unrest: what the eye does by itself, "none", "alive",
    "wavering", "jerk" or "pendular". target: what the eye looks at, "far" with its focus at rest, or "near", beside the
    sight hole, for which it accommodates. media: what is in the way of the light, to be drawn.
    """

    eye: SphCyl = field(default_factory=lambda: SphCyl(0))
    sphere: float = 0.0
    cylinder: float = 0.0
    axis: float = 180.0
    streak: float = 90.0
    distance_cm: float = 67.0
    sleeve: float = SLEEVE
    filament: str = "streak"
    pupil_mm: float = PUPIL_MM
    margin: float = 0.0
    off_h: float = 0.0
    off_v: float = 0.0
    coma: float = 0.0
    coma_v: float = 0.0
    cone: float = 0.0
    haze: float = 0.0
    unrest: str = "none"
    target: str = "far"
    media: tuple[str, ...] = ()

    @property
    def accommodated(self) -> float:
        """Return in D what the eye puts in: for a near target what that asks for, less the usual lag."""
        if self.target != "near":
            return 0.0
        asked = self.eye.spherical_equivalent - self.sphere - self.cylinder / 2 + 100 / self.distance_cm
        return min(max(0.0, asked - NEAR_LAG), MOST_ACCOMMODATION)

    @property
    def setting(self) -> Setting:
        """The same for the optics.

        Raises
        ------
        OutOfRange
            See `Setting`.
        """
        return Setting(
            rx=self.eye - SphCyl(self.accommodated) if self.accommodated else self.eye,
            in_place=SphCyl(self.sphere, self.cylinder, self.axis),
            distance_cm=self.distance_cm,
            pupil_mm=self.pupil_mm,
            sight_hole_mm=SIGHT_HOLE_MM,
            sleeve=self.sleeve,
            beam_mm=BEAM_MM,
            filament=self.filament,
            filament_mrad=SPOT_MRAD if self.filament == "spot" else FILAMENT_MRAD,
            coma=(self.coma, self.coma_v),
            cone=Cone(0.0, -CONE_BELOW_MM, self.cone, CONE_SPREAD_MM) if self.cone else None,
            haze=self.haze,
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

    Lengths in mm and angles in mrad as their names say, `oblique_per_deg2` in D per degree squared and
    `neutral_zone` in D.
    """
    return {
        "sight_hole_mm": SIGHT_HOLE_MM,
        "beam_mm": BEAM_MM,
        "filament_mrad": FILAMENT_MRAD,
        "spot_mrad": SPOT_MRAD,
        "cone_below_mm": CONE_BELOW_MM,
        "cone_spread_mm": CONE_SPREAD_MM,
        "near_lag": NEAR_LAG,
        "most_accommodation": MOST_ACCOMMODATION,
        "oblique_per_deg2": Setting.oblique_per_deg2,
        "neutral_zone": NEUTRAL_ZONE,
    }


@dataclass(frozen=True)
class View:
    """One place from which the bench is looked at: most cases have one, some set two or three side by side."""

    name: str
    bench: Bench
    words: tuple[str, ...] = ()
    """What the case has said of it, to be said of the picture too; without them `seen` says what a sweep shows."""


@dataclass(frozen=True)
class Stage:
    """How a case type is put on the bench: its views, and which parts of the bench the learner may change there."""

    views: Rule[tuple[View, ...]]
    """Made of the type's findings alone."""
    free: frozenset[str]
    """Out of "streak", "lenses", "lean" and "sleeve"; sweeping is always free."""


class NotInSight(CaseError):
    """A case that asks for a movement which no eye could see: it is drawn again."""


def require_in_sight(*benches: Bench) -> None:
    """Refuse to draw a case unless an eye can tell every one of its movements at its sleeve and pupil.

    Raises
    ------
    NotInSight
        When one is too dull, too faint to tell from neutral, or hidden by the edge of the beam.
    """
    for bench in benches:
        wanted = movement(bench.setting, bench.streak)
        if not light.shows(bench.setting, bench.streak, wanted):
            raise NotInSight(f"the movement {wanted} cannot be seen here: draw another case")


def require_plain(distance_cm: float, *left: float) -> None:
    """Refuse to draw a case unless an eye can tell the movement where this many D are still needed.

    For a pupil of 6 mm and the plane-mirror setting, from 25 to 100 cm: `light.shows` to within 1 D, on the safe side,
    in place of a sweep worked out for every draw. A law over all types holds drawn cases to the sweep itself.

    Raises
    ------
    NotInSight
        When one is too far from neutral.
    """
    vergence = 100 / distance_cm
    for power in left:
        if not -(1.5 + 2 * vergence) <= power <= min(1.5 + 4.5 * vergence, 12.0):
            raise NotInSight(f"{power:g} D from neutral no movement can be seen: draw another case")


def one_view(bench: Rule[Bench], free: frozenset[str]) -> Stage:
    """Make the stage on which a bench stands alone."""
    return Stage(given(bench)(lambda only: (View("", only),)), free)


def described_views(views: Sequence[tuple[str, Bench, Seen]]) -> tuple[View, ...]:
    """Return views of reflexes that a case describes in words, each with a name, a bench and its description.

    The words are those of a parallel beam, and so is the picture wherever every movement can be seen with one. Where
    one cannot, the picture keeps the slightly diverging beam of the bench, and the words say so.
    """
    level = [replace(bench, sleeve=0.0) for _, bench, _ in views]
    plain = all(light.shows(one.setting, one.streak, movement(one.setting, one.streak)) for one in level)
    note = () if plain else ("The picture has a slightly diverging beam, in which a reflex is slower.",)
    return tuple(
        View(name, one if plain else bench, (f"{look.words[:1].upper()}{look.words[1:]}.", *note))
        for one, (name, bench, look) in zip(level, views, strict=True)
    )


def seen(bench: Bench) -> tuple[str, ...]:
    """Say what a sweep shows, as plainly as eyes would, without judging it: a sentence for each thing.

    Nothing is said that the light does not show: see `cases.optics.light`. The words are ours.
    """
    setting, streak = bench.setting, bench.streak
    sweep = light.seen(setting, streak, light.watched(setting))
    swept = f"swept {heading(travel(streak))}"
    lines = [
        f"A spot of light is {swept}."
        if bench.filament == "spot"
        else f"The streak lies at {write_axis(streak)} and is {swept}."
    ]
    if bench.target == "near":
        lines.append("The patient looks at a target beside your sight hole.")
    scissors = light.parts_and_meets(setting, streak)
    moves = sweep.word in SEEN_WAYS and not scissors
    if scissors:
        lines.append("Two bands travel opposite ways in one pupil: they part and meet again in one sweep.")
    elif moves:
        way, faint = SEEN_WAYS[sweep.word]
        how = "faintly" if faint else _speed(speed_ratio(setting, streak))
        lines.append(f"In the pupil the reflex travels {way} the streak, {how}.")
    elif sweep.word == light.TOO_DULL:
        lines.append("It is too dull to show which way the reflex moves.")
    elif sweep.peak_mm2 >= FILLS_MM2:
        lines.append("No reflex is seen to travel: the pupil is bright, fills and empties at once.")
    else:
        lines.append("The pupil is dull and even: you cannot see which way the reflex moves.")
    band = light.band_seen(setting, streak)
    if moves:
        lines.append(f"Its band {_grade(band.share, WIDTHS)}{_tilt(skew(setting, streak), band, bench.filament)}.")
    lines.append(f"It is {_grade(sweep.peak_mm2, BRIGHTNESSES)}.")
    edge = light.seen(setting, streak, "edge")
    if bench.margin and moves and edge.word in SEEN_WAYS and SEEN_WAYS[edge.word][0] != SEEN_WAYS[sweep.word][0]:
        lines.append(f"At the edge of the pupil light travels {SEEN_WAYS[edge.word][0]} the streak.")
    return tuple(lines)


SEEN_WAYS = {
    "with": ("the same way as", False),
    "with, faint": ("the same way as", True),
    "against": ("the opposite way to", False),
    "against, faint": ("the opposite way to", True),
}
FILLS_MM2 = 4.0
"""Light at the centre from which a pupil without movement is bright enough to be called neutral by eye."""
BRIGHTNESSES = ((5.0, "bright"), (1.5, "fairly bright"), (0.4, "dull"), (0.0, "very dull"))
WIDTHS = (
    (0.95, "fills the pupil"),
    (2 / 3, "takes up most of the pupil"),
    (1 / 3, "takes up about half of the pupil"),
    (0.0, "is thin"),
)
TILT_DEG, TILT_CONTRAST, TILT_SHARE = 5.0, 0.2, 0.8
"""A band is said to be turned where it is turned this far, this plain and this narrow. Thresholds of words are ours: no
published source; to be tried with clinicians."""


def _grade(value: float, grades: tuple[tuple[float, str], ...]) -> str:
    return next(words for least, words in grades if value >= least)


def _speed(ratio: float) -> str:
    return "faster than it" if ratio > 1.4 else "slower than it" if ratio < 0.7 else "about as fast as it"


def _tilt(turned: float, band: light.BandSeen, filament: str) -> str:
    if filament == "spot" or band.contrast < TILT_CONTRAST or band.share >= TILT_SHARE or abs(turned) < TILT_DEG:
        return ""
    way = "anticlockwise" if turned > 0 else "clockwise"
    return f", and it is turned {way} from the streak by about {5 * round(abs(turned) / 5):.0f}°"


def still(bench: Bench, *, uid: str, name: str = "", bare: bool = False) -> Figure:
    """Draw what a sweep shows as a still: the movement in arrows, never in words.

    Raises
    ------
    OutOfRange
        When `uid` is no id.
    """
    setting, streak = bench.setting, bench.streak
    centre, margin = zones(setting, streak)
    seen_movement = centre.movement
    if seen_movement == "neither" or margin.movement == "neither" or not light.shows(setting, streak, seen_movement):
        # No way of travel that an eye could tell: the streak alone, and the words beside it say why.
        return pupil_reflex.movement("neutral", streak=streak, uid=uid, say=False, name=name, bare=bare)
    if seen_movement != margin.movement:
        return pupil_reflex.zones(seen_movement, margin.movement, uid=uid, streak=streak, say=False, bare=bare)
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
        bare=bare,
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
    # As the words beside it have them: by the light that comes back.
    share = light.band_seen(bench.setting, bench.streak).share
    width: Breadth | None = "wide" if share >= 2 / 3 else "narrow" if share < 1 / 3 else None
    lit: Brightness | None = "bright" if look.brightness >= 0.8 else "dim" if look.brightness < 0.6 else None
    return pupil_reflex.DrawnLook(None if look.movement == "neutral" else speed, width, lit, share)
