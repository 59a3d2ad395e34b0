"""What the bench's templates receive: the stage with its views, its form, and the same facts as stills and words."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from cases.bench import Bench, Stage, View, instrument, seen, still
from cases.notation import write_power
from cases.retinoscope import brightness, residual, skew, speed_ratio, width_mm
from quiz.pages.pictures import Picture, picture

EYE, LENSES, STREAK, LEAN, SIGHT = "eye", "lenses", "streak", "lean", "sight"
EVERYTHING = frozenset((EYE, LENSES, STREAK, LEAN, SIGHT))


@dataclass(frozen=True)
class Dial:
    """One quantity that may be set: a number between limits, in steps."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    by: float
    """How far one press of a button goes."""
    less: str = "less"
    more: str = "more"


@dataclass(frozen=True)
class Shelf:
    """Quantities that belong together."""

    id: str
    title: str
    dials: tuple[Dial, ...]


SHELVES = (
    Shelf(
        LENSES,
        "Lenses in place",
        (
            Dial("sphere", "Sphere", "D", -20, 20, 0.25, 0.25, "a quarter more minus", "a quarter more plus"),
            Dial("cylinder", "Cylinder", "D", -8, 8, 0.25, 0.25, "a quarter more minus", "a quarter more plus"),
            Dial("axis", "Axis of the cylinder", "°", 1, 180, 1, 5, "turn clockwise 5°", "turn anticlockwise 5°"),
        ),
    ),
    Shelf(
        STREAK,
        "Streak",
        (Dial("streak", "Streak lies at", "°", 1, 180, 1, 5, "turn clockwise 5°", "turn anticlockwise 5°"),),
    ),
    Shelf(LEAN, "Distance", (Dial("distance_cm", "Sight hole to pupil", "cm", 25, 120, 1, 5, "lean in", "lean back"),)),
    Shelf(
        SIGHT,
        "Where you look from",
        (
            Dial("off_h", "To your right of the visual axis", "°", -20, 20, 1, 5, "5° left", "5° right"),
            Dial("off_v", "Above the visual axis", "°", -20, 20, 1, 5, "5° down", "5° up"),
        ),
    ),
    Shelf(
        EYE,
        "The eye",
        (
            Dial("eye_sphere", "Its sphere", "D", -20, 20, 0.25, 0.25, "a quarter more minus", "a quarter more plus"),
            Dial("eye_cylinder", "Its cylinder", "D", -8, 8, 0.25, 0.25, "a quarter more minus", "a quarter more plus"),
            Dial("eye_axis", "Its axis", "°", 1, 180, 1, 5, "turn clockwise 5°", "turn anticlockwise 5°"),
            Dial("pupil_mm", "Pupil", "mm", 3, 8, 0.5, 0.5, "smaller", "larger"),
            Dial("margin", "The edge wants more than the centre by", "D", -2, 2, 0.25, 0.25, "less", "more"),
        ),
    ),
)
LIMITS = {
    dial.name: (dial.low, dial.high) for shelf in SHELVES for dial in shelf.dials if dial.unit != "°" or dial.low < 0
}
"""Least and most of what may be set; an axis and a streak go round instead."""
SLEEVE_WORDS = {
    "parallel": "plane mirror, parallel beam",
    "diverging": "plane mirror, diverging beam",
    "converging": "concave mirror",
}


@dataclass(frozen=True)
class SetDial:
    """A dial as the form shows it."""

    dial: Dial
    value: str


@dataclass(frozen=True)
class SetShelf:
    """A shelf as the form shows it."""

    id: str
    title: str
    dials: tuple[SetDial, ...]


@dataclass(frozen=True)
class Still:
    """One view as a still and in words."""

    name: str
    picture: Picture | None
    words: tuple[str, ...]


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
    shelves: tuple[SetShelf, ...]
    sleeve: str | None
    """The sleeve's setting where it may be changed."""
    sleeves: Mapping[str, str]
    stills: tuple[Still, ...]
    numbers: tuple[Number, ...]
    problem: str | None
    free: tuple[str, ...]
    goal: str | None = None


