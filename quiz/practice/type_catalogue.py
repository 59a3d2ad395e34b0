"""The register's case types as the choice needs to know them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Any

from cases.curriculum.register import all_skills, all_slips, all_types
from cases.procedure.case_type import CannotDraw, CaseType, draw
from cases.procedure.chain import SlipRef, always
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.learning.catalogue import At, Catalogue, TypeInfo, key_of_settings
from quiz.learning.state import SlipKey
from quiz.lru_cache import LockedCache

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


CORE = ("sphere-then-cyl", "two-spheres", "two-eyes-meridians", "whole-run", "bench-eye")
"""Both principal meridians in one examination: the core of the trade, which is practised all along."""


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
        core=one.id in CORE,
        seconds=one.seconds,
    )


DRAWS = 40
"""Cases of a type by which it is found out what its cases call for: what one in ten needs is missed by 1 type in 70."""
_by_settings: LockedCache[At, Catalogue] = LockedCache(500)


def catalogue_for(settings: Settings) -> Catalogue:
    """Return the catalogue with only those steps, and their slips, that cases drawn with these settings call for.

    A step that a type needs in some cases only, such as turning into plus form, may be needed in none at a learner's
    form or level. Found out by drawing, a fifth of a second for all types, and remembered.
    """
    at = key_of_settings(settings)
    found = _by_settings.get(at)
    if found is None:
        whole = catalogue()
        found = replace(whole, types=tuple(_exercised(one, settings) for one in whole.types))
        _by_settings.keep(at, found)
    return found


def _exercised(one: TypeInfo, settings: Settings) -> TypeInfo:
    """Say in how many of its cases a type calls for each step, and leave out what none of them calls for."""
    case_type = all_types()[one.id]
    if all(step.needed is always for step in case_type.steps):
        return one
    try:
        cases = [draw(case_type, seed, settings) for seed in range(1, DRAWS + 1)]
    except CannotDraw:
        return one  # nor will any of its cases be brought
    called_for = Counter(step for case in cases for step in dict.fromkeys(case.skills))
    return replace(
        one,
        steps=tuple(step for step in one.steps if step in called_for),
        slips=tuple(key for key in one.slips if key[0] in called_for),
        shares={step: times / DRAWS for step, times in called_for.items()},
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
