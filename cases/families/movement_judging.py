"""Family B, judging by how a reflex looks: how far from neutral it is, and how large a step that calls for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option, Order
from cases.families.movement import FAMILY
from cases.fields import Field, Group
from cases.figures_compare import View, side_by_side
from cases.keys import Key, Rule, Slip, as_found, asking, given, untyped
from cases.kinds import BadFinding, Power
from cases.looks import Seen, seen
from cases.notation import write_distance
from cases.steps import DISTANCE, pick_distance
from cases.vergence import vergence
from cases.working import Known, Skill, SlipName

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


LOOKS = Key[Mapping[str, Seen]]("looks")
NEAR = Key[bool]("near")


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
    return left | DISTANCE.to(distance)


def _begin_order(findings: Known) -> dict[str, Any]:
    looks = {name: seen(findings[name], findings["distance_cm"]) for name in NAMES}
    if len({abs(findings[name]) for name in NAMES}) < len(NAMES):
        raise BadFinding([findings[name] for name in NAMES], "the three must lie at different distances from neutral")
    if looks["a"].movement == "neutral":
        raise BadFinding(findings["a"], "reflex A is neutral already: more than 0.12 D must be wanted")
    return {"looks": looks}


def _ranked(looks: Mapping[str, Seen], far: Callable[[Seen], float]) -> tuple[str, ...]:
    return tuple(sorted(NAMES, key=lambda name: far(looks[name])))


def _look(far: Callable[[Seen], float], near: Callable[[Seen], bool]) -> Rule[tuple[tuple[str, ...], bool]]:
    """Rank the reflexes by how far off they are held to be, and say whether A is held to be near."""
    return untyped(lambda known: (_ranked(known["looks"], far), near(known["looks"]["a"])))


def _is_near(look: Seen) -> bool:
    return look.speed > 1.2


def _order_words(order: tuple[str, ...]) -> str:
    return ", then ".join(name.upper() for name in order)


def _by_width(look: Seen) -> float:
    return -look.width


@given(LOOKS)
def _widths_differ(looks: Mapping[str, Seen]) -> bool:
    widths = sorted(look.width for look in looks.values())
    apart = all(wide - narrow > 0.04 for narrow, wide in pairwise(widths))
    return apart and _ranked(looks, _by_width) != _right_order(looks)


def _right_order(looks: Mapping[str, Seen]) -> tuple[str, ...]:
    return _ranked(looks, lambda look: abs(look.left))


def _side_first(look: Seen) -> float:
    return abs(look.left) + (100 if look.movement == "against" else 0)


def _step(known: Known, *, near: bool, turn: int = 1) -> dict[str, Any]:
    side = "plus" if known["looks"]["a"].left * turn > 0 else "minus"
    return {"step": f"{side}-{'small' if near else 'large'}"}


ORDER = Field("order", "The reflexes, the one nearest to neutral first", REFLEXES)
STEP = Field("step", "Next lens step at reflex A", STEPS)
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
        ORDER,
        STEP,
    ),
    draw=_draw_order,
    begin=LOOKS.by(untyped(lambda known: _begin_order(known)["looks"])),
    steps=(
        given(ORDER, NEAR).step(
            skills.LOOK_TO_DISTANCE,
            run=_look(lambda look: abs(look.left), _is_near),
            says=untyped(
                lambda known: (
                    f"The faster and brighter, the nearer: {_order_words(known['order'])}. Reflex A is "
                    f"{known['looks']['a'].speed_words}, so it is {'near' if known['near'] else 'far off'}."
                )
            ),
            slips=(
                Slip(
                    skills.SPEED_REVERSED,
                    run=_look(lambda look: -abs(look.left), lambda look: not _is_near(look)),
                    says=given(ORDER)(lambda order: f"The slower, the nearer: {_order_words(order)}."),
                ),
                Slip(
                    WIDTH_ALONE,
                    run=_look(_by_width, lambda look: look.width >= 1),
                    says=given(ORDER)(lambda order: f"The wider, the nearer: {_order_words(order)}."),
                    live=_widths_differ,
                ),
                Slip(
                    skills.AGAINST_AS_FARTHER,
                    run=_look(_side_first, _is_near),
                    says=given(ORDER)(lambda order: f"With before against: {_order_words(order)}."),
                    live=given(LOOKS)(lambda looks: _ranked(looks, _side_first) != _right_order(looks)),
                ),
            ),
        ),
        NEAR.step(
            STEP_SIZE,
            run=given(NEAR)(lambda near: near),
            says=given(NEAR)(
                lambda near: "Near neutral go on in small steps." if near else "Far from neutral take large steps."
            ),
            slips=(
                Slip(
                    LARGE_STEP_NEAR,
                    run=given()(lambda: False),
                    says=given()(lambda: "A large step taken near neutral."),
                    live=given(NEAR)(lambda near: near),
                ),
                Slip(
                    SMALL_STEP_FAR,
                    run=given()(lambda: True),
                    says=given()(lambda: "A small step taken far from neutral."),
                    live=given(NEAR)(lambda near: not near),
                ),
            ),
        ),
        STEP.step(
            skills.MOVEMENT_TO_LENS,
            run=untyped(lambda known: _step(known, near=known["near"])["step"]),
            says=untyped(
                lambda known: (
                    f"{known['looks']['a'].movement.capitalize()} wants {known['step'].split('-')[0]}: "
                    f"{STEPS.write(known['step'])}."
                )
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=untyped(lambda known: _step(known, near=known["near"], turn=-1)["step"]),
                    says=untyped(
                        lambda known: (
                            f"{known['step'].split('-')[0].capitalize()} given to {known['looks']['a'].movement}."
                        )
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(ORDER, STEP),
    found=untyped(
        lambda known: (
            f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
            *(f"Reflex {name.upper()}: {look.words}." for name, look in _begin_order(known)["looks"].items()),
        )
    ),
    question=asking(
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
