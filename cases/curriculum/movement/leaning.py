"""Family B, trying the end-point by leaning: which movement neutral would show there, and what another one says."""

from __future__ import annotations

from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.bench_stage import View
from cases.curriculum.bench_types import Moving, showing
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.curriculum.steps import DISTANCE, lens_in_place, pick_distance, signed
from cases.figures.pupil_reflex import Movement
from cases.figures.pupil_reflex import movement as draw_movement
from cases.notation.prescription import write_distance
from cases.notation.sums import adding_up
from cases.optics.vergence import FARTHEST_CM, NEAREST_CM, near_a_metre, vergence
from cases.procedure import quantities
from cases.procedure.case_type import CannotDraw, CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

FORETELL_LEAN = Skill("foretell-lean", "predicting the movement on leaning in")
LEAN_TO_LENS = Skill("lean-to-lens", "changing the lens by what leaning shows")

LEANED_WRONG_WAY = SlipName(
    "leaned-wrong-way",
    "expected the other movement on leaning",
    "Leaning in brings you nearer than the far point, so it turns to with; leaning back turns it to against.",
    ("streak-guide",),
)
STILL_NEUTRAL = SlipName(
    "neutral-expected-to-stay",
    "expected neutral to stay when the distance changes",
    "Neutral is true for one distance only. At any other the reflex moves, which is why leaning in is a test.",
)
LEAN_NOT_ALLOWED_FOR = SlipName(
    "lean-not-allowed-for",
    "answered the movement as if you had not leaned",
    "Leaning makes a movement by itself. Compare what you see with what neutral would show there.",
)

LEANS = Choice((Option("in", "leans in"), Option("back", "leans back")))
CHANGES = Choice(
    (
        Option(
            "keep",
            "keep the lens: nothing speaks against neutral",
            "the movement seen is the one that neutral shows at the new distance",
        ),
        Option("plus", "more plus (or less minus)", "the movement seen lies to the with side of the one expected"),
        Option("minus", "more minus (or less plus)", "the movement seen lies to the against side of the one expected"),
    )
)
ORDER_OF_MOVEMENTS = {"against": -1, "neutral": 0, "with": 1}


LEANED_CM = Key[float]("leaned_cm", unit="cm")


def leaned_cm(by_cm: float, lean: str, distance_cm: float) -> float:
    """Return the distance after leaning, in cm.

    Raises
    ------
    BadFinding
        When the lean goes as far as the eye.
    """
    by = by_cm * (-1 if lean == "in" else 1)
    if not NEAREST_CM <= distance_cm + by <= FARTHEST_CM:
        raise BadFinding(by_cm, "lean by less than that: the sight hole must stay before the eye")
    return float(distance_cm + by)


LEAST_SHIFT, MOST_SHIFT = 0.4, 2.0
"""Leans change the distance by this many D, clear of the zone that looks neutral, and no whole working distance."""


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    leans = [
        {"lean": lean, "by_cm": float(by)}
        for lean, way in (("in", -1), ("back", 1))
        for by in ((5, 10, 15, 20, 25, 30) if settings.level == "novice" else range(5, 46))
        if NEAREST_CM <= distance + way * by <= FARTHEST_CM
        and LEAST_SHIFT <= abs(vergence(distance + way * by) - vergence(distance)) <= MOST_SHIFT
    ]
    if not leans:
        raise CannotDraw("lean-test", f"in which leaning shows from {write_distance(distance)}")
    return (
        given(IN_PLACE, DISTANCE).to(chance.stepped(-5, 6), distance)
        | chance.among(leans)
        | SEEN.to(chance.among(("with", "against", "neutral")))
    )


def _shift(leaned_cm: float, distance_cm: float) -> float:
    return vergence(leaned_cm) - vergence(distance_cm)


def _lens_forgotten(in_place: float, shift: float) -> str:
    return movement_for(in_place + shift)


def _lens_for(seen: str, expected: str) -> str:
    gap = ORDER_OF_MOVEMENTS[seen] - ORDER_OF_MOVEMENTS[expected]
    return "plus" if gap > 0 else "minus" if gap < 0 else "keep"


def _right_lens(seen: str, expected: str) -> str:
    return _lens_for(seen, expected)


LEANED_OR_LENS_FORGOTTEN: Pair = (
    SlipRef(FORETELL_LEAN.id, LEANED_WRONG_WAY.id),
    SlipRef(FORETELL_LEAN.id, skills.LENSES_IGNORED.id),
)
"""A forgotten lens turns the movement round only where its sign is against the lean's; elsewhere it does no harm."""


SHIFT = Field(
    "shift", "Change of the working distance in dioptres", quantities.POWER.having(exact=0.02, tolerance=0.04)
)


@given(LEANED_CM, DISTANCE, SHIFT)
def _shift_words(leaned_cm: float, distance_cm: float, shift: float) -> str:
    leaned, upright = vergence(leaned_cm), vergence(distance_cm)
    digits = adding_up(shift, leaned, -upright)
    return (
        f"{write_distance(leaned_cm)} is {digits.size(leaned)} D and "
        f"{write_distance(distance_cm)} is {digits.size(upright)} D: a change of {digits.result(shift)}."
    )


