"""What one learner is likely to get right, step by step, and how that fades.

Pure: an answer and a state in, a state out. Floats are added by `math.fsum`, which gives the same on every Python and
in every order; `sum` does not (3.12 changed it). What a state is, is state.py's; choosing what to bring next is
scheduler.py's; keeping is store.py's. Chances lie in 0..1, strengths are log-odds, times are seconds since 1970 (UTC),
spans are days.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.state import (
    DAY,
    Answered,
    LearnerState,
    SittingMemory,
    SlipKey,
    SlipMemory,
    StepMemory,
    Suspects,
    TypeMemory,
)

HALF = 0.5 - 1e-9
"""From this share on a slip is taken as made: a half, which the last digits of a sum must not decide."""
DOUBTED = 0.05
"""Up to this share a step is taken as done rightly, so that a slip that it would have shown wears down."""
SUSPECTED = 0.2
"""From this share on, one of two slips is worth a case that tells them apart."""
FORGOTTEN = 1e-3
"""When no more than this is left of a count, some five months on, its evidence is forgotten."""
SEEN = 4
"""How many times of a slip are remembered: enough for "four times or more this week"."""


# --- looking ---------------------------------------------------------------------------------------------------------


class Outlook(NamedTuple):
    """One step as it stands at one moment."""

    x: float
    """Log-odds expected now."""
    slope: float
    """How x answers to the logarithm of the fading time."""
    r: float
    """Days since last met over the fading time; 0 for a step never met."""
    variance: float
    """Of x."""
    mastery: float
    """Chance that the step is carried out rightly, before guessing and carelessness."""
    common: float
    """What of the variance is the learner's offset and form: all steps have it in common."""


class Form(NamedTuple):
    """How much better (+) or worse a learner does just now than on the whole, log-odds, and its variance."""

    mean: float
    variance: float


STEADY = Form(0.0, 0.0)


def outlook(
    state: LearnerState,
    step: str,
    now: float | None,
    numbers: Numbers | None = None,
    *,
    form: Form = STEADY,
) -> Outlook:
    """Say how one step stands at `now`; None means straight after it was last met.

    x = offset + m − steepness·ln(1 + r), r = gap/h: power-law fading (Wixted & Carpenter 2007, Psychological Science
    18:133, for the shape). Its mean over the uncertain numbers is σ(x/√(1 + π/8·var)) (MacKay 1992, Neural Computation
    4:720). A step never met has the strength and the variance of its prior.

    form is that of the hour, which only the next answer feels: what is forecast for later days leaves it out.
    """
    n = numbers or state.numbers
    memory = state.steps.get(step)
    x, common = state.offset + form.mean, state.offset_variance + form.variance
    variance = common
    if memory is None:
        prior = n.step_prior(step)
        x, slope, r, variance = x + prior.mean, 0.0, 0.0, variance + prior.variance
    else:
        r = 0.0 if now is None else waited(memory, now)
        slope = n.steepness * r / (1 + r)
        x += memory.strength - n.steepness * math.log1p(r)
        variance += memory.variance + memory.log_fading_variance * slope**2
    return Outlook(x, slope, r, variance, _sigmoid(x / _softening(variance)), common)


def form_at(state: LearnerState, now: float, numbers: Numbers | None = None) -> Form:
    """Return how much better or worse a learner does just now than on the whole.

    It leaves them by e-folds of `form_hours` and its doubt returns (an Ornstein-Uhlenbeck process): how the last few
    answers went says much about the next one, and nothing about next week.
    """
    n = numbers or state.numbers
    left = math.exp(-max(0.0, now - state.form_at) / 3600 / n.form_hours) if state.answers else 0.0
    return Form(left * state.form, n.form_variance + left**2 * (state.form_variance - n.form_variance))


def waited(memory: StepMemory, now: float) -> float:
    """Return the time since a step was last met over its fading time; 0 where the clock was set back."""
    return max(0.0, now - memory.at) / DAY / math.exp(memory.log_fading)


