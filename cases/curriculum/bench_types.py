"""Which case types are put on the bench, and how."""

from __future__ import annotations

from functools import cache

from cases.curriculum.bench_stage import Stage
from cases.curriculum.register import loaded_families

WHOLE_EYES = ("bench-sphere", "bench-eye")
"""Types in which an eye is brought to neutral; the others are short looks."""


@cache
def _stages() -> dict[str, Stage]:
    return {one: stage for module in loaded_families()[0] for one, stage in getattr(module, "STAGES", {}).items()}


def stage_of(type_id: str) -> Stage | None:
    """Return how cases of this type are put on the bench; None for a type that is answered on paper."""
    return _stages().get(type_id)


def staged() -> tuple[str, ...]:
    """Return the ids of the types that are put on the bench."""
    return tuple(_stages())
