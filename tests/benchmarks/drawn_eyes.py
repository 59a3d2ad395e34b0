"""How many patients a case looks at before it takes one: `python -m tests.benchmarks.drawn_eyes [CASES]`.

Prints for each type that draws from patients how many were looked at for one case (median, and the share within five),
and how often none of all those looked at would do, so that findings were drawn evenly. Exit 1 when over all types fewer
than half of the cases take one of the first five, or when findings had to be drawn evenly at all.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from cases.curriculum import drawn_eyes
from cases.curriculum.register import case_type
from cases.patients.patient import Patient
from cases.procedure.case_type import draw
from cases.procedure.randomness import Chance

TYPES = (
    *("average-readings", "bench-axis", "bench-eye", "bench-lean", "bench-movement", "bench-nearer", "bench-sphere"),
    *("dark-near", "difference-cause", "expected-vision", "eye-for-eye", "fixation-near", "lag-lens", "near-response"),
    *("other-eye-fogged", "repeat-or-accept", "two-eyes", "wet-dry", "whole-run"),
)
"""The types whose findings come from patients."""


@dataclass
class Counted:
    """What one type took: patients looked at for each case, and how often none would do."""

    looked_at: list[int] = field(default_factory=list)
    exhausted: int = 0

    @property
    def within_five(self) -> float:
        return statistics.fmean(one <= 5 for one in self.looked_at)


def count_looks(type_id: str, cases: int, monkeypatch: pytest.MonkeyPatch) -> Counted:
    """Draw cases of a type and count the patients that were looked at for each."""
    counted, every = Counted(), drawn_eyes.patients
    looks = 0

    def watched(chance: Chance) -> Iterator[Patient]:
        nonlocal looks
        for one in every(chance):
            looks += 1
            yield one
        counted.exhausted += 1

    monkeypatch.setattr(drawn_eyes, "patients", watched)
    for seed in range(cases):
        looks = 0
        draw(case_type(type_id), seed)
        counted.looked_at.append(looks)
    monkeypatch.setattr(drawn_eyes, "patients", every)
    return counted


def main(cases: int) -> int:
    """Print the counts; return 1 when the guard takes too long or gives up."""
    every: list[int] = []
    exhausted = 0
    with pytest.MonkeyPatch.context() as monkeypatch:
        for type_id in TYPES:
            found = count_looks(type_id, cases // len(TYPES) + 1, monkeypatch)
            every += found.looked_at
            exhausted += found.exhausted
            median = statistics.median(found.looked_at)
            print(f"{type_id:20} {median:5g} {found.within_five:6.0%} {found.exhausted:4}")  # noqa: T201
    within = statistics.fmean(one <= 5 for one in every)
    print(f"{len(every)} cases, {within:.0%} within five, {exhausted} drawn evenly")  # noqa: T201
    return 0 if within >= 0.5 and not exhausted else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000))
