"""Family H: how the two eyes differ along the level and along the upright meridian."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.families.checking import FAMILY, LEFT, RIGHT, eyes_figure, eyes_words, pair_of_eyes
from cases.families.checking_steps import DIFFERENCE_REVERSED
from cases.families.oblique import (
    ADD_SHARE,
    ANGLE_FROM_AXIS,
    COSINE_FOR_SINE,
    SHARE_ALONE,
    SHARE_OF_CYLINDER,
    SINE_NOT_SQUARED,
)
from cases.fields import Field, Group
from cases.kinds import Power
from cases.lens import SphCyl, axis_gap
from cases.steps import lens_pair, listed, signed
from cases.working import Known, Skill, Slip, SlipName, Step

COMPARE_MERIDIANS = Skill("compare-meridians", "comparing two eyes meridian by meridian")

WRITTEN_COLUMNS_COMPARED = SlipName(
    "written-columns-compared",
    "took sphere from sphere and sphere with cylinder from sphere with cylinder",
    "The written columns are not meridians: which of the two lies level depends on the axis of each eye.",
)

LEVEL, UPRIGHT = 180.0, 90.0
AXES = {
    "novice": (180, 90, 180, 90),
    "competent": (180, 90, 180, 90, 45, 135, 30, 150, 60, 120),
    "expert": tuple(range(5, 181, 5)),
}


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    def eye() -> SphCyl:
        axis = float(chance.among(AXES[settings.level]))
        return SphCyl(chance.stepped(-5, 5), -chance.stepped(0.5, 3), axis).in_form(settings.form)

    return {"right": eye(), "left": eye()}


def _angle_list(known: Known) -> tuple[float, ...]:
    return tuple(axis_gap(meridian, lens.axis) for lens in lens_pair(known) for meridian in (LEVEL, UPRIGHT))


def _square(angle: float) -> float:
    return math.sin(math.radians(angle)) ** 2


def _shares(share: Callable[[float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"shares": tuple(share(angle) for angle in known["angles"])}


def _share_words(words: str) -> Callable[[Known], str]:
    def says(known: Known) -> str:
        right_level, right_upright, left_level, left_upright = known["shares"]
        return (
            f"{words}: {right_level:.2f} and {right_upright:.2f} of the right eye's cylinder along 180 and 90, "
            f"{left_level:.2f} and {left_upright:.2f} of the left eye's."
        )

    return says


def _share_slip(name: SlipName, share: Callable[[float], float], words: str) -> Slip:
    return Slip(
        name,
        run=_shares(share),
        says=_share_words(words),
        live=lambda known: any(
            abs(share(angle) - _square(angle)) > 0.001 and lens.cylinder
            for angle, lens in zip(known["angles"], _each_twice(known), strict=True)
        ),
    )


def _each_twice(known: Known) -> tuple[SphCyl, ...]:
    return tuple(lens for lens in lens_pair(known) for _ in range(2))


def _powers(power: Callable[[SphCyl, float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {
        "powers": tuple(power(lens, share) for lens, share in zip(_each_twice(known), known["shares"], strict=True))
    }


def _power_words(known: Known) -> str:
    powers = known["powers"]
    return f"Right eye {listed(powers[:2])} along 180 and 90; left eye {listed(powers[2:])}."


def _differences(sign: int) -> Callable[[Known], dict[str, Any]]:
    def run(known: Known) -> dict[str, Any]:
        right_level, right_upright, left_level, left_upright = known["powers"]
        return {"level": sign * (right_level - left_level), "upright": sign * (right_upright - left_upright)}

    return run


def _columns(known: Known) -> dict[str, Any]:
    right, left = lens_pair(known)
    return {
        "level": right.sphere - left.sphere,
        "upright": right.sphere + right.cylinder - left.sphere - left.cylinder,
    }


def _difference_words(words: str) -> Callable[[Known], str]:
    return lambda known: f"{words}: {signed(known['level'])} along 180, {signed(known['upright'])} along 90."


two_eyes_meridians = CaseType(
    id="two-eyes-meridians",
    title="The two eyes meridian by meridian",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group((RIGHT, LEFT)),
    asks=(
        Field("level", "Right less left along the 180 meridian", Power(exact=0.03, tolerance=0.06)),
        Field("upright", "Right less left along the 90 meridian", Power(exact=0.03, tolerance=0.06)),
    ),
    draw=_draw,
    begin=pair_of_eyes,
    steps=(
        Step(
            ANGLE_FROM_AXIS,
            run=lambda known: {"angles": _angle_list(known)},
            says=lambda known: (
                f"From the axis to 180 and to 90: {known['angles'][0]:g}° and {known['angles'][1]:g}° in the right "
                f"eye, {known['angles'][2]:g}° and {known['angles'][3]:g}° in the left."
            ),
        ),
        Step(
            SHARE_OF_CYLINDER,
            run=_shares(_square),
            says=_share_words("The squares of the sines"),
            slips=(
                _share_slip(skills.LINEAR_FRACTION, lambda angle: angle / 90, "The angles over 90"),
                _share_slip(SINE_NOT_SQUARED, lambda angle: math.sin(math.radians(angle)), "The sines themselves"),
                _share_slip(COSINE_FOR_SINE, lambda angle: 1 - _square(angle), "The squares of the cosines"),
            ),
        ),
        Step(
            ADD_SHARE,
            run=_powers(lambda lens, share: lens.sphere + share * lens.cylinder),
            says=_power_words,
            slips=(
                Slip(
                    SHARE_ALONE,
                    run=_powers(lambda lens, share: share * lens.cylinder),
                    says=lambda known: f"The shares alone. {_power_words(known)}",
                    live=lambda known: known["first"].sphere != known["second"].sphere,
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=_powers(lambda lens, share: lens.sphere - share * lens.cylinder),
                    says=lambda known: f"The shares taken away. {_power_words(known)}",
                    live=lambda known: known["first"].cylinder != 0 or known["second"].cylinder != 0,
                ),
            ),
        ),
        Step(
            COMPARE_MERIDIANS,
            run=_differences(1),
            says=_difference_words("Right less left"),
            slips=(
                Slip(DIFFERENCE_REVERSED, run=_differences(-1), says=_difference_words("Left less right")),
                Slip(
                    WRITTEN_COLUMNS_COMPARED,
                    run=_columns,
                    says=_difference_words("Column by column as they are written"),
                    live=lambda known: max(abs(a - b) for a, b in _both_ways(known)) > 0.001,
                ),
            ),
        ),
    ),
    answer=lambda known: {"level": known["level"], "upright": known["upright"]},
    found=eyes_words,
    question=lambda _: "What is the right eye less the left (signed) along the 180 and along the 90 meridian?",
    figure=eyes_figure,
    needs=("rx-to-cross", "two-eyes"),
    form=lambda _: None,
    sources=("The sine-squared law, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory)",),
)


def _both_ways(known: Known) -> tuple[tuple[float, float], ...]:
    right, columns = _differences(1)(known), _columns(known)
    return tuple((right[name], columns[name]) for name in ("level", "upright"))


TYPES = (two_eyes_meridians,)
