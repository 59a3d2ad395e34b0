"""The sum of two lenses: on one power cross where their axes agree, by power vectors where they differ.

Source: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367.
"""

from __future__ import annotations

from collections.abc import Callable

from cases.curriculum import skills
from cases.curriculum.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, find_cylinder
from cases.curriculum.power_vectors import (
    ADD,
    AXES_AGREE,
    AXES_DIFFER,
    COMPONENTS_ADDED,
    FIND_AXIS,
    MEANS,
    PUT_TOGETHER,
    RESOLVE,
    as_they_stand,
)
from cases.curriculum.shared_keys import CYLINDER, MERIDIANS
from cases.curriculum.steps import (
    FIRST_LENS,
    FORM,
    NET,
    SECOND_LENS,
    Powers,
    add_sizes,
    as_written,
    degrees,
    listed,
    signed,
)
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.chain import Skill
from cases.procedure.keys import ALWAYS, Key, Readable, Rule, Slip, Step, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LAY_BOTH = Skill("lay-both-on-cross", "laying two lenses on one cross")

LAID_ALONG = Key[tuple[float, ...]]("along", unit="D")
BESIDE = Key[tuple[float, ...]]("beside", unit="D")
OVER = Key[SphCyl]("over")
"""What retinoscopy found over the lens that is worn."""


def pick_second(chance: Chance, settings: Settings, first: SphCyl, *, cylinder: tuple[float, float]) -> SphCyl:
    """Draw a weak minus-cylinder lens whose axis lies 10 to 80 degrees from the first one's."""
    step = 1 if settings.level == "expert" else 5
    turn = chance.among((-1, 1)) * chance.stepped(10, 80, step)
    return SphCyl(chance.stepped(-2, 2), -chance.stepped(*cylinder), axis_of(first.axis + turn))


# --- by power vectors --------------------------------------------------------------------------------------------


def component_steps(needed: Rule[bool] = ALWAYS) -> tuple[Step, ...]:
    """Build the steps from `first`, `second` and `form` to `sphere`, `cylinder` and `axis` of their sum."""

    @given(needed, CYLINDER, FORM)
    def to_be_turned(needed: bool, cylinder: float, form: str) -> bool:
        return needed and in_other_form(cylinder, form)

    chain = (MEANS, RESOLVE, ADD, PUT_TOGETHER, FIND_AXIS)
    return (*(step.when(needed) for step in chain), *turning_steps(to_be_turned))


# --- on one cross ------------------------------------------------------------------------------------------------


def _cross_axis(first: SphCyl, second: SphCyl) -> float:
    lens: SphCyl = first if first.cylinder else second
    return lens.axis


Laid = Rule[tuple[Powers, Powers, Powers]]
"""The two meridians, and the powers of both lenses in each."""


def _laid(along: Callable[[SphCyl, float], float], beside: Callable[[SphCyl, float], float]) -> Laid:
    @given(FIRST_LENS, SECOND_LENS)
    def run(first: SphCyl, second: SphCyl) -> tuple[Powers, Powers, Powers]:
        axis = _cross_axis(first, second)
        lenses = (first, second)
        return (
            (axis, across(axis)),
            tuple(along(lens, axis) for lens in lenses),
            tuple(beside(lens, across(axis)) for lens in lenses),
        )

    return run


def _laid_words(meridians: tuple[float, ...], along: tuple[float, ...], beside: tuple[float, ...]) -> str:
    first, second = meridians
    return f"{listed(along)} along {degrees(first)}, {listed(beside)} along {degrees(second)}."


def _laid_alone(lens: SphCyl, meridian: float) -> float:
    return lens.cylinder if axis_gap(lens.axis, meridian) > 45 else lens.sphere


def _summed(add: Callable[[float, float], float]) -> Rule[Powers]:
    return given(LAID_ALONG, BESIDE)(lambda along, beside: (add(*along), add(*beside)))


def _net_words(net: tuple[float, ...], meridians: tuple[float, ...]) -> str:
    return f"{signed(net[0])} along {degrees(meridians[0])}, {signed(net[1])} along {degrees(meridians[1])}"


