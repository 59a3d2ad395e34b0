"""Schematic eyes seen off their axis, and the vision to expect through a blur. The reflex is in reflex.py."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.errors import OutOfRange
from cases.optics.lens import SphCyl

WIDEST_ANGLE = 30.0
"""Schematic eyes of this kind are not to be trusted further off axis than this, in degrees."""

MEASURED_SCATTER = 3.0
"""Measured astigmatism at one angle differs by about this factor from eye to eye and study to study."""


@dataclass(frozen=True)
class Surface:
    """A refracting surface of revolution, met from the air side of the eye.

    radius_mm: apical radius, positive when its centre lies towards the retina.
    asphericity: conic constant Q (0 a sphere, negative flatter towards the edge).
    index: refractive index behind the surface.
    gap_mm: axial distance to the next surface; 0 for the last.
    """

    radius_mm: float
    asphericity: float
    index: float
    gap_mm: float


@dataclass(frozen=True)
class SchematicEye:
    """Four centred surfaces; the pupil lies at the front of the crystalline lens, the third of them."""

    name: str
    surfaces: tuple[Surface, Surface, Surface, Surface]


LE_GRAND = SchematicEye(
    "Le Grand full theoretical eye",
    (
        Surface(7.8, 0.0, 1.3771, 0.55),
        Surface(6.5, 0.0, 1.3374, 3.05),
        Surface(10.2, 0.0, 1.42, 4.0),
        Surface(-6.0, 0.0, 1.336, 0.0),
    ),
)
"""All spherical, relaxed. Source: Le Grand & El Hage 1980, Physiological Optics (from memory)."""

NAVARRO = SchematicEye(
    "Navarro-type aspheric eye",
    (
        Surface(7.72, -0.26, 1.376, 0.55),
        Surface(6.5, 0.0, 1.3374, 3.05),
        Surface(10.2, -3.1316, 1.42, 4.0),
        Surface(-6.0, -1.0, 1.336, 0.0),
    ),
)
"""Conic cornea and lens, relaxed. Source: Navarro, Santamaría & Bescós 1985, J Opt Soc Am A 2:1273 (from memory)."""

PUPIL = 2
"""Index of the surface whose vertex is the centre of the pupil."""


@dataclass(frozen=True)
class _Crossing:
    """The chief ray at one surface: path from the surface before, cosines of the two angles, the two curvatures."""

    path_mm: float
    cos_before: float
    cos_behind: float
    index_before: float
    index_behind: float
    tangential_per_mm: float
    sagittal_per_mm: float


def induced_astigmatism(eye: SchematicEye, angle: float) -> float:
    """Return the cylinder in D, never positive, that correcting an eye seen `angle` degrees off axis would need.

    The minus cylinder has its axis across the meridian that holds the tilt (tilt to the side: axis 90), for that
    meridian is the more myopic. The angle is measured in air between the optical axis and the chief ray; its sign
    does not matter. The retina is taken to lie at the sagittal focus, so that all of the difference falls on the
    tangential meridian; powers are those at the corneal vertex.

    Raises
    ------
    OutOfRange
        When the angle is not a finite number within 30° of the axis.

    Source: Coddington's equations, e.g. Atchison & Smith, Optics of the Human Eye (from memory).
    """
    size = _angle_size(angle)
    if size == 0:
        return 0.0
    crossings = _chief_ray(eye, math.radians(size))
    sagittal = 0.0
    for at in crossings:
        sagittal = _travel(sagittal, at.path_mm, at.index_before)
        sagittal += (at.index_behind * at.cos_behind - at.index_before * at.cos_before) * at.sagittal_per_mm
    # Back from the sagittal focus: the sagittal fan leaves the eye parallel, the tangential one does not. A vergence
    # is reckoned along the light, so turning round changes its sign; each surface keeps its power.
    vergence = -sagittal
    for at in reversed(crossings):
        power = (at.index_behind * at.cos_behind - at.index_before * at.cos_before) * at.tangential_per_mm
        vergence = (vergence * at.cos_behind**2 + power) / at.cos_before**2
        vergence = _travel(vergence, at.path_mm, at.index_before)
    return min(-1000 * vergence, 0.0)


def astigmatism_band(angle: float) -> tuple[float, float]:
    """Return the (least, most) minus cylinder in D, as sizes without sign, to expect `angle` degrees off axis.

    The band stands round the geometric mean of the two schematic eyes and is as wide as measurements scatter, a
    factor of three from end to end. It says how much an examiner's place may matter; it is not a correction, and
    mean sphere is left out since it has no sign common to all eyes. Single small studies fall outside it at 5°:
    see the tests.

    Raises
    ------
    OutOfRange
        When the angle is not a finite number within 30° of the axis.

    Source: derived here from `induced_astigmatism`; the scatter is common practice, no published source.
    """
    middle = math.sqrt(induced_astigmatism(LE_GRAND, angle) * induced_astigmatism(NAVARRO, angle))
    spread = math.sqrt(MEASURED_SCATTER)
    return middle / spread, middle * spread


def blur_strength(uncorrected: SphCyl) -> float:
    """Return the dioptric strength b = √(M² + J0² + J45²), in D, of a defocus that the eye cannot clear.

    Source: `thibos-1997`.
    """
    return math.hypot(*uncorrected.power_vector())


def expected_mar(uncorrected: SphCyl) -> tuple[float, float]:
    """Return the (best, worst) minimum angle of resolution in minutes of arc to expect of an eye left uncorrected.

    uncorrected: what accommodation does not clear: myopia, absolute hyperopia, astigmatism. 1' is 6/6, 2' is 6/12.
    The best end is 1 + b². The worst doubles the part that blur adds, because sources differ about twofold with
    pupil, chart and what counts as read. For an otherwise healthy eye: a worse vision than this is not explained by
    the refraction.

    Source: `blendowske-2015`, `common-practice`. 1 + b² is the first (the scale of b was not read); the doubling
    covers clinical rules known from memory.
    """
    blur = blur_strength(uncorrected) ** 2
    return 1 + blur, 1 + 2 * blur


def _angle_size(angle: float) -> float:
    if not abs(angle) <= WIDEST_ANGLE:
        raise OutOfRange(
            "angle off the axis", f"{angle:g}°", f"a schematic eye holds within {WIDEST_ANGLE:g}° of its axis"
        )
    return abs(angle)


def _travel(vergence: float, path_mm: float, index: float) -> float:
    """Carry a vergence (index/mm) along a path in mm within one medium."""
    return vergence / (1 - path_mm * vergence / index)


def _chief_ray(eye: SchematicEye, angle: float) -> tuple[_Crossing, ...]:
    """Find the ray that comes in at `angle` radians and passes the centre of the pupil, by halving the interval."""
    low, high = -6 * math.sin(angle), 0.0
    for _ in range(60):
        height = (low + high) / 2
        if _trace(eye, height, angle)[1] > 0:
            high = height
        else:
            low = height
    return _trace(eye, (low + high) / 2, angle)[0]


def _trace(eye: SchematicEye, height_mm: float, angle: float) -> tuple[tuple[_Crossing, ...], float]:
    """Trace a meridional ray from the plane of the corneal vertex; also return its height in mm at the pupil."""
    across, along = height_mm, 0.0
    sin, cos = math.sin(angle), math.cos(angle)
    index, pupil_height = 1.0, 0.0
    crossings = []
    for number, surface in enumerate(eye.surfaces):
        radius, shape = surface.radius_mm, 1 + surface.asphericity
        # The conic y² + (1+Q)z² − 2Rz = 0 met by (across + t sin, along + t cos); the root nearer the vertex.
        square = sin * sin + shape * cos * cos
        half = across * sin + shape * along * cos - radius * cos
        rest = across * across + shape * along * along - 2 * radius * along
        path = rest / (-half + math.copysign(math.sqrt(half * half - square * rest), radius))
        across, along = across + path * sin, along + path * cos
        if number == PUPIL:
            pupil_height = across
        slope_y, slope_z = -across / radius, 1 - shape * along / radius
        steep = math.hypot(slope_y, slope_z)
        normal_y, normal_z = slope_y / steep, slope_z / steep
        cos_before = normal_y * sin + normal_z * cos
        ratio = index / surface.index
        cos_behind = math.sqrt(1 - ratio * ratio * (1 - cos_before * cos_before))
        bend = cos_behind - ratio * cos_before
        sin, cos = ratio * sin + bend * normal_y, ratio * cos + bend * normal_z
        sagittal = math.copysign(math.sqrt(radius * radius - surface.asphericity * across * across), radius)
        crossings.append(
            _Crossing(path, cos_before, cos_behind, index, surface.index, radius * radius / sagittal**3, 1 / sagittal)
        )
        index = surface.index
        along -= surface.gap_mm
    return tuple(crossings), pupil_height
