"""Steps that the types of family H share: the means of two lenses, and the difference between them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.lens import SphCyl
from cases.steps import any_cylinder, lens_pair, listed, signed
from cases.sums import less_signed
from cases.working import Known, Skill, Slip, SlipName, Step

COMPARE_MEANS = Skill("compare-means", "taking one mean power from another")

DIFFERENCE_REVERSED = SlipName(
    "difference-reversed",
    "took the difference the other way round",
    "Say which is taken from which before you subtract: the sign is what tells too plus from too minus.",
)


def _shares(share: Callable[[SphCyl], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"shares": tuple(share(lens) for lens in lens_pair(known))}


def _with(share: Callable[[float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {
        "means": tuple(lens.sphere + share(part) for lens, part in zip(lens_pair(known), known["shares"], strict=True))
    }


HALVE_BOTH = Step(
    skills.HALVE_CYLINDER,
    run=_shares(lambda lens: lens.cylinder / 2),
    says=lambda known: (
        f"Half of {signed(known['first'].cylinder)} is {signed(known['shares'][0])}, half of "
        f"{signed(known['second'].cylinder)} is {signed(known['shares'][1])}."
    ),
    slips=(
        Slip(
            skills.WHOLE_CYLINDER,
            run=_shares(lambda lens: lens.cylinder),
            says=lambda known: f"The whole cylinders taken: {listed(known['shares'])}.",
            live=any_cylinder,
        ),
        Slip(
            skills.SPHERE_ONLY, run=_shares(lambda _: 0.0), says=lambda _: "The cylinders left out.", live=any_cylinder
        ),
    ),
)

ADD_BOTH = Step(
    skills.ADD_HALF,
    run=_with(lambda part: part),
    says=lambda known: f"Added to the spheres: the mean powers are {listed(known['means'])}.",
    slips=(
        Slip(
            skills.HALF_UNSIGNED,
            run=_with(abs),
            says=lambda known: f"Added without their signs: {listed(known['means'])}.",
            live=lambda known: min(known["shares"]) < 0,
        ),
        Slip(
            skills.CYLINDER_SUBTRACTED,
            run=_with(lambda part: -part),
            says=lambda known: f"The halves taken away: {listed(known['means'])}.",
            live=lambda known: min(known["shares"]) >= 0 and max(known["shares"]) > 0,
        ),
    ),
)


def subtract_means(words: str) -> Step:
    """Step: `means` to `mean_difference` in D, first less second; `words` say which is taken from which."""
    return Step(
        COMPARE_MEANS,
        run=lambda known: {"mean_difference": known["means"][0] - known["means"][1]},
        says=lambda known: f"{words}: {less_signed(known['means'][0], known['means'][1], known['mean_difference'])}.",
        slips=(
            Slip(
                DIFFERENCE_REVERSED,
                run=lambda known: {"mean_difference": known["means"][1] - known["means"][0]},
                says=lambda known: f"Taken the other way round: {signed(known['mean_difference'])}.",
                live=lambda known: known["means"][0] != known["means"][1],
            ),
            Slip(
                skills.SIZES_SUBTRACTED,
                run=lambda known: {"mean_difference": abs(known["means"][0]) - abs(known["means"][1])},
                says=lambda known: f"The sizes subtracted: {signed(known['mean_difference'])}.",
                live=lambda known: known["means"][0] * known["means"][1] < 0,
            ),
        ),
    )
