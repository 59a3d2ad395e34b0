"""Family H: two readings of one eye. Repeat or accept, and what to record when they agree."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.checking import AGAIN_WITHOUT_CAUSE, FAMILY, SIGN_AGAINST_LIMIT
from cases.families.checking_steps import ADD_BOTH, HALVE_BOTH, subtract_means
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_lenses import power_cross
from cases.keys import Key, Rule, Slip, asking, given, untyped
from cases.kinds import Axis, Lens, Power, Size
from cases.lens import SphCyl, axis_gap, axis_of
from cases.shared_keys import AXES, CYLINDERS, MEAN_DIFFERENCE
from cases.steps import as_written, degrees, pick_lens, signed, size
from cases.tolerances import AXIS_AGREEMENT, SAME_EXAMINER_CYLINDER, SAME_EXAMINER_MEAN
from cases.working import Known, Skill, SlipName, SlipRef, Step
from cases.working import Slip as OldSlip

COMPARE_CYLINDERS = Skill("compare-cylinders", "comparing the cylinders of two lenses in one form")
COMPARE_AXES = Skill("compare-axes", "comparing two axes round the dial")
REPEAT_OR_ACCEPT = Skill("repeat-or-accept", "deciding whether two readings agree")

FORMS_NOT_MATCHED = SlipName(
    "forms-not-matched",
    "compared a plus cylinder with a minus one as they stand",
    "The same lens can be written both ways. Bring both into one form before you compare cylinder and axis.",
)
AXES_STRAIGHT_SUBTRACTED = SlipName(
    "axes-subtracted-across-180",
    "subtracted two axes that lie on either side of 180",
    "The dial closes at 180: from 175 to 5 it is 10°, not 170°.",
    "ISO 8429, graduated dial",
)
WEAK_CYLINDER_AXIS = SlipName(
    "axis-of-weak-cylinder-judged",
    "judged the axis of a cylinder too weak to have a sure one",
    f"Below {AXIS_AGREEMENT[2]:.2f} D an axis is loose by nature; the published agreement is for stronger cylinders.",
    SAME_EXAMINER_MEAN.source,
)
AVERAGED_ANYWAY = SlipName(
    "disagreeing-readings-averaged",
    "averaged two readings that disagree",
    "The average of a right and a wrong reading is wrong too. Measure again and see which one comes back.",
)
VERDICTS = Choice(
    (
        Option("accept", "they agree: record the average"),
        Option("again-mean", "measure again: the mean powers differ too much"),
        Option("again-cylinder", "measure again: the cylinders differ too much"),
        Option("again-axis", "measure again: the axes differ too much"),
    )
)


CYLINDER_GAP = Key[float]("cylinder_gap")
AXIS_GAP = Key[float]("axis_gap")
AXIS_COUNTS = Key[bool]("axis_counts")


def _with_forms(one_form: bool) -> Rule[tuple[tuple[float, ...], tuple[float, ...], float]]:
    @given(FIRST, SECOND)
    def run(first_value: SphCyl, second_value: SphCyl) -> tuple[tuple[float, ...], tuple[float, ...], float]:
        first, second = (lens.minus_form() if one_form else lens for lens in (first_value, second_value))
        return ((first.cylinder, second.cylinder), (first.axis, second.axis), abs(first.cylinder - second.cylinder))

    return run


def _lower_first(words: str) -> str:
    return words[0].lower() + words[1:]


def _cylinder_words(cylinders: tuple[float, ...], cylinder_gap: float) -> str:
    first, second = cylinders
    return f"Cylinders {signed(first)} and {signed(second)}: {size(cylinder_gap)} D apart."


def _gap(gap: Callable[[float, float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {
        "axis_gap": gap(*known["axes"]),
        "axis_counts": _strong_enough(known["cylinders"], known["axis_from"]),
    }


def _strong_enough(cylinders: tuple[float, ...], axis_from: float) -> bool:
    return bool(min(abs(cylinder) for cylinder in cylinders) >= axis_from - 1e-9)


def _straight(a: float, b: float) -> float:
    return abs(a - b)


@given(AXES, AXIS_GAP, AXIS_COUNTS)
def _gap_words(axes: tuple[float, ...], axis_gap: float, axis_counts: bool) -> str:
    first, second = axes
    told = f"Axes {degrees(first)} and {degrees(second)}: {axis_gap:.0f}° apart"
    return f"{told}." if axis_counts else f"{told}, with a cylinder too weak for that to count."


def _verdict(known: Known) -> dict[str, Any]:
    if abs(known["mean_difference"]) > known["mean_limit"] + 1e-9:
        return {"verdict": "again-mean"}
    if known["cylinder_gap"] > known["cylinder_limit"] + 1e-9:
        return {"verdict": "again-cylinder"}
    if known["axis_counts"] and known["axis_gap"] > known["axis_limit"] + 1e-9:
        return {"verdict": "again-axis"}
    return {"verdict": "accept"}


def _verdict_words(known: Known) -> str:
    return {
        "accept": "All within the limits: the two agree, so record their average.",
        "again-mean": f"{size(known['mean_difference'])} D passes {size(known['mean_limit'])} D: measure again.",
        "again-cylinder": f"{size(known['cylinder_gap'])} D passes {size(known['cylinder_limit'])} D: measure again.",
        "again-axis": f"{known['axis_gap']:.0f}° passes {known['axis_limit']:.0f}°: measure again.",
    }[known["verdict"]]


def _by_sign(known: Known) -> dict[str, Any]:
    return _verdict({**known, "mean_difference": max(known["mean_difference"], 0.0)})


SIGN_OR_AVERAGED: Pair = (
    SlipRef(REPEAT_OR_ACCEPT.id, SIGN_AGAINST_LIMIT.id),
    SlipRef(REPEAT_OR_ACCEPT.id, AVERAGED_ANYWAY.id),
)
"""Both accept a mean that is too minus; only one of them accepts a mean that is too plus."""

# --- drawing -----------------------------------------------------------------------------------------------------

SORTS = ("accept", "accept", "accept", "again-mean", "again-cylinder", "again-axis")


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    limits = {
        "mean_limit": settings.norm("repeat-mean"),
        "cylinder_limit": settings.norm("repeat-cylinder"),
        "axis_limit": settings.norm("repeat-axis"),
        "axis_from": AXIS_AGREEMENT[2],
    }
    first = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.25, 2.5))
    second = _second(first, chance.among(SORTS), limits, chance, settings)
    forms = [settings.form, "plus" if settings.form == "minus" else "minus"]
    mixed = settings.level != "novice" and chance.happens(0.35)
    return given(FIRST, SECOND).to(first.in_form(forms[0]), second.in_form(forms[mixed])) | limits


def _second(first: SphCyl, sort: str, limits: dict[str, float], chance: Chance, settings: Settings) -> SphCyl:
    """Draw a second reading that differs by less than the limits, save in what `sort` names."""
    step = 1 if settings.level == "expert" else 5
    sign = chance.among((-1, 1))
    mean = sign * chance.stepped(0.125, _below(limits["mean_limit"]), 0.125)
    cylinder = chance.among((-0.25, 0.0, 0.25))
    turn = chance.among((-1, 1)) * chance.stepped(0, _floor(limits["axis_limit"], step), step)
    if sort == "again-mean":
        mean = sign * (_below(limits["mean_limit"]) + chance.stepped(0.25, 1, 0.125))
    if sort == "again-cylinder":
        cylinder = -_below(limits["cylinder_limit"], 0.25) - chance.stepped(0.25, 0.75)
    if sort == "again-axis":
        turn = chance.among((-1, 1)) * (_floor(limits["axis_limit"], step) + chance.stepped(step, 25, step))
    size = min(first.cylinder + cylinder, -0.25)
    sphere = first.spherical_equivalent + mean - size / 2
    return SphCyl(math.floor(sphere * 4 + 0.5) / 4, size, axis_of(first.axis + turn))


def _floor(limit: float, step: float) -> float:
    return math.floor(limit / step + 1e-9) * step


def _below(limit: float, step: float = 0.125) -> float:
    return max(_floor(limit, step), step)


FIRST = Field("first", "First reading, net", Lens())
SECOND = Field("second", "Second reading, net", Lens())


@given(FIRST, SECOND).drawing
def _both_crosses(uid: str, first: SphCyl, second: SphCyl) -> Figure:
    return power_cross(first, second, uid=uid, names=("first", "second"))


MEAN_LIMIT = Field("mean_limit", "Most by which mean powers may differ", Size(), default=SAME_EXAMINER_MEAN.widest)
CYLINDER_LIMIT = Field(
    "cylinder_limit",
    "Most by which cylinders may differ",
    Size(),
    default=SAME_EXAMINER_CYLINDER.widest,
)
AXIS_LIMIT = Field("axis_limit", "Most by which axes may differ, in degrees", Axis(), default=AXIS_AGREEMENT[0])
AXIS_FROM = Field("axis_from", "Cylinder from which the axis is judged", Size(), default=AXIS_AGREEMENT[2])
MEAN = Field("mean", "First mean power less second", Power(exact=0.03, tolerance=0.06))
VERDICT = Field("verdict", "Do they agree?", VERDICTS)
repeat_or_accept = CaseType(
    id="repeat-or-accept",
    title="Two readings: repeat or accept",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group(
        (
            FIRST,
            SECOND,
            MEAN_LIMIT,
            CYLINDER_LIMIT,
            AXIS_LIMIT,
            AXIS_FROM,
        )
    ),
    asks=(
        MEAN,
        VERDICT,
    ),
    draw=_draw,
    steps=(
        HALVE_BOTH,
        ADD_BOTH,
        subtract_means("First less second"),
        given(CYLINDERS, AXES, CYLINDER_GAP).step(
            COMPARE_CYLINDERS,
            run=_with_forms(True),
            says=given(CYLINDERS, CYLINDER_GAP)(
                lambda cylinders, cylinder_gap: (
                    f"In minus form: {_lower_first(_cylinder_words(cylinders, cylinder_gap))}"
                )
            ),
            slips=(
                Slip(
                    FORMS_NOT_MATCHED,
                    run=_with_forms(False),
                    says=given(CYLINDERS, CYLINDER_GAP)(
                        lambda cylinders, cylinder_gap: (
                            f"As they stand: {_lower_first(_cylinder_words(cylinders, cylinder_gap))}"
                        )
                    ),
                    live=given(FIRST, SECOND)(lambda first, second: first.cylinder * second.cylinder < 0),
                ),
            ),
        ),
        Step(
            COMPARE_AXES,
            run=_gap(axis_gap),
            says=_gap_words,
            slips=(
                OldSlip(
                    AXES_STRAIGHT_SUBTRACTED,
                    run=_gap(_straight),
                    says=_gap_words,
                    live=given(AXES, CYLINDERS, AXIS_FROM)(
                        lambda axes, cylinders, axis_from: (
                            _straight(*axes) > 90 and _strong_enough(cylinders, axis_from)
                        )
                    ),
                ),
                OldSlip(
                    WEAK_CYLINDER_AXIS,
                    run=lambda known: {**_gap(axis_gap)(known), "axis_counts": True},
                    says=given(AXIS_GAP)(
                        lambda axis_gap: f"Axes held against the limit though a cylinder is weak: {axis_gap:.0f}°."
                    ),
                    live=given(CYLINDERS, AXIS_FROM, AXES, AXIS_LIMIT)(
                        lambda cylinders, axis_from, axes, axis_limit: (
                            not _strong_enough(cylinders, axis_from) and axis_gap(*axes) > axis_limit
                        )
                    ),
                ),
            ),
        ),
        VERDICT.step(
            REPEAT_OR_ACCEPT,
            run=untyped(lambda known: _verdict(known)["verdict"]),
            says=untyped(_verdict_words),
            slips=(
                Slip(
                    AVERAGED_ANYWAY,
                    run=given()(lambda: "accept"),
                    says=given()(lambda: "Averaged all the same."),
                    live=untyped(lambda known: _verdict(known)["verdict"] != "accept"),
                ),
                Slip(
                    SIGN_AGAINST_LIMIT,
                    run=untyped(lambda known: _by_sign(known)["verdict"]),
                    says=given(MEAN_DIFFERENCE)(
                        lambda mean_difference: f"{signed(mean_difference)} taken as less than the limit."
                    ),
                    live=untyped(
                        lambda known: known["mean_difference"] < 0 and _verdict(known)["verdict"] == "again-mean"
                    ),
                ),
                Slip(
                    AGAIN_WITHOUT_CAUSE,
                    run=given()(lambda: "again-mean"),
                    says=given()(lambda: "Measured again because they differ at all."),
                    live=untyped(lambda known: _verdict(known)["verdict"] == "accept"),
                ),
            ),
        ),
    ),
    answer=given(MEAN, VERDICT).by(
        given(MEAN_DIFFERENCE, VERDICT)(lambda mean_difference, verdict: (mean_difference, verdict))
    ),
    found=given(FIRST, SECOND, MEAN_LIMIT, CYLINDER_LIMIT, AXIS_FROM, AXIS_LIMIT)(
        lambda first, second, mean_limit, cylinder_limit, axis_from, axis_limit: (
            f"First reading, net: {as_written(first)}.",
            f"Second reading of the same eye, net: {as_written(second)}.",
            f"Two readings agree here when mean powers differ by no more than {size(mean_limit)} D, cylinders by "
            f"no more than {size(cylinder_limit)} D and, where both cylinders have {size(axis_from)} D "
            f"or more, axes by no more than {axis_limit:.0f}°.",
        )
    ),
    question=asking("By how much does the first mean power exceed the second (signed), and do the two agree?"),
    figure=_both_crosses,
    needs=("spherical-equivalent", "transpose"),
    form=lambda _: None,
    twins=(SIGN_OR_AVERAGED,),
    probes=(Probe(SIGN_OR_AVERAGED, "repeat-or-accept"),),
    sources=(SAME_EXAMINER_MEAN.source,),
)

TYPES = (repeat_or_accept,)
