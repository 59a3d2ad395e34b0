"""Family B, the whole reflex foretold from the optics: movement, what is still wanted, speed and skew."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.movement import FAMILY
from cases.fields import Field, Group
from cases.figures_pupil import streak_in_pupil
from cases.kinds import Angle, Lens, Meridian, Power, Scalar
from cases.lens import SphCyl, across, axis_gap, axis_of
from cases.movements import OPPOSITE
from cases.notation import read_quantity, write_distance
from cases.retinoscope import NOUGHT, Look, Setting, look, residual, residual_matrix
from cases.steps import DISTANCE, as_written, degrees, pick_distance, pick_lens, read_meridian, signed, size
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

Vector = NDArray[np.float64]

REFLEX_MOVEMENTS = Choice(
    (
        Option("with", "with"),
        Option("against", "against"),
        Option("neutral", "neutral"),
        Option("neither", "neither: it slides along the streak"),
    )
)
ENDLESS = "infinite"

FIND_SPEED = Skill("reflex-speed", "finding how fast the reflex goes")
FIND_PULL = Skill("pull-along-streak", "finding what turns the reflex out of the streak")
FIND_SKEW = Skill("reflex-skew", "finding how far the reflex stands turned to the streak")

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
    "Off the principal meridians the reflex stands turned to the streak, and that is the sign of an axis elsewhere.",
    "AAO image caption, “Skew”",
)
SKEW_REVERSED = SlipName(
    "skew-reversed",
    "turned the reflex to the wrong side of the streak",
    "The power that acts along the streak has a sign as well, and that says to which side. Where both meridians show "
    "the same movement, the reflex turns towards the one nearer to neutral.",
)


@dataclass(frozen=True)
class Ratio(Scalar):
    """How many times as fast as the streak the reflex goes: not below 0, infinite at neutral (null in JSON).

    `exact` and `tolerance` are shares of the truth, for nobody computes a speed to so many decimals of itself.
    """

    exact: float = 0.04
    tolerance: float = 0.15
    low: float = 0.0
    high: float = math.inf
    id = "ratio"
    unit = " times"
    hint = "a number such as 0.5 or 3; infinite when nothing is wanted"

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

    @staticmethod
    def _within(given: float, truth: float, share: float) -> bool:
        if math.isinf(given) or math.isinf(truth):
            return given == truth
        return abs(given - truth) <= share * truth + 0.005

    def differs(self, given: float, truth: float) -> str:
        """Say whether it is too fast or too slow."""
        return f"too {'fast' if given > truth else 'slow'}: {self.write(given)} for {self.write(truth)}"


SKEW = Angle(exact=1, tolerance=3, low=-90, high=90)


NOT_SO_NEAR = 0.2
"""Nearer to neutral than so many D, and yet not there, the speed is a number that nobody could judge: none is drawn."""


def _draw_reflex(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(1, 3))
    in_place = SphCyl(chance.stepped(-5, 6, 0.5))
    if settings.level == "expert":
        turn = chance.among((-1, 1)) * chance.among((15, 20, 30, 35, 55, 60, 70))
        streak = axis_of(eye.axis + turn)
    else:
        streak = chance.among((eye.axis, across(eye.axis)))
    drawn = {"rx": eye, "in_place": in_place, "distance_cm": pick_distance(chance, settings), "streak": streak}
    if 0 < abs(look(_setting(drawn), streak).residual) < NOT_SO_NEAR:
        return {**drawn, "in_place": in_place + SphCyl(0.5)}
    return drawn


def _setting(known: Known) -> Setting:
    return Setting(rx=known["rx"], in_place=known["in_place"], distance_cm=known["distance_cm"])


def _begin(findings: Known) -> dict[str, Any]:
    return {"vergence": vergence(_setting(findings).distance_cm)}


def _streak_vectors(streak: float) -> tuple[Vector, Vector]:
    """Return the unit vectors along the streak and across it."""
    sin, cos = math.sin(math.radians(streak)), math.cos(math.radians(streak))
    return np.array([cos, sin]), np.array([-sin, cos])


def _pull(known: Known) -> float:
    """Return in D how much of what is wanted across the streak acts along it, and so turns the reflex."""
    along, normal = _streak_vectors(known["streak"])
    return float(along @ residual_matrix(_setting(known)) @ normal)


def _left(known: Known, *, distance: float = 1, lens: float = 1) -> dict[str, Any]:
    in_place = known["in_place"].power_at(known["meridian"])
    return {"residual": known["eye"] + distance * known["vergence"] - lens * in_place}


def _shown(known: Known) -> Look:
    """Return what the streak shows of an eye that wants `residual` across the streak and is pulled aside by `pull`."""
    setting = _setting(known)
    if (
        abs(known["residual"] - residual(setting, known["streak"])) > NOUGHT
        or abs(known["pull"] - _pull(known)) > NOUGHT
    ):
        along, normal = _streak_vectors(known["streak"])
        mixed = np.outer(along, normal)
        wanted = known["residual"] * np.outer(normal, normal) + known["pull"] * (mixed + mixed.T)
        eye = SphCyl.from_power_matrix(wanted) - SphCyl(known["vergence"])
        setting = replace(setting, rx=eye, in_place=SphCyl(0))
    return look(setting, known["streak"])


def _speed(known: Known) -> float | None:
    ratio = _shown(known).speed_ratio
    return None if math.isinf(ratio) else ratio


def _size(known: Known) -> float:
    return math.hypot(known["residual"], known["pull"])


def _off_axis(known: Known) -> float:
    return axis_gap(known["meridian"], known["rx"].axis)


def _linear(known: Known) -> float:
    return float(known["rx"].sphere + known["rx"].cylinder * _off_axis(known) / 90)


def _eye(name: SlipName, power: Callable[[Known], float], words: str) -> Slip:
    return Slip(
        name,
        run=lambda known: {"eye": power(known)},
        says=lambda known: f"{words}: {signed(known['eye'])} along {degrees(known['meridian'])}.",
        live=lambda known: abs(power(known) - known["rx"].power_at(known["meridian"])) > 0.005,
    )


def _left_words(known: Known) -> str:
    return f"still wanted along {degrees(known['meridian'])}: {signed(known['residual'])}."


def _pulled(known: Known) -> bool:
    return bool(abs(_pull(known)) > 0.01)


def _pull_words(known: Known) -> str:
    if not _pulled(known):
        return "This is a principal meridian, so nothing turns the reflex out of the streak."
    return f"Off the principal meridians {size(known['pull'])} D act along the streak, which turns the reflex."


def _speed_words(known: Known) -> str:
    if known["speed"] is None:
        return "Nothing is wanted at all: the pupil lights up at once, infinitely fast."
    return (
        f"{write_distance(known['distance_cm'])} is {size(known['vergence'])} D; over the {size(_size(known))} D that "
        f"act across the reflex that is {known['speed']:.2f} times the streak's speed."
    )


SWEEP_OR_CYLINDER: Pair = (
    SlipRef(skills.READ_MERIDIAN.id, skills.SWEEP_FOR_STREAK.id),
    SlipRef(skills.EYE_IN_MERIDIANS.id, CYLINDER_IGNORED.id),
)
"""With the streak along the axis either of them leaves the sphere alone; with the streak anywhere else they part."""

reflex = CaseType(
    id="reflex",
    title="The whole reflex foretold",
    family=FAMILY,
    level="expert",
    seconds=90,
    findings=Group(
        (
            Field("rx", "Net prescription of the eye", Lens()),
            Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0)),
            DISTANCE,
            Field("streak", "Long direction of the streak", Meridian()),
        )
    ),
    asks=(
        Field("movement", "Movement", REFLEX_MOVEMENTS),
        Field("residual", "Still wanted across the streak", Power(exact=0.03, tolerance=0.1)),
        Field("speed_ratio", "Speed of the reflex, the streak's being 1", Ratio()),
        Field("skew", "Angle from streak to reflex, anticlockwise plus", SKEW),
    ),
    draw=_draw_reflex,
    begin=_begin,
    steps=(
        read_meridian(),
        Step(
            skills.EYE_IN_MERIDIANS,
            run=lambda known: {"eye": known["rx"].power_at(known["meridian"])},
            says=lambda known: (
                f"That lies {_off_axis(known):g}° from the axis; sphere and cylinder times the square of its sine make "
                f"{signed(known['eye'])}."
            ),
            slips=(
                _eye(CYLINDER_IGNORED, lambda known: known["rx"].sphere, "The sphere alone"),
                _eye(skills.LINEAR_FRACTION, _linear, "The cylinder shared out by the angle"),
            ),
        ),
        Step(
            skills.POWER_LEFT,
            run=_left,
            says=lambda known: (
                f"Add {size(known['vergence'])} for {write_distance(known['distance_cm'])}, take off what is in place; "
                f"{_left_words(known)}"
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=lambda known: _left(known, distance=0),
                    says=lambda known: f"The distance left out; {_left_words(known)}",
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=lambda known: _left(known, lens=0),
                    says=lambda known: f"The lens in place left out; {_left_words(known)}",
                    live=lambda known: abs(known["in_place"].power_at(known["meridian"])) > 0.005,
                ),
            ),
        ),
        Step(
            FIND_PULL,
            run=lambda known: {"pull": _pull(known)},
            says=_pull_words,
            slips=(
                Slip(
                    SKEW_LEFT_OUT,
                    run=lambda _: {"pull": 0.0},
                    says=lambda _: "The reflex taken to lie along the streak.",
                    live=_pulled,
                ),
                Slip(
                    SKEW_REVERSED,
                    run=lambda known: {"pull": -_pull(known)},
                    says=lambda _: "The reflex turned to the other side.",
                    live=_pulled,
                ),
            ),
        ),
        Step(
            skills.POWER_TO_MOVEMENT,
            run=lambda known: {"movement": _shown(known).movement},
            says=lambda known: f"{signed(known['residual'])} still wanted: {known['movement']}.",
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"movement": OPPOSITE[_shown(known).movement]},
                    says=lambda known: f"The other way round: {known['movement']}.",
                    live=lambda known: _shown(known).movement in ("with", "against"),
                ),
            ),
        ),
        Step(
            FIND_SPEED,
            run=lambda known: {"speed": _speed(known)},
            says=_speed_words,
            slips=(
                Slip(
                    SPEED_INVERTED,
                    run=lambda known: {"speed": _size(known) / known["vergence"]},
                    says=lambda known: f"Turned over: {known['speed']:.2f}.",
                ),
                Slip(
                    DISTANCE_LEFT_OUT_OF_SPEED,
                    run=lambda known: {"speed": 1 / _size(known)},
                    says=lambda known: f"One over {size(_size(known))}: {known['speed']:.2f}.",
                    live=lambda known: abs(known["vergence"] - 1) > 0.02,
                ),
            ),
        ),
        Step(
            FIND_SKEW,
            run=lambda known: {"skew": _shown(known).skew},
            says=lambda known: (
                f"The reflex stands {abs(known['skew']):.0f}° {'anticlockwise' if known['skew'] > 0 else 'clockwise'} "
                "from the streak."
                if abs(known["skew"]) > 0.5
                else "Reflex and streak lie along one line."
            ),
        ),
    ),
    answer=lambda known: {
        "movement": known["movement"],
        "residual": known["residual"],
        "speed_ratio": math.inf if known["speed"] is None else known["speed"],
        "skew": known["skew"],
    },
    found=lambda known: (
        f"The eye's net prescription is {as_written(known['rx'])}.",
        f"In place: {as_written(known['in_place'])}.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
        f"The streak lies along {degrees(known['streak'])}.",
    ),
    question=lambda _: (
        "Which movement will be seen, and what is still wanted across the streak, the distance taken exactly and to "
        "0.01? How fast is the reflex when the streak's speed is 1, and what is the angle from streak to reflex "
        "(anticlockwise plus, 0 along one line)?"
    ),
    figure=lambda known, uid: streak_in_pupil(known["streak"], uid=uid, reflex=False),
    needs=("predict-movement", "oblique-power"),
    form=lambda _: None,
    twins=(SWEEP_OR_CYLINDER,),
    probes=(Probe(SWEEP_OR_CYLINDER, "reflex"),),
    sources=("optics: derived in DEVELOPERS.md, The reflex; AAO image caption, “Skew”",),
)

TYPES = (reflex,)
