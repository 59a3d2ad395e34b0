"""The light that a retinoscope sends into an eye and gets back: on the face, in the pupil, and what of it is seen.

A ray goes from the mirror point m to the pupil point p. The lamp sends it if |m| ≤ b, the radius of the lamp's lens as
the mirror shows it, and if x = p − c·m − F n lies in the filament, where c = 1 − w·s, s is the sleeve in D, w the
working distance in m, n the unit vector across the streak and F the place of the streak's middle on the face. Ψ(y) is
the direction in which the pupil point y looks:

    Ψ(y) = E y + a|y|² y + (2(k·y) y + |y|² k)/6 − P (y − y₀) exp(−|y − y₀|²/2t²)

A ray in at p is scattered by the retina to every y, and comes back to the plane of the mirror at q = m + w(Ψ(y) −
Ψ(p)); it is seen if |q| ≤ h. So the light of y is the area of pupil through which the retina seen at y looks into the
lamp, averaged over the sight hole. No other law of brightness is needed, and nothing is singular: c = 0 brings the
streak to a line on the face, c < 0 is a crossed beam.

Two fast forms of that integral. *Bands*: in a regular eye the filament depends on one coordinate of p, so that one
integral is left. *Nodes*: a sum over points laid over the pupil, each as soft as the piece of pupil that it stands for.

Units: mm, mm², D and mrad (mm × D); angles in degrees, signs as in `reflex`. Left out: the dark centre of a perforated
mirror, sideways spread of light in the retina, spectacle magnification. Source: derived here; checked against rays
traced through a reduced eye from lamp to hole (tests/fixtures/reflex_rays.json).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cases.optics.lens import SphCyl
from cases.optics.reflex import NEUTRAL_ZONE, Setting, residual, residual_matrix

Array = NDArray[np.float64]

Care = Literal["frame", "sweep", "fine"]
"""How closely light is worked out: as for a frame of the moving picture, for a whole sweep, or once."""
CARES: dict[Care, tuple[float, int, int]] = {
    "frame": (0.8, 256, 8),
    "sweep": (0.25, 256, 24),
    "fine": (0.25, 1024, 24),
}
"""|a|·d² in D from which light is summed over nodes, how many of them, and steps of the integral over a band. The fit
of a regular eye misses 4 % of the peak at most at 0.8 D."""
SOFTEST_MM = 1e-3
"""The least softness of an edge, so that no division is by zero."""
DARK_MM2 = 1e-6
"""A mean below this is dark: nothing has a centre, a width or sides."""

TOO_DULL_MM2 = 0.2
UNSEEN, FAINT = 0.025, 0.06
"""Peak below which nothing can be told, and signal below which no movement, and only a faint one, is seen. Ours: no
published source; to be tried with clinicians."""
TOO_DULL, UNMOVED = "too dull to tell", "no movement seen"
PupilZone = Literal["pupil", "centre", "edge"]
ZONES: dict[PupilZone, slice] = {"pupil": slice(None), "centre": slice(12), "edge": slice(36, None)}
"""Which of 48 points from the centre out belong to a part of the pupil: within half its radius, outside 0.87 of it."""
FADED = 0.12
"""Places of the streak with less than this share of the greatest mean are left out of the signal."""
PLACES_MM = tuple(step / 2 for step in range(1, 25))
"""Places of the streak on either side at which the sides of the pupil are compared."""


@dataclass(frozen=True)
class SweepSeen:
    """What an eye can tell from a sweep.

    signal: how far the light goes with the streak, −1 to 1: plus where it goes with it; None where all is dark.
    peak_mm2: the light at the pupil's centre with the streak on it. word: the movement in words.
    """

    signal: float | None
    peak_mm2: float
    word: str


def disc_share(z: ArrayLike) -> Array:
    """Return the share of a unit disc that lies below z, from 0 at −1 to 1 at 1."""
    within = np.clip(np.asarray(z, dtype=float), -1, 1)
    return np.asarray(0.5 + (within * np.sqrt(1 - within * within) + np.arcsin(within)) / math.pi)


_legendre = lru_cache(np.polynomial.legendre.leggauss)


def sunflower(radius_mm: float, count: int) -> Array:
    """Return points that cover a disc evenly, shape (count, 2), in mm."""
    place = np.arange(count) + 0.5
    turn = place * math.pi * (3 - math.sqrt(5))
    r = radius_mm * np.sqrt(place / count)
    return np.stack([r * np.cos(turn), r * np.sin(turn)], axis=-1)


class Beam:
    """A setting and a streak, made ready to say how much light comes back for each place of the streak.

    care: how closely, see `CARES`.
    """

    def __init__(self, setting: Setting, streak: float, *, care: Care = "frame") -> None:
        self.setting = setting
        self.w = setting.distance_cm / 100
        self.c = 1 - self.w * setting.sleeve
        self.radius = setting.pupil_mm / 2
        self.hole = setting.sight_hole_mm / 2
        self.n, self.u = directions(streak)
        self.spot = setting.filament == "spot"
        limit, nodes, steps = CARES[care]
        self.irregular = (
            self.spot
            or setting.coma != (0.0, 0.0)
            or setting.cone is not None
            or abs(setting.margin_per_mm2) * setting.pupil_mm**2 > limit
        )
        if self.irregular:
            self._lay_nodes(nodes)
        else:
            self._fit(steps)

    def light(self, face_mm: ArrayLike, x_mm: ArrayLike, y_mm: ArrayLike) -> Array:
        """Return the light of pupil points in mm², from 0 to the pupil's area; 0 outside the pupil.

        x_mm, y_mm: arrays of one shape. face_mm: place of the streak's middle on the face, along n: one for all points,
        or an array of their shape.
        """
        x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
        face = np.broadcast_to(np.asarray(face_mm, dtype=float), x.shape).reshape(-1)
        points = np.stack([x, y], axis=-1).reshape(-1, 2)
        within = (points**2).sum(axis=1) <= self.radius**2 * (1 + 1e-12)
        out = np.zeros(len(points))
        if within.any():
            form = self._by_nodes if self.irregular else self._by_bands
            out[within] = form(face[within], points[within])
        return out.reshape(x.shape)

    # --- bands: a regular eye ---

    def _fit(self, steps: int) -> None:
        if self.setting.margin_per_mm2:
            half = sunflower(self.radius, 80)
            p = np.concatenate([half, -half])  # in pairs, so that a centred eye looks straight ahead
            psi = directions_of(self.setting, p)
            fitted, *_ = np.linalg.lstsq(np.column_stack([np.ones(len(p)), p]), psi, rcond=None)
            self.g, self.G = fitted[0], fitted[1:].T
        else:
            self.g, self.G = np.zeros(2), residual_matrix(self.setting).T
        self.V = np.eye(2) - self.c * self.w * self.G
        self.v = self.V.T @ self.n
        self.size = math.hypot(*self.v)
        self.along = self.v / self.size if self.size > 1e-6 else self.n
        self.wide = self.w * self.setting.filament_mrad
        self.edge = max(abs(self.c) * self.hole, SOFTEST_MM)
        self.steps, self.weights = _legendre(steps)

    def _by_bands(self, face_mm: Array, points: Array) -> Array:
        z = self.w * (directions_of(self.setting, points) - self.g)
        x0 = self.c * (z @ self.n) - face_mm
        low = np.full(len(z), -self.radius)
        high = -low
        if self.size > 1e-6:
            low = np.maximum(low, (-self.wide - self.edge - x0) / self.size)
            high = np.minimum(high, (self.wide + self.edge - x0) / self.size)
        out = np.zeros(len(z))
        lit = high > low
        if lit.any():
            out[lit] = self._over_chords(z[lit], x0[lit], low[lit], high[lit])
        return out

    def _over_chords(self, z: Array, x0: Array, low: Array, high: Array) -> Array:
        """Sum the light of some points over those chords of the hole on which any falls."""
        along, beside = self.along, np.array([-self.along[1], self.along[0]])
        half = (high - low) / 2
        t = ((low + high) / 2)[:, None] + half[:, None] * self.steps
        X = x0[:, None] + self.size * t
        lit = disc_share((X + self.wide) / self.edge) - disc_share((X - self.wide) / self.edge)
        end = np.sqrt(np.maximum(self.radius**2 - t * t, 0))
        start = -end
        # the filament's length
        A = self.c * (z @ self.u)[:, None] + t * float(self.u @ self.V @ along)
        B = float(self.u @ self.V @ beside)
        long = self.w * self.setting.length_mrad
        if abs(B) > 1e-9:
            one, other = (-long - A) / B, (long - A) / B
            start, end = np.maximum(start, np.minimum(one, other)), np.minimum(end, np.maximum(one, other))
        else:
            end = np.where(np.abs(A) <= long, end, start)
        # the lens of the lamp, at the two ends of the hole's width
        a, b = self.w * (self.G @ along), self.w * (self.G @ beside)
        across, up = t * a[0] - z[:, :1], t * a[1] - z[:, 1:]
        square, middle, rest = float(b @ b), across * b[0] + up * b[1], across**2 + up**2
        length = np.zeros_like(t)
        for edge in (self.setting.beam_mm - self.hole / 2, self.setting.beam_mm + self.hole / 2):
            if square > 1e-12:
                root = np.sqrt(np.maximum(middle**2 - square * (rest - edge * edge), 0))
                inside = np.minimum(end, (-middle + root) / square) - np.maximum(start, (-middle - root) / square)
            else:
                inside = np.where(rest <= edge * edge, end - start, 0.0)
            length += np.maximum(inside, 0) / 2
        return np.asarray(np.minimum(half * ((lit * length) @ self.weights), math.pi * self.radius**2))

    # --- nodes: any eye, and the spot ---

    def _lay_nodes(self, count: int) -> None:
        self.nodes = sunflower(self.radius, count)
        self.looks = directions_of(self.setting, self.nodes)
        J = slopes_of(self.setting, self.nodes)
        cell = self.radius / 2 * math.sqrt(math.pi / count)
        V = np.eye(2) - self.c * self.w * J
        bent = (V**2).sum(axis=(1, 2)) / 2 if self.spot else ((np.swapaxes(V, 1, 2) @ self.n) ** 2).sum(axis=1)
        hole = (self.c * self.hole) ** 2
        self.soft = np.maximum(np.sqrt(hole + 4 / 3 * cell**2 * bent), SOFTEST_MM)
        rim = self.hole**2 + 2 / 3 * (self.w * cell) ** 2 * (J**2).sum(axis=(1, 2))
        self.soft_rim = np.maximum(np.sqrt(rim), SOFTEST_MM)

    def _by_nodes(self, face_mm: Array, points: Array) -> Array:
        d = self.w * (directions_of(self.setting, points)[:, None, :] - self.looks)
        x = self.nodes + self.c * d - face_mm[:, None, None] * self.n
        wide = self.w * self.setting.filament_mrad
        if self.spot:
            lit = disc_share((wide - np.hypot(x[..., 0], x[..., 1])) / self.soft)
        else:
            xn, xu = x @ self.n, np.abs(x @ self.u)
            lit = disc_share((xn + wide) / self.soft) - disc_share((xn - wide) / self.soft)
            lit = lit * disc_share((self.w * self.setting.length_mrad - xu) / self.soft)
        lit = lit * disc_share((self.setting.beam_mm - np.hypot(d[..., 0], d[..., 1])) / self.soft_rim)
        return np.asarray(math.pi * self.radius**2 * lit.mean(axis=1))


def directions(streak: float) -> tuple[Array, Array]:
    """Return the unit vectors across the streak (n, its direction turned 90° anticlockwise) and along it (u)."""
    turn = math.radians(streak)
    return np.array([-math.sin(turn), math.cos(turn)]), np.array([math.cos(turn), math.sin(turn)])


def directions_of(setting: Setting, points: Array) -> Array:
    """Return Ψ in mrad, where each pupil point looks; points and result of shape (…, 2), points in mm."""
    r2 = (points**2).sum(axis=-1, keepdims=True)
    psi = points @ residual_matrix(setting) + setting.margin_per_mm2 * r2 * points
    if setting.coma != (0.0, 0.0):
        k = np.array(setting.coma)
        psi = psi + (2 * (points @ k)[..., None] * points + r2 * k) / 6
    if (cone := setting.cone) is not None:
        d = points - np.array([cone.x, cone.y])
        psi = psi - cone.power * d * np.exp(-(d**2).sum(axis=-1, keepdims=True) / (2 * cone.spread_mm**2))
    return np.asarray(psi)


def slopes_of(setting: Setting, points: Array) -> Array:
    """Return how Ψ changes at each pupil point, in D, shape (…, 2, 2)."""
    one = np.eye(2)
    outer = points[..., :, None] * points[..., None, :]
    r2 = (points**2).sum(axis=-1)[..., None, None]
    J = residual_matrix(setting) + setting.margin_per_mm2 * (r2 * one + 2 * outer)
    k = np.array(setting.coma)
    yk = points[..., :, None] * k
    J = J + (2 * (points @ k)[..., None, None] * one + 2 * yk + 2 * np.swapaxes(yk, -1, -2)) / 6
    if (cone := setting.cone) is not None:
        d = points - np.array([cone.x, cone.y])
        fall = np.exp(-(d**2).sum(axis=-1) / (2 * cone.spread_mm**2))[..., None, None]
        J = J - cone.power * fall * (one - d[..., :, None] * d[..., None, :] / cone.spread_mm**2)
    return np.asarray(J)


def light(setting: Setting, streak: float, *, face_mm: float, x_mm: ArrayLike, y_mm: ArrayLike) -> Array:
    """Return how much light each pupil point sends through the sight hole, in mm²; see `Beam.light`.

    Raises
    ------
    OutOfRange
        When the streak is not a finite number of degrees.
    """
    return _beam(setting, streak).light(face_mm, x_mm, y_mm)


def face_light(setting: Setting, streak: float, *, face_mm: float, x_mm: ArrayLike, y_mm: ArrayLike) -> Array:
    """Return the light that falls on points of the face, in mm² of lamp seen from there; x_mm, y_mm of one shape.

    It is 0 beyond |c|·b + w·κ from the middle of the streak, and sharp at c = 0. Source: derived here.
    """
    w = setting.distance_cm / 100
    reach = max(abs(1 - w * setting.sleeve) * setting.beam_mm, SOFTEST_MM)
    n, u = directions(streak)
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    across, along = n[0] * x + n[1] * y - face_mm, u[0] * x + u[1] * y
    wide, long = w * setting.filament_mrad, w * setting.length_mrad
    if setting.filament == "spot":
        return np.asarray(setting.beam_mm**2 * disc_share((wide - np.hypot(across, along)) / reach))
    return np.asarray(
        setting.beam_mm**2
        * (disc_share((across + wide) / reach) - disc_share((across - wide) / reach))
        * (disc_share((along + long) / reach) - disc_share((along - long) / reach))
    )


def seen(setting: Setting, streak: float, zone: PupilZone = "pupil") -> SweepSeen:
    """Return what an eye can tell from a sweep of this streak, over the pupil or in a part of it alone."""
    return _seen(_as_one_sphere(setting), streak, zone)


def _as_one_sphere(setting: Setting) -> Setting:
    """Return the one setting that stands for all spherical eyes and lenses with the same difference.

    Light depends on the difference alone. So the views of a case, drawn again and again, are worked out once.
    """
    if setting.rx.cylinder or setting.in_place.cylinder:
        return setting
    left = round(setting.rx.sphere - setting.in_place.sphere, 9)
    return replace(setting, rx=SphCyl(left), in_place=SphCyl(0))


@dataclass(frozen=True)
class BandSeen:
    """The band in the middle of a sweep: its share of the pupil by half height along n, and its contrast there."""

    share: float
    contrast: float


@lru_cache(2048)
def band_seen(setting: Setting, streak: float) -> BandSeen:
    """Return how broad the band is with the streak on the pupil's centre; all of the pupil where it is dark."""
    width, contrast = _profile(_beam(setting, streak, "sweep"), 0.0)
    return BandSeen(1.0 if width is None else width / (0.96 * setting.pupil_mm), contrast or 0.0)


