"""The register's case types as the choice needs to know them."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
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
    "next-lens",
    "distance-vergence",
    "net-sphere",
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
DRAWN_BEFORE = Path(__file__).with_name("called_for.json")
"""What was found out with the usual norms, by level and form: drawing again would keep the first page waiting 2 s."""
CalledFor = Mapping[str, Mapping[str, int] | None]
"""By type, in how many of its cases each step is called for; None where the settings leave no case."""
_by_settings: LockedCache[At, Catalogue] = LockedCache(500)


def catalogue_for(settings: Settings) -> Catalogue:
    """Return the catalogue with only those steps, and their slips, that cases drawn with these settings call for.

    A step that a type needs in some cases only, such as turning into plus form, may be needed in none at a learner's
    form or level. Found out by drawing, and kept: a working distance changes none of it.
    """
    at = key_of_settings(settings)
    found = _by_settings.get(at)
    if found is None:
        whole = catalogue()
        before = {} if settings.norms else _drawn_before().get(f"{settings.level} {settings.form}", {})
        found = replace(whole, types=tuple(_exercised(one, settings, before) for one in whole.types))
        _by_settings.keep(at, found)
    return found


@cache
def _drawn_before() -> dict[str, CalledFor]:
    return json.loads(DRAWN_BEFORE.read_text("utf-8"))  # type: ignore[no-any-return]


def called_for(settings: Settings) -> CalledFor:
    """Draw again, and say of each type in how many of its cases each step is called for: what DRAWN_BEFORE keeps."""
    return {one.id: _called_for(one.id, settings) for one in catalogue().types if _varies(one.id)}


def _varies(type_id: str) -> bool:
    return not all(step.needed is always for step in all_types()[type_id].steps)


def _called_for(type_id: str, settings: Settings) -> dict[str, int] | None:
    """Return None where the settings leave no case: nor will any of its cases be brought."""
    try:
        cases = [draw(all_types()[type_id], seed, settings) for seed in range(1, DRAWS + 1)]
    except CannotDraw:
        return None
    return dict(Counter(step for case in cases for step in dict.fromkeys(case.skills)))


def _exercised(one: TypeInfo, settings: Settings, before: CalledFor) -> TypeInfo:
    """Say in how many of its cases a type calls for each step, and leave out what none of them calls for."""
    if not _varies(one.id):
        return one
    times = before[one.id] if one.id in before else _called_for(one.id, settings)
    if times is None:
        return one
    return replace(
        one,
        steps=tuple(step for step in one.steps if step in times),
        slips=tuple(key for key in one.slips if key[0] in times),
        shares={step: count / DRAWS for step, count in times.items()},
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
