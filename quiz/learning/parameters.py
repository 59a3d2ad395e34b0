"""The constants of the memory and of the choice, in one dated place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Numbers:
    """Every constant of the memory and of the choice. `python -m quiz refit` may offer better ones."""

    dated: str = "2026-11-28"
    """When they were set, or the rules that they serve: by hand and on simulated learners, not yet on people.

    States that were kept under another date are folded anew from the log.
    """

    # one step: strength, fading, and how fast an answer moves them
    start: float = 0.2
    strength_variance: float = 2.0
    fading_days: float = 28.0
    fading_variance: float = 1.1
    offset_variance: float = 0.4
    steepness: float = 3.0
    guess: float = 0.02
    careless: float = 0.05
    least_information: float = 0.02
    least_variance: float = 0.12
    drift: float = 0.03
    fading_gain: float = 0.2
    shortest_days: float = 2.0
    longest_days: float = 120.0
    learn_right: float = 1.8
    learn_shown: float = 0.8
    learn_massed: float = 0.6
    learn_spaced: float = 0.4
    lesson_lost: float = 0.5
    """What a shown working still teaches, for each miss of the step since it was last right."""
    weakest: float = -3.5
    surest: float = 6.0
    """Bounds of the strength: lower, time could raise a chance; higher, a step would take months to fade."""

    # one type: what its chain does not explain
    term_variance: float = 0.3
    term_least_variance: float = 0.05
    term_bound: float = 1.5

    # slips
    slip_halves_days: float = 14.0
    slip_clean: float = 0.85
    """What is left of a slip's count after a case that would have shown it and did not."""
    slip_standing: float = 1.6
    slip_followed: float = 0.75
    """From this count on a slip is followed up: made once within six days, and not left out twice since."""
    slip_prior: float = 0.25
    probe_days: float = 7.0
    probe_cleared: float = 0.15
    """How often a slip that was made before is left out where it would show."""
    probe_other: float = 0.25
    """How often another slip is made where the one that was made before is not."""

    # words for learners
    settled_days: int = 3
    settled_chance: float = 0.80
    settled_ahead_days: float = 7.0
    fading_chance: float = 0.50

    # the choice
    horizon_days: float = 14.0
    drill_weight: float = 2.0
    type_days: float = 3.0
    """Days after which what is a type's own has waited half of what it can wait."""
    new_type: float = 0.3
    """How much a type never met has waited for what is its own."""
    standing_weight: float = 5.0
    wait_cases: int = 5
    open_chance: float = 0.6


NUMBERS = Numbers()
