"""Where findings belong that a type of Work one out cannot take: another type, with the numbers carried over.

A cylinder in a field for a sphere, a sphere where a cylinder is needed, a power cross for a prescription, a missing
distance, dioptres for centimetres, a whole line in one field. Nothing is guessed: what cannot be read leads nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from cases.errors import CaseError
from cases.notation.finding_line import read_finding_line
from cases.notation.prescription import (
    read_power,
    read_powers,
    read_prescription,
    write_axis,
    write_distance,
    write_power,
    write_powers,
    write_prescription,
)
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.vergence import FARTHEST_CM, NEAREST_CM
from cases.procedure.case_type import CaseType
from cases.procedure.fields import Several
from cases.procedure.kinds import Cross, Lens
from cases.procedure.quantities import DISTANCE, POWER, Quantity
from quiz.practice.forms import Input, read
from quiz.practice.own_findings.working_out import WORKING_DISTANCES, computing_types, inputs_for

_MOVED = re.compile(r"^(?:from )?(\d{1,2}(?:[.,]\d)?) ?(?:mm)? ?(?:->|=>|>|→|to) ?(\d{1,2}(?:[.,]\d)?) ?(?:mm)?$")
_DIOPTRES = re.compile(r"^(?:\+ ?\d{1,2}(?:[.,]\d{1,3})?(?: ?ds?)?|\d{1,2}(?:[.,]\d{1,3})? ?ds?|[0-4][.,]\d{1,3})$")
"""A text in a field for a distance that is dioptres: with a plus, with its unit, or too small for centimetres."""


@dataclass(frozen=True)
class Referral:
    """A type to which findings belong."""

    says: str
    """Why they do not belong where they were typed, and what else would take them."""
    type_id: str = ""
    """The type that takes them; "" where there is none, or where `line` does."""
    texts: Mapping[str, str] = field(default_factory=dict)
    """What is carried over, by the names of that type's findings."""
    line: str = ""
    """What the field for one line takes instead."""


def referrals(case_type: CaseType, texts: Mapping[str, str], faults: Mapping[str, str]) -> dict[str, Referral]:
    """Say by the names of the fields at fault ("" for the whole) where what was typed there belongs."""
    found = {}
    for one in inputs_for(case_type):
        if one.name in faults:
            referral = _of_field(case_type, one, texts.get(one.name, "").strip(), texts)
            if referral is not None:
                found[one.name] = referral
    if "" in faults:
        whole = _sphere_for_cylinder(case_type, texts)
        if whole is not None:
            found[""] = whole
    return found


def _of_field(case_type: CaseType, one: Input, typed: str, texts: Mapping[str, str]) -> Referral | None:
    last = one.place[-1]
    if last in WORKING_DISTANCES and not typed:
        return _without_distance(case_type, texts)
    if not typed:
        return None
    is_power = isinstance(one.kind, Quantity) and one.kind.id == POWER.id
    if isinstance(one.kind, Quantity) and one.kind.id == DISTANCE.id:
        return _dioptres_for_distance(case_type, one, typed, texts)
    if last == "toward_eye_mm":
        return _two_planes(case_type, one, typed, texts)
    lens = _lens_of(typed)
    if case_type.id == "working-lens" and isinstance(one.kind, Several):
        return _to("Spheres only here. For lenses with a cylinder:", "frame-net", texts)
    if is_power and lens is not None and lens.cylinder:
        return _cylinder_for_sphere(case_type, lens, texts)
    if isinstance(one.kind, Lens) and lens is not None and not _asked_back(typed):
        return _to("That is a power cross. To make a prescription of it:", "cross-to-rx", texts, powers=typed)
    if isinstance(one.kind, Cross) and lens is not None:
        return _prescription_for_cross(case_type, one, lens, texts)
    if case_type.id == "whole-run" and last == "log":
        return _neutral_alone(texts)
    if is_power or isinstance(one.kind, Lens | Cross):
        return _whole_line(typed)
    return None


def _to(says: str, type_id: str, texts: Mapping[str, str], **more: str) -> Referral:
    """Refer to a type, with what it finds under the same names, and `more`."""
    names = {one.name for one in inputs_for(computing_types()[type_id])}
    carried = {name: text for name, text in texts.items() if name in names and text.strip()}
    return Referral(says, type_id, carried | more)


