"""Family H: how the two eyes differ along the level and along the upright meridian."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.checking_steps import DIFFERENCE_REVERSED
from cases.curriculum.checking.pair_of_eyes import LEFT, PAIR_OF_EYES, RIGHT, eyes_figure, eyes_words
from cases.curriculum.drawn_eyes import Sought, as_recorded, first_fitting
from cases.curriculum.shared_keys import POWERS, SHARES
from cases.curriculum.steps import FIRST_LENS, SECOND_LENS, listed, signed
from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

COMPARE_MERIDIANS = Skill("compare-meridians", "comparing two eyes meridian by meridian")

WRITTEN_COLUMNS_COMPARED = SlipName(
    "written-columns-compared",
    "took sphere from sphere and sphere with cylinder from sphere with cylinder",
    "The written columns are not meridians: which of the two lies level depends on the axis of each eye.",
)

LEVEL_AT, UPRIGHT_AT = 180.0, 90.0
AXES = {
    "novice": (180, 90, 180, 90),
    "competent": (180, 90, 180, 90, 45, 135, 30, 150, 60, 120),
    "expert": tuple(range(5, 181, 5)),
}

LEVEL = Field("level", "Right less left along the 180 meridian", quantities.POWER.having(exact=0.03, tolerance=0.06))
UPRIGHT = Field("upright", "Right less left along the 90 meridian", quantities.POWER.having(exact=0.03, tolerance=0.06))
ANGLES = Key[tuple[float, ...]]("angles", unit="°")


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw both eyes of one patient; below experts each axis is a near one whose sine is known by heart.

    At 45° itself half of the cylinder is right by every wrong way, so there it is 30° or 60°.
    """

    def eye() -> SphCyl:
        axis = float(chance.among(AXES[settings.level]))
        return SphCyl(chance.stepped(-5, 5), -chance.stepped(0.5, 3), axis)

    def fits(patient: Patient) -> tuple[SphCyl, SphCyl] | None:
        right, left = (as_recorded(patient.eye(side).lens, settings) for side in SIDES)
        usable = all(0.5 <= -one.cylinder <= 3 and abs(one.sphere) <= 7 for one in (right, left))
        return (_at_known_axis(right, chance, settings), _at_known_axis(left, chance, settings)) if usable else None

    right, left = first_fitting(chance, settings, fits, Sought(strata=("oblique axis",))) or (eye(), eye())
    return given(RIGHT, LEFT).to(right.in_form(settings.form), left.in_form(settings.form))


def _at_known_axis(lens: SphCyl, chance: Chance, settings: Settings) -> SphCyl:
    if settings.level == "expert":
        return lens
    known = sorted({axis for axis in AXES[settings.level] if axis % 90 != 45}, key=lambda one: axis_gap(one, lens.axis))
    near = [axis for axis in known if axis_gap(axis, lens.axis) <= NEAR_DEG]
    return SphCyl(lens.sphere, lens.cylinder, float(chance.among(near or known[:1])))


NEAR_DEG = 20.0


@given(FIRST_LENS, SECOND_LENS)
def _angles(first: SphCyl, second: SphCyl) -> tuple[float, ...]:
    return tuple(axis_gap(meridian, lens.axis) for lens in (first, second) for meridian in (LEVEL_AT, UPRIGHT_AT))


def _square(angle: float) -> float:
    return math.sin(math.radians(angle)) ** 2


def _shares(share: Callable[[float], float]) -> Rule[tuple[float, ...]]:
    return given(ANGLES)(lambda angles: tuple(share(angle) for angle in angles))


def _share_words(words: str) -> Rule[str]:
    @given(SHARES)
    def says(shares: tuple[float, ...]) -> str:
        right_level, right_upright, left_level, left_upright = shares
        return (
            f"{words}: {right_level:.2f} and {right_upright:.2f} of the right eye's cylinder along 180 and 90, "
            f"{left_level:.2f} and {left_upright:.2f} of the left eye's."
        )

    return says


def _share_slip(name: SlipName, share: Callable[[float], float], words: str) -> Slip[tuple[float, ...]]:
    return Slip(
        name,
        run=_shares(share),
        says=_share_words(words),
        live=given(ANGLES, FIRST_LENS, SECOND_LENS)(
            lambda angles, first, second: any(
                abs(share(angle) - _square(angle)) > 0.001 and lens.cylinder
                for angle, lens in zip(angles, _each_twice(first, second), strict=True)
            )
        ),
    )


