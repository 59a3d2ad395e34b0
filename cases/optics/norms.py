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
        "Near retinoscopy in the dark: allowance taken off",
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
        "Largest angle off the visual axis",
        5.0,
        1.0,
        10.0,
        "°",
        ("mohd-nor", "pacific-1985"),
    ),
    Norm("fog-least", "Least fog of the other eye", 0.75, 0.25, 2.0, "D", _CUSTOM),
    Norm(
        "usable-amplitude-share",
        "Usable share of the examiner's amplitude (0.5 is half, 1 is all)",
        0.5,
        0.5,
        1.0,
        "",
        _CUSTOM,
    ),
    Norm(
        "cylinder-change-limit",
        "Largest dry to wet change of cylinder within repeatability",
        0.75,
        0.25,
        3.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "residual-accommodation-limit",
        "Largest accommodation left under adequate cycloplegia",
        1.0,
        0.25,
        3.0,
        "D",
        _CUSTOM,
    ),
    Norm("subjective-start-fog", "Fog at the start of the subjective refraction", 1.0, 0.0, 3.0, "D", _CUSTOM),
    Norm(
        "anisometropia-check",
        "Least difference between the eyes that calls for measuring both again",
        1.0,
        0.25,
        3.0,
        "D",
        ("screening-table",),
    ),
    Norm(
        "result-difference", "Least difference between two results that counts, as blur", 0.5, 0.25, 1.5, "D", _CUSTOM
    ),
    Norm(
        "repeat-mean",
        "Same examiner, two readings: largest difference of mean power",
        SAME_EXAMINER_MEAN.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "repeat-cylinder",
        "Same examiner, two readings: largest difference of cylinder",
        SAME_EXAMINER_CYLINDER.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "repeat-axis",
        "Two readings: largest difference of axis, from 0.75 DC",
        AXIS_AGREEMENT[0],
        5.0,
        45.0,
        "°",
        _CHILDREN,
    ),
    Norm(
        "agreement-mean",
        "Two examiners: largest difference of mean power",
        TWO_EXAMINERS_MEAN.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
    Norm(
        "agreement-cylinder",
        "Two examiners: largest difference of cylinder",
        TWO_EXAMINERS_CYLINDER.widest,
        0.25,
        2.0,
        "D",
        _CHILDREN,
    ),
)

USUAL = {one.id: one.usual for one in NORMS}
