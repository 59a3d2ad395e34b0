"""What blurs an eye without spectacles and the vision that goes with it, as several checks need it."""

from __future__ import annotations

from cases.procedure import quantities
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field

ALLOW_ACCOMMODATION = Skill("allow-accommodation", "allowing for what accommodation clears")
BLUR_STRENGTH = Skill("blur-strength", "putting mean and cylinder together into one blur")

ACCOMMODATION_FORGOTTEN = SlipName(
    "accommodation-forgotten",
    "counted all of the plus as blur",
    "An eye that still accommodates clears its own hyperopia. Only what is beyond its reach blurs the distance.",
)
CYLINDER_UNCOUNTED = SlipName(
    "cylinder-left-out-of-blur",
    "left the cylinder out of the blur",
    "A spherical equivalent of zero still leaves blur when the cylinder is strong: half of the cylinder counts too.",
)
PARTS_ADDED = SlipName(
    "blur-parts-added",
    "added the mean and the half cylinder straight",
    "They are at right angles to each other as vectors: square both, add, and take the root.",
    ("thibos-1997",),
)

ACCOMMODATION = Field(
    "accommodation", "Accommodation that the patient can use, D", quantities.SIZE.having(high=20), default=0.0
)


def not_cleared(mean: float, accommodation: float) -> float:
    """Return what is left of a mean power in D when an eye clears as much of its plus as it can."""
    return mean - min(max(mean, 0.0), accommodation)


def snellen(mar: float) -> str:
    """Write a smallest angle in minutes as a line of the 6-metre chart: 2 is 6/12."""
    below = 6 * mar
    return f"6/{below:.0f}" if below >= 9.5 else f"6/{below:.1f}".removesuffix(".0")


def range_words(expected: tuple[float, float]) -> str:
    """Write a range of vision, its (best, worst) smallest angle in minutes, as lines of the 6-metre chart."""
    best, worst = (snellen(mar) for mar in expected)
    return f"{best} to {worst}" if best != worst else f"about {best}"
