"""Values on which authorities or clinics differ: settings that a case states, never facts that it hides."""

from __future__ import annotations

from dataclasses import dataclass

from cases.evidence.sources import COMMON
from cases.optics.tolerances import (
    AXIS_AGREEMENT,
    SAME_EXAMINER_CYLINDER,
    SAME_EXAMINER_MEAN,
    TWO_EXAMINERS_CYLINDER,
    TWO_EXAMINERS_MEAN,
)

_CHILDREN = ("mccullough-2017",)
"""Of the limits of agreement the wider end."""
_CUSTOM = (COMMON,)


@dataclass(frozen=True)
class Norm:
    """One such value, with the range in which a clinic may set it; `unit` is D, ° or nothing."""

    id: str
    label: str
    usual: float
    low: float
    high: float
    unit: str
    sources: tuple[str, ...]
    """Keys of evidence/sources.toml."""


NORMS = (
    Norm(
        "dark-near-allowance",
        "Allowance taken off in the dark at near",
        1.25,
        0.5,
        2.0,
        "D",
        ("kauser-2020", "near-comparison"),
    ),
    Norm(
        "lag-usual-low",
        "Lag at near, lower end of the usual range",
        0.25,
        -0.5,
        1.0,
        "D",
        ("almubrad-2006",),
    ),
    Norm(
        "lag-usual-high",
        "Lag at near, upper end of the usual range",
        0.75,
        0.25,
        2.0,
        "D",
        ("almubrad-2006",),
    ),
    Norm(
        "sighting-limit",
        "Angle off the visual axis still allowed",
        5.0,
        1.0,
        10.0,
        "°",
        ("mohd-nor", "pacific-1985"),
    ),
    Norm("fog-least", "Fog of the other eye asked for at least", 0.75, 0.25, 2.0, "D", _CUSTOM),
    Norm(
        "usable-amplitude-share",
        "Share of the examiner's amplitude counted on (half, or all)",
        0.5,
        0.5,
        1.0,
        "",
        _CUSTOM,
    ),
    Norm(
        "cylinder-change-limit",
        "Change of cylinder between dry and wet that may be chance",
        0.75,
        0.25,
        3.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "residual-accommodation-limit", "Accommodation that may be left under cycloplegia", 1.0, 0.25, 3.0, "D", _CUSTOM
    ),
    Norm("subjective-start-fog", "Fog from which the subjective starts", 1.0, 0.0, 3.0, "D", _CUSTOM),
    Norm(
        "anisometropia-check",
        "Difference of the two eyes from which both are measured again",
        1.0,
        0.25,
        3.0,
        "D",
        ("screening-table",),
    ),
    Norm(
        "result-difference", "Blur from which the difference between two results counts", 0.5, 0.25, 1.5, "D", _CUSTOM
    ),
    Norm(
        "repeat-mean",
        "Mean powers of one examiner's two readings may differ by",
        SAME_EXAMINER_MEAN.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "repeat-cylinder",
        "Cylinders of one examiner's two readings may differ by",
        SAME_EXAMINER_CYLINDER.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "repeat-axis", "Axes of two readings may differ by, from 0.75 DC", AXIS_AGREEMENT[0], 5.0, 45.0, "°", _CHILDREN
    ),
    Norm(
        "agreement-mean",
        "Mean powers of two measurements may differ by",
        TWO_EXAMINERS_MEAN.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "agreement-cylinder",
        "Cylinders of two measurements may differ by",
        TWO_EXAMINERS_CYLINDER.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
)

USUAL = {one.id: one.usual for one in NORMS}
