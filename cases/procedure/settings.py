"""What is fixed before a case is drawn: level, cylinder form, working distance and the clinic's norms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cases.optics.norms import USUAL


@dataclass(frozen=True)
class Settings:
    """What a learner or a drill fixes before a case is drawn. Distances in cm, powers in D."""

    form: str = "minus"
    level: str = "competent"
    distance_cm: float = 67.0
    """The learner's usual working distance: about two cases in five are drawn at it."""
    fixed_distance: bool = False
    """Whether every case is to be at that distance."""
    region: str = "europe"
    """As where the refractions of drawn patients are: an id of cases.patients.population."""
    norms: Mapping[str, float] = field(default_factory=dict)
    """Values on which authorities differ, by the ids of norms.py; only those that are set otherwise than usual."""

    def norm(self, norm_id: str) -> float:
        """Return the value to go by: what is set, or the usual one."""
        return self.norms.get(norm_id, USUAL[norm_id])
