"""From two powers at right angles to a written lens: which is the sphere, what the cylinder is, where the axis lies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cases import skills
from cases.lens import across
from cases.steps import FORM_WORDS, degrees, signed
from cases.sums import adding_up
from cases.working import Known, Slip, SlipName, Step

FIRST_AS_SPHERE = SlipName(
    "first-as-sphere",
    "took the first power as the sphere",
    "Which one comes first does not matter: a minus cylinder starts from the more plus power, a plus cylinder from the "
    "less plus one.",
)


def ends(powers: Sequence[float], form: str) -> tuple[int, int]:
    """Say which of two powers gives the sphere in this cylinder form, and which is the other: their places, 0 and 1."""
    first_is_sphere = powers[0] >= powers[1] if form == "minus" else powers[0] <= powers[1]
    return (0, 1) if first_is_sphere else (1, 0)


def _sign(known: Known) -> int:
    return -1 if known["form"] == "minus" else 1


def _chosen(known: Known, place: int) -> dict[str, Any]:
    return {
        "sphere": known["net"][place],
        "near_end": known["net"][place],
        "far_end": known["net"][1 - place],
        "along": known["meridians"][place],
    }


def _right_choice(known: Known) -> dict[str, Any]:
    return _chosen(known, ends(known["net"], known["form"])[0])


def _with_sphere(choose: Any) -> Any:
    """Run the right choice, but write another sphere."""

    def run(known: Known) -> dict[str, Any]:
        right = _right_choice(known)
        return {**right, "sphere": choose(right)}

    return run


_WRONG_SPHERE = Slip(
    skills.WRONG_SPHERE,
    run=_with_sphere(lambda right: right["far_end"]),
    says=lambda known: f"Started from the other power: sphere {signed(known['sphere'])}.",
)
_MEAN_AS_SPHERE = Slip(
    skills.MEAN_AS_SPHERE,
    run=_with_sphere(lambda right: (right["near_end"] + right["far_end"]) / 2),
    says=lambda known: f"The mean of the two taken as the sphere: {signed(known['sphere'])}.",
)
FIRST_TAKEN = Slip(
    FIRST_AS_SPHERE,
    run=lambda known: _chosen(known, 0),
    says=lambda known: f"The first power taken as the sphere: {signed(known['sphere'])}.",
    live=lambda known: ends(known["net"], known["form"])[0] != 0,
)


def choose_sphere(*more: Slip) -> Step:
    """Step: `net`, `meridians` and `form` to the `sphere`, its meridian `along` and the power at either end."""

    def says(known: Known) -> str:
        which = "more plus" if known["form"] == "minus" else "less plus"
        return (
            f"For {FORM_WORDS[known['form']]} start from the {which} power: sphere {signed(known['sphere'])}, "
            f"at {degrees(known['along'])}."
        )

    return Step(skills.CHOOSE_SPHERE, run=_right_choice, says=says, slips=(_WRONG_SPHERE, _MEAN_AS_SPHERE, *more))


def _same_side(known: Known) -> bool:
    return bool(known["near_end"] * known["far_end"] > 0)


def _other_side(known: Known) -> bool:
    return bool(known["near_end"] * known["far_end"] < 0)


def _gap(known: Known) -> float:
    return abs(float(known["far_end"] - known["near_end"]))


def _gap_words(known: Known) -> str:
    near, far, cylinder = known["near_end"], known["far_end"], known["cylinder"]
    digits = adding_up(abs(cylinder), max(near, far), -min(near, far))
    return f"From {digits.signed(near)} to {digits.signed(far)} is {digits.result(cylinder)}: the cylinder."


def find_cylinder(*more: Slip) -> Step:
    """Step: the two ends to the `cylinder`, their difference with the sign of the form asked for."""
    return Step(
        skills.FIND_CYLINDER,
        run=lambda known: {"cylinder": _sign(known) * _gap(known)},
        says=_gap_words,
        slips=(
            Slip(
                skills.SECOND_AS_CYLINDER,
                run=lambda known: {"cylinder": known["far_end"]},
                says=lambda known: f"The other power written as the cylinder: {signed(known['cylinder'])}.",
            ),
            Slip(
                skills.SIZES_ADDED,
                run=lambda known: {"cylinder": _sign(known) * (abs(known["near_end"]) + abs(known["far_end"]))},
                says=lambda known: f"The two sizes added: {signed(known['cylinder'])}.",
                live=_same_side,
            ),
            Slip(
                skills.SIZES_SUBTRACTED,
                run=lambda known: {"cylinder": _sign(known) * abs(abs(known["near_end"]) - abs(known["far_end"]))},
                says=lambda known: f"The sizes subtracted across zero: {signed(known['cylinder'])}.",
                live=_other_side,
            ),
            Slip(
                skills.CYLINDER_SIGN_FLIPPED,
                run=lambda known: {"cylinder": -_sign(known) * _gap(known)},
                says=lambda known: f"The cylinder written as {signed(known['cylinder'])}.",
            ),
            *more,
        ),
    )


PLACE_AXIS = Step(
    skills.PLACE_AXIS,
    run=lambda known: {"axis": known["along"]},
    says=lambda known: f"The sphere's meridian feels no cylinder, so the axis lies along it: {degrees(known['axis'])}.",
    slips=(
        Slip(
            skills.AXIS_AT_POWER,
            run=lambda known: {"axis": across(known["along"])},
            says=lambda known: f"The axis written along the cylinder's power: {degrees(known['axis'])}.",
        ),
    ),
)
