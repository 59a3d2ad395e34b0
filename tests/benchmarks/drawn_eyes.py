"""How many patients a case looks at before it takes one: `python -m tests.benchmarks.drawn_eyes [CASES]`.

Prints for each type that draws from patients how many were looked at for one case (median, and the share within five),
and how often none of all those looked at would do, so that findings were drawn evenly. Exit 1 when of any type fewer
than half of the cases take one of the first five, or when findings had to be drawn evenly at all.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from cases.curriculum import drawn_eyes
from cases.curriculum.drawn_eyes import Sought
from cases.curriculum.register import case_type
from cases.patients.patient import Patient
from cases.procedure.case_type import draw
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

TYPES = (
    *("average-readings", "bench-axis", "bench-eye", "bench-lean", "bench-movement", "bench-nearer", "bench-sphere"),
    *("centre-margin", "cycloplegia-check", "dark-near", "difference-cause", "examiner-blur", "expected-vision"),
    *(
        "eye-for-eye",
        "fixation-near",
        "lag-lens",
        "lag-move-back",
        "near-response",
        "odd-reflex",
        "other-eye-fogged",
        "record-audit",
    ),
    *("repeat-or-accept", "tilted-lens", "two-eyes", "two-eyes-meridians", "vertex-sphere", "vertex-toric"),
    *("two-eyes-pattern", "vision-disagrees", "wet-dry", "whole-run"),
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
    looks: dict[str, int] = {}

    def watched(chance: Chance, settings: Settings, sought: Sought) -> Iterator[Patient]:
        for place, one in enumerate(every(chance, settings, sought), 1):
            # Draws of one subject look at the same patients again.
            looks[chance.subject] = max(place, looks.get(chance.subject, 0))
            yield one
        counted.exhausted += 1

    monkeypatch.setattr(drawn_eyes, "patients", watched)
    for seed in range(cases):
        looks.clear()
        draw(case_type(type_id), seed)
        counted.looked_at.append(sum(looks.values()))
    monkeypatch.setattr(drawn_eyes, "patients", every)
    return counted


def main(cases: int) -> int:
    """Print the counts; return 1 when the guard takes too long or gives up."""
    every: list[int] = []
    exhausted, slow = 0, list[str]()
    with pytest.MonkeyPatch.context() as monkeypatch:
        for type_id in TYPES:
            found = count_looks(type_id, cases // len(TYPES) + 1, monkeypatch)
            every += found.looked_at
            exhausted += found.exhausted
            slow += [type_id] if found.within_five < 0.5 else []
            median = statistics.median(found.looked_at)
            print(f"{type_id:20} {median:5g} {found.within_five:6.0%} {found.exhausted:4}")  # noqa: T201
    within = statistics.fmean(one <= 5 for one in every)
    print(f"{len(every)} cases, {within:.0%} within five, {exhausted} drawn evenly")  # noqa: T201
    return 1 if slow or exhausted else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000))
