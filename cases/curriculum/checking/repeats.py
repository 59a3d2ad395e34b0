"""Family H: two readings of one eye. Repeat or accept, and what to record when they agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.checking_steps import (
    ADD_BOTH,
    AGAIN_WITHOUT_CAUSE,
    FORMS_NOT_MATCHED,
    HALVE_BOTH,
    SIGN_AGAINST_LIMIT,
    subtract_means,
)
from cases.curriculum.drawn_eyes import of_subject, two_readings
from cases.curriculum.shared_keys import AXES, CYLINDERS, MEAN_DIFFERENCE
from cases.curriculum.steps import as_written, degrees, pick_lens, signed, size
from cases.figures.lenses import power_cross
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.tolerances import AXIS_AGREEMENT, SAME_EXAMINER_CYLINDER, SAME_EXAMINER_MEAN
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

COMPARE_CYLINDERS = Skill("compare-cylinders", "comparing the cylinders of two lenses in one form")
COMPARE_AXES = Skill("compare-axes", "comparing two axes around the dial")
REPEAT_OR_ACCEPT = Skill("repeat-or-accept", "deciding whether two readings agree")

AXES_STRAIGHT_SUBTRACTED = SlipName(
    "axes-subtracted-across-180",
    "subtracted two axes that lie on either side of 180",
    "The dial closes at 180: from 175 to 5 it is 10°, not 170°.",
    ("iso-8429",),
)
WEAK_CYLINDER_AXIS = SlipName(
    "axis-of-weak-cylinder-judged",
    "judged the axis of a cylinder too weak to have a sure one",
    f"Below {AXIS_AGREEMENT[2]:.2f} D an axis is naturally uncertain; the published agreement is for stronger "
    f"cylinders.",
    ("mccullough-2017",),
)
AVERAGED_ANYWAY = SlipName(
    "disagreeing-readings-averaged",
    "averaged two readings that disagree",
    "The average of a right and a wrong reading is wrong too. Measure again and see which one comes back.",
)
VERDICTS = Choice(
    (
        Option("accept", "they agree: record the average", "means, cylinders and axes all agree within the limits"),
        Option(
            "again-mean",
            "measure again: the mean powers differ too much",
            "the mean powers differ by more than their limit",
        ),
        Option(
            "again-cylinder",
            "measure again: the cylinders differ too much",
            "the cylinders differ by more than their limit",
        ),
        Option(
            "again-axis",
            "measure again: the axes differ too much",
            "the cylinders are strong enough to count, and the axes differ by more than their limit",
        ),
    )
)


FIRST = Field("first", "First reading, net", Lens())
SECOND = Field("second", "Second reading, net", Lens())
MEAN_LIMIT = Field(
    "mean_limit", "Most by which mean powers may differ", quantities.SIZE, default=SAME_EXAMINER_MEAN.widest
)
CYLINDER_LIMIT = Field(
    "cylinder_limit", "Most by which cylinders may differ", quantities.SIZE, default=SAME_EXAMINER_CYLINDER.widest
)
AXIS_LIMIT = Field(
    "axis_limit", "Most by which axes may differ, in degrees", quantities.AXIS, default=AXIS_AGREEMENT[0]
)
AXIS_FROM = Field("axis_from", "Cylinder from which the axis is judged", quantities.SIZE, default=AXIS_AGREEMENT[2])
MEAN = Field("mean", "First mean power less second", quantities.POWER.having(exact=0.03, tolerance=0.06))
VERDICT = Field("verdict", "Do they agree?", VERDICTS)
CYLINDER_GAP = Key[float]("cylinder_gap", unit="D")
AXIS_GAP = Key[float]("axis_gap", unit="°")
AXIS_COUNTS = Key[bool]("axis_counts")

Compared = tuple[tuple[float, ...], tuple[float, ...], float]
"""The cylinders and the axes of both readings, and by how much the cylinders differ."""


def _compared(form: Callable[[SphCyl], SphCyl]) -> Rule[Compared]:
    @given(FIRST, SECOND)
    def run(first: SphCyl, second: SphCyl) -> Compared:
        a, b = form(first), form(second)
        return (a.cylinder, b.cylinder), (a.axis, b.axis), abs(a.cylinder - b.cylinder)

    return run


def _cylinder_words(words: str) -> Rule[str]:
    return given(CYLINDERS, CYLINDER_GAP)(
        lambda cylinders, gap: (
            f"{words}: cylinders {signed(cylinders[0])} and {signed(cylinders[1])}: {size(gap)} D apart."
        )
    )


@given(CYLINDERS, AXIS_FROM)
def _strong(cylinders: tuple[float, ...], axis_from: float) -> bool:
    return min(abs(cylinder) for cylinder in cylinders) >= axis_from - 1e-9


def _gap(gap: Callable[[float, float], float]) -> Rule[tuple[float, bool]]:
    return given(AXES, _strong)(lambda axes, strong: (gap(*axes), strong))


def _straight(a: float, b: float) -> float:
    return abs(a - b)


@given(AXES, AXIS_GAP, AXIS_COUNTS)
def _gap_words(axes: tuple[float, ...], axis_gap: float, axis_counts: bool) -> str:
    first, second = axes
    told = f"Axes {degrees(first)} and {degrees(second)}: {axis_gap:.0f}° apart"
    return f"{told}." if axis_counts else f"{told}, with a cylinder too weak for that to count."


def _in_dioptres(power: float) -> str:
    return f"{size(power)} D"


def _in_degrees(angle: float) -> str:
    return f"{angle:.0f}°"


def _passes(gap: Key[float], limit: Key[float]) -> Rule[bool]:
    return given(gap, limit)(lambda gap, limit: abs(gap) > limit + 1e-9)


def _verdict(mean_passes: Rule[bool]) -> Rule[str]:
    @given(mean_passes, _passes(CYLINDER_GAP, CYLINDER_LIMIT), _passes(AXIS_GAP, AXIS_LIMIT), AXIS_COUNTS)
    def run(mean: bool, cylinder: bool, axis: bool, axis_counts: bool) -> str:
        if mean:
            return "again-mean"
        if cylinder:
            return "again-cylinder"
        return "again-axis" if axis and axis_counts else "accept"

    return run


_right = _verdict(_passes(MEAN_DIFFERENCE, MEAN_LIMIT))
_by_sign = _verdict(given(MEAN_DIFFERENCE, MEAN_LIMIT)(lambda difference, limit: difference > limit + 1e-9))


def _told(gap: Key[float], limit: Key[float], write: Callable[[float], str]) -> Rule[str]:
    return given(gap, limit)(lambda gap, limit: f"{write(gap)} passes {write(limit)}: measure again.")


@given(
    VERDICT,
    _told(MEAN_DIFFERENCE, MEAN_LIMIT, _in_dioptres),
    _told(CYLINDER_GAP, CYLINDER_LIMIT, _in_dioptres),
    _told(AXIS_GAP, AXIS_LIMIT, _in_degrees),
)
def _verdict_words(verdict: str, mean: str, cylinder: str, axis: str) -> str:
    return {
        "accept": "All within the limits: the two agree, so record their average.",
        "again-mean": mean,
        "again-cylinder": cylinder,
        "again-axis": axis,
    }[verdict]


SIGN_OR_AVERAGED: Pair = (
    SlipRef(REPEAT_OR_ACCEPT.id, SIGN_AGAINST_LIMIT.id),
    SlipRef(REPEAT_OR_ACCEPT.id, AVERAGED_ANYWAY.id),
)
"""Both accept a mean that is too minus; only one of them accepts a mean that is too plus."""

# --- drawing -----------------------------------------------------------------------------------------------------

SORTS = ("accept", "accept", "accept", "again-mean", "again-cylinder", "again-axis")


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    limits = given(MEAN_LIMIT, CYLINDER_LIMIT, AXIS_LIMIT, AXIS_FROM).to(
        settings.norm("repeat-mean"), settings.norm("repeat-cylinder"), settings.norm("repeat-axis"), AXIS_AGREEMENT[2]
    )
    sort = of_subject(chance).among(SORTS)

    def wanted(first: SphCyl, second: SphCyl) -> bool:
        moderate = all(0.25 <= -one.cylinder <= 3 and abs(one.sphere) <= 6 for one in (first, second))
        return moderate and first != second and _beyond(first, second, limits) == BEYOND[sort]

    # A practised hand hardly ever strays beyond the limits: readings to be repeated are those of a new one.
    practised = sort == "accept" and chance.happens(0.5)
    readings = two_readings(chance, settings, wanted, practised=practised)
    first, second = readings or _evenly_drawn(sort, limits, chance, settings)
    forms = [settings.form, "plus" if settings.form == "minus" else "minus"]
    mixed = settings.level != "novice" and chance.happens(0.35)
    return given(FIRST, SECOND).to(first.in_form(forms[0]), second.in_form(forms[mixed])) | limits


BEYOND = {
    "accept": (False, False, False),
    "again-mean": (True, False, False),
    "again-cylinder": (False, True, False),
    "again-axis": (False, False, True),
}


def _beyond(first: SphCyl, second: SphCyl, limits: Mapping[str, float]) -> tuple[bool, bool, bool]:
    """Say which of mean, cylinder and axis two readings in minus form differ in by more than the limits."""
    strong = min(-first.cylinder, -second.cylinder) >= AXIS_FROM.get(limits)
    return (
        abs(first.spherical_equivalent - second.spherical_equivalent) > MEAN_LIMIT.get(limits),
        abs(first.cylinder - second.cylinder) > CYLINDER_LIMIT.get(limits),
        strong and axis_gap(first.axis, second.axis) > AXIS_LIMIT.get(limits),
    )


def _evenly_drawn(sort: str, limits: dict[str, float], chance: Chance, settings: Settings) -> tuple[SphCyl, SphCyl]:
    first = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.25, 2.5))
    return first, _second(first, sort, limits, chance, settings)


def _second(first: SphCyl, sort: str, limits: dict[str, float], chance: Chance, settings: Settings) -> SphCyl:
    """Draw a second reading that differs by less than the limits, save in what `sort` names."""
    step = 1 if settings.level == "expert" else 5
    sign = chance.among((-1, 1))
    mean = sign * chance.stepped(0.125, _below(MEAN_LIMIT.get(limits)), 0.125)
    cylinder = chance.among((-0.25, 0.0, 0.25))
    turn = chance.among((-1, 1)) * chance.stepped(0, _floor(AXIS_LIMIT.get(limits), step), step)
    if sort == "again-mean":
        mean = sign * (_below(MEAN_LIMIT.get(limits)) + chance.stepped(0.25, 1, 0.125))
    if sort == "again-cylinder":
        cylinder = -_below(CYLINDER_LIMIT.get(limits), 0.25) - chance.stepped(0.25, 0.75)
    if sort == "again-axis":
        turn = chance.among((-1, 1)) * (_floor(AXIS_LIMIT.get(limits), step) + chance.stepped(step, 25, step))
    size = min(first.cylinder + cylinder, -0.25)
    sphere = first.spherical_equivalent + mean - size / 2
    return SphCyl(math.floor(sphere * 4 + 0.5) / 4, size, axis_of(first.axis + turn))


def _floor(limit: float, step: float) -> float:
    return math.floor(limit / step + 1e-9) * step


def _below(limit: float, step: float = 0.125) -> float:
    return max(_floor(limit, step), step)


@given(FIRST, SECOND).drawing
def _both_crosses(uid: str, first: SphCyl, second: SphCyl) -> Figure:
    return power_cross(first, second, uid=uid, names=("first", "second"))


repeat_or_accept = CaseType(
    id="repeat-or-accept",
    title="Two readings: repeat or accept",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group((FIRST, SECOND, MEAN_LIMIT, CYLINDER_LIMIT, AXIS_LIMIT, AXIS_FROM)),
    asks=(MEAN, VERDICT),
    draw=_draw,
    steps=(
        HALVE_BOTH,
        ADD_BOTH,
        subtract_means("First less second"),
        given(CYLINDERS, AXES, CYLINDER_GAP).step(
            COMPARE_CYLINDERS,
            run=_compared(SphCyl.minus_form),
            says=_cylinder_words("In minus form"),
            slips=(
                Slip(
                    FORMS_NOT_MATCHED,
                    run=_compared(lambda lens: lens),
                    says=_cylinder_words("As they are written"),
                    live=given(FIRST, SECOND)(lambda first, second: first.cylinder * second.cylinder < 0),
                ),
            ),
        ),
        given(AXIS_GAP, AXIS_COUNTS).step(
            COMPARE_AXES,
            run=_gap(axis_gap),
            says=_gap_words,
            slips=(
                Slip(
                    AXES_STRAIGHT_SUBTRACTED,
                    run=_gap(_straight),
                    says=_gap_words,
                    live=given(AXES, _strong)(lambda axes, strong: strong and _straight(*axes) > 90),
                ),
                Slip(
                    WEAK_CYLINDER_AXIS,
                    run=given(AXES)(lambda axes: (axis_gap(*axes), True)),
                    says=given(AXIS_GAP)(
                        lambda gap: f"Axes held against the limit though a cylinder is weak: {gap:.0f}°."
                    ),
                    live=given(AXES, _strong, AXIS_LIMIT)(
                        lambda axes, strong, limit: not strong and axis_gap(*axes) > limit
                    ),
                ),
            ),
        ),
        VERDICT.step(
            REPEAT_OR_ACCEPT,
            run=_right,
            says=_verdict_words,
            slips=(
                Slip(
                    AVERAGED_ANYWAY,
                    run=given()(lambda: "accept"),
                    says=given()(lambda: "Averaged although they disagree."),
                    live=given(_right)(lambda right: right != "accept"),
                ),
                Slip(
                    SIGN_AGAINST_LIMIT,
                    run=_by_sign,
                    says=given(MEAN_DIFFERENCE)(
                        lambda difference: f"{signed(difference)} taken as less than the limit."
                    ),
                    live=given(MEAN_DIFFERENCE, _right)(
                        lambda difference, right: difference < 0 and right == "again-mean"
                    ),
                ),
                Slip(
                    AGAIN_WITHOUT_CAUSE,
                    run=given()(lambda: "again-mean"),
                    says=given()(lambda: "Measured again because they differ at all."),
                    live=given(_right)(lambda right: right == "accept"),
                ),
            ),
        ),
    ),
    answer=given(MEAN, VERDICT).by(given(MEAN_DIFFERENCE, VERDICT)(lambda difference, verdict: (difference, verdict))),
    found=given(FIRST, SECOND, MEAN_LIMIT, CYLINDER_LIMIT, AXIS_FROM, AXIS_LIMIT)(
        lambda first, second, mean_limit, cylinder_limit, axis_from, axis_limit: (
            f"First reading, net: {as_written(first)}.",
            f"Second reading of the same eye, net: {as_written(second)}.",
            f"Two readings agree here when all of this is true: mean powers differ by at most {size(mean_limit)} D; "
            f"cylinders by at most {size(cylinder_limit)} D; and axes, where both cylinders have {size(axis_from)} D "
            f"or "
            f"more, by at most {axis_limit:.0f}°.",
        )
    ),
    question=asking("By how much does the first mean power exceed the second (signed), and do the two agree?"),
    figure=_both_crosses,
    needs=("spherical-equivalent", "transpose"),
    twins=(SIGN_OR_AVERAGED,),
    probes=(Probe(SIGN_OR_AVERAGED, "repeat-or-accept"),),
    errors={FIRST.name: 0.25, SECOND.name: 0.25},
    sources=("mccullough-2017",),
)

TYPES = (repeat_or_accept,)
