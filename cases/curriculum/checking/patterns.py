"""Family H: retinoscopy against the final refraction in both eyes, the pattern of the two, and what it suggests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.blur_and_vision import CYLINDER_UNCOUNTED
from cases.curriculum.checking.checking_steps import AGAIN_WITHOUT_CAUSE, DISTANCE_UNSEEN, RIVALS_APART
from cases.curriculum.checking.pair_of_eyes import PAIR_AND_VERGENCE, eyes_figure
from cases.curriculum.drawn_eyes import Sought, as_recorded, first_fitting, of_subject
from cases.curriculum.shared_keys import HALVES, MEANS
from cases.curriculum.steps import (
    DISTANCE,
    FIRST_LENS,
    SECOND_LENS,
    VERGENCE,
    as_written,
    degrees,
    listed,
    mirrored,
    pick_distance,
    size,
)
from cases.evidence.thresholds import Threshold
from cases.notation.prescription import write_distance
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import blur_strength
from cases.optics.vergence import vergence_in_quarters
from cases.patients.patient import SIDES, Patient, Side
from cases.patients.readings import ADULT, read_once
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SPLIT_DIFFERENCE = Skill("split-difference", "splitting a difference into mean and cylinder")
JUDGE_EYES = Skill("judge-each-eye", "finding which eyes differ by more than the limit")
READ_PATTERN = Skill("read-pattern", "reading the pattern of two eyes together")
PATTERN_CAUSE = Skill("pattern-cause", "saying what a pattern suggests")

MIRROR_MISREAD = SlipName(
    "equal-numbers-taken-for-mirror",
    "took equal axes for mirror images",
    "Axes run the same way in both eyes, so mirror images add up to 180: 30 and 150. Equal numbers lean the same way.",
    ("iso-8429",),
)
ONE_EYE_FOR_BOTH = SlipName(
    "one-eye-taken-for-both",
    "read a pattern into one eye",
    "The other eye is right. A cause that shifts both eyes equally, such as the distance, is ruled out.",
)
SIGNS_PASSED_OVER = SlipName(
    "opposite-signs-passed-over",
    "took a plus and a minus error of one size for the same error",
    "One eye came out too plus and the other too minus. The distance would have shifted both the same way.",
)
SIDES_CONFUSED = SlipName(
    "each-side-and-one-side-confused",
    "confused standing to one side with changing sides",
    "A place that changes sides with the eye gives mirror images. One place for both leans both axes the same way.",
)

PATTERNS = Choice(
    (
        Option(
            "small",
            "neither eye is off by as much as counts",
            "the blur of the difference is below the clinic's limit in both eyes",
        ),
        Option("one-eye", "one eye alone is off", "the difference reaches the limit in one eye and not in the other"),
        Option(
            "shift",
            "both are shifted equally",
            "both means are off by about as much in one direction, and outweigh the cylinders",
        ),
        Option(
            "mirror",
            "cylinders that are mirror images",
            "the cylinders outweigh the means and their minus axes add up to about 180",
        ),
        Option(
            "same-way",
            "cylinders that lean the same way",
            "the cylinders outweigh the means and their minus axes are about the same",
        ),
        Option("unclear", "no pattern", "both eyes are off and the two do not go together"),
    )
)
SUGGESTIONS = Choice(
    (
        Option("nothing", "nothing to look for", "neither eye is off by as much as the clinic looks into"),
        Option("repeat-eye", "measure that eye again", "one eye alone is off"),
        Option(
            "left-in",
            "the working distance is still in both",
            "both eyes are too plus by about what the distance is worth",
        ),
        Option(
            "nearer",
            "nearer to the patient than was allowed for",
            "both eyes are too plus, by less than the distance is worth",
        ),
        Option(
            "farther",
            "farther away than was allowed for",
            "both eyes are too minus by what a seat a little farther away would give",
        ),
        Option(
            "near-fixation",
            "the patient looked near, or accommodated",
            "both eyes are too minus by more than any seat within 2 m would give",
        ),
        Option(
            "each-side",
            "seen off axis from each eye's own side, changing sides with the eye",
            "the cylinders are mirror images",
        ),
        Option(
            "one-side",
            "seen off axis from one place for both eyes, or head or frame turned",
            "the cylinders lean the same way",
        ),
        Option(
            "taken-twice",
            "the working distance was taken off twice in both",
            "both eyes are too minus by about what the distance is worth",
        ),
        Option("repeat-both", "measure both again", "both eyes are off without a pattern"),
        Option(
            "short-of-plus",
            "the final refraction is short of plus: latent hyperopia, or over-minused",
            "both eyes are too plus and the final refraction was not fogged or checked with drops",
        ),
    )
)
_SUGGESTED_BY = {
    "small": "nothing",
    "one-eye": "repeat-eye",
    "mirror": "each-side",
    "same-way": "one-side",
    "unclear": "repeat-both",
}
_SUGGEST_WORDS = {
    "nothing": "Nothing to look for.",
    "repeat-eye": "The cause concerns that eye alone: measure it again.",
    "left-in": "That is about what the distance is worth: it is still in both.",
    "taken-twice": "Too minus by about what the distance is worth: it was taken off twice in both.",
    "nearer": "Too plus in both: you were nearer than you allowed for.",
    "farther": "Too minus in both: you were farther away than you allowed for.",
    "near-fixation": "Too minus in both, by more than any seat explains: the patient looked near, or accommodated.",
    "each-side": "An eye seen off axis shows a cylinder that it does not have. Mirror images: you change sides with "
    "the eye.",
    "one-side": "The same lean in both: one place, above and to a side, served for both, or head or frame was turned.",
    "repeat-both": "No single cause shifts the eyes like that: measure both again.",
}

ALIKE, AXES_ALIKE = 0.5, 15.0
"""Means within this many D and axes within this many degrees are taken as alike."""

FARTHEST_SEAT = 0.5
"""No one sits farther away than 2 m, which is this many D."""

RIGHT = Field("right", "Right eye: retinoscopy less final refraction", Lens())
LEFT = Field("left", "Left eye: retinoscopy less final refraction", Lens())
LIMIT = Field("limit", "Blur from which a difference counts in this clinic", quantities.SIZE, default=0.5)
PATTERN = Field("pattern", "Pattern of the two eyes", PATTERNS)
SUGGESTS = Field("suggests", "What does it suggest?", SUGGESTIONS)
OFF = Key[tuple[bool, bool]]("off")
"""Whether the right eye and the left are off by as much as counts."""


def _mean(lens: SphCyl) -> float:
    return lens.spherical_equivalent


def _sphere(lens: SphCyl) -> float:
    return lens.sphere


def _means(power: Callable[[SphCyl], float]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS)(lambda first, second: (power(first), power(second)))


_halves = given(FIRST_LENS, SECOND_LENS)(lambda first, second: (abs(first.cylinder) / 2, abs(second.cylinder) / 2))


def _split(power: Callable[[SphCyl], float]) -> Rule[tuple[tuple[float, ...], tuple[float, ...]]]:
    return given(_means(power), _halves)(lambda means, halves: (means, halves))


@given(MEANS, HALVES)
def _split_words(means: tuple[float, ...], halves: tuple[float, ...]) -> str:
    sizes = " and ".join(size(half) for half in halves)
    return f"Right and left: mean {listed(means)}; half of the cylinder {sizes}."


def _off(right: float, left: float, limit: float) -> tuple[bool, bool]:
    return right >= limit - 1e-9, left >= limit - 1e-9


_by_blur = given(FIRST_LENS, SECOND_LENS, LIMIT)(
    lambda first, second, limit: _off(blur_strength(first), blur_strength(second), limit)
)
_by_mean = given(MEANS, LIMIT)(lambda means, limit: _off(abs(means[0]), abs(means[1]), limit))


def _off_words(off: tuple[bool, bool], limit: float) -> str:
    which = {(True, True): "Both eyes are", (True, False): "The right eye alone is", (False, True): "The left alone is"}
    return f"{which.get(off, 'Neither eye is')} off by {size(limit)} D or more."


def _pattern(
    off: tuple[bool, bool], means: tuple[float, ...], halves: tuple[float, ...], first: SphCyl, second: SphCyl
) -> str:
    if not any(off):
        return "small"
    if not all(off):
        return "one-eye"
    if all(abs(mean) > half for mean, half in zip(means, halves, strict=True)):
        return "shift" if abs(means[0] - means[1]) <= ALIKE + 1e-9 else "unclear"
    if any(abs(mean) >= half for mean, half in zip(means, halves, strict=True)):
        return "unclear"
    right, left = (lens.minus_form().axis for lens in (first, second))
    mirror, same = axis_gap(right, mirrored(left)) <= AXES_ALIKE, axis_gap(right, left) <= AXES_ALIKE
    if mirror == same:
        return "unclear"
    return "mirror" if mirror else "same-way"


_read = given(OFF, MEANS, HALVES, FIRST_LENS, SECOND_LENS)(_pattern)


@given(FIRST_LENS, SECOND_LENS, MEANS, PATTERN)
def _pattern_words(first: SphCyl, second: SphCyl, means: tuple[float, ...], pattern: str) -> str:
    right, left = (degrees(lens.minus_form().axis) for lens in (first, second))
    return {
        "small": "So there is no pattern to read.",
        "one-eye": "So one eye alone is off.",
        "shift": f"The means outweigh the cylinders and are about equal, {listed(means)}: both are shifted.",
        "mirror": f"The cylinders outweigh the means. Minus axes {right} and {left} add up to about 180: mirror "
        f"images.",
        "same-way": f"The cylinders outweigh the means. Minus axes {right} and {left} lean the same way.",
        "unclear": "The two eyes do not go together.",
    }[pattern]


def _shift_means(means: tuple[float, ...], off: tuple[bool, bool]) -> float:
    """Return by how much both eyes are thought to be shifted: what they share, or the eye that is off most."""
    right, left = means
    return float((right + left) / 2 if right * left > 0 and all(off) else max(right, left, key=abs))


def _suggest(pattern: str, means: tuple[float, ...], off: tuple[bool, bool], vergence: float) -> str:
    if pattern != "shift":
        return _SUGGESTED_BY[pattern]
    mean = _shift_means(means, off)
    if abs(mean - vergence) <= RIVALS_APART / 2 + 1e-9:
        return "left-in"
    if abs(mean + vergence) <= RIVALS_APART / 2 + 1e-9:
        return "taken-twice"
    if mean > 0:
        return "nearer"
    return "farther" if vergence + mean >= FARTHEST_SEAT - 1e-9 else "near-fixation"


@given(SUGGESTS)
def _defensible(suggests: str) -> tuple[Defensible, ...]:
    """Credit what a shift of both eyes cannot tell from the seat; common practice, no published source."""
    if suggests in ("nearer", "left-in"):
        return (
            Defensible(
                SUGGESTS.to("short-of-plus"),
                0.6,
                "Retinoscopy is the more plus in both eyes also where the final refraction left plus behind: latent "
                "hyperopia, or a subjective that ended over-minused.",
                "Measure your distance, then fog the subjective or repeat under cycloplegia by local rules.",
            ),
        )
    if suggests in ("each-side", "one-side"):
        return (
            Defensible(
                SUGGESTS.to("repeat-both"),
                0.5,
                "Axes placed wrongly, or read off a frame that was not level, leave a cylinder in both eyes too.",
                "Measure both again from straight ahead, and read the axes with the frame level.",
            ),
        )
    if suggests in ("farther", "taken-twice"):
        return (
            Defensible(
                SUGGESTS.to("near-fixation"),
                0.6,
                "A patient who looks near, or accommodates, is measured too minus in both eyes as well.",
                "Measure your distance, then repeat with a far target and fog.",
            ),
        )
    return ()


_taken_words = given(SUGGESTS)(lambda suggests: f"Taken to mean: {SUGGESTIONS.write(suggests)}.")
_suggested = given(PATTERN, MEANS, OFF, VERGENCE)(_suggest)


def _concluded(power: Callable[[SphCyl], float]) -> Rule[str]:
    """Say what it all comes to when the means are taken to be the `power` of each lens."""
    pattern = given(_by_blur, _means(power), _halves, FIRST_LENS, SECOND_LENS)(_pattern)
    return given(pattern, _means(power), _by_blur, VERGENCE)(_suggest)


# The written spheres taken for the means are wrong only where they lead to another end.
_sphere_misleads = given(_concluded(_mean), _concluded(_sphere))(lambda by_mean, by_sphere: by_mean != by_sphere)


@given(MEANS, HALVES, OFF)
def _opposite_shift(means: tuple[float, ...], halves: tuple[float, ...], off: tuple[bool, bool]) -> bool:
    outweigh = all(abs(mean) > half for mean, half in zip(means, halves, strict=True))
    return all(off) and outweigh and means[0] * means[1] < 0 and abs(abs(means[0]) - abs(means[1])) <= ALIKE + 1e-9


# --- drawing -----------------------------------------------------------------------------------------------------

SUGGESTED_OF = {
    "small": "nothing",
    "one-eye": "repeat-eye",
    "nearer": "nearer",
    "farther": "farther",
    "left-in": "left-in",
    "taken-twice": "taken-twice",
    "near": "near-fixation",
    "mirror": "each-side",
    "same-way": "one-side",
    "opposite": "repeat-both",
}
SORTS = (*SUGGESTED_OF, "mirror", "same-way")
"""What went wrong, and what the differences then suggest; the two that teach most come twice."""
GROWN_UP = Sought((13.0, 90.0))
"""Ages in years at which a final refraction is a subjective one: ours, common practice."""
COMPLETIONS = 16
"""Pairs of results taken of one patient before another is looked at."""
STEEPEST_DEG = 24.0
"""Farther off the axis than this nobody would still measure: ours."""
STRONGEST_D = 1.5
"""What that angle adds, in D: no difference has more cylinder."""


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    limit = settings.norm("result-difference")
    sort = of_subject(chance).among(SORTS)
    if not _can_come(sort, off, limit):
        able = ["mirror"] if _can_come("mirror", off, limit) else [one for one in SORTS if _can_come(one, off, limit)]
        sort = of_subject(chance).among(able)

    def findings(right: SphCyl, left: SphCyl) -> dict[str, Any]:
        return given(RIGHT, LEFT, DISTANCE, LIMIT).to(
            right.in_form(settings.form), left.in_form(settings.form), distance, limit
        )

    def fits(patient: Patient) -> dict[str, Any] | None:
        for _ in range(COMPLETIONS):
            causes = _causes(sort, patient, chance, off, limit)
            if causes is None:
                return None
            pairs = zip(SIDES, causes, strict=True)
            found = findings(*(_difference(patient.eye(side).lens, cause, chance, settings) for side, cause in pairs))
            case = two_eyes_pattern.case(found)
            if any(-one.get(found).minus_form().cylinder > STRONGEST_D for one in (RIGHT, LEFT)):
                continue
            if case.truth["suggests"] == SUGGESTED_OF[sort] and case.hides_nothing() and case.is_firm():
                return found
        return None

    found = first_fitting(chance, settings, fits, GROWN_UP)
    return found if found is not None else findings(*_evenly_drawn(sort, chance, settings, off, limit))


def _difference(eye: SphCyl, cause: SphCyl, chance: Chance, settings: Settings) -> SphCyl:
    """Return retinoscopy, with this in it, less a final refraction of the same eye: both scatter as published."""
    found, final = (read_once(eye, ADULT, chance) for _ in range(2))
    return as_recorded(found + cause - final, settings)


def _can_come(sort: str, off: float, limit: float) -> bool:
    """Say whether anyone's results differ so, where this much counts as a difference.

    Where 0.25 D counts, published scatter alone makes a difference, and no oblique angle at which one would still
    measure adds a cylinder that blurs by 0.75 D, nor often one of 0.70: of 200 patients with 16 pairs of results each
    none fitted. From some distances no seat tells itself apart from the distance left in, or from a patient who looked
    near.
    """
    if sort in ("small", "one-eye"):
        return limit > 0.25
    if sort in ("mirror", "same-way"):
        return limit <= 0.6
    if sort == "nearer":
        return bool(_nearer_by(off, limit))
    if sort == "farther":
        return _farther_by(off) >= max(LEAST_SHIFT, limit) + 0.25
    return sort not in ("left-in", "taken-twice") or off >= limit


def _causes(sort: str, patient: Patient, chance: Chance, off: float, limit: float) -> tuple[SphCyl, SphCyl] | None:
    """Return what a cause adds to the results of this patient's eyes; None where these eyes do not come to it."""
    if sort in ("mirror", "same-way"):
        return _off_axis(sort, patient, chance)
    if sort == "near":
        by = off + RIVALS_APART + chance.among((0.0, 0.25, 0.5))
        return (SphCyl(-by), SphCyl(-by)) if patient.amplitude_d >= by else None
    least = max(LEAST_SHIFT, limit + 0.25)
    few = chance.stepped(least, max(MOST_SHIFT, least))
    if sort == "nearer":
        few = chance.among(_nearer_by(off, limit))
    if sort == "farther":
        few = chance.stepped(least, _farther_by(off))
    both = {"small": 0.0, "left-in": off, "taken-twice": -off, "nearer": few, "farther": -few}
    if sort in both:
        return SphCyl(both[sort]), SphCyl(both[sort])
    sign = chance.among((-1, 1))
    first, second = chance.shuffled([SphCyl(sign * few), SphCyl(-sign * few if sort == "opposite" else 0.0)])
    return first, second


