"""Why an answer is wrong: everything that people do is weighed, and each explanation gets its probability.

Bayes' rule with the priors of `PRIORS`: what each explanation would give is worked out and compared with the answer.
That an error has noise in it, and that one answer has rival explanations, is the idea of Brown & Burton 1978 (Cognitive
Science 2:155, bugs and their noise), VanLehn 1990 (Mind Bugs, slips against bugs) and Tatsuoka 1985 (Journal of
Educational Statistics 10:55, rule space); all three from memory. Powers are in D, angles in degrees.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Protocol

from cases.errors import CaseError
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.procedure.chain import Run, Slipped, SlipRef, Values
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field, Group, Several
from cases.procedure.keys import Step
from cases.procedure.kinds import Cross, Kind, Lens
from cases.procedure.quantities import Quantity


class ExplainedType(Protocol):
    """What of a case type is needed here; the type itself stands above this module."""

    @property
    def asks(self) -> tuple[Field[Any], ...]: ...  # noqa: D102
    @property
    def findings(self) -> Group: ...  # noqa: D102
    @property
    def steps(self) -> tuple[Step, ...]: ...  # noqa: D102
    @property
    def answer(self) -> Callable[[Values], dict[str, Any]]: ...  # noqa: D102
    def case(self, findings: Values) -> ExplainedCase: ...  # noqa: D102
    def same(self, given: Values, truth: Values) -> bool: ...  # noqa: D102
    def alike(self, given: Values, slipped: Values) -> bool: ...  # noqa: D102
    def are_twins(self, a: SlipRef, b: SlipRef) -> bool: ...  # noqa: D102


class ExplainedCase(Protocol):
    """What of a case is needed here."""

    @property
    def type(self) -> ExplainedType: ...  # noqa: D102
    @property
    def findings(self) -> Values: ...  # noqa: D102
    @property
    def start(self) -> dict[str, Any]: ...  # noqa: D102
    @property
    def run(self) -> Run: ...  # noqa: D102
    @property
    def truth(self) -> Values: ...  # noqa: D102
    @property
    def singles(self) -> tuple[Slipped, ...]: ...  # noqa: D102
    @property
    def doubles(self) -> tuple[Slipped, ...]: ...  # noqa: D102


FACT = 0.85
"""From this probability on a single slip, or twins together, is said as a fact."""
LIKELY = 0.5
"""From this probability on an explanation is named, with its doubt."""
LISTED = 0.005
"""Explanations less probable than this are left out of the list; their probability still counts against the others."""

TWIN = 0.5
"""An explanation is named beside another that leads to the same answer from this share of its probability on."""


@dataclass(frozen=True)
class Priors:
    """How often people do what explains a wrong answer, before the answer is seen: chances per case.

    Dated 2026-11-30. That half of the errors of people who know the method are arithmetic is common practice, with no
    published source; every number here is an estimate, to be fitted from logs. They were tuned on the seeds 1000 to
    1029 of every type, and are measured on others by `python -m tests.benchmarks.explanations`.
    """

    slip: float = 0.03
    """One wrong way of doing one step. Two at once: the product of the two, never more. Several that give the same
    answer share it: that a wrong way has two names here does not make people go that way twice as often."""
    least_slip: float = 0.004
    most_slip: float = 0.25
    """Bounds of a slip's prior, whatever is known of the learner."""
    answer_number: float = 0.06
    """One number of the answer comes out wrong: an arithmetic slip in the last line, or a wrong number written."""
    working_number: float = 0.06
    """A number of the working comes out wrong; shared evenly among the numbers of the working."""
    reading: float = 0.02
    """A number that was found is misread; shared evenly among the numbers found."""
    typing: float = 0.004
    """A number of the answer is one key or one sign away from what was meant; shared among the ways to do that."""
    copying: float = 0.003
    """A number of the answer is another one of the case, whole; shared among those of the same unit."""
    none: float = 0.008
    """Anything else; shared among all the answers that could be given."""
    exact: float = 0.9
    """Likelihood of an answer that is what the explanation gives, to the last figure that people write."""
    inexact: float = 0.1
    """Likelihood of an answer that only lies within 0.125 D and 2° (or the like) of it."""


PRIORS = Priors()

OFF_BY: Mapping[str, Mapping[float, float]] = MappingProxyType(
    {
        "D": {0.25: 0.20, 0.5: 0.15, 1.0: 0.10},
        "°": {5.0: 0.20, 10.0: 0.20},
        "cm": {1.0: 0.15, 5.0: 0.15, 10.0: 0.15},
        "m": {0.01: 0.15, 0.05: 0.15, 0.1: 0.15},
        "mm": {1.0: 0.25, 2.0: 0.15},
    }
)
"""By unit: how far a wrong number is out, and its share on each side; dated and estimated like `PRIORS`."""
COMPLEMENT = 0.05
"""Share of wrong axes that are the right one taken from 180."""


