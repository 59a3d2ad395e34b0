"""Family B, the end-point: finding neutral between the last with and the first against, and trying it by leaning."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.movement import FAMILY, MOVEMENTS, movement_for
from cases.fields import Field, Group
from cases.figures_log import lens_log
from cases.figures_reflex import movement as draw_movement
from cases.kinds import BadFinding, Distance, Power
from cases.logs import LensLog, Log, Tried, bracket, line_words
from cases.notation import write_distance
from cases.steps import DISTANCE, pick_distance, signed
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

SORT_LOG = Skill("sort-log", "putting the lenses tried in order")
FORETELL_LEAN = Skill("foretell-lean", "foretelling the movement on leaning")
LEAN_TO_LENS = Skill("lean-to-lens", "changing the lens by what leaning shows")

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
LEANED_WRONG_WAY = SlipName(
    "leaned-wrong-way",
    "expected the other movement on leaning",
    "Leaning in brings you nearer than the far point, so it turns to with; leaning back turns it to against.",
    "a streak retinoscope's user guide describes the check",
)
STILL_NEUTRAL = SlipName(
    "neutral-expected-to-stay",
    "expected neutral to stay when the distance changes",
    "Neutral holds at one distance. Any other shows a movement, and that is what makes leaning a test.",
)
LEAN_NOT_ALLOWED_FOR = SlipName(
    "lean-not-allowed-for",
    "answered the movement as if you had not leaned",
    "Leaning makes a movement by itself. Compare what you see with what neutral would show there.",
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
    return sum(ends) / 2  # type: ignore[no-any-return]


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

# --- leaning -----------------------------------------------------------------------------------------------------

LEANS = Choice((Option("in", "leans in"), Option("back", "leans back")))
CHANGES = Choice(
    (
        Option("keep", "keep the lens: nothing speaks against neutral"),
        Option("plus", "more plus (or less minus)"),
        Option("minus", "more minus (or less plus)"),
    )
)
ORDER_OF_MOVEMENTS = {"against": -1, "neutral": 0, "with": 1}


def leaned_cm(findings: Known) -> float:
    """Return the distance after leaning, in cm.

    Raises
    ------
    BadFinding
        When the lean goes as far as the eye.
    """
    by = findings["by_cm"] * (-1 if findings["lean"] == "in" else 1)
    if not Distance().low <= findings["distance_cm"] + by <= Distance().high:
        raise BadFinding(findings["by_cm"], "lean by less than that: the sight hole must stay before the eye")
    return float(findings["distance_cm"] + by)


LEAST_SHIFT, MOST_SHIFT = 0.2, 2.0
"""Leans drawn change the distance by so many D: enough to show a movement, and not a whole working distance."""


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    leans = [
        {"lean": lean, "by_cm": float(by)}
        for lean in ("in", "back")
        for by in ((5, 10, 15, 20, 25) if settings.level == "novice" else range(5, 26))
        if LEAST_SHIFT <= abs(vergence(distance + (by if lean == "back" else -by)) - vergence(distance)) <= MOST_SHIFT
    ]
    return {
        "in_place": chance.stepped(-5, 6),
        "distance_cm": distance,
        **chance.among(leans),
        "seen": chance.among(("with", "against", "neutral")),
    }


def _shift(known: Known) -> float:
    return vergence(known["leaned_cm"]) - vergence(known["distance_cm"])


_OPPOSITE = {"with": "against", "against": "with", "neutral": "neutral"}


def _lens_forgotten(known: Known) -> str:
    return movement_for(known["in_place"] + known["shift"])


def _lens_for(seen: str, expected: str) -> str:
    gap = ORDER_OF_MOVEMENTS[seen] - ORDER_OF_MOVEMENTS[expected]
    return "plus" if gap > 0 else "minus" if gap < 0 else "keep"


def _right_lens(known: Known) -> str:
    return _lens_for(known["seen"], known["expected"])


LEANED_OR_LENS_FORGOTTEN: Pair = (
    SlipRef(FORETELL_LEAN.id, LEANED_WRONG_WAY.id),
    SlipRef(FORETELL_LEAN.id, skills.LENSES_IGNORED.id),
)
"""A forgotten lens turns the movement round only where its sign is against the lean's; elsewhere it does no harm."""


