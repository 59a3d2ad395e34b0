"""Family H: the average of two readings that agree, as lenses and not column by column."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.drawn_eyes import STRONG_CYLINDERS, Sought, of_subject, two_readings
from cases.curriculum.power_vectors import (
    ADD,
    AXIS_90_OUT,
    AXIS_PROBES,
    FIND_AXIS,
    MEANS,
    PUT_TOGETHER,
    RESOLVE,
    fine,
)
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE, SUM
from cases.curriculum.steps import FORM, FORM_WORDS, PRESCRIPTION, as_written, pick_lens
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.lenses import power_cross
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Slip, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

HALVE_SUM = Skill("halve-sum", "halving a sum of two lenses")

SUM_NOT_HALVED = SlipName(
    "sum-not-halved",
    "recorded the sum of two readings",
    "Two readings added make twice the lens. Halve every component.",
)


FIRST = Field("first", "First reading", Lens())
SECOND = Field("second", "Second reading", Lens())


@given(FIRST, SECOND)
def _half_way_between_numbers(first: SphCyl, second: SphCyl) -> tuple[float, ...]:
    axis = axis_of((first.axis + second.axis) / 2)
    return SphCyl(first.sphere + second.sphere, first.cylinder + second.cylinder, axis).power_vector()


def _sum_words(total: tuple[float, ...]) -> str:
    return f"M {fine(total[0])}, J0 {fine(total[1])}, J45 {fine(total[2])}"


_ADDED = ADD.with_slips(
    # The columns of two readings that agree average well enough but for this trap, so no more is told apart here.
    Slip(
        skills.MIDDLE_PAST_180,
        run=_half_way_between_numbers,
        says=given(SUM)(lambda total: f"Columns added, the axis half-way between the numbers: {_sum_words(total)}."),
        live=given(FIRST, SECOND)(lambda first, second: abs(first.axis - second.axis) > 90),
    ),
)

_HALVED = SUM.step(
    HALVE_SUM,
    run=given(SUM)(lambda total: tuple(part / 2 for part in total)),
    says=given(SUM)(lambda total: f"Half of each: {_sum_words(total)}."),
    slips=(Slip(SUM_NOT_HALVED, run=given(SUM)(lambda total: total), says=given()(lambda: "The sum left undivided.")),),
)


NINETY_OUT: tuple[Pair, ...] = (
    *AXIS_90_OUT,
    *(
        (SlipRef(ADD.skill.id, skills.MIDDLE_PAST_180.id), ref)
        for ref in dict.fromkeys(ref for pair in AXIS_90_OUT for ref in pair)
    ),
)
"""Half-way between two numbers on either side of 180 is 90° out as well; with both on one side it is not."""


MEAN_OR_HALF: tuple[Pair, ...] = tuple(
    (SlipRef(MEANS.skill.id, name.id), SlipRef(PUT_TOGETHER.skill.id, skills.MEAN_AS_SPHERE.id))
    for name in (skills.WHOLE_CYLINDER, skills.SPHERE_ONLY)
)
"""With axes all but alike, either end of the mean comes to the mean once more; with axes well apart it does not."""


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw two readings of one eye whose axes differ, in three cases of five across 180."""
    across_180 = of_subject(chance).happens(0.6)

    def wanted(first: SphCyl, second: SphCyl) -> bool:
        moderate = all(0.75 <= -one.cylinder <= 3 and abs(one.sphere) <= 6 for one in (first, second))
        agree = abs(first.spherical_equivalent - second.spherical_equivalent) <= settings.norm("repeat-mean") and abs(
            first.cylinder - second.cylinder
        ) <= settings.norm("repeat-cylinder")
        apart = abs(first.axis - second.axis)
        return moderate and agree and 10 <= axis_gap(first.axis, second.axis) <= 20 and (apart > 90 or not across_180)

    first, second = two_readings(
        chance, settings, wanted, practised=False, sought=Sought(strata=STRONG_CYLINDERS)
    ) or _evenly_drawn(chance, settings, across_180=across_180)
    return given(FIRST, SECOND, FORM).to(first.in_form(settings.form), second.in_form(settings.form), settings.form)


def _evenly_drawn(chance: Chance, settings: Settings, *, across_180: bool) -> tuple[SphCyl, SphCyl]:
    step = 1 if settings.level == "expert" else 5
    first = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(1, 3))
    turn = chance.among((-1, 1)) * chance.stepped(10, 20, step)
    if across_180:
        start = 180 - step if turn > 0 else step
        first = SphCyl(first.sphere, first.cylinder, start)
    size = min(first.cylinder + chance.among((-0.25, 0, 0.25)), -0.5)
    second = SphCyl(first.sphere + chance.among((-0.5, -0.25, 0.25, 0.5)), size, axis_of(first.axis + turn))
    return first, second


@given(FIRST, SECOND).drawing
def _both_crosses(uid: str, first: SphCyl, second: SphCyl) -> Figure:
    return power_cross(first, second, uid=uid, names=("first", "second"))


average_readings = CaseType(
    id="average-readings",
    title="The average of two readings",
    family=FAMILY,
    level="expert",
    seconds=90,
    findings=Group((FIRST, SECOND, FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw,
    steps=(
        MEANS,
        RESOLVE,
        _ADDED,
        _HALVED,
        PUT_TOGETHER,
        FIND_AXIS,
        *turning_steps(given(CYLINDER, FORM)(in_other_form), axis_alone=False),
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(FIRST, SECOND)(
        lambda first, second: (
            f"First reading, net: {as_written(first)}.",
            f"Second reading of the same eye, net: {as_written(second)}.",
            "They were found to agree.",
        )
    ),
    question=given(FORM)(lambda form: f"What is their average as a lens, to 0.01 D and 1°, in {FORM_WORDS[form]}?"),
    figure=_both_crosses,
    needs=("crossed-sum", "repeat-or-accept"),
    twins=(*NINETY_OUT, *MEAN_OR_HALF),
    probes=(
        *AXIS_PROBES,
        *(Probe(pair, "crossed-sum") for pair in MEAN_OR_HALF),
        *(Probe(pair, "average-readings") for pair in NINETY_OUT if pair not in AXIS_90_OUT),
    ),
    sources=("thibos-1997",),
)

TYPES = (average_readings,)
