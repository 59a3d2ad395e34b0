"""Family C, which meridian to neutralise first, and what to do when it was the other one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import MINUS_OR_PLUS, Choice, Option
from cases.families.meridians import FAMILY, STREAK, must_cross
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_compare import View, side_by_side
from cases.figures_reflex import movement as draw_movement
from cases.kinds import Axis, BadFinding, Meridian, Power
from cases.lens import across
from cases.looks import Seen, seen
from cases.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.notation import write_distance
from cases.retinoscope import NEUTRAL_ZONE
from cases.steps import DISTANCE, degrees, lens_in_place, pick_axis, pick_distance
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

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


def _draw_first(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance, streak = pick_distance(chance, settings), pick_axis(chance, settings)
    signs = chance.among(((1, 1), (1, 1), (-1, -1), (-1, -1), (1, -1), (-1, 1)))
    speeds = chance.shuffled([chance.among(FAR_SPEEDS), chance.among(NEAR_SPEEDS)])
    left = [sign * round(vergence(distance) / speed, 2) for sign, speed in zip(signs, speeds, strict=True)]
    return {
        "first": {"streak": streak, "left": left[0]},
        "second": {"streak": across(streak), "left": left[1]},
        "distance_cm": distance,
        "form": settings.form,
    }


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


def _judged(known: Known) -> dict[str, Any]:
    return {"judged": dict(known["left"])}


def _judged_by_slowness(known: Known) -> dict[str, Any]:
    """Keep each movement, but take the slow reflex for the near one."""
    left = known["left"]
    sizes = {name: abs(left[_OTHER[name]]) for name in left}
    return {"judged": {name: sizes[name] * (1 if left[name] > 0 else -1) for name in left}}


def _first(known: Known) -> str:
    pick = max if known["form"] == "minus" else min
    return str(pick(known["judged"], key=known["judged"].__getitem__))


def _slowest(known: Known) -> str:
    return str(max(known["judged"], key=lambda name: abs(known["judged"][name])))


def _then(known: Known) -> str:
    other = _OTHER[known["begin_with"]]
    return movement_for(known["judged"][other] - known["judged"][known["begin_with"]])


def _unchanged(known: Known) -> str:
    return movement_for(known["left"][_OTHER[known["begin_with"]]])


def _judged_words(known: Known) -> str:
    more = max(known["judged"], key=known["judged"].__getitem__)
    return f"streak {_LETTER[more]} has the more plus meridian across it."


def _meet(name: SlipName, run: Callable[[Known], str], words: str, live: Callable[[Known], bool]) -> Slip:
    return Slip(
        name,
        run=lambda known: {"begin_with": run(known)},
        says=lambda known: f"{words}: streak {_LETTER[known['begin_with']]}.",
        live=live,
    )


def _pair(known: Known, uid: str) -> Figure:
    looks = _looks(known)
    return side_by_side([View(_LETTER[name], known[name]["streak"], look) for name, look in looks.items()], uid=uid)


which_first = CaseType(
    id="which-meridian-first",
    title="Which meridian to neutralise first",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("first", "Streak A", Group((STREAK, LEFT))),
            Field("second", "Streak B", Group((STREAK, LEFT))),
            DISTANCE,
            FORM_IN_USE,
        )
    ),
    asks=(
        Field("begin_with", "Streak to neutralise first, with spheres", WHICH),
        Field("then", "Movement of the other streak after that", MOVEMENTS),
    ),
    draw=_draw_first,
    begin=_begin_first,
    steps=(
        Step(
            skills.LOOK_TO_DISTANCE,
            run=_judged,
            says=lambda known: (
                f"Slow is far off and fast is near, with wants plus and against minus: {_judged_words(known)}"
            ),
            slips=(
                Slip(
                    skills.SPEED_REVERSED,
                    run=_judged_by_slowness,
                    says=lambda known: f"Slow taken for near: {_judged_words(known)}",
                    live=lambda known: known["left"]["first"] * known["left"]["second"] > 0,
                ),
            ),
        ),
        Step(
            FIRST_MERIDIAN,
            run=lambda known: {"begin_with": _first(known)},
            says=lambda known: (
                f"With {known['form']} cylinders begin with the {'more' if known['form'] == 'minus' else 'less'} plus "
                f"meridian: streak {_LETTER[known['begin_with']]}."
            ),
            slips=(
                _meet(ORDER_MUDDLED, lambda known: _OTHER[_first(known)], "Begun with the other one", lambda _: True),
                _meet(
                    SLOWEST_FIRST,
                    _slowest,
                    "Begun with the slowest",
                    lambda known: _slowest(known) != _first(known),
                ),
            ),
        ),
        Step(
            SPHERE_ACTS_ON_BOTH,
            run=lambda known: {"then": _then(known)},
            says=lambda known: (
                f"That sphere acts in the other meridian as well, which then shows {known['then']}: just what a "
                f"{known['form']} cylinder cures."
                if known["then"] == CURED_BY[known["form"]]
                else f"That sphere acts in the other meridian as well, which then shows {known['then']}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"then": OPPOSITE[_then(known)]},
                    says=lambda known: f"The other way round: {known['then']}.",
                ),
                Slip(
                    OTHER_LEFT_ALONE,
                    run=lambda known: {"then": _unchanged(known)},
                    says=lambda known: f"Left as it was: {known['then']}.",
                    live=lambda known: _unchanged(known) != _then(known),
                ),
            ),
        ),
    ),
    answer=lambda known: {"begin_with": known["begin_with"], "then": known["then"]},
    found=lambda known: (
        f"{known['form'].capitalize()} cylinders are in use; plane-mirror setting.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
        *(
            f"Streak {_LETTER[name]}, at {degrees(known[name]['streak'])}: {look.words}."
            for name, look in _looks(known).items()
        ),
    ),
    question=lambda _: (
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
    return {
        "sphere": chance.stepped(-5, 6),
        "sphere_streak": streak,
        "seen": chance.among(("with", "against")),
        "seen_streak": across(streak),
        "form": settings.form,
    }


def _begin_second(findings: Known) -> dict[str, Any]:
    must_cross(findings["sphere_streak"], findings["seen_streak"])
    return {}


def _cures(known: Known) -> bool:
    return bool(CURED_BY[known["form"]] == known["seen"])


def _axis_streak(known: Known) -> float:
    return float(known["seen_streak"] if known["next"] == "cylinder" else known["sphere_streak"])


_SPHERE_FOR = {"with": "sphere-plus", "against": "sphere-minus"}

second_streak = CaseType(
    id="second-streak",
    title="When the second meridian shows the wrong movement",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("sphere", "Sphere that neutralised the first streak, left in", Power()),
            Field("sphere_streak", "First streak", Meridian()),
            Field("seen", "Movement that the second streak now shows", SEEN),
            Field("seen_streak", "Second streak", Meridian()),
            FORM_IN_USE,
        )
    ),
    asks=(
        Field("next", "What next?", NEXT_MOVES),
        Field("axis", "Axis at which the cylinder goes in, now or later", Axis()),
    ),
    draw=_draw_second,
    begin=_begin_second,
    steps=(
        Step(
            CYLINDER_CAN_CURE,
            run=lambda known: {"cylinder_now": _cures(known)},
            says=lambda known: (
                f"A {known['form']} cylinder cures {CURED_BY[known['form']]}, and the second streak shows "
                f"{known['seen']}: {'so it goes in now' if known['cylinder_now'] else 'it cannot help here yet'}."
            ),
            slips=(
                Slip(
                    CYLINDER_ANYWAY,
                    run=lambda _: {"cylinder_now": True},
                    says=lambda known: f"A {known['form']} cylinder put in for {known['seen']}.",
                    live=lambda known: not _cures(known),
                ),
                Slip(
                    SPHERE_GONE_ON,
                    run=lambda _: {"cylinder_now": False},
                    says=lambda known: f"The sphere gone on with for {known['seen']}.",
                    live=_cures,
                ),
            ),
        ),
        Step(
            skills.MOVEMENT_TO_LENS,
            run=lambda known: {"next": "cylinder" if known["cylinder_now"] else _SPHERE_FOR[known["seen"]]},
            says=lambda known: f"{known['seen'].capitalize()} on the second streak: {NEXT_MOVES.write(known['next'])}.",
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"next": _SPHERE_FOR[OPPOSITE[known["seen"]]]},
                    says=lambda known: f"{known['seen'].capitalize()}: {NEXT_MOVES.write(known['next'])}.",
                    live=lambda known: not known["cylinder_now"],
                ),
            ),
        ),
        Step(
            skills.PLACE_AXIS,
            run=lambda known: {"axis": _axis_streak(known)},
            says=lambda known: (
                "The axis lies along the streak that the cylinder neutralises: "
                f"{degrees(known['axis'])}, the {'second' if known['next'] == 'cylinder' else 'first'} one."
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=lambda known: {"axis": across(_axis_streak(known))},
                    says=lambda known: f"The axis laid across that streak: {degrees(known['axis'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"next": known["next"], "axis": known["axis"]},
    found=lambda known: (
        f"{known['form'].capitalize()} cylinders are in use; plane-mirror setting.",
        f"Streak at {degrees(known['sphere_streak'])}: neutral with "
        f"{lens_in_place(known['sphere'], 'DS, left in place')}.",
        f"{'With that sphere in' if known['sphere'] else 'Still with no lens in'}, the streak "
        f"at {degrees(known['seen_streak'])} shows {known['seen']}.",
    ),
    question=lambda _: "What next? And at which axis will the cylinder go in, now or later?",
    figure=lambda known, uid: draw_movement(known["seen"], streak=known["seen_streak"], uid=uid),
    needs=("which-meridian-first", "streak-axis"),
    form=lambda _: None,
    sources=("common practice, no published source",),
)

TYPES = (which_first, second_streak)
