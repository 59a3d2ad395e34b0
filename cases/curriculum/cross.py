"""From two powers at right angles to a written lens: which is the sphere, what the cylinder is, where the axis lies."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cases.curriculum import skills
from cases.curriculum.shared_keys import AXIS, CYLINDER, MERIDIANS, SPHERE
from cases.curriculum.steps import (
    ADDED,
    FORM,
    FORM_WORDS,
    GROSS,
    LEFT_IN,
    NET,
    VERGENCE,
    Powers,
    degrees,
    off_gross,
    sign_blind,
    signed,
    taken_off,
)
from cases.notation.sums import adding_up
from cases.optics.axes import across, at_right_angles
from cases.procedure.chain import SlipName
from cases.procedure.keys import Key, Rule, Slip, Step, given
from cases.procedure.kinds import BadFinding

NEAR_END = Key[float]("near_end", unit="D")
FAR_END = Key[float]("far_end", unit="D")
ALONG = Key[float]("along", unit="°")

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


def must_cross(streak: float, other: float) -> None:
    """Hold two streaks to right angles, within a degree.

    Raises
    ------
    BadFinding
        With the direction that would be right.
    """
    if not at_right_angles(streak, other):
        raise BadFinding(
            [streak, other],
            f"the streaks must be at right angles; across {degrees(streak)} lies {degrees(across(streak))}",
        )


def _sign(form: str) -> int:
    return -1 if form == "minus" else 1


Chosen = tuple[float, float, float, float]
"""The sphere, the power at the near end and at the far end, and the meridian along which the sphere lies."""


def _chosen(net: Powers, meridians: tuple[float, ...], place: int) -> Chosen:
    return net[place], net[place], net[1 - place], meridians[place]


@given(NET, MERIDIANS, FORM)
def _right_choice(net: Powers, meridians: tuple[float, ...], form: str) -> Chosen:
    return _chosen(net, meridians, ends(net, form)[0])


def _with_sphere(choose: Callable[[float, float], float]) -> Rule[Chosen]:
    """Run the right choice, but write another sphere: `choose` has the powers at the near and at the far end."""

    def run(net: Powers, meridians: tuple[float, ...], form: str) -> Chosen:
        _, near, far, along = _chosen(net, meridians, ends(net, form)[0])
        return choose(near, far), near, far, along

    return given(NET, MERIDIANS, FORM)(run)


_WRONG_SPHERE = Slip(
    skills.WRONG_SPHERE,
    run=_with_sphere(lambda _, far: far),
    says=given(SPHERE)(lambda sphere: f"Started from the other power: sphere {signed(sphere)}."),
)
_MEAN_AS_SPHERE = Slip(
    skills.MEAN_AS_SPHERE,
    run=_with_sphere(lambda near, far: (near + far) / 2),
    says=given(SPHERE)(lambda sphere: f"The mean of the two taken as the sphere: {signed(sphere)}."),
)
FIRST_TAKEN = Slip(
    FIRST_AS_SPHERE,
    run=given(NET, MERIDIANS)(lambda net, meridians: _chosen(net, meridians, 0)),
    says=given(SPHERE)(lambda sphere: f"The first power taken as the sphere: {signed(sphere)}."),
    live=given(NET, FORM)(lambda net, form: ends(net, form)[0] != 0),
)


def choose_sphere(*more: Slip[Chosen]) -> Step:
    """Step: `net`, `meridians` and `form` to the `sphere`, its meridian `along` and the power at either end."""

    def says(form: str, sphere: float, along: float) -> str:
        which = "more plus" if form == "minus" else "less plus"
        return f"For {FORM_WORDS[form]} start from the {which} power: sphere {signed(sphere)}, at {degrees(along)}."

    return given(SPHERE, NEAR_END, FAR_END, ALONG).step(
        skills.CHOOSE_SPHERE,
        run=_right_choice,
        says=given(FORM, SPHERE, ALONG)(says),
        slips=(_WRONG_SPHERE, _MEAN_AS_SPHERE, *more),
    )


_ENDS = given(NEAR_END, FAR_END)
_ENDS_AND_FORM = given(NEAR_END, FAR_END, FORM)


def _gap_words(near: float, far: float, cylinder: float) -> str:
    digits = adding_up(abs(cylinder), max(near, far), -min(near, far))
    return f"From {digits.signed(near)} to {digits.signed(far)} is {digits.result(cylinder)}: the cylinder."


def find_cylinder(*more: Slip[float]) -> Step:
    """Step: the two ends to the `cylinder`, their difference with the sign of the form asked for."""
    return CYLINDER.step(
        skills.FIND_CYLINDER,
        run=_ENDS_AND_FORM(lambda near, far, form: _sign(form) * abs(far - near)),
        says=given(NEAR_END, FAR_END, CYLINDER)(_gap_words),
        slips=(
            Slip(
                skills.SECOND_AS_CYLINDER,
                run=given(FAR_END)(lambda far: far),
                says=given(CYLINDER)(lambda cylinder: f"The other power written as the cylinder: {signed(cylinder)}."),
            ),
            Slip(
                skills.SIZES_ADDED,
                run=_ENDS_AND_FORM(lambda near, far, form: _sign(form) * (abs(near) + abs(far))),
                says=given(CYLINDER)(lambda cylinder: f"The two sizes added: {signed(cylinder)}."),
                live=_ENDS(lambda near, far: near * far > 0),
            ),
            Slip(
                skills.SIZES_SUBTRACTED,
                run=_ENDS_AND_FORM(lambda near, far, form: _sign(form) * abs(abs(near) - abs(far))),
                says=given(CYLINDER)(lambda cylinder: f"The sizes subtracted across zero: {signed(cylinder)}."),
                live=_ENDS(lambda near, far: near * far < 0),
            ),
            Slip(
                skills.CYLINDER_SIGN_FLIPPED,
                run=_ENDS_AND_FORM(lambda near, far, form: -_sign(form) * abs(far - near)),
                says=given(CYLINDER)(lambda cylinder: f"The cylinder written as {signed(cylinder)}."),
            ),
            *more,
        ),
    )


PLACE_AXIS = AXIS.step(
    skills.PLACE_AXIS,
    run=given(ALONG)(lambda along: along),
    says=given(AXIS)(
        lambda axis: f"The sphere's meridian feels no cylinder, so the axis lies along it: {degrees(axis)}."
    ),
    slips=(
        Slip(
            skills.AXIS_AT_POWER,
            run=given(ALONG)(across),
            says=given(AXIS)(lambda axis: f"The axis written along the cylinder's power: {degrees(axis)}."),
        ),
    ),
)


TakenOff = tuple[Powers, float, float]
"""The net powers, the sphere and the cylinder after the distance came off, in D."""


def _taken_off(net: Rule[Powers], cylinder: Rule[float] | Key[float] = CYLINDER) -> Rule[TakenOff]:
    return given(net, cylinder)(lambda net, cylinder: (net, net[0], cylinder))


def _on_sphere(slip: Slip[Powers]) -> Slip[TakenOff]:
    """Turn a slip of taking the distance off one power into one of taking it off a lens's sphere."""
    return Slip(slip.name, run=_taken_off(slip.run), says=slip.says, live=slip.live)


