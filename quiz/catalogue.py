"""The register's case types as the choice needs to know them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from typing import Any

from cases.casetype import LEVELS, CaseType
from cases.choices import Choice, Marks, Order
from cases.fields import Field
from cases.register import all_skills, all_slips, all_types
from cases.working import SlipRef
from quiz.learner import SlipKey
from quiz.offered import Catalogue, TypeInfo

FIRST = (
    "distance-vergence",
    "net-sphere",
    "next-lens",
    "streak-axis",
    "transpose",
    "spherical-equivalent",
    "rx-to-cross",
    "cross-to-rx",
    "working-lens",
    "near-or-far",
    "bracket-end-point",
    "frame-net",
    "sphere-then-cyl",
    "two-spheres",
    "which-meridian-first",
    "predict-movement",
    "lean-test",
    "distance-drift",
    "fixation-near",
    "dark-near",
    "lag-lens",
    "lag-move-back",
    "two-eyes",
    "odd-reflex",
    "result-difference",
    "oblique-power",
    "crossed-sum",
    "over-refraction",
    "axis-error",
)
"""The order in which new types come within a level, each building on those before; the others follow."""


def key_of(ref: SlipRef) -> SlipKey:
    """Return a slip at its step as the memory names it."""
    return ref.step, ref.slip


def options_of(asks: Iterable[Field[Any]]) -> int | None:
    """Return among how many answers one would guess, or None where anything is typed."""
    ways = 1
    for ask in asks:
        match ask.kind:
            case Choice(options=options):
                ways *= len(options)
            case Order(options=options):
                ways *= math.factorial(len(options))
            case Marks(options=options):
                ways *= 2 ** len(options)
            case _:
                return None
    return ways


def _info(one: CaseType, place: int) -> TypeInfo:
    return TypeInfo(
        id=one.id,
        family=one.family.id,
        level=one.level,
        steps=tuple(step.skill.id for step in one.steps),
        slips=tuple(key_of(ref) for ref in one.slips),
        needs=one.needs,
        twins=tuple((key_of(a), key_of(b)) for a, b in one.twins),
        probes=tuple(((key_of(probe.twins[0]), key_of(probe.twins[1])), probe.type_id) for probe in one.probes),
        options=options_of(one.asks),
        title=one.title,
        place=place,
        seconds=one.seconds,
    )


def _in_teaching_order() -> list[str]:
    def place(one: CaseType) -> tuple[int, int]:
        return LEVELS.index(one.level), FIRST.index(one.id) if one.id in FIRST else len(FIRST)

    return [one.id for one in sorted(all_types().values(), key=place)]


@cache
def catalogue() -> Catalogue:
    """Return every type there is, with the words for their steps and slips."""
    order = _in_teaching_order()
    return Catalogue(
        types=tuple(_info(one, order.index(one.id)) for one in all_types().values()),
        step_titles={skill.id: skill.title for skill in all_skills().values()},
        slip_titles={name.id: name.title for name in all_slips().values()},
    )