lean_test = CaseType(
    id="lean-test",
    title="Trying the end-point by leaning",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("in_place", "Sphere that seemed neutral", Power()),
            DISTANCE,
            Field("lean", "The examiner", LEANS),
            Field("by_cm", "By how much", Distance(low=1, high=500)),
            Field("seen", "Movement that is then seen", MOVEMENTS),
        )
    ),
    asks=(
        Field("shift", "Change of the working distance in dioptres", Power(exact=0.02, tolerance=0.04)),
        Field("expected", "Movement to expect if it was neutral", MOVEMENTS),
        Field("lens", "What the movement seen calls for", CHANGES),
    ),
    draw=_draw_lean,
    begin=lambda findings: {"leaned_cm": leaned_cm(findings)},
    steps=(
        Step(
            skills.COMPARE_DISTANCES,
            run=lambda known: {"shift": _shift(known)},
            says=lambda known: (
                f"{write_distance(known['leaned_cm'])} is {vergence(known['leaned_cm']):.2f} D and "
                f"{write_distance(known['distance_cm'])} is {vergence(known['distance_cm']):.2f} D: a change of "
                f"{signed(known['shift'])}."
            ),
            slips=(
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=lambda known: {"shift": (known["distance_cm"] - known["leaned_cm"]) / 100},
                    says=lambda known: f"{known['by_cm']:g} cm taken as {signed(known['shift'])} D.",
                    live=lambda known: abs(known["distance_cm"] * known["leaned_cm"] / 100**2 - 1) > 0.2,
                ),
            ),
        ),
        Step(
            FORETELL_LEAN,
            run=lambda known: {"expected": movement_for(known["shift"])},
            says=lambda known: (
                f"At neutral that much is then still wanted, {signed(known['shift'])}, so expect {known['expected']}."
            ),
            slips=(
                Slip(
                    LEANED_WRONG_WAY,
                    run=lambda known: {"expected": _OPPOSITE[movement_for(known["shift"])]},
                    says=lambda known: f"Leaning {known['lean']}, {known['expected']} expected.",
                    live=lambda known: movement_for(known["shift"]) != "neutral",
                ),
                Slip(
                    STILL_NEUTRAL,
                    run=lambda _: {"expected": "neutral"},
                    says=lambda _: "Neutral expected to stay neutral.",
                    live=lambda known: movement_for(known["shift"]) != "neutral",
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=lambda known: {"expected": _lens_forgotten(known)},
                    says=lambda known: f"The eye without its lens: {known['expected']} expected.",
                    live=lambda known: _lens_forgotten(known) != movement_for(known["shift"]),
                ),
            ),
        ),
        Step(
            LEAN_TO_LENS,
            run=lambda known: {"lens": _right_lens(known)},
            says=lambda known: {
                "keep": f"{known['seen'].capitalize()} is what neutral shows there: keep the lens.",
                "plus": f"Seen is {known['seen']}, which lies to the with side of {known['expected']}: more plus.",
                "minus": f"Seen is {known['seen']}, which lies to the against side of {known['expected']}: more minus.",
            }[known["lens"]],
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"lens": {"plus": "minus", "minus": "plus"}[_right_lens(known)]},
                    says=lambda known: f"{known['lens'].capitalize()} taken instead.",
                    live=lambda known: _right_lens(known) != "keep",
                ),
                Slip(
                    LEAN_NOT_ALLOWED_FOR,
                    run=lambda known: {"lens": _lens_for(known["seen"], "neutral")},
                    says=lambda known: f"{known['seen'].capitalize()} answered as it looks.",
                    live=lambda known: _lens_for(known["seen"], "neutral") != _right_lens(known),
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("shift", "expected", "lens")},
    found=lambda known: (
        f"With {signed(known['in_place'])} DS in place one meridian looks neutral at "
        f"{write_distance(known['distance_cm'])}; plane-mirror setting.",
        f"The examiner then {LEANS.write(known['lean'])} by {write_distance(known['by_cm'])}, to "
        f"{write_distance(leaned_cm(known))}.",
        f"Seen there: {known['seen']}.",
    ),
    question=lambda _: (
        "By how many dioptres does one over the distance change, to 0.01 (plus when it grows)? Which movement is to be "
        "expected there if the meridian was neutral? And what does the movement seen call for?"
    ),
    figure=lambda known, uid: draw_movement(known["seen"], uid=uid),
    needs=("distance-vergence", "next-lens"),
    twins=(LEANED_OR_LENS_FORGOTTEN,),
    probes=(Probe(LEANED_OR_LENS_FORGOTTEN, "lean-test"),),
    sources=(
        "common practice, no published source; a streak retinoscope's user guide; optics: only 1/distance changes",
    ),
)

TYPES = (bracket_end_point, lean_test)
