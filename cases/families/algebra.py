"""Family D, lens algebra: power cross and prescription, transposing, the spherical equivalent."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Settings
from cases.chance import Chance
from cases.cross import PLACE_AXIS, choose_sphere, find_cylinder
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_lenses import power_cross, trial_frame
from cases.kinds import Cross, Lens, Power
from cases.lens import SphCyl, across
from cases.notation import write_powers
from cases.steps import FORM, FORM_WORDS, RX, as_written, degrees, mirrored, pick_lens, signed, size
from cases.sums import added
from cases.transposing import turning_steps
from cases.working import Known, Skill, Slip, SlipName, Step

FAMILY = Family("algebra", "Lens algebra", 4)

LAY_MERIDIANS = Skill("lay-meridians", "laying the axis and the meridian across it")
POWER_ON_AXIS = Skill("power-on-axis", "knowing the power along the axis")

CROSS_SWAPPED = SlipName(
    "cross-powers-swapped",
    "put the sphere across the axis",
    "No cylinder power acts along its own axis, so the sphere alone sits on the axis meridian.",
)


def _rx_words(known: Known) -> tuple[str, ...]:
    return (as_written(known["rx"]),)


def _draw_rx(chance: Chance, settings: Settings) -> dict[str, Any]:
    return {"rx": pick_lens(chance, settings).in_form(chance.among(("minus", "minus", "plus")))}


def _frame(known: Known, uid: str) -> Figure:
    return trial_frame((known["rx"],), uid=uid)


def _spread(findings: Known) -> dict[str, Any]:
    rx = findings["rx"]
    return {"sphere": rx.sphere, "cylinder": rx.cylinder, "axis": rx.axis}


rx_to_cross = CaseType(
    id="rx-to-cross",
    title="Prescription to power cross",
    family=FAMILY,
    level="novice",
    seconds=12,
    findings=Group((RX,)),
    asks=(Field("powers", "Power in each principal meridian", Cross()),),
    draw=_draw_rx,
    begin=_spread,
    steps=(
        Step(
            LAY_MERIDIANS,
            run=lambda known: {"meridians": (known["axis"], across(known["axis"]))},
            says=lambda known: (
                f"The principal meridians are {degrees(known['meridians'][0])}, along the axis, and "
                f"{degrees(known['meridians'][1])}, across it."
            ),
            slips=(
                Slip(
                    skills.SCALE_MIRRORED,
                    run=lambda known: {"meridians": (mirrored(known["axis"]), across(mirrored(known["axis"])))},
                    says=lambda known: (
                        f"Meridians laid at {degrees(known['meridians'][0])} and {degrees(known['meridians'][1])}."
                    ),
                ),
            ),
        ),
        Step(
            POWER_ON_AXIS,
            run=lambda known: {"on_axis": known["meridians"][0], "off_axis": known["meridians"][1]},
            says=lambda known: (
                f"A cylinder has no power along its axis, so {degrees(known['on_axis'])} holds the sphere "
                f"alone: {signed(known['sphere'])}."
            ),
            slips=(
                Slip(
                    CROSS_SWAPPED,
                    run=lambda known: {"on_axis": known["meridians"][1], "off_axis": known["meridians"][0]},
                    says=lambda known: f"The sphere put on {degrees(known['on_axis'])}, across the axis.",
                ),
            ),
        ),
        Step(
            skills.POWER_ACROSS_AXIS,
            run=lambda known: {"across_power": known["sphere"] + known["cylinder"]},
            says=lambda known: (
                f"Across the axis, at {degrees(known['off_axis'])}, sphere and cylinder act together: "
                f"{signed(known['across_power'])}."
            ),
            slips=(
                Slip(
                    skills.CYLINDER_ALONE,
                    run=lambda known: {"across_power": known["cylinder"]},
                    says=lambda known: (
                        f"The cylinder alone at {degrees(known['off_axis'])}: {signed(known['across_power'])}."
                    ),
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=lambda known: {"across_power": known["sphere"] - known["cylinder"]},
                    says=lambda known: (
                        f"The cylinder taken away at {degrees(known['off_axis'])}: {signed(known['across_power'])}."
                    ),
                ),
            ),
        ),
    ),
    answer=lambda known: {"powers": SphCyl.from_meridians(known["on_axis"], known["sphere"], known["across_power"])},
    found=_rx_words,
    question=lambda _: "What is the power in each of the two principal meridians?",
    figure=_frame,
    form=lambda _: None,
    needs=("streak-axis",),
    sources=("Definition of a cylinder's axis, ISO 13666",),
)


def _draw_cross(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings).in_form(chance.among(("minus", "plus")))
    return {"powers": lens, "form": settings.form}


cross_to_rx = CaseType(
    id="cross-to-rx",
    title="Power cross to prescription",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group(
        (
            Field("powers", "Power in each principal meridian", Cross()),
            FORM,
        )
    ),
    asks=(Field("prescription", "Prescription", Lens()),),
    draw=_draw_cross,
    begin=lambda findings: {
        "net": (findings["powers"].sphere, findings["powers"].sphere + findings["powers"].cylinder),
        "meridians": (findings["powers"].axis, across(findings["powers"].axis)),
    },
    steps=(choose_sphere(), find_cylinder(), PLACE_AXIS),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        write_powers(
            (
                (known["powers"].axis, known["powers"].sphere),
                (across(known["powers"].axis), known["powers"].sphere + known["powers"].cylinder),
            )
        ),
    ),
    question=lambda known: f"What prescription is that, in {FORM_WORDS[known['form']]}?",
    figure=lambda known, uid: power_cross(known["powers"], uid=uid),
    needs=("rx-to-cross",),
    sources=("Definition of sphere, cylinder and axis, ISO 13666",),
)

transpose = CaseType(
    id="transpose",
    title="Transposing",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group((RX,)),
    asks=(Field("prescription", "The same lens in the other form", Lens()),),
    draw=_draw_rx,
    begin=_spread,
    steps=turning_steps(),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=_rx_words,
    question=lambda known: f"Write the same lens in {FORM_WORDS['plus' if known['rx'].cylinder < 0 else 'minus']}.",
    figure=_frame,
    form=lambda known: "plus" if known["rx"].cylinder < 0 else "minus",
    form_matters=True,
    sources=("NFOS optician course, module 8",),
)

spherical_equivalent = CaseType(
    id="spherical-equivalent",
    title="The spherical equivalent",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((RX,)),
    asks=(Field("power", "Spherical equivalent", Power(tolerance=0.06)),),
    draw=_draw_rx,
    begin=_spread,
    steps=(
        Step(
            skills.HALVE_CYLINDER,
            run=lambda known: {"share": known["cylinder"] / 2},
            says=lambda known: f"Half of {signed(known['cylinder'])} is {signed(known['share'])}.",
            slips=(
                Slip(
                    skills.WHOLE_CYLINDER,
                    run=lambda known: {"share": known["cylinder"]},
                    says=lambda known: f"The whole cylinder taken: {signed(known['share'])}.",
                ),
                Slip(skills.SPHERE_ONLY, run=lambda _: {"share": 0.0}, says=lambda _: "The cylinder left out."),
            ),
        ),
        Step(
            skills.ADD_HALF,
            run=lambda known: {"mean": known["sphere"] + known["share"]},
            says=lambda known: f"{added(known['sphere'], known['share'], known['mean'])}.",
            slips=(
                Slip(
                    skills.HALF_UNSIGNED,
                    run=lambda known: {"mean": known["sphere"] + abs(known["share"])},
                    says=lambda known: f"{size(known['share'])} added without its sign: {signed(known['mean'])}.",
                    live=lambda known: known["share"] < 0,
                ),
                Slip(
                    skills.CYLINDER_SUBTRACTED,
                    run=lambda known: {"mean": known["sphere"] - known["share"]},
                    says=lambda known: f"The half taken away: {signed(known['mean'])}.",
                    live=lambda known: known["share"] > 0,
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["mean"]},
    found=_rx_words,
    question=lambda _: "What is the spherical equivalent, to an eighth of a dioptre?",
    figure=_frame,
    needs=("transpose",),
    sources=("Thibos, Wheeler & Horner 1997, Optom Vis Sci 74:367 (M)",),
)

TYPES = (transpose, spherical_equivalent, rx_to_cross, cross_to_rx)
