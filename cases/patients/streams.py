"""Chance by field: every field of a patient has a seeded source of its own, so that a new field moves no old one."""

from __future__ import annotations

import math
from hashlib import blake2b
from statistics import NormalDist

from cases.procedure.randomness import Chance

_NORMAL = NormalDist()
_LEAST = 1e-12


class Streams:
    """The sources of one seed. Asking twice for one field gives the same number; one number a field."""

    def __init__(self, seed: str) -> None:
        self.seed = seed

    def unit(self, field: str) -> float:
        """Return the field's number in [0, 1): 53 bits of a hash, which cost a tenth of seeding a generator."""
        digest = blake2b(f"{self.seed}/{field}".encode(), digest_size=7).digest()
        return (int.from_bytes(digest, "big") >> 3) / 2**53

    def happens(self, field: str, probability: float) -> bool:
        """Say whether the field's number lies below a probability."""
        return self.unit(field) < probability

    def normal(self, field: str) -> float:
        """Return a standard normal deviate."""
        return _NORMAL.inv_cdf(max(self.unit(field), _LEAST))

    def exponential(self, field: str) -> float:
        """Return an exponential deviate of mean 1."""
        return -math.log(1 - self.unit(field))

    def gamma(self, field: str, shape: float) -> float:
        """Return a gamma deviate of this shape and scale 1, by the cube of Wilson & Hilferty."""
        ninth = 1 / (9 * shape)
        return shape * max(0.0, 1 - ninth + self.normal(field) * math.sqrt(ninth)) ** 3

    def chance(self, field: str) -> Chance:
        """Return a whole source, for a field that takes many numbers."""
        return Chance(f"{self.seed}/{field}")
