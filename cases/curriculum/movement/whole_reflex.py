"""Family B, the whole reflex predicted from the optics: movement, what is still wanted, speed and skew."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View, require_plain
from cases.curriculum.bench_types import Moving
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import OPPOSITE
from cases.curriculum.shared_keys import EYE
from cases.curriculum.steps import (
    DISTANCE,
    MERIDIAN,
    STREAK,
    VERGENCE,
    as_written,
    degrees,
    pick_distance,
    pick_lens,
    read_meridian,
    signed,
    size,
)
from cases.figures.streak_in_pupil import streak_in_pupil
from cases.notation.prescription import read_quantity, write_distance
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.reflex import NOUGHT, Look, Setting, look, residual, residual_matrix
from cases.optics.vergence import vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.quantities import Quantity
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

Vector = NDArray[np.float64]

REFLEX_MOVEMENTS = Choice(
    (
        Option("with", "with", "plus is still needed across the streak"),
        Option("against", "against", "minus is still needed across the streak"),
        Option("neutral", "neutral", "nothing is still needed in any direction"),
        Option(
            "neither",
            "neither: it slides along the streak",
            "one principal meridian still needs plus, the other minus, and across the streak they cancel",
        ),
    )
)
ENDLESS = "infinite"

FIND_SPEED = Skill("reflex-speed", "finding how fast the reflex goes")
FIND_PULL = Skill("pull-along-streak", "finding what turns the reflex out of the streak")
FIND_SKEW = Skill("reflex-skew", "finding how far the reflex is turned from the streak")

CYLINDER_IGNORED = SlipName(
    "cylinder-ignored-in-meridian",
    "took the sphere for the power in every meridian",
    "The cylinder acts across its axis: in the meridian across the streak it counts as well.",
)
SPEED_INVERTED = SlipName(
    "speed-inverted",
    "let the reflex go faster the farther it is from neutral",
    "It is the other way round: the more is still wanted, the slower the reflex. At neutral it is infinitely fast.",
)
DISTANCE_LEFT_OUT_OF_SPEED = SlipName(
    "distance-left-out-of-speed",
    "took one over what is still wanted for the speed",
    "Divide the working distance in dioptres by what is still wanted: an eye without error goes as fast as the streak.",
)
SKEW_LEFT_OUT = SlipName(
    "skew-left-out",
    "took the reflex to lie along the streak",
    "Off the principal meridians the reflex is turned from the streak: the axis is elsewhere.",
    ("skew-figure",),
)
SKEW_REVERSED = SlipName(
    "skew-reversed",
    "turned the reflex to the wrong side of the streak",
    "The power that acts along the streak has a sign as well, and that says to which side. Where both meridians show "
    "the same movement, the reflex turns towards the one nearer to neutral.",
)


@dataclass(frozen=True)
class Ratio(Quantity):
    """How many times as fast as the streak the reflex goes: not below 0, infinite at neutral (null in JSON).

    `exact` and `tolerance` are shares of the truth, for nobody computes a speed to this many decimals of itself.
    """

    def read(self, text: str) -> float:
        """Read a plain number, or "infinite"."""
        if text.strip().casefold() in (ENDLESS, "infinity", "inf", "∞"):
            return math.inf
        return self._checked(read_quantity(text))

    def write(self, value: float) -> str:
        """Write it to two figures after the point."""
        return ENDLESS if math.isinf(value) else f"{value:.2f}"

    def from_json(self, given: object) -> float:
        """Take it out of JSON, where null is infinite."""
        return math.inf if given is None else super().from_json(given)

    def to_json(self, value: float) -> Any:
        """Give a number, or null for an infinite one."""
        return None if math.isinf(value) else super().to_json(value)

    def same(self, given: float, truth: float) -> bool:
        """Compare within `exact` of the truth."""
        return self._within(given, truth, self.exact)

    def close(self, given: float, truth: float) -> bool:
        """Compare within `tolerance` of the truth."""
        return self._within(given, truth, self.tolerance)

    @property
    def marked_within(self) -> str:
        """Write the tolerance as a share."""
        return f"{100 * self.tolerance:g} %"

    @staticmethod
    def _within(given: float, truth: float, share: float) -> bool:
        if math.isinf(given) or math.isinf(truth):
            return given == truth
        return abs(given - truth) <= share * truth + 0.005

    def differs(self, given: float, truth: float) -> str:
        """Say whether it is too fast or too slow."""
        return f"too {'fast' if given > truth else 'slow'}: {self.write(given)} for {self.write(truth)}"


IN_STREAK_SPEEDS = Ratio(
    id="ratio", unit=" times", hint="a number such as 0.5 or 3; infinite when nothing is wanted",
    low=0.0, high=math.inf, step=0.05, exact=0.04, tolerance=0.15,
)  # fmt: skip

NOT_SO_NEAR = 0.3
"""Nearer to neutral than this many D, and yet not there, nobody could judge the speed: none is drawn."""


RX = Field("rx", "Net prescription of the eye", Lens())
IN_PLACE = Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0))
MOVEMENT = Field("movement", "Movement", REFLEX_MOVEMENTS)
RESIDUAL = Field("residual", "Still wanted across the streak", quantities.POWER.having(exact=0.03, tolerance=0.1))
SPEED_RATIO = Field("speed_ratio", "Speed of the reflex across its own length, the streak's being 1", IN_STREAK_SPEEDS)
SKEW = Field(
    "skew",
    "Angle from streak to reflex, anticlockwise plus",
    quantities.ANGLE.having(exact=1, tolerance=3, low=-90, high=90),
)
PULL = Key[float]("pull", unit="D")
SPEED = Key[float | None]("speed")

_setting = given(RX, IN_PLACE, DISTANCE)(
    lambda rx, in_place, distance_cm: Setting(rx=rx, in_place=in_place, distance_cm=distance_cm)
)


def _draw_reflex(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(1, 3))
    in_place = SphCyl(chance.stepped(-5, 6, 0.5))
    if settings.level == "expert":
        turn = chance.among((-1, 1)) * chance.among((15, 20, 30, 35, 55, 60, 70))
        streak = axis_of(eye.axis + turn)
    else:
        streak = chance.among((eye.axis, across(eye.axis)))
    drawn = given(RX, IN_PLACE, DISTANCE, STREAK).to(eye, in_place, pick_distance(chance, settings), streak)
    if 0 < abs(residual(_setting(drawn), streak)) < NOT_SO_NEAR:
        drawn |= IN_PLACE.to(in_place + SphCyl(0.5))
    setting = _setting(drawn)
    # The other meridian dims the reflex too.
    require_plain(setting.distance_cm, *(residual(setting, one) for one in (streak, across(streak))))
    return drawn


def _streak_vectors(streak: float) -> tuple[Vector, Vector]:
    """Return the unit vectors along the streak and across it."""
    sin, cos = math.sin(math.radians(streak)), math.cos(math.radians(streak))
    return np.array([cos, sin]), np.array([-sin, cos])


def _pull_in(setting: Setting, streak: float) -> float:
    """Return in D how much of what is wanted across the streak acts along it, and so turns the reflex."""
    along, normal = _streak_vectors(streak)
    return float(along @ residual_matrix(setting) @ normal)


_pull = given(_setting, STREAK)(_pull_in)
_pulled = given(_pull)(lambda pull: abs(pull) > 0.01)


def _left(*, distance: float = 1, lens: float = 1) -> Rule[float]:
    """Add this many times the vergence to what the eye needs across the streak; take off as often what is in place."""
    return given(EYE, VERGENCE, IN_PLACE, MERIDIAN)(
        lambda eye, vergence, in_place, meridian: eye + distance * vergence - lens * in_place.power_at(meridian)
    )


@given(_setting, STREAK, RESIDUAL, PULL, VERGENCE)
def _shown(setting: Setting, streak: float, wanted: float, pull: float, vergence: float) -> Look:
    """Return what the streak shows of an eye that wants this many D across the streak and is pulled aside by `pull`."""
    if abs(wanted - residual(setting, streak)) > NOUGHT or abs(pull - _pull_in(setting, streak)) > NOUGHT:
        along, normal = _streak_vectors(streak)
        mixed = np.outer(along, normal)
        eye = SphCyl.from_power_matrix(wanted * np.outer(normal, normal) + pull * (mixed + mixed.T))
        setting = replace(setting, rx=eye - SphCyl(vergence), in_place=SphCyl(0))
    return look(setting, streak)


def _size(residual: float, pull: float) -> float:
    return math.hypot(residual, pull)


def _off_axis(meridian: float, rx: SphCyl) -> float:
    return axis_gap(meridian, rx.axis)


@given(RX, MERIDIAN)
def _linear(rx: SphCyl, meridian: float) -> float:
    return float(rx.sphere + rx.cylinder * _off_axis(meridian, rx) / 90)


def _eye(name: SlipName, power: Rule[float], words: str) -> Slip[float]:
    return Slip(
        name,
        run=power,
        says=given(EYE, MERIDIAN)(lambda eye, meridian: f"{words}: {signed(eye)} along {degrees(meridian)}."),
        live=given(power, RX, MERIDIAN)(lambda power, rx, meridian: abs(power - rx.power_at(meridian)) > 0.005),
    )


def _left_words(meridian: float, residual: float) -> str:
    return f"still wanted along {degrees(meridian)}: {signed(residual)}."


@given(_pulled, PULL)
def _pull_words(pulled: bool, pull: float) -> str:
    if not pulled:
        return "This is a principal meridian, so nothing turns the reflex out of the streak."
    return f"Off the principal meridians {size(pull)} D act along the streak, which turns the reflex."


@given(SPEED, DISTANCE, VERGENCE, RESIDUAL, PULL)
def _speed_words(speed: float | None, distance_cm: float, vergence: float, residual: float, pull: float) -> str:
    if speed is None:
        return "Nothing is wanted at all: the pupil lights up at once, infinitely fast."
    return (
        f"{write_distance(distance_cm)} is {size(vergence)} D; over the {size(_size(residual, pull))} D that "
        f"act across the reflex that is {speed:.2f} times the streak's speed."
    )


SWEEP_OR_CYLINDER: Pair = (
    SlipRef(skills.READ_MERIDIAN.id, skills.SWEEP_FOR_STREAK.id),
    SlipRef(skills.EYE_IN_MERIDIANS.id, CYLINDER_IGNORED.id),
)
"""With the streak along the axis either of them leaves the sphere alone; with the streak anywhere else they part."""

reflex = CaseType(
    id="reflex",
    title="The whole reflex predicted",
    family=FAMILY,
    level="expert",
    seconds=90,
    findings=Group((RX, IN_PLACE, DISTANCE, STREAK)),
    asks=(MOVEMENT, RESIDUAL, SPEED_RATIO, SKEW),
    draw=_draw_reflex,
    undisputed=given(RESIDUAL, MOVEMENT)(
        lambda residual, movement: movement == "neither" or residual == 0 or abs(residual) >= NOT_SO_NEAR
    ),
    begin=VERGENCE.by(given(_setting)(lambda setting: vergence(setting.distance_cm))),
    steps=(
        read_meridian(),
        EYE.step(
            skills.EYE_IN_MERIDIANS,
            run=given(RX, MERIDIAN)(lambda rx, meridian: rx.power_at(meridian)),
            says=given(MERIDIAN, RX, EYE)(
                lambda meridian, rx, eye: (
                    f"That lies {_off_axis(meridian, rx):g}° from the axis; sphere and cylinder times the square of "
                    f"its sine make {signed(eye)}."
                )
            ),
            slips=(
                _eye(CYLINDER_IGNORED, given(RX)(lambda rx: rx.sphere), "The sphere alone"),
                _eye(skills.LINEAR_FRACTION, _linear, "The cylinder shared out by the angle"),
            ),
        ),
        RESIDUAL.step(
            skills.POWER_LEFT,
            run=_left(),
            says=given(VERGENCE, DISTANCE, MERIDIAN, RESIDUAL)(
                lambda vergence, distance_cm, meridian, residual: (
                    f"Add {size(vergence)} for {write_distance(distance_cm)}, take off what is in place; "
                    f"{_left_words(meridian, residual)}"
                )
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=_left(distance=0),
                    says=given(MERIDIAN, RESIDUAL)(
                        lambda meridian, residual: f"The distance left out; {_left_words(meridian, residual)}"
                    ),
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=_left(lens=0),
                    says=given(MERIDIAN, RESIDUAL)(
                        lambda meridian, residual: f"The lens in place left out; {_left_words(meridian, residual)}"
                    ),
                    live=given(IN_PLACE, MERIDIAN)(lambda in_place, meridian: abs(in_place.power_at(meridian)) > 0.005),
                ),
            ),
        ),
        PULL.step(
            FIND_PULL,
            run=_pull,
            says=_pull_words,
            slips=(
                Slip(
                    SKEW_LEFT_OUT,
                    run=given()(lambda: 0.0),
                    says=given()(lambda: "The reflex taken to lie along the streak."),
                    live=_pulled,
                ),
                Slip(
                    SKEW_REVERSED,
                    run=given(_pull)(lambda pull: -pull),
                    says=given()(lambda: "The reflex turned to the other side."),
                    live=_pulled,
                ),
            ),
        ),
        MOVEMENT.step(
            skills.POWER_TO_MOVEMENT,
            run=given(_shown)(lambda shown: shown.movement),
            says=given(RESIDUAL, MOVEMENT)(lambda residual, movement: f"{signed(residual)} still wanted: {movement}."),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(_shown)(lambda shown: OPPOSITE[shown.movement]),
                    says=given(MOVEMENT)(lambda movement: f"The other way round: {movement}."),
                    live=given(_shown)(lambda shown: shown.movement in ("with", "against")),
                ),
            ),
        ),
        SPEED.step(
            FIND_SPEED,
            run=given(_shown)(lambda shown: None if math.isinf(shown.speed_ratio) else shown.speed_ratio),
            says=_speed_words,
            slips=(
                Slip(
                    SPEED_INVERTED,
                    run=given(RESIDUAL, PULL, VERGENCE)(
                        lambda residual, pull, vergence: _size(residual, pull) / vergence
                    ),
                    says=given(SPEED)(lambda speed: f"Turned over: {speed:.2f}."),
                ),
                Slip(
                    DISTANCE_LEFT_OUT_OF_SPEED,
                    run=given(RESIDUAL, PULL)(lambda residual, pull: 1 / _size(residual, pull)),
                    says=given(RESIDUAL, PULL, SPEED)(
                        lambda residual, pull, speed: f"One over {size(_size(residual, pull))}: {speed:.2f}."
                    ),
                    live=given(VERGENCE)(lambda vergence: abs(vergence - 1) > 0.02),
                ),
            ),
        ),
        SKEW.step(
            FIND_SKEW,
            run=given(_shown)(lambda shown: shown.skew),
            says=given(SKEW)(
                lambda skew: (
                    f"The reflex is {abs(skew):.0f}° {'anticlockwise' if skew > 0 else 'clockwise'} from the streak."
                    if abs(skew) > 0.5
                    else "Reflex and streak lie along one line."
                )
            ),
        ),
    ),
    answer=given(MOVEMENT, RESIDUAL, SPEED_RATIO, SKEW).by(
        given(MOVEMENT, RESIDUAL, SPEED, SKEW)(
            lambda movement, residual, speed, skew: (movement, residual, math.inf if speed is None else speed, skew)
        )
    ),
    found=given(RX, IN_PLACE, DISTANCE, STREAK)(
        lambda rx, in_place, distance_cm, streak: (
            f"The eye's net prescription is {as_written(rx)}.",
            f"In place: {as_written(in_place)}.",
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
            f"The streak lies along {degrees(streak)}.",
        )
    ),
    question=asking(
        "Which movement will be seen, and what is still wanted across the streak, the distance taken exactly and to "
        "0.01? How fast does the reflex move across its own length, when the streak's speed across its own is 1? And "
        "what is the angle from streak to reflex (anticlockwise plus, 0 along one line)?"
    ),
    figure=given(STREAK).drawing(lambda uid, streak: streak_in_pupil(streak, uid=uid, reflex=False)),
    needs=("predict-movement", "oblique-power"),
    twins=(SWEEP_OR_CYLINDER,),
    probes=(Probe(SWEEP_OR_CYLINDER, "reflex"),),
    errors={"rx": 0.12, "in_place": 0.12, "distance_cm": 1.0},
    sources=("reflex-optics", "skew-figure"),
)

MOVING = {
    reflex.id: Moving(
        given(RX, IN_PLACE, DISTANCE, STREAK)(
            lambda rx, in_place, distance_cm, streak: (
                View("", Bench(eye=rx, distance_cm=distance_cm, streak=streak).holding(in_place)),
            )
        ),
        tells=True,
    )
}

TYPES = (reflex,)
