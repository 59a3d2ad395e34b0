"""Family C, the net from everything that stands in the trial frame: spheres, cylinder and working lens."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import take_off_sphere
from cases.curriculum.meridians import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, CYLINDERS, SPHERE
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    NET,
    NET_PRESCRIPTION,
    degrees,
    distance_in_dioptres,
    pick_axis,
    pick_working_lens,
    signed,
)
from cases.curriculum.transposing import in_other_form, turning_steps
from cases.figures.lenses import MOST_LENSES, trial_frame
from cases.figures.pen import engraved
from cases.notation.prescription import write_distance
from cases.notation.sums import together
from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from cases.optics.vergence import working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group, Several
from cases.procedure.figure import Figure
from cases.procedure.keys import Rule, Slip, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

COLLECT_CYLINDER = Skill("collect-cylinder", "collecting the cylinder from the frame")

CYLINDER_INTO_SPHERE = SlipName(
    "cylinder-into-sphere",
    "added the cylinder's power to the spheres",
    "A cylinder has no power along its axis, so it does not belong to the sphere. It is written beside it.",
)
CYLINDER_DROPPED = SlipName(
    "cylinder-dropped",
    "left the cylinder in the frame out of the result",
    "The cylinder in the frame is part of the result, exactly as it is.",
)
ONE_CYLINDER_COUNTED = SlipName(
    "one-cylinder-counted",
    "counted only one of two cylinders",
    "Two cylinders at one axis add up like spheres: both belong to the result.",
)


def _draw_frame(chance: Chance, settings: Settings) -> dict[str, Any]:
    working, distance = pick_working_lens(chance, settings)
    axis = pick_axis(chance, settings)
    found = settings.form if chance.happens(0.7) else ("plus" if settings.form == "minus" else "minus")
    sign = -1 if found == "minus" else 1
    two = settings.level == "expert" and chance.happens(0.5)
    cylinders = [SphCyl(0, sign * chance.stepped(0.5, 2.5), axis) for _ in range(2 if two else 1)]
    spheres = [SphCyl(chance.stepped(-6, 6)) for _ in range(1 if settings.level == "novice" else chance.whole(1, 2))]
    lenses = [SphCyl(working), *(one for one in spheres if one.sphere), *cylinders]
    return given(LENSES, WORKING_LENS, DISTANCE, FORM).to(
        tuple(chance.shuffled(lenses)), working, distance, settings.form
    )


LENSES = Field("lenses", "Every lens in the frame", Several(Lens(), least=2, most=MOST_LENSES))
WORKING_LENS = Field("working_lens", "Which of them is the working lens", quantities.POWER)


@given(LENSES, WORKING_LENS)
def _begin_frame(lenses: tuple[SphCyl, ...], working_lens: float) -> tuple[tuple[float, ...], float]:
    cylinders = [one for one in lenses if one.cylinder]
    if SphCyl(working_lens) not in [one for one in lenses if not one.cylinder]:
        raise BadFinding(working_lens, "the working lens must be one of the spheres in the frame")
    if any(axis_gap(one.axis, cylinders[0].axis) > 1 for one in cylinders):
        raise BadFinding(
            [one.axis for one in cylinders], "cylinders at different axes do not add up like this: use crossed-sum"
        )
    return (tuple(one.cylinder for one in cylinders), cylinders[0].axis if cylinders else 180.0)


def _spheres(lenses: tuple[SphCyl, ...]) -> float:
    return math.fsum(one.sphere for one in lenses)


def _gross(total: Rule[float]) -> Rule[tuple[float, ...]]:
    return given(total)(lambda total: (total,))


@given(LENSES, GROSS)
def _sum_words(lenses: tuple[SphCyl, ...], gross: tuple[float, ...]) -> str:
    spheres = tuple(one.sphere for one in lenses if one.sphere)
    return f"All spheres together: {together(spheres, gross[0])}."


@given(LENSES, WORKING_LENS, DISTANCE).drawing
def _draw_cells(uid: str, lenses: tuple[SphCyl, ...], working_lens: float, distance_cm: float) -> Figure:
    place = lenses.index(SphCyl(working_lens))
    return trial_frame(lenses, uid=uid, notes={place: "working lens"}, distance_cm=distance_cm)


frame_net = CaseType(
    id="frame-net",
    title="The net from everything in the frame",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group(
        (
            LENSES,
            WORKING_LENS,
            DISTANCE,
            FORM,
        )
    ),
    asks=(NET_PRESCRIPTION,),
    draw=_draw_frame,
    begin=given(CYLINDERS, AXIS).by(_begin_frame),
    steps=(
        GROSS.step(
            skills.ADD_LENSES,
            run=_gross(given(LENSES)(_spheres)),
            says=_sum_words,
            slips=(
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=_gross(
                        given(LENSES, WORKING_LENS)(lambda lenses, working_lens: _spheres(lenses) - working_lens)
                    ),
                    says=given(GROSS)(lambda gross: f"The spheres without the working lens: {signed(gross[0])}."),
                ),
                Slip(
                    CYLINDER_INTO_SPHERE,
                    run=_gross(
                        given(LENSES, CYLINDERS)(lambda lenses, cylinders: _spheres(lenses) + math.fsum(cylinders))
                    ),
                    says=given(GROSS)(lambda gross: f"Spheres and cylinder added up: {signed(gross[0])}."),
                    live=given(CYLINDERS)(lambda cylinders: math.fsum(cylinders) != 0),
                ),
            ),
        ),
        CYLINDER.step(
            COLLECT_CYLINDER,
            run=given(CYLINDERS)(lambda cylinders: math.fsum(cylinders)),
            says=given(CYLINDER, AXIS)(
                lambda cylinder, axis: f"The cylinder stays as it is: {signed(cylinder)} × {degrees(axis)}."
            ),
            slips=(
                Slip(
                    CYLINDER_DROPPED,
                    run=given()(lambda: 0.0),
                    says=given()(lambda: "The cylinder left out."),
                    live=given(CYLINDERS)(lambda cylinders: math.fsum(cylinders) != 0),
                ),
                Slip(
                    ONE_CYLINDER_COUNTED,
                    run=given(CYLINDERS)(lambda cylinders: cylinders[-1]),
                    says=given(CYLINDER)(lambda cylinder: f"One of the cylinders counted: {signed(cylinder)}."),
                    live=given(CYLINDERS)(lambda cylinders: len(cylinders) > 1),
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_sphere(
            Slip(
                skills.MISMATCH_MISSED,
                run=given(GROSS, WORKING_LENS)(lambda gross, working: (gross[0] - working,)),
                says=given(WORKING_LENS, NET)(
                    lambda working_lens, net: f"The working lens {signed(working_lens)} taken off: {signed(net[0])}."
                ),
                live=given(WORKING_LENS, DISTANCE)(
                    lambda working_lens, distance_cm: abs(working_lens - working_vergence(distance_cm)) > 0.02
                ),
            )
        ),
        *turning_steps(needed=given(CYLINDER, FORM)(in_other_form)),
    ),
    answer=NET_PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(LENSES, WORKING_LENS, DISTANCE)(
        lambda lenses, working_lens, distance_cm: (
            "Both meridians are neutral with these in the frame:",
            *map(engraved, lenses),
            f"The {signed(working_lens)} sphere is the working lens.",
            f"Sight hole {write_distance(distance_cm)} from the pupil.",
        )
    ),
    question=given(FORM)(lambda form: f"What is the net prescription, in {FORM_WORDS[form]}?"),
    figure=_draw_cells,
    needs=("working-lens", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("working-distance-page",),
)

TYPES = (frame_net,)
