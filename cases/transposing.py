"""The three moves that turn a lens into its other cylinder form, and where each goes wrong."""

from __future__ import annotations

from collections.abc import Callable

from cases import skills
from cases.lens import across
from cases.steps import degrees, from_vertical, mirrored, signed
from cases.sums import added
from cases.working import Known, Slip, SlipName, Step, always

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
    run=lambda known: {"axis": mirrored(known["axis"])},
    says=lambda known: f"The axis taken from 180: {degrees(known['axis'])}.",
    live=lambda known: known["axis"] % 90 != 0,
)
AXIS_SUBTRACTED_FROM_90 = Slip(
    AXIS_FROM_90,
    run=lambda known: {"axis": from_vertical(known["axis"])},
    says=lambda known: f"The axis taken from 90: {degrees(known['axis'])}.",
    live=lambda known: 0 < known["axis"] < 90,
)


def in_other_form(known: Known) -> bool:
    """Say whether the `cylinder` has the sign of the form that is not asked for."""
    return bool(known["cylinder"] != 0 and (known["cylinder"] < 0) != (known["form"] == "minus"))


def turning_steps(needed: Callable[[Known], bool] = always, *, axis_alone: bool = True) -> tuple[Step, ...]:
    """Build the steps from `sphere`, `cylinder`, `axis` to the same names in the other form, when `needed`.

    axis_alone: whether taking the axis from 180 or 90 is told apart; where the dial is read as well, a mirrored dial
    gives the very same answers, so there it is not.
    Source: simple transposition, e.g. the NFOS optician course, module 8.
    """
    called_for = "turning"
    axis_slips = (AXIS_SUBTRACTED_FROM_180, AXIS_SUBTRACTED_FROM_90) if axis_alone else ()

    def first(known: Known) -> bool:
        return needed(known)

    def later(known: Known) -> bool:
        return bool(known.get(called_for, False))

    return (
        Step(
            skills.TURN_SPHERE,
            run=lambda known: {"sphere": known["sphere"] + known["cylinder"], "was": known["sphere"], called_for: True},
            says=lambda known: f"New sphere: {added(known['was'], known['cylinder'], known['sphere'])}.",
            slips=(
                Slip(
                    skills.SPHERE_NOT_READDED,
                    run=lambda known: {"was": known["sphere"], called_for: True},
                    says=lambda known: f"Sphere left at {signed(known['sphere'])}.",
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=lambda known: {
                        "sphere": known["sphere"] - known["cylinder"],
                        "was": known["sphere"],
                        called_for: True,
                    },
                    says=lambda known: f"The cylinder taken away: sphere {signed(known['sphere'])}.",
                ),
            ),
            needed=first,
        ),
        Step(
            skills.TURN_SIGN,
            run=lambda known: {"cylinder": -known["cylinder"]},
            says=lambda known: f"Same cylinder, other sign: {signed(known['cylinder'])}.",
            slips=(
                Slip(
                    skills.SIGN_KEPT,
                    run=lambda _: {},
                    says=lambda known: f"Cylinder kept as {signed(known['cylinder'])}.",
                ),
            ),
            needed=later,
        ),
        Step(
            skills.TURN_AXIS,
            run=lambda known: {"axis": across(known["axis"])},
            says=lambda known: f"The axis turned through 90: {degrees(known['axis'])}.",
            slips=(
                Slip(
                    skills.AXIS_NOT_TURNED,
                    run=lambda _: {},
                    says=lambda known: f"The axis left at {degrees(known['axis'])}.",
                ),
                *axis_slips,
            ),
            needed=later,
        ),
    )
