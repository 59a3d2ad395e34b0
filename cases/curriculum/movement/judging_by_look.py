"""Family B, judging by how a reflex looks: how far from neutral it is, and how large a step that calls for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import View, described_views, require_plain
from cases.curriculum.bench_types import Moving, wanting
from cases.curriculum.movement import FAMILY
from cases.curriculum.steps import DISTANCE, pick_any_distance
from cases.figures.reflexes_compared import ComparedReflex, side_by_side
from cases.notation.prescription import write_distance
from cases.optics.appearance import Seen, seen
from cases.optics.vergence import vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option, Order
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given, given_all
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

STEP_SIZE = Skill("step-size", "choosing how large a lens step to take")

WIDTH_ALONE = SlipName(
    "width-alone",
    "went by the width of the band alone",
    "Width misleads: far from neutral the streak on the retina is itself blurred, so the band spreads again. Speed "
    "falls steadily; go by it. Brightness misleads too: the brightest band lies a little on the side of with.",
    ("reflex-optics",),
)
LARGE_STEP_NEAR = SlipName(
    "large-step-near-neutral",
    "took a large step close to neutral",
    "That reflex is fast: a large step would jump past neutral. Go on in small ones.",
)
SMALL_STEP_FAR = SlipName(
    "small-step-far-off",
    "took a small step far from neutral",
    "That reflex is slow: behind small steps it will look the same for long. Take a large one.",
)


# --- how far from neutral ----------------------------------------------------------------------------------------

NAMES = ("a", "b", "c")
REFLEXES = Order(tuple(Option(name, f"reflex {name.upper()}") for name in NAMES))
STEPS = Choice(
    (
        Option(
            "plus-small",
            "plus, a quarter or a half dioptre",
            "the reflex goes with, fast: plus is needed, and not much of it",
        ),
        Option("plus-large", "plus, one dioptre or more", "the reflex goes with, slowly: much plus is needed"),
        Option(
            "minus-small",
            "minus, a quarter or a half dioptre",
            "the reflex goes against, fast: minus is needed, and not much of it",
        ),
        Option("minus-large", "minus, one dioptre or more", "the reflex goes against, slowly: much minus is needed"),
    )
)
SPEEDS_DRAWN = (3.0, 2.0, 1.0, 0.5, 0.28)
"""Speeds of the reflexes drawn, as shares of the streak's, one from each grade of words."""


WANTED = tuple(Field(name, f"Still wanted at reflex {name.upper()}, plus for with", quantities.POWER) for name in NAMES)
ORDER = Field("order", "The reflexes, the one nearest to neutral first", REFLEXES)
STEP = Field("step", "Next lens step at reflex A", STEPS)
LOOKS = Key[Mapping[str, Seen]]("looks")
NEAR = Key[bool]("near")


def _draw_order(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_any_distance(chance, settings)
    speeds = chance.shuffled(SPEEDS_DRAWN)
    while speeds[0] in (1.0, 2.0):
        speeds = [*speeds[1:], speeds[0]]
    left = [round(vergence(distance) / speed, 2) * chance.among((-1, 1, 1)) for speed in speeds[: len(NAMES)]]
    if settings.level == "novice":
        left = [abs(power) for power in left]
    require_plain(distance, *left)
    return given_all(WANTED).to(*left) | DISTANCE.to(distance)


@given(given_all(WANTED)(lambda *left: left), DISTANCE)
def _looks(left: tuple[float, ...], distance_cm: float) -> Mapping[str, Seen]:
    looks = {name: seen(power, distance_cm) for name, power in zip(NAMES, left, strict=True)}
    if len(set(map(abs, left))) < len(left):
        raise BadFinding(list(left), "the three must lie at different distances from neutral")
    if looks["a"].movement == "neutral":
        raise BadFinding(left[0], "reflex A is neutral already: more than 0.12 D must be wanted")
    return looks


_at_a = given(LOOKS)(lambda looks: looks["a"])


def _ranked(looks: Mapping[str, Seen], far: Callable[[Seen], float]) -> tuple[str, ...]:
    return tuple(sorted(NAMES, key=lambda name: far(looks[name])))


def _look(far: Callable[[Seen], float], near: Callable[[Seen], bool]) -> Rule[tuple[tuple[str, ...], bool]]:
    """Rank the reflexes by how far off they are held to be, and say whether A is held to be near."""
    return given(LOOKS, _at_a)(lambda looks, look: (_ranked(looks, far), near(look)))


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


def _step(turn: int) -> Rule[str]:
    return given(_at_a, NEAR)(
        lambda look, near: f"{'plus' if look.left * turn > 0 else 'minus'}-{'small' if near else 'large'}"
    )


def _sign(step: str) -> str:
    return step.split("-")[0]


near_or_far = CaseType(
    id="near-or-far",
    title="How far from neutral a reflex is",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group((*WANTED, DISTANCE)),
    asks=(ORDER, STEP),
    draw=_draw_order,
    begin=LOOKS.by(_looks),
    steps=(
        given(ORDER, NEAR).step(
            skills.LOOK_TO_DISTANCE,
            run=_look(lambda look: abs(look.left), _is_near),
            says=given(ORDER, _at_a, NEAR)(
                lambda order, look, near: (
                    f"The faster, the nearer: {_order_words(order)}. "
                    + (
                        f"Reflex A is {look.speed_words}, so it is near."
                        if near
                        else f"Reflex A is {look.speed_words}, so it is far off."
                    )
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
            run=_step(1),
            says=given(_at_a, STEP)(
                lambda look, step: f"{look.movement.capitalize()} wants {_sign(step)}: {STEPS.write(step)}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=_step(-1),
                    says=given(_at_a, STEP)(lambda look, step: f"{_sign(step).capitalize()} given to {look.movement}."),
                ),
            ),
        ),
    ),
    answer=as_found(ORDER, STEP),
    found=given(DISTANCE, _looks)(
        lambda distance_cm, looks: (
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
            *(f"Reflex {name.upper()}: {look.words}." for name, look in looks.items()),
        )
    ),
    question=asking(
        "Put the three in order, the one nearest to neutral first. And which lens step would you take next at reflex A?"
    ),
    figure=given(_looks).drawing(
        lambda uid, looks: side_by_side(
            [ComparedReflex(name.upper(), 90, look) for name, look in looks.items()], uid=uid
        )
    ),
    needs=("next-lens",),
    errors={"a": 0.12, "b": 0.12, "c": 0.12, "distance_cm": 1.0},
    sources=("reflex-optics", "common-practice"),
)

# --- moving ------------------------------------------------------------------------------------------------------


@given(given_all(WANTED)(lambda *left: left), DISTANCE)
def _order_views(left: tuple[float, ...], distance_cm: float) -> tuple[View, ...]:
    return described_views(
        [
            (f"Reflex {name.upper()}", wanting(power, distance_cm), seen(power, distance_cm))
            for name, power in zip(NAMES, left, strict=True)
        ]
    )


MOVING = {near_or_far.id: Moving(_order_views)}

TYPES = (near_or_far,)
