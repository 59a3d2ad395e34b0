"""The moving reflex of streak retinoscopy, from optics. Drawing it is static/reflex.js; asking about it is curriculum/.

Thin lenses and small angles in the plane of the pupil. Let R be the lens that corrects the eye, L all lenses in place
and w the working distance in metres, as 2×2 power matrices in D. Still to be added for neutral is E = R − L + I/w. A
ray from the retinal point of conjugate direction d leaves the pupil point y (metres) at a slope d + (R − L)y and meets
the sight-hole plane at w(d + E y); it is seen when that lies in the sight hole. A streak whose normal is n, displaced
by σ radians, lights d·n = −σ, so the reflex is the line (E n)·y = σ in the pupil, and all else follows from E n.

Signs: angles anticlockwise in degrees as the examiner faces the patient, both eyes alike (ISO 8429); x to the
examiner's right, y up. A *streak* is the long direction of the streak; the meridian measured lies across it. Streak
and reflex are displaced along n, which is the streak turned 90° anticlockwise: to the examiner's left for a vertical
streak (90), downwards for a horizontal one (180).

Source: derived here and checked by an independent ray trace in the tests.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cases.errors import OutOfRange
from cases.optics.axes import across
from cases.optics.lens import SphCyl

Array = NDArray[np.float64]
Movement = Literal["with", "against", "neutral", "neither"]

NEUTRAL_ZONE = 0.125
"""Half-width in D of what is called neutral: half a quarter-dioptre step. Common practice, no published source."""

NOUGHT = 1e-9
"""Residuals below this, in D, are rounding: neutral exactly."""


@dataclass(frozen=True)
class Cone:
    """A cone of the cornea: it bends light by `power` D more at (x, y) mm, and less by a Gaussian of `spread_mm`."""

    x: float
    y: float
    power: float
    spread_mm: float

    def __post_init__(self) -> None:
        _within("cone's place", math.hypot(self.x, self.y), 0, 5, "mm")
        _within("cone's power", self.power, -20, 20, "D")
        _within("cone's spread", self.spread_mm, 0.2, 5, "mm")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """An eye, the lenses before it, and a retinoscope at a distance.

    rx: the lens that corrects the eye for distance, seen along its axis.
    in_place: the sum of all lenses before the eye.
    distance_cm: pupil to sight hole, 20 to 150 cm.
    pupil_mm, sight_hole_mm: diameters, 0.5 to 10 mm and 0 to 6 mm.
    sleeve: vergence of the lamp's light at the mirror in D, −20 to 20: below 0 diverging, 0 parallel, above 0
        converging; at 100/distance_cm the streak is brought to a line on the face, beyond it the beam is crossed.
    beam_mm: radius of the lamp's lens as the mirror shows it, 0.5 to 20 mm. On a real instrument the parallel streak
        on a wall is 2(b + w·κ) wide.
    filament: "streak" or "spot".
    filament_mrad, length_mrad: half its width and half its length, as seen from the mirror, 0.05 to 50 and 1 to 200
        milliradians; a spot has the first as its radius.
    margin_per_mm2: spherical aberration: at r mm from the centre of the pupil E is greater by this times r², in D per
        mm²; negative where the margin of the pupil is the more myopic, as it is in most relaxed eyes. −1 to 1.
    coma: E changes by this along it, (x, y) in D per mm, each within 2: two bands that part and meet.
    cone: a cone of the cornea, or None.
    haze: the share of light that the media scatter, 0 to 1; it veils and does not move.
    off_axis_h, off_axis_v: the examiner's place off the visual axis in degrees, to the examiner's right and up,
        together within 30°.
    oblique_per_deg2: astigmatism that an eye off axis by 1° would show, in D, growing with the square of the angle
        and never positive: it is the power in the meridian of the tilt. The default is 0.06 D at 4.8° (Liu & Thibos
        2017, J Vis 17(3):24), which lies amid the band of `cases.optics.schematic_eye.astigmatism_band`.

    Raises
    ------
    OutOfRange
        When a quantity lies outside these limits.
    """

    rx: SphCyl
    in_place: SphCyl
    distance_cm: float
    pupil_mm: float = 5.0
    sight_hole_mm: float = 2.0
    sleeve: float = 0.0
    beam_mm: float = 5.0
    filament: str = "streak"
    filament_mrad: float = 1.0
    length_mrad: float = 30.0
    margin_per_mm2: float = 0.0
    coma: tuple[float, float] = (0.0, 0.0)
    cone: Cone | None = None
    haze: float = 0.0
    off_axis_h: float = 0.0
    off_axis_v: float = 0.0
    oblique_per_deg2: float = -0.0026

    def __post_init__(self) -> None:
        _within("working distance", self.distance_cm, 20, 150, "cm")
        _within("pupil", self.pupil_mm, 0.5, 10, "mm")
        _within("sight hole", self.sight_hole_mm, 0, 6, "mm")
        _within("sleeve", self.sleeve, -20, 20, "D")
        _within("radius of the beam", self.beam_mm, 0.5, 20, "mm")
        _within("half-width of the filament", self.filament_mrad, 0.05, 50, "mrad")
        _within("half-length of the filament", self.length_mrad, 1, 200, "mrad")
        _within("aberration of the margin", self.margin_per_mm2, -1, 1, "D/mm²")
        for part in self.coma:
            _within("coma", part, -2, 2, "D/mm")
        _within("haze", self.haze, 0, 1, "")
        _within("astigmatism off axis", self.oblique_per_deg2, -0.02, 0, "D/deg²")
        _within("angle off axis", self.off_axis, 0, 30, "°")
        if self.filament not in ("streak", "spot"):
            raise OutOfRange("filament", repr(self.filament), "give streak or spot")

    @property
    def off_axis(self) -> float:
        """The angle between the examiner and the visual axis, in degrees."""
        return math.hypot(self.off_axis_h, self.off_axis_v)

    @property
    def induced(self) -> SphCyl:
        """What sighting off axis adds to `rx`: a minus cylinder whose axis lies across the tilt.

        Source: third-order growth with the square of the angle; see `cases.optics.schematic_eye`. The sphere is left
        alone, for mean sphere off axis has no sign common to all eyes.
        """
        if self.off_axis == 0:
            return SphCyl(0)
        tilt = math.degrees(math.atan2(self.off_axis_v, self.off_axis_h))
        return SphCyl(0, self.oblique_per_deg2 * self.off_axis**2, across(tilt))

    @property
    def beam_gain(self) -> float:
        """How far the streak's conjugate turns for each turn of the beam, σ/φ: 1/(1 − w·sleeve).

        1 for a parallel beam, less for a diverging one, more for one that converges beyond the eye, infinite for one
        that is brought to a line on the face, and negative for one that crosses short of it. Source: derived here.
        """
        spread = 1 - self.distance_cm * self.sleeve / 100
        return 1 / spread if abs(spread) > NOUGHT else math.inf

    @property
    def neutraliser(self) -> SphCyl:
        """The lenses that would bring neutral in every meridian, the gross finding: L = R + I/w."""
        return self.rx + self.induced + SphCyl(100 / self.distance_cm)

    def leaning_in(self, by_cm: float) -> Setting:
        """Return the same setting with the examiner nearer by `by_cm` (negative: leaning back)."""
        return replace(self, distance_cm=self.distance_cm - by_cm)

    def as_json(self) -> dict[str, Any]:
        """Return the fields under their own names for JSON, as `look_document` reads them."""
        return {name: _finite(value) for name, value in asdict(self).items()}


@dataclass(frozen=True)
class Look:
    """What one streak shows of an eye.

    movement: "with", "against" or "neutral", as `movement` tells it.
    residual: D still to be added in the meridian across the streak; plus where a parallel beam shows with.
    speed_ratio: speed of the reflex ÷ speed of the streak, without sign; `math.inf` at exactly neutral.
    skew: degrees from streak to reflex, −90 < skew ≤ 90, anticlockwise positive.
    """

    movement: Movement
    residual: float
    speed_ratio: float
    skew: float


@dataclass(frozen=True)
class Zone:
    """A ring of the pupil: its radius, what it still wants in the meridian across the streak (D), and its movement."""

    radius_mm: float
    residual: float
    movement: Movement


def look(setting: Setting, streak: float, *, neutral_zone: float = NEUTRAL_ZONE) -> Look:
    """Return movement, residual, speed and skew for a streak in degrees, at the centre of the pupil.

    Raises
    ------
    OutOfRange
        When the streak is not a finite number, here and in every function below.

    Source: derived here.
    """
    return Look(
        movement(setting, streak, neutral_zone=neutral_zone),
        residual(setting, streak),
        speed_ratio(setting, streak),
        skew(setting, streak),
    )


@lru_cache(512)
def residual_matrix(setting: Setting, radius_mm: float = 0.0) -> Array:
    """Return E in D, what is still to be added for neutral, for rays at `radius_mm` from the centre of the pupil.

    x along the 180 meridian, y along the 90. With aberration the rays of a ring and its neighbours differ: E is what
    brings the ring itself to the sight hole, and so says on which side of the pupil the ring is lit. Everything that is
    seen in a setting asks for it, so it is kept, and cannot be written to.

    Source: derived here.
    """
    eye = setting.rx.power_matrix() + setting.induced.power_matrix()
    alike = 100 / setting.distance_cm + setting.margin_per_mm2 * radius_mm**2
    residue = eye - setting.in_place.power_matrix() + alike * np.eye(2)
    residue.setflags(write=False)
    return residue


def residual(setting: Setting, streak: float, radius_mm: float = 0.0) -> float:
    """Return what is still to be added in the meridian across the streak, nᵀE n, in D."""
    n = _normal(streak)
    return float(n @ residual_matrix(setting, radius_mm) @ n)


def movement(
    setting: Setting, streak: float, *, neutral_zone: float = NEUTRAL_ZONE, radius_mm: float = 0.0
) -> Movement:
    """Say how the reflex goes when the streak is swept across its own length.

    "with" where nᵀE n is positive (add plus) and "against" where it is negative (add minus); a converging beam turns
    the two round. "neutral" when no more than `neutral_zone` D of E n is left. "neither" in the rare case, only off
    the principal meridians of a mixed residual, where nᵀE n lies within the zone and yet E n does not: the reflex
    lies nearly across the streak and slides along it, so that there is nothing to judge before the streak is turned.

    Source: signs common practice, no published source; derived here.
    """
    En = residual_matrix(setting, radius_mm) @ _normal(streak)
    along = float(_normal(streak) @ En) * setting.beam_gain
    if math.hypot(*En) <= max(neutral_zone, NOUGHT):
        return "neutral"
    if abs(residual(setting, streak, radius_mm)) <= max(neutral_zone, NOUGHT):
        return "neither"
    return "with" if along > 0 else "against"


def speed_ratio(setting: Setting, streak: float) -> float:
    """Return the speed of the reflex ÷ the speed of the streak on the face, without sign; `math.inf` at neutral.

    The speed of a line is that across its own length: |gain|/(w·|E n|). Slow far from neutral, very fast near it; an
    uncorrected emmetrope in a parallel beam gives 1 at any distance.

    Source: derived here.
    """
    size = _size(setting, streak)
    return abs(setting.beam_gain) * 100 / (setting.distance_cm * size) if size > NOUGHT else math.inf


def skew(setting: Setting, streak: float) -> float:
    """Return the angle from streak to reflex in degrees, −90 < skew ≤ 90, anticlockwise positive.

    Zero on a principal meridian, for a sphere, and at exactly neutral, where there is no line. With streak and
    reflex measured from a principal meridian as φ and ψ, tan ψ = (e₁/e₂) tan φ, e₁ the residual along that meridian
    and e₂ across it.

    Source: derived here; that reflex and streak part company off axis: AAO image caption "Skew".
    """
    n = _normal(streak)
    En = residual_matrix(setting) @ n
    if math.hypot(*En) <= NOUGHT:
        return 0.0
    turn = math.degrees(math.atan2(n[0] * En[1] - n[1] * En[0], n @ En))
    turn -= 180 * round(turn / 180)
    if abs(turn) < NOUGHT:
        return 0.0
    return 90.0 if turn <= -90 + NOUGHT else turn


def width_mm(setting: Setting, streak: float) -> float:
    """Return the width of the lit band in mm from edge to edge, where its light ends; infinite at exactly neutral.

    The band is 2(β + p/w)/|E n| wide, p the radius of the sight hole. β is half the retinal streak, widened by the
    eye's defocus for the source: β₀ + ρ·|(R − L + I/(w + a)) n|, ρ the radius of the pupil and a the place of the
    source behind the mirror, so far from neutral the width tends to that of the pupil. Aberration is left out,
    and so is the edge of the beam: what an eye sees of it is `cases.optics.light`.

    Source: derived here.
    """
    w = setting.distance_cm / 100
    spread = 1 - w * setting.sleeve
    source = -setting.sleeve / spread if abs(spread) > NOUGHT else 0.0
    blur = residual_matrix(setting) @ _normal(streak) + (source - 1 / w) * _normal(streak)
    half = setting.filament_mrad / 1000 + setting.pupil_mm / 2000 * math.hypot(*blur) + setting.sight_hole_mm / 2000 / w
    size = _size(setting, streak)
    return 2000 * half / size if size > NOUGHT else math.inf


def zones(setting: Setting, streak: float, *, neutral_zone: float = NEUTRAL_ZONE) -> tuple[Zone, Zone]:
    """Return the (centre, margin) of the pupil, which part company with aberration in a wide pupil.

    The centre, some 3 to 4 mm across, is the one to neutralise (common practice, no published source). Residuals are
    those of `residual_matrix` at the centre and at the edge of the pupil.
    """
    centre, margin = (
        Zone(r, residual(setting, streak, r), movement(setting, streak, neutral_zone=neutral_zone, radius_mm=r))
        for r in (0.0, setting.pupil_mm / 2)
    )
    return centre, margin


def facts_json(setting: Setting, streak: float, *, neutral_zone: float = NEUTRAL_ZONE) -> dict[str, Any]:
    """Return everything above for JSON, null for what is infinite; `facts` in static/reflex.js does too."""
    facts = {
        **asdict(look(setting, streak, neutral_zone=neutral_zone)),
        "residual_matrix": residual_matrix(setting).tolist(),
        "induced_cylinder": setting.induced.cylinder,
        "beam_gain": setting.beam_gain,
        "zones": [asdict(zone) for zone in zones(setting, streak, neutral_zone=neutral_zone)],
    }
    return {name: _finite(value) for name, value in facts.items()}


def _normal(streak: float) -> Array:
    """Return the unit vector across the streak, its direction turned 90° anticlockwise."""
    if not math.isfinite(streak):
        raise OutOfRange("streak", f"{streak:g}", "its direction must be a finite number of degrees")
    angle = math.radians(streak)
    return np.array([-math.sin(angle), math.cos(angle)])


def _size(setting: Setting, streak: float) -> float:
    """Return |E n| in D, which decides speed and width."""
    return math.hypot(*(residual_matrix(setting) @ _normal(streak)))


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and math.isinf(value) else value


def _within(quantity: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise OutOfRange(
            quantity, f"{value:g} {unit}".rstrip(), f"it must lie between {low:g} and {high:g} {unit}".rstrip()
        )
