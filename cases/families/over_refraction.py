"""Family D, lens algebra: what the eye needs when retinoscopy was done over a lens that is worn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, find_cylinder
from cases.families.algebra import FAMILY
from cases.families.oblique import PRESCRIPTION, pick_second
from cases.families.vectors import AXIS_90_OUT, AXIS_PROBES, COMPONENTS_ADDED, as_they_stand, component_steps
from cases.fields import Field, Group
from cases.figures_lenses import trial_frame
from cases.kinds import Lens
from cases.lens import SphCyl, across, axis_gap
from cases.steps import FORM, FORM_WORDS, add_sizes, as_written, degrees, lens_pair, listed, pick_lens, signed
from cases.working import Known, Skill, Slip, Step

LAY_BOTH = Skill("lay-both-on-cross", "laying two lenses on one cross")


def axes_agree(known: Known) -> bool:
    """Say whether `first` and `second` lie on one power cross: axes alike or at right angles, or one a sphere."""
    first, second = lens_pair(known)
    gap = axis_gap(first.axis, second.axis)
    return not (first.cylinder and second.cylinder) or min(gap, 90 - gap) < 0.05


def axes_differ(known: Known) -> bool:
    """Say whether `first` and `second` must be added by components."""
    return not axes_agree(known)


def count_worn(words: Callable[[Known], str]) -> Step:
    """Step: `worn` and `over`, what was found over it, to `first` and `second`, the two lenses that add up."""
    return Step(
        skills.COUNT_WORN_LENS,
        run=lambda known: {"first": known["worn"], "second": known["over"]},
        says=words,
        slips=(
            Slip(
                skills.OVER_REFRACTION_REPLACES,
                run=lambda known: {"first": SphCyl(0, 0, known["worn"].axis), "second": known["over"]},
                says=lambda known: f"Only what was found: {as_written(known['second'])}.",
                live=lambda known: known["worn"].strongest > 0,
            ),
            Slip(
                skills.OVER_REFRACTION_TAKEN_OFF,
                run=lambda known: {"first": known["worn"], "second": -known["over"]},
                says=lambda known: f"What was found is taken off: {as_written(known['second'])}.",
                live=lambda known: known["over"].strongest > 0,
            ),
        ),
    )


def _cross_axis(known: Known) -> float:
    lens: SphCyl = known["first"] if known["first"].cylinder else known["second"]
    return lens.axis


def _laid(along: Callable[[SphCyl, float], float], beside: Callable[[SphCyl, float], float]) -> Any:
    def run(known: Known) -> dict[str, Any]:
        axis = _cross_axis(known)
        lenses = lens_pair(known)
        return {
            "meridians": (axis, across(axis)),
            "along": tuple(along(lens, axis) for lens in lenses),
            "beside": tuple(beside(lens, across(axis)) for lens in lenses),
        }

    return run


def _laid_words(known: Known) -> str:
    first, second = known["meridians"]
    return f"{listed(known['along'])} along {degrees(first)}, {listed(known['beside'])} along {degrees(second)}."


def _laid_alone(lens: SphCyl, meridian: float) -> float:
    return lens.cylinder if axis_gap(lens.axis, meridian) > 45 else lens.sphere


def _summed(add: Callable[[float, float], float]) -> Any:
    return lambda known: {"net": (add(*known["along"]), add(*known["beside"]))}


def _net_words(known: Known) -> str:
    return (
        f"{signed(known['net'][0])} along {degrees(known['meridians'][0])}, "
        f"{signed(known['net'][1])} along {degrees(known['meridians'][1])}"
    )


def _naive_words(known: Known) -> str:
    lens = as_they_stand(*lens_pair(known), _cross_axis(known))
    return f"Sphere to sphere, cylinder to cylinder: {as_written(lens)}."


_ON_ONE_CROSS = (
    Step(
        LAY_BOTH,
        run=_laid(SphCyl.power_at, SphCyl.power_at),
        says=lambda known: f"Both lenses on one cross: {_laid_words(known)}",
        slips=(
            Slip(
                COMPONENTS_ADDED,
                run=lambda known: {
                    "meridians": (_cross_axis(known), across(_cross_axis(known))),
                    "along": (known["first"].sphere, known["second"].sphere),
                    "beside": tuple(lens.sphere + lens.cylinder for lens in lens_pair(known)),
                },
                says=_naive_words,
                live=lambda known: (
                    bool(known["first"].cylinder and known["second"].cylinder)
                    and axis_gap(known["first"].axis, known["second"].axis) > 45
                ),
            ),
            Slip(
                skills.CYLINDER_ALONE,
                run=_laid(_laid_alone, _laid_alone),
                says=lambda known: f"The cylinder alone across each axis: {_laid_words(known)}",
                live=lambda known: any(lens.cylinder and lens.sphere for lens in lens_pair(known)),
            ),
        ),
    ),
    Step(
        skills.ADD_LENSES,
        run=_summed(lambda a, b: a + b),
        says=lambda known: f"Added in each meridian: {_net_words(known)}.",
        slips=(
            Slip(
                skills.SIGN_LOST_IN_SUM,
                run=_summed(add_sizes),
                says=lambda known: f"The sizes added: {_net_words(known)}.",
                live=lambda known: any(a * b < 0 for a, b in (known["along"], known["beside"])),
            ),
        ),
    ),
    choose_sphere(FIRST_TAKEN),
    find_cylinder(),
    PLACE_AXIS,
)


def summing_steps() -> tuple[Step, ...]:
    """Build the steps from `first`, `second` and `form` to their sum, on one cross where the axes agree."""
    return (*(replace(step, needed=axes_agree) for step in _ON_ONE_CROSS), *component_steps(axes_differ))


def _draw_over(chance: Chance, settings: Settings) -> dict[str, Any]:
    worn = pick_lens(chance, settings, sphere=(-6, 5), cylinder=(0.75, 3.0))
    if settings.level == "expert" and chance.happens(0.75):
        found = pick_second(chance, settings, worn, cylinder=(0.75, 1.75))
    else:
        size = chance.among((0, 0.5, 0.75)) if settings.level == "novice" else chance.stepped(0.5, 1.25)
        axis = across(worn.axis) if settings.level != "novice" and chance.happens(0.5) else worn.axis
        found = SphCyl(chance.among((-1, 1)) * chance.stepped(0.5, 2.5), -size, axis if size else 180)
    return {"worn": worn, "found": found, "form": settings.form}


over_refraction = CaseType(
    id="over-refraction",
    title="Retinoscopy over the spectacles",
    family=FAMILY,
    level="competent",
    seconds=40,
    findings=Group(
        (
            Field("worn", "Lens that is worn", Lens()),
            Field("found", "Net result of retinoscopy over it", Lens()),
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_over,
    begin=lambda findings: {"over": findings["found"]},
    steps=(
        count_worn(
            lambda known: (
                f"What was found sits on what is worn, so {as_written(known['first'])} and "
                f"{as_written(known['second'])} add up."
            )
        ),
        *summing_steps(),
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        f"Worn: {as_written(known['worn'])}.",
        f"Over it, with the working distance taken off already: {as_written(known['found'])}.",
    ),
    question=lambda known: f"What prescription does the eye need, unrounded, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: trial_frame((known["worn"], known["found"]), notes={0: "worn", 1: "found, net"}, uid=uid),
    needs=("cross-to-rx", "transpose"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("common practice, no published source; sums: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",),
)

TYPES = (over_refraction,)
