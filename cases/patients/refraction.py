"""Refraction of both eyes by age and region: mean power, its difference between the eyes, astigmatism."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.patients.population import Population
from cases.patients.streams import Streams

DIFFERENCE_PER_D = 0.10
"""How much wider the difference of the eyes grows for each dioptre further than 0.50 from +1.00: ours, tuned."""

LONE_SCALE = 0.6


@dataclass(frozen=True)
class PowerVector:
    """Mean power and astigmatism of one eye, in D, J0 positive with the rule."""

    M: float
    J0: float
    J45: float


def draw_means(streams: Streams, age_y: float, numbers: Population) -> tuple[float, float]:
    """Draw the mean powers of the right and the left eye in D, under cycloplegia, of eyes without disease."""
    mean = _mean_power(streams, age_y, numbers)
    difference = _difference(streams, mean, age_y, numbers)
    return mean + difference / 2, mean - difference / 2


def with_astigmatism(
    streams: Streams, means: tuple[float, float], age_y: float, numbers: Population
) -> tuple[PowerVector, PowerVector]:
    """Draw the astigmatism that goes with the mean powers of both eyes."""
    right, left = means
    common = _common_astigmatism(streams, age_y, numbers)
    return (
        PowerVector(right, *_astigmatism(streams, "right", common, right, age_y, numbers)),
        # The left eye is the mirror image of the right.
        _mirrored(PowerVector(left, *_astigmatism(streams, "left", common, left, age_y, numbers))),
    )


def _mean_power(streams: Streams, age_y: float, numbers: Population) -> float:
    kind = streams.unit("refraction/kind")
    myopes = numbers.p_myope(age_y)
    if kind < myopes:
        size = streams.gamma("refraction/minus", numbers.myope_shape)
        return -numbers.myope_shift - numbers.myope_scale(age_y) * size
    core = numbers.core_mean(age_y) + numbers.core_sd(age_y) * streams.normal("refraction/core")
    if kind < myopes + (1 - myopes) * numbers.p_hyper(age_y):
        return core + numbers.hyper_scale(age_y) * streams.exponential("refraction/plus")
    return core


def _difference(streams: Streams, mean: float, age_y: float, numbers: Population) -> float:
    spread = numbers.eye_difference_sd(age_y)
    if streams.happens("unequal/large", numbers.p_unequal(age_y)):
        spread *= numbers.unequal_times
    return math.hypot(spread, DIFFERENCE_PER_D * max(0.0, abs(mean - 1) - 0.5)) * streams.normal("unequal")


@dataclass(frozen=True)
class _Common:
    """What the two eyes have in common: deviates, not yet powers."""

    J0: float
    J45: float
    tail: float
    turn: float
    lone: str


def _common_astigmatism(streams: Streams, age_y: float, numbers: Population) -> _Common:
    tail = 0.0
    if streams.happens("astigmatism/some", numbers.p_astigmatic(age_y)):
        tail = numbers.astigmatic_scale(age_y) * streams.exponential("astigmatism/more")
    turn = numbers.tail_turn * streams.normal("astigmatism/turn")
    if not streams.happens("astigmatism/rule", numbers.p_with_the_rule(age_y)):
        turn += 180
    lone = streams.unit("astigmatism/lone")
    share = numbers.p_one_eye_more(age_y)
    return _Common(
        streams.normal("astigmatism/J0"),
        streams.normal("astigmatism/J45"),
        tail,
        turn,
        "right" if lone < share / 2 else "left" if lone < share else "",
    )


def _astigmatism(
    streams: Streams, side: str, common: _Common, mean: float, age_y: float, numbers: Population
) -> tuple[float, float]:
    core = numbers.j_core(age_y)
    own0, own45 = streams.normal(f"{side}/J0"), streams.normal(f"{side}/J45")
    share0, share45 = numbers.common_share_j0, numbers.common_share_j45
    tail = common.tail * (1 + numbers.cylinder_with_ametropia * max(0.0, abs(mean - 0.5) - 1))
    turn = math.radians(common.turn)
    J0 = numbers.j0_mean(age_y) + core * (math.sqrt(share0) * common.J0 + math.sqrt(1 - share0) * own0)
    J45 = core * numbers.j45_ratio * (math.sqrt(share45) * common.J45 + math.sqrt(1 - share45) * own45)
    J0 += tail * math.cos(turn)
    J45 += tail * math.sin(turn)
    if common.lone == side:
        more = LONE_SCALE * streams.exponential("astigmatism/lone more")
        J0 += more * streams.normal("astigmatism/lone J0")
        J45 += more * streams.normal("astigmatism/lone J45")
    return J0, J45


def _mirrored(eye: PowerVector) -> PowerVector:
    return PowerVector(eye.M, eye.J0, -eye.J45)
