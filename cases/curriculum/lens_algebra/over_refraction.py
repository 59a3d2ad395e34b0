"""Family D, lens algebra: what the eye needs when retinoscopy was done over a lens that is worn."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, find_cylinder
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.lens_algebra.oblique import pick_second
from cases.curriculum.power_vectors import AXIS_90_OUT, AXIS_PROBES, COMPONENTS_ADDED, as_they_stand, component_steps
from cases.curriculum.shared_keys import AXIS, CYLINDER, MERIDIANS, SPHERE
from cases.curriculum.steps import (
    FIRST_LENS,
    FORM,
    FORM_WORDS,
    NET,
    PRESCRIPTION,
    SECOND_LENS,
    Powers,
    add_sizes,
    as_written,
    degrees,
    listed,
    pick_lens,
    signed,
)
from cases.figures.lenses import trial_frame
from cases.optics.lens import SphCyl, across, axis_gap
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Readable, Rule, Slip, Step, given, otherwise
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LAY_BOTH = Skill("lay-both-on-cross", "laying two lenses on one cross")


LAID_ALONG = Key[tuple[float, ...]]("along", unit="D")
BESIDE = Key[tuple[float, ...]]("beside", unit="D")
OVER = Key[SphCyl]("over")


def axes_agree(first: SphCyl, second: SphCyl) -> bool:
    """Say whether `first` and `second` lie on one power cross: axes alike or at right angles, or one a sphere."""
    gap = axis_gap(first.axis, second.axis)
    return not (first.cylinder and second.cylinder) or min(gap, 90 - gap) < 0.05


AXES_AGREE = given(FIRST_LENS, SECOND_LENS)(axes_agree)
AXES_DIFFER = otherwise(AXES_AGREE)
"""Then the two must be added by components."""


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


def _draw_over(chance: Chance, settings: Settings) -> dict[str, Any]:
    worn = pick_lens(chance, settings, sphere=(-6, 5), cylinder=(0.75, 3.0))
    if settings.level == "expert" and chance.happens(0.75):
        found = pick_second(chance, settings, worn, cylinder=(0.75, 1.75))
    else:
        size = chance.among((0, 0.5, 0.75)) if settings.level == "novice" else chance.stepped(0.5, 1.25)
        axis = across(worn.axis) if settings.level != "novice" and chance.happens(0.5) else worn.axis
        found = SphCyl(chance.among((-1, 1)) * chance.stepped(0.5, 2.5), -size, axis if size else 180)
    return given(WORN, FOUND, FORM).to(worn, found, settings.form)


WORN = Field("worn", "Lens that is worn", Lens())
FOUND = Field("found", "Net result of retinoscopy over it", Lens())
over_refraction = CaseType(
    id="over-refraction",
    title="Retinoscopy over the spectacles",
    family=FAMILY,
    level="competent",
    seconds=40,
    findings=Group(
        (
            WORN,
            FOUND,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_over,
    begin=OVER.by(given(FOUND)(lambda found: found)),
    steps=(
        count_worn(
            WORN,
            given(FIRST_LENS, SECOND_LENS)(
                lambda first, second: (
                    f"What was found sits on what is worn, so {as_written(first)} and {as_written(second)} add up."
                )
            ),
        ),
        *summing_steps(),
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(WORN, FOUND)(
        lambda worn, found: (
            f"Worn: {as_written(worn)}.",
            f"Over it, with the working distance taken off already: {as_written(found)}.",
        )
    ),
    question=given(FORM)(lambda form: f"What prescription does the eye need, unrounded, in {FORM_WORDS[form]}?"),
    figure=given(WORN, FOUND).drawing(
        lambda uid, worn, found: trial_frame((worn, found), notes={0: "worn", 1: "found, net"}, uid=uid)
    ),
    needs=("cross-to-rx", "transpose"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("common practice, no published source; sums: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",),
)

TYPES = (over_refraction,)