def look_document(
    setting: Setting, streak: float, *, face_mm: float = 0.0, points_mm: ArrayLike | None = None
) -> dict[str, Any]:
    """Return what is seen with the streak at `face_mm`, for JSON; `look` in static/reflex.js returns the same.

    points_mm: pupil points, shape (count, 2); by default the centre, 4 at 0.4 and 8 at 0.8 of the radius.
    """
    beam = _beam(setting, streak, "fine")
    points = default_points(setting.pupil_mm) if points_mm is None else np.asarray(points_mm, float).reshape(-1, 2)
    there = beam.light(face_mm, points[:, 0], points[:, 1])
    pupil = sunflower(beam.radius, 512)
    lit = {f: beam.light(f, pupil[:, 0], pupil[:, 1]) for f in (face_mm, 2.0, -2.0)}
    here, plus, minus = (_centroid(pupil, lit[f]) for f in (face_mm, 2.0, -2.0))
    width, contrast = _profile(beam, face_mm)
    judged = seen(setting, streak)
    return {
        "light": [
            {"x_mm": float(x), "y_mm": float(y), "mm2": float(one)} for (x, y), one in zip(points, there, strict=True)
        ],
        "mean_mm2": float(lit[face_mm].mean()),
        "centroid_mm": None if here is None else here.tolist(),
        "sides": _sides(pupil @ beam.n, lit[face_mm]),
        "half_width_mm": width,
        "contrast": contrast,
        "shift_per_mm": None if plus is None or minus is None else ((plus - minus) / 4).tolist(),
        "residual": residual_matrix(setting).tolist(),
        "seen": {"signal": judged.signal, "peak_mm2": judged.peak_mm2, "word": judged.word},
    }


