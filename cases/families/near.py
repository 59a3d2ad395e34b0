"""Family F, near: the lag or lead of accommodation, by lens and by moving back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.fixation import fixation_demand
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_distance import near_card
from cases.kinds import BadFinding, Distance, Power
from cases.lens import SphCyl
from cases.notation import write_distance
from cases.steps import signed, size
from cases.sums import adding_up
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, Step, always

FAMILY = Family("near", "Cycloplegic and near", 6)

TARGET = Field("target_cm", "Eye to the card that the patient reads", Distance(), default=40.0)
LAG = Field("lag", "Lag (a lead is minus)", Power())

LAG_OR_LEAD = Skill("lag-or-lead", "telling a lag from a lead")
JUDGE_LAG = Skill("judge-lag", "holding a lag against the usual range")

DISTANCE_OFF_LAG = SlipName(
    "distance-off-lag",
    "took the target's distance off the lag",
    "Target and retinoscope stand together, so the lens alone is the lag. No distance comes off.",
    "Tassinari 2000, Optom Vis Sci 77:119 on how protocols differ",
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
    "AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85",
)
LEAD_AS_LAG = SlipName(
    "lead-judged-by-size",
    "judged a lead by its size",
    "Minus to neutralise is a lead, whatever its size: look again at the fixation and for too much minus worn.",
    "AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85",
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
    "The neutral point tells what the eye answers. The lag is by how much that falls short of the target.",
)

# --- the lag by lens ---------------------------------------------------------------------------------------------


def _card(known: Known, uid: str) -> Figure:
    lens = SphCyl(known["lens"]) if known["lens"] else None
    return near_card(target_cm=known["target_cm"], scope_cm=known["target_cm"], lens=lens, uid=uid)


def _draw_lag(chance: Chance, settings: Settings) -> dict[str, Any]:
    return {
        "lens": chance.stepped(0.25, 2) if settings.level == "novice" else chance.stepped(-0.75, 2),
        "target_cm": chance.among((33.0, 40.0, 40.0, 50.0)),
    }


def _lens_words(known: Known) -> tuple[str, ...]:
    with_what = (
        "no lens at all" if not known["lens"] else f"{signed(known['lens'])} DS held before the eye for a moment"
    )
    return (
        f"The patient wears the habitual correction and reads a card {write_distance(known['target_cm'])} from the "
        "eye. Your sight hole is level with the card.",
        f"The reflex is neutral with {with_what}.",
    )


def _no_distance(*more: Slip) -> Step:
    return Step(
        skills.NO_DISTANCE_DUE,
        run=lambda known: {"found": known["lens"]},
        says=lambda known: (
            f"The eye looks at the card, level with the sight hole: nothing comes off {signed(known['found'])}."
        ),
        slips=(
            Slip(
                DISTANCE_OFF_LAG,
                run=lambda known: {"found": known["lens"] - vergence(known["target_cm"])},
                says=lambda known: (
                    f"{size(vergence(known['target_cm']))} taken off for the distance: {signed(known['found'])}."
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
    findings=Group((Field("lens", "Sphere that neutralises at the plane of the target", Power()), TARGET)),
    asks=(LAG,),
    draw=_draw_lag,
    begin=lambda _: {},
    steps=(
        _no_distance(
            Slip(
                ONE_FIFTY_OFF_LAG,
                run=lambda known: {"found": known["lens"] - 1.5},
                says=lambda known: f"1.50 taken off: {signed(known['found'])}.",
                live=lambda known: abs(vergence(known["target_cm"]) - 1.5) > 0.02,
            )
        ),
        Step(
            LAG_OR_LEAD,
            run=lambda known: {"lag": known["found"]},
            says=lambda known: (
                f"Plus means that the eye falls short, minus that it goes too far: a "
                f"{'lead' if known['lag'] < 0 else 'lag'} of {size(known['lag'])} D."
            ),
            slips=(
                Slip(
                    LAG_SIGN_REVERSED,
                    run=lambda known: {"lag": -known["found"]},
                    says=lambda known: f"Taken the other way round: {signed(known['lag'])}.",
                    live=lambda known: known["found"] != 0,
                ),
            ),
        ),
    ),
    answer=lambda known: {"lag": known["lag"]},
    found=_lens_words,
    question=lambda _: "What is the lag of accommodation (a lead is minus)?",
    figure=_card,
    form=lambda _: None,
    needs=("next-lens", "net-sphere"),
    sources=("AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85", "Tassinari 2000, Optom Vis Sci 77:119"),
)

# --- what the eye answers, and whether that is usual -------------------------------------------------------------

READINGS = Choice(
    (
        Option("lead", "a lead: check fixation and what is worn"),
        Option("less", "less lag than is usual"),
        Option("usual", "within the usual range"),
        Option("more", "more lag than is usual"),
    )
)


def _short(lag: float) -> str:
    return "short of" if lag >= 0 else "beyond"


def _response_words(known: Known) -> str:
    demand, lag, response = known["demand"], known["found"], known["response"]
    digits = adding_up(response, demand, -lag)
    in_use = digits.result_size(response) if response >= 0 else digits.result(response)
    return f"Asked {digits.size(demand)}, and {digits.size(lag)} {_short(lag)} it: {in_use} D in use."


def _card_words(known: Known) -> str:
    asked, answered, lag = vergence(known["target_cm"]), vergence(known["neutral_cm"]), known["found"]
    digits = adding_up(lag, asked, -answered)
    return (
        f"The card asks for {digits.size(asked)} D; the eye answers {digits.size(answered)} D, where it is neutral: "
        f"{digits.result_size(lag)} {_short(lag)} what is asked."
    )


def _reading(lag: float, known: Known) -> str:
    if lag < 0:
        return "lead"
    if lag < known["usual_low"] - 1e-9:
        return "less"
    return "usual" if lag <= known["usual_high"] + 1e-9 else "more"


def _draw_response(chance: Chance, settings: Settings) -> dict[str, Any]:
    return {
        **_draw_lag(chance, settings),
        "usual_low": settings.norm("lag-usual-low"),
        "usual_high": settings.norm("lag-usual-high"),
    }


def _begin_response(findings: Known) -> dict[str, Any]:
    low, high = findings["usual_low"], findings["usual_high"]
    if low > high:
        raise BadFinding([low, high], "the usual range must begin below its end")
    return {}


near_response = CaseType(
    id="near-response",
    title="What the eye answers at near",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("lens", "Sphere that neutralises at the plane of the target", Power()),
            TARGET,
            Field("usual_low", "Usual lag, from", Power(low=-1.0, high=2.0), default=0.25),
            Field("usual_high", "Usual lag, to", Power(low=-1.0, high=3.0), default=0.75),
        )
    ),
    asks=(Field("response", "Accommodation in use", Power()), Field("reading", "What the lag says", READINGS)),
    draw=_draw_response,
    begin=_begin_response,
    steps=(
        _no_distance(),
        fixation_demand("target_cm"),
        Step(
            skills.ACCOMMODATIVE_RESPONSE,
            run=lambda known: {"response": known["demand"] - known["found"]},
            says=_response_words,
            slips=(
                Slip(
                    skills.LAG_ADDED,
                    run=lambda known: {"response": known["demand"] + known["found"]},
                    says=lambda known: f"Added to the demand: {signed(known['response'])} D.",
                    live=lambda known: known["found"] != 0,
                ),
            ),
        ),
        Step(
            JUDGE_LAG,
            run=lambda known: {"reading": _reading(known["found"], known)},
            says=lambda known: (
                f"The clinic's usual lag is {signed(known['usual_low'])} to {signed(known['usual_high'])}; "
                f"{signed(known['found'])} is {READINGS.write(known['reading'])}."
            ),
            slips=(
                Slip(
                    LEAD_AS_LAG,
                    run=lambda known: {"reading": _reading(abs(known["found"]), known)},
                    says=lambda known: f"{size(known['found'])} held against the range.",
                    live=lambda known: known["found"] < 0,
                ),
            ),
        ),
    ),
    answer=lambda known: {"response": known["response"], "reading": known["reading"]},
    found=lambda known: (
        *_lens_words(known),
        "That correction leaves nothing wanting for far.",
        f"The clinic takes a lag of {signed(known['usual_low'])} to {signed(known['usual_high'])} D as usual.",
    ),
    question=lambda _: "How much accommodation is in use, and what do you make of the lag?",
    figure=_card,
    form=lambda _: None,
    needs=("lag-lens",),
    sources=("AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85 (range; texts differ)",),
)

# --- the lag by moving back --------------------------------------------------------------------------------------


def _draw_move_back(chance: Chance, settings: Settings) -> dict[str, Any]:
    target = chance.among((33.0, 40.0, 40.0, 50.0))
    lead = settings.level == "expert" and chance.happens(0.2)
    return {
        "target_cm": target,
        "neutral_cm": target - chance.whole(3, 8) if lead else target + chance.whole(4, 30),
    }


def _lag_by(words: str, lag: Callable[[Known], float], name: SlipName, live: Callable[[Known], bool] = always) -> Slip:
    return Slip(
        name,
        run=lambda known: {"found": lag(known)},
        says=lambda known: f"{words}: {signed(known['found'])}.",
        live=live,
    )


lag_move_back = CaseType(
    id="lag-move-back",
    title="Lag at near, by moving back",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            Field("target_cm", "Eye to the card that the patient reads", Distance()),
            Field("neutral_cm", "Eye to the sight hole at neutral", Distance()),
        )
    ),
    asks=(Field("lag", "Lag (a lead is minus)", Power(exact=0.03, tolerance=0.06)),),
    draw=_draw_move_back,
    begin=lambda _: {},
    steps=(
        Step(
            skills.COMPARE_DISTANCES,
            run=lambda known: {"found": vergence(known["target_cm"]) - vergence(known["neutral_cm"])},
            says=_card_words,
            slips=(
                _lag_by(
                    "The centimetres between, as dioptres",
                    lambda known: (known["neutral_cm"] - known["target_cm"]) / 100,
                    skills.DRIFT_BY_CENTIMETRES,
                ),
                _lag_by(
                    "One over the metres between",
                    lambda known: 100 / (known["neutral_cm"] - known["target_cm"]),
                    GAP_INVERTED,
                    # Distances are measured to a millimetre: nobody inverts less.
                    live=lambda known: abs(known["neutral_cm"] - known["target_cm"]) > 0.09,
                ),
                _lag_by(
                    "The neutral point less the target",
                    lambda known: vergence(known["neutral_cm"]) - vergence(known["target_cm"]),
                    MOVE_BACK_REVERSED,
                ),
                _lag_by("The neutral point alone", lambda known: vergence(known["neutral_cm"]), ANSWER_AS_LAG),
            ),
        ),
        Step(
            skills.NO_DISTANCE_DUE,
            run=lambda known: {"lag": known["found"]},
            says=lambda known: (
                f"No lens was used and the patient looks at the card, so nothing comes off: a "
                f"{'lead' if known['lag'] < 0 else 'lag'} of {size(known['lag'])} D."
            ),
            slips=(
                Slip(
                    DISTANCE_OFF_LAG,
                    run=lambda known: {"lag": known["found"] - vergence(known["neutral_cm"])},
                    says=lambda known: f"{size(vergence(known['neutral_cm']))} taken off: {signed(known['lag'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"lag": known["lag"]},
    found=lambda known: (
        f"The patient wears the habitual correction and reads a card {write_distance(known['target_cm'])} from the "
        "eye.",
        f"With no lens added you move until the reflex is neutral: your sight hole is then "
        f"{write_distance(known['neutral_cm'])} from the eye.",
    ),
    question=lambda _: "What is the lag of accommodation, to 0.01 D (a lead is minus)?",
    figure=lambda known, uid: near_card(target_cm=known["target_cm"], scope_cm=known["neutral_cm"], uid=uid),
    form=lambda _: None,
    needs=("lag-lens",),
    sources=("AlMubrad & Ogbuehi 2006, Arch Med Sci 2:85", "PMC3292355 (move-back lag in children)"),
)

TYPES = (lag_lens, near_response, lag_move_back)
