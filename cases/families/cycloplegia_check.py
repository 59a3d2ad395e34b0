"""Family F, cycloplegic: whether accommodation is out, and what to do while it is not. No doses, no times."""

from __future__ import annotations

from typing import Any

from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.near import FAMILY
from cases.fields import Field, Group
from cases.figures_distance import near_card
from cases.kinds import Distance, Power, Size
from cases.notation import write_distance
from cases.steps import DISTANCE, DROPS_CAUTION, lens_in_place, pick_distance, signed, size
from cases.sums import less_signed
from cases.working import Known, Skill, Slip, SlipName, Step

RESIDUAL = Skill("residual-accommodation", "finding the accommodation that is left")
JUDGE_CYCLOPLEGIA = Skill("judge-cycloplegia", "judging whether accommodation is out")
ACT_ON_CYCLOPLEGIA = Skill("act-on-cycloplegia", "knowing what to do while accommodation is not out")

RESIDUAL_REVERSED = SlipName(
    "residual-reversed",
    "took the far lens off the near one",
    "An eye that still accommodates at near wants less plus there, so take the near lens off the far one.",
)
DEMAND_AS_RESIDUAL = SlipName(
    "demand-as-residual",
    "took what the card asks for as what the eye gives",
    "The card asks; the two neutral lenses tell what the eye gave. Take the near lens off the far one.",
)
PUPIL_AS_PROOF = SlipName(
    "pupil-as-proof",
    "judged by the pupil",
    "The pupil and the ciliary muscle do not answer alike: a wide pupil may still accommodate, a smaller one may not.",
)
FLUCTUATION_OVERLOOKED = SlipName(
    "fluctuation-overlooked",
    "overlooked that the reflex wavered",
    "A reflex that wavers behind one lens is accommodation at work, whatever the two neutral lenses say.",
    "clinical pearl on accommodation spasm for optometry students",
)
TIME_AS_PROOF = SlipName(
    "time-as-proof",
    "went on because the time was up",
    "Waiting is no proof. What counts is that accommodation is out, found by looking far and near.",
)
DROP_UNASKED = SlipName(
    "drop-unasked",
    "put in another drop",
    "No further drop without whoever may order it: product information and the local protocol decide, and too much "
    "does harm.",
    "product texts of cyclopentolate in the United Kingdom (cautions)",
)

STEADINESS = Choice((Option("steady", "steady"), Option("wavering", "wavering")))
PUPILS = Choice((Option("wide", "wide and still"), Option("moving", "still moving a little to light")))
WAITS = Choice((Option("running", "still running"), Option("over", "over")))
STATES = Choice(
    (
        Option("out", "out, as far as the clinic asks"),
        Option("left", "still there, too much of it"),
        Option("unsteady", "at work: the reflex wavers"),
    )
)
ACTIONS = Choice(
    (
        Option("go", "go on and measure"),
        Option("wait", "wait, then look again"),
        Option("ask", "ask whoever may decide, by the local protocol"),
        Option("drop", "put in another drop"),
    )
)


def _state(known: Known) -> str:
    if known["steady"] == "wavering":
        return "unsteady"
    return "out" if known["residual"] <= known["limit"] + 1e-9 else "left"


def _action(known: Known) -> str:
    if known["state"] == "out":
        return "go"
    return "wait" if known["wait"] == "running" else "ask"


def _by_pupil(known: Known) -> str:
    return "out" if known["pupil"] == "wide" else "left"


def _draw_check(chance: Chance, settings: Settings) -> dict[str, Any]:
    limit = settings.norm("residual-accommodation-limit")
    far = chance.stepped(-2, 7)
    out = chance.happens(0.35)
    residual = chance.stepped(0, max(limit - 0.25, 0.25)) if out else chance.stepped(limit + 0.5, limit + 2.25)
    wavering = chance.happens(0.25)
    if wavering:
        residual = chance.stepped(0, limit)
    return {
        "far": far,
        "near": far - residual,
        "card_cm": chance.among((33.0, 40.0)),
        "distance_cm": pick_distance(chance, settings),
        "steady": "wavering" if wavering else "steady",
        "pupil": "wide" if chance.happens(0.6) else "moving",
        "wait": "over" if out and not wavering else chance.among(("running", "over")),
        "limit": limit,
    }


