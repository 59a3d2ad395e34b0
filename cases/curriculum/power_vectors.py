"""Steps that add two lenses whose axes differ, by power vectors; adding_lenses.py builds the whole chain of them.

Source: `thibos-1997`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from cases.curriculum import skills
from cases.curriculum.shared_keys import AXIS, CYLINDER, SPHERE, SUM
from cases.curriculum.shared_keys import MEANS as MEAN_POWERS
from cases.curriculum.steps import FIRST_LENS, SECOND_LENS, any_cylinder, as_written, degrees, signed
from cases.notation.prescription import write_power
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.keys import Key, Rule, Slip, given, otherwise

RESOLVE_CYLINDERS = Skill("resolve-cylinders", "splitting a cylinder into its two components")
ADD_COMPONENTS = Skill("add-components", "adding lenses component by component")
CYLINDER_FROM_COMPONENTS = Skill("cylinder-from-components", "putting sphere and cylinder together again")
AXIS_FROM_COMPONENTS = Skill("axis-from-components", "finding the axis from the components")

COMPONENTS_ADDED = SlipName(
    "cylinders-added-as-they-stand",
    "added spheres and cylinders as they are written although the axes differ",
    "Cylinders add like spheres only when their axes agree. With other axes, split each into components first.",
)
ADDED_AT_MIDDLE = SlipName(
    "cylinders-added-middle-axis",
    "added the cylinders and took the axis half-way between",
    "Two cylinders at different axes make less than their sum, and only two equal ones meet half-way. "
    "Split each into components first.",
)
ANGLE_NOT_DOUBLED = SlipName(
    "angle-not-doubled",
    "used the axis itself instead of twice the axis",
    "A cylinder is the same again after half a turn, so its angle is doubled before it is resolved.",
)
HALF_SIGN_LOST = SlipName(
    "component-sign-lost",
    "dropped the minus sign in front of the half cylinder",
    "J0 and J45 are minus half the cylinder times cosine and sine. Without that minus the axis lands 90° away.",
)
CYLINDER_HALF_LEFT = SlipName(
    "cylinder-left-halved",
    "took the length of J0 and J45 for the whole cylinder",
    "The components are half of the cylinder, so the cylinder is twice their length.",
)
AXIS_NOT_HALVED = SlipName(
    "axis-not-halved",
    "left the angle doubled on the way back",
    "The angle was doubled on the way in: halve it on the way out.",
)
QUADRANT_MISSED = SlipName(
    "quadrant-missed",
    "took the angle from J45 over J0 alone and missed its quadrant",
    "With J0 below zero the angle lies past 90°: add 180° before halving, so the axis moves by 90.",
)


PARTS = Key[tuple[tuple[float, ...], ...]]("parts")


def _ref(skill: Skill, name: SlipName) -> SlipRef:
    return SlipRef(skill.id, name.id)


_SIGN, _QUADRANT = _ref(RESOLVE_CYLINDERS, HALF_SIGN_LOST), _ref(AXIS_FROM_COMPONENTS, QUADRANT_MISSED)
_NOT_TURNED = _ref(skills.TURN_AXIS, skills.AXIS_NOT_TURNED)

AXIS_90_OUT: tuple[Pair, ...] = ((_SIGN, _QUADRANT), (_SIGN, _NOT_TURNED), (_QUADRANT, _NOT_TURNED))
"""Each leaves the axis 90° out; they part where J0 is above zero, or where minus form is asked for."""

AXIS_PROBES = tuple(Probe(pair, "crossed-sum") for pair in AXIS_90_OUT)


def axes_agree(first: SphCyl, second: SphCyl) -> bool:
    """Say whether `first` and `second` lie on one power cross: axes alike or at right angles, or one a sphere."""
    gap = axis_gap(first.axis, second.axis)
    return not (first.cylinder and second.cylinder) or min(gap, 90 - gap) < 0.05


AXES_AGREE = given(FIRST_LENS, SECOND_LENS)(axes_agree)
AXES_DIFFER = otherwise(AXES_AGREE)
"""Then the two must be added by components."""


def fine(power: float) -> str:
    """Write a component in D to a thousandth, as a working with components needs it."""
    return write_power(power, 3)


def _means(share: Callable[[SphCyl], float]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS)(
        lambda first, second: tuple(lens.sphere + share(lens) for lens in (first, second))
    )


def _means_words(start: str) -> Rule[str]:
    return given(MEAN_POWERS)(lambda means: f"{start}: {fine(means[0])} and {fine(means[1])}.")


MEANS = MEAN_POWERS.step(
    skills.ADD_HALF,
    run=_means(lambda lens: lens.cylinder / 2),
    says=_means_words("Sphere and half of the cylinder, lens by lens"),
    slips=(
        Slip(
            skills.WHOLE_CYLINDER,
            run=_means(lambda lens: lens.cylinder),
            says=_means_words("Sphere and the whole cylinder"),
            live=any_cylinder,
        ),
        Slip(
            skills.HALF_UNSIGNED,
            run=_means(lambda lens: abs(lens.cylinder) / 2),
            says=_means_words("Sphere and half of the cylinder's size"),
            live=given(FIRST_LENS, SECOND_LENS)(
                lambda first, second: any(lens.cylinder < 0 for lens in (first, second))
            ),
        ),
        Slip(skills.SPHERE_ONLY, run=_means(lambda _: 0.0), says=_means_words("The spheres alone"), live=any_cylinder),
    ),
)


def _resolved(turn: int, factor: float) -> Rule[tuple[tuple[float, ...], ...]]:
    def parts(lens: SphCyl) -> tuple[float, float]:
        angle = math.radians(turn * lens.axis)
        return factor * lens.cylinder * math.cos(angle), factor * lens.cylinder * math.sin(angle)

    return given(FIRST_LENS, SECOND_LENS)(lambda first, second: tuple(parts(lens) for lens in (first, second)))


def _parts_words(start: str) -> Rule[str]:
    @given(PARTS)
    def says(parts: tuple[tuple[float, ...], ...]) -> str:
        pairs = " and ".join(f"({fine(j0)}, {fine(j45)})" for j0, j45 in parts)
        return f"{start}: (J0, J45) = {pairs}."

    return says


RESOLVE = PARTS.step(
    RESOLVE_CYLINDERS,
    run=_resolved(2, -0.5),
    says=_parts_words("Minus half of each cylinder, times cosine and sine of twice its axis"),
    slips=(
        Slip(
            ANGLE_NOT_DOUBLED,
            run=_resolved(1, -0.5),
            says=_parts_words("Minus half of each cylinder, times cosine and sine of its axis"),
            live=any_cylinder,
        ),
        Slip(
            HALF_SIGN_LOST,
            run=_resolved(2, 0.5),
            says=_parts_words("Half of each cylinder, times cosine and sine of twice its axis"),
            live=any_cylinder,
        ),
    ),
)


def as_they_stand(first: SphCyl, second: SphCyl, axis: float | None = None) -> SphCyl:
    """Add spheres and cylinders as numbers, the axis that of the stronger cylinder: the naive sum, in D."""
    stronger = first if abs(first.cylinder) >= abs(second.cylinder) else second
    return SphCyl(first.sphere + second.sphere, first.cylinder + second.cylinder, axis or stronger.axis)


def _middle(first: SphCyl, second: SphCyl) -> SphCyl:
    return as_they_stand(first, second, axis_of((first.axis + second.axis) / 2))


def _naive(add: Callable[[SphCyl, SphCyl], SphCyl]) -> Rule[tuple[float, ...]]:
    return given(FIRST_LENS, SECOND_LENS)(lambda first, second: add(*(first, second)).power_vector())


def _naive_words(add: Callable[[SphCyl, SphCyl], SphCyl]) -> Rule[str]:
    return given(FIRST_LENS, SECOND_LENS)(
        lambda first, second: f"Sphere to sphere, cylinder to cylinder: {as_written(add(*(first, second)))}."
    )


@given(FIRST_LENS, SECOND_LENS)
def _two_cylinders(first: SphCyl, second: SphCyl) -> bool:
    return all(lens.cylinder for lens in (first, second))


ADD = SUM.step(
    ADD_COMPONENTS,
    run=given(MEAN_POWERS, PARTS)(
        lambda means, parts: (
            math.fsum(means),
            math.fsum(part[0] for part in parts),
            math.fsum(part[1] for part in parts),
        )
    ),
    says=given(SUM)(
        lambda sum_value: f"Together: M {fine(sum_value[0])}, J0 {fine(sum_value[1])}, J45 {fine(sum_value[2])}."
    ),
    slips=(
        Slip(COMPONENTS_ADDED, run=_naive(as_they_stand), says=_naive_words(as_they_stand), live=_two_cylinders),
        Slip(ADDED_AT_MIDDLE, run=_naive(_middle), says=_naive_words(_middle), live=_two_cylinders),
    ),
)


def _length(sum_value: tuple[float, ...]) -> float:
    return math.hypot(sum_value[1], sum_value[2])


PUT_TOGETHER = given(CYLINDER, SPHERE).step(
    CYLINDER_FROM_COMPONENTS,
    run=given(SUM)(lambda sum_value: (-2 * _length(sum_value), sum_value[0] + _length(sum_value))),
    says=given(SUM, CYLINDER, SPHERE)(
        lambda sum_value, cylinder, sphere: (
            f"The length of J0 and J45 is {_length(sum_value):.3f}; minus twice that is the cylinder, "
            f"{signed(cylinder)}; M less half of it is the sphere, {signed(sphere)}."
        )
    ),
    slips=(
        Slip(
            CYLINDER_HALF_LEFT,
            run=given(SUM)(lambda sum_value: (-_length(sum_value), sum_value[0] + _length(sum_value) / 2)),
            says=given(CYLINDER, SPHERE)(
                lambda cylinder, sphere: (
                    f"The length itself written as the cylinder, {signed(cylinder)}; sphere {signed(sphere)}."
                )
            ),
        ),
        Slip(
            skills.MEAN_AS_SPHERE,
            run=given(SUM)(lambda sum_value: (-2 * _length(sum_value), sum_value[0])),
            says=given(SPHERE)(lambda sphere: f"M itself written as the sphere: {signed(sphere)}."),
        ),
    ),
)


def _angle(sum_value: tuple[float, ...]) -> float:
    return math.degrees(math.atan2(sum_value[2], sum_value[1])) if _length(sum_value) > 1e-9 else 0.0


@given(SUM)
def _quadrant_lost(sum_value: tuple[float, ...]) -> float:
    return axis_of((_angle(sum_value) + 180) / 2)


FIND_AXIS = AXIS.step(
    AXIS_FROM_COMPONENTS,
    run=given(SUM)(lambda sum_value: axis_of(_angle(sum_value) / 2)),
    says=given(SUM, AXIS)(
        lambda sum_value, axis: (
            f"J0 and J45 point to {_angle(sum_value) % 360:.1f}°; half of it is the minus cylinder's axis: "
            f"{degrees(axis)}."
        )
    ),
    slips=(
        Slip(
            AXIS_NOT_HALVED,
            run=given(SUM)(lambda sum_value: axis_of(_angle(sum_value))),
            says=given(AXIS)(lambda axis: f"The angle of J0 and J45 taken for the axis: {degrees(axis)}."),
        ),
        Slip(
            QUADRANT_MISSED,
            run=_quadrant_lost,
            says=given(AXIS)(lambda axis: f"Half of the angle whose tangent is J45 ÷ J0: {degrees(axis)}."),
            live=given(SUM)(lambda sum_value: sum_value[1] < -1e-9),
        ),
    ),
)
