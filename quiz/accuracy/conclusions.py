"""What the accuracy log's pattern suggests, in words: each claim with its size, its rule, other causes, and practice.

A reading never says what happened, only what would explain the numbers. The sentences are in wording.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.notation.plurals import counted
from cases.notation.prescription import write_distance
from cases.optics.tolerances import AXIS_AGREEMENT
from quiz.accuracy.patterns import (
    ALIKE,
    DRY_WET,
    FEWEST_EYES,
    FEWEST_PATIENTS,
    SOURCE_OF_USUAL_SD,
    USUAL_SD,
    Distance,
    Evidence,
)
from quiz.accuracy.wording import TELL, Told, allowed_words, left_in, span_words

ONE_A_PATIENT = "one value a patient"
RULES = {
    "distance": f"Mean difference of M against zero, Student’s t on {ONE_A_PATIENT}",
    "cylinder-level": f"Mean difference of J0 against zero, Student’s t on {ONE_A_PATIENT}",
    "cylinder-mirrored": f"Mean difference of J45, left eyes mirrored, against zero, Student’s t on {ONE_A_PATIENT}",
    "cylinder-uneven": "Right less left in J0 against zero, paired t over patients with both eyes",
    "cylinder-oblique": "J45 of right and left taken together, not mirrored, paired t over patients with both eyes",
    "eyes-differ": "Right less left in M against zero, paired t over patients with both eyes",
    "accommodation": "M where accommodation may be in play below M where it is not, Welch’s t",
    "drift": f"Slope of M over the days against zero, straight line through {ONE_A_PATIENT}",
    "scatter": f"SD of M above {USUAL_SD:.2f} D, χ²; {SOURCE_OF_USUAL_SD}",
    "axis-scatter": (
        f"Fewer axes within {AXIS_AGREEMENT[0]:g}° than the {100 * AXIS_AGREEMENT[1]:.0f} % of two examiners "
        f"(binomial); {SOURCE_OF_USUAL_SD}"
    ),
    "mean-vector": f"Hotelling’s T² of the mean vector (M, J0, mirrored J45) against zero, {ONE_A_PATIENT}",
    "left-in": "An eye that stands far out and is off by about its own working distance",
}
"""The name of each rule, as a reading shows it."""

PRACTICE = {
    "nearer": ("distance-drift", "drift-allowed", "net-sphere", "distance-vergence"),
    "left-in": ("net-sphere", "working-lens", "two-eyes"),
    "side": ("sighting-angle", "eye-for-eye", "off-axis-effect"),
    "height": ("sighting-height", "sighting-level", "off-axis-effect"),
    "askew": ("sighting-angle", "sighting-height", "off-axis-effect"),
    "turned": ("sighting-angle", "axis-error", "axis-straddling"),
    "one-eye": ("distance-drift", "two-eyes", "other-eye-fogged"),
    "accommodation": ("fixation-near", "fixation-target", "other-eye-fogged"),
    "scatter": ("bracket-end-point", "lean-test", "repeat-or-accept"),
    "axis": ("axis-straddling", "axis-error", "streak-axis"),
    "any": ("two-spheres", "sphere-then-cyl", "net-sphere"),
}
"""Case types that train what a reading suggests, by their ids in the register."""


@dataclass(frozen=True)
class Reading:
    """One pattern that the log claims."""

    id: str
    title: str
    says: str
    """What the numbers are, with their uncertainty."""
    suggests: str
    """What would explain them, the likeliest first."""
    rule: str
    practice: tuple[str, ...]


def readings(evidence: Evidence) -> tuple[Reading, ...]:
    """Return what the log claims, the pattern that most explains first; none is an answer too (see `quiet`)."""
    made = [_reading("left-in", left_in(evidence), RULES["left-in"])] if evidence.forgotten else []
    for name, tell in TELL.items():
        test = evidence.test(name)
        if test is not None and test.claims:
            made.append(_reading(name, tell(evidence), f"{RULES[name]}; adjusted p {p_words(test.adjusted)}"))
    if len(made) > 1:
        made = [one for one in made if one.id != "mean-vector"]
    return tuple(made)


def _reading(name: str, told: Told, rule: str) -> Reading:
    title, says, suggests, practice = told
    return Reading(name, title, says, suggests, rule, PRACTICE[practice])


def few(evidence: Evidence) -> str:
    """Return the honest word when the log is too small to say anything; "" when it is not."""
    if evidence.enough:
        return ""
    eyes, patients = counted(evidence.eyes, "eye"), counted(evidence.patients, "patient")
    return (
        f"{eyes} of {patients} so far: too few to tell a habit from chance, so the points are shown alone. "
        f"From {FEWEST_EYES} eyes of at least {FEWEST_PATIENTS} patients on, limits and patterns are worked out; two "
        "eyes of one patient count as one witness."
    )


def quiet(evidence: Evidence) -> str:
    """Say what it means that nothing is claimed; "" when something is, or the log is too small."""
    if not evidence.enough or readings(evidence) or evidence.M is None:
        return ""
    scope = f"The mean of M is known to between {span_words(evidence.M)}."
    if evidence.distance is not None:
        scope += f" {_fits(evidence.distance)}"
    return f"No pattern stands out from chance in these {evidence.patients} patients. {scope}"


def notes(evidence: Evidence) -> tuple[str, ...]:
    """Return what must be known before the numbers are believed."""
    out = []
    if evidence.basis != ALIKE:
        which = "dry against a wet end-point" if evidence.basis == DRY_WET else "wet against a dry end-point"
        way = "minus" if evidence.basis == DRY_WET else "plus"
        out.append(
            f"Most of these eyes were done {which}. Accommodation alone makes the retinoscopy read more {way} then, so "
            "no distance is read out of M; the cylinder can be compared all the same."
        )
    if evidence.left_out:
        out.append(
            f"{counted(evidence.left_out, 'eye')} in which retinoscopy and end-point differ in being dry or wet from "
            "most of the log: drawn in the charts as crosses, left out of the numbers."
        )
    if evidence.forgotten:
        out.append(
            f"{counted(len(evidence.forgotten), 'eye')} named as outlying: drawn as a cross, left out of the numbers."
        )
    if evidence.enough and evidence.eyes > evidence.patients:
        out.append(
            f"{evidence.eyes} eyes of {evidence.patients} patients: two eyes of one patient are not independent, so "
            "tests and intervals go by patients, each with the mean of the eyes (left eyes mirrored)."
        )
    return tuple(out)


def p_words(p: float) -> str:
    """Write a p to three decimals, to follow "p": "= 0.012", or "below 0.001"."""
    return "below 0.001" if p < 0.001 else f"= {p:.3f}"


def _fits(distance: Distance) -> str:
    low, high = distance.interval
    end = "any farther distance" if math.isinf(high) else write_distance(high)
    allowed = allowed_words(distance)
    return f"A true distance from {write_distance(low)} to {end} would fit, where {allowed} was allowed for."