def chance(
    state: LearnerState,
    steps: Sequence[str],
    now: float | None,
    *,
    type_id: str | None = None,
    options: int | None = None,
    numbers: Numbers | None = None,
    mastery: Mapping[str, float] | None = None,
) -> float:
    """Chance (0..1) of a right answer to a chain of steps at `now`; None means straight after each was last met.

    mastery gives that of each step at `now`, where the caller has looked at them before.

    The steps must all be carried out (their chances multiplied, Q); the type's term then moves the odds of Q; guessing
    (2 % typed, 1/options when choosing) and carelessness (5 %) come in once for the answer, not once for each step.
    One step without a type gives scheduler's p for that step.
    """
    numbers = numbers or state.numbers
    chain = tuple(steps) or ((type_id,) if type_id else ())
    if mastery is None:
        mastery = {step: outlook(state, step, now, numbers).mastery for step in chain}
    product = math.prod([mastery[step] for step in chain])
    return _of_answer(_with_term(state, type_id, product, numbers), options, numbers)


def expected(state: LearnerState, event: Answered, numbers: Numbers | None = None) -> float:
    """Chance that memory gave to a right answer before it came: the steps that were shown count as done."""
    numbers = numbers or state.numbers
    form = form_at(state, event.at, numbers)
    mastery = math.prod(outlook(state, step, event.at, numbers, form=form).mastery for step in event.unaided)
    return _of_answer(_with_term(state, event.type, mastery, numbers), event.options, numbers)


def slip_counts(state: LearnerState, now: float, numbers: Numbers | None = None) -> dict[SlipKey, float]:
    """Return how often each slip was made recently: its count, halved every 14 days and worn by cases without it."""
    numbers = numbers or state.numbers
    return {
        (step, slip): _faded(memory, now, numbers)
        for step, slips in state.slips.items()
        for slip, memory in slips.items()
    }


def standing(state: LearnerState, now: float, numbers: Numbers | None = None) -> dict[SlipKey, float]:
    """Return the slips that recur more often than chance would bring them, the most frequent first, with their counts.

    Evidence of 4 or more (55 to 1), gathered as the log of a likelihood ratio against the learner's own chance of
    that slip: a sequential test (Wald 1945, Ann Math Stat 16:117). The bound is above Wald's ln 20 because evidence
    against is forgotten, and the learner's chance is only estimated; a test counts how often chance alone gets there.
    """
    numbers = numbers or state.numbers
    counts = slip_counts(state, now, numbers)
    kept = sorted(
        (-count, key) for key, count in counts.items() if recurs_now(state.slips[key[0]][key[1]], now, numbers)
    )
    return {key: -count for count, key in kept}


def recurs_now(memory: SlipMemory, now: float, numbers: Numbers) -> bool:
    """Say whether a slip recurs: see `standing`."""
    seen_again = len(memory.seen) >= numbers.slip_least_seen
    return seen_again and memory.evidence * _halving(now - memory.at, numbers) >= numbers.slip_standing


def band(
    state: LearnerState,
    steps: Sequence[str],
    now: float,
    *,
    type_id: str | None = None,
    ahead_days: float = 0.0,
    numbers: Numbers | None = None,
) -> str:
    """Put a step (give it alone) or a type (its steps and `type_id`) into a word.

    "new"     never met
    "solid"   the chance a week from now is .80 or more, and no slip stands at any of the steps
    "fading"  it was .80 or more straight after it was last met, a week from now it is less, and now still .50 or more
    "shaky"   everything else

    The steps of a type that were never met are left out: nothing is known of them, so they make it neither shaky nor
    solid.

    ahead_days looks on: how it will be these days from `now`, if nothing is practised. A slip that stands now stands
    then: no wait alone ever mended a wrong rule, though its count fades.
    """
    n = numbers or state.numbers
    if (steps[0] not in state.steps) if type_id is None else (type_id not in state.types):
        return "new"
    steps = met_of(state, steps)
    slips = (memory for step in steps for memory in state.slips.get(step, {}).values())
    if any(recurs_now(memory, now, n) for memory in slips):
        return "shaky"
    now += ahead_days * DAY
    if chance(state, steps, now + n.settled_ahead_days * DAY, type_id=type_id, numbers=n) >= n.settled_chance:
        return "solid"
    held = chance(state, steps, None, type_id=type_id, numbers=n) >= n.settled_chance
    return "fading" if held and chance(state, steps, now, type_id=type_id, numbers=n) >= n.fading_chance else "shaky"