def default_points(pupil_mm: float) -> Array:
    """Return the centre of the pupil, 4 points at 0.4 of its radius and 8 at 0.8, in mm."""
    rings = ((0.0, 1), (0.4, 4), (0.8, 8))
    turns = [(share, 2 * math.pi * step / count) for share, count in rings for step in range(count)]
    return np.array([(share * math.cos(turn), share * math.sin(turn)) for share, turn in turns]) * (pupil_mm / 2)


@lru_cache(64)
def _beam(setting: Setting, streak: float, care: Care = "frame") -> Beam:
    return Beam(setting, streak, care=care)


@lru_cache(2048)
def _seen(setting: Setting, streak: float, zone: PupilZone) -> SweepSeen:
    beam = _beam(setting, streak, "sweep")
    # Points in pairs about the centre, so that the sides of an even pupil are equal to the last digit.
    half = sunflower(beam.radius, 48)[ZONES[zone]]
    pupil = np.concatenate([half, -half])
    across = pupil @ beam.n
    # In a centred eye light(y, face) is light(−y, −face), so that one side of the sweep tells the other.
    ways = (1,) if setting.coma == (0.0, 0.0) and setting.cone is None else (1, -1)
    faces = np.array([way * place for place in PLACES_MM for way in ways])
    x, y = np.tile(pupil[:, 0], (len(faces), 1)), np.tile(pupil[:, 1], (len(faces), 1))
    lit = beam.light(np.repeat(faces[:, None], len(pupil), axis=1), x, y)
    means = [float(one.mean()) for one in lit]
    sides = [math.copysign(1, face) * (_sides(across, one) or 0.0) for face, one in zip(faces, lit, strict=True)]
    peak = float(beam.light(0.0, 0.0, 0.0))
    greatest = max(means)
    kept = [(mean, side) for mean, side in zip(means, sides, strict=True) if mean >= FADED * greatest]
    if greatest < DARK_MM2:
        return SweepSeen(None, peak, TOO_DULL)
    total = math.fsum(mean for mean, _ in kept)
    signal = (1 - setting.haze) * math.fsum(mean * side for mean, side in kept) / total
    beam_edge = abs(signal) >= UNSEEN and signal * way_everywhere(setting, streak) < 0
    return SweepSeen(signal, peak, TOO_DULL if beam_edge else movement_word(signal, peak))


