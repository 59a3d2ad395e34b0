"""Family H: retinoscopy less the final refraction of the same eye, as a lens, and the blur that it would leave."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.blur_and_vision import BLUR_STRENGTH, CYLINDER_UNCOUNTED, PARTS_ADDED
from cases.curriculum.checking.checking_steps import DIFFERENCE_REVERSED, FORMS_NOT_MATCHED
from cases.curriculum.power_vectors import (
    ADD,
    AXES_AGREE,
    AXES_DIFFER,
    AXIS_90_OUT,
    AXIS_PROBES,
    FIND_AXIS,
    MEANS,
    PUT_TOGETHER,
    RESOLVE,
    axes_agree,
)
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import (
    FIRST_LENS,
    FORM,
    FORM_WORDS,
    SECOND_LENS,
    as_written,
    lens_words,
    pick_lens,
    signed,
    size,
)
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.lenses import power_cross
from cases.notation.sums import root_of_squares
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Rule, Slip, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

TAKE_LENS_AWAY = Skill("take-lens-away", "taking one lens away from another")
MATCH_FORMS = Skill("match-forms", "bringing two lenses into one cylinder form")

ADDED_FOR_DIFFERENCE = SlipName(
    "added-for-difference",
    "added the two results instead of taking one away",
    "A difference is the one result with the opposite of the other. Turn all signs of the one that is taken away.",
)
SPHERE_TURNED_ALONE = SlipName(
    "sphere-alone-turned",
    "turned the sign of the sphere and left the cylinder as it was",
    "To take a lens away, turn both signs: −(−1.00 / −0.50 × 90) is +1.00 / +0.50 × 90.",
)

CYLINDER_CARRIED_OVER = SlipName(
    "cylinder-carried-over",
    "compared the spheres and carried the cylinder over",
    "Both columns count: the cylinder of the difference is the difference of the cylinders.",
)

FOUND = Field("found", "Net result of retinoscopy", Lens())
OTHER = Field("other", "Final refraction of the same eye", Lens())
DIFFERENCE = Field("difference", "Retinoscopy less final refraction", Lens())
BLUR = Field("blur", "Blur that it would leave", quantities.SIZE.having(exact=0.02, tolerance=0.03))


def _take_away(first: Callable[[SphCyl], SphCyl], second: Callable[[SphCyl], SphCyl]) -> Rule[tuple[SphCyl, SphCyl]]:
    return given(FOUND, OTHER)(lambda found, other: (first(found), second(other)))


def _same(lens: SphCyl) -> SphCyl:
    return lens


def _sphere_turned(lens: SphCyl) -> SphCyl:
    return SphCyl(-lens.sphere or 0.0, lens.cylinder, lens.axis)


def _added_words(first: SphCyl, second: SphCyl) -> str:
    return f"{as_written(first)} and {as_written(second)} added up."


TAKE_AWAY = given(FIRST_LENS, SECOND_LENS).step(
    TAKE_LENS_AWAY,
    run=_take_away(_same, operator.neg),
    says=given(OTHER, SECOND_LENS)(
        lambda other, second: (
            f"Retinoscopy less the other: add the opposite of {as_written(other)}, which is {as_written(second)}."
        )
    ),
    slips=(
        Slip(
            DIFFERENCE_REVERSED,
            run=_take_away(operator.neg, _same),
            says=given(FIRST_LENS, SECOND_LENS)(lambda first, second: f"Reversed: {_added_words(first, second)}"),
        ),
        Slip(
            ADDED_FOR_DIFFERENCE,
            run=_take_away(_same, _same),
            says=given(FIRST_LENS, SECOND_LENS)(_added_words),
            live=given(OTHER)(lambda other: other.strongest > 0),
        ),
        Slip(
            SPHERE_TURNED_ALONE,
            run=_take_away(_same, _sphere_turned),
            says=given(FIRST_LENS, SECOND_LENS)(_added_words),
            live=given(OTHER)(lambda other: other.sphere != 0 and other.cylinder != 0),
        ),
    ),
)
"""From `found` and `other` to `first` and `second`, two lenses whose sum is the difference."""


def _matched(first: SphCyl, second: SphCyl) -> SphCyl:
    """Write the second lens with the axis of the first; a sphere takes any."""
    if not first.cylinder or axis_gap(first.axis, second.axis) < 45:
        return second
    return second.transposed()


def _lie_across(first: SphCyl, second: SphCyl) -> bool:
    return bool(first.cylinder and second.cylinder and axis_gap(first.axis, second.axis) > 45)


MATCH = SECOND_LENS.step(
    MATCH_FORMS,
    run=given(FIRST_LENS, SECOND_LENS)(_matched),
    says=given(SECOND_LENS)(
        lambda second: f"Their axes lie across each other, so turn one into the other form: {as_written(second)}."
    ),
    slips=(
        Slip(
            FORMS_NOT_MATCHED,
            run=given(FIRST_LENS, SECOND_LENS)(
                lambda first, second: SphCyl(second.sphere, second.cylinder, first.axis)
            ),
            says=given(SECOND_LENS)(
                lambda second: f"Taken as it is written: {signed(second.sphere)} / {signed(second.cylinder)}."
            ),
        ),
    ),
    needed=given(FIRST_LENS, SECOND_LENS)(
        lambda first, second: axes_agree(first, second) and _lie_across(first, second)
    ),
)


def _columns(cylinder: Callable[[SphCyl, SphCyl], float]) -> Rule[tuple[float, float, float]]:
    return given(FIRST_LENS, SECOND_LENS)(
        lambda first, second: (
            first.sphere + second.sphere,
            cylinder(first, second),
            first.axis if first.cylinder else second.axis,
        )
    )


ADD_COLUMNS = given(SPHERE, CYLINDER, AXIS).step(
    skills.ADD_LENSES,
    run=_columns(lambda first, second: first.cylinder + second.cylinder),
    says=given(SPHERE, CYLINDER, AXIS)(
        lambda sphere, cylinder, axis: (
            f"One axis, so sphere to sphere and cylinder to cylinder: {lens_words(sphere, cylinder, axis)}."
        )
    ),
    slips=(
        Slip(
            CYLINDER_CARRIED_OVER,
            run=_columns(lambda first, _: first.cylinder),
            says=given(CYLINDER)(lambda cylinder: f"The cylinder left as it was found: {signed(cylinder)}."),
            live=given(SECOND_LENS)(lambda second: second.cylinder != 0),
        ),
    ),
)


@given(SPHERE, CYLINDER)
def _halves(sphere: float, cylinder: float) -> tuple[float, float]:
    return sphere + cylinder / 2, cylinder / 2


def _blur(blur: Callable[[float, float], float]) -> Rule[float]:
    return given(_halves)(lambda halves: blur(*halves))


@given(_halves, BLUR)
def _blur_words(halves: tuple[float, float], blur: float) -> str:
    mean, half = halves
    length = root_of_squares(mean, half, blur)
    return f"Mean {size(mean)} D, half of the cylinder {size(half)} D: √(mean² + half²) = {length} D."


BLUR_LEFT = BLUR.step(
    BLUR_STRENGTH,
    run=_blur(math.hypot),
    says=_blur_words,
    slips=(
        Slip(
            skills.SPHERE_ONLY,
            run=given(SPHERE, CYLINDER)(lambda sphere, cylinder: math.hypot(sphere, cylinder / 2)),
            says=given(BLUR)(lambda blur: f"The written sphere taken for the mean: {size(blur)} D."),
            live=given(CYLINDER)(lambda cylinder: abs(cylinder) > 1e-9),
        ),
        Slip(
            CYLINDER_UNCOUNTED,
            run=_blur(lambda mean, _: abs(mean)),
            says=given(BLUR)(lambda blur: f"The mean alone: {size(blur)} D."),
            live=given(CYLINDER)(lambda cylinder: abs(cylinder) > 1e-9),
        ),
        Slip(
            PARTS_ADDED,
            run=_blur(lambda mean, half: abs(mean) + abs(half)),
            says=given(BLUR)(lambda blur: f"Mean and half cylinder added: {size(blur)} D."),
            live=given(_halves)(lambda halves: all(abs(part) > 1e-9 for part in halves)),
        ),
    ),
)


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    found = pick_lens(chance, settings, sphere=(-6, 5), cylinder=(1, 3))
    mean = chance.among((-1, 1)) * chance.stepped(0.25, 1)
    cylinder = chance.among((-1, 1)) * chance.stepped(0.5, 1)
    if settings.level == "expert" and chance.happens(0.75):
        turn = chance.among((-1, 1)) * chance.whole(8, 35)
        other = SphCyl(found.sphere - mean, found.cylinder - cylinder, axis_of(found.axis + turn))
    else:
        other = SphCyl(found.sphere - mean - cylinder / 2 % 0.25, found.cylinder - cylinder, found.axis)
    form = settings.form if settings.level == "novice" else chance.among(("minus", "plus"))
    return given(FOUND, OTHER, FORM).to(found.in_form(settings.form), other.in_form(form), settings.form)


@given(FOUND, OTHER).drawing
def two_results(uid: str, found: SphCyl, other: SphCyl) -> Figure:
    """Draw what retinoscopy found and, dashed, the other result."""
    return power_cross(found, other, uid=uid, names=("found", "other"))


result_difference = CaseType(
    id="result-difference",
    title="The difference between two results, and its blur",
    family=FAMILY,
    level="expert",
    seconds=60,
    findings=Group((FOUND, OTHER, FORM)),
    asks=(DIFFERENCE, BLUR),
    draw=_draw,
    steps=(
        TAKE_AWAY,
        MATCH,
        ADD_COLUMNS.when(AXES_AGREE),
        *(step.when(AXES_DIFFER) for step in (MEANS, RESOLVE, ADD, PUT_TOGETHER, FIND_AXIS)),
        *turning_steps(given(CYLINDER, FORM)(in_other_form), axis_alone=False),
        BLUR_LEFT,
    ),
    answer=given(DIFFERENCE, BLUR).by(
        given(SPHERE, CYLINDER, AXIS, BLUR)(lambda sphere, cylinder, axis, blur: (SphCyl(sphere, cylinder, axis), blur))
    ),
    found=given(FOUND, OTHER)(
        lambda found, other: (
            f"Retinoscopy, net: {as_written(found)}.",
            f"Final refraction of the same eye: {as_written(other)}.",
        )
    ),
    question=given(FORM)(
        lambda form: (
            f"To 0.01 D: what is retinoscopy less the final refraction, as a lens in {FORM_WORDS[form]}, and how "
            "strong is the blur that it would leave (the length of its power vector)?"
        )
    ),
    figure=two_results,
    needs=("over-refraction",),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("thibos-1997", "taylor-2011"),
)

TYPES = (result_difference,)
