"""Family B, judging by how a reflex looks: how far from neutral it is, and how large a step that calls for."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option, Order
from cases.families.movement import FAMILY
from cases.fields import Field, Group
from cases.figures_compare import View, side_by_side
from cases.kinds import BadFinding, Power
from cases.looks import Seen, seen
from cases.notation import write_distance
from cases.steps import DISTANCE, pick_distance
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, Step

STEP_SIZE = Skill("step-size", "choosing how large a lens step to take")

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

TYPES = (near_or_far,)