@dataclass(frozen=True)
class Beforehand:
    """What is known before an answer is seen, by who marks it: how often each slip is made, and how sure each step is.

    Without it every slip has the prior of `PRIORS`.
    """

    rates: Mapping[SlipRef, float] = field(default_factory=dict)
    """Chance per case (0..1) of each slip, among learners or of this one."""
    doubts: Mapping[str, float] = field(default_factory=dict)
    """By step: how many times likelier than usual it is to go wrong for this learner; 1 where nothing is known."""

    def rate(self, ref: SlipRef, priors: Priors = PRIORS) -> float:
        """Return the prior of one slip."""
        rate = self.rates.get(ref, priors.slip) * self.doubts.get(ref.step, 1.0)
        return min(max(rate, priors.least_slip), priors.most_slip)


NOTHING_KNOWN = Beforehand()


@dataclass(frozen=True)
class Explanation:
    """One way in which an answer may have come about, and how probable it is."""

    kind: str
    """"slip", "pair", "arithmetic", "reading", "typing", "copying" or "none"."""
    probability: float
    slips: tuple[SlipRef, ...] = ()
    slipped: Slipped | None = field(default=None, compare=False, repr=False)
    """Of a slip or a pair: the working with it."""
    step: str | None = field(default=None, compare=False)
    """Of an arithmetic slip: the step whose number most probably came out wrong, where it is one of the working."""

    def to_json(self) -> dict[str, Any]:
        """Give it as `mark --json` has it."""
        return {
            "kind": self.kind,
            "slips": [{"step": ref.step, "slip": ref.slip} for ref in self.slips],
            "probability": round(self.probability, 4),
        }


def explain(
    case: ExplainedCase, meant: Sequence[Values], beforehand: Beforehand = NOTHING_KNOWN, priors: Priors = PRIORS
) -> tuple[Explanation, ...]:
    """Weigh all that may explain a wrong answer, the most probable first; what is too improbable to list is left out.

    meant: every way of reading the answer (see `Kind.meant`). The probabilities of all explanations, listed or not,
    come to 1.
    """

    def likelihood(answer: Values) -> float:
        if not case.type.alike(meant[0], answer) and not any(case.type.alike(one, answer) for one in meant[1:]):
            return 0.0
        return priors.exact if any(case.type.same(one, answer) for one in meant) else priors.inexact

    shared = _shared_rates(case, beforehand, priors)
    slips = [
        Explanation("slip", weight, one.slips, one)
        for one in case.singles
        if (weight := likelihood(one.answer) * shared[one.slips[0]])
    ] + [
        Explanation("pair", weight, one.slips, one)
        for one in _real_pairs(case)
        if (weight := likelihood(one.answer) * math.prod(beforehand.rate(ref, priors) for ref in one.slips))
    ]
    weights: defaultdict[str, float] = defaultdict(float)
    at_step: defaultdict[str | None, float] = defaultdict(float)
    for kind, step, prior, answer in _slips_of_the_pen(case, meant[0], priors):
        weight = prior * likelihood(answer)
        weights[kind] += weight
        if kind == "arithmetic":
            at_step[step] += weight
    weights["none"] = priors.none / math.prod(_answers(ask.kind) for ask in case.type.asks)
    where = max(at_step, key=lambda step: at_step[step], default=None)
    every = slips + [
        Explanation(kind, weight, step=where if kind == "arithmetic" else None) for kind, weight in weights.items()
    ]
    total = math.fsum(one.probability for one in every)
    found = [replace(one, probability=one.probability / total) for one in every if one.probability >= LISTED * total]
    return tuple(sorted(found, key=lambda one: -one.probability))


def _shared_rates(case: ExplainedCase, beforehand: Beforehand, priors: Priors) -> dict[SlipRef, float]:
    """Return the prior of every single slip; those that give the same answer share that of the likeliest of them."""
    groups: list[list[Slipped]] = []
    for one in case.singles:
        group = next((each for each in groups if case.type.same(each[0].answer, one.answer)), None)
        if group is None:
            groups.append(group := [])
        group.append(one)
    shared: dict[SlipRef, float] = {}
    for group in groups:
        rates = [beforehand.rate(one.slips[0], priors) for one in group]
        share = max(rates) / math.fsum(rates)
        shared.update((one.slips[0], rate * share) for one, rate in zip(group, rates, strict=True))
    return shared


def _real_pairs(case: ExplainedCase) -> Iterator[Slipped]:
    """Yield the pairs of which both slips show: where one changes nothing, the other explains the answer alone."""
    singles = {one.slips[0]: one.answer for one in case.singles}
    for pair in case.doubles:
        if not any(ref in singles and case.type.same(pair.answer, singles[ref]) for ref in pair.slips):
            yield pair


