"""Published bands and limits: what lenses may be off by, and how far two measures of one eye usually differ.

Data with the keys of its sources, and small lookups in it. Nothing here is a threshold for prescribing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.errors import OutOfRange

PUBLISHED, SUPERSEDED = "published", "superseded"


@dataclass(frozen=True)
class Band:
    """Up to and with `up_to` (D, without sign) a value may be off by `within`, or by `share` of itself."""

    up_to: float
    within: float = 0.0
    share: float = 0.0


@dataclass(frozen=True)
class Bands:
    """A table of tolerances: by size in D, what a power (D) or an axis (degrees) may be off by, plus or minus."""

    id: str
    title: str
    measured: str
    """What the left column holds, such as "cylinder"."""
    unit: str
    """Of the tolerance: "D" or "°"."""
    bands: tuple[Band, ...]
    sources: tuple[str, ...]
    """Keys of evidence/sources.toml."""
    standing: str = PUBLISHED

    def within(self, size: float) -> float:
        """Return the tolerance for a power or cylinder of this size in D; its sign does not matter.

        Raises
        ------
        OutOfRange
            When the size is not finite.
        """
        if not math.isfinite(size):
            raise OutOfRange(self.measured, str(size), "a finite number is needed")
        band = next(band for band in self.bands if abs(size) <= band.up_to + 1e-9)
        return band.within or band.share * abs(size)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Give the table for a page: the size in words, and the tolerance."""
        out, low = [], 0.0
        for band in self.bands:
            last = math.isinf(band.up_to)
            size = f"over {low:.2f}" if last else f"up to {band.up_to:.2f}"
            allowed = f"{100 * band.share:.0f} %" if band.share else f"{band.within:g} {self.unit}".replace(" °", "°")
            out.append((size, f"±{allowed}"))
            low = band.up_to
        return tuple(out)


def _bands(*pairs: tuple[float, float]) -> tuple[Band, ...]:
    return tuple(Band(up_to, within) for up_to, within in pairs)


ANSI_2010_AXIS = Bands(
    "ansi-2010-axis",
    "Axis of spectacles",
    "cylinder",
    "°",
    _bands((0.25, 14), (0.5, 7), (0.75, 5), (1.5, 3), (math.inf, 2)),
    ("ansi-2010",),
)
ANSI_2010_SPHERE = Bands(
    "ansi-2010-power",
    "Power of spectacles in the stronger meridian",
    "power",
    "D",
    (Band(6.5, 0.13), Band(math.inf, share=0.02)),
    ("ansi-2010",),
)
ANSI_2010_CYLINDER = Bands(
    "ansi-2010-cylinder",
    "Cylinder of spectacles",
    "cylinder",
    "D",
    (Band(2, 0.13), Band(4.5, 0.15), Band(math.inf, share=0.04)),
    ("ansi-2010",),
)
ANSI_1999_AXIS = Bands(
    "ansi-1999-axis",
    "Axis of spectacles, before 2005",
    "cylinder",
    "°",
    _bands((0.37, 7), (0.75, 5), (1.5, 3), (math.inf, 2)),
    ("ansi-1999",),
    SUPERSEDED,
)
ISO_10341_POWER = Bands(
    "iso-10341-power",
    "Mean power of the lenses in a refractor head",
    "power",
    "D",
    _bands((3, 0.06), (6, 0.09), (9, 0.12), (12, 0.15), (15, 0.18), (math.inf, 0.25)),
    ("iso-10341",),
)

LENS_TABLES = (
    ANSI_2010_SPHERE,
    ANSI_2010_CYLINDER,
    ANSI_2010_AXIS,
    ANSI_1999_AXIS,
    ISO_10341_POWER,
)
"""Every table of lens tolerances."""


def axis_slack(cylinder: float, residual: float = 0.12) -> float:
    """Return the axis error in degrees, 0..90, that leaves a residual cylinder of `residual` D behind one of this size.

    A cylinder C set δ out leaves 2C·sin δ, so δ = asin(residual / 2C); 90 where the cylinder cannot leave as much.

    Raises
    ------
    OutOfRange
        When either is not finite, or the residual is below zero.
    Source: D. Torgersen, white paper of the Optical Laboratories Association on ANSI Z80.1-2005.
    """
    if not math.isfinite(cylinder):
        raise OutOfRange("cylinder", str(cylinder), "a finite number is needed")
    if not 0 <= residual < math.inf:
        raise OutOfRange("residual cylinder", f"{residual:g}", "give its size, zero or more")
    return math.degrees(math.asin(residual / (2 * abs(cylinder)))) if residual < 2 * abs(cylinder) else 90.0


