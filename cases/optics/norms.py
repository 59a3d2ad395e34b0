"""Values on which authorities or clinics differ: settings that a case states, never facts that it hides."""

from __future__ import annotations

from dataclasses import dataclass

from cases.optics.tolerances import (
    AXIS_AGREEMENT,
    SAME_EXAMINER_CYLINDER,
    SAME_EXAMINER_MEAN,
    TWO_EXAMINERS_CYLINDER,
    TWO_EXAMINERS_MEAN,
)

_CHILDREN = "McCullough, Doyle & Saunders 2017, Ophthalmic Physiol Opt 37:16: children under cycloplegia, wider end"
_CUSTOM = "common practice, no published source"


@dataclass(frozen=True)
class Norm:
    """One such value, with the range in which a clinic may set it; `unit` is D, ° or nothing."""

    id: str
    label: str
    usual: float
    low: float
    high: float
    unit: str
    source: str


NORMS = (
    Norm(
        "dark-near-allowance",
        "Allowance taken off in the dark at near",
        1.25,
        0.5,
        2.0,
        "D",
        "Kauser et al. 2020, Indian J Ophthalmol 68:2458; other figures are in use for infants and children",
    ),
    Norm(
        "lag-usual-low",
        "Lag at near, lower end of the usual range",
        0.25,
        -0.5,
        1.0,
        "D",
        "AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85; texts differ",
    ),
    Norm(
        "lag-usual-high",
        "Lag at near, upper end of the usual range",
        0.75,
        0.25,
        2.0,
        "D",
        "AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85; texts differ",
    ),
    Norm(
        "sighting-limit",
        "Angle off the visual axis still allowed",
        5.0,
        1.0,
        10.0,
        "°",
        "Mohd Nor et al., IIUM J (IJAHS), advise 5° at most; a Pacific University thesis of 1985 found 4° harmless",
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
        "criteria of a screening table in Br J Ophthalmol; bodies and years differ",
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