LEAST_SHIFT, MOST_SHIFT = 0.75, 1.25
"""By how much, in D, a seat or a misjudged end-point is out: ours."""


def _nearer_by(off: float, limit: float) -> list[float]:
    """Return what a nearer seat may add, in D, that counts and is not nearly what the distance is worth."""
    return [by for by in (0.75, 1.0, 1.25) if by > limit and abs(by - off) >= RIVALS_APART]


def _farther_by(off: float) -> float:
    """Return the most that a farther seat takes off, in D."""
    return min(off - FARTHEST_SEAT, MOST_SHIFT)


def _off_axis(sort: str, patient: Patient, chance: Chance) -> tuple[SphCyl, SphCyl]:
    """Return what looking from above and to a side adds: the cylinder of the law, and the mean of these eyes."""
    angle2 = chance.stepped(20.0, STEEPEST_DEG, 1.0) ** 2
    axis = chance.among((45, 135)) + chance.stepped(-20, 20, 5)
    axes = (axis, mirrored(axis) if sort == "mirror" else axis)

    def added(side: Side, at: float) -> SphCyl:
        eye = patient.eye(side)
        return SphCyl(eye.peripheral_m2 * angle2, eye.peripheral_j2 * angle2, axis_of(at))

    right, left = (added(side, at) for side, at in zip(SIDES, axes, strict=True))
    return right, left