def way_everywhere(setting: Setting, streak: float) -> int:
    """Return 1 where every point of the pupil goes with, −1 against; 0 where they differ, or some are neutral.

    Far from neutral the light that is seen to go the other way is cut out of the pupil by the beam's own edge on the
    face, which goes with the hand. It is dull, and says nothing of the eye.
    """
    radius = setting.pupil_mm / 2
    centre, edge = (residual(setting, streak, one) for one in (0.0, radius))
    least = max(NEUTRAL_ZONE, math.hypot(*setting.coma) * radius)
    if setting.cone is not None or centre * edge < 0 or min(abs(centre), abs(edge)) <= least:
        return 0
    return 1 if centre * setting.beam_gain > 0 else -1


TWO_WAYS_SHARE = 0.12
"""Share of the pupil in which the light must go each way before two bands are seen to part and meet: ours."""


def parts_and_meets(setting: Setting, streak: float) -> bool:
    """Say whether a sweep shows two bands that part and meet: a good part of the pupil goes with, another against.

    So it is only near neutral, and only in an eye that is irregular to one side.
    """
    if setting.coma == (0.0, 0.0) and setting.cone is None:
        return False
    n, _ = directions(streak)
    slopes = slopes_of(setting, sunflower(0.9 * setting.pupil_mm / 2, 96))
    along = np.einsum("i,kij,j->k", n, slopes, n)
    shares = [float((way * along > 2 * NEUTRAL_ZONE).mean()) for way in (1, -1)]
    return min(shares) >= TWO_WAYS_SHARE and seen(setting, streak, watched(setting)).peak_mm2 >= TOO_DULL_MM2


