"""Family B, the end-point: finding neutral between the last with and the first against."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.families.movement import FAMILY
from cases.fields import Field, Group
from cases.figures_log import lens_log
from cases.kinds import Power
from cases.logs import LensLog, Log, Tried, bracket, line_words
from cases.steps import signed
from cases.working import Known, Skill, Slip, SlipName, Step

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
    "accuracy at best 0.25 D: Jpn J Vis Sci 2010;31:48 (abstract)",
)
NEUTRAL_PASSED_OVER = SlipName(
    "neutral-passed-over",
    "halved the way from with to against though neutral was seen",
    "Where neutral was seen it counts for more than the lenses on either side, which need not lie equally far from it.",
)


# --- between with and against ------------------------------------------------------------------------------------


def draw_log(chance: Chance, centre: float, *, sides: tuple[float, ...] = (0.25, 0.5)) -> Log:
    """Draw a log of spheres whose end-point is `centre`, in D, the farthest lens first.

    sides: how far the last with and the first against may lie from the centre where no lens looked neutral.
    """
    kind = chance.among(("gap", "one", "run", "gap"))
    if kind == "gap":
        below = above = chance.among(sides)
        neutral: tuple[float, ...] = ()
    else:
        neutral = (centre,) if kind == "one" else (centre - 0.25, centre, centre + 0.25)
        edge = 0.25 if kind == "run" else 0.0
        below, above = (edge + chance.among((0.25, 0.5, 1.0)) for _ in range(2))
    fine = [
        Tried(centre - below, "with"),
        *(Tried(one, "neutral") for one in neutral),
        Tried(centre + above, "against"),
    ]
    rough = [
        Tried(centre - below - chance.among((0.5, 0.75, 1.0)), "with"),
        Tried(centre + above + chance.among((0.5, 0.75, 1.0)), "against"),
    ]
    far = Tried(centre - below - chance.among((2.0, 3.0)), "with")
    return (far, *chance.shuffled([*rough, *fine]))


def _draw_bracket(chance: Chance, settings: Settings) -> dict[str, Any]:
    centre = chance.stepped(-6, 7)
    sides = (0.25, 0.5) if settings.level == "novice" else (0.25, 0.375, 0.5)
    log = draw_log(chance, centre, sides=sides)
    if any(one.lens * 4 % 1 for one in log):
        log = tuple(Tried(one.lens + 0.125, one.movement) for one in log)
    return {"log": log}


def _by_time(log: Log) -> tuple[float, float] | None:
    """Return the lens of the last with and of the last against in the order of trying."""
    withs, againsts = ([one.lens for one in log if one.movement == way] for way in ("with", "against"))
    return (withs[-1], againsts[-1]) if withs and againsts else None


def _sorted(known: Known) -> dict[str, Any]:
    found = bracket(known["log"])
    return {"low": found.low, "neutral": found.neutral, "high": found.high}


def _last_tried_differs(known: Known) -> bool:
    found = bracket(known["log"])
    return not found.neutral and _by_time(known["log"]) not in (None, (found.low, found.high))


def _ends_words(known: Known) -> str:
    parts = []
    if known["low"] is not None:
        parts.append(f"with up to {signed(known['low'])}")
    if known["neutral"]:
        parts.append(f"neutral at {', '.join(signed(one) for one in known['neutral'])}")
    if known["high"] is not None:
        parts.append(f"against from {signed(known['high'])}")
    return f"In order: {', '.join(parts)}."


def _middle(known: Known) -> float:
    ends = (known["neutral"][0], known["neutral"][-1]) if known["neutral"] else (known["low"], known["high"])
    return math.fsum(ends) / 2


def _centre_words(known: Known) -> str:
    if len(known["neutral"]) == 1:
        return f"Neutral was seen with one lens: {signed(known['centre'])}."
    between = "neutral lenses" if known["neutral"] else "last with and the first against"
    return f"Half-way between the {between}: {signed(known['centre'])}."


def _taken(name: SlipName, value: Callable[[Known], float], words: str, live: Callable[[Known], bool]) -> Slip:
    return Slip(
        name,
        run=lambda known: {"centre": value(known)},
        says=lambda known: f"{words}: {signed(known['centre'])}.",
        live=live,
    )


def _has(name: str) -> Callable[[Known], bool]:
    return lambda known: known[name] is not None


bracket_steps = (
    Step(
        SORT_LOG,
        run=_sorted,
        says=_ends_words,
        slips=(
            Slip(
                LAST_TRIED,
                run=lambda known: (
                    dict(zip(("low", "high"), _by_time(known["log"]) or (0, 0), strict=True)) | {"neutral": ()}
                ),
                says=lambda known: f"Tried last: with at {signed(known['low'])}, against at {signed(known['high'])}.",
                live=_last_tried_differs,
            ),
        ),
    ),
    Step(
        skills.CENTRE_END_POINT,
        run=lambda known: {"centre": _middle(known)},
        says=_centre_words,
        slips=(
            _taken(skills.FIRST_AGAINST_TAKEN, lambda known: known["high"], "The first against taken", _has("high")),
            _taken(skills.LAST_WITH_TAKEN, lambda known: known["low"], "The last with taken", _has("low")),
            _taken(
                FIRST_NEUTRAL_TAKEN,
                lambda known: known["neutral"][0],
                "The first neutral taken",
                lambda known: len(known["neutral"]) > 1,
            ),
            _taken(
                NEUTRAL_PASSED_OVER,
                lambda known: (known["low"] + known["high"]) / 2,
                "Half-way from the last with to the first against",
                lambda known: (
                    bool(known["neutral"])
                    and None not in (known["low"], known["high"])
                    and (known["low"] + known["high"]) / 2 != _middle(known)
                ),
            ),
        ),
    ),
)

bracket_end_point = CaseType(
    id="bracket-end-point",
    title="The end-point between with and against",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group((Field("log", "Lenses tried, with the movement behind each", LensLog()),)),
    asks=(Field("sphere", "Sphere at the end-point, the distance still in", Power()),),
    draw=_draw_bracket,
    begin=lambda _: {},
    steps=bracket_steps,
    answer=lambda known: {"sphere": known["centre"]},
    found=lambda known: (
        "One meridian, one sphere at a time, in the order of trying; plane-mirror setting.",
        *(f"{line_words(one)}" for one in known["log"]),
    ),
    question=lambda _: "Which sphere is the end-point of this meridian, before the distance comes off?",
    figure=lambda known, uid: lens_log(known["log"], uid=uid),
    needs=("next-lens",),
    sources=("common practice, no published source; neutral is a zone, judged to 0.25 D at best: Jpn J Vis Sci 2010",),
)

TYPES = (bracket_end_point,)
