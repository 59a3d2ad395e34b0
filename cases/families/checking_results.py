"""Family H: retinoscopy less the final refraction of the same eye, as a lens, and the blur that it would leave."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.families.checking import FAMILY
from cases.families.checking_repeats import FORMS_NOT_MATCHED
from cases.families.checking_steps import DIFFERENCE_REVERSED
from cases.families.checking_vision import BLUR_SOURCE, BLUR_STRENGTH, CYLINDER_UNCOUNTED, PARTS_ADDED
from cases.families.over_refraction import axes_agree, axes_differ
from cases.families.vectors import ADD, AXIS_90_OUT, AXIS_PROBES, FIND_AXIS, MEANS, PUT_TOGETHER, RESOLVE
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_lenses import power_cross
from cases.kinds import Lens, Size
from cases.lens import SphCyl, axis_gap, axis_of
from cases.steps import FORM, FORM_WORDS, as_written, lens_pair, lens_words, pick_lens, signed, size
from cases.sums import root_of_squares
from cases.transposing import in_other_form, turning_steps
from cases.working import Known, Skill, Slip, SlipName, Step

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


def _take_away(first: Callable[[SphCyl], SphCyl], second: Callable[[SphCyl], SphCyl]) -> Callable[[Known], Any]:
    return lambda known: {"first": first(known["found"]), "second": second(known["other"])}


def _same(lens: SphCyl) -> SphCyl:
    return lens


def _sphere_turned(lens: SphCyl) -> SphCyl:
    return SphCyl(-lens.sphere or 0.0, lens.cylinder, lens.axis)


def _added_words(known: Known) -> str:
    return f"{as_written(known['first'])} and {as_written(known['second'])} added up."


TAKE_AWAY = Step(
    TAKE_LENS_AWAY,
    run=_take_away(_same, operator.neg),
    says=lambda known: (
        f"Retinoscopy less the other: add the opposite of {as_written(known['other'])}, which is "
        f"{as_written(known['second'])}."
    ),
    slips=(
        Slip(
            DIFFERENCE_REVERSED,
            run=_take_away(operator.neg, _same),
            says=lambda known: f"Reversed: {_added_words(known)}",
        ),
        Slip(
            ADDED_FOR_DIFFERENCE,
            run=_take_away(_same, _same),
            says=_added_words,
            live=lambda known: known["other"].strongest > 0,
        ),
        Slip(
            SPHERE_TURNED_ALONE,
            run=_take_away(_same, _sphere_turned),
            says=_added_words,
            live=lambda known: known["other"].sphere != 0 and known["other"].cylinder != 0,
        ),
    ),
)
"""From `found` and `other` to `first` and `second`, two lenses whose sum is the difference."""


def _matched(known: Known) -> SphCyl:
    """Write the second lens with the axis of the first; a sphere takes any."""
    first, second = lens_pair(known)
    if not first.cylinder or axis_gap(first.axis, second.axis) < 45:
        return second
    return second.transposed()


def _lie_across(known: Known) -> bool:
    first, second = lens_pair(known)
    return bool(first.cylinder and second.cylinder and axis_gap(first.axis, second.axis) > 45)


MATCH = Step(
    MATCH_FORMS,
    run=lambda known: {"second": _matched(known)},
    says=lambda known: (
        f"Their axes lie across each other, so turn one into the other form: {as_written(known['second'])}."
    ),
    slips=(
        Slip(
            FORMS_NOT_MATCHED,
            run=lambda known: {"second": SphCyl(known["second"].sphere, known["second"].cylinder, known["first"].axis)},
            says=lambda known: (
                f"Taken as it stands: {signed(known['second'].sphere)} / {signed(known['second'].cylinder)}."
            ),
        ),
    ),
    needed=lambda known: axes_agree(known) and _lie_across(known),
)


def _columns(known: Known) -> dict[str, Any]:
    first, second = lens_pair(known)
    return {
        "sphere": first.sphere + second.sphere,
        "cylinder": first.cylinder + second.cylinder,
        "axis": first.axis if first.cylinder else second.axis,
    }


def _one_column_left(known: Known) -> dict[str, Any]:
    return {**_columns(known), "cylinder": known["first"].cylinder}


ADD_COLUMNS = Step(
    skills.ADD_LENSES,
    run=_columns,
    says=lambda known: (
        f"One axis, so sphere to sphere and cylinder to cylinder: "
        f"{lens_words(known['sphere'], known['cylinder'], known['axis'])}."
    ),
    slips=(
        Slip(
            CYLINDER_CARRIED_OVER,
            run=_one_column_left,
            says=lambda known: f"The cylinder left as it was found: {signed(known['cylinder'])}.",
            live=lambda known: known["second"].cylinder != 0,
        ),
    ),
    needed=axes_agree,
)


def _halves(known: Known) -> tuple[float, float]:
    return known["sphere"] + known["cylinder"] / 2, known["cylinder"] / 2


def _blur(blur: Callable[[float, float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"blur": blur(*_halves(known))}


def _blur_words(known: Known) -> str:
    mean, half = _halves(known)
    blur = root_of_squares(mean, half, known["blur"])
    return f"Mean {size(mean)} D, half of the cylinder {size(half)} D: √(mean² + half²) = {blur} D."


BLUR_LEFT = Step(
    BLUR_STRENGTH,
    run=_blur(math.hypot),
    says=_blur_words,
    slips=(
        Slip(
            skills.SPHERE_ONLY,
            run=lambda known: {"blur": math.hypot(known["sphere"], known["cylinder"] / 2)},
            says=lambda known: f"The written sphere taken for the mean: {size(known['blur'])} D.",
            live=lambda known: abs(known["cylinder"]) > 1e-9,
        ),
        Slip(
            CYLINDER_UNCOUNTED,
            run=_blur(lambda mean, _: abs(mean)),
            says=lambda known: f"The mean alone: {size(known['blur'])} D.",
            live=lambda known: abs(known["cylinder"]) > 1e-9,
        ),
        Slip(
            PARTS_ADDED,
            run=_blur(lambda mean, half: abs(mean) + abs(half)),
            says=lambda known: f"Mean and half cylinder added: {size(known['blur'])} D.",
            live=lambda known: all(abs(part) > 1e-9 for part in _halves(known)),
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
    return {"found": found.in_form(settings.form), "other": other.in_form(form), "form": settings.form}


def two_results(known: Known, uid: str) -> Figure:
    """Draw what retinoscopy found and, dashed, the other result."""
    return power_cross(known["found"], known["other"], uid=uid, names=("found", "other"))


result_difference = CaseType(
    id="result-difference",
    title="The difference between two results, and its blur",
    family=FAMILY,
    level="expert",
    seconds=60,
    findings=Group((FOUND, OTHER, FORM)),
    asks=(
        Field("difference", "Retinoscopy less final refraction", Lens()),
        Field("blur", "Blur that it would leave", Size(exact=0.02, tolerance=0.03)),
    ),
    draw=_draw,
    begin=lambda _: {},
    steps=(
        TAKE_AWAY,
        MATCH,
        ADD_COLUMNS,
        *(replace(step, needed=axes_differ) for step in (MEANS, RESOLVE, ADD, PUT_TOGETHER, FIND_AXIS)),
        *turning_steps(in_other_form, axis_alone=False),
        BLUR_LEFT,
    ),
    answer=lambda known: {
        "difference": SphCyl(known["sphere"], known["cylinder"], known["axis"]),
        "blur": known["blur"],
    },
    found=lambda known: (
        f"Retinoscopy, net: {as_written(known['found'])}.",
        f"Final refraction of the same eye: {as_written(known['other'])}.",
    ),
    question=lambda known: (
        f"To 0.01 D: what is retinoscopy less the final refraction, as a lens in {FORM_WORDS[known['form']]}, and how "
        "strong is the blur that it would leave (the length of its power vector)?"
    ),
    figure=two_results,
    needs=("over-refraction",),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=(BLUR_SOURCE, "Taylor 2011, Eye 25:1333 (a refraction examination marked by the residual lens)"),
)

TYPES = (result_difference,)