def met_of(state: LearnerState, steps: Sequence[str]) -> Sequence[str]:
    """Return those of a type's steps that were met; all where none was."""
    return [step for step in steps if step in state.steps] or steps


# --- whom to blame ---------------------------------------------------------------------------------------------------


def explanation_shares(state: LearnerState, event: Answered, numbers: Numbers | None = None) -> tuple[float, ...]:
    """Share one miss among its explanations, by how likely each was for this learner beforehand; the sum is 1.

    A slip's likelihood is the doubt about its step times its share of that step's slips so far; for two slips at once
    the likelihoods multiply. Empty when nothing was diagnosed. Where the answer was weighed with what was known of the
    learner, its own shares are returned; they leave out of 1 what is no slip.
    """
    numbers = numbers or state.numbers
    if not event.diagnosed:
        return ()
    if event.shares is not None:
        return event.shares

    def likelihood(key: SlipKey) -> float:
        counts = {slip: _faded(one, event.at, numbers) for slip, one in state.slips.get(key[0], {}).items()}
        share = (counts.get(key[1], 0.0) + numbers.slip_prior) / (math.fsum(counts.values()) + 1)
        return (1 - outlook(state, key[0], event.at, numbers).mastery) * share

    weights = [math.prod(likelihood(key) for key in dict.fromkeys(one)) for one in event.explanations]
    total = math.fsum(weights)
    return tuple(weight / total for weight in weights)


def _explained(event: Answered, shares: Sequence[float]) -> dict[str, float]:
    out: dict[str, float] = {}
    for one, share in zip(event.explanations, shares, strict=False):
        for step in dict.fromkeys(step for step, _ in one):
            out[step] = min(1.0, out.get(step, 0.0) + share)
    return out


def _unexplained(state: LearnerState, event: Answered, numbers: Numbers) -> dict[str, float]:
    if not event.unexplained:
        return {}
    doubts = {step: 1 - outlook(state, step, event.at, numbers).mastery for step in event.unaided}
    total = math.fsum(doubts.values())
    return {step: event.unexplained * doubt / total for step, doubt in doubts.items()}


# --- folding ---------------------------------------------------------------------------------------------------------


class Observation(NamedTuple):
    """What one answer says of one step, of what is a type's own, or of the learner as a whole."""

    id: str
    slope: float
    """Of the log-likelihood against this log-odds: weight × (what came − its chance)."""
    information: float
    """Its curvature: weight × σ(x)(1 − σ(x))."""
    divisor: float
    """1 + information × variance, over all that the answer's log-odds are made of."""
    variance: float
    """Of the strength or the term before."""
    y: float
    """How far it was right, 0..1."""
    weight: float
    """How much of a miss, or of a credit, falls to it, 0..1."""

    @property
    def left(self) -> float:
        """How much of what was believed before is left in the strength, or the term: 1 − the filter's gain."""
        return 1 - self.variance * self.information / self.divisor


class Observed(NamedTuple):
    """What one answer says, before it is folded in."""

    shares: Sequence[float]
    """Of its explanations: see `explanation_shares`."""
    explained: Mapping[str, float]
    """By step, the chance that it went wrong (0..1) by a slip that explains the answer: the shares of the explanations
    that it figures in. Where every one is a single slip the sum is 1; two slips surely made at once have 1 each."""
    unexplained: Mapping[str, float]
    """By step not shown beforehand, its part of what no slip explains, in proportion to the doubt about it."""
    seen: Mapping[str, Outlook]
    """The steps that it says anything of: those done unaided, and those that went wrong."""
    steps: Sequence[Observation]
    own: Observation | None
    """Of the type's term; None: nothing."""
    learner: Observation | None
    """Of the learner's offset and form."""


