"""How long a learner takes for a case, by their own latest answers."""

from __future__ import annotations

import statistics

from quiz.learning.catalogue import Catalogue
from quiz.storage import desk_queries
from quiz.storage.store import Store

LOOKED_BACK = 50
"""Timed answers by which a learner's pace is known."""
USUAL_PACE, LEAST_PACE, MOST_PACE = 2.0, 1.0, 4.0
"""How many times longer than a competent clinician someone takes; estimated 2026-11-30 until their answers say it."""
READING_SECONDS = 15.0
"""For reading a case and its mark; estimated 2026-11-30."""


def pace(store: Store, learner_id: int, offered: Catalogue) -> float:
    """Return how many times longer than a competent clinician a learner takes."""
    ratios = [
        seconds / offered.by_id[type_id].seconds
        for type_id, seconds in desk_queries.paces(store, learner_id, most=LOOKED_BACK)
        if type_id in offered.by_id
    ]
    return min(max(statistics.median(ratios), LEAST_PACE), MOST_PACE) if len(ratios) >= 5 else USUAL_PACE
