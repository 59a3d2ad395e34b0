"""Family B, judging by how a reflex looks: how far from neutral it is, and what to do about one that is dull."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Marks, Option, Order
from cases.families.movement import FAMILY, PAST_NEUTRAL
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_compare import View, side_by_side
from cases.figures_odd import odd_reflex
from cases.figures_reflex import Look
from cases.figures_reflex import movement as draw_movement
from cases.kinds import BadFinding, Power
from cases.looks import Seen, seen
from cases.notation import write_distance
from cases.skills import AGAINST_AS_FARTHER as AGAINST_AS_FARTHER
from cases.skills import DULL_AS_NEUTRAL as DULL_AS_NEUTRAL
from cases.skills import LOOK_TO_DISTANCE as LOOK_TO_DISTANCE
from cases.skills import SPEED_REVERSED as SPEED_REVERSED
from cases.steps import DISTANCE, pick_distance, signed
from cases.vergence import vergence, working_vergence
from cases.working import Known, Skill, Slip, SlipName, Step

STEP_SIZE = Skill("step-size", "choosing how large a lens step to take")
NEUTRAL_OR_DULL = Skill("neutral-or-dull", "telling neutral from a reflex too dull to move")
ACT_ON_DULL = Skill("act-on-dull", "deciding what a dull reflex calls for")

WIDTH_ALONE = SlipName(
    "width-alone",
    "went by the width of the band alone",
    "Width misleads: far from neutral the streak on the retina is itself blurred, so the band spreads again. Speed and "
    "brightness fall steadily; go by them.",
    "optics: derived in DEVELOPERS.md, The reflex",
)
LARGE_STEP_NEAR = SlipName(
    "large-step-near-neutral",
    "took a large step close to neutral",
    "That reflex is fast and bright: a large step would jump past neutral. Go on in small ones.",
)
SMALL_STEP_FAR = SlipName(
    "small-step-far-off",
    "took a small step far from neutral",
    "That reflex is slow and dull: behind small steps it will look the same for long. Take a large one.",
)
NEUTRAL_DOUBTED = SlipName(
    "neutral-doubted",
    "took a bright neutral for a hidden error",
    "A large error in disguise is dull. This pupil is bright all over and goes out at once: that is neutral.",
)
QUARTER_STEPS = SlipName(
    "quarter-steps-when-dull",
    "went on in small steps behind a dull reflex",
    "So far from neutral a quarter dioptre changes nothing that you can see. Change by 4 D or more.",
)
LEFT_TO_SUBJECTIVE = SlipName(
    "dull-left-unmeasured",
    "left a dull reflex unmeasured",
    "For many patients this is the only measurement there is, and large lenses or a shorter distance often find the "
    "reflex.",
)
REFERRED_TOO_SOON = SlipName(
    "referred-before-looking",
    "referred before large lenses and a shorter distance were tried",
    "A dull reflex is most often a large error. Try a large plus, a large minus and a shorter distance first.",
)
KEPT_TRYING = SlipName(
    "kept-trying",
    "went on trying when nothing had found the reflex",
    "Large lenses of either sign and a shorter distance have all failed: that is no matter of lenses any more.",
)
ABSENT_AS_DULL = SlipName(
    "absent-taken-for-large-error",
    "treated an absent or white reflex as a large error",
    "No reflex at all, or a white one, is not a matter of lenses. It is referred by the local path at once.",
    "red-reflex guidance: Childhood Eye Cancer Trust page for optometrists; NICE NG12",
)


# --- how far from neutral ----------------------------------------------------------------------------------------

NAMES = ("a", "b", "c")
REFLEXES = Order(tuple(Option(name, f"reflex {name.upper()}") for name in NAMES))
STEPS = Choice(
    (
        Option("plus-small", "plus, a quarter or a half dioptre"),
        Option("plus-large", "plus, one dioptre or more"),
        Option("minus-small", "minus, a quarter or a half dioptre"),
        Option("minus-large", "minus, one dioptre or more"),
    )
)
SPEEDS_DRAWN = (3.0, 2.0, 1.0, 0.5, 0.28)
"""Speeds of the reflexes drawn, as shares of the streak's, one from each grade of words."""