def _evenly_drawn(sort: str, chance: Chance, settings: Settings, off: float, limit: float) -> tuple[SphCyl, SphCyl]:
    step = 1 if settings.level == "expert" else 5
    axis = chance.among((45, 135)) + chance.stepped(-20, 20, step)
    other = axis_of(axis + chance.stepped(-5, 5, step))
    few = chance.stepped(0.5, 1)
    if sort == "nearer":
        few = chance.among(_nearer_by(off, limit))
    if sort == "farther":
        few = chance.stepped(LEAST_SHIFT, _farther_by(off)) - 0.25

    def cylinder(size: float, at: float) -> SphCyl:
        return SphCyl(size / 2 - size / 2 % 0.25 + chance.among((0, 0, 0.25)), -size, at)

    if sort in ("mirror", "same-way"):
        # More than 1.50 D would take 24° off the axis, where nobody would still measure.
        size = chance.stepped(1, 1.5)
        return cylinder(size, axis), cylinder(size, axis_of(mirrored(other)) if sort == "mirror" else other)
    if sort == "small":
        return SphCyl(chance.among((0, 0.25)), -0.25, axis), SphCyl(chance.among((0, 0.25)))
    if sort == "one-eye":
        pair = [SphCyl(chance.among((-1, 1)) * (few + 0.25), -0.25, axis), SphCyl(0.25, -0.25, other)]
        first, second = chance.shuffled(pair)
        return first, second
    if sort in ("left-in", "taken-twice"):
        return (SphCyl(off), SphCyl(off)) if sort == "left-in" else (SphCyl(-off), SphCyl(-off))
    if sort == "near":
        by = off + RIVALS_APART + chance.among((0.0, 0.25, 0.5))
        return SphCyl(-by), SphCyl(-by - 0.25 + chance.among((0.0, 0.25)))
    mean = -few - 0.25 if sort == "farther" else few
    sign = -1 if sort == "opposite" else 1
    return SphCyl(mean + 0.25, -0.5, axis), SphCyl(sign * mean + chance.among((0.0, 0.25)), -0.25, other)


