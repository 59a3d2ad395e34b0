"""Family H: retinoscopy against an autorefractor, a subjective result or the last prescription; what is behind it."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.checking_steps import (
    ADD_BOTH,
    AGAIN_WITHOUT_CAUSE,
    DISTANCE_UNSEEN,
    FORMS_NOT_MATCHED,
    HALVE_BOTH,
    JUDGE_LIMIT,
    NAME_CAUSE,
    RIVALS_APART,
    SIGN_AGAINST_LIMIT,
    subtract_means,
)
from cases.curriculum.drawn_eyes import patient_lens
from cases.curriculum.shared_keys import MEAN_DIFFERENCE
from cases.curriculum.steps import (
    DISTANCE,
    FIRST_LENS,
    SECOND_LENS,
    VERGENCE,
    as_written,
    pick_distance,
    signed,
    size,
)
from cases.figures.lenses import power_cross
from cases.notation.prescription import write_distance
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.tolerances import TWO_EXAMINERS_CYLINDER, TWO_EXAMINERS_MEAN, axis_slack
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

WRONG_ONE_BLAMED = SlipName(
    "wrong-result-blamed",
    "blamed the wrong one of the two results",
    "An eye that accommodates is measured too minus, so look at the more minus of the two results.",
    ("jorge-2005",),
)
CYLINDER_TO_ACCOMMODATION = SlipName(
    "cylinder-put-down-to-accommodation",
    "put a change of cylinder down to accommodation",
    "Accommodation shifts both meridians equally and leaves the cylinder unchanged. A cylinder that moved has another "
    "cause.",
)
LAST_AS_TODAY = SlipName(
    "last-taken-for-today",
    "took the last prescription for what the eye has today",
    "An old lens is no measure of today's eye: it may have changed, or never have had the full correction.",
)
STRENGTH_OR_AXIS = SlipName(
    "turned-axis-taken-for-strength",
    "took a turned axis for a cylinder of another strength",
    "The two cylinders are equally strong: the axis is what changed.",
)

MEASURES = Choice(
    (
        Option("autorefractor", "an autorefractor, without drops"),
        Option("subjective", "the subjective result of today"),
        Option("last", "the last prescription, two years old"),
    )
)
CAUSES = Choice(
    (
        Option(
            "scatter",
            "no cause needed: two measures of one eye may differ by this much",
            "both the means and the cylinder agree within the limits",
        ),
        Option(
            "left-in",
            "the working distance left in",
            "retinoscopy is the more plus by about what the distance is worth",
        ),
        Option(
            "twice",
            "the working distance taken off twice",
            "retinoscopy is the more minus by about what the distance is worth",
        ),
        Option(
            "accommodated",
            "accommodation during retinoscopy",
            "retinoscopy is the more minus in both meridians, by another amount than the distance",
        ),
        Option(
            "other-accommodated",
            "accommodation during the other measurement",
            "the other result of today is the more minus in both meridians",
        ),
        Option(
            "changed",
            "a changed eye, or a last lens short of the full correction",
            "the other result is an old one, and the means differ by another amount than the distance",
        ),
        Option(
            "axis",
            "an axis not placed well in one of the two",
            "the two cylinders are equally strong at different axes",
        ),
        Option(
            "one-meridian",
            "one meridian misjudged",
            "one principal power moved and the other did not: the mean changed by half of the cylinder",
        ),
        Option(
            "several",
            "more than one thing: measure again",
            "the cylinders differ, and neither an axis nor one meridian alone accounts for it",
        ),
    )
)
_CAUSE_WORDS = {
    "scatter": "Both are within the limits: two measures of one eye may differ by this much, and no cause is needed.",
    "left-in": "Retinoscopy is the more plus by about what the distance is worth: it was left in.",
    "twice": "Retinoscopy is the more minus by about what the distance is worth: it was taken off twice.",
    "accommodated": "Retinoscopy is the more minus in both meridians: the patient accommodated, or looked near.",
    "other-accommodated": "The other result is the more minus in both meridians: the eye accommodated during that one.",
    "changed": "An old lens differs from today's eye: it has changed, or the lens was never the full correction.",
    "one-meridian": "One meridian moved and the other did not: its end-point was misjudged.",
    "several": "That is more than one cause makes: measure again.",
}
ALIKE = 0.5
"""Cylinders within this many D are of one strength."""
ONE_MERIDIAN_TO = 0.5
"""One meridian explains a change when cylinder and twice the mean are within this many D: two end-points."""

FOUND = Field("found", "Net result of retinoscopy", Lens())
OTHER = Field("other", "The other result", Lens())
AGAINST = Field("against", "What the other result is", MEASURES)
MEAN_LIMIT = Field(
    "mean_limit", "Most by which mean powers may differ", quantities.SIZE, default=TWO_EXAMINERS_MEAN.widest
)
CYLINDER_LIMIT = Field(
    "cylinder_limit",
    "Most that the cylinder of the difference may have",
    quantities.SIZE,
    default=TWO_EXAMINERS_CYLINDER.widest,
)
MEAN = Field("mean", "Retinoscopy less the other, mean power", quantities.POWER.having(exact=0.03, tolerance=0.06))
CYLINDER = Field(
    "cylinder", "Size of the cylinder by which they differ", quantities.SIZE.having(exact=0.03, tolerance=0.1)
)
CAUSE = Field("cause", "Likeliest cause", CAUSES)
BEYOND = Key[tuple[bool, bool]]("beyond")


@given(FIRST_LENS, SECOND_LENS)
def _as_lenses(first: SphCyl, second: SphCyl) -> float:
    return abs((first - second).cylinder)


@given(FIRST_LENS, SECOND_LENS)
def _minus_pair(first: SphCyl, second: SphCyl) -> tuple[SphCyl, SphCyl]:
    return first.minus_form(), second.minus_form()


@given(_minus_pair)
def _sizes_apart(pair: tuple[SphCyl, SphCyl]) -> float:
    first, second = pair
    return abs(first.cylinder - second.cylinder)


@given(_minus_pair)
def _axes_apart(pair: tuple[SphCyl, SphCyl]) -> float:
    first, second = pair
    return axis_gap(first.axis, second.axis) if first.cylinder and second.cylinder else 0.0


@given(_minus_pair, _axes_apart, CYLINDER)
def _cylinder_words(pair: tuple[SphCyl, SphCyl], apart: float, cylinder: float) -> str:
    first, second = pair
    told = f"Cylinders in minus form {signed(first.cylinder)} and {signed(second.cylinder)}"
    if apart < 0.5:
        return f"{told} at one axis: {size(cylinder)} D apart."
    return (
        f"{told}, axes {apart:.0f}° apart (δ): as lenses they differ by "
        f"√(C₁² + C₂² − 2·C₁·C₂·cos 2δ) = {size(cylinder)} D."
    )


@given(MEAN_DIFFERENCE, MEAN_LIMIT, CYLINDER, CYLINDER_LIMIT)
def _judge(mean: float, mean_limit: float, cylinder: float, cylinder_limit: float) -> tuple[bool, bool]:
    return abs(mean) > mean_limit + 1e-9, cylinder > cylinder_limit + 1e-9


@given(BEYOND, MEAN_DIFFERENCE, MEAN_LIMIT, CYLINDER, CYLINDER_LIMIT)
def _judge_words(
    beyond: tuple[bool, bool], mean: float, mean_limit: float, cylinder: float, cylinder_limit: float
) -> str:
    mean_is, cylinder_is = ("beyond" if one else "within" for one in beyond)
    return (
        f"The mean, {size(mean)} D, is {mean_is} {size(mean_limit)}; the cylinder, "
        f"{size(cylinder)} D, is {cylinder_is} {size(cylinder_limit)}."
    )


_turned = given(_sizes_apart, _axes_apart)(lambda sizes, axes: sizes <= ALIKE + 1e-9 and axes > 0)


@given(BEYOND, MEAN_DIFFERENCE, CYLINDER, _turned, VERGENCE, AGAINST)
def _cause(beyond: tuple[bool, bool], mean: float, cylinder: float, turned: bool, off: float, against: str) -> str:
    match beyond:
        case (False, False):
            return "scatter"
        case (False, True) if turned:
            return "axis"
        case (_, True):
            return "one-meridian" if abs(cylinder - 2 * abs(mean)) <= ONE_MERIDIAN_TO + 1e-9 else "several"
    if abs(abs(mean) - off) <= RIVALS_APART / 2 + 1e-9:
        return "left-in" if mean > 0 else "twice"
    return "changed" if against == "last" else _accommodated(mean)


def _accommodated(mean: float) -> str:
    return "accommodated" if mean < 0 else "other-accommodated"


_by_mean = given(MEAN_DIFFERENCE)(_accommodated)


@given(CAUSE, _minus_pair)
def _cause_words(cause: str, pair: tuple[SphCyl, SphCyl]) -> str:
    if cause != "axis":
        return _CAUSE_WORDS[cause]
    strength = abs(pair[0].cylinder)
    return (
        f"One strength and two axes: one of the axes was not placed well. At {size(strength)} D an error of "
        f"{axis_slack(strength, 0.25):.0f}° already leaves 0.25 D."
    )


@given(CAUSE)
def _taken_words(cause: str) -> str:
    return f"Put down to {CAUSES.write(cause)}."


def _is(*causes: str) -> Rule[bool]:
    return given(_cause)(lambda cause: cause in causes)


LOOK_AT_THE_LENSES = "Add up the lenses in place at neutral: they show whether the distance was taken off once."
FOG_AND_REPEAT = "Fog, measure again, and consider cycloplegia by local rules: accommodation then falls away."


@given(MEAN_DIFFERENCE, VERGENCE)
def _is_just_the_distance(mean: float, off: float) -> bool:
    return abs(mean - off) <= 0.13


@given(CAUSE, AGAINST, MEAN_DIFFERENCE, _is_just_the_distance)
def _defensible(cause: str, against: str, mean: float, just_the_distance: bool) -> tuple[Defensible, ...]:
    """Credit what the two results alone cannot tell from the likeliest cause; common practice, no published source."""

    def also(other: str, weight: float, because: str, next_check: str) -> tuple[Defensible, ...]:
        return (Defensible(CAUSE.to(other), weight, because, next_check),)

    accommodated = also(
        "accommodated",
        0.5,
        "Accommodation during retinoscopy makes it too minus as well, and may do so by as much.",
        f"{LOOK_AT_THE_LENSES} {FOG_AND_REPEAT}",
    )
    match cause, against:
        case "left-in", "autorefractor":
            return also(
                "other-accommodated",
                0.6,
                "An autorefractor without drops often reads a young eye too minus, and may do so by as much.",
                f"{LOOK_AT_THE_LENSES} {FOG_AND_REPEAT}",
            )
        case "left-in", "subjective" if not just_the_distance:
            return also(
                "other-accommodated",
                0.6,
                "It is not just what the distance is worth, and a subjective may be over-minused by as much.",
                f"{LOOK_AT_THE_LENSES} {FOG_AND_REPEAT}",
            )
        case "left-in" | "twice", "last":
            changed = also(
                "changed",
                0.5,
                "Two years can change an eye by as much, and the last lens may not have been the full correction.",
                LOOK_AT_THE_LENSES,
            )
            return changed if cause == "left-in" else changed + accommodated
        case "axis" | "one-meridian", "last":
            return also(
                "changed",
                0.5,
                "Two years can change a cylinder or its axis too.",
                "Measure again, and compare both with today's subjective result and the corneal readings.",
            )
        case "twice", _:
            return accommodated
        case "changed", _ if mean < 0:
            return also(
                "accommodated",
                0.5,
                "Accommodation during retinoscopy makes it too minus as well.",
                FOG_AND_REPEAT,
            )
    return ()


# --- drawing -----------------------------------------------------------------------------------------------------

SORTS = ("scatter", "scatter", "left-in", "left-in", "twice", "minus", "plus", "axis", "axis", "one-meridian")


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    limits = {
        "mean_limit": settings.norm("agreement-mean"),
        "cylinder_limit": settings.norm("agreement-cylinder"),
    }
    sort = chance.among(SORTS)
    least = {"axis": 1.5, "one-meridian": 2.0}.get(sort, 0.75)
    found = patient_lens(chance, settings, sphere=(-5, 5), cylinder=(least, 3))
    other = _other(found, sort, off, limits, chance, settings)
    form = settings.form if settings.level == "novice" else chance.among(("minus", "plus"))
    return (
        given(FOUND, OTHER, AGAINST, DISTANCE).to(
            found.in_form(settings.form),
            other.in_form(form),
            chance.among([option.id for option in MEASURES.options]),
            distance,
        )
        | limits
    )


def _other(
    found: SphCyl, sort: str, off: float, limits: dict[str, float], chance: Chance, settings: Settings
) -> SphCyl:
    """Draw the other result so that retinoscopy differs from it in the manner of `sort`."""
    beyond = {name: math.floor(limit * 4) / 4 + chance.stepped(0.25, 1) for name, limit in limits.items()}
    few = chance.among((-1, 1)) * chance.stepped(0.25, 0.5)
    turn = 0.0
    cylinder = chance.among((-0.25, 0.25))
    sphere = {"minus": -1, "plus": 1}.get(sort, 0) * _apart_from(off, limits["mean_limit"], chance) or few
    if sort in ("left-in", "twice"):
        cylinder *= 2
        sphere = (off if sort == "left-in" else -off) - cylinder / 2
    if sort == "one-meridian":
        change = beyond["cylinder_limit"]
        sphere, cylinder = chance.among(((0.0, change), (change, -change)))
    if sort == "axis":
        step = 1 if settings.level == "expert" else 5
        turn = chance.among((-1, 1)) * chance.stepped(15, 30, step)
        sphere = chance.among((-0.25, 0.0, 0.25))
    return SphCyl(found.sphere - sphere, min(found.cylinder - cylinder, -0.25), axis_of(found.axis + turn))


def _apart_from(off: float, limit: float, chance: Chance) -> float:
    """Draw the size of a difference beyond the limit that the distance does not explain, nor a few quarters more."""
    sizes = [size / 4 for size in range(2, 15) if size / 4 >= limit + 0.5]
    sizes = [size for size in sizes if abs(size - off) >= RIVALS_APART + 0.25]
    return chance.among(sizes or [off + RIVALS_APART + 0.25])


@given(FOUND, OTHER).drawing
def _figure(uid: str, found: SphCyl, other: SphCyl) -> Figure:
    return power_cross(found, other, uid=uid, names=("found", "other"))


difference_cause = CaseType(
    id="difference-cause",
    title="Two results of one eye: what is behind the difference",
    family=FAMILY,
    level="expert",
    seconds=40,
    findings=Group((FOUND, OTHER, AGAINST, DISTANCE, MEAN_LIMIT, CYLINDER_LIMIT)),
    asks=(MEAN, CYLINDER, CAUSE),
    draw=_draw,
    begin=given(FIRST_LENS, SECOND_LENS, VERGENCE).by(
        given(FOUND, OTHER, DISTANCE)(lambda found, other, cm: (found, other, working_vergence(cm)))
    ),
    steps=(
        HALVE_BOTH,
        ADD_BOTH,
        subtract_means("Retinoscopy less the other"),
        CYLINDER.step(
            skills.CYLINDER_CHANGE,
            run=_as_lenses,
            says=_cylinder_words,
            slips=(
                Slip(
                    FORMS_NOT_MATCHED,
                    run=given(FIRST_LENS, SECOND_LENS)(lambda first, second: abs(first.cylinder - second.cylinder)),
                    says=given(CYLINDER)(lambda cylinder: f"As they are written: {size(cylinder)} D apart."),
                    live=given(FIRST_LENS, SECOND_LENS)(lambda first, second: first.cylinder * second.cylinder < 0),
                ),
                Slip(
                    skills.AXES_LEFT_OUT,
                    run=_sizes_apart,
                    says=given(CYLINDER)(lambda cylinder: f"By their sizes alone: {size(cylinder)} D apart."),
                    live=given(_axes_apart)(lambda apart: apart > 0),
                ),
            ),
        ),
        BEYOND.step(
            JUDGE_LIMIT,
            run=_judge,
            says=_judge_words,
            slips=(
                Slip(
                    SIGN_AGAINST_LIMIT,
                    run=given(_judge)(lambda beyond: (False, beyond[1])),
                    says=given(MEAN_DIFFERENCE)(lambda mean: f"{signed(mean)} taken as less than the limit."),
                    live=given(MEAN_DIFFERENCE, _judge)(lambda mean, beyond: mean < 0 and beyond[0]),
                ),
                Slip(
                    AGAIN_WITHOUT_CAUSE,
                    run=given()(lambda: (True, False)),
                    says=given()(lambda: "Taken for more than scatter because they differ at all."),
                    live=given(_judge)(lambda beyond: not any(beyond)),
                ),
            ),
        ),
        CAUSE.step(
            NAME_CAUSE,
            run=_cause,
            says=_cause_words,
            slips=(
                Slip(
                    DISTANCE_UNSEEN,
                    run=given()(lambda: "other-accommodated"),
                    says=_taken_words,
                    # Against the others this is credited, see `_defensible`.
                    live=given(_cause, AGAINST, _is_just_the_distance)(
                        lambda cause, against, just: just and (cause, against) == ("left-in", "subjective")
                    ),
                ),
                Slip(
                    WRONG_ONE_BLAMED,
                    run=given(MEAN_DIFFERENCE)(lambda mean: _accommodated(-mean)),
                    says=_taken_words,
                    live=_is("accommodated", "other-accommodated"),
                ),
                Slip(
                    LAST_AS_TODAY,
                    run=_by_mean,
                    says=_taken_words,
                    live=given(_cause, MEAN_DIFFERENCE)(lambda cause, mean: cause == "changed" and mean > 0),
                ),
                Slip(CYLINDER_TO_ACCOMMODATION, run=_by_mean, says=_taken_words, live=_is("axis", "one-meridian")),
                Slip(STRENGTH_OR_AXIS, run=given()(lambda: "one-meridian"), says=_taken_words, live=_is("axis")),
            ),
        ),
    ),
    answer=given(MEAN, CYLINDER, CAUSE).by(
        given(MEAN_DIFFERENCE, CYLINDER, CAUSE)(lambda mean, cylinder, cause: (mean, cylinder, cause))
    ),
    found=given(DISTANCE, FOUND, AGAINST, OTHER, MEAN_LIMIT, CYLINDER_LIMIT)(
        lambda cm, found, against, other, mean_limit, cylinder_limit: (
            f"Retinoscopy, net, from {write_distance(cm)}, without drops: {as_written(found)}.",
            f"{MEASURES.write(against).capitalize()}: {as_written(other)}.",
            f"Two measures of one eye agree here when the means differ by no more than {size(mean_limit)} D and "
            f"the cylinder of the difference is no more than {size(cylinder_limit)} D.",
        )
    ),
    question=asking(
        "By how much is retinoscopy's mean power the more plus (signed), how strong is the cylinder of the difference, "
        "and what is the likeliest cause?"
    ),
    figure=_figure,
    needs=("two-eyes", "transpose"),
    defensible=_defensible,
    errors={FOUND.name: 0.25, OTHER.name: 0.25, DISTANCE.name: 1.0},
    sources=("mccullough-2017", "jorge-2005", "common-practice"),
)

TYPES = (difference_cause,)
