"""Family D, lens algebra: what the eye needs when retinoscopy was done over a lens that is worn."""

from __future__ import annotations

from typing import Any

from cases.curriculum.adding_lenses import OVER, count_worn, pick_second, summing_steps
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.power_vectors import AXIS_90_OUT, AXIS_PROBES
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import (
    FIRST_LENS,
    FORM,
    FORM_WORDS,
    PRESCRIPTION,
    SECOND_LENS,
    as_written,
    pick_lens,
)
from cases.figures.lenses import trial_frame
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CaseType
from cases.procedure.fields import Field, Group
from cases.procedure.keys import given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings


def _draw_over(chance: Chance, settings: Settings) -> dict[str, Any]:
    worn = pick_lens(chance, settings, sphere=(-6, 5), cylinder=(0.75, 3.0))
    if settings.level == "expert" and chance.happens(0.75):
        found = pick_second(chance, settings, worn, cylinder=(0.75, 1.75))
    else:
        size = chance.among((0, 0.5, 0.75)) if settings.level == "novice" else chance.stepped(0.5, 1.25)
        axis = across(worn.axis) if settings.level != "novice" and chance.happens(0.5) else worn.axis
        found = SphCyl(chance.among((-1, 1)) * chance.stepped(0.5, 2.5), -size, axis if size else 180)
    return given(WORN, FOUND, FORM).to(worn, found, settings.form)


WORN = Field("worn", "Lens that is worn", Lens())
FOUND = Field("found", "Net result of retinoscopy over it", Lens())
over_refraction = CaseType(
    id="over-refraction",
    title="Retinoscopy over the spectacles",
    family=FAMILY,
    level="competent",
    seconds=40,
    findings=Group(
        (
            WORN,
            FOUND,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_over,
    begin=OVER.by(given(FOUND)(lambda found: found)),
    steps=(
        count_worn(
            WORN,
            given(FIRST_LENS, SECOND_LENS)(
                lambda first, second: (
                    f"What was found sits on what is worn, so {as_written(first)} and {as_written(second)} add up."
                )
            ),
        ),
        *summing_steps(),
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(WORN, FOUND)(
        lambda worn, found: (
            f"Worn: {as_written(worn)}.",
            f"Over it, with the working distance taken off already: {as_written(found)}.",
        )
    ),
    question=given(FORM)(lambda form: f"What prescription does the eye need, unrounded, in {FORM_WORDS[form]}?"),
    figure=given(WORN, FOUND).drawing(
        lambda uid, worn, found: trial_frame((worn, found), notes={0: "worn", 1: "found, net"}, uid=uid)
    ),
    needs=("cross-to-rx", "transpose"),
    twins=AXIS_90_OUT,
    probes=AXIS_PROBES,
    sources=("common practice, no published source; sums: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367",),
)

TYPES = (over_refraction,)
