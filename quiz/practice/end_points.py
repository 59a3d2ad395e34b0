"""Whether someone's end-points at the bench lie to one side of neutral, and by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.optics.lens import SphCyl
from quiz.storage import progress_queries
from quiz.storage.store import Answer, Store

EYES = 6
"""Eyes from which on a bias is told: fewer say nothing of one."""
LATEST = 24
"""Eyes looked back on."""
FAR_OUT = 1.0
"""In D: a result further out than this is no matter of where neutral is taken."""
LEAST = 0.1
"""In D: a bias smaller than this is not told."""
SURE = 2.0
"""How many times its standard error a bias has to be."""


@dataclass(frozen=True)
class Bias:
    """Where someone's end-points lie on average."""

    mean: float
    """Spherical equivalent in D, result minus truth: plus is too plus."""
    eyes: int


def bias_of(errors: Sequence[float]) -> Bias | None:
    """Return the bias of spherical equivalents in D (result minus truth); None where it may be chance or is small.

    A mean is told from six eyes on, where it is at least 0.10 D and twice its standard error from zero; the limits
    are common practice, with no published source.
    """
    near = [one for one in errors if abs(one) <= FAR_OUT]
    if len(near) < EYES:
        return None
    mean, error = fmean(near), stdev(near) / math.sqrt(len(near))
    return Bias(mean, len(near)) if abs(mean) >= LEAST and abs(mean) >= SURE * error else None


def bias(store: Store, learner_id: int, types: Sequence[str]) -> Bias | None:
    """Return the bias of a learner's latest eyes of these types at the bench."""
    answers = progress_queries.latest_of(store, learner_id, types, most=LATEST)
    return bias_of([error for one in answers if (error := _error(one)) is not None])


def _error(answer: Answer) -> float | None:
    try:
        kind = all_types()[answer.type]
        given, right = (kind.answer_from_json(one) for one in (answer.read_as, answer.truth))
    except (KeyError, CaseError):
        return None
    parts = [(given[ask.name], right[ask.name]) for ask in kind.asks]
    if len(parts) != 1:
        return None
    return _equivalent(parts[0][0]) - _equivalent(parts[0][1])


def _equivalent(value: float | SphCyl) -> float:
    return value.spherical_equivalent if isinstance(value, SphCyl) else value
