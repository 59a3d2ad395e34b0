"""Cases drawn by the app and what its marking says of every way of doing them, kept because drawing is slow.

A case is drawn, run and marked by `cases` alone; this file only remembers what came out.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.chain import ChainSlip, SlipName, SlipRef, run_chain
from cases.procedure.marking import mark
from cases.procedure.vocabulary import LEVELS
from quiz.learning.scheduler import Choice
from quiz.learning.state import SlipKey
from quiz.practice import dealing
from quiz.practice.settings import LearnerSettings
from quiz.practice.type_catalogue import catalogue_for, key_of

CASES = 6
"""How many cases of a type are drawn without any wish."""
WISHED = 2
"""How many are drawn for a wish that those do not meet."""
MUDDLES = 2
"""How many unsystematic errors each step of a case may have."""

Way = tuple[tuple[str, str], ...]
"""How a learner went wrong: (step, slip id or "muddle-0" ...) for every step done wrongly, in the chain's order."""

_MUDDLED = SlipName("muddle", "muddled it", "")


class Outcome(NamedTuple):
    """What the app's marking makes of an answer."""

    verdict: str
    explanations: tuple[tuple[SlipKey, ...], ...]
    """What the learner is told."""
    weighed: tuple[tuple[SlipKey, ...], ...] = ()
    """What memory takes in: every slip and pair that was weighed, each by its share."""
    shares: tuple[float, ...] = ()


@dataclass
class Sample:
    """One drawn case as a learner and the memory meet it, with the outcomes that were asked for so far."""

    type_id: str
    findings: Mapping[str, Any]
    seed: int
    skills: tuple[str, ...]
    could_show: tuple[SlipKey, ...]
    live: dict[str, list[str]]
    """Step to the slips that would show in this case."""
    outcomes: dict[Way, Outcome] = field(default_factory=dict)


