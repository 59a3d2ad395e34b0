"""Chance that gives the same draws on every machine and every Python: only `random()` of a seeded generator is used."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")


class Chance:
    """A seeded source of choices. `Random.random` is the one method whose sequence Python promises to keep."""

    def __init__(self, seed: str) -> None:
        self._generator = random.Random(seed)
        self.subject = ""
        """Seed of what stays the same while the rest is drawn again: whom a case is of. "": nothing does."""

    def unit(self) -> float:
        """Return a number in [0, 1)."""
        return self._generator.random()

    def happens(self, probability: float) -> bool:
        """Say yes with the given probability."""
        return self.unit() < probability

    def among(self, options: Sequence[T]) -> T:
        """Pick one of the options, all alike."""
        return options[int(self.unit() * len(options))]

    def whole(self, low: int, high: int) -> int:
        """Pick a whole number, both ends included."""
        return low + int(self.unit() * (high - low + 1))

    def stepped(self, low: float, high: float, step: float = 0.25) -> float:
        """Pick low, low + step, ... up to high, rounded clean of float dust."""
        return round(low + step * self.whole(0, round((high - low) / step)), 6)

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """Return the items in a drawn order."""
        left, out = list(items), []
        while left:
            out.append(left.pop(int(self.unit() * len(left))))
        return out
