"""Family F, cycloplegic: whether accommodation is relaxed, and what to do while it is not. No doses, no times."""

from __future__ import annotations

from typing import Any

from cases.curriculum.drawn_eyes import UNDER_DROPS, first_fitting
from cases.curriculum.near import FAMILY
from cases.curriculum.steps import DISTANCE, DROPS_CAUTION, lens_in_place, pick_distance, signed, size
from cases.figures.distances import near_card
from cases.notation.prescription import write_distance
from cases.notation.sums import less_signed
from cases.optics.vergence import vergence, vergence_in_quarters
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

RESIDUAL = Skill("residual-accommodation", "finding the accommodation that is left")
JUDGE_CYCLOPLEGIA = Skill("judge-cycloplegia", "judging whether accommodation is relaxed")
ACT_ON_CYCLOPLEGIA = Skill("act-on-cycloplegia", "knowing what to do while accommodation is not relaxed")

RESIDUAL_REVERSED = SlipName(
    "residual-reversed",
    "took the far lens off the near one",
    "An eye that still accommodates at near needs less plus there, so take the near lens off the far one.",
)
DEMAND_AS_RESIDUAL = SlipName(
    "demand-as-residual",
    "took what the card asks for as what the eye gives",
    "The card is the demand; the two neutral lenses show the response. Subtract the near lens from the far one.",
)
PUPIL_AS_PROOF = SlipName(
    "pupil-as-proof",
    "judged by the pupil",
    "The pupil and the ciliary muscle do not respond equally: a wide pupil may still accommodate, a smaller one may "
    "not.",
)
FLUCTUATION_OVERLOOKED = SlipName(
    "fluctuation-overlooked",
    "overlooked that the reflex wavered",
    "A reflex that wavers behind one lens shows active accommodation, even if the two neutral lenses agree.",
    ("student-pearl",),
)
TIME_AS_PROOF = SlipName(
    "time-as-proof",
    "went on because the time was up",
    "Waiting is no proof. What counts is that accommodation is relaxed, found by looking far and near.",
)
DROP_UNASKED = SlipName(
    "drop-unasked",
    "put in another drop",
    "No further drop without the person licensed to order it: product information and the local protocol decide, and "
    "too much "
    "does harm.",
    ("cyclopentolate-texts",),
)

STEADINESS = Choice((Option("steady", "steady"), Option("wavering", "wavering")))
PUPILS = Choice((Option("wide", "wide and still"), Option("moving", "still moving a little to light")))
WAITS = Choice((Option("running", "still running"), Option("over", "over")))
STATES = Choice(
    (
        Option(
            "out",
            "relaxed, as far as the clinic asks",
            "no more is left than the clinic's limit, and the reflex is steady",
        ),
        Option("left", "still there, too much of it", "more is left than the clinic's limit"),
        Option("unsteady", "at work: the reflex wavers", "the reflex wavers behind one and the same lens"),
    )
)
ACTIONS = Choice(
    (
        Option("go", "go on and measure", "accommodation is relaxed, as far as the clinic asks"),
        Option("wait", "wait, then look again", "accommodation is not relaxed and the waiting time is still running"),
        Option(
            "ask",
            "ask the person licensed to decide, by the local protocol",
            "accommodation is not relaxed although the waiting time is over",
        ),
        Option(
            "drop",
            "put in another drop",
            "never on your own: a licensed person decides, by the product information and the local protocol",
        ),
    )
)


def _state(steady: str, residual: float, limit: float) -> str:
    if steady == "wavering":
        return "unsteady"
    return "out" if residual <= limit + 1e-9 else "left"


def _action(state: str, wait: str) -> str:
    if state == "out":
        return "go"
    return "wait" if wait == "running" else "ask"


def _by_pupil(pupil: str) -> str:
    return "out" if pupil == "wide" else "left"


