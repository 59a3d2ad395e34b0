"""What the bench's templates receive: the stage with its views, its form, and the same facts as stills and words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from cases.curriculum.bench_stage import Bench, Stage, View, instrument, seen, still
from cases.notation.prescription import write_power
from cases.optics.reflex import residual
from quiz.practice.forms import BadText, Input, Pick, Shown, nested, read, shown, written
from quiz.storage.rows import write_json
from quiz.web.moving_views import Still
from quiz.web.pictures import picture

EYE, LENSES, STREAK, LEAN, SLEEVE, SIGHT = "eye", "lenses", "streak", "lean", "sleeve", "sight"
EVERYTHING = frozenset((EYE, LENSES, STREAK, LEAN, SLEEVE, SIGHT))


@dataclass(frozen=True)
class Dial:
    """A number between limits, in steps, that may be turned as well as typed."""

    unit: str
    low: float
    high: float
    step: float
    by: float
    """How far one press of a button goes."""
    less: str = "less"
    more: str = "more"
    how = "dial"

    def read(self, text: str) -> float:
        """Read a number within the limits."""
        try:
            value = float(text.replace("−", "-").replace(",", "."))
        except ValueError:
            value = float("nan")
        if not self.low <= value <= self.high:
            limits = f"{self.low:g} to {self.high:g} {self.unit}".rstrip().replace("-", "−")
            raise BadText(f"“{text[:20]}”: give {limits}")
        return value

    def write(self, value: float) -> str:
        """Write a power with its sign and two decimals, or more where it was typed so."""
        if self.unit == "D" and round(value, 2) == value:
            return write_power(value)
        return f"{value:+g}".replace("-", "−") if self.unit == "D" else f"{value:g}"

    from_json = float


_SPHERE = Dial("D", -20, 20, 0.25, 0.25, "a quarter more minus", "a quarter more plus")
_CYLINDER = replace(_SPHERE, low=-8, high=8)
_TURN = Dial("°", 1, 180, 1, 5, "turn clockwise 5°", "turn anticlockwise 5°")
_DISTANCE = Dial("cm", 25, 120, 1, 5, "lean in", "lean back")
_FILAMENTS = (("streak", "streak"), ("spot", "spot"))
_UNREST = (
    ("none", "at rest"),
    ("alive", "pupil and focus alive"),
    ("wavering", "focus wavering"),
    ("jerk", "jerk nystagmus"),
    ("pendular", "pendular nystagmus"),
)
_TARGETS = (("far", "far off, focus at rest"), ("near", "beside your sight hole"))
SHELVES = {
    LENSES: "Lenses in place",
    STREAK: "Streak",
    LEAN: "Distance",
    SLEEVE: "Sleeve and lamp",
    SIGHT: "Where you look from",
    EYE: "The eye",
}
"""Quantities that belong together, by what makes them free to be changed."""
DIALS = (
    Input("sphere", "Sphere", _SPHERE, entry=LENSES),
    Input("cylinder", "Cylinder", _CYLINDER, entry=LENSES),
    Input("axis", "Axis of the cylinder", _TURN, entry=LENSES),
    Input("streak", "Streak lies at", _TURN, entry=STREAK),
    Input("distance_cm", "Sight hole to pupil", _DISTANCE, entry=LEAN),
    Input("off_h", "To your right of the visual axis", Dial("°", -20, 20, 1, 5, "5° left", "5° right"), entry=SIGHT),
    Input("off_v", "Above the visual axis", Dial("°", -20, 20, 1, 5, "5° down", "5° up"), entry=SIGHT),
    Input("target", "What the eye looks at", Pick(_TARGETS), entry=SIGHT),
    Input("sleeve", "Beam: minus diverging, plus converging", Dial("D", -4, 6, 0.1, 0.5), entry=SLEEVE),
    Input("filament", "Lamp", Pick(_FILAMENTS), entry=SLEEVE),
    Input("eye_sphere", "Its sphere", _SPHERE, kept="eye.sphere", entry=EYE),
    Input("eye_cylinder", "Its cylinder", _CYLINDER, kept="eye.cylinder", entry=EYE),
    Input("eye_axis", "Its axis", _TURN, kept="eye.axis", entry=EYE),
    Input("pupil_mm", "Pupil", Dial("mm", 3, 8, 0.5, 0.5, "smaller", "larger"), entry=EYE),
    Input("margin", "Spherical aberration, edge minus centre", Dial("D", -2, 2, 0.25, 0.25), entry=EYE),
    Input("coma", "Coma along 180, for scissors", Dial("D/mm", -0.5, 0.5, 0.05, 0.1), entry=EYE),
    Input("cone", "Cone below the centre", Dial("D", 0, 6, 0.5, 1, "weaker", "stronger"), entry=EYE),
    Input("haze", "Haze of the media, share of the light", Dial("", 0, 0.9, 0.05, 0.1), entry=EYE),
    Input("unrest", "What the eye does by itself", Pick(_UNREST), entry=EYE),
)
LIMITS = {
    one.name: (one.kind.low, one.kind.high)
    for one in DIALS
    if isinstance(one.kind, Dial) and (one.kind.unit != "°" or one.kind.low < 0)
}
"""Least and most of what may be set; an axis and a streak go round instead."""


@dataclass(frozen=True)
class Shelf:
    """A shelf as the form shows it."""

    id: str
    title: str
    dials: tuple[Shown, ...]


@dataclass(frozen=True)
class Number:
    """One number of the exact picture, kept up to date by the script under its key."""

    key: str
    label: str
    value: str


@dataclass(frozen=True)
class StagePage:
    """The stage on a page."""

    views: str
    """JSON for the script."""
    instrument: str
    """Numbers of the core that the script needs as well, and the limits of what may be set, as JSON."""
    names: tuple[str, ...]
    shelves: tuple[Shelf, ...]
    stills: tuple[Still, ...]
    numbers: tuple[Number, ...]
    free: tuple[str, ...]
    goal: str | None = None


def read_bench(usual: Bench, free: Collection[str], given: Mapping[str, str]) -> tuple[Bench, dict[str, str]]:
    """Read what a form set, as far as it is free to be; what cannot be is left as it was, and the reasons returned."""
    turned = [one for one in DIALS if one.entry in free and given.get(one.name, "").strip()]
    values, faults = read(turned, given)
    bench = nested(turned, values)
    return replace(usual, **bench | {"eye": replace(usual.eye, **bench.get("eye", {}))}), faults


def set_views(
    stage: Stage, findings: Mapping[str, Any], given: Mapping[str, str]
) -> tuple[tuple[View, ...], dict[str, str]]:
    """Return the views of a case at the bench with what a form set there, and what could not be set."""
    read_views = [(view, *read_bench(view.bench, stage.free, given)) for view in stage.views(findings)]
    return tuple(replace(view, bench=bench) for view, bench, _ in read_views), read_views[0][2]


def stage_page(
    views: tuple[View, ...],
    free: Collection[str],
    *,
    numbers: bool = False,
    faults: Mapping[str, str] | None = None,
    given: Mapping[str, str] | None = None,
    goal: str | None = None,
) -> StagePage:
    """Show a stage; every dial that is not free stays out of the form, and a faulty one shows what was given for it."""
    dials = [one for one in DIALS if one.entry in free]
    texts = written(dials, views[0].bench) | {name: (given or {})[name] for name in faults or {}}
    form = shown(dials, texts, faults, before="bench-").values()
    return StagePage(
        views=write_json([{"name": view.name, "bench": view.bench.as_json()} for view in views]),
        instrument=write_json(instrument() | {"limits": LIMITS}),
        names=tuple(view.name for view in views) if len(views) > 1 else (),
        shelves=tuple(
            Shelf(id_, title, tuple(one for one in form if one.input.entry == id_))
            for id_, title in SHELVES.items()
            if id_ in free
        ),
        stills=tuple(
            Still(view.name, picture(still(view.bench, uid=f"still-{place}", name=view.name)), seen(view.bench))
            for place, view in enumerate(views)
        ),
        numbers=_numbers(views[0].bench) if numbers else (),
        free=tuple(sorted(free)),
        goal=goal,
    )


def _numbers(bench: Bench) -> tuple[Number, ...]:
    left = residual(bench.setting, bench.streak)
    return (Number("residual", "Still to add across the streak", f"{write_power(left)} D"),)