@given(FIRST_LENS, SECOND_LENS)
def _naive_words(first: SphCyl, second: SphCyl) -> str:
    lens = as_they_stand(*(first, second), _cross_axis(first, second))
    return f"Sphere to sphere, cylinder to cylinder: {as_written(lens)}."


@given(FIRST_LENS, SECOND_LENS)
def _columns(first: SphCyl, second: SphCyl) -> tuple[Powers, Powers, Powers]:
    axis = _cross_axis(first, second)
    return (
        (axis, across(axis)),
        (first.sphere, second.sphere),
        (first.sphere + first.cylinder, second.sphere + second.cylinder),
    )


_ON_ONE_CROSS = (
    given(MERIDIANS, LAID_ALONG, BESIDE).step(
        LAY_BOTH,
        run=_laid(SphCyl.power_at, SphCyl.power_at),
        says=given(MERIDIANS, LAID_ALONG, BESIDE)(
            lambda meridians, along, beside: f"Both lenses on one cross: {_laid_words(meridians, along, beside)}"
        ),
        slips=(
            Slip(
                COMPONENTS_ADDED,
                run=_columns,
                says=_naive_words,
                live=given(FIRST_LENS, SECOND_LENS)(
                    lambda first, second: (
                        bool(first.cylinder and second.cylinder) and axis_gap(first.axis, second.axis) > 45
                    )
                ),
            ),
            Slip(
                skills.CYLINDER_ALONE,
                run=_laid(_laid_alone, _laid_alone),
                says=given(MERIDIANS, LAID_ALONG, BESIDE)(
                    lambda meridians, along, beside: (
                        f"The cylinder alone across each axis: {_laid_words(meridians, along, beside)}"
                    )
                ),
                live=given(FIRST_LENS, SECOND_LENS)(
                    lambda first, second: any(lens.cylinder and lens.sphere for lens in (first, second))
                ),
            ),
        ),
    ),
    NET.step(
        skills.ADD_LENSES,
        run=_summed(lambda a, b: a + b),
        says=given(NET, MERIDIANS)(lambda net, meridians: f"Added in each meridian: {_net_words(net, meridians)}."),
        slips=(
            Slip(
                skills.SIGN_LOST_IN_SUM,
                run=_summed(add_sizes),
                says=given(NET, MERIDIANS)(lambda net, meridians: f"The sizes added: {_net_words(net, meridians)}."),
                live=given(LAID_ALONG, BESIDE)(lambda along, beside: any(a * b < 0 for a, b in (along, beside))),
            ),
        ),
    ),
    choose_sphere(FIRST_TAKEN),
    find_cylinder(),
    PLACE_AXIS,
)


def summing_steps() -> tuple[Step, ...]:
    """Build the steps from `first`, `second` and `form` to their sum, on one cross where the axes agree."""
    return (
        *(step.when(AXES_AGREE) for step in _ON_ONE_CROSS),
        *component_steps(AXES_DIFFER),
    )


# --- over a lens that is worn ------------------------------------------------------------------------------------


def count_worn(worn: Readable[SphCyl], words: Rule[str]) -> Step:
    """Step: the lens that is `worn` and `over`, what was found over it, to `first` and `second`, which add up."""
    return given(FIRST_LENS, SECOND_LENS).step(
        skills.COUNT_WORN_LENS,
        run=given(worn, OVER)(lambda worn, over: (worn, over)),
        says=words,
        slips=(
            Slip(
                skills.OVER_REFRACTION_REPLACES,
                run=given(worn, OVER)(lambda worn, over: (SphCyl(0, 0, worn.axis), over)),
                says=given(SECOND_LENS)(lambda second: f"Only what was found: {as_written(second)}."),
                live=given(worn)(lambda worn: worn.strongest > 0),
            ),
            Slip(
                skills.OVER_REFRACTION_TAKEN_OFF,
                run=given(worn, OVER)(lambda worn, over: (worn, -over)),
                says=given(SECOND_LENS)(lambda second: f"What was found is taken off: {as_written(second)}."),
                live=given(OVER)(lambda over: over.strongest > 0),
            ),
        ),
    )
