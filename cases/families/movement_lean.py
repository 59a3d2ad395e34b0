"""Family B, trying the end-point by leaning: which movement neutral would show there, and what another one says."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CannotDraw, CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.movement import FAMILY
from cases.fields import Field, Group
from cases.figures_reflex import movement as draw_movement
from cases.kinds import BadFinding, Distance, Power
from cases.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.notation import write_distance
from cases.steps import DISTANCE, lens_in_place, pick_distance, signed
from cases.sums import adding_up
from cases.vergence import FARTHEST_CM, NEAREST_CM, near_a_metre, vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FORETELL_LEAN = Skill("foretell-lean", "foretelling the movement on leaning")
LEAN_TO_LENS = Skill("lean-to-lens", "changing the lens by what leaning shows")

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
    if not NEAREST_CM <= findings["distance_cm"] + by <= FARTHEST_CM:
        raise BadFinding(findings["by_cm"], "lean by less than that: the sight hole must stay before the eye")
    return float(findings["distance_cm"] + by)


LEAST_SHIFT, MOST_SHIFT = 0.2, 2.0
"""Leans drawn change the distance by so many D: enough to show a movement, and not a whole working distance."""


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    leans = [
        {"lean": lean, "by_cm": float(by)}
        for lean, way in (("in", -1), ("back", 1))
        for by in ((5, 10, 15, 20, 25) if settings.level == "novice" else range(5, 26))
        if NEAREST_CM <= distance + way * by <= FARTHEST_CM
        and LEAST_SHIFT <= abs(vergence(distance + way * by) - vergence(distance)) <= MOST_SHIFT
    ]
    if not leans:
        raise CannotDraw("lean-test", f"in which leaning shows from {write_distance(distance)}")
    return {
        "in_place": chance.stepped(-5, 6),
        "distance_cm": distance,
        **chance.among(leans),
        "seen": chance.among(("with", "against", "neutral")),
    }


def _shift(known: Known) -> float:
    return vergence(known["leaned_cm"]) - vergence(known["distance_cm"])


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


def _shift_words(known: Known) -> str:
    leaned, upright, shift = vergence(known["leaned_cm"]), vergence(known["distance_cm"]), known["shift"]
    digits = adding_up(shift, leaned, -upright)
    return (
        f"{write_distance(known['leaned_cm'])} is {digits.size(leaned)} D and "
        f"{write_distance(known['distance_cm'])} is {digits.size(upright)} D: a change of {digits.result(shift)}."
    )


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
            says=_shift_words,
            slips=(
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=lambda known: {"shift": (known["distance_cm"] - known["leaned_cm"]) / 100},
                    says=lambda known: f"{known['by_cm']:g} cm taken as {signed(known['shift'])} D.",
                    live=lambda known: not near_a_metre(known["distance_cm"], known["leaned_cm"]),
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
                    run=lambda known: {"expected": OPPOSITE[movement_for(known["shift"])]},
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
                "plus": f"Where {known['expected']} was due, {known['seen']} lies to the with side: more plus.",
                "minus": f"Where {known['expected']} was due, {known['seen']} lies to the against side: more minus.",
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
        f"With {lens_in_place(known['in_place'], 'DS in place')} one meridian looks neutral at "
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

TYPES = (lean_test,)
