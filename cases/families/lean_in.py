"""Family F, leaning in from an end-point: whether two meridians are neutral together, and what to change if not."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.near import FAMILY
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_reflex import Breadth, lean_in
from cases.kinds import BadFinding, Lens, Meridian
from cases.lens import across, axis_gap
from cases.notation import write_prescription
from cases.steps import as_written, degrees, pick_lens
from cases.working import Known, Skill, Slip, SlipName, Step

READ_WIDTHS = Skill("read-widths", "reading the two widths on leaning in")
CHANGE_CYLINDER = Skill("change-cylinder", "changing the cylinder for the meridian that still wants plus")

WIDER_WANTS_PLUS = SlipName(
    "wider-wants-plus",
    "took the wider band for the one that still wants plus",
    "Leaning in adds the same with to both. The narrower band is farther from neutral, so it is the one that still "
    "wants plus.",
    "derived in DEVELOPERS.md, The reflex; leaning as a technique: a streak retinoscope's user guide",
)
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

WIDTHS = Choice(
    (
        Option("equal", "equally wide"),
        Option("first-narrower", "narrower in the first view"),
        Option("second-narrower", "narrower in the second view"),
    )
)
VIEWS = Choice((Option("first", "the first view"), Option("second", "the second view"), Option("neither", "neither")))
PLACES = Choice(
    (
        Option("along", "the one along the cylinder's axis"),
        Option("across", "the one across the cylinder's axis"),
        Option("neither", "neither"),
    )
)
CHANGES = Choice(
    (
        Option("stronger", "a stronger cylinder"),
        Option("weaker", "a weaker cylinder"),
        Option("sphere", "plus sphere alone"),
        Option("leave", "change nothing"),
    )
)
_OTHER_VIEW = {"first": "second", "second": "first", "neither": "neither"}
_OTHER_PLACE = {"along": "across", "across": "along", "neither": "neither"}


def _draw_lean(chance: Chance, settings: Settings) -> dict[str, Any]:
    lens = pick_lens(chance, settings, sphere=(-3, 7)).in_form(chance.among(("minus", "plus")))
    return {
        "lens": lens,
        "first_streak": chance.among((lens.axis, across(lens.axis))),
        "widths": chance.among(("equal", "first-narrower", "second-narrower", "first-narrower", "second-narrower")),
    }


def _begin_lean(findings: Known) -> dict[str, Any]:
    lens, streak = findings["lens"], findings["first_streak"]
    if not lens.cylinder:
        raise BadFinding(write_prescription(lens), "a cylinder must be in place, such as +3.00 / −1.50 × 90")
    if min(axis_gap(streak, lens.axis), axis_gap(streak, across(lens.axis))) > 1:
        raise BadFinding(
            streak,
            f"the streak must lie along or across the cylinder's axis: at {degrees(lens.axis)} or "
            f"{degrees(across(lens.axis))}",
        )
    return {"streaks": {"first": streak, "second": across(streak)}}


def _narrower(known: Known) -> str:
    return {"equal": "neither", "first-narrower": "first", "second-narrower": "second"}[known["widths"]]


def _place(known: Known) -> str:
    if known["view"] == "neither":
        return "neither"
    meridian = across(known["streaks"][known["view"]])
    return "along" if axis_gap(meridian, known["lens"].axis) < 45 else "across"


def _change(place: str, cylinder: float) -> str:
    if place == "neither":
        return "leave"
    return "weaker" if (place == "across") == (cylinder < 0) else "stronger"


def _place_words(known: Known) -> str:
    if known["place"] == "neither":
        return "Neither meridian wants more than the other."
    streak = known["streaks"][known["view"]]
    return (
        f"The streak at {degrees(streak)} measures the {degrees(across(streak))} meridian, "
        f"{PLACES.write(known['place'])} at {degrees(known['lens'].axis)}."
    )


def _change_words(known: Known) -> str:
    if known["change"] == "leave":
        return "With and equal in both: the two were neutral together. Change nothing."
    with_what = "minus" if known["lens"].cylinder < 0 else "plus"
    if known["place"] == "across":
        return f"More plus across the axis of a {with_what} cylinder is {CHANGES.write(known['change'])}."
    return (
        f"More plus along the axis is sphere; to keep the other meridian, the {with_what} cylinder changes with it: "
        f"{CHANGES.write(known['change'])}."
    )


def _views(known: Known, uid: str) -> Figure:
    streak = known["first_streak"]
    narrow: tuple[Breadth | None, Breadth | None] = ("narrow", "wide")
    widths = {"equal": (None, None), "first-narrower": narrow, "second-narrower": narrow[::-1]}[known["widths"]]
    return lean_in((streak, widths[0]), (across(streak), widths[1]), uid=uid)


lean_in_widths = CaseType(
    id="lean-in-widths",
    title="Leaning in: are the two neutral together?",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group(
        (
            Field("lens", "Lenses in place, as one, with their cylinder", Lens()),
            Field("first_streak", "Streak of the first view", Meridian()),
            Field("widths", "The band of light on leaning in", WIDTHS),
        )
    ),
    asks=(
        Field("view", "Which view still wants plus?", VIEWS),
        Field("place", "Which meridian is that?", PLACES),
        Field("change", "What do you change?", CHANGES),
    ),
    draw=_draw_lean,
    begin=_begin_lean,
    steps=(
        Step(
            READ_WIDTHS,
            run=lambda known: {"view": _narrower(known)},
            says=lambda known: (
                "Both bands are as wide: neither wants more than the other."
                if known["view"] == "neither"
                else f"The narrower band is farther from neutral: {VIEWS.write(known['view'])} still wants plus."
            ),
            slips=(
                Slip(
                    WIDER_WANTS_PLUS,
                    run=lambda known: {"view": _OTHER_VIEW[_narrower(known)]},
                    says=lambda known: f"The wider band taken: {VIEWS.write(known['view'])}.",
                    live=lambda known: known["widths"] != "equal",
                ),
            ),
        ),
        Step(
            skills.READ_MERIDIAN,
            run=lambda known: {"place": _place(known)},
            says=_place_words,
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=lambda known: {"place": _OTHER_PLACE[_place(known)]},
                    says=lambda known: f"The meridian taken along the streak: {PLACES.write(known['place'])}.",
                    live=lambda known: known["view"] != "neither",
                ),
            ),
        ),
        Step(
            CHANGE_CYLINDER,
            run=lambda known: {"change": _change(known["place"], known["lens"].cylinder)},
            says=_change_words,
            slips=(
                Slip(
                    OTHER_CYLINDER_FORM,
                    run=lambda known: {"change": _change(known["place"], -known["lens"].cylinder)},
                    says=lambda known: f"As for the other sign: {CHANGES.write(known['change'])}.",
                    live=lambda known: known["place"] != "neither",
                ),
                Slip(
                    LEAN_WITH_AS_PLUS,
                    run=lambda _: {"change": "sphere"},
                    says=lambda _: "Plus sphere added to both.",
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("view", "place", "change")},
    found=lambda known: (
        f"In place: {as_written(known['lens'])}. Both meridians looked neutral.",
        f"First view: streak at {degrees(known['first_streak'])}. Second view: streak at "
        f"{degrees(across(known['first_streak']))}.",
        f"You lean in and the reflex goes with in both. Its band is {WIDTHS.write(known['widths'])}.",
    ),
    question=lambda _: "Which view still wants plus, which meridian is that, and what do you change?",
    figure=_views,
    form=lambda _: None,
    needs=("lean-test", "sphere-then-cyl"),
    sources=("Optics of the reflex, derived in DEVELOPERS.md; a streak retinoscope's user guide (leaning)",),
)

TYPES = (lean_in_widths,)