def _lens_of(typed: str) -> SphCyl | None:
    """Read a prescription or a power cross; None where it is neither."""
    try:
        return read_prescription(typed)
    except CaseError:
        pass
    try:
        (meridian, power), (_, other) = read_powers(typed)
    except CaseError:
        return None
    return SphCyl.from_meridians(meridian, power, other)


def _asked_back(typed: str) -> bool:
    """Say whether a text may mean two things, such as "90: +2.00, 180: +3.50": along the streak, or across it."""
    try:
        return len(read_finding_line(typed)) > 1
    except CaseError:
        return False


def _whole_line(typed: str) -> Referral | None:
    try:
        readings = read_finding_line(typed)
    except CaseError:
        return None
    if len(readings) > 1:
        return Referral("That can be read in more than one way. Work it out as one line:", line=typed)
    return Referral(f"That reads as: {readings[0].says}. Work it out as one line:", line=typed)


# --- a cylinder where a sphere is asked for -----------------------------------------------------------------------

SPHERE_ONLY = "A sphere only here; for a cylinder:"
ONE_MERIDIAN = "The power of one meridian only here. For the power in each meridian of a sphere and cylinder:"
NOT_MERIDIANS = {"tilted-lens", "rigid-lens-over-refraction", "other-eye-fogged", "examiner-blur", "two-eyes"}
"""Types that take a sphere for a whole lens, and have no fellow that takes a cylinder."""


def streaks_of(lens: SphCyl) -> dict[str, str]:
    """Write a lens as the findings of a sphere in each meridian: a streak lies across the meridian that it measures."""
    return {
        "first.streak": write_axis(across(lens.axis)),
        "first.sphere": write_power(lens.sphere),
        "second.streak": write_axis(lens.axis),
        "second.sphere": write_power(lens.sphere + lens.cylinder),
    }


def _cylinder_for_sphere(case_type: CaseType, lens: SphCyl, texts: Mapping[str, str]) -> Referral | None:
    rx = write_prescription(lens, "as-is")
    match case_type.id:
        case "net-sphere" | "two-spheres":
            return _to(SPHERE_ONLY, "two-spheres", {**texts, **streaks_of(lens)})
        case "sphere-then-cyl":
            more = {"sphere": write_power(lens.sphere), "sphere_streak": write_axis(across(lens.axis))}
            more |= {"cylinder": write_power(lens.cylinder), "cylinder_streak": write_axis(lens.axis)}
            return _to("One power a field. The same lens in its four fields:", case_type.id, {**texts, **more})
        case "working-lens":
            return Referral("A working lens is a sphere.")
        case "vertex-sphere":
            return _to(SPHERE_ONLY, "vertex-toric", texts, rx=rx)
        case "bench-sphere":
            return _to(SPHERE_ONLY, "bench-eye", texts, rx=rx)
        case "distance-drift":
            says = "A distance changes every meridian equally, so the sphere alone is asked for:"
            return _to(says, case_type.id, texts, written=write_power(lens.sphere))
        case "soft-lens-over-refraction":
            return over_contact_lens(*(texts.get(name, "") for name in ("lens", "found", "vertex_mm")))
        case type_id if type_id in NOT_MERIDIANS:
            return Referral("A sphere only here; there is no type for a cylinder.")
    return _to(ONE_MERIDIAN, "rx-to-cross", {}, rx=rx)


def over_contact_lens(worn: str, found: str, vertex_mm: str = "") -> Referral | None:
    """Refer a toric contact lens to its type, and a cylinder found over a spherical one to the cornea first.

    None where neither text has a cylinder.
    """
    lens, over = _lens_of(worn), _lens_of(found)
    if lens is not None and lens.cylinder:
        texts = {"lens": write_prescription(lens, "as-is"), "found": found}
        return _to("A spherical contact lens only here; for a toric one:", "toric-lens-over-refraction", texts)
    if over is None or not over.cylinder:
        return None
    says = "A sphere only here. Take a cylinder found over the lens to the cornea, then add the contact lens to it:"
    texts = {"rx": write_prescription(over, "as-is"), "toward_eye_mm": vertex_mm.strip() or "12"}
    return _to(says, "vertex-toric", texts)


# --- a sphere where a cylinder is needed --------------------------------------------------------------------------