def together(case: ExplainedCase, explanations: Sequence[Explanation], kind: str) -> tuple[Explanation, ...]:
    """Return the most probable slip (or pair) and its twins: as likely, and not to be told apart in this case.

    Empty where there is none of that `kind`.
    """
    every = [one for one in explanations if one.kind == kind]
    return tuple(one for one in every if one is every[0] or _twins(case, every[0], one))


def _twins(case: ExplainedCase, a: Explanation, b: Explanation) -> bool:
    if a.slipped is None or b.slipped is None:
        return False
    if len(a.slips) == len(b.slips) == 1 and case.type.are_twins(a.slips[0], b.slips[0]):
        return True
    as_likely = b.probability >= TWIN * a.probability
    return as_likely and case.type.alike(a.slipped.answer, b.slipped.answer)


# --- slips of the pen ------------------------------------------------------------------------------------------------

Rival = tuple[str, str | None, float, Values]
"""Kind of explanation, the step at which a number of the working came out wrong, prior, the answer that it gives."""


def _slips_of_the_pen(case: ExplainedCase, given: Values, priors: Priors) -> Iterator[Rival]:
    yield from _in_the_answer(case, given, priors)
    yield from _in_the_working(case, priors)
    yield from _in_the_findings(case, priors)


def _in_the_answer(case: ExplainedCase, given: Values, priors: Priors) -> Iterator[Rival]:
    """Yield the right answer with one of its numbers wrong, in the cylinder form in which the answer was given."""
    others: dict[str, list[float]] | None = None
    for ask in case.type.asks:
        kind, right = ask.kind, case.truth[ask.name]
        # A learner who has all else right is the only one that these explain.
        if any(not one.kind.alike(given[one.name], case.truth[one.name]) for one in case.type.asks if one is not ask):
            continue
        others = _numbers_of(case) if others is None else others
        for unit, number, put in _answer_numbers(kind, right, given[ask.name]):
            pool = sorted({round(one, 3) for one in others.get(unit, ()) if abs(one - number) > 1e-3})
            ways = [
                *(("arithmetic", priors.answer_number * share, value) for value, share in _out(number, unit)),
                *(("typing", priors.typing * share, value) for value, share in _mistyped(number, unit)),
                *(("copying", priors.copying / len(pool), value) for value in pool),
            ]
            for what, prior, value in ways:
                answer = put(value)
                if answer is not None:
                    yield what, None, prior, {**case.truth, ask.name: answer}


def _in_the_working(case: ExplainedCase, priors: Priors) -> Iterator[Rival]:
    """Yield what follows where one number of one step comes out wrong and all else is done rightly."""
    steps = case.type.steps
    known: dict[str, Any] = dict(case.start)
    places = []
    for place, step in enumerate(steps):
        if not step.needed(known):
            continue
        values = step.run(known)
        known.update(values)
        for key in step.gives:
            kind = key.kind if isinstance(key, Field) else None
            numbers = list(_numbers(values[key.name], _unit(kind) if kind is not None else key.unit))
            if numbers:
                places.append((place, key.name, dict(known), numbers))
    count = sum(len(numbers) for *_, numbers in places)
    for place, name, after, numbers in places:
        for unit, number, put in numbers:
            for value, share in _out(number, unit):
                changed = put(value)
                answer = None if changed is None else _carried_on(case, place + 1, {**after, name: changed})
                if answer is not None:
                    yield "arithmetic", steps[place].skill.id, priors.working_number * share / count, answer


def _carried_on(case: ExplainedCase, first: int, known: dict[str, Any]) -> Values | None:
    """Carry a chain on from step `first` for its answer alone; None where it leads to none."""
    try:
        for step in case.type.steps[first:]:
            if step.needed(known):
                known.update(step.run(known))
        return case.type.answer(known)
    except (CaseError, ArithmeticError, LookupError, ValueError):
        return None


def _in_the_findings(case: ExplainedCase, priors: Priors) -> Iterator[Rival]:
    """Yield the right answer to findings of which one number was misread."""
    places = list(_found_numbers(case.type.findings, case.findings))
    for unit, number, put in places:
        for value, share in _out(number, unit):
            try:
                answer = case.type.case(put(value)).truth
            except (CaseError, ArithmeticError, LookupError, ValueError):
                continue
            yield "reading", None, priors.reading * share / len(places), answer


# --- the numbers in a value ------------------------------------------------------------------------------------------

Number = tuple[str, float, Any]
"""Its unit, what it is, and a function that gives the whole value with another number in its place, or None."""


def _unit(kind: Kind[Any]) -> str:
    if isinstance(kind, Several):
        return _unit(kind.of)
    if not isinstance(kind, Quantity):
        return ""
    return "°" if kind.on_dial else kind.unit.strip() if kind.id != "angle" else ""


