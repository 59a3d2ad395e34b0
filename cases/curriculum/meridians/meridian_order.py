"""Family C, which meridian to neutralise first, and what to do when it was the other one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View, described_views, require_plain
from cases.curriculum.bench_types import LEFT_FOR, USUAL_CM, HeldPair, Moving, both_in_place
from cases.curriculum.cross import must_cross
from cases.curriculum.meridians import FAMILY
from cases.curriculum.movements import MOVEMENTS, OPPOSITE, WITH_OR_AGAINST, movement_for
from cases.curriculum.steps import DISTANCE, STREAK, degrees, lens_in_place, pick_axis, pick_distance
from cases.figures.pupil_reflex import Movement
from cases.figures.pupil_reflex import movement as draw_movement
from cases.figures.reflexes_compared import ComparedReflex, side_by_side
from cases.notation.prescription import write_distance
from cases.optics.appearance import seen
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.reflex import NEUTRAL_ZONE
from cases.optics.vergence import vergence
from cases.procedure import quantities
from cases.procedure.case_type import NO_FORM, CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import MINUS_OR_PLUS, Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

FIRST_MERIDIAN = Skill("first-meridian", "choosing which meridian to neutralise first")
SPHERE_ACTS_ON_BOTH = Skill("sphere-acts-on-both", "knowing what a sphere does to the other meridian")
CYLINDER_CAN_CURE = Skill("cylinder-can-cure", "telling whether the cylinder in use cures a movement")

ORDER_MUDDLED = SlipName(
    "first-meridian-muddled",
    "began with the meridian that leaves the other for the wrong cylinder",
    "The other meridian is then left with a movement that the cylinder in use cannot cure. With minus cylinders begin "
    "with the more plus meridian, so that the other shows against; with plus cylinders the other way round.",
)
SLOWEST_FIRST = SlipName(
    "slowest-first",
    "began with the slowest reflex whatever its movement",
    "Slow says how far from neutral, with or against on which side: a slow against is the less plus meridian.",
)
OTHER_LEFT_ALONE = SlipName(
    "other-meridian-thought-untouched",
    "expected the other meridian to look as it did before",
    "A sphere acts equally in every meridian. The lens that neutralised the first has changed the second by the same "
    "amount.",
)
CYLINDER_ANYWAY = SlipName(
    "cylinder-that-cannot-cure",
    "put the cylinder in though it is of the wrong sign",
    "A minus cylinder cures against, a plus cylinder with. Go on with the sphere until this meridian is neutral; the "
    "first one then shows the movement that your cylinder can cure.",
)
SPHERE_GONE_ON = SlipName(
    "sphere-gone-on-with",
    "went on with the sphere though the cylinder would do",
    "The cylinder in use cures just this movement. More sphere would spoil the meridian that is neutral already.",
)

FORM_IN_USE = Field("form", "Cylinders in use", MINUS_OR_PLUS, default="minus")
LEFT = Field("left", "Still wanted across it, plus for with", quantities.POWER)
WHICH = Choice(
    (
        Option(
            "first",
            "streak A",
            "streak A measures the more plus meridian and minus cylinders are in use, or the other way round",
        ),
        Option(
            "second",
            "streak B",
            "streak B measures the more plus meridian and minus cylinders are in use, or the other way round",
        ),
    )
)
CURED_BY = {"minus": "against", "plus": "with"}

ORDER_OR_SLOWEST: Pair = (
    SlipRef(FIRST_MERIDIAN.id, ORDER_MUDDLED.id),
    SlipRef(FIRST_MERIDIAN.id, SLOWEST_FIRST.id),
)
SWAPPED_OR_UNTOUCHED: Pair = (
    SlipRef(SPHERE_ACTS_ON_BOTH.id, skills.MOVEMENT_SWAPPED.id),
    SlipRef(SPHERE_ACTS_ON_BOTH.id, OTHER_LEFT_ALONE.id),
)
"""Of two meridians, or two movements, but one is wrong; in other cases only one of the two slips leads to it."""


# --- which meridian first ----------------------------------------------------------------------------------------

FAR_SPEEDS, NEAR_SPEEDS = (0.5, 0.28), (3.0, 2.0, 1.0)

FIRST = Field("first", "Streak A", Group((STREAK, LEFT)))
SECOND = Field("second", "Streak B", Group((STREAK, LEFT)))
JUDGED = Key[Mapping[str, float]]("judged")
BEGIN_WITH = Field("begin_with", "Streak to neutralise first, with spheres", WHICH)
THEN = Field("then", "Movement of the other streak after that", MOVEMENTS)


def _draw_first(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance, streak = pick_distance(chance, settings), pick_axis(chance, settings)
    signs = chance.among(((1, 1), (1, 1), (-1, -1), (-1, -1), (1, -1), (-1, 1)))
    speeds = chance.shuffled([chance.among(FAR_SPEEDS), chance.among(NEAR_SPEEDS)])
    left = [sign * round(vergence(distance) / speed, 2) for sign, speed in zip(signs, speeds, strict=True)]
    require_plain(distance, *left)
    return given(FIRST, SECOND, DISTANCE, FORM_IN_USE).to(
        {"streak": streak, "left": left[0]}, {"streak": across(streak), "left": left[1]}, distance, settings.form
    )


@given(FIRST[STREAK], SECOND[STREAK], FIRST[LEFT], SECOND[LEFT], DISTANCE)
def _views(
    streak: float, other: float, left: float, other_left: float, distance_cm: float
) -> tuple[ComparedReflex, ComparedReflex]:
    return ComparedReflex("A", streak, seen(left, distance_cm)), ComparedReflex(
        "B", other, seen(other_left, distance_cm)
    )


@given(FIRST[STREAK], SECOND[STREAK], FIRST[LEFT], SECOND[LEFT], DISTANCE)
def _hold_first(streak: float, other: float, left: float, other_left: float, distance_cm: float) -> None:
    must_cross(streak, other)
    if abs(left - other_left) <= NEUTRAL_ZONE:
        raise BadFinding([left, other_left], "the two must differ by more than 0.12 D, or no cylinder is wanted")
    seen(left, distance_cm)  # refuses a distance from which no reflex can be shown


_OTHER = {"first": "second", "second": "first"}
_LETTER = {"first": "A", "second": "B"}


@given(FIRST[LEFT], SECOND[LEFT])
def _left(first: float, second: float) -> Mapping[str, float]:
    return {"first": first, "second": second}


@given(_left)
def _judged_by_slowness(left: Mapping[str, float]) -> Mapping[str, float]:
    """Keep each movement, but take the slow reflex for the near one."""
    sizes = {name: abs(left[_OTHER[name]]) for name in left}
    return {name: sizes[name] * (1 if left[name] > 0 else -1) for name in left}


def _judged_words(judged: Mapping[str, float]) -> str:
    more = max(judged, key=judged.__getitem__)
    return f"streak {_LETTER[more]} has the more plus meridian across it."


@given(FORM_IN_USE, JUDGED)
def _first(form: str, judged: Mapping[str, float]) -> str:
    pick = max if form == "minus" else min
    return str(pick(judged, key=judged.__getitem__))


@given(JUDGED)
def _slowest(judged: Mapping[str, float]) -> str:
    return str(max(judged, key=lambda name: abs(judged[name])))


@given(BEGIN_WITH, JUDGED)
def _then(begin_with: str, judged: Mapping[str, float]) -> str:
    other = _OTHER[begin_with]
    return movement_for(judged[other] - judged[begin_with])


@given(BEGIN_WITH, _left)
def _unchanged(begin_with: str, left: Mapping[str, float]) -> str:
    return movement_for(left[_OTHER[begin_with]])


def _begun(words: str) -> Rule[str]:
    return given(BEGIN_WITH)(lambda begin_with: f"{words}: streak {_LETTER[begin_with]}.")


which_first = CaseType(
    id="which-meridian-first",
    title="Which meridian to neutralise first",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            FIRST,
            SECOND,
            DISTANCE,
            FORM_IN_USE,
        )
    ),
    asks=(
        BEGIN_WITH,
        THEN,
    ),
    draw=_draw_first,
    holds=_hold_first,
    steps=(
        JUDGED.step(
            skills.LOOK_TO_DISTANCE,
            run=_left,
            says=given(JUDGED)(
                lambda judged: (
                    f"Slow is far off and fast is near, with needs plus and against minus: {_judged_words(judged)}"
                )
            ),
            slips=(
                Slip(
                    skills.SPEED_REVERSED,
                    run=_judged_by_slowness,
                    says=given(JUDGED)(lambda judged: f"Slow taken for near: {_judged_words(judged)}"),
                    live=given(FIRST[LEFT], SECOND[LEFT])(lambda first, second: first * second > 0),
                ),
            ),
        ),
        BEGIN_WITH.step(
            FIRST_MERIDIAN,
            run=_first,
            says=given(FORM_IN_USE, BEGIN_WITH)(
                lambda form, begin_with: (
                    f"With minus cylinders begin with the more plus meridian: streak {_LETTER[begin_with]}."
                    if form == "minus"
                    else f"With plus cylinders begin with the less plus meridian: streak {_LETTER[begin_with]}."
                )
            ),
            slips=(
                Slip(
                    ORDER_MUDDLED,
                    run=given(_first)(lambda first: _OTHER[first]),
                    says=_begun("Begun with the other one"),
                ),
                Slip(
                    SLOWEST_FIRST,
                    run=_slowest,
                    says=_begun("Begun with the slowest"),
                    live=given(_slowest, _first)(lambda slowest, first: slowest != first),
                ),
            ),
        ),
        THEN.step(
            SPHERE_ACTS_ON_BOTH,
            run=_then,
            says=given(THEN, FORM_IN_USE)(
                lambda then, form: (
                    f"That sphere acts in the other meridian as well, which then shows {then}: just what a "
                    f"{form} cylinder cures."
                    if then == CURED_BY[form]
                    else f"That sphere acts in the other meridian as well, which then shows {then}."
                )
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(_then)(lambda then: OPPOSITE[then]),
                    says=given(THEN)(lambda then: f"The other way round: {then}."),
                ),
                Slip(
                    OTHER_LEFT_ALONE,
                    run=_unchanged,
                    says=given(THEN)(lambda then: f"Left as it was: {then}."),
                    live=given(_unchanged, _then)(lambda unchanged, then: unchanged != then),
                ),
            ),
        ),
    ),
    answer=as_found(BEGIN_WITH, THEN),
    found=given(FORM_IN_USE, DISTANCE, _views)(
        lambda form, distance_cm, views: (
            f"{form.capitalize()} cylinders are in use; plane-mirror setting.",
            f"Sight hole {write_distance(distance_cm)} from the pupil.",
            *(f"Streak {view.name}, at {degrees(view.streak)}: {view.seen.words}." for view in views),
        )
    ),
    question=asking(
        "Which streak do you neutralise first, with spheres? And which movement will the other one then show?"
    ),
    figure=given(_views).drawing(lambda uid, views: side_by_side(views, uid=uid)),
    needs=("near-or-far", "sphere-then-cyl"),
    twins=(ORDER_OR_SLOWEST, SWAPPED_OR_UNTOUCHED),
    probes=(Probe(ORDER_OR_SLOWEST, "which-meridian-first"), Probe(SWAPPED_OR_UNTOUCHED, "which-meridian-first")),
    form=NO_FORM,
    errors={"first.left": 0.12, "second.left": 0.12, "distance_cm": 1.0},
    sources=("common-practice",),
)

# --- the other one was done first --------------------------------------------------------------------------------

NEXT_MOVES = Choice(
    (
        Option(
            "cylinder",
            "put the cylinder in now",
            "the second streak shows the movement that the cylinders in use can neutralise",
        ),
        Option(
            "sphere-plus",
            "go on with the sphere, towards plus, until this streak is neutral",
            "minus cylinders are in use and the second streak shows with",
        ),
        Option(
            "sphere-minus",
            "go on with the sphere, towards minus, until this streak is neutral",
            "plus cylinders are in use and the second streak shows against",
        ),
    )
)


SPHERE = Field("sphere", "Sphere that neutralised the first streak, left in", quantities.POWER)
SPHERE_STREAK = Field("sphere_streak", "First streak", quantities.MERIDIAN)
SHOWN = Field("seen", "Movement that the second streak now shows", WITH_OR_AGAINST)
SEEN_STREAK = Field("seen_streak", "Second streak", quantities.MERIDIAN)
CYLINDER_NOW = Key[bool]("cylinder_now")
NEXT = Field("next", "What next?", NEXT_MOVES)
AXIS = Field("axis", "Axis at which the cylinder goes in, now or later", quantities.AXIS)

_SPHERE_FOR = {"with": "sphere-plus", "against": "sphere-minus"}


def _draw_second(chance: Chance, settings: Settings) -> dict[str, Any]:
    streak = pick_axis(chance, settings)
    return given(SPHERE, SPHERE_STREAK, SHOWN, SEEN_STREAK, FORM_IN_USE).to(
        chance.stepped(-5, 6), streak, chance.among(("with", "against")), across(streak), settings.form
    )


@given(FORM_IN_USE, SHOWN)
def _cures(form: str, shown: str) -> bool:
    return CURED_BY[form] == shown


@given(NEXT, SEEN_STREAK, SPHERE_STREAK)
def _axis_streak(move: str, seen_streak: float, sphere_streak: float) -> float:
    return seen_streak if move == "cylinder" else sphere_streak


second_streak = CaseType(
    id="second-streak",
    title="When the second meridian shows the wrong movement",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            SPHERE,
            SPHERE_STREAK,
            SHOWN,
            SEEN_STREAK,
            FORM_IN_USE,
        )
    ),
    asks=(
        NEXT,
        AXIS,
    ),
    draw=_draw_second,
    holds=given(SPHERE_STREAK, SEEN_STREAK)(must_cross),
    steps=(
        CYLINDER_NOW.step(
            CYLINDER_CAN_CURE,
            run=_cures,
            says=given(FORM_IN_USE, SHOWN, CYLINDER_NOW)(
                lambda form, shown, cylinder_now: (
                    f"A {form} cylinder cures {CURED_BY[form]}. The second streak shows {shown}, so it goes in now."
                    if cylinder_now
                    else f"A {form} cylinder cures {CURED_BY[form]}. The second streak shows {shown}, so it cannot "
                    "help here yet."
                )
            ),
            slips=(
                Slip(
                    CYLINDER_ANYWAY,
                    run=given()(lambda: True),
                    says=given(FORM_IN_USE, SHOWN)(lambda form, shown: f"A {form} cylinder put in for {shown}."),
                    live=given(_cures)(lambda cures: not cures),
                ),
                Slip(
                    SPHERE_GONE_ON,
                    run=given()(lambda: False),
                    says=given(SHOWN)(lambda shown: f"The sphere gone on with for {shown}."),
                    live=_cures,
                ),
            ),
        ),
        NEXT.step(
            skills.MOVEMENT_TO_LENS,
            run=given(CYLINDER_NOW, SHOWN)(
                lambda cylinder_now, shown: "cylinder" if cylinder_now else _SPHERE_FOR[shown]
            ),
            says=given(SHOWN, NEXT)(
                lambda shown, move: f"{shown.capitalize()} on the second streak: {NEXT_MOVES.write(move)}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(SHOWN)(lambda shown: _SPHERE_FOR[OPPOSITE[shown]]),
                    says=given(SHOWN, NEXT)(lambda shown, move: f"{shown.capitalize()}: {NEXT_MOVES.write(move)}."),
                    live=given(CYLINDER_NOW)(lambda cylinder_now: not cylinder_now),
                ),
            ),
        ),
        AXIS.step(
            skills.PLACE_AXIS,
            run=_axis_streak,
            says=given(AXIS, NEXT)(
                lambda axis, move: (
                    f"The axis lies along the streak that the cylinder neutralises: the second, {degrees(axis)}."
                    if move == "cylinder"
                    else f"The axis lies along the streak that the cylinder neutralises: the first, {degrees(axis)}."
                )
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=given(_axis_streak)(across),
                    says=given(AXIS)(lambda axis: f"The axis laid across that streak: {degrees(axis)}."),
                ),
            ),
        ),
    ),
    answer=as_found(NEXT, AXIS),
    found=given(FORM_IN_USE, SPHERE_STREAK, SPHERE, SEEN_STREAK, SHOWN)(
        lambda form, sphere_streak, sphere, seen_streak, shown: (
            f"{form.capitalize()} cylinders are in use; plane-mirror setting.",
            f"Streak at {degrees(sphere_streak)}: neutral with {lens_in_place(sphere, 'DS, left in place')}.",
            f"With that sphere in, the streak at {degrees(seen_streak)} shows {shown}."
            if sphere
            else f"Still with no lens in, the streak at {degrees(seen_streak)} shows {shown}.",
        )
    ),
    question=asking("What next? And at which axis will the cylinder go in, now or later?"),
    figure=given(SHOWN, SEEN_STREAK).drawing(
        lambda uid, shown, streak: draw_movement(cast("Movement", shown), streak=streak, uid=uid)
    ),
    needs=("which-meridian-first", "streak-axis"),
    form=NO_FORM,
    sources=("common-practice",),
)


@given(FIRST[STREAK], SECOND[STREAK], FIRST[LEFT], SECOND[LEFT], DISTANCE)
def _first_views(streak: float, other: float, left: float, other_left: float, distance_cm: float) -> tuple[View, ...]:
    eye = SphCyl.from_meridians(across(streak), left, other_left) + SphCyl(-100 / distance_cm)
    bench = Bench(eye=eye, distance_cm=distance_cm)
    return described_views(
        [
            ("Streak A", replace(bench, streak=streak), seen(left, distance_cm)),
            ("Streak B", replace(bench, streak=other), seen(other_left, distance_cm)),
        ]
    )


# --- and when it was the other one ---------------------------------------------------------------------------------


@given(SPHERE, SPHERE_STREAK, SEEN_STREAK, SHOWN)
def _second_bench(sphere: float, neutral_streak: float, seen_streak: float, shown: str) -> Bench:
    """Return an eye that this sphere leaves neutral behind one streak, and with so much to go behind the other."""
    left = SphCyl.from_meridians(across(neutral_streak), 0.0, LEFT_FOR[shown])
    return Bench(eye=left + SphCyl(sphere - 100 / USUAL_CM), sphere=sphere, streak=seen_streak, distance_cm=USUAL_CM)


@given(_second_bench, SPHERE, FORM_IN_USE)
def _second_pair(bench: Bench, sphere: float, form: str) -> HeldPair:
    size = abs(LEFT_FOR["with"])
    changes = {"sphere-plus": size, "sphere-minus": -size}

    def lens(answer: Mapping[str, Any]) -> SphCyl:
        if answer["next"] == "cylinder":
            return SphCyl(sphere, size if form == "plus" else -size, answer["axis"])
        return SphCyl(sphere + changes[answer["next"]])

    def pair(yours: Mapping[str, Any], right: Mapping[str, Any]) -> tuple[Bench, Bench]:
        if "cylinder" in (yours["next"], right["next"]):
            return both_in_place(bench, lens(yours), lens(right))
        return bench.holding(lens(yours)), bench.holding(lens(right))

    return pair


MOVING = {
    which_first.id: Moving(_first_views),
    second_streak.id: Moving(given(_second_bench)(lambda bench: (View("", bench),)), pair=_second_pair),
}

TYPES = (which_first, second_streak)