@dataclass(frozen=True)
class Limits:
    """How two measures of the same eyes differed in one study: mean and 95 % limits of agreement in D."""

    id: str
    compared: str
    measure: str
    """"sphere", "cylinder" or "spherical equivalent"."""
    mean: float
    low: float
    high: float
    sources: tuple[str, ...]

    @property
    def widest(self) -> float:
        """The end that lies further from zero, in D without sign: a difference beyond it is beyond both ends."""
        return max(abs(self.low), abs(self.high))


_CHILDREN = ("mccullough-2017",)
_SAME, _TWO = "one examiner, repeated", "two examiners"
_JUNIOR = ("open-field",)
_MANIFEST = ("rosenfield-chiu",)
_MEAN = "spherical equivalent"

SAME_EXAMINER_MEAN = Limits("same-examiner-mean", _SAME, _MEAN, -0.06, -0.90, 0.78, _CHILDREN)
SAME_EXAMINER_CYLINDER = Limits("same-examiner-cylinder", _SAME, "cylinder", -0.03, -0.68, 0.62, _CHILDREN)
TWO_EXAMINERS_MEAN = Limits("two-examiners-mean", _TWO, _MEAN, -0.13, -0.95, 0.69, _CHILDREN)
TWO_EXAMINERS_CYLINDER = Limits("two-examiners-cylinder", _TWO, "cylinder", -0.08, -0.75, 0.59, _CHILDREN)
RETINOSCOPY_AND_SUBJECTIVE = Limits(
    "retinoscopy-less-subjective",
    "retinoscopy less subjective, 192 young adults, dry",
    _MEAN,
    -0.02,
    -0.02 - 1.96 * 0.33,
    -0.02 + 1.96 * 0.33,
    ("jorge-2005",),
)

AGREEMENT = (
    Limits("same-examiner-sphere", _SAME, "sphere", 0.0, -0.85, 0.85, _CHILDREN),
    SAME_EXAMINER_CYLINDER,
    SAME_EXAMINER_MEAN,
    Limits("two-examiners-sphere", _TWO, "sphere", -0.08, -0.92, 0.76, _CHILDREN),
    TWO_EXAMINERS_CYLINDER,
    TWO_EXAMINERS_MEAN,
    RETINOSCOPY_AND_SUBJECTIVE,
    Limits("junior-a-mean", "autorefractor and retinoscopy, first junior", _MEAN, 0.09, -0.49, 0.67, _JUNIOR),
    Limits("junior-b-mean", "autorefractor and retinoscopy, second junior", _MEAN, -0.10, -1.02, 0.82, _JUNIOR),
    Limits("junior-a-sphere", "autorefractor and retinoscopy, first junior", "sphere", 0.18, -0.41, 0.77, _JUNIOR),
    Limits("junior-b-sphere", "autorefractor and retinoscopy, second junior", "sphere", 0.05, -0.83, 0.94, _JUNIOR),
    Limits("junior-a-cylinder", "autorefractor and retinoscopy, first junior", "cylinder", -0.18, -0.86, 0.50, _JUNIOR),
    Limits("junior-b-cylinder", "autorefractor and retinoscopy, second junior", "cylinder", -0.30, -1.0, 0.39, _JUNIOR),
    Limits(
        "autorefractor-less-retinoscopy",
        "autorefractor less retinoscopy, 23 children",
        _MEAN,
        0.26,
        -1.06,
        1.58,
        ("autorefractor-in-children",),
    ),
    Limits("subjective-sphere", "subjective, repeated", "sphere", 0.0, -0.27, 0.27, _MANIFEST),
    Limits("subjective-cylinder", "subjective, repeated", "cylinder", 0.0, -0.16, 0.16, _MANIFEST),
    Limits("subjective-mean", "subjective, repeated", _MEAN, 0.0, -0.29, 0.29, _MANIFEST),
)
"""Limits of agreement found in studies."""

AXIS_AGREEMENT = (20.0, 0.71, 0.75)
"""Two examiners' axes lay within this many degrees in this share of eyes with at least this many D of cylinder. Source:
`mccullough-2017`."""