IN_PLACE = Field("in_place", "Sphere that seemed neutral", quantities.POWER)
LEAN = Field("lean", "The examiner", LEANS)
BY = Field("by_cm", "By how much", quantities.DISTANCE.having(low=1, high=500))
SEEN = Field("seen", "Movement that is then seen", MOVEMENTS)
EXPECTED = Field("expected", "Movement to expect if it was neutral", MOVEMENTS)
LENS = Field("lens", "What the movement seen calls for", CHANGES)
lean_test = CaseType(
    id="lean-test",
    title="Trying the end-point by leaning",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            IN_PLACE,
            DISTANCE,
            LEAN,
            BY,
            SEEN,
        )
    ),
    asks=(
        SHIFT,
        EXPECTED,
        LENS,
    ),
    draw=_draw_lean,
    begin=LEANED_CM.by(given(BY, LEAN, DISTANCE)(lambda by_cm, lean, distance_cm: leaned_cm(by_cm, lean, distance_cm))),
    steps=(
        SHIFT.step(
            skills.COMPARE_DISTANCES,
            run=given(LEANED_CM, DISTANCE)(lambda leaned_cm, distance_cm: _shift(leaned_cm, distance_cm)),
            says=_shift_words,
            slips=(
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=given(DISTANCE, LEANED_CM)(lambda distance_cm, leaned_cm: (distance_cm - leaned_cm) / 100),
                    says=given(BY, SHIFT)(lambda by_cm, shift: f"{by_cm:g} cm taken as {signed(shift)} D."),
                    live=given(DISTANCE, LEANED_CM)(
                        lambda distance_cm, leaned_cm: not near_a_metre(distance_cm, leaned_cm)
                    ),
                ),
            ),
        ),
        EXPECTED.step(
            FORETELL_LEAN,
            run=given(SHIFT)(lambda shift: movement_for(shift)),
            says=given(SHIFT, EXPECTED)(
                lambda shift, expected: (
                    f"At neutral that much is then still wanted, {signed(shift)}, so expect {expected}."
                )
            ),
            slips=(
                Slip(
                    LEANED_WRONG_WAY,
                    run=given(SHIFT)(lambda shift: OPPOSITE[movement_for(shift)]),
                    says=given(LEAN, EXPECTED)(lambda lean, expected: f"Leaning {lean}, {expected} expected."),
                    live=given(SHIFT)(lambda shift: movement_for(shift) != "neutral"),
                ),
                Slip(
                    STILL_NEUTRAL,
                    run=given()(lambda: "neutral"),
                    says=given()(lambda: "Neutral expected to stay neutral."),
                    live=given(SHIFT)(lambda shift: movement_for(shift) != "neutral"),
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=given(IN_PLACE, SHIFT)(lambda in_place, shift: _lens_forgotten(in_place, shift)),
                    says=given(EXPECTED)(lambda expected: f"The eye without its lens: {expected} expected."),
                    live=given(IN_PLACE, SHIFT)(
                        lambda in_place, shift: _lens_forgotten(in_place, shift) != movement_for(shift)
                    ),
                ),
            ),
        ),
        LENS.step(
            LEAN_TO_LENS,
            run=given(SEEN, EXPECTED)(lambda seen, expected: _right_lens(seen, expected)),
            says=given(SEEN, EXPECTED, LENS)(
                lambda seen, expected, lens: {
                    "keep": f"{seen.capitalize()} is what neutral shows there: keep the lens.",
                    "plus": f"Where {expected} was due, {seen} lies to the with side: more plus.",
                    "minus": f"Where {expected} was due, {seen} lies to the against side: more minus.",
                }[lens]
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(SEEN, EXPECTED)(
                        lambda seen, expected: {"plus": "minus", "minus": "plus"}[_right_lens(seen, expected)]
                    ),
                    says=given(LENS)(lambda lens: f"{lens.capitalize()} taken instead."),
                    live=given(SEEN, EXPECTED)(lambda seen, expected: _right_lens(seen, expected) != "keep"),
                ),
                Slip(
                    LEAN_NOT_ALLOWED_FOR,
                    run=given(SEEN)(lambda seen: _lens_for(seen, "neutral")),
                    says=given(SEEN)(lambda seen: f"{seen.capitalize()} answered as it looks."),
                    live=given(SEEN, EXPECTED)(
                        lambda seen, expected: _lens_for(seen, "neutral") != _right_lens(seen, expected)
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(SHIFT, EXPECTED, LENS),
    found=given(IN_PLACE, DISTANCE, LEAN, BY, SEEN)(
        lambda in_place, distance_cm, lean, by_cm, seen: (
            f"With {lens_in_place(in_place, 'DS in place')} one meridian looks neutral at "
            f"{write_distance(distance_cm)}; plane-mirror setting.",
            f"The examiner then {LEANS.write(lean)} by {write_distance(by_cm)}, to "
            f"{write_distance(leaned_cm(by_cm, lean, distance_cm))}.",
            f"Seen there: {seen}.",
        )
    ),
    question=asking(
        "By how many dioptres does one over the distance change, to 0.01 (plus when it grows)? Which movement is to be "
        "expected there if the meridian was neutral? And what does the movement seen call for?"
    ),
    figure=given(SEEN).drawing(lambda uid, seen: draw_movement(cast("Movement", seen), uid=uid)),
    needs=("distance-vergence", "next-lens"),
    twins=(LEANED_OR_LENS_FORGOTTEN,),
    probes=(Probe(LEANED_OR_LENS_FORGOTTEN, "lean-test"),),
    errors={IN_PLACE.name: 0.12, DISTANCE.name: 1.0, BY.name: 1.0},
    sources=("computed", "streak-guide"),
)

MOVING = {
    lean_test.id: Moving(
        given(SEEN, LEAN, BY, DISTANCE)(
            lambda seen, lean, by_cm, distance_cm: (
                View("", showing(seen, distance_cm=leaned_cm(by_cm, lean, distance_cm))),
            )
        )
    )
}

TYPES = (lean_test,)