def read_bench(usual: Bench, free: Collection[str], given: Mapping[str, str]) -> tuple[Bench, str | None]:
    """Read what a form set, as far as it is free to be; what cannot be is left as it was, and the reason returned."""
    values: dict[str, Any] = {}
    problem = None
    for shelf in SHELVES:
        for dial in shelf.dials if shelf.id in free else ():
            text = given.get(dial.name, "").strip()
            if not text:
                continue
            try:
                value = float(text.replace("−", "-").replace(",", "."))
            except ValueError:
                value = float("nan")
            if dial.low <= value <= dial.high:
                values[dial.name] = value
            else:
                limits = f"{dial.low:g} to {dial.high:g} {dial.unit}".replace("-", "−")
                problem = problem or f"{dial.label} “{text[:20]}”: give {limits}."
    eye = {name.removeprefix("eye_"): values.pop(name) for name in [*values] if name.startswith("eye_")}
    bench = replace(usual, **values, eye=replace(usual.eye, **eye))
    sleeve = given.get("sleeve")
    if SIGHT in free and sleeve in SLEEVE_WORDS:
        bench = replace(bench, sleeve=sleeve)
    return bench, problem


def set_views(
    stage: Stage, findings: Mapping[str, Any], given: Mapping[str, str]
) -> tuple[tuple[View, ...], str | None]:
    """Return the views of a case at the bench with what a form set there, and the first thing that could not be set."""
    read = [(view, *read_bench(view.bench, stage.free, given)) for view in stage.views(findings)]
    views = tuple(replace(view, bench=bench) for view, bench, _ in read)
    return views, next((problem for _, _, problem in read if problem), None)


def stage_page(
    views: tuple[View, ...],
    free: Collection[str],
    *,
    numbers: bool = False,
    problem: str | None = None,
    goal: str | None = None,
) -> StagePage:
    """Show a stage; every dial that is not free stays out of the form."""
    first = views[0].bench
    return StagePage(
        views=json.dumps([{"name": view.name, "bench": view.bench.as_json()} for view in views]),
        instrument=json.dumps(instrument() | {"limits": LIMITS}),
        names=tuple(view.name for view in views) if len(views) > 1 else (),
        shelves=tuple(
            SetShelf(shelf.id, shelf.title, tuple(SetDial(dial, _value(first, dial)) for dial in shelf.dials))
            for shelf in SHELVES
            if shelf.id in free
        ),
        sleeve=first.sleeve if SIGHT in free else None,
        sleeves=SLEEVE_WORDS,
        stills=tuple(
            Still(view.name, picture(still(view.bench, uid=f"still-{place}", name=view.name)), seen(view.bench))
            for place, view in enumerate(views)
        ),
        numbers=_numbers(first) if numbers else (),
        problem=problem,
        free=tuple(sorted(free)),
        goal=goal,
    )


def _value(bench: Bench, dial: Dial) -> str:
    """Write what a dial is set to; a power with its sign and two decimals, or more where it was typed so."""
    name = dial.name
    value: Any = getattr(bench.eye, name.removeprefix("eye_")) if name.startswith("eye_") else getattr(bench, name)
    if dial.unit == "D" and round(value, 2) == value:
        return write_power(value)
    return f"{value:+g}".replace("-", "−") if dial.unit == "D" else f"{value:g}"


def _numbers(bench: Bench) -> tuple[Number, ...]:
    setting, streak = bench.setting, bench.streak
    speed = speed_ratio(setting, streak)
    width = width_mm(setting, streak)[0]
    return (
        Number("residual", "Still to add across the streak", f"{write_power(residual(setting, streak))} D"),
        Number("speed", "Reflex ÷ streak", "all at once" if speed > 99 else f"{speed:.1f}"),
        Number("width", "Width of the band", "the whole pupil" if width > bench.pupil_mm else f"{width:.1f} mm"),
        # Rounded to a whole number first: a hair's breadth clockwise is no "−0°".
        Number("skew", "Reflex turned from the streak", f"{round(skew(setting, streak))}°".replace("-", "−")),
        Number("brightness", "Brightness", f"{brightness(setting, streak):.2f}"),
    )
