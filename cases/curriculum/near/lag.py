"""Family F, near: the lag or lead of accommodation, by lens and by moving back."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.drawn_eyes import AGE, Sought, age_words, first_fitting
from cases.curriculum.near import FAMILY
from cases.curriculum.shared_keys import DEMAND
from cases.curriculum.steps import fixation_demand, signed, size
from cases.figures.distances import near_card
from cases.notation.prescription import write_distance
from cases.notation.sums import adding_up
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence
from cases.patients.patient import Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, Step, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

TARGET = Field("target_cm", "Eye to the card that the patient reads", quantities.DISTANCE, default=40.0)
LAG = Field("lag", "Lag (a lead is minus)", quantities.POWER)

LAG_OR_LEAD = Skill("lag-or-lead", "telling a lag from a lead")
JUDGE_LAG = Skill("judge-lag", "holding a lag against the usual range")

DISTANCE_OFF_LAG = SlipName(
    "distance-off-lag",
    "took the target's distance off the lag",
    "Target and retinoscope are at the same distance, so the lens alone is the lag. No distance comes off.",
    ("tassinari-2000",),
)
ONE_FIFTY_OFF_LAG = SlipName(
    "one-fifty-off-lag",
    "took the usual 1.50 off the lag",
    "That is for a patient who looks far. This one looks at the card beside your sight hole, so nothing comes off.",
)
LAG_SIGN_REVERSED = SlipName(
    "lag-sign-reversed",
    "took a lag for a lead",
    "Plus to neutralise means that the eye focuses behind the card, too weakly: a lag. Minus means a lead.",
    ("almubrad-2006",),
)
LEAD_AS_LAG = SlipName(
    "lead-judged-by-size",
    "judged a lead by its size",
    "Minus to neutralise is a lead, however small: look again at the fixation and for too much minus worn.",
    ("almubrad-2006",),
)
MOVE_BACK_REVERSED = SlipName(
    "move-back-reversed",
    "took the target off the neutral point",
    "The lag is what was asked for less what was answered: the target's dioptres less those of the neutral point.",
)
GAP_INVERTED = SlipName(
    "gap-inverted",
    "turned the gap between the two into dioptres",
    "One over a difference is not the difference of two: turn each distance into dioptres, then subtract.",
)
ANSWER_AS_LAG = SlipName(
    "answer-as-lag",
    "gave what the eye answers for its lag",
    "The neutral point shows the response. The lag is how far the response falls short of the demand.",
)

# --- the lag by lens ---------------------------------------------------------------------------------------------


LENS = Field("lens", "Sphere that neutralises at the plane of the target", quantities.POWER)
FOUND = Key[float]("found", unit="D")


@given(LENS, TARGET).drawing
def _card(uid: str, its: float, target_cm: float) -> Figure:
    lens = SphCyl(its) if its else None
    return near_card(target_cm=target_cm, scope_cm=target_cm, lens=lens, uid=uid)


def _draw_lag(chance: Chance, settings: Settings) -> dict[str, Any]:
    target = _pick_card(chance)
    low = 0.25 if settings.level == "novice" else -0.75
    lag, age = _lag_of_a_patient(chance, settings, target, low=low) or (chance.stepped(low, 2), 0.0)
    return given(LENS, TARGET, AGE).to(round(4 * lag) / 4 + 0.0, target, age)


def _pick_card(chance: Chance) -> float:
    return chance.among((33.0, 40.0, 50.0)) if chance.happens(0.25) else float(chance.whole(25, 60))


def _lag_of_a_patient(
    chance: Chance, settings: Settings, target_cm: float, *, low: float
) -> tuple[float, float] | None:
    """Draw by how many dioptres a corrected patient's answer falls short of a card, and the patient's age in years."""

    def fits(patient: Patient) -> tuple[float, float] | None:
        demand = vergence(target_cm)
        answer = min(patient.amplitude_d, patient.response_lead_d + patient.response_slope * demand)
        usable = low <= demand - answer <= 2
        return (demand - answer, float(round(patient.age_y))) if usable else None

    # A presbyope is given an addition and is not asked for a lag.
    return first_fitting(chance, settings, fits, Sought((3, 46)))


def _lag_or_lead(lag: float) -> str:
    return "a lead" if lag < 0 else "a lag"


def _lens_words(lens: float, target_cm: float) -> tuple[str, ...]:
    with_what = "no lens at all" if not lens else f"{signed(lens)} DS held before the eye for a moment"
    return (
        f"The patient wears the habitual correction and reads a card {write_distance(target_cm)} from the "
        "eye. Your sight hole is level with the card.",
        f"The reflex is neutral with {with_what}.",
    )


def _no_distance(*more: Slip[float]) -> Step:
    return FOUND.step(
        skills.NO_DISTANCE_DUE,
        run=given(LENS)(lambda lens: lens),
        says=given(FOUND)(
            lambda found: f"The eye looks at the card, level with the sight hole: nothing comes off {signed(found)}."
        ),
        slips=(
            Slip(
                DISTANCE_OFF_LAG,
                run=given(LENS, TARGET)(lambda lens, target_cm: lens - vergence(target_cm)),
                says=given(TARGET, FOUND)(
                    lambda target_cm, found: f"{size(vergence(target_cm))} taken off for the distance: {signed(found)}."
                ),
            ),
            *more,
        ),
    )


lag_lens = CaseType(
    id="lag-lens",
    title="Lag at near, by lens",
    family=FAMILY,
    level="competent",
    seconds=10,
    findings=Group((LENS, TARGET, AGE)),
    asks=(LAG,),
    draw=_draw_lag,
    steps=(
        _no_distance(
            Slip(
                ONE_FIFTY_OFF_LAG,
                run=given(LENS)(lambda lens: lens - 1.5),
                says=given(FOUND)(lambda found: f"1.50 taken off: {signed(found)}."),
                live=given(TARGET)(lambda target_cm: abs(vergence(target_cm) - 1.5) > 0.02),
            )
        ),
        LAG.step(
            LAG_OR_LEAD,
            run=given(FOUND)(lambda found: found),
            says=given(LAG)(
                lambda lag: (
                    f"Minus means that the eye goes too far: a lead of {size(lag)} D."
                    if lag < 0
                    else f"Plus means that the eye falls short: a lag of {size(lag)} D."
                )
            ),
            slips=(
                Slip(
                    LAG_SIGN_REVERSED,
                    run=given(FOUND)(lambda found: -found),
                    says=given(LAG)(lambda lag: f"Taken the other way round: {signed(lag)}."),
                    live=given(FOUND)(lambda found: found != 0),
                ),
            ),
        ),
    ),
    answer=as_found(LAG),
    found=given(LENS, TARGET, age_words)(
        lambda lens, target_cm, age_words: (*age_words, *_lens_words(lens, target_cm))
    ),
    question=asking("What is the lag of accommodation (a lead is minus)?"),
    figure=_card,
    needs=("next-lens", "net-sphere"),
    sources=("almubrad-2006", "tassinari-2000"),
)

# --- what the eye answers, and whether that is usual -------------------------------------------------------------

READINGS = Choice(
    (
        Option(
            "lead",
            "a lead: check fixation and what is worn",
            "minus neutralises: the eye accommodates more than the card asks for",
        ),
        Option("less", "less lag than is usual", "the lag is below the clinic's usual range"),
        Option("usual", "within the usual range", "the lag is within the clinic's usual range"),
        Option("more", "more lag than is usual", "the lag is above the clinic's usual range"),
    )
)


def _short(lag: float) -> str:
    return "short of" if lag >= 0 else "beyond"


RESPONSE = Field("response", "Accommodation in use", quantities.POWER)


@given(DEMAND, FOUND, RESPONSE)
def _response_words(demand: float, lag: float, response: float) -> str:
    digits = adding_up(response, demand, -lag)
    in_use = digits.result_size(response) if response >= 0 else digits.result(response)
    return f"Asked {digits.size(demand)}, and {digits.size(lag)} {_short(lag)} it: {in_use} D in use."


TARGET_CM = Field("target_cm", "Eye to the card that the patient reads", quantities.DISTANCE)
NEUTRAL = Field("neutral_cm", "Eye to the sight hole at neutral", quantities.DISTANCE)


@given(TARGET_CM, NEUTRAL, FOUND)
def _card_words(target_cm: float, neutral_cm: float, found: float) -> str:
    asked, answered, lag = vergence(target_cm), vergence(neutral_cm), found
    digits = adding_up(lag, asked, -answered)
    return (
        f"The card asks for {digits.size(asked)} D; the eye answers {digits.size(answered)} D, where it is neutral: "
        f"{digits.result_size(lag)} {_short(lag)} what is asked."
    )


def _reading(lag: float, usual_low: float, usual_high: float) -> str:
    if lag < 0:
        return "lead"
    if lag < usual_low - 1e-9:
        return "less"
    return "usual" if lag <= usual_high + 1e-9 else "more"


def _draw_response(chance: Chance, settings: Settings) -> dict[str, Any]:
    drawn = _draw_lag(chance, settings) | given(USUAL_LOW, USUAL_HIGH).to(
        settings.norm("lag-usual-low"), settings.norm("lag-usual-high")
    )
    # In eighths, so that something lies between the ends of the usual range and beside them.
    return drawn if settings.level == "novice" else drawn | LENS.to(LENS.get(drawn) + chance.among((0.0, 0.125)))


LEAST_LEAD = 0.25
"""In D: less of a lead is within what two end-points differ by."""


USUAL_LOW = Field("usual_low", "Usual lag, from", quantities.POWER.having(low=-1.0, high=2.0), default=0.25)
USUAL_HIGH = Field("usual_high", "Usual lag, to", quantities.POWER.having(low=-1.0, high=3.0), default=0.75)


@given(USUAL_LOW, USUAL_HIGH)
def _begin_response(low: float, high: float) -> None:
    if low > high:
        raise BadFinding([low, high], "the usual range must begin below its end")


READING = Field("reading", "What the lag says", READINGS)
near_response = CaseType(
    id="near-response",
    title="What the eye answers at near",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            LENS,
            TARGET,
            USUAL_LOW,
            USUAL_HIGH,
            AGE,
        )
    ),
    asks=(RESPONSE, READING),
    draw=_draw_response,
    holds=_begin_response,
    steps=(
        _no_distance(),
        fixation_demand(TARGET),
        RESPONSE.step(
            skills.ACCOMMODATIVE_RESPONSE,
            run=given(DEMAND, FOUND)(lambda demand, found: demand - found),
            says=_response_words,
            slips=(
                Slip(
                    skills.LAG_ADDED,
                    run=given(DEMAND, FOUND)(lambda demand, found: demand + found),
                    says=given(RESPONSE)(lambda response: f"Added to the demand: {signed(response)} D."),
                    live=given(FOUND)(lambda found: found != 0),
                ),
            ),
        ),
        READING.step(
            JUDGE_LAG,
            run=given(USUAL_LOW, USUAL_HIGH, FOUND)(
                lambda usual_low, usual_high, found: _reading(found, usual_low, usual_high)
            ),
            says=given(USUAL_LOW, USUAL_HIGH, FOUND, READING)(
                lambda usual_low, usual_high, found, reading: (
                    f"The clinic's usual lag is {signed(usual_low)} to {signed(usual_high)}; "
                    f"{signed(found)} is {READINGS.write(reading)}."
                )
            ),
            slips=(
                Slip(
                    LEAD_AS_LAG,
                    run=given(USUAL_LOW, USUAL_HIGH, FOUND)(
                        lambda usual_low, usual_high, found: _reading(abs(found), usual_low, usual_high)
                    ),
                    says=given(FOUND)(lambda found: f"{size(found)} held against the range."),
                    live=given(FOUND)(lambda found: found < 0),
                ),
            ),
        ),
    ),
    answer=as_found(RESPONSE, READING),
    found=given(LENS, TARGET, USUAL_LOW, USUAL_HIGH, age_words)(
        lambda lens, target_cm, usual_low, usual_high, age_words: (
            *age_words,
            *_lens_words(lens, target_cm),
            "That correction leaves nothing wanting for far.",
            f"The clinic takes a lag of {signed(usual_low)} to {signed(usual_high)} D as usual.",
        )
    ),
    question=asking("How much accommodation is in use, and what do you make of the lag?"),
    figure=_card,
    needs=("lag-lens",),
    undisputed=given(LENS)(lambda lens: not -LEAST_LEAD < lens < 0),
    errors={LENS.name: 0.12, TARGET.name: 0.5},
    sources=("almubrad-2006",),
)

# --- the lag by moving back --------------------------------------------------------------------------------------


def _draw_move_back(chance: Chance, settings: Settings) -> dict[str, Any]:
    target = _pick_card(chance)
    lead = settings.level == "expert" and chance.happens(0.2)

    def fits(patient: Patient) -> float | None:
        answer = min(patient.amplitude_d, patient.response_lead_d + patient.response_slope * vergence(target))
        back = round(100 / answer) - target if answer > 0.5 else 0.0
        return target + back if (-8 <= back <= -3 if lead else 4 <= back <= 30) else None

    evenly = target - chance.whole(3, 8) if lead else target + chance.whole(4, 30)
    return given(TARGET_CM, NEUTRAL).to(target, first_fitting(chance, settings, fits, Sought((3, 46))) or evenly)


def _lag_by(words: str, lag: Rule[float], name: SlipName, live: Rule[bool] | None = None) -> Slip[float]:
    return Slip(
        name,
        run=lag,
        says=given(FOUND)(lambda found: f"{words}: {signed(found)}."),
        live=live,
    )


LAG_ASKED = Field("lag", "Lag (a lead is minus)", quantities.POWER.having(exact=0.03, tolerance=0.06))
lag_move_back = CaseType(
    id="lag-move-back",
    title="Lag at near, by moving back",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            TARGET_CM,
            NEUTRAL,
        )
    ),
    asks=(LAG_ASKED,),
    draw=_draw_move_back,
    steps=(
        FOUND.step(
            skills.COMPARE_DISTANCES,
            run=given(TARGET_CM, NEUTRAL)(lambda target_cm, neutral_cm: vergence(target_cm) - vergence(neutral_cm)),
            says=_card_words,
            slips=(
                _lag_by(
                    "The centimetres between, as dioptres",
                    given(NEUTRAL, TARGET_CM)(lambda neutral_cm, target_cm: (neutral_cm - target_cm) / 100),
                    skills.DRIFT_BY_CENTIMETRES,
                ),
                _lag_by(
                    "One over the metres between",
                    given(NEUTRAL, TARGET_CM)(lambda neutral_cm, target_cm: 100 / (neutral_cm - target_cm)),
                    GAP_INVERTED,
                    # Distances are measured to a millimetre: nobody inverts less.
                    live=given(NEUTRAL, TARGET_CM)(lambda neutral_cm, target_cm: abs(neutral_cm - target_cm) > 0.09),
                ),
                _lag_by(
                    "The neutral point less the target",
                    given(NEUTRAL, TARGET_CM)(lambda neutral_cm, target_cm: vergence(neutral_cm) - vergence(target_cm)),
                    MOVE_BACK_REVERSED,
                ),
                _lag_by(
                    "The neutral point alone", given(NEUTRAL)(lambda neutral_cm: vergence(neutral_cm)), ANSWER_AS_LAG
                ),
            ),
        ),
        LAG.step(
            skills.NO_DISTANCE_DUE,
            run=given(FOUND)(lambda found: found),
            says=given(LAG)(
                lambda lag: (
                    "No lens was used and the patient looks at the card, so nothing comes off: "
                    f"{_lag_or_lead(lag)} of {size(lag)} D."
                )
            ),
            slips=(
                Slip(
                    DISTANCE_OFF_LAG,
                    run=given(FOUND, NEUTRAL)(lambda found, neutral_cm: found - vergence(neutral_cm)),
                    says=given(NEUTRAL, LAG)(
                        lambda neutral_cm, lag: f"{size(vergence(neutral_cm))} taken off: {signed(lag)}."
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(LAG),
    found=given(TARGET_CM, NEUTRAL)(
        lambda target_cm, neutral_cm: (
            f"The patient wears the habitual correction and reads a card {write_distance(target_cm)} from the eye.",
            f"With no lens added you move until the reflex is neutral: your sight hole is then "
            f"{write_distance(neutral_cm)} from the eye.",
        )
    ),
    question=asking("What is the lag of accommodation, to 0.01 D (a lead is minus)?"),
    figure=given(TARGET_CM, NEUTRAL).drawing(
        lambda uid, target_cm, neutral_cm: near_card(target_cm=target_cm, scope_cm=neutral_cm, uid=uid)
    ),
    needs=("lag-lens",),
    sources=("almubrad-2006", "infant-lags"),
)

TYPES = (lag_lens, near_response, lag_move_back)