def _draw_order(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    speeds = chance.shuffled(SPEEDS_DRAWN)
    while speeds[0] in (1.0, 2.0):
        speeds = [*speeds[1:], speeds[0]]
    left = {
        name: round(vergence(distance) / speed, 2) * chance.among((-1, 1, 1))
        for name, speed in zip(NAMES, speeds, strict=False)
    }
    if settings.level == "novice":
        left = {name: abs(power) for name, power in left.items()}
    return {**left, "distance_cm": distance}


def _begin_order(findings: Known) -> dict[str, Any]:
    looks = {name: seen(findings[name], findings["distance_cm"]) for name in NAMES}
    if len({abs(findings[name]) for name in NAMES}) < len(NAMES):
        raise BadFinding([findings[name] for name in NAMES], "the three must lie at different distances from neutral")
    if looks["a"].movement == "neutral":
        raise BadFinding(findings["a"], "reflex A is neutral already: more than 0.12 D must be wanted")
    return {"looks": looks}


def _ranked(known: Known, far: Callable[[Seen], float]) -> tuple[str, ...]:
    return tuple(sorted(NAMES, key=lambda name: far(known["looks"][name])))


def _look(far: Callable[[Seen], float], near: Callable[[Seen], bool]) -> Callable[[Known], dict[str, Any]]:
    """Rank the reflexes by how far off they are held to be, and say whether A is held to be near."""
    return lambda known: {"order": _ranked(known, far), "near": near(known["looks"]["a"])}


def _is_near(look: Seen) -> bool:
    return look.speed > 1.2


def _order_words(known: Known) -> str:
    return ", then ".join(name.upper() for name in known["order"])


def _by_width(look: Seen) -> float:
    return -look.width


def _widths_differ(known: Known) -> bool:
    widths = sorted(look.width for look in known["looks"].values())
    apart = all(wide - narrow > 0.04 for narrow, wide in pairwise(widths))
    return apart and _ranked(known, _by_width) != _right_order(known)


def _right_order(known: Known) -> tuple[str, ...]:
    return _ranked(known, lambda look: abs(look.left))


def _side_first(look: Seen) -> float:
    return abs(look.left) + (100 if look.movement == "against" else 0)


def _step(known: Known, *, near: bool, turn: int = 1) -> dict[str, Any]:
    side = "plus" if known["looks"]["a"].left * turn > 0 else "minus"
    return {"step": f"{side}-{'small' if near else 'large'}"}


near_or_far = CaseType(
    id="near-or-far",
    title="How far from neutral a reflex is",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group(
        (*(Field(name, f"Still wanted at reflex {name.upper()}, plus for with", Power()) for name in NAMES), DISTANCE)
    ),
    asks=(
        Field("order", "The reflexes, the one nearest to neutral first", REFLEXES),
        Field("step", "Next lens step at reflex A", STEPS),
    ),
    draw=_draw_order,
    begin=_begin_order,
    steps=(
        Step(
            skills.LOOK_TO_DISTANCE,
            run=_look(lambda look: abs(look.left), _is_near),
            says=lambda known: (
                f"The faster and brighter, the nearer: {_order_words(known)}. Reflex A is "
                f"{known['looks']['a'].speed_words}, so it is {'near' if known['near'] else 'far off'}."
            ),
            slips=(
                Slip(
                    skills.SPEED_REVERSED,
                    run=_look(lambda look: -abs(look.left), lambda look: not _is_near(look)),
                    says=lambda known: f"The slower, the nearer: {_order_words(known)}.",
                ),
                Slip(
                    WIDTH_ALONE,
                    run=_look(_by_width, lambda look: look.width >= 1),
                    says=lambda known: f"The wider, the nearer: {_order_words(known)}.",
                    live=_widths_differ,
                ),
                Slip(
                    skills.AGAINST_AS_FARTHER,
                    run=_look(_side_first, _is_near),
                    says=lambda known: f"With before against: {_order_words(known)}.",
                    live=lambda known: _ranked(known, _side_first) != _right_order(known),
                ),
            ),
        ),
        Step(
            STEP_SIZE,
            run=lambda known: {"near": known["near"]},
            says=lambda known: (
                "Near neutral go on in small steps." if known["near"] else "Far from neutral take large steps."
            ),
            slips=(
                Slip(
                    LARGE_STEP_NEAR,
                    run=lambda _: {"near": False},
                    says=lambda _: "A large step taken near neutral.",
                    live=lambda known: known["near"],
                ),
                Slip(
                    SMALL_STEP_FAR,
                    run=lambda _: {"near": True},
                    says=lambda _: "A small step taken far from neutral.",
                    live=lambda known: not known["near"],
                ),
            ),
        ),
        Step(
            skills.MOVEMENT_TO_LENS,
            run=lambda known: _step(known, near=known["near"]),
            says=lambda known: (
                f"{known['looks']['a'].movement.capitalize()} wants {known['step'].split('-')[0]}: "
                f"{STEPS.write(known['step'])}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: _step(known, near=known["near"], turn=-1),
                    says=lambda known: (
                        f"{known['step'].split('-')[0].capitalize()} given to {known['looks']['a'].movement}."
                    ),
                ),
            ),
        ),
    ),
    answer=lambda known: {"order": known["order"], "step": known["step"]},
    found=lambda known: (
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
        *(f"Reflex {name.upper()}: {look.words}." for name, look in _begin_order(known)["looks"].items()),
    ),
    question=lambda _: (
        "Put the three in order, the one nearest to neutral first. And which lens step would you take next at reflex A?"
    ),
    figure=lambda known, uid: side_by_side(
        [View(name.upper(), 90, look) for name, look in _begin_order(known)["looks"].items()], uid=uid
    ),
    needs=("next-lens",),
    sources=(
        "common practice, no published source (fast and bright is near); speed, width and brightness from optics",
    ),
)

