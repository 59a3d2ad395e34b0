"""The words that a step, a type or a mistake has earned: steps and types by one rule, so that both lists agree.

A chance alone earns no praise: what was right all afternoon may be gone by tomorrow. *Solid* and *settled* need right,
unaided answers on different days, and a recurring mistake is gone only after right answers that would have shown it.
The days are UTC days with at least a night between them, since where a learner lives is not known.
"""

from __future__ import annotations

from collections.abc import Sequence

from quiz.learning import model
from quiz.learning.parameters import Numbers
from quiz.learning.state import DAY, Days, LearnerState, SlipKey

NOT_MET, UNSURE, FADING, SO_FAR, SOLID = "not met", "unsure", "fading", "right so far", "solid"
WORDS = (SOLID, SO_FAR, FADING, UNSURE, NOT_MET)
"""The best first."""
SLIPS_BELOW = 0.7
"""A step is likely to slip while the chance of getting it right is less: where the lanes of Progress are ruled."""
_OF_BAND = {"solid": SOLID, "fading": FADING, "shaky": UNSURE, "new": NOT_MET}


def word(
    state: LearnerState,
    steps: Sequence[str],
    now: float,
    *,
    type_id: str | None = None,
    ahead_days: float = 0.0,
    numbers: Numbers | None = None,
) -> str:
    """Put a step (give it alone) or a type (its steps and `type_id`) into a word that it has earned.

    "not met"       never answered
    "solid"         likely right a week from now, no mistake recurs there, and right unaided on two different days, the
                    latter at least a night after the former
    "right so far"  the same, and the days are still to come
    "fading"        likely right when last met; within a week no longer
    "unsure"        everything else

    A type is never in a better word than the least of its steps that were met.

    ahead_days looks on: how it will be this many days from `now`, if nothing is practised.
    """
    n = numbers or state.numbers
    own = _own(state, steps, now, type_id, ahead_days, n)
    if type_id is None or own == NOT_MET:
        return own
    met = [step for step in dict.fromkeys(steps) if step in state.steps]
    return max([own, *(_own(state, (step,), now, None, ahead_days, n) for step in met)], key=WORDS.index)


def _own(
    state: LearnerState, steps: Sequence[str], now: float, type_id: str | None, ahead_days: float, n: Numbers
) -> str:
    found = _OF_BAND[model.band(state, steps, now, type_id=type_id, ahead_days=ahead_days, numbers=n)]
    if found in (SOLID, FADING) and _recurs_at(state, steps):
        return UNSURE
    return SO_FAR if found == SOLID and _days(state, steps, type_id).count < n.solid_days else found


def _days(state: LearnerState, steps: Sequence[str], type_id: str | None) -> Days:
    memory = state.steps.get(steps[0]) if type_id is None else state.types.get(type_id)
    return Days() if memory is None else memory.days


def settled(
    state: LearnerState,
    steps: Sequence[str],
    now: float,
    *,
    type_id: str | None = None,
    numbers: Numbers | None = None,
) -> bool:
    """Say whether a step (alone) or a type is solid and was right unaided on three days over a week or more."""
    n = numbers or state.numbers
    days = _days(state, steps, type_id)
    over = days.last - days.first >= n.settled_over_days * DAY
    return days.count >= n.settled_days and over and word(state, steps, now, type_id=type_id, numbers=n) == SOLID


def _recurs_at(state: LearnerState, steps: Sequence[str]) -> bool:
    return any(memory.recurs for step in steps for memory in state.slips.get(step, {}).values())


def recurring(state: LearnerState, now: float, numbers: Numbers | None = None) -> dict[SlipKey, float]:
    """Return the mistakes that recur, with how often each was made recently, the most frequent first.

    One that was made more often than now and then stays until three right answers would have shown it, over two days:
    a wait alone does not mend a wrong rule.
    """
    counts = model.slip_counts(state, now, numbers)
    keys = {key for key in counts if state.slips[key[0]][key[1]].recurs}
    keys |= model.standing(state, now, numbers).keys()
    return {key: counts[key] for key in sorted(keys, key=lambda key: (-counts[key], key))}


def chance_of(state: LearnerState, step: str, now: float) -> float:
    """Return the chance (0..1) of getting one step right now."""
    return model.chance(state, (step,), now)


def likely_to_slip(state: LearnerState, step: str, now: float) -> bool:
    """Say whether a step is likely to slip now."""
    return chance_of(state, step, now) < SLIPS_BELOW


def slips_on(state: LearnerState, step: str, now: float, *, within_days: float) -> float | None:
    """Return the first moment, to an hour, at which a step is likely to slip without practice; None within that time.

    `now` where it is likely to slip already.
    """
    if likely_to_slip(state, step, now):
        return now
    low, high = now, now + within_days * DAY
    if not likely_to_slip(state, step, high):
        return None
    while high - low > DAY / 24:
        middle = (low + high) / 2
        low, high = (low, middle) if likely_to_slip(state, step, middle) else (middle, high)
    return high
