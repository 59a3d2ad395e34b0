"""What a learner's memory says of the slips of a case, in the words of `cases`, which knows no learner.

Apart from dealing.py, so that the two lines that turn a memory into odds can be tested by themselves.
"""

from __future__ import annotations

from cases.procedure.case_type import Case
from cases.procedure.explaining import PRIORS, Beforehand
from quiz.learning import model
from quiz.learning.state import LearnerState

MORE_OFTEN = 2.0
"""By how many times its base rate a slip is likelier for each recent time that it was made; estimated 2026-11-30."""
USUAL_DOUBT = 0.3
"""The doubt about a step at which its slips have their base rates: met, and not firm yet; estimated 2026-11-30."""
LEAST_DOUBT, MOST_DOUBT = 0.25, 3.0
"""Bounds of how many times likelier than usual a step is to go wrong."""


def beforehand(state: LearnerState, case: Case, now: float) -> Beforehand:
    """Return how likely each slip of a case was before its answer came, at `now` in seconds since 1970.

    The doubt about a step is set against that about a step which was met and is not firm yet.
    """
    counts = model.slip_counts(state, now)
    doubts = {
        step: min(max((1 - model.outlook(state, step, now).mastery) / USUAL_DOUBT, LEAST_DOUBT), MOST_DOUBT)
        for step in case.skills
        if step in state.steps
    }
    rates = {
        ref: PRIORS.slip * (1 + MORE_OFTEN * counts[ref.step, ref.slip])
        for ref in case.type.slips
        if (ref.step, ref.slip) in counts
    }
    return Beforehand(rates, doubts)