# --- a dull reflex -----------------------------------------------------------------------------------------------

LIGHTS = Choice(
    (
        Option("bright", "bright all over"),
        Option("dull", "faint all over"),
        Option("white", "white all over"),
        Option("absent", "none at all"),
    )
)
TRIED = Marks(
    (
        Option("large-plus", "a lens of +6.00 or more"),
        Option("large-minus", "a lens of −6.00 or more"),
        Option("moved-in", "a distance of 20 to 33 cm"),
    )
)
ACTIONS = Choice(
    (
        Option("accept", "try it by leaning in, then take it for neutral"),
        Option("search", "try a large plus, a large minus or 20 to 33 cm: what was not tried yet"),
        Option("quarters", "go on in quarter-dioptre steps"),
        Option("leave", "leave the eye unmeasured and go on to the subjective"),
        Option("refer", "refer by the local path at once"),
    )
)
_VISION = {
    "bright": ("6/6", "6/9"),
    "dull": ("6/60", "3/60", "counting fingers"),
    "white": ("not measurable", "counting fingers"),
    "absent": ("not measurable", "hand movements"),
}
VISIONS = Choice(
    tuple(
        Option(name, name)
        for name in ("6/6", "6/9", "6/60", "3/60", "counting fingers", "hand movements", "not measurable")
    )
)


def _draw_dull(chance: Chance, settings: Settings) -> dict[str, Any]:
    light = chance.among(("dull", "dull", "dull", "dull", "bright", "bright", "white", "absent"))
    tried: tuple[str, ...] = ()
    if light == "dull":
        tried = chance.among(
            ((), ("large-plus",), ("large-minus",), ("large-plus", "large-minus", "moved-in"))
            if settings.level != "expert"
            else (("large-plus", "large-minus"), ("large-plus", "moved-in"), ("large-plus", "large-minus", "moved-in"))
        )
    distance = pick_distance(chance, settings)
    in_place = working_vergence(distance) if light == "bright" else chance.stepped(-1, 2)
    return {
        "light": light,
        "in_place": round(4 * in_place) / 4,
        "distance_cm": distance,
        "vision": chance.among(_VISION[light]),
        "tried": tried,
    }


def _meaning(known: Known) -> str:
    return {"bright": "neutral", "dull": "far", "white": "refer", "absent": "refer"}[known["light"]]


def _all_tried(known: Known) -> bool:
    return len(known["tried"]) == len(TRIED.options)


def _action(known: Known) -> str:
    if known["meaning"] == "far":
        return "refer" if _all_tried(known) else "search"
    return {"neutral": "accept", "refer": "refer"}[known["meaning"]]


def _meant(name: SlipName, meaning: str, words: str, live: Callable[[Known], bool]) -> Slip:
    return Slip(name, run=lambda _: {"meaning": meaning}, says=lambda _: words, live=live)


def _acted(name: SlipName, action: str, words: str, live: Callable[[Known], bool]) -> Slip:
    return Slip(name, run=lambda _: {"action": action}, says=lambda _: words, live=live)