def _sphere_for_cylinder(case_type: CaseType, texts: Mapping[str, str]) -> Referral | None:
    name = {"bench-eye": "rx", "toric-lens-over-refraction": "lens"}.get(case_type.id)
    lens = _lens_of(texts.get(name, "")) if name else None
    if lens is None or lens.cylinder:
        return None
    sphere = write_power(lens.sphere)
    if case_type.id == "bench-eye":
        return _to("A cylinder is needed here; for a sphere:", "bench-sphere", texts, rx=sphere)
    found = _lens_of(texts.get("found", ""))
    says = "A toric contact lens only here; for a spherical one:"
    if found is not None and not found.cylinder:
        return _to(says, "soft-lens-over-refraction", {}, lens=sphere, found=write_power(found.sphere))
    return None


# --- powers at their meridians ------------------------------------------------------------------------------------


def _prescription_for_cross(case_type: CaseType, one: Input, lens: SphCyl, texts: Mapping[str, str]) -> Referral:
    rx = write_prescription(lens, "as-is")
    if case_type.id == "cross-to-rx":
        return _to("That is a prescription already. To make a power cross of it:", "rx-to-cross", {}, rx=rx)
    pairs = ((lens.axis, lens.sphere), (across(lens.axis), lens.sphere + lens.cylinder))
    return _to(
        "A power cross is asked for. The same lens as one:", case_type.id, {**texts, one.name: write_powers(pairs)}
    )


def _neutral_alone(texts: Mapping[str, str]) -> Referral | None:
    """Refer two powers without movements to the type that takes the neutral sphere of each streak."""
    spheres = {}
    for which in ("first", "second"):
        try:
            spheres[f"{which}.sphere"] = write_power(read_power(texts.get(f"{which}.log", "")))
        except CaseError:
            return None
    distance = {"distance_cm": texts.get("planned_cm", "")}
    says = "Lenses with their movements are asked for. For the neutral spheres alone:"
    return _to(says, "two-spheres", {**texts, **spheres, **distance})


# --- distances ----------------------------------------------------------------------------------------------------


def _without_distance(case_type: CaseType, texts: Mapping[str, str]) -> Referral:
    """Refer to what can be worked out without the distance; else to the type that finds it from its dioptres."""
    if case_type.id == "two-spheres":
        with_powers = _cross_of_streaks(texts)
        if with_powers:
            says = "Without a distance nothing can be taken off. For the lens that these two powers make:"
            return _to(says, "cross-to-rx", {"form": texts.get("form", "")}, powers=with_powers)
    if case_type.id == "sphere-then-cyl":
        lens = _sphere_and_cylinder(texts)
        if lens:
            says = "Without a distance nothing can be taken off. For the lens that these two make:"
            return _to(says, "transpose", {}, rx=lens)
    return _to("If you know only how many dioptres it is worth:", "vergence-distance", {})


def _cross_of_streaks(texts: Mapping[str, str]) -> str:
    """Write what two streaks found as powers along their meridians; "" where one of them cannot be read."""
    found, faults = read(inputs_for(computing_types()["two-spheres"])[:4], texts)
    if faults:
        return ""
    pairs = ((across(found[f"{which}.streak"]), found[f"{which}.sphere"]) for which in ("first", "second"))
    return write_powers(tuple(pairs))


def _sphere_and_cylinder(texts: Mapping[str, str]) -> str:
    found, faults = read(inputs_for(computing_types()["sphere-then-cyl"])[:4], texts)
    if faults:
        return ""
    return write_prescription(SphCyl(found["sphere"], found["cylinder"], found["cylinder_streak"]), "as-is")


def _dioptres_for_distance(case_type: CaseType, one: Input, typed: str, texts: Mapping[str, str]) -> Referral | None:
    if not _DIOPTRES.match(typed.lower()):
        return None
    try:
        power = read_power(typed if typed.startswith("+") else f"+{typed}")
    except CaseError:
        return None
    if not power or not NEAREST_CM <= 100 / power <= FARTHEST_CM:
        return None
    cm = write_distance(100 / power)
    says = f"If that is {write_power(power)} D: it is the vergence of {cm}. With that distance:"
    return _to(says, case_type.id, {**texts, one.name: cm})


def _two_planes(case_type: CaseType, one: Input, typed: str, texts: Mapping[str, str]) -> Referral | None:
    found = _MOVED.match(typed.lower())
    if not found:
        return None
    before, after = (float(text.replace(",", ".")) for text in found.groups())
    where = "towards the eye" if before > after else "away from the eye"
    says = f"From {before:g} mm to {after:g} mm is {abs(before - after):g} mm {where}. With that:"
    return _to(says, case_type.id, {**texts, one.name: f"{before - after:g}"})