def watched(setting: Setting) -> PupilZone:
    """Return the part of the pupil that is watched: the centre where the edge has another power, else all of it."""
    return "centre" if setting.margin_per_mm2 else "pupil"


def shows(setting: Setting, streak: float, movement: str) -> bool:
    """Say whether an eye can see this movement ("with", "against" or "neutral") in a sweep.

    Where the edge of the pupil differs from its centre, the centre is watched.
    """
    found = seen(setting, streak, watched(setting)).word
    return found == UNMOVED if movement == "neutral" else found.removesuffix(", faint") == movement


def movement_word(signal: float, peak_mm2: float) -> str:
    """Return the movement that an eye can tell, in the words of the bench."""
    if peak_mm2 < TOO_DULL_MM2:
        return TOO_DULL
    if abs(signal) < UNSEEN:
        return UNMOVED
    return ("with" if signal > 0 else "against") + (", faint" if abs(signal) < FAINT else "")


def _sides(across: Array, lit: Array) -> float | None:
    """Return (light on the n side − on the other)/(sum), or None where it is dark."""
    total = float(lit.sum())
    if total < DARK_MM2 * len(lit):
        return None
    return float((lit * np.sign(across)).sum()) / total


def _centroid(points: Array, lit: Array) -> Array | None:
    return None if lit.mean() < DARK_MM2 else np.asarray(lit @ points / lit.sum())


def _profile(beam: Beam, face_mm: float) -> tuple[float | None, float | None]:
    """Return (half_width_mm, contrast) on the line along n from −0.96ρ to 0.96ρ; None where it is dark."""
    along = np.linspace(-0.96, 0.96, 193) * beam.radius
    lit = beam.light(face_mm, along * beam.n[0], along * beam.n[1])
    most, least = float(lit.max()), float(lit.min())
    if most < DARK_MM2:
        return None, None
    above = lit - most / 2
    # Each step counts by the share of it that lies above half, the light between two points being a straight line.
    a, b = above[:-1], above[1:]
    one_side = np.maximum(a, b) / np.maximum(np.abs(a) + np.abs(b), 1e-300)
    share = np.where((a >= 0) & (b >= 0), 1.0, np.where((a < 0) & (b < 0), 0.0, one_side))
    return float(share.sum() * (along[1] - along[0])), (most - least) / (most + least)
