"""Family C, the net from everything that stands in the trial frame: spheres, cylinder and working lens."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.families.meridians import FAMILY, PRESCRIPTION
from cases.families.meridians_cylinder import take_off_sphere
from cases.fields import Field, Group, Several
from cases.figures import Figure, engraved
from cases.figures_lenses import MOST_LENSES, trial_frame
from cases.kinds import BadFinding, Lens, Power
from cases.lens import SphCyl, axis_gap
from cases.notation import write_distance
from cases.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    degrees,
    distance_in_dioptres,
    pick_axis,
    pick_working_lens,
    signed,
)
from cases.sums import together
from cases.transposing import in_other_form, turning_steps
from cases.vergence import working_vergence
from cases.working import Known, Skill, Slip, SlipName, Step

COLLECT_CYLINDER = Skill("collect-cylinder", "collecting the cylinder from the frame")

CYLINDER_INTO_SPHERE = SlipName(
    "cylinder-into-sphere",
    "added the cylinder's power to the spheres",
    "A cylinder has no power along its axis, so it does not belong to the sphere. It is written beside it.",
)
CYLINDER_DROPPED = SlipName(
    "cylinder-dropped",
    "left the cylinder in the frame out of the result",
    "The cylinder that stands in the frame is part of the result, just as it stands.",
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
    return {
        "lenses": tuple(chance.shuffled(lenses)),
        "working_lens": working,
        "distance_cm": distance,
        "form": settings.form,
    }


def _begin_frame(findings: Known) -> dict[str, Any]:
    lenses = findings["lenses"]
    cylinders = [one for one in lenses if one.cylinder]
    if SphCyl(findings["working_lens"]) not in [one for one in lenses if not one.cylinder]:
        raise BadFinding(findings["working_lens"], "the working lens must be one of the spheres in the frame")
    if any(axis_gap(one.axis, cylinders[0].axis) > 1 for one in cylinders):
        raise BadFinding(
            [one.axis for one in cylinders], "cylinders at different axes do not add up like this: use crossed-sum"
        )
    return {"cylinders": tuple(one.cylinder for one in cylinders), "axis": cylinders[0].axis if cylinders else 180.0}


def _spheres(known: Known) -> float:
    return math.fsum(one.sphere for one in known["lenses"])


def _gross(total: Callable[[Known], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"gross": (total(known),)}


def _sum_words(known: Known) -> str:
    spheres = tuple(one.sphere for one in known["lenses"] if one.sphere)
    return f"All spheres together: {together(spheres, known['gross'][0])}."


def _draw_cells(known: Known, uid: str) -> Figure:
    place = known["lenses"].index(SphCyl(known["working_lens"]))
    return trial_frame(known["lenses"], uid=uid, notes={place: "working lens"}, distance_cm=known["distance_cm"])


frame_net = CaseType(
    id="frame-net",
    title="The net from everything in the frame",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group(
        (
            Field("lenses", "Every lens in the frame", Several(Lens(), least=2, most=MOST_LENSES)),
            Field("working_lens", "Which of them is the working lens", Power()),
            DISTANCE,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_frame,
    begin=_begin_frame,
    steps=(
        Step(
            skills.ADD_LENSES,
            run=_gross(_spheres),
            says=_sum_words,
            slips=(
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=_gross(lambda known: _spheres(known) - known["working_lens"]),
                    says=lambda known: f"The spheres without the working lens: {signed(known['gross'][0])}.",
                ),
                Slip(
                    CYLINDER_INTO_SPHERE,
                    run=_gross(lambda known: _spheres(known) + math.fsum(known["cylinders"])),
                    says=lambda known: f"Spheres and cylinder added up: {signed(known['gross'][0])}.",
                    live=lambda known: math.fsum(known["cylinders"]) != 0,
                ),
            ),
        ),
        Step(
            COLLECT_CYLINDER,
            run=lambda known: {"cylinder": math.fsum(known["cylinders"])},
            says=lambda known: f"The cylinder stays as it is: {signed(known['cylinder'])} × {degrees(known['axis'])}.",
            slips=(
                Slip(
                    CYLINDER_DROPPED,
                    run=lambda _: {"cylinder": 0.0},
                    says=lambda _: "The cylinder left out.",
                    live=lambda known: math.fsum(known["cylinders"]) != 0,
                ),
                Slip(
                    ONE_CYLINDER_COUNTED,
                    run=lambda known: {"cylinder": known["cylinders"][-1]},
                    says=lambda known: f"One of the cylinders counted: {signed(known['cylinder'])}.",
                    live=lambda known: len(known["cylinders"]) > 1,
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_sphere(
            Slip(
                skills.MISMATCH_MISSED,
                run=lambda known: {"net": (known["gross"][0] - known["working_lens"],)},
                says=lambda known: (
                    f"The working lens {signed(known['working_lens'])} taken off: {signed(known['net'][0])}."
                ),
                live=lambda known: abs(known["working_lens"] - working_vergence(known["distance_cm"])) > 0.02,
            )
        ),
        *turning_steps(needed=in_other_form),
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        "Both meridians are neutral with these in the frame:",
        *map(engraved, known["lenses"]),
        f"The {signed(known['working_lens'])} sphere is the working lens.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda known: f"What is the net prescription, in {FORM_WORDS[known['form']]}?",
    figure=_draw_cells,
    needs=("working-lens", "transpose"),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("a teaching page on working distance that counts the working lens inside the gross",),
)

TYPES = (frame_net,)