two_eyes_pattern = CaseType(
    id="two-eyes-pattern",
    title="The pattern of two eyes against the final refraction",
    family=FAMILY,
    level="expert",
    seconds=40,
    findings=Group((RIGHT, LEFT, DISTANCE, LIMIT)),
    asks=(PATTERN, SUGGESTS),
    draw=_draw,
    begin=PAIR_AND_VERGENCE,
    steps=(
        given(MEANS, HALVES).step(
            SPLIT_DIFFERENCE,
            run=_split(_mean),
            says=_split_words,
            slips=(
                Slip(
                    skills.SPHERE_ONLY,
                    run=_split(_sphere),
                    says=given(MEANS)(lambda means: f"The written spheres taken as the means: {listed(means)}."),
                    live=_sphere_misleads,
                ),
            ),
        ),
        OFF.step(
            JUDGE_EYES,
            run=_by_blur,
            says=given(OFF, LIMIT)(_off_words),
            slips=(
                Slip(
                    CYLINDER_UNCOUNTED,
                    run=_by_mean,
                    says=given(OFF, LIMIT)(lambda off, limit: f"By the means alone: {_off_words(off, limit)}"),
                    live=given(_by_mean, _by_blur)(lambda by_mean, by_blur: by_mean != by_blur),
                ),
                Slip(
                    AGAIN_WITHOUT_CAUSE,
                    run=given()(lambda: (True, True)),
                    says=given()(lambda: "Both taken to be off because they differ at all."),
                    live=given(_by_blur)(lambda off: not any(off)),
                ),
            ),
        ),
        PATTERN.step(
            READ_PATTERN,
            run=_read,
            says=_pattern_words,
            slips=(
                Slip(
                    MIRROR_MISREAD,
                    run=given(_read)(lambda pattern: {"mirror": "same-way", "same-way": "mirror"}[pattern]),
                    says=given(PATTERN)(lambda pattern: f"Taken for {PATTERNS.write(pattern)}."),
                    live=given(_read)(lambda pattern: pattern in ("mirror", "same-way")),
                ),
                Slip(
                    ONE_EYE_FOR_BOTH,
                    run=given()(lambda: "shift"),
                    says=given()(lambda: "Taken for a shift of both."),
                    live=given(_read)(lambda pattern: pattern == "one-eye"),
                ),
                Slip(
                    SIGNS_PASSED_OVER,
                    run=given()(lambda: "shift"),
                    says=given()(lambda: "The sizes are equal: taken for a shift of both."),
                    live=_opposite_shift,
                ),
            ),
        ),
        SUGGESTS.step(
            PATTERN_CAUSE,
            run=_suggested,
            says=given(SUGGESTS)(lambda suggests: _SUGGEST_WORDS[suggests]),
            slips=(
                Slip(
                    skills.DRIFT_REVERSED,
                    run=given(MEANS, OFF)(lambda means, off: "farther" if _shift_means(means, off) > 0 else "nearer"),
                    says=_taken_words,
                    live=given(_suggested)(lambda suggests: suggests in ("nearer", "farther")),
                ),
                Slip(
                    DISTANCE_UNSEEN,
                    run=given(_suggested)(lambda suggests: "nearer" if suggests == "left-in" else "farther"),
                    says=_taken_words,
                    live=given(_suggested)(lambda suggests: suggests in ("left-in", "taken-twice")),
                ),
                Slip(
                    SIDES_CONFUSED,
                    run=given(PATTERN)(lambda pattern: "one-side" if pattern == "mirror" else "each-side"),
                    says=_taken_words,
                    live=given(PATTERN)(lambda pattern: pattern in ("mirror", "same-way")),
                ),
            ),
        ),
    ),
    answer=as_found(PATTERN, SUGGESTS),
    found=given(RIGHT, LEFT, DISTANCE, LIMIT)(
        lambda right, left, cm, limit: (
            f"Retinoscopy less final refraction, right eye: {as_written(right)}.",
            f"Retinoscopy less final refraction, left eye: {as_written(left)}.",
            f"{write_distance(cm)} was allowed for.",
            f"This clinic looks into a difference whose blur is {size(limit)} D or more.",
        )
    ),
    question=asking("What pattern do the two eyes make together, and what does it suggest?"),
    figure=eyes_figure,
    needs=("distance-drift", "spherical-equivalent"),
    defensible=_defensible,
    errors={RIGHT.name: 0.25, LEFT.name: 0.25, DISTANCE.name: 1.0},
    sources=("thibos-1997", "off-axis-optics", "common-practice"),
)

THRESHOLDS = (
    Threshold(f"Two eyes count as equal with means within {ALIKE:.2f} D and axes within {AXES_ALIKE:g}°"),
    Threshold("Nobody sits farther away than 2 m from the patient"),
)
TYPES = (two_eyes_pattern,)
