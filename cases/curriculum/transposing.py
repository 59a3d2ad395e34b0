"""The three moves that turn a lens into its other cylinder form, and where each goes wrong."""

from __future__ import annotations

from collections.abc import Callable

from cases.curriculum import skills
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE
from cases.curriculum.steps import degrees, from_vertical, mirrored, signed
from cases.notation.sums import added
from cases.optics.axes import across
from cases.procedure.chain import SlipName
from cases.procedure.keys import ALWAYS, Flag, Key, Rule, Slip, Step, given

AXIS_FROM_180 = SlipName(
    "axis-taken-from-180",
    "took the axis from 180 instead of turning it",
    "The axis turns through 90: add 90, or take 90 off when that passes 180. Taking it from 180 mirrors it.",
)
AXIS_FROM_90 = SlipName(
    "axis-taken-from-90",
    "took the axis from 90 instead of adding",
    "The axis turns through 90: add 90, or take 90 off when that passes 180. Taking it from 90 mirrors it.",
)


AXIS_SUBTRACTED_FROM_180 = Slip(
    AXIS_FROM_180,
    run=given(AXIS)(lambda axis: mirrored(axis)),
    says=given(AXIS)(lambda axis: f"The axis taken from 180: {degrees(axis)}."),
    live=given(AXIS)(lambda axis: axis % 90 != 0),
)
AXIS_SUBTRACTED_FROM_90 = Slip(
    AXIS_FROM_90,
    run=given(AXIS)(lambda axis: from_vertical(axis)),
    says=given(AXIS)(lambda axis: f"The axis taken from 90: {degrees(axis)}."),
    live=given(AXIS)(lambda axis: 0 < axis < 90),
)


WAS = Key[float]("was", unit="D")
TURNING = Flag("turning")


def in_other_form(cylinder: float, form: str) -> bool:
    """Say whether the `cylinder` has the sign of the form that is not asked for."""
    return bool(cylinder != 0 and (cylinder < 0) != (form == "minus"))


def turning_steps(needed: Rule[bool] = ALWAYS, *, axis_alone: bool = True) -> tuple[Step, ...]:
    """Build the steps from `sphere`, `cylinder`, `axis` to the same names in the other form, when `needed`.

    axis_alone: whether taking the axis from 180 or 90 is told apart; where the dial is read as well, a mirrored dial
    gives the very same answers, so there it is not.
    Source: `computed`, `nfos-8`.
    """
    axis_slips = (AXIS_SUBTRACTED_FROM_180, AXIS_SUBTRACTED_FROM_90) if axis_alone else ()

    def turned(new: Callable[[float, float], float]) -> Rule[tuple[float, float, bool]]:
        return given(SPHERE, CYLINDER)(lambda sphere, cylinder: (new(sphere, cylinder), sphere, True))

    return (
        given(SPHERE, WAS, TURNING).step(
            skills.TURN_SPHERE,
            run=turned(lambda sphere, cylinder: sphere + cylinder),
            says=given(WAS, CYLINDER, SPHERE)(
                lambda was, cylinder, sphere: f"New sphere: {added(was, cylinder, sphere)}."
            ),
            slips=(
                Slip(
                    skills.SPHERE_NOT_READDED,
                    run=turned(lambda sphere, _: sphere),
                    says=given(SPHERE)(lambda sphere: f"Sphere left at {signed(sphere)}."),
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=turned(lambda sphere, cylinder: sphere - cylinder),
                    says=given(SPHERE)(lambda sphere: f"The cylinder taken away: sphere {signed(sphere)}."),
                ),
            ),
            needed=needed,
        ),
        CYLINDER.step(
            skills.TURN_SIGN,
            run=given(CYLINDER)(lambda cylinder: -cylinder),
            says=given(CYLINDER)(lambda cylinder: f"Same cylinder, other sign: {signed(cylinder)}."),
            slips=(
                Slip(
                    skills.SIGN_KEPT,
                    run=given(CYLINDER)(lambda cylinder: cylinder),
                    says=given(CYLINDER)(lambda cylinder: f"Cylinder kept as {signed(cylinder)}."),
                ),
            ),
            needed=given(TURNING)(lambda turning: turning),
        ),
        AXIS.step(
            skills.TURN_AXIS,
            run=given(AXIS)(across),
            says=given(AXIS)(lambda axis: f"The axis turned through 90: {degrees(axis)}."),
            slips=(
                Slip(
                    skills.AXIS_NOT_TURNED,
                    run=given(AXIS)(lambda axis: axis),
                    says=given(AXIS)(lambda axis: f"The axis left at {degrees(axis)}."),
                ),
                *axis_slips,
            ),
            needed=given(TURNING)(lambda turning: turning),
        ),
    )
