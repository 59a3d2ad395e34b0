"""Family C, which meridian to neutralise first, and what to do when it was the other one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import MINUS_OR_PLUS, Choice, Option
from cases.cross import AXIS as AXIS_CROSS
from cases.families.meridians import FAMILY, must_cross
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_compare import View, side_by_side
from cases.figures_reflex import Movement
from cases.figures_reflex import movement as draw_movement
from cases.keys import Key, Rule, Slip, as_found, asking, given, untyped
from cases.kinds import Axis, BadFinding, Meridian, Power
from cases.lens import across
from cases.looks import Seen, seen
from cases.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.notation import write_distance
from cases.retinoscope import NEUTRAL_ZONE
from cases.steps import DISTANCE, STREAK, degrees, lens_in_place, pick_axis, pick_distance
from cases.vergence import vergence
from cases.working import Known, Skill, SlipName, SlipRef

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
    "A sphere acts in every meridian alike. What neutralised the first one has changed the second by as much.",
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
LEFT = Field("left", "Still wanted across it, plus for with", Power())
WHICH = Choice((Option("first", "streak A"), Option("second", "streak B")))
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


LEFT_KEY = Key[Mapping[str, float]]("left")
JUDGED = Key[Mapping[str, float]]("judged")
CYLINDER_NOW = Key[bool]("cylinder_now")


def _draw_first(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance, streak = pick_distance(chance, settings), pick_axis(chance, settings)
    signs = chance.among(((1, 1), (1, 1), (-1, -1), (-1, -1), (1, -1), (-1, 1)))
    speeds = chance.shuffled([chance.among(FAR_SPEEDS), chance.among(NEAR_SPEEDS)])
    left = [sign * round(vergence(distance) / speed, 2) for sign, speed in zip(signs, speeds, strict=True)]
    return given(FIRST, SECOND, DISTANCE, FORM_IN_USE).to(
        {"streak": streak, "left": left[0]}, {"streak": across(streak), "left": left[1]}, distance, settings.form
    )


def _looks(findings: Known) -> dict[str, Seen]:
    return {name: seen(findings[name]["left"], findings["distance_cm"]) for name in ("first", "second")}


def _begin_first(findings: Known) -> dict[str, Any]:
    first, second = findings["first"], findings["second"]
    must_cross(first["streak"], second["streak"])
    if abs(first["left"] - second["left"]) <= NEUTRAL_ZONE:
        raise BadFinding(
            [first["left"], second["left"]], "the two must differ by more than 0.12 D, or no cylinder is wanted"
        )
    _looks(findings)
    return {"left": {name: findings[name]["left"] for name in ("first", "second")}}


_OTHER = {"first": "second", "second": "first"}
_LETTER = {"first": "A", "second": "B"}


@given(LEFT_KEY)
def _judged(left: Mapping[str, float]) -> Mapping[str, float]:
    return dict(left)


@given(LEFT_KEY)
def _judged_by_slowness(left: Mapping[str, float]) -> Mapping[str, float]:
    """Keep each movement, but take the slow reflex for the near one."""
    sizes = {name: abs(left[_OTHER[name]]) for name in left}
    return {name: sizes[name] * (1 if left[name] > 0 else -1) for name in left}


def _first(form: str, judged: Mapping[str, float]) -> str:
    pick = max if form == "minus" else min
    return str(pick(judged, key=judged.__getitem__))


def _slowest(judged: Mapping[str, float]) -> str:
    return str(max(judged, key=lambda name: abs(judged[name])))


def _then(begin_with: str, judged: Mapping[str, float]) -> str:
    other = _OTHER[begin_with]
    return movement_for(judged[other] - judged[begin_with])


def _unchanged(left: Mapping[str, float], begin_with: str) -> str:
    return movement_for(left[_OTHER[begin_with]])


def _judged_words(judged: Mapping[str, float]) -> str:
    more = max(judged, key=judged.__getitem__)
    return f"streak {_LETTER[more]} has the more plus meridian across it."


def _meet(name: SlipName, run: Rule[str], words: str, live: Rule[bool]) -> Slip[str]:
    return Slip(
        name,
        run=run,
        says=given(BEGIN_WITH)(lambda begin_with: f"{words}: streak {_LETTER[begin_with]}."),
        live=live,
    )


def _pair(known: Known, uid: str) -> Figure:
    looks = _looks(known)
    return side_by_side([View(_LETTER[name], known[name]["streak"], look) for name, look in looks.items()], uid=uid)


FIRST = Field("first", "Streak A", Group((STREAK, LEFT)))
SECOND = Field("second", "Streak B", Group((STREAK, LEFT)))
BEGIN_WITH = Field("begin_with", "Streak to neutralise first, with spheres", WHICH)
THEN = Field("then", "Movement of the other streak after that", MOVEMENTS)
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
    begin=LEFT_KEY.by(untyped(lambda known: _begin_first(known)["left"])),
    steps=(
        JUDGED.step(
            skills.LOOK_TO_DISTANCE,
            run=_judged,
            says=given(JUDGED)(
                lambda judged: (
                    f"Slow is far off and fast is near, with wants plus and against minus: {_judged_words(judged)}"
                )
            ),
            slips=(
                Slip(
                    skills.SPEED_REVERSED,
                    run=_judged_by_slowness,
                    says=given(JUDGED)(lambda judged: f"Slow taken for near: {_judged_words(judged)}"),
                    live=untyped(lambda known: known["left"]["first"] * known["left"]["second"] > 0),
                ),
            ),
        ),
        BEGIN_WITH.step(
            FIRST_MERIDIAN,
            run=given(FORM_IN_USE, JUDGED)(lambda form, judged: _first(form, judged)),
            says=given(FORM_IN_USE, BEGIN_WITH)(
                lambda form, begin_with: (
                    f"With {form} cylinders begin with the {'more' if form == 'minus' else 'less'} plus "
                    f"meridian: streak {_LETTER[begin_with]}."
                )
            ),
            slips=(
                _meet(
                    ORDER_MUDDLED,
                    given(FORM_IN_USE, JUDGED)(lambda form, judged: _OTHER[_first(form, judged)]),
                    "Begun with the other one",
                    given()(lambda: True),
                ),
                _meet(
                    SLOWEST_FIRST,
                    given(JUDGED)(_slowest),
                    "Begun with the slowest",
                    given(JUDGED, FORM_IN_USE)(lambda judged, form: _slowest(judged) != _first(form, judged)),
                ),
            ),
        ),
        THEN.step(
            SPHERE_ACTS_ON_BOTH,
            run=given(BEGIN_WITH, JUDGED)(lambda begin_with, judged: _then(begin_with, judged)),
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
                    run=given(BEGIN_WITH, JUDGED)(lambda begin_with, judged: OPPOSITE[_then(begin_with, judged)]),
                    says=given(THEN)(lambda then: f"The other way round: {then}."),
                ),
                Slip(
                    OTHER_LEFT_ALONE,
                    run=given(LEFT_KEY, BEGIN_WITH)(lambda left, begin_with: _unchanged(left, begin_with)),
                    says=given(THEN)(lambda then: f"Left as it was: {then}."),
                    live=given(LEFT_KEY, BEGIN_WITH, JUDGED)(
                        lambda left, begin_with, judged: _unchanged(left, begin_with) != _then(begin_with, judged)
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(BEGIN_WITH, THEN),
    found=untyped(
        lambda known: (
            f"{known['form'].capitalize()} cylinders are in use; plane-mirror setting.",
            f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
            *(
                f"Streak {_LETTER[name]}, at {degrees(known[name]['streak'])}: {look.words}."
                for name, look in _looks(known).items()
            ),
        )
    ),
    question=asking(
        "Which streak do you neutralise first, with spheres? And which movement will the other one then show?"
    ),
    figure=_pair,
    needs=("near-or-far", "sphere-then-cyl"),
    twins=(ORDER_OR_SLOWEST, SWAPPED_OR_UNTOUCHED),
    probes=(Probe(ORDER_OR_SLOWEST, "which-meridian-first"), Probe(SWAPPED_OR_UNTOUCHED, "which-meridian-first")),
    form=lambda _: None,
    sources=("common practice, no published source",),
)

# --- the other one was done first --------------------------------------------------------------------------------

NEXT_MOVES = Choice(
    (
        Option("cylinder", "put the cylinder in now"),
        Option("sphere-plus", "go on with the sphere, towards plus, until this streak is neutral"),
        Option("sphere-minus", "go on with the sphere, towards minus, until this streak is neutral"),
    )
)
SEEN = Choice(tuple(option for option in MOVEMENTS.options if option.id != "neutral"))


def _draw_second(chance: Chance, settings: Settings) -> dict[str, Any]:
    streak = pick_axis(chance, settings)
    return given(SPHERE, SPHERE_STREAK, SEEN_FOUND, SEEN_STREAK, FORM_IN_USE).to(
        chance.stepped(-5, 6), streak, chance.among(("with", "against")), across(streak), settings.form
    )


SPHERE_STREAK = Field("sphere_streak", "First streak", Meridian())
SEEN_STREAK = Field("seen_streak", "Second streak", Meridian())


@given(SPHERE_STREAK, SEEN_STREAK)
def _begin_second(sphere_streak: float, seen_streak: float) -> None:
    must_cross(sphere_streak, seen_streak)


def _cures(form: str, seen: str) -> bool:
    return bool(CURED_BY[form] == seen)


def _axis_streak(seen_streak: float, next_value: str, sphere_streak: float) -> float:
    return float(seen_streak if next_value == "cylinder" else sphere_streak)


_SPHERE_FOR = {"with": "sphere-plus", "against": "sphere-minus"}

SPHERE = Field("sphere", "Sphere that neutralised the first streak, left in", Power())
SEEN_FOUND = Field("seen", "Movement that the second streak now shows", SEEN)
NEXT = Field("next", "What next?", NEXT_MOVES)
AXIS = Field("axis", "Axis at which the cylinder goes in, now or later", Axis())
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
            SEEN_FOUND,
            SEEN_STREAK,
            FORM_IN_USE,
        )
    ),
    asks=(
        NEXT,
        AXIS,
    ),
    draw=_draw_second,
    holds=_begin_second,
    steps=(
        CYLINDER_NOW.step(
            CYLINDER_CAN_CURE,
            run=given(FORM_IN_USE, SEEN_FOUND)(lambda form, seen: _cures(form, seen)),
            says=given(FORM_IN_USE, SEEN_FOUND, CYLINDER_NOW)(
                lambda form, seen, cylinder_now: (
                    f"A {form} cylinder cures {CURED_BY[form]}, and the second streak shows "
                    f"{seen}: {'so it goes in now' if cylinder_now else 'it cannot help here yet'}."
                )
            ),
            slips=(
                Slip(
                    CYLINDER_ANYWAY,
                    run=given()(lambda: True),
                    says=given(FORM_IN_USE, SEEN_FOUND)(lambda form, seen: f"A {form} cylinder put in for {seen}."),
                    live=given(FORM_IN_USE, SEEN_FOUND)(lambda form, seen: not _cures(form, seen)),
                ),
                Slip(
                    SPHERE_GONE_ON,
                    run=given()(lambda: False),
                    says=given(SEEN_FOUND)(lambda seen: f"The sphere gone on with for {seen}."),
                    live=given(FORM_IN_USE, SEEN_FOUND)(_cures),
                ),
            ),
        ),
        NEXT.step(
            skills.MOVEMENT_TO_LENS,
            run=given(CYLINDER_NOW, SEEN_FOUND)(
                lambda cylinder_now, seen: "cylinder" if cylinder_now else _SPHERE_FOR[seen]
            ),
            says=given(SEEN_FOUND, NEXT)(
                lambda seen, next_value: f"{seen.capitalize()} on the second streak: {NEXT_MOVES.write(next_value)}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(SEEN_FOUND)(lambda seen: _SPHERE_FOR[OPPOSITE[seen]]),
                    says=given(SEEN_FOUND, NEXT)(
                        lambda seen, next_value: f"{seen.capitalize()}: {NEXT_MOVES.write(next_value)}."
                    ),
                    live=given(CYLINDER_NOW)(lambda cylinder_now: not cylinder_now),
                ),
            ),
        ),
        AXIS_CROSS.step(
            skills.PLACE_AXIS,
            run=given(SEEN_STREAK, NEXT, SPHERE_STREAK)(
                lambda seen_streak, next_value, sphere_streak: _axis_streak(seen_streak, next_value, sphere_streak)
            ),
            says=given(AXIS_CROSS, NEXT)(
                lambda axis, next_value: (
                    "The axis lies along the streak that the cylinder neutralises: "
                    f"{degrees(axis)}, the {'second' if next_value == 'cylinder' else 'first'} one."
                )
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=given(SEEN_STREAK, NEXT, SPHERE_STREAK)(
                        lambda seen_streak, next_value, sphere_streak: across(
                            _axis_streak(seen_streak, next_value, sphere_streak)
                        )
                    ),
                    says=given(AXIS_CROSS)(lambda axis: f"The axis laid across that streak: {degrees(axis)}."),
                ),
            ),
        ),
    ),
    answer=as_found(NEXT, AXIS_CROSS),
    found=given(FORM_IN_USE, SPHERE_STREAK, SPHERE, SEEN_STREAK, SEEN_FOUND)(
        lambda form, sphere_streak, sphere, seen_streak, seen: (
            f"{form.capitalize()} cylinders are in use; plane-mirror setting.",
            f"Streak at {degrees(sphere_streak)}: neutral with {lens_in_place(sphere, 'DS, left in place')}.",
            f"{'With that sphere in' if sphere else 'Still with no lens in'}, the streak "
            f"at {degrees(seen_streak)} shows {seen}.",
        )
    ),
    question=asking("What next? And at which axis will the cylinder go in, now or later?"),
    figure=given(SEEN_FOUND, SEEN_STREAK).drawing(
        lambda uid, seen, seen_streak: draw_movement(cast("Movement", seen), streak=seen_streak, uid=uid)
    ),
    needs=("which-meridian-first", "streak-axis"),
    form=lambda _: None,
    sources=("common practice, no published source",),
)

TYPES = (which_first, second_streak)