def _searching(known: Known) -> bool:
    return known["meaning"] == "far" and not _all_tried(known)


_MEANINGS = {
    "neutral": "Bright all over and nothing travels: that is how neutral looks.",
    "far": "Faint, so it is not neutral, which is bright: as a rule an error too large for movement to be made out.",
    "refer": "A white reflex, or none, is no matter of lenses.",
}
_ACTIONS_SAID = {
    "accept": "Make sure by leaning in, which must show with, and take it.",
    "search": "Hold up a large plus and a large minus, or move in to 20 to 33 cm and allow for the new distance.",
    "refer": "Refer by the local path at once.",
}


def _action_words(known: Known) -> str:
    if known["meaning"] == "far" and known["action"] == "refer":
        return "Neither large lenses nor a shorter distance changed anything: refer by the local path at once."
    return _ACTIONS_SAID[known["action"]]


def _dull_figure(known: Known, uid: str) -> Figure | None:
    if known["light"] == "bright":
        return draw_movement("neutral", uid=uid, look=Look(brightness="bright"), say=False)
    if known["light"] == "absent":
        return None
    return odd_reflex("dim" if known["light"] == "dull" else "white", uid=uid)


def _tried_words(known: Known) -> tuple[str, ...]:
    if not known["tried"]:
        return ()
    return (f"Tried as well, and it looked the same: {TRIED.write(known['tried'])}.",)


dull_reflex = CaseType(
    id="dull-reflex",
    title="Neutral, or too far off to move",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("light", "Light in the pupil", LIGHTS),
            Field("in_place", "Sphere in place", Power(), default=0.0),
            DISTANCE,
            Field("vision", "Vision with that lens and the working distance taken off", VISIONS),
            Field("tried", "Tried as well, without any change", TRIED, default=()),
        )
    ),
    asks=(Field("action", "What next?", ACTIONS),),
    draw=_draw_dull,
    begin=lambda _: {},
    steps=(
        Step(
            NEUTRAL_OR_DULL,
            run=lambda known: {"meaning": _meaning(known)},
            says=lambda known: _MEANINGS[known["meaning"]],
            slips=(
                _meant(
                    skills.DULL_AS_NEUTRAL, "neutral", "No movement taken for neutral.", lambda k: k["light"] == "dull"
                ),
                _meant(NEUTRAL_DOUBTED, "far", "Taken for a hidden error.", lambda k: k["light"] == "bright"),
                _meant(
                    ABSENT_AS_DULL,
                    "far",
                    "Taken for a large error.",
                    lambda known: known["light"] in ("white", "absent") and not _all_tried(known),
                ),
            ),
        ),
        Step(
            ACT_ON_DULL,
            run=lambda known: {"action": _action(known)},
            says=_action_words,
            slips=(
                _acted(QUARTER_STEPS, "quarters", "Small steps gone on with.", _searching),
                _acted(REFERRED_TOO_SOON, "refer", "Referred before looking further.", _searching),
                _acted(LEFT_TO_SUBJECTIVE, "leave", "Left to the subjective.", lambda known: known["meaning"] == "far"),
                _acted(
                    KEPT_TRYING,
                    "search",
                    "More lenses tried.",
                    lambda known: known["meaning"] == "far" and _all_tried(known),
                ),
                _acted(PAST_NEUTRAL, "quarters", "Another lens added at neutral.", lambda k: k["meaning"] == "neutral"),
            ),
        ),
    ),
    answer=lambda known: {"action": known["action"]},
    found=lambda known: (
        f"Streak swept both ways with {signed(known['in_place'])} DS in place, sight hole "
        f"{write_distance(known['distance_cm'])} from the pupil: nothing is seen to travel.",
        f"Light in the pupil: {LIGHTS.write(known['light'])}. The pupil is of ordinary size.",
        f"Vision, with the working distance allowed for: {known['vision']}.",
        *_tried_words(known),
    ),
    question=lambda _: "What do you do next?",
    figure=_dull_figure,
    needs=("near-or-far",),
    form=lambda _: None,
    sources=(
        "a continuing-education answer on high errors (large lenses, shorter distance); common practice",
        "red-reflex guidance: Childhood Eye Cancer Trust page for optometrists; NICE NG12",
    ),
)

TYPES = (near_or_far, dull_reflex)
