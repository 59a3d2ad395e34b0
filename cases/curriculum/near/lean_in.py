"""Family F, leaning in from an end-point: whether two meridians are neutral together, and what to change if not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cases.curriculum import skills
from cases.curriculum.band_widths import FIRST_STREAK, NARROWER_BAND, VIEW, WIDTHS, WIDTHS_FOUND
from cases.curriculum.bench_stage import Bench, View
from cases.curriculum.bench_types import Moving
from cases.curriculum.near import FAMILY
from cases.curriculum.steps import as_written, degrees, pick_lens
from cases.figures.pupil_reflex import Breadth, lean_in
from cases.notation.prescription import write_prescription
from cases.optics.axes import across, axis_gap
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

CHANGE_CYLINDER = Skill("change-cylinder", "changing the cylinder for the meridian that still needs plus")

OTHER_CYLINDER_FORM = SlipName(
    "cylinder-of-other-form",
    "changed the cylinder as if it were of the other sign",
    "More plus across the axis is a weaker minus cylinder but a stronger plus cylinder. Look which is in the frame.",
)
LEAN_WITH_AS_PLUS = SlipName(
    "lean-with-as-plus",
    "added plus because leaning in shows with",
    "From neutral, leaning in must show with: it says that the end-point was right. Only a difference between the two "
    "widths asks for a change.",
)

PLACES = Choice(
    (
        Option(
            "along",
            "the one along the cylinder's axis",
            "the streak of the view that still needs plus is across the axis",
        ),
        Option(
            "across",
            "the one across the cylinder's axis",
            "the streak of the view that still needs plus lies along the axis",
        ),
        Option("neither", "neither", "the two bands are equally wide"),
    )
)
CHANGES = Choice(
    (
        Option(
            "stronger",
            "a stronger cylinder, the sphere with it where the other meridian needs it",
            "the cylinder has to give more of its own sign to even the two meridians out",
        ),
        Option(
            "weaker",
            "a weaker cylinder, the sphere with it where the other meridian needs it",
            "the cylinder has to give less of its own sign to even the two meridians out",
        ),
        Option("sphere", "plus sphere alone", "both meridians lack plus by the same amount"),
        Option("leave", "change nothing", "both bands are with and equally wide"),
    )
)
_OTHER_PLACE = {"along": "across", "across": "along", "neither": "neither"}


STREAKS = Key[Mapping[str, float]]("streaks")


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings, sphere=(-3, 7)).in_form(chance.among(("minus", "plus")))
    return given(LENS, FIRST_STREAK, WIDTHS_FOUND).to(
        lens,
        chance.among((lens.axis, across(lens.axis))),
        chance.among(("equal", "first-narrower", "second-narrower", "first-narrower", "second-narrower")),
    )


LENS = Field("lens", "Lenses in place, as one, with their cylinder", Lens())


@given(LENS, FIRST_STREAK)
def _begin_lean(lens: SphCyl, streak: float) -> Mapping[str, float]:
    if not lens.cylinder:
        raise BadFinding(write_prescription(lens), "a cylinder must be in place, such as +3.00 / −1.50 × 90")
    if min(axis_gap(streak, lens.axis), axis_gap(streak, across(lens.axis))) > 1:
        raise BadFinding(
            streak,
            f"the streak must lie along or across the cylinder's axis: at {degrees(lens.axis)} or "
            f"{degrees(across(lens.axis))}",
        )
    return {"first": streak, "second": across(streak)}


def _place(view: str, streaks: Mapping[str, float], lens: SphCyl) -> str:
    if view == "neither":
        return "neither"
    meridian = across(streaks[view])
    return "along" if axis_gap(meridian, lens.axis) < 45 else "across"


def _change(place: str, cylinder: float) -> str:
    if place == "neither":
        return "leave"
    return "weaker" if (place == "across") == (cylinder < 0) else "stronger"


PLACE = Field("place", "Which meridian is that?", PLACES)


@given(PLACE, STREAKS, VIEW, LENS)
def _place_words(place: str, streaks: Mapping[str, float], view: str, lens: SphCyl) -> str:
    if place == "neither":
        return "Neither meridian needs more than the other."
    streak = streaks[view]
    return (
        f"The streak at {degrees(streak)} measures the {degrees(across(streak))} meridian, "
        f"{PLACES.write(place)} at {degrees(lens.axis)}."
    )


CHANGE = Field("change", "What do you change?", CHANGES)


@given(CHANGE, LENS, PLACE)
def _change_words(change: str, lens: SphCyl, place: str) -> str:
    if change == "leave":
        return "With and equal in both: the two were neutral together. Change nothing."
    with_what = "minus" if lens.cylinder < 0 else "plus"
    if place == "across":
        return f"More plus across the axis of a {with_what} cylinder is {CHANGES.write(change)}."
    return (
        f"More plus along the axis is sphere; to keep the other meridian, the {with_what} cylinder changes with it: "
        f"{CHANGES.write(change)}."
    )


@given(FIRST_STREAK, WIDTHS_FOUND).drawing
def _views(uid: str, streak: float, widths_value: str) -> Figure:
    narrow: tuple[Breadth | None, Breadth | None] = ("narrow", "wide")
    widths = {"equal": (None, None), "first-narrower": narrow, "second-narrower": narrow[::-1]}[widths_value]
    return lean_in((streak, widths[0]), (across(streak), widths[1]), uid=uid)


lean_in_widths = CaseType(
    id="lean-in-widths",
    title="Leaning in: are the two neutral together?",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group(
        (
            LENS,
            FIRST_STREAK,
            WIDTHS_FOUND,
        )
    ),
    asks=(
        VIEW,
        PLACE,
        CHANGE,
    ),
    draw=_draw_lean,
    begin=STREAKS.by(_begin_lean),
    steps=(
        NARROWER_BAND,
        PLACE.step(
            skills.READ_MERIDIAN,
            run=given(VIEW, STREAKS, LENS)(lambda view, streaks, lens: _place(view, streaks, lens)),
            says=_place_words,
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=given(VIEW, STREAKS, LENS)(
                        lambda view, streaks, lens: _OTHER_PLACE[_place(view, streaks, lens)]
                    ),
                    says=given(PLACE)(lambda place: f"The meridian taken along the streak: {PLACES.write(place)}."),
                    live=given(VIEW)(lambda view: view != "neither"),
                ),
            ),
        ),
        CHANGE.step(
            CHANGE_CYLINDER,
            run=given(PLACE, LENS)(lambda place, lens: _change(place, lens.cylinder)),
            says=_change_words,
            slips=(
                Slip(
                    OTHER_CYLINDER_FORM,
                    run=given(PLACE, LENS)(lambda place, lens: _change(place, -lens.cylinder)),
                    says=given(CHANGE)(lambda change: f"As for the other sign: {CHANGES.write(change)}."),
                    live=given(PLACE)(lambda place: place != "neither"),
                ),
                Slip(
                    LEAN_WITH_AS_PLUS,
                    run=given()(lambda: "sphere"),
                    says=given()(lambda: "Plus sphere added to both."),
                ),
            ),
        ),
    ),
    answer=as_found(VIEW, PLACE, CHANGE),
    found=given(LENS, FIRST_STREAK, WIDTHS_FOUND)(
        lambda lens, first_streak, widths: (
            f"In place: {as_written(lens)}. Both meridians looked neutral.",
            f"First view: streak at {degrees(first_streak)}. Second view: streak at {degrees(across(first_streak))}.",
            f"You lean in and the reflex goes with in both. Its band is {WIDTHS.write(widths)}.",
        )
    ),
    question=asking("Which view still needs plus, which meridian is that, and what do you change?"),
    figure=_views,
    needs=("lean-test", "sphere-then-cyl"),
    sources=("reflex-optics", "streak-guide"),
)

LEANED_CM, EVEN, MORE = 40.0, 1.0, 1.75
"""The picture leans in to this many cm, where a meridian needs `EVEN` D and the one with the narrower band `MORE`."""


@given(FIRST_STREAK, WIDTHS_FOUND)
def _leaned_views(first: float, widths: str) -> tuple[View, ...]:
    eye = SphCyl.from_meridians(
        across(first), MORE if widths == "first-narrower" else EVEN, MORE if widths == "second-narrower" else EVEN
    )
    bench = Bench(eye=eye + SphCyl(-100 / LEANED_CM), distance_cm=LEANED_CM, pupil_mm=7.0)
    return View("First view", replace(bench, streak=first)), View("Second view", replace(bench, streak=across(first)))


MOVING = {lean_in_widths.id: Moving(_leaned_views)}

TYPES = (lean_in_widths,)