class Pool:
    """Samples of every type on offer."""

    def __init__(self, level: str = "expert") -> None:
        self.learner = LearnerSettings(level=level)
        """What the learner has set: the app's defaults, but for the level."""
        self.settings = self.learner.for_drawing
        every = catalogue_for(self.settings)
        types = tuple(one for one in every.types if LEVELS.index(one.level) <= LEVELS.index(level))
        self.catalogue = replace(every, types=types)
        self._plain: dict[str, list[Sample]] = {}
        self._wished: dict[tuple[str, object], list[Sample]] = {}
        self._cases: dict[int, Case] = {}

    def __getstate__(self) -> dict[str, Any]:
        return vars(self) | {"_cases": {}}

    def seconds(self, type_id: str) -> float:
        """Return what a competent clinician takes for a case, as the type estimates it."""
        return all_types()[type_id].seconds

    def plain(self, type_id: str) -> list[Sample]:
        """Return the cases of a type that were drawn without a wish."""
        if type_id not in self._plain:
            self._plain[type_id] = [self._drawn(type_id, seed) for seed in range(CASES)]
        return self._plain[type_id]

    def deal(self, choice: Choice, rng: random.Random) -> Sample:
        """Return a case as dealing.py would draw it: with what the choice asks for, if the type has such cases."""
        if choice.probe_of is not None:
            a, b = (SlipRef(*key) for key in choice.probe_of)
            found = self._with(choice.type_id, choice.probe_of, lambda case: case.parts((a, b)))
            if found:
                return rng.choice(found)
        if choice.must_show is not None:
            slip = choice.must_show
            found = self._with(choice.type_id, slip, lambda case: case.shows(slip))
            if found:
                return rng.choice(found)
        return rng.choice(self.plain(choice.type_id))

    def _with(self, type_id: str, wish: object, wanted: Callable[[Case], bool]) -> list[Sample]:
        key = type_id, wish
        if key not in self._wished:
            found = [one for one in self.plain(type_id) if wanted(self._case(one))]
            if len(found) < WISHED:
                with suppress(CannotDraw):
                    found += [self._drawn(type_id, 1000 + seed, wanted) for seed in range(WISHED)]
            self._wished[key] = found
        return self._wished[key]

    def _drawn(self, type_id: str, seed: int, wanted: Callable[[Case], bool] = lambda _: True) -> Sample:
        case = draw(all_types()[type_id], seed, self.settings, wanted=wanted)
        shows = tuple(key_of(ref) for one in case.singles for ref in one.slips)
        live: dict[str, list[str]] = {}
        for step, slip in shows:
            live.setdefault(step, []).append(slip)
        sample = Sample(type_id, case.findings, seed, case.skills, shows, live)
        self._cases[id(sample)] = case
        return sample

    def _case(self, sample: Sample) -> Case:
        if id(sample) not in self._cases:
            self._cases[id(sample)] = all_types()[sample.type_id].case(sample.findings, sample.seed)
        return self._cases[id(sample)]

    def outcome(self, sample: Sample, way: Way) -> Outcome:
        """Mark what a learner gives who goes wrong in this way; no way wrong is the right answer."""
        if way not in sample.outcomes:
            sample.outcomes[way] = self._marked(sample, way)
        return sample.outcomes[way]

    def _marked(self, sample: Sample, way: Way) -> Outcome:
        rng = random.Random(f"{sample.type_id} {sample.seed} {way}")
        case = self._case(sample)
        found = mark(case, self._answer(case, way, rng))
        if found.sent_back:  # the app would hand it back unmarked: what is given then is another answer
            found = mark(case, self._another(case, rng))
        verdict = "wrong" if found.sent_back else found.verdict
        told = tuple(tuple(key_of(ref) for ref in one.slips) for one in found.named)
        slips = [one for one in found.weighed if one.slips and one.probability >= dealing.KEPT]
        weighed = tuple(tuple(key_of(ref) for ref in one.slips) for one in slips)
        return Outcome(verdict, told, weighed, tuple(one.probability for one in slips))

    def _answer(self, case: Case, way: Way, rng: random.Random) -> Mapping[str, Any]:
        swaps = {}
        for number, step in enumerate(case.type.steps):
            name = dict(way).get(step.skill.id)
            if name is None:
                continue
            slip = next((one for one in step.slips if one.name.id == name), None)
            swaps[number] = slip or ChainSlip(_MUDDLED, run=self._muddle(case, number, rng), says=lambda _: "")
        try:
            return case.type.answer(run_chain(case.type.steps, case.start, swaps).known)
        except (CaseError, ArithmeticError, LookupError, TypeError, ValueError):
            return self._another(case, rng)  # two errors that lead to no answer at all: some other is given

    def _others(self, case: Case) -> list[Case]:
        return [self._case(one) for one in self.plain(case.type.id)]

    def _another(self, case: Case, rng: random.Random) -> Mapping[str, Any]:
        return rng.choice(self._others(case)).truth

    def _muddle(self, case: Case, number: int, rng: random.Random) -> Callable[[Mapping[str, Any]], dict[str, Any]]:
        step = case.type.steps[number]

        def run(known: Mapping[str, Any]) -> dict[str, Any]:
            values = dict(step.run(known))
            name = rng.choice(list(values))
            elsewhere = [
                line.values[name]
                for other in self._others(case)
                for line in other.run.lines
                if line.step == step.skill.id and name in line.values
            ]
            values[name] = _near_miss(values[name], elsewhere, rng)
            return values

        return run


def _near_miss(value: Any, elsewhere: list[Any], rng: random.Random) -> Any:
    """Return what unsystematic reckoning makes of a value: a quarter or so out, ten degrees out, another word."""
    if isinstance(value, bool | str) or value is None or value == ():
        return rng.choice(elsewhere or [value])
    if isinstance(value, SphCyl):
        return SphCyl(value.sphere + rng.choice((-0.5, -0.25, 0.25, 0.5)), value.cylinder, value.axis)
    if isinstance(value, tuple):
        place = rng.randrange(len(value))
        return (*value[:place], _near_miss(value[place], [], rng), *value[place + 1 :])
    if abs(value) < 0.2:
        return value * rng.choice((0.1, 0.5, 1.5, 10))
    return value + rng.choice((-1, 1)) * (rng.choice((5, 10, 20)) if abs(value) > 15 else rng.choice((0.25, 0.5, 1)))