def fold(state: LearnerState, event: Answered, numbers: Numbers | None = None) -> LearnerState:
    """Take one answer into the state, in place, and return it. The cost depends on the case, not on the history."""
    return take(state, event, observe(state, event, numbers), numbers)


def one_ahead(events: Iterable[Answered], numbers: Numbers) -> Iterator[float]:
    """Yield the chance that memory gave to a right answer, for each of a learner's answers before it is folded in."""
    state = LearnerState.new(numbers)
    for event in events:
        yield expected(state, event)
        fold(state, event)


def take(state: LearnerState, event: Answered, found: Observed, numbers: Numbers | None = None) -> LearnerState:
    """Take what was observed of an answer into the state, in place, and return it."""
    numbers = numbers or state.numbers
    _take_sitting(state, event, numbers)
    _take_learner(state, event, found.learner, numbers)
    _take_type(state, event, found.own, numbers)
    for one in found.steps:
        _take_step(state, event, one, found.seen[one.id], numbers)
    _take_slips(state, event, found, numbers)
    state.answers += 1
    return state


def observe(state: LearnerState, event: Answered, numbers: Numbers | None = None) -> Observed:
    """Return what an answer says of steps, type and learner; the state stays as it is.

    A step that is blamed in part is credited with the rest when the slip was diagnosed, the steps before and after
    alike: the learner's answer is what the chain gives with that slip and everything else done rightly. A right answer,
    or a miss that nothing explains, is one observation of the whole chain. Of a miss that slips explain in part, that
    part is taken as explained and the rest as not. A step whose line was shown beforehand is left as it was, neither
    proved nor met, unless the slip was found there.
    """
    numbers = numbers or state.numbers
    shares = explanation_shares(state, event, numbers)
    explained, unexplained = _explained(event, shares), _unexplained(state, event, numbers)
    told = (step for step in event.chain if step in explained or step not in event.hints)
    form = form_at(state, event.at, numbers)
    seen = {step: outlook(state, step, event.at, numbers, form=form) for step in told}
    steps = {step: seen[step] for step in event.unaided}
    known = 1 - event.unexplained if event.diagnosed else 0.0
    parts: list[tuple[Part, float]] = []
    if known > 0:
        by_step = {step: min(1.0, share / known) for step, share in explained.items()}
        parts.append((_by_diagnosis(state, event, seen, steps, by_step, numbers), known * event.weight))
    if known < 1 and steps:
        left = {step: share / (1 - known) for step, share in unexplained.items()}
        parts.append((_by_chain(state, event, steps, left, numbers), (1 - known) * event.weight))
    return Observed(shares, explained, unexplained, seen, *_together(seen, parts))


class Part(NamedTuple):
    """What one way of looking at an answer says of its steps, of the type and of the learner."""

    steps: Sequence[Observation]
    own: Observation | None
    learner: Observation | None


def _together(seen: Iterable[str], parts: Sequence[tuple[Part, float]]) -> Part:
    """Put evidence together, each part by how much of an answer it is (0..1)."""
    if len(parts) == 1 and parts[0][1] == 1:
        return parts[0][0]
    by_step = [({one.id: one for one in found.steps}, share) for found, share in parts]
    steps = [_joined([(of[step], share) for of, share in by_step if step in of]) for step in seen]
    return Part(
        [one for one in steps if one is not None],
        _joined([(found.own, share) for found, share in parts if found.own is not None]),
        _joined([(found.learner, share) for found, share in parts if found.learner is not None]),
    )


