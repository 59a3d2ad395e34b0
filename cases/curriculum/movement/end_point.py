"""Family B, the end-point: finding neutral between the last with and the first against."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench
from cases.curriculum.bench_types import HeldPair, Moving, wanting
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import draw_log
from cases.curriculum.steps import signed
from cases.figures.tried_lenses import lens_log
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.lens_log import LensLog, Log, NoEndPoint, Tried, bracket, line_words
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SORT_LOG = Skill("sort-log", "putting the lenses tried in order")

LAST_TRIED = SlipName(
    "last-tried",
    "went by the lenses tried last",
    "The order of trying does not matter. Look for the most plus that still left with and the least that gave against.",
)
FIRST_NEUTRAL_TAKEN = SlipName(
    "first-neutral-taken",
    "stopped at the first lens that looked neutral",
    "Neutral is a zone and not a point: find both of its ends and take the middle.",
    ("jpn-2010",),
)
NEUTRAL_PASSED_OVER = SlipName(
    "neutral-passed-over",
    "halved the way from with to against though neutral was seen",
    "Where neutral was seen it counts for more than the lenses on either side, which need not lie equally far from it.",
)


# --- between with and against ------------------------------------------------------------------------------------


LOW = Key[float | None]("low", unit="D")
NEUTRAL = Key[tuple[float, ...]]("neutral", unit="D")
HIGH = Key[float | None]("high", unit="D")
CENTRE = Key[float]("centre", unit="D")


def _draw_bracket(chance: Chance, settings: Settings) -> dict[str, Any]:
    centre = chance.stepped(-6, 7)
    sides = (0.25, 0.5) if settings.level == "novice" else (0.25, 0.375, 0.5)
    log = draw_log(chance, centre, sides=sides)
    if any(one.lens * 4 % 1 for one in log):
        log = tuple(Tried(one.lens + 0.125, one.movement) for one in log)
    return LOG.to(log)


def _by_time(log: Log) -> tuple[float, float] | None:
    """Return the lens of the last with and of the last against in the order of trying."""
    withs, againsts = ([one.lens for one in log if one.movement == way] for way in ("with", "against"))
    return (withs[-1], againsts[-1]) if withs and againsts else None


def _last_of_each(log: Log) -> tuple[float | None, tuple[float, ...], float | None]:
    last_with, last_against = _by_time(log) or (0, 0)
    return last_with, (), last_against


LOG = Field("log", "Lenses tried, with the movement behind each", LensLog())


@given(LOG)
def _sorted(log: tuple[Tried, ...]) -> tuple[float | None, tuple[float, ...], float | None]:
    found = bracket(log)
    return (found.low, found.neutral, found.high)


@given(LOG)
def _last_tried_differs(log: tuple[Tried, ...]) -> bool:
    found = bracket(log)
    return not found.neutral and _by_time(log) not in (None, (found.low, found.high))


@given(LOW, NEUTRAL, HIGH)
def _ends_words(low: float | None, neutral: tuple[float, ...], high: float | None) -> str:
    parts = []
    if low is not None:
        parts.append(f"with up to {signed(low)}")
    if neutral:
        parts.append(f"neutral at {', '.join(signed(one) for one in neutral)}")
    if high is not None:
        parts.append(f"against from {signed(high)}")
    return f"In order: {', '.join(parts)}."


def _lens(end: float | None) -> float:
    if end is None:
        raise NoEndPoint("no lens left that movement")
    return end


def _middle(neutral: tuple[float, ...], low: float | None, high: float | None) -> float:
    ends = (neutral[0], neutral[-1]) if neutral else (_lens(low), _lens(high))
    return math.fsum(ends) / 2


@given(NEUTRAL, CENTRE)
def _centre_words(neutral: tuple[float, ...], centre: float) -> str:
    if len(neutral) == 1:
        return f"Neutral was seen with one lens: {signed(centre)}."
    between = "neutral lenses" if neutral else "last with and the first against"
    return f"Half-way between the {between}: {signed(centre)}."


def _taken(name: SlipName, value: Rule[float], words: str, live: Rule[bool]) -> Slip[float]:
    return Slip(
        name,
        run=value,
        says=given(CENTRE)(lambda centre: f"{words}: {signed(centre)}."),
        live=live,
    )


def _has(end: Key[float | None]) -> Rule[bool]:
    return given(end)(lambda end: end is not None)


bracket_steps = (
    given(LOW, NEUTRAL, HIGH).step(
        SORT_LOG,
        run=_sorted,
        says=_ends_words,
        slips=(
            Slip(
                LAST_TRIED,
                run=given(LOG)(_last_of_each),
                says=given(LOW, HIGH)(
                    lambda low, high: f"Tried last: with at {signed(_lens(low))}, against at {signed(_lens(high))}."
                ),
                live=_last_tried_differs,
            ),
        ),
    ),
    CENTRE.step(
        skills.CENTRE_END_POINT,
        run=given(NEUTRAL, LOW, HIGH)(lambda neutral, low, high: _middle(neutral, low, high)),
        says=_centre_words,
        slips=(
            _taken(skills.FIRST_AGAINST_TAKEN, given(HIGH)(_lens), "The first against taken", _has(HIGH)),
            _taken(skills.LAST_WITH_TAKEN, given(LOW)(_lens), "The last with taken", _has(LOW)),
            _taken(
                FIRST_NEUTRAL_TAKEN,
                given(NEUTRAL)(lambda neutral: neutral[0]),
                "The first neutral taken",
                given(NEUTRAL)(lambda neutral: len(neutral) > 1),
            ),
            _taken(
                NEUTRAL_PASSED_OVER,
                given(LOW, HIGH)(lambda low, high: (_lens(low) + _lens(high)) / 2),
                "Half-way from the last with to the first against",
                given(NEUTRAL, LOW, HIGH)(
                    lambda neutral, low, high: (
                        bool(neutral)
                        and low is not None
                        and high is not None
                        and (low + high) / 2 != _middle(neutral, low, high)
                    )
                ),
            ),
        ),
    ),
)

SPHERE = Field("sphere", "Sphere at the end-point, the distance still in", quantities.POWER)
bracket_end_point = CaseType(
    id="bracket-end-point",
    title="The end-point between with and against",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group((LOG,)),
    asks=(SPHERE,),
    draw=_draw_bracket,
    steps=bracket_steps,
    answer=SPHERE.by(given(CENTRE)(lambda centre: centre)),
    found=given(LOG)(
        lambda log: (
            "One meridian, one sphere at a time, in the order of trying; plane-mirror setting.",
            *(f"{line_words(one)}" for one in log),
        )
    ),
    question=asking("Which sphere is the end-point of this meridian, before the distance comes off?"),
    figure=given(LOG).drawing(lambda uid, log: lens_log(log, uid=uid)),
    needs=("next-lens",),
    sources=("jpn-2010", "common-practice"),
)


@given()
def _end_point_pair() -> HeldPair:
    def pair(yours: Mapping[str, Any], right: Mapping[str, Any]) -> tuple[Bench, Bench]:
        bench = wanting(right["sphere"])
        return bench.holding(SphCyl(yours["sphere"])), bench.holding(SphCyl(right["sphere"]))

    return pair


MOVING = {bracket_end_point.id: Moving(given()(lambda: ()), tells=True, pair=_end_point_pair)}

TYPES = (bracket_end_point,)
