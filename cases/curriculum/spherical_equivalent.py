"""The spherical equivalent of one lens: half of its cylinder, with its sign, added to the sphere."""

from __future__ import annotations

from cases.curriculum import skills
from cases.curriculum.shared_keys import CYLINDER, MEAN, SHARE, SPHERE
from cases.curriculum.steps import signed, size
from cases.notation.sums import added
from cases.procedure.keys import Slip, given

SPHERICAL_EQUIVALENT_STEPS = (
    SHARE.step(
        skills.HALVE_CYLINDER,
        run=given(CYLINDER)(lambda cylinder: cylinder / 2),
        says=given(CYLINDER, SHARE)(lambda cylinder, share: f"Half of {signed(cylinder)} is {signed(share)}."),
        slips=(
            Slip(
                skills.WHOLE_CYLINDER,
                run=given(CYLINDER)(lambda cylinder: cylinder),
                says=given(SHARE)(lambda share: f"The whole cylinder taken: {signed(share)}."),
            ),
            Slip(skills.SPHERE_ONLY, run=given()(lambda: 0.0), says=given()(lambda: "The cylinder left out.")),
        ),
    ),
    MEAN.step(
        skills.ADD_HALF,
        run=given(SPHERE, SHARE)(lambda sphere, share: sphere + share),
        says=given(SPHERE, SHARE, MEAN)(lambda sphere, share, mean: f"{added(sphere, share, mean)}."),
        slips=(
            Slip(
                skills.HALF_UNSIGNED,
                run=given(SPHERE, SHARE)(lambda sphere, share: sphere + abs(share)),
                says=given(SHARE, MEAN)(lambda share, mean: f"{size(share)} added without its sign: {signed(mean)}."),
                live=given(SHARE)(lambda share: share < 0),
            ),
            Slip(
                skills.CYLINDER_SUBTRACTED,
                run=given(SPHERE, SHARE)(lambda sphere, share: sphere - share),
                says=given(MEAN)(lambda mean: f"The half taken away: {signed(mean)}."),
                live=given(SHARE)(lambda share: share > 0),
            ),
        ),
    ),
)
"""From `sphere` and `cylinder` to `mean`, all in D. Source: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367 (M)."""