def _joined(parts: Sequence[tuple[Observation, float]]) -> Observation | None:
    if not parts:
        return None
    weight = math.fsum(share * one.weight for one, share in parts)
    return Observation(
        parts[0][0].id,
        math.fsum(share * one.slope for one, share in parts),
        math.fsum(share * one.information for one, share in parts),
        1 + math.fsum(share * (one.divisor - 1) for one, share in parts),
        parts[0][0].variance,
        math.fsum(share * one.weight * one.y for one, share in parts) / weight if weight else 0.0,
        weight,
    )


def _by_chain(
    state: LearnerState, event: Answered, seen: Mapping[str, Outlook], blamed: Mapping[str, float], numbers: Numbers
) -> Part:
    """Weigh an answer to the whole chain: one extended-Kalman step on all that its log-odds are made of.

    z = logit Π σ(x) + term, so that a step's part is h = (1 − σ(x))/(1 − Π σ(x)). The answer is right with the chance
    g + (1 − g − s)·σ(z): where guessing or carelessness explains it, it says the less (Bernoulli observation with that
    mean; Fahrmeir 1992, JASA 87:501).
    """
    before = {step: _prior_variance(state, step, numbers) for step in seen}
    own_variance = _own_variance(state, event.type, numbers)
    done = {step: _sigmoid(one.x) for step, one in seen.items()}
    product = math.prod(done.values())
    parts = {step: (1 - one) / (1 - product) for step, one in done.items()}
    whole = math.fsum(parts.values())
    f = _with_term(state, event.type, product, numbers)
    softened = _with_term(state, event.type, math.prod(one.mastery for one in seen.values()), numbers)
    p = _of_answer(softened, event.options, numbers)
    # How far the answer follows the chain and not luck.
    followed = _of_answer(1.0, event.options, numbers) - _of_answer(0.0, event.options, numbers)
    trust = followed * softened * (1 - softened) / (p * (1 - p))
    e = (event.right - p) * trust
    w = max(f * (1 - f), numbers.least_information) * followed * trust
    common = next(iter(seen.values())).common
    spread = math.fsum(parts[step] ** 2 * (one.variance - common) for step, one in seen.items())
    d = 1 + w * (spread + whole**2 * common + own_variance)
    y = float(event.right)
    steps = [
        Observation(step, h * e, h * h * w, d, before[step], y, 1.0 if event.right else blamed[step])
        for step, h in parts.items()
    ]
    return Part(
        steps,
        Observation(event.type, e, w, d, own_variance, y, 1.0),
        Observation("", whole * e, whole * whole * w, d, common, y, 1.0),
    )


def _by_diagnosis(
    state: LearnerState,
    event: Answered,
    seen: Mapping[str, Outlook],
    unaided: Mapping[str, Outlook],
    blamed: Mapping[str, float],
    numbers: Numbers,
) -> Part:
    """Weigh a miss that was explained: each step is an observation of its own, and the type's term takes the rest."""
    steps = []
    for step, one in seen.items():
        y = 1 - blamed.get(step, 0.0)
        f = _sigmoid(one.x)
        w = max(f * (1 - f), numbers.least_information)
        p = _of_answer(one.mastery, event.options, numbers)
        steps.append(Observation(step, y - p, w, 1 + w * one.variance, _prior_variance(state, step, numbers), y, 1.0))
    slope, information = (math.fsum(values) for values in zip(*((one[1], one[2]) for one in steps), strict=True))
    common = next(iter(seen.values())).common
    d = 1 + math.fsum(one.divisor - 1 for one in steps)
    learner = Observation("", slope, information, d, common, 0.0, 1.0)
    own = _by_chain(state, event, unaided, dict.fromkeys(unaided, 0.0), numbers).own if unaided else None
    return Part(steps, own, learner)


def _prior_variance(state: LearnerState, step: str, numbers: Numbers) -> float:
    memory = state.steps.get(step)
    return numbers.step_prior(step).variance if memory is None else memory.variance


def _own_variance(state: LearnerState, type_id: str, numbers: Numbers) -> float:
    memory = state.types.get(type_id)
    return numbers.type_prior(type_id).variance if memory is None else memory.variance


