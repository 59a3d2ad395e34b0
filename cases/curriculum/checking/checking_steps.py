"""What the types of family H share: the means of two lenses, their difference, and slips in judging it."""

from __future__ import annotations

from collections.abc import Callable

from cases.curriculum import skills
from cases.curriculum.shared_keys import MEAN_DIFFERENCE, MEANS, SHARES
from cases.curriculum.steps import FIRST_LENS, SECOND_LENS, any_cylinder, listed, signed
from cases.notation.sums import less_signed
from cases.optics.lens import SphCyl
from cases.procedure.chain import Skill, SlipName
from cases.procedure.keys import Rule, Slip, Step, given

COMPARE_MEANS = Skill("compare-means", "taking one mean power from another")
JUDGE_LIMIT = Skill("judge-limit", "comparing a difference with a limit")
NAME_CAUSE = Skill("name-cause", "naming what a disagreement points to")

DIFFERENCE_REVERSED = SlipName(
    "difference-reversed",
    "took the difference the other way round",
    "Say which is taken from which before you subtract: the sign shows whether it is too plus or too minus.",
)
FORMS_NOT_MATCHED = SlipName(
    "forms-not-matched",
    "compared a plus cylinder with a minus one without transposing",
    "The same lens can be written both ways. Bring both into one form before you compare cylinder and axis.",
)
DISTANCE_UNSEEN = SlipName(
    "distance-unseen-in-difference",
    "passed over a difference of exactly the working distance",
    "They differ by exactly what your working distance is worth. Was it taken off both times?",
)
SIGN_AGAINST_LIMIT = SlipName(
    "limit-by-sign",
    "took a minus difference to be below the limit",
    "The limit is for the size of the difference, plus or minus.",
)
AGAIN_WITHOUT_CAUSE = SlipName(
    "again-without-cause",
    "measured again though the difference is within the limit",
    "Two measures are hardly ever the same. Within the limit there is no cause to measure again.",
)

RIVALS_APART = 0.75
"""No cause is drawn nearer to a rival than this many D; a difference within half of it of the distance points there.

Half is a quarter of a dioptre of measurement error and an eighth of rounding: common practice, no published source.
"""


def _shares(share: Callable[[SphCyl], float]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS)(lambda first, second: tuple(share(lens) for lens in (first, second)))


def _with(share: Callable[[float], float]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS, SHARES)(
        lambda first, second, shares: tuple(
            lens.sphere + share(part) for lens, part in zip((first, second), shares, strict=True)
        )
    )


HALVE_BOTH = SHARES.step(
    skills.HALVE_CYLINDER,
    run=_shares(lambda lens: lens.cylinder / 2),
    says=given(FIRST_LENS, SHARES, SECOND_LENS)(
        lambda first, shares, second: (
            f"Half of {signed(first.cylinder)} is {signed(shares[0])}, half of "
            f"{signed(second.cylinder)} is {signed(shares[1])}."
        )
    ),
    slips=(
        Slip(
            skills.WHOLE_CYLINDER,
            run=_shares(lambda lens: lens.cylinder),
            says=given(SHARES)(lambda shares: f"The whole cylinders taken: {listed(shares)}."),
            live=any_cylinder,
        ),
        Slip(
            skills.SPHERE_ONLY,
            run=_shares(lambda _: 0.0),
            says=given()(lambda: "The cylinders left out."),
            live=any_cylinder,
        ),
    ),
)

ADD_BOTH = MEANS.step(
    skills.ADD_HALF,
    run=_with(lambda part: part),
    says=given(MEANS)(lambda means: f"Added to the spheres: the mean powers are {listed(means)}."),
    slips=(
        Slip(
            skills.HALF_UNSIGNED,
            run=_with(abs),
            says=given(MEANS)(lambda means: f"Added without their signs: {listed(means)}."),
            live=given(SHARES)(lambda shares: min(shares) < 0),
        ),
        Slip(
            skills.CYLINDER_SUBTRACTED,
            run=_with(lambda part: -part),
            says=given(MEANS)(lambda means: f"The halves taken away: {listed(means)}."),
            live=given(SHARES)(lambda shares: min(shares) >= 0 and max(shares) > 0),
        ),
    ),
)


def subtract_means(words: str) -> Step:
    """Step: `means` to `mean_difference` in D, first less second; `words` say which is taken from which."""
    return MEAN_DIFFERENCE.step(
        COMPARE_MEANS,
        run=given(MEANS)(lambda means: means[0] - means[1]),
        says=given(MEANS, MEAN_DIFFERENCE)(
            lambda means, difference: f"{words}: {less_signed(means[0], means[1], difference)}."
        ),
        slips=(
            Slip(
                DIFFERENCE_REVERSED,
                run=given(MEANS)(lambda means: means[1] - means[0]),
                says=given(MEAN_DIFFERENCE)(lambda difference: f"Taken the other way round: {signed(difference)}."),
                live=given(MEANS)(lambda means: means[0] != means[1]),
            ),
            Slip(
                skills.SIZES_SUBTRACTED,
                run=given(MEANS)(lambda means: abs(means[0]) - abs(means[1])),
                says=given(MEAN_DIFFERENCE)(lambda difference: f"The sizes subtracted: {signed(difference)}."),
                live=given(MEANS)(lambda means: means[0] * means[1] < 0),
            ),
        ),
    )
