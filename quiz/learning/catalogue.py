"""The case types on offer, as the choice and the looks ahead need to know them: any catalogue can be tried.

Built from the register by type_catalogue.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.learning.state import SlipKey

Twins = tuple[SlipKey, SlipKey]
Wish = str | Twins
"""What a case is to do: show a slip, by its id, or tell two apart."""


At = tuple[str, str, float, bool, str, tuple[tuple[str, float], ...]]


def key_of_settings(settings: Settings) -> At:
    """Return settings as what was found out by drawing with them is remembered by."""
    norms = tuple(sorted(settings.norms.items()))
    return settings.form, settings.level, settings.distance_cm, settings.fixed_distance, settings.region, norms


@dataclass(frozen=True)
class TypeInfo:
    """What the choice needs to know of one case type."""

    id: str
    family: str
    level: str
    """One of `cases.procedure.case_type.LEVELS`."""
    steps: tuple[str, ...]
    slips: tuple[SlipKey, ...] = ()
    needs: tuple[str, ...] = ()
    """Types to be met before this one; those that the catalogue lacks do not count."""
    twins: tuple[Twins, ...] = ()
    """Slips that no case of this type tells apart."""
    probes: tuple[tuple[Twins, str], ...] = ()
    """Types declared to tell twins of this type apart."""
    options: int | None = None
    title: str = ""
    place: int = 0
    """Where it comes among new types, the lowest first; among equals, chance decides."""
    shares: Mapping[str, float] = field(default_factory=dict)
    """By step, in which share of the cases it is called for; a step that is not named is called for in all."""
    core: bool = False
    """Whether it is of the core of the trade: both principal meridians in one examination."""
    seconds: float = 30.0
    """What a competent clinician takes for a case."""

    @property
    def chain(self) -> tuple[str, ...]:
        """The steps, or the type itself where it has none."""
        return self.steps or (self.id,)

    @cached_property
    def distinct(self) -> tuple[str, ...]:
        """The chain with each step once."""
        return tuple(dict.fromkeys(self.chain))

    def share(self, step: str) -> float:
        """Return in which share of the cases a step is called for."""
        return self.shares.get(step, 1.0)

    @cached_property
    def rank(self) -> int:
        """The place of its level among the levels."""
        return LEVELS.index(self.level)


@dataclass(frozen=True)
class Catalogue:
    """The types on offer, and how a learner is told of their steps and slips."""

    types: tuple[TypeInfo, ...]
    step_titles: Mapping[str, str]
    """A gerund phrase: "taking the working distance off"."""
    slip_titles: Mapping[str, str]
    """What the learner did, to follow "you": "left the distance in"."""

    @cached_property
    def by_id(self) -> dict[str, TypeInfo]:
        """The types by id, in their order."""
        return {one.id: one for one in self.types}

    @cached_property
    def steps(self) -> tuple[str, ...]:
        """Every step of every type, once."""
        return tuple(dict.fromkeys(step for one in self.types for step in one.chain))

    @cached_property
    def with_slip(self) -> dict[SlipKey, list[str]]:
        """By slip, the types that have it."""
        out: dict[SlipKey, list[str]] = {}
        for one in self.types:
            for key in one.slips:
                out.setdefault(key, []).append(one.id)
        return out
