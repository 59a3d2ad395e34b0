"""Which case types are put on the bench, and how."""

from __future__ import annotations

from cases.bench import Stage
from cases.families import bench, bench_short, bench_two

_STAGES = bench.STAGES | bench_short.STAGES | bench_two.STAGES


def stage_of(type_id: str) -> Stage | None:
    """Return how cases of this type are put on the bench; None for a type that is answered on paper."""
    return _STAGES.get(type_id)


def staged() -> tuple[str, ...]:
    """Return the ids of the types that are put on the bench."""
    return tuple(_STAGES)