def replay(events: Iterable[Answered], numbers: Numbers | None = None) -> LearnerState:
    """Build the state again from the whole log, oldest answer first."""
    state = LearnerState.new(numbers or NUMBERS)
    for event in events:
        fold(state, event)
    return state


def sitting_at(state: LearnerState, now: float, numbers: Numbers | None = None) -> SittingMemory:
    """Return the sitting that an answer at `now` belongs to: the last one, or a new one."""
    n, last = numbers or state.numbers, state.sitting
    if last.number and last.answers < n.sitting_cases and now - last.at <= n.sitting_gap_hours * 3600:
        return last
    before = last.right / last.answers if last.answers >= n.least_answers else last.before
    return SittingMemory(last.number + 1, now, before=before)


def _take_sitting(state: LearnerState, event: Answered, numbers: Numbers) -> None:
    one = sitting_at(state, event.at, numbers)
    state.sitting = replace(
        one,
        at=max(one.at, float(event.at)),
        answers=one.answers + 1,
        right=one.right + event.right,
        new=one.new + (event.type not in state.types),
    )


def _take_learner(state: LearnerState, event: Answered, found: Observation | None, numbers: Numbers) -> None:
    """Move the learner's offset and their form of the hour."""
    n = numbers
    state.form, state.form_variance = form_at(state, event.at, numbers)
    state.form_at = max(state.form_at, float(event.at))
    if found is None:
        return
    e, w, d = found.slope, found.information, found.divisor
    state.form += state.form_variance / d * e
    state.form_variance -= w * state.form_variance**2 / d
    offset = state.offset + state.offset_variance / d * e
    state.offset = min(max(offset, -n.offset_bound), n.offset_bound)
    vt = state.offset_variance
    state.offset_variance = min(vt, max(n.offset_least_variance, vt - w * vt**2 / d))


def _take_step(state: LearnerState, event: Answered, found: Observation, seen: Outlook, numbers: Numbers) -> None:
    """Take one extended-Kalman step on what an answer says of one step."""
    n = numbers
    y, weight, w, d, e = found.y, found.weight, found.information, found.divisor, found.slope
    before = state.steps.get(found.id)
    if before is None:
        prior = n.step_prior(found.id)
        memory = StepMemory(prior.mean, prior.variance, math.log(n.fading_days), n.fading_variance, float(event.at))
    else:
        memory = before
    new = before is None
    vm, vl, slope = memory.variance, memory.log_fading_variance, seen.slope
    spacing = 1.0 if new else n.learn_massed + n.learn_spaced * seen.r / (1 + seen.r)
    learnt = y * n.learn_right * (1 - seen.mastery)
    if event.working_shown:
        learnt += (1 - y) * n.learn_shown * n.lesson_lost**memory.misses
    strength = memory.strength + vm / d * e + weight * spacing * learnt
    longer = n.fading_gain * seen.r / (1 + seen.r) if weight == 1 and y >= 0.5 else 0.0
    log_fading = memory.log_fading + vl * slope / d * e + longer
    variance = max(n.least_variance, vm - w * vm**2 / d) + n.drift
    if y >= 0.5:
        variance = min(variance, vm)  # a credit must not add doubt: it would lower the chance
    state.steps[found.id] = StepMemory(
        strength=min(max(strength, n.weakest), n.surest),
        variance=variance,
        log_fading=min(max(log_fading, math.log(n.shortest_days)), math.log(n.longest_days)),
        log_fading_variance=vl - w * (vl * slope) ** 2 / d,
        at=max(memory.at, float(event.at)),
        misses=(1 - y) * (memory.misses + weight)
        if weight == 1
        else memory.misses * (1 - weight * y) + weight * (1 - y),
        days=memory.days.and_of(event.at, n.settled_days) if y == weight == 1 else memory.days,
    )


