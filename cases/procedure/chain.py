"""A case is a chain of steps and a slip a wrong version of one: running the chain, rightly or slipped, lives here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from cases.errors import CaseError
from cases.evidence.sources import COMMON, check_sources

Values = Mapping[str, Any]
"""Quantities by name, as a chain is carried through. Only the keys of keys.py look a name up here."""


def always(_: Values) -> bool:
    """Hold under all conditions: for a step or slip that has none of its own."""
    return True


@dataclass(frozen=True)
class Skill:
    """What a step exercises, shared by every type that has such a step: it is what a learner's memory is kept for."""

    id: str
    title: str
    """A gerund phrase for screens: "taking off the working distance"."""


@dataclass(frozen=True)
class SlipName:
    """A slip as learners and preceptors know it, wherever it happens."""

    id: str
    title: str
    """What the learner did, in the past tense, to follow "you": "did not subtract the working distance"."""
    tells: str
    """What a kind preceptor would say of it."""
    sources: tuple[str, ...] = (COMMON,)
    """Keys of evidence/sources.toml: who says that people make it, or that it is wrong."""

    def __post_init__(self) -> None:
        """Refuse keys that name no source, with UnknownSource or BadSource."""
        check_sources(self.sources)


@dataclass(frozen=True)
class ChainSlip:
    """One wrong version of a step as a chain runs it: `run` takes the place of its own, `says` is the line."""

    name: SlipName
    run: Callable[[Values], dict[str, Any]]
    says: Callable[[Values], str]
    live: Callable[[Values], bool] = always
    """Whether the wrong way is wrong here at all: "always 1.50" is no slip at two thirds of a metre."""


@dataclass(frozen=True)
class ChainStep:
    """A step as a chain runs it: from what is known so far to a little more, and the sentence that says so."""

    skill: Skill
    run: Callable[[Values], dict[str, Any]]
    says: Callable[[Values], str]
    slips: tuple[ChainSlip, ...] = ()
    needed: Callable[[Values], bool] = always
    """Whether this case calls for the step: no turning into plus form where plus form was found."""


@dataclass(frozen=True)
class SlipRef:
    """A slip at its step, as JSON and the answer log name it."""

    step: str
    slip: str


@dataclass(frozen=True)
class Line:
    """One line of a working: the step, its sentence, what it added, and the slip in it if there is one."""

    step: str
    tell: Callable[[Values], str] = field(compare=False, repr=False)
    """Writes the sentence, from what is known after the step."""
    known: Values = field(compare=False, repr=False)
    values: Mapping[str, Any]
    slip: str | None = None

    @cached_property
    def says(self) -> str:
        """The sentence; written when it is first read, since most slipped workings are only run for their answer."""
        return self.tell(self.known)


@dataclass(frozen=True)
class Run:
    """A chain carried through."""

    lines: tuple[Line, ...]
    known: Values


@dataclass(frozen=True)
class SlippedRun:
    """A chain carried through with one or two slips in it."""

    slips: tuple[SlipRef, ...]
    run: Run


@dataclass(frozen=True)
class Slipped:
    """A wrong answer that a slip, or a pair of slips, leads to."""

    slips: tuple[SlipRef, ...]
    answer: Values
    run: Run


class NotLive(CaseError):
    """The slip asked for cannot happen in this case."""

    def __init__(self, slip: SlipRef) -> None:
        super().__init__(f"slip {slip.slip} at {slip.step}: it cannot happen in this case; draw another")


def run_chain(steps: Sequence[ChainStep], start: Values, swaps: Mapping[int, ChainSlip] | None = None) -> Run:
    """Carry a chain through from `start`, each step numbered in `swaps` replaced by that slip.

    A step that the case does not need is left out.

    Raises
    ------
    NotLive
        When a slip is not wrong here, or its step is not needed.
    """
    return _carried(steps, Run((), start), 0, swaps or {})


def _carried(steps: Sequence[ChainStep], before: Run, first: int, swaps: Mapping[int, ChainSlip]) -> Run:
    """Carry a chain on from its step number `first`."""
    known: dict[str, Any] = dict(before.known)
    lines: list[Line] = list(before.lines)
    for number in range(first, len(steps)):
        step, slip = steps[number], swaps.get(number)
        # Nearly every step is always needed: chains run so often that even the call is saved.
        needed = step.needed is always or step.needed(known)
        if slip is not None and not (needed and (slip.live is always or slip.live(known))):
            raise NotLive(SlipRef(step.skill.id, slip.name.id))
        if not needed:
            continue
        values = slip.run(known) if slip else step.run(known)
        known.update(values)
        # A copy, because a later step may put another value in the same place.
        lines.append(Line(step.skill.id, (slip or step).says, dict(known), values, slip.name.id if slip else None))
    return Run(tuple(lines), known)


def slipped_runs(
    steps: Sequence[ChainStep], start: Values, *, at_once: int = 1, only: str | None = None
) -> Iterator[SlippedRun]:
    """Return the chain with every live slip in it (`at_once` = 1) or every pair of slips at two steps (2).

    With `only` no other slips than those of that name are looked at. A combination that leads to no lens or number at
    all is passed over.
    """
    every = [(number, slip) for number, step in enumerate(steps) for slip in step.slips]
    places = every if only is None else [(number, slip) for number, slip in every if slip.name.id == only]
    return _slipped(steps, Run((), start), 0, places, at_once, ())


def _slipped(
    steps: Sequence[ChainStep],
    before: Run,
    first: int,
    places: Sequence[tuple[int, ChainSlip]],
    at_once: int,
    made: tuple[SlipRef, ...],
) -> Iterator[SlippedRun]:
    """Yield the chain from step `first` on with every choice of `at_once` slips; all with the same first share it."""
    for number, slip in places:
        if number > first:
            try:
                before, first = _carried(steps[:number], before, first, {}), number
            except (CaseError, ZeroDivisionError):
                return
        later = [place for place in places if place[0] > number] if at_once > 1 else []
        if at_once > 1 and not later:
            return
        try:
            run = _carried(steps[: number + 1] if later else steps, before, number, {number: slip})
        except (CaseError, ZeroDivisionError):
            continue
        slips = (*made, SlipRef(steps[number].skill.id, slip.name.id))
        if later:
            yield from _slipped(steps, run, number + 1, later, at_once - 1, slips)
        else:
            yield SlippedRun(slips, run)