_OFF_CYLINDER = given(CYLINDER, VERGENCE)(lambda cylinder, off: cylinder - off)
_ONE_MINUS = given(GROSS)(lambda gross: gross[0] < 0)


def take_off_sphere(*more: Slip[Powers]) -> Step:
    """Step: `gross` (one power) beside a `cylinder` to the net `sphere`, the cylinder left as it is."""
    return given(NET, SPHERE, CYLINDER).step(
        skills.TAKE_OFF_DISTANCE,
        run=_taken_off(off_gross),
        says=taken_off,
        slips=(
            *map(_on_sphere, (LEFT_IN, ADDED, sign_blind(live=_ONE_MINUS))),
            Slip(
                skills.OFF_THE_CYLINDER_AS_WELL,
                run=_taken_off(off_gross, _OFF_CYLINDER),
                says=given(NET, CYLINDER)(
                    lambda net, cylinder: f"Taken off sphere and cylinder: {signed(net[0])} and {signed(cylinder)}."
                ),
            ),
            Slip(
                skills.OFF_THE_CYLINDER_INSTEAD,
                run=_taken_off(LEFT_IN.run, _OFF_CYLINDER),
                says=given(CYLINDER)(lambda cylinder: f"Taken off the cylinder: {signed(cylinder)}."),
            ),
            *map(_on_sphere, more),
        ),
    )