def _take_type(state: LearnerState, event: Answered, found: Observation | None, numbers: Numbers) -> None:
    """Move the type's own term by its share of the surprise."""
    n = numbers
    memory = state.types.get(event.type)
    if memory is None:
        prior = n.type_prior(event.type)
        memory = TypeMemory(float(event.at), prior.variance, prior.mean)
    term, variance = memory.term, memory.variance
    if found is not None:
        term = min(max(term + variance / found.divisor * found.slope, -n.term_bound), n.term_bound)
        variance -= found.information * variance**2 / found.divisor
        variance = max(n.term_least_variance, variance) + n.term_drift
    state.types[event.type] = TypeMemory(
        at=max(memory.at, float(event.at)),
        variance=variance,
        term=term,
        answered=memory.answered + 1,
        right=memory.right + event.right,
        days=memory.days.and_of(event.at, n.settled_days)
        if event.right and event.weight == 1 and not event.hints
        else memory.days,
    )


def _take_slips(state: LearnerState, event: Answered, found: Observed, numbers: Numbers) -> None:
    """Count the slips made, each by the share of its explanation; wear down those that could have shown and did not."""
    n = numbers
    blamed, shares = found.explained, found.shares
    explained_at_all = event.right or (event.diagnosed and event.unexplained < HALF)
    unblamed = {step for step in event.unaided if blamed.get(step, 0.0) <= (0.0 if event.shares is None else DOUBTED)}
    clean = unblamed if explained_at_all else set[str]()
    _settle_suspects(state, event, clean, n)
    explained = list(zip(event.explanations, shares, strict=True)) if event.diagnosed else []
    made_at_all = {key for one, _ in explained for key in one}
    for step in event.unaided if explained_at_all else ():
        for slip, memory in state.slips.get(step, {}).items():
            if (step, slip) in made_at_all or not event.could_have_shown((step, slip)):
                continue
            # Another slip in its place is evidence against a belief too, but no case done without a slip.
            left = _halving(event.at - memory.at, n)
            against = math.log((1 - n.slip_recurs) / (1 - by_chance(event, (step, slip), found.seen, n)))
            # `at` stays when the slip was last made, so what is added now is written as it would have stood then.
            now = max(n.slip_least_evidence, memory.evidence * left + against)
            worn = n.slip_clean if step in clean else 1.0
            evidence = now / left if left > FORGOTTEN else 0.0
            kept = memory.without(event.at, n.slip_gone) if event.right and step in clean else memory
            state.slips[step][slip] = replace(kept, count=memory.count * worn, evidence=evidence)
            if state.suspects is not None:
                state.suspects = state.suspects.worn((step, slip), worn)
    for one, share in explained:
        for key in dict.fromkeys(one):
            memory = _slip(state, key, event.at, n)
            seen = (*memory.seen, float(event.at))[-SEEN:] if share >= HALF else memory.seen
            made = event.weight * share
            evidence = memory.evidence + made * math.log(n.slip_recurs / by_chance(event, key, found.seen, n))
            new = replace(memory, count=memory.count + made, seen=seen, evidence=min(n.slip_most_evidence, evidence))
            if share >= HALF:
                new = replace(new, left_out=0)
            _keep_slip(state, key, new, n)
    singles = sorted(((*one[0], share) for one, share in explained if len(one) == 1), key=lambda one: -one[2])
    if event.shares is not None:
        # Two that a short case can tell apart, and no slip that is merely not ruled out.
        singles = [one for one in singles if one[2] >= SUSPECTED]
    if len(singles) > 1 and not event.probe_of:
        state.suspects = Suspects(float(event.at), tuple(singles[:2]))


def by_chance(event: Answered, key: SlipKey, seen: Mapping[str, Outlook], numbers: Numbers) -> float:
    """Return the chance (0..1) of one slip of a step for a learner who holds no wrong belief about it.

    The doubt about the step, shared among the slips that would have shown; at least the class's rate of this slip.
    """
    step = key[0]
    alike = 3 if event.could_show is None else max(1, [key[0] for key in event.could_show].count(step))
    doubt = 1 - seen[step].mastery if step in seen else 0.0
    return min(numbers.slip_most_rate, max(numbers.slip_chance(*key), doubt / (alike + 0.5)))


