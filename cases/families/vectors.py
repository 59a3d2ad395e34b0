"""Steps that add two lenses whose axes differ, by power vectors. The types that need them stand beside this file.

Source: Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import Pair, Probe
from cases.lens import SphCyl, axis_of
from cases.notation import write_power
from cases.steps import any_cylinder, as_written, degrees, lens_pair, signed
from cases.transposing import in_other_form, turning_steps
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step, always

RESOLVE_CYLINDERS = Skill("resolve-cylinders", "splitting a cylinder into its two components")
ADD_COMPONENTS = Skill("add-components", "adding lenses component by component")
CYLINDER_FROM_COMPONENTS = Skill("cylinder-from-components", "putting sphere and cylinder together again")
AXIS_FROM_COMPONENTS = Skill("axis-from-components", "finding the axis from the components")

COMPONENTS_ADDED = SlipName(
    "cylinders-added-as-they-stand",
    "added spheres and cylinders as they stand though the axes differ",
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
    "The components hold half of the cylinder, so the cylinder is twice their length.",
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


def _ref(skill: Skill, name: SlipName) -> SlipRef:
    return SlipRef(skill.id, name.id)


_SIGN, _QUADRANT = _ref(RESOLVE_CYLINDERS, HALF_SIGN_LOST), _ref(AXIS_FROM_COMPONENTS, QUADRANT_MISSED)
_NOT_TURNED = _ref(skills.TURN_AXIS, skills.AXIS_NOT_TURNED)

AXIS_90_OUT: tuple[Pair, ...] = ((_SIGN, _QUADRANT), (_SIGN, _NOT_TURNED), (_QUADRANT, _NOT_TURNED))
"""Each leaves the axis 90° out; they part where J0 is above zero, or where minus form is asked for."""

AXIS_PROBES = tuple(Probe(pair, "crossed-sum") for pair in AXIS_90_OUT)


def fine(power: float) -> str:
    """Write a component in D to a thousandth, as a working with components needs it."""
    return write_power(power, 3)


def _means(share: Callable[[SphCyl], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"means": tuple(lens.sphere + share(lens) for lens in lens_pair(known))}


def _means_words(start: str) -> Callable[[Known], str]:
    return lambda known: f"{start}: {fine(known['means'][0])} and {fine(known['means'][1])}."


MEANS = Step(
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
            live=lambda known: any(lens.cylinder < 0 for lens in lens_pair(known)),
        ),
        Slip(skills.SPHERE_ONLY, run=_means(lambda _: 0.0), says=_means_words("The spheres alone"), live=any_cylinder),
    ),
)


def _resolved(turn: int, factor: float) -> Callable[[Known], dict[str, Any]]:
    def parts(lens: SphCyl) -> tuple[float, float]:
        angle = math.radians(turn * lens.axis)
        return factor * lens.cylinder * math.cos(angle), factor * lens.cylinder * math.sin(angle)

    return lambda known: {"parts": tuple(parts(lens) for lens in lens_pair(known))}


def _parts_words(start: str) -> Callable[[Known], str]:
    def says(known: Known) -> str:
        pairs = " and ".join(f"({fine(j0)}, {fine(j45)})" for j0, j45 in known["parts"])
        return f"{start}: (J0, J45) = {pairs}."

    return says


RESOLVE = Step(
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


def _naive(add: Callable[[SphCyl, SphCyl], SphCyl]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"sum": add(*lens_pair(known)).power_vector()}


def _naive_words(add: Callable[[SphCyl, SphCyl], SphCyl]) -> Callable[[Known], str]:
    return lambda known: f"Sphere to sphere, cylinder to cylinder: {as_written(add(*lens_pair(known)))}."


def _two_cylinders(known: Known) -> bool:
    return all(lens.cylinder for lens in lens_pair(known))


ADD = Step(
    ADD_COMPONENTS,
    run=lambda known: {
        "sum": (
            math.fsum(known["means"]),
            math.fsum(part[0] for part in known["parts"]),
            math.fsum(part[1] for part in known["parts"]),
        )
    },
    says=lambda known: f"Together: M {fine(known['sum'][0])}, J0 {fine(known['sum'][1])}, J45 {fine(known['sum'][2])}.",
    slips=(
        Slip(COMPONENTS_ADDED, run=_naive(as_they_stand), says=_naive_words(as_they_stand), live=_two_cylinders),
        Slip(ADDED_AT_MIDDLE, run=_naive(_middle), says=_naive_words(_middle), live=_two_cylinders),
    ),
)


def _length(known: Known) -> float:
    return math.hypot(known["sum"][1], known["sum"][2])


PUT_TOGETHER = Step(
    CYLINDER_FROM_COMPONENTS,
    run=lambda known: {"cylinder": -2 * _length(known), "sphere": known["sum"][0] + _length(known)},
    says=lambda known: (
        f"The length of J0 and J45 is {_length(known):.3f}; minus twice that is the cylinder, "
        f"{signed(known['cylinder'])}; M less half of it is the sphere, {signed(known['sphere'])}."
    ),
    slips=(
        Slip(
            CYLINDER_HALF_LEFT,
            run=lambda known: {"cylinder": -_length(known), "sphere": known["sum"][0] + _length(known) / 2},
            says=lambda known: (
                f"The length itself written as the cylinder, {signed(known['cylinder'])}; "
                f"sphere {signed(known['sphere'])}."
            ),
        ),
        Slip(
            skills.MEAN_AS_SPHERE,
            run=lambda known: {"cylinder": -2 * _length(known), "sphere": known["sum"][0]},
            says=lambda known: f"M itself written as the sphere: {signed(known['sphere'])}.",
        ),
    ),
)


def _angle(known: Known) -> float:
    return math.degrees(math.atan2(known["sum"][2], known["sum"][1])) if _length(known) > 1e-9 else 0.0


def _quadrant_lost(known: Known) -> dict[str, Any]:
    return {"axis": axis_of((_angle(known) + 180) / 2)}


FIND_AXIS = Step(
    AXIS_FROM_COMPONENTS,
    run=lambda known: {"axis": axis_of(_angle(known) / 2)},
    says=lambda known: (
        f"J0 and J45 point to {_angle(known) % 360:.1f}°; half of it is the minus cylinder's axis: "
        f"{degrees(known['axis'])}."
    ),
    slips=(
        Slip(
            AXIS_NOT_HALVED,
            run=lambda known: {"axis": axis_of(_angle(known))},
            says=lambda known: f"The angle of J0 and J45 taken for the axis: {degrees(known['axis'])}.",
        ),
        Slip(
            QUADRANT_MISSED,
            run=_quadrant_lost,
            says=lambda known: f"Half of the angle whose tangent is J45 ÷ J0: {degrees(known['axis'])}.",
            live=lambda known: known["sum"][1] < -1e-9,
        ),
    ),
)


def component_steps(needed: Callable[[Known], bool] = always) -> tuple[Step, ...]:
    """Build the steps from `first`, `second` and `form` to `sphere`, `cylinder` and `axis` of their sum."""

    def to_be_turned(known: Known) -> bool:
        return needed(known) and in_other_form(known)

    chain = (MEANS, RESOLVE, ADD, PUT_TOGETHER, FIND_AXIS)
    return (*(replace(step, needed=needed) for step in chain), *turning_steps(to_be_turned))