def _numbers(value: Any, unit: str) -> Iterator[Number]:
    """Yield every number in a value: the number that it is, the three of a lens, or those of a list."""
    if isinstance(value, SphCyl):
        yield "D", value.sphere, lambda one: replace(value, sphere=one)
        if value.cylinder:
            yield "D", value.cylinder, lambda one: replace(value, cylinder=one)
            yield "°", value.axis, lambda one: replace(value, axis=axis_of(one))
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            if isinstance(part, float | int | SphCyl):
                for inner, number, put in _numbers(part, unit):
                    yield inner, number, _within(value, place, put)
    elif isinstance(value, float | int) and not isinstance(value, bool) and unit in OFF_BY and math.isfinite(value):
        yield unit, float(value), lambda one: one


def _within(value: tuple[Any, ...], place: int, put: Any) -> Any:
    return lambda one: (*value[:place], put(one), *value[place + 1 :])


def _answer_numbers(kind: Kind[Any], right: Any, given: Any) -> Iterator[Number]:
    """Yield the numbers of the right value as this answer writes it: a lens in its own form, a cross by its powers."""
    if isinstance(kind, Cross):
        along, across = right.sphere, right.sphere + right.cylinder
        yield "D", along, lambda one: SphCyl.from_meridians(right.axis, one, across)
        yield "D", across, lambda one: SphCyl.from_meridians(right.axis, along, one)
        yield "°", right.axis, lambda one: SphCyl.from_meridians(axis_of(one), along, across)
    elif isinstance(kind, Lens) and right.cylinder * given.cylinder < 0:
        yield from _numbers(right.transposed(), "D")
        # A cylinder whose sign was dropped stands in the form that was not meant.
        yield from _numbers(right, "D")
    else:
        yield from _numbers(right, _unit(kind))


def _found_numbers(group: Group, values: Values) -> Iterator[Number]:
    for one in group.fields:
        value = values.get(one.name)
        found = (
            _found_numbers(one.kind, value)
            if isinstance(one.kind, Group) and isinstance(value, Mapping)
            else _numbers(value, _unit(one.kind))
        )
        for unit, number, put in found:
            yield unit, number, _beside(values, one.name, put)


def _beside(values: Values, name: str, put: Any) -> Any:
    return lambda one: {**values, name: put(one)}


def _numbers_of(case: ExplainedCase) -> dict[str, list[float]]:
    """List the numbers of a case by unit, those found and those of the right working."""
    out: dict[str, list[float]] = {}
    for unit, number, _ in _found_numbers(case.type.findings, case.findings):
        out.setdefault(unit, []).append(number)
    for step in case.type.steps:
        for key in step.gives:
            unit = _unit(key.kind) if isinstance(key, Field) else key.unit
            for inner, number, _ in _numbers(case.run.known.get(key.name), unit):
                out.setdefault(inner, []).append(number)
    return out


# --- wrong numbers ---------------------------------------------------------------------------------------------------


def _out(number: float, unit: str) -> Iterator[tuple[float, float]]:
    """Yield a number as it comes out of an arithmetic slip or is misread, with its share of all such slips."""
    for by, share in OFF_BY[unit].items():
        for value in (number + by, number - by):
            yield (axis_of(value) if unit == "°" else value), share
    if unit == "°" and number % 90:
        yield axis_of(180 - number), COMPLEMENT


def _mistyped(number: float, unit: str) -> Iterator[tuple[float, float]]:
    """Yield a number one key or sign away, with its share: the sign, two digits exchanged, or one digit left out."""
    if unit != "°" and number:
        yield -number, 0.4
    digits = f"{abs(number):.0f}" if unit == "°" else f"{abs(number):.2f}".replace(".", "")
    places = range(len(digits) - 1)
    swapped = {digits[:one] + digits[one + 1] + digits[one] + digits[one + 2 :] for one in places}
    left_out = {digits[:one] + digits[one + 1 :] for one in range(len(digits))} if unit == "°" else set()
    typed = sorted((swapped | left_out) - {digits, ""})
    for one in typed:
        value = int(one) / (1 if unit == "°" else 100)
        if unit != "°" or 0 < value <= 180:
            yield math.copysign(value, number), 0.6 / len(typed)


def _answers(kind: Kind[Any]) -> float:
    """Say among how many answers someone chooses who has no idea: an order of magnitude."""
    if isinstance(kind, Choice):
        return len(kind.options)
    if isinstance(kind, Marks):
        return float(2 ** len(kind.options))
    if isinstance(kind, Order):
        return math.factorial(len(kind.options))
    if isinstance(kind, Lens | Cross):
        return 40 * 12 * 36
    return 40