def _draw_check(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw a patient under drops, whose accommodation is relaxed, is not yet, or wavers within what may be left."""
    limit = settings.norm("residual-accommodation-limit")
    card_cm, distance = chance.among((33.0, 40.0)), pick_distance(chance, settings)
    out, wavering = chance.happens(0.35), chance.happens(0.25)
    side = chance.among(SIDES)
    most = limit if wavering else max(limit - 0.25, 0.25)

    def fits(patient: Patient) -> tuple[float, float] | None:
        eye = patient.eye(side)
        # How much of the accommodation the drops have taken by now: nearly all, or less.
        taken = chance.stepped(0.8, 1.0, 0.02) if out or wavering else chance.stepped(0.1, 0.9, 0.02)
        reach, tone = patient.amplitude_d * (1 - taken), eye.latent_d * (1 - taken)
        near = min(reach, max(tone, patient.response_lead_d + patient.response_slope * vergence(card_cm)))
        far = min(reach, tone)
        residual = round(4 * (near - far)) / 4
        gross = round(4 * (eye.M - far)) / 4 + vergence_in_quarters(distance)
        usable = residual <= most if out or wavering else residual >= limit + 0.5
        return (gross, residual) if usable and eye.natural_lens and -4 <= gross <= 10 else None

    far, residual = first_fitting(chance, settings, fits, UNDER_DROPS) or (
        chance.stepped(-2, 7),
        chance.stepped(0, most) if out or wavering else chance.stepped(limit + 0.5, limit + 2.25),
    )
    return given(FAR, NEAR, CARD, DISTANCE, STEADY, PUPIL).to(
        far,
        far - residual,
        card_cm,
        distance,
        "wavering" if wavering else "steady",
        "wide" if chance.happens(0.6) else "moving",
    ) | given(WAIT, LIMIT).to("over" if out and not wavering else chance.among(("running", "over")), limit)


FAR = Field("far", "Sphere at neutral, the patient looking far", quantities.POWER)
NEAR = Field("near", "Sphere at neutral, the patient looking at the card", quantities.POWER)
CARD = Field("card_cm", "Eye to the card", quantities.DISTANCE)
STEADY = Field("steady", "The reflex behind one lens", STEADINESS, default="steady")
PUPIL = Field("pupil", "The pupil", PUPILS, default="wide")
WAIT = Field("wait", "The waiting time of the local protocol", WAITS, default="over")
LIMIT = Field("limit", "Accommodation that may be left", quantities.SIZE.having(low=0.25, high=3.0), default=1.0)
RESIDUAL_ASKED = Field("residual", "Accommodation left", quantities.POWER)
STATE = Field("state", "Accommodation is", STATES)
ACTION = Field("action", "What next?", ACTIONS)


@given(FAR, CARD, NEAR)
def _seen_through(far: float, card_cm: float, near: float) -> str:
    return (
        f"Looking far, the eye is neutral with {lens_in_place(far, 'DS')}; looking at a card "
        f"{write_distance(card_cm)} away, with {lens_in_place(near, 'DS')}."
    )


@given(STEADY, PUPIL, WAIT)
def _signs(steady: str, pupil: str, wait: str) -> str:
    return (
        f"The reflex behind one lens is {STEADINESS.write(steady)}; the pupil is {PUPILS.write(pupil)}; the waiting "
        f"time of the local protocol is {WAITS.write(wait)}."
    )


@given(STATE, RESIDUAL_ASKED, LIMIT, WAIT)
def _defensible(state: str, residual: float, limit: float, wait: str) -> tuple[Defensible, ...]:
    """Credit what is true as well where the reflex wavers and too much accommodation is left besides.

    And waiting on, where accommodation is relaxed before the time of the local protocol is; common practice.
    """
    if state == "out" and wait == "running":
        because = "The waiting time of the local protocol is still running, and local rules come first."
        return (Defensible(ACTION.to("wait"), 0.7, because, "Look again when it is over: no more should be left."),)
    if state != "unsteady" or residual <= limit + 1e-9:
        return ()
    because = "More is left than the clinic asks for, and the wavering says the same."
    return (Defensible(STATE.to("left"), 0.8, because, "Neither has to be decided: accommodation is not relaxed."),)


cycloplegia_check = CaseType(
    id="cycloplegia-check",
    title="Is accommodation relaxed?",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group(
        (
            FAR,
            NEAR,
            CARD,
            DISTANCE,
            STEADY,
            PUPIL,
            WAIT,
            LIMIT,
        )
    ),
    asks=(
        RESIDUAL_ASKED,
        STATE,
        ACTION,
    ),
    draw=_draw_check,
    steps=(
        RESIDUAL_ASKED.step(
            RESIDUAL,
            run=given(FAR, NEAR)(lambda far, near: far - near),
            says=given(FAR, NEAR, RESIDUAL_ASKED)(
                lambda far, near, residual: (
                    f"The distance is the same in both, so what the eye added is the far lens less the near: "
                    f"{less_signed(far, near, residual)} D."
                )
            ),
            slips=(
                Slip(
                    RESIDUAL_REVERSED,
                    run=given(NEAR, FAR)(lambda near, far: near - far),
                    says=given(RESIDUAL_ASKED)(lambda residual: f"Near less far: {signed(residual)}."),
                    live=given(NEAR, FAR)(lambda near, far: near != far),
                ),
                Slip(
                    DEMAND_AS_RESIDUAL,
                    run=given(CARD)(lambda card_cm: 100 / card_cm),
                    says=given(CARD, RESIDUAL_ASKED)(
                        lambda card_cm, residual: f"{write_distance(card_cm)} taken as {size(residual)} D left."
                    ),
                ),
            ),
        ),
        STATE.step(
            JUDGE_CYCLOPLEGIA,
            run=given(STEADY, RESIDUAL_ASKED, LIMIT)(lambda steady, residual, limit: _state(steady, residual, limit)),
            says=given(LIMIT, STATE)(
                lambda limit, state: (
                    f"The clinic asks for no more than {size(limit)} D left and a steady reflex: accommodation is "
                    f"{STATES.write(state)}."
                )
            ),
            slips=(
                Slip(
                    PUPIL_AS_PROOF,
                    run=given(PUPIL)(lambda pupil: _by_pupil(pupil)),
                    says=given(STATE)(lambda state: f"Judged by the pupil: {STATES.write(state)}."),
                    live=given(PUPIL, STEADY, RESIDUAL_ASKED, LIMIT)(
                        lambda pupil, steady, residual, limit: _by_pupil(pupil) != _state(steady, residual, limit)
                    ),
                ),
                Slip(
                    FLUCTUATION_OVERLOOKED,
                    run=given(RESIDUAL_ASKED, LIMIT)(
                        lambda residual, limit: "out" if residual <= limit + 1e-9 else "left"
                    ),
                    says=given(STATE)(lambda state: f"By the two lenses alone: {STATES.write(state)}."),
                    live=given(STEADY)(lambda steady: steady == "wavering"),
                ),
            ),
        ),
        ACTION.step(
            ACT_ON_CYCLOPLEGIA,
            run=given(STATE, WAIT)(lambda state, wait: _action(state, wait)),
            says=given(WAIT, ACTION)(
                lambda wait, action: (
                    f"The waiting time is {WAITS.write(wait)}: {ACTIONS.write(action)}. {DROPS_CAUTION}"
                )
            ),
            slips=(
                Slip(
                    TIME_AS_PROOF,
                    run=given()(lambda: "go"),
                    says=given()(lambda: "Gone on, since the time is up."),
                    live=given(STATE, WAIT)(lambda state, wait: state != "out" and wait == "over"),
                ),
                Slip(
                    DROP_UNASKED,
                    run=given()(lambda: "drop"),
                    says=given()(lambda: "Another drop put in."),
                    live=given(STATE)(lambda state: state != "out"),
                ),
            ),
        ),
    ),
    answer=as_found(RESIDUAL_ASKED, STATE, ACTION),
    found=given(_seen_through, _signs, DISTANCE, LIMIT)(
        lambda seen_through, signs, cm, limit: (
            "Cycloplegic drops were given by someone licensed to. You keep your place and look twice; every meridian "
            "is the same.",
            seen_through,
            signs,
            f"Sight hole {write_distance(cm)} from the pupil both times. The clinic goes on when no more than "
            f"{size(limit)} D is left.",
            DROPS_CAUTION,
        )
    ),
    question=asking("How much accommodation is left, is it out, and what do you do next?"),
    figure=given(CARD, DISTANCE).drawing(
        lambda uid, card_cm, distance_cm: near_card(target_cm=card_cm, scope_cm=distance_cm, uid=uid)
    ),
    needs=("net-sphere",),
    defensible=_defensible,
    errors={FAR.name: 0.25, NEAR.name: 0.25},
    sources=("cyclopentolate-texts", "common-practice"),
)

TYPES = (cycloplegia_check,)
