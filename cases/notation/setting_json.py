"""Read a retinoscope, an eye and the lenses before it from JSON, as `python -m cases look` is given them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import msgspec

from cases.errors import CaseError, OutOfRange
from cases.optics.lens import SphCyl
from cases.optics.reflex import Cone, Setting

STRONGEST_D = 50.0
FARTHEST_MM = 60.0
MOST_POINTS = 10_000

EXAMPLE = '{"rx": {"sphere": -1}, "distance_cm": 67, "streak": 90}'


class UnreadableSetting(CaseError):
    """The text is not JSON, or not of the shape that a setting has."""


class _Lens(msgspec.Struct, forbid_unknown_fields=True):
    sphere: float
    cylinder: float = 0.0
    axis: float = 180.0

    def lens(self) -> SphCyl:
        for name, power in (("sphere", self.sphere), ("cylinder", self.cylinder)):
            _within(name, power, -STRONGEST_D, STRONGEST_D, "D")
        _within("axis", self.axis, 0, 180, "°")
        return SphCyl(self.sphere, self.cylinder, self.axis or 180.0)


class _Cone(msgspec.Struct, forbid_unknown_fields=True):
    x: float
    y: float
    power: float
    spread_mm: float


class _Given(msgspec.Struct, forbid_unknown_fields=True):
    rx: _Lens
    distance_cm: float
    streak: float
    in_place: _Lens = msgspec.field(default_factory=lambda: _Lens(0.0))
    pupil_mm: float = Setting.pupil_mm
    sight_hole_mm: float = Setting.sight_hole_mm
    sleeve: float = Setting.sleeve
    beam_mm: float = Setting.beam_mm
    filament: Literal["streak", "spot"] = "streak"
    filament_mrad: float = Setting.filament_mrad
    length_mrad: float = Setting.length_mrad
    margin_per_mm2: float = Setting.margin_per_mm2
    coma: tuple[float, float] = Setting.coma
    cone: _Cone | None = None
    haze: float = Setting.haze
    off_axis_h: float = Setting.off_axis_h
    off_axis_v: float = Setting.off_axis_v
    oblique_per_deg2: float = Setting.oblique_per_deg2
    face_mm: float = 0.0
    points_mm: list[tuple[float, float]] | None = None


@dataclass(frozen=True)
class LookAsked:
    """What is to be looked at: `streak` in degrees, `face_mm` and `points_mm` in mm from the centre of the pupil."""

    setting: Setting
    streak: float
    face_mm: float
    points_mm: tuple[tuple[float, float], ...] | None


def read_look(text: str) -> LookAsked:
    """Read a setting from JSON; what is left out is as in `Setting`, no lens in place, the streak on the centre.

    Raises
    ------
    UnreadableSetting
        For what is not JSON, and for a name, a type or a null that a setting does not have.
    OutOfRange
        For a quantity outside its limits: those of `Setting`, powers within 50 D, streak and axis from 0 to 180°, the
        streak and the points within 60 mm of the centre of the pupil, at most 10 000 points.
    """
    try:
        given = msgspec.json.decode(text, type=_Given)
    except (msgspec.MsgspecError, UnicodeEncodeError, RecursionError) as error:
        raise UnreadableSetting(f"setting: {error}; give an object such as {EXAMPLE}") from error
    _within("streak", given.streak, 0, 180, "°")
    _within("place of the streak", given.face_mm, -FARTHEST_MM, FARTHEST_MM, "mm")
    if given.points_mm is not None:
        _within("number of points", len(given.points_mm), 0, MOST_POINTS, "")
        for x, y in given.points_mm:
            _within("distance of a point", math.hypot(x, y), 0, FARTHEST_MM, "mm")
    part = {name: getattr(given, name) for name in SAME}
    cone = None if given.cone is None else Cone(given.cone.x, given.cone.y, given.cone.power, given.cone.spread_mm)
    setting = Setting(rx=given.rx.lens(), in_place=given.in_place.lens(), cone=cone, **part)
    points = None if given.points_mm is None else tuple(given.points_mm)
    return LookAsked(setting, given.streak, given.face_mm, points)


SAME = tuple(
    name
    for name in _Given.__struct_fields__
    if name not in {"rx", "in_place", "cone", "streak", "face_mm", "points_mm"}
)


def _within(quantity: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        rule = f"it must lie between {low:g} and {high:g} {unit}".rstrip()
        raise OutOfRange(quantity, f"{value:g} {unit}".rstrip(), rule)
