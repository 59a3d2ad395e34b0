"""The constants of the memory and of the choice, in one dated place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

MODEL = 4
"""Which memory the constants are for. A change of model.py that folds the same answers into another state raises it."""


@dataclass(frozen=True)
class Prior:
    """What is known of a step or a type before a learner has met it: a mean and a variance, log-odds."""

    mean: float
    variance: float


@dataclass(frozen=True)
class Numbers:
    """Every constant of the memory and of the choice. `python -m quiz refit` may offer better ones."""

    dated: str = "2026-11-30"
    """When they were set, or the rules that they serve: by hand and on simulated learners, not yet on people.

    States that were kept under another date are folded again from the log.
    """

    # one step: strength, fading, and how fast an answer moves them
    start: float = 1.0
    strength_variance: float = 1.5
    fading_days: float = 0.25
    fading_variance: float = 1.0
    offset_variance: float = 0.8
    offset_least_variance: float = 0.1
    offset_bound: float = 3.0
    form_variance: float = 0.5
    form_hours: float = 0.1
    steepness: float = 0.35
    guess: float = 0.03
    careless: float = 0.05
    least_information: float = 0.02
    least_variance: float = 0.12
    drift: float = 0.1
    fading_gain: float = 0.05
    shortest_days: float = 0.01
    longest_days: float = 60.0
    learn_right: float = 0.0
    learn_shown: float = 0.15
    learn_massed: float = 0.6
    learn_spaced: float = 0.4
    lesson_lost: float = 0.7
    """What a shown working still teaches, for each miss of the step since it was last right."""
    weakest: float = -3.5
    surest: float = 6.0
    """Bounds of the strength: lower, time could raise a chance; higher, a step would take months to fade."""

    # one type: what its chain does not explain
    term_variance: float = 0.3
    term_least_variance: float = 0.05
    term_drift: float = 0.002
    term_bound: float = 3.0

    # slips
    slip_halves_days: float = 14.0
    slip_clean: float = 0.85
    """What is left of a slip's count after a case that would have shown it and did not."""
    slip_standing: float = 4.0
    """Evidence (log-odds) from which a slip is called recurring: some 55 to 1."""
    slip_least_seen: int = 2
    slip_recurs: float = 0.8
    """How often a wrong belief that recurs shows where it could."""
    slip_rate: float = 0.1
    """The least chance of a slip where no wrong belief is held, of a slip that `slips` does not name."""
    slip_most_rate: float = 0.2
    slip_least_evidence: float = -3.0
    """So that a belief that comes later is found."""
    slip_most_evidence: float = 6.0
    """So that three cases without it take it back."""
    slip_followed_fully: float = 1.6
    """From this count on a slip weighs fully in the choice."""
    slip_followed: float = 0.75
    """From this count on a slip is followed up: made once within six days, and not left out twice since."""
    slip_prior: float = 0.25
    probe_days: float = 7.0
    probe_cleared: float = 0.15
    """How often a slip that was made before is left out where it would show."""
    probe_other: float = 0.25
    """How often another slip is made where the one that was made before is not."""

    # words for learners
    slip_gone: int = 3
    """A recurring mistake is gone after this many right answers that would have shown it, over two days."""
    solid_days: int = 2
    """Days with a right, unaided answer, each a night after the one before, before anything is called solid."""
    settled_days: int = 3
    settled_over_days: float = 7.0
    """From the first of those days to the last."""
    settled_chance: float = 0.80
    settled_ahead_days: float = 7.0
    fading_chance: float = 0.50

    # the choice
    horizon_days: float = 1.0
    """Looking further makes no better choice, as simulated: what fades by then will have come again."""
    drill_weight: float = 2.0
    rest_days: float = 28.0
    """Days after which a step of the usual fading time has waited half of what it can wait."""
    type_days: float = 10.0
    """Days after which what is a type's own has waited half of what it can wait."""
    new_type: float = 1.0
    """How much a type never met has waited for what is its own."""
    standing_weight: float = 5.0
    wait_cases: int = 5
    rest_cases: int = 5
    often: int = 5
    """A type that was right rests for `rest_cases` others, and comes at most so often in the cases looked back on."""
    enough_right: int = 2
    """A type that was right so often running comes no more in the cases looked back on, while there are others."""
    core_share: float = 1 / 3
    """Of the cases, for types of the core of the trade, once their steps are met."""
    open_chance: float = 0.6

    # the teacher's rules over the choice
    sitting_gap_hours: float = 2.0
    sitting_cases: int = 20
    """Answers further apart, or more of them, are of two sittings."""
    least_answers: int = 6
    """A share of right answers from fewer says nothing."""
    few_right: float = 0.6
    many_right: float = 0.85
    """Between these the share of right answers of the last ten is held, by easier or by harder cases."""
    misses_in_a_row: int = 3
    """After this many nothing new comes, and nothing is forced."""
    first_types: int = 6
    """New types in a learner's first sitting."""
    missed_at_once: int = 1
    """Nothing new comes while more types than this were missed the last time that they came in these cases."""
    hard_chance: float = 0.5
    new_passed: int = 6
    """Of so many new types in teaching order, the first with at least that chance of a right answer comes first."""
    slow_types: int = 2
    """New types in a later sitting, where the share of right answers in the one before was under `few_right`."""
    fires_a_day: int = 3
    """After this many showings within twelve hours, or cases with it for a reason, a slip is left alone for then."""
    forced_seconds: float = 60.0
    """A second case of a new type is not forced where a learner takes longer, nor the core where a clinician does."""
    example_cases: float = 1.5
    """What a worked example takes, in cases: half a one to read, a whole one to fill in a line. An estimate."""
    exam_share: float = 0.03
    exam_minutes_a_day: float = 10.0
    """Before an exam nothing new comes that takes more than that share of the minutes left, at this many a day."""

    # what is known of single steps and types beforehand; one that is not named has `start`, or a term of 0
    steps: Mapping[str, Prior] = field(default_factory=dict)
    types: Mapping[str, Prior] = field(default_factory=dict)
    slips: Mapping[str, float] = field(default_factory=dict)
    """By "step slip": how often (0..1) those in whom it does not recur make it where it could show."""

    def slip_chance(self, step: str, slip: str) -> float:
        """Return the least chance of a slip where no wrong belief is held: the class's rate, where it is known."""
        return self.slips.get(f"{step} {slip}", self.slip_rate)

    def step_prior(self, step: str) -> Prior:
        """Return what is known of a step's strength beforehand."""
        return self.steps.get(step) or Prior(self.start, self.strength_variance)

    def type_prior(self, type_id: str) -> Prior:
        """Return what is known of a type's term beforehand."""
        return self.types.get(type_id) or Prior(0.0, self.term_variance)


NUMBERS = Numbers()