def _settle_suspects(state: LearnerState, event: Answered, clean: set[str], numbers: Numbers) -> None:
    """Let a probe weigh the twins' shares again (Bayes' rule), and clear neither outright.

    A slip once made is left out now and then, and more readily once it was shown; and who made one slip may make the
    other too. So a doubt of a tenth does not become a slip on the other's account.
    """
    suspects = state.suspects
    if suspects is None or not event.probe_of:
        return
    state.suspects = None
    if set(suspects.pair) != set(event.probe_of):
        return
    made = set(event.explanations[0]) if event.diagnosed and len(event.explanations) == 1 else set[SlipKey]()
    if event.shares is not None:
        likely_made = zip(event.explanations, event.shares, strict=True)
        made = {key for one, share in likely_made if share >= HALF for key in one}
    shown = made.intersection(suspects.pair)
    before = {(step, slip): share for step, slip, share in suspects.slips}
    likely = {
        key: share
        * (numbers.probe_cleared if key[0] in clean and event.could_have_shown(key) else 1.0)
        * (numbers.probe_other if shown and key not in shown else 1.0)
        for key, share in before.items()
    }
    if likely == before:
        return
    scale = math.fsum(before.values()) / math.fsum(likely.values())
    loser, gainer = sorted(before, key=lambda key: likely[key] * scale - before[key])
    left = _slip(state, loser, event.at, numbers)
    moved = min(left.count, (before[loser] - likely[loser] * scale) * _halving(event.at - suspects.at, numbers))
    for key, more in ((loser, -moved), (gainer, moved)):
        memory = _slip(state, key, event.at, numbers)
        seen = set(memory.seen) - {suspects.at}
        if likely[key] * scale >= HALF:
            seen.add(suspects.at)
        evidence = memory.evidence + more * math.log(numbers.slip_recurs / numbers.slip_chance(*key))
        new = replace(memory, count=memory.count + more, seen=tuple(sorted(seen)[-SEEN:]), evidence=evidence)
        _keep_slip(state, key, new, numbers)


def _slip(state: LearnerState, key: SlipKey, at: float, numbers: Numbers) -> SlipMemory:
    """Return the memory of a slip brought up to `at`, an empty one if there is none."""
    memory = state.slips.get(key[0], {}).get(key[1]) or SlipMemory(0.0, float(at))
    left = _halving(at - memory.at, numbers)
    return replace(memory, count=memory.count * left, evidence=memory.evidence * left, at=max(memory.at, float(at)))


def _keep_slip(state: LearnerState, key: SlipKey, memory: SlipMemory, numbers: Numbers) -> None:
    recurs = memory.recurs or recurs_now(memory, memory.at, numbers)
    state.slips.setdefault(key[0], {})[key[1]] = replace(memory, recurs=recurs)


def _faded(memory: SlipMemory, now: float, numbers: Numbers) -> float:
    return memory.count * _halving(now - memory.at, numbers)


def _halving(seconds: float, numbers: Numbers) -> float:
    return float(0.5 ** (max(0.0, seconds) / DAY / numbers.slip_halves_days))


def _with_term(state: LearnerState, type_id: str | None, mastery: float, numbers: Numbers) -> float:
    """σ(logit(mastery) + term), written so that a mastery of 1 stays 1."""
    if type_id is None:
        return mastery
    memory = state.types.get(type_id)
    term = numbers.type_prior(type_id).mean if memory is None else memory.term
    if term == 0.0:
        return mastery
    odds = math.exp(term)
    return mastery * odds / (1 - mastery + mastery * odds)


def _of_answer(mastery: float, options: int | None, numbers: Numbers) -> float:
    guess = 1 / options if options else numbers.guess
    return guess + (1 - guess - numbers.careless) * mastery


def _softening(variance: float) -> float:
    return math.sqrt(1 + math.pi / 8 * variance)


def _sigmoid(x: float) -> float:
    return 1 / (1 + math.exp(-x)) if x >= 0 else math.exp(x) / (1 + math.exp(x))