cycloplegia_check = CaseType(
    id="cycloplegia-check",
    title="Is accommodation out?",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group(
        (
            Field("far", "Sphere at neutral, the patient looking far", Power()),
            Field("near", "Sphere at neutral, the patient looking at the card", Power()),
            Field("card_cm", "Eye to the card", Distance()),
            DISTANCE,
            Field("steady", "The reflex behind one lens", STEADINESS, default="steady"),
            Field("pupil", "The pupil", PUPILS, default="wide"),
            Field("wait", "The waiting time of the local protocol", WAITS, default="over"),
            Field("limit", "Accommodation that may be left", Size(low=0.25, high=3.0), default=1.0),
        )
    ),
    asks=(
        Field("residual", "Accommodation left", Power()),
        Field("state", "Accommodation is", STATES),
        Field("action", "What next?", ACTIONS),
    ),
    draw=_draw_check,
    begin=lambda _: {},
    steps=(
        Step(
            RESIDUAL,
            run=lambda known: {"residual": known["far"] - known["near"]},
            says=lambda known: (
                f"The distance is the same in both, so what the eye added is the far lens less the near: "
                f"{less_signed(known['far'], known['near'], known['residual'])} D."
            ),
            slips=(
                Slip(
                    RESIDUAL_REVERSED,
                    run=lambda known: {"residual": known["near"] - known["far"]},
                    says=lambda known: f"Near less far: {signed(known['residual'])}.",
                    live=lambda known: known["near"] != known["far"],
                ),
                Slip(
                    DEMAND_AS_RESIDUAL,
                    run=lambda known: {"residual": 100 / known["card_cm"]},
                    says=lambda known: f"{write_distance(known['card_cm'])} taken as {size(known['residual'])} D left.",
                ),
            ),
        ),
        Step(
            JUDGE_CYCLOPLEGIA,
            run=lambda known: {"state": _state(known)},
            says=lambda known: (
                f"The clinic asks for no more than {size(known['limit'])} D left and a steady reflex: accommodation is "
                f"{STATES.write(known['state'])}."
            ),
            slips=(
                Slip(
                    PUPIL_AS_PROOF,
                    run=lambda known: {"state": _by_pupil(known)},
                    says=lambda known: f"Judged by the pupil: {STATES.write(known['state'])}.",
                    live=lambda known: _by_pupil(known) != _state(known),
                ),
                Slip(
                    FLUCTUATION_OVERLOOKED,
                    run=lambda known: {"state": "out" if known["residual"] <= known["limit"] + 1e-9 else "left"},
                    says=lambda known: f"By the two lenses alone: {STATES.write(known['state'])}.",
                    live=lambda known: known["steady"] == "wavering",
                ),
            ),
        ),
        Step(
            ACT_ON_CYCLOPLEGIA,
            run=lambda known: {"action": _action(known)},
            says=lambda known: (
                f"The waiting time is {WAITS.write(known['wait'])}: {ACTIONS.write(known['action'])}. {DROPS_CAUTION}"
            ),
            slips=(
                Slip(
                    TIME_AS_PROOF,
                    run=lambda _: {"action": "go"},
                    says=lambda _: "Gone on, since the time is up.",
                    live=lambda known: known["state"] != "out" and known["wait"] == "over",
                ),
                Slip(
                    DROP_UNASKED,
                    run=lambda _: {"action": "drop"},
                    says=lambda _: "Another drop put in.",
                    live=lambda known: known["state"] != "out",
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("residual", "state", "action")},
    found=lambda known: (
        "Cycloplegic drops were given by someone licensed to. You keep your place and look twice; every meridian is "
        "alike.",
        f"Looking far, the eye is neutral with {lens_in_place(known['far'], 'DS')}; looking at a card "
        f"{write_distance(known['card_cm'])} away, with {lens_in_place(known['near'], 'DS')}.",
        f"The reflex behind one lens is {STEADINESS.write(known['steady'])}; the pupil is "
        f"{PUPILS.write(known['pupil'])}; the waiting time of the local protocol is {WAITS.write(known['wait'])}.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil both times. The clinic goes on when no more "
        f"than {size(known['limit'])} D is left.",
        DROPS_CAUTION,
    ),
    question=lambda _: "How much accommodation is left, is it out, and what do you do next?",
    figure=lambda known, uid: near_card(target_cm=known["card_cm"], scope_cm=known["distance_cm"], uid=uid),
    form=lambda _: None,
    needs=("net-sphere",),
    sources=(
        "How much may be left (1 to 2 D): common practice, no published source",
        "Cautions: product texts of cyclopentolate in the United Kingdom",
    ),
)

TYPES = (cycloplegia_check,)