def _each_twice(first: SphCyl, second: SphCyl) -> tuple[SphCyl, ...]:
    return tuple(lens for lens in (first, second) for _ in range(2))


def _powers(power: Callable[[SphCyl, float], float]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS, SHARES)(
        lambda first, second, shares: tuple(
            power(lens, share) for lens, share in zip(_each_twice(first, second), shares, strict=True)
        )
    )


def _power_words(powers: tuple[float, ...]) -> str:
    return f"Right eye {listed(powers[:2])} along 180 and 90; left eye {listed(powers[2:])}."


def _differences(sign: int) -> Rule[tuple[float, float]]:
    @given(POWERS)
    def run(powers: tuple[float, ...]) -> tuple[float, float]:
        right_level, right_upright, left_level, left_upright = powers
        return (sign * (right_level - left_level), sign * (right_upright - left_upright))

    return run


@given(FIRST_LENS, SECOND_LENS)
def _columns(right: SphCyl, left: SphCyl) -> tuple[float, float]:
    return right.sphere - left.sphere, right.sphere + right.cylinder - left.sphere - left.cylinder


def _difference_words(words: str) -> Rule[str]:
    return given(LEVEL, UPRIGHT)(
        lambda level, upright: f"{words}: {signed(level)} along 180, {signed(upright)} along 90."
    )


two_eyes_meridians = CaseType(
    id="two-eyes-meridians",
    title="The two eyes meridian by meridian",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group((RIGHT, LEFT)),
    asks=(LEVEL, UPRIGHT),
    draw=_draw,
    begin=PAIR_OF_EYES,
    steps=(
        ANGLES.step(
            skills.ANGLE_FROM_AXIS,
            run=_angles,
            says=given(ANGLES)(
                lambda angles: (
                    f"From the axis to 180 and to 90: {angles[0]:g}° and {angles[1]:g}° in the right "
                    f"eye, {angles[2]:g}° and {angles[3]:g}° in the left."
                )
            ),
        ),
        SHARES.step(
            skills.SHARE_OF_CYLINDER,
            run=_shares(_square),
            says=_share_words("The squares of the sines"),
            slips=(
                _share_slip(skills.LINEAR_FRACTION, lambda angle: angle / 90, "The angles over 90"),
                _share_slip(
                    skills.SINE_NOT_SQUARED, lambda angle: math.sin(math.radians(angle)), "The sines themselves"
                ),
                _share_slip(skills.COSINE_FOR_SINE, lambda angle: 1 - _square(angle), "The squares of the cosines"),
            ),
        ),
        POWERS.step(
            skills.ADD_SHARE,
            run=_powers(lambda lens, share: lens.sphere + share * lens.cylinder),
            says=given(POWERS)(_power_words),
            slips=(
                Slip(
                    skills.SHARE_ALONE,
                    run=_powers(lambda lens, share: share * lens.cylinder),
                    says=given(POWERS)(lambda powers: f"The shares alone. {_power_words(powers)}"),
                    live=given(FIRST_LENS, SECOND_LENS)(lambda first, second: first.sphere != second.sphere),
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=_powers(lambda lens, share: lens.sphere - share * lens.cylinder),
                    says=given(POWERS)(lambda powers: f"The shares taken away. {_power_words(powers)}"),
                    live=given(FIRST_LENS, SECOND_LENS)(
                        lambda first, second: first.cylinder != 0 or second.cylinder != 0
                    ),
                ),
            ),
        ),
        given(LEVEL, UPRIGHT).step(
            COMPARE_MERIDIANS,
            run=_differences(1),
            says=_difference_words("Right less left"),
            slips=(
                Slip(DIFFERENCE_REVERSED, run=_differences(-1), says=_difference_words("Left less right")),
                Slip(
                    WRITTEN_COLUMNS_COMPARED,
                    run=_columns,
                    says=_difference_words("Column by column as they are written"),
                    live=given(_differences(1), _columns)(
                        lambda differences, columns: (
                            max(abs(a - b) for a, b in zip(differences, columns, strict=True)) > 0.001
                        )
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(LEVEL, UPRIGHT),
    found=given(RIGHT, LEFT)(eyes_words),
    question=asking("What is the right eye less the left (signed) along the 180 and along the 90 meridian?"),
    figure=eyes_figure,
    needs=("rx-to-cross", "two-eyes"),
    sources=("thibos-1997",),
)


TYPES = (two_eyes_meridians,)
