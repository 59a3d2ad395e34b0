"""Family A, when the distance is not what it was thought to be, and when no lens is there: drifting, the far point."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.families.distance import FAMILY
from cases.fields import Field, Group
from cases.figures_distance import distance_ruler
from cases.figures_distance import far_point as draw_far_point
from cases.kinds import Distance, Power
from cases.notation import write_distance
from cases.steps import COMMON_DISTANCES, signed, size
from cases.sums import adding_up, less_signed
from cases.vergence import near_a_metre, vergence
from cases.working import Known, Skill, Slip, SlipName, Step

CORRECT_FOR_DRIFT = Skill("correct-for-drift", "correcting what was written for the true distance")
FAR_POINT_SIGN = Skill("far-point-sign", "giving a far point its sign")

CORRECTED_WRONG_WAY = SlipName(
    "corrected-wrong-way",
    "added the error instead of taking it off",
    "The error is what was written less what is true, so take it off what was written.",
    "a published mock examination station asks for this sign",
)
NOT_CORRECTED = SlipName(
    "drift-not-corrected",
    "left the written result as it was",
    "The error was found but the result still holds it.",
)
FAR_POINT_PLUS = SlipName(
    "far-point-plus",
    "gave a far point in front of the eye a plus sign",
    "A far point in front of the eye is a myope's: the lens that corrects it is minus.",
)
FAR_POINT_LESS_DISTANCE = SlipName(
    "distance-off-far-point",
    "took a working distance off though no lens was used",
    "No lens was in place, so the neutral distance is the answer. Nothing further comes off.",
)


# --- nearer or farther than was thought --------------------------------------------------------------------------


def _draw_drift(chance: Chance, settings: Settings) -> dict[str, Any]:
    assumed = settings.distance_cm if settings.fixed_distance else chance.among(COMMON_DISTANCES)
    return {
        "written": chance.stepped(-6, 6),
        "assumed_cm": assumed,
        "actual_cm": assumed + chance.among((-1, 1)) * chance.whole(3, 15),
    }


def _drift_words(known: Known) -> str:
    error, actual, assumed = known["error"], vergence(known["actual_cm"]), vergence(known["assumed_cm"])
    digits = adding_up(error, actual, -assumed)
    told = (
        f"{write_distance(known['actual_cm'])} is {digits.size(actual)} D and "
        f"{write_distance(known['assumed_cm'])} is {digits.size(assumed)} D"
    )
    if abs(error) < 0.005:
        return f"{told}: as much came off as was due."
    amount, side = ("little", "plus") if error > 0 else ("much", "minus")
    return (
        f"{told}: {digits.result_size(error)} D too {amount} came off, so the net is too {side}: "
        f"error {digits.signed(error)}."
    )


def _drift_by_centimetres(known: Known) -> dict[str, Any]:
    return {"error": (known["assumed_cm"] - known["actual_cm"]) / 100}


distance_drift = CaseType(
    id="distance-drift",
    title="Nearer or farther than assumed",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            Field("written", "Net sphere as written down", Power()),
            Field("assumed_cm", "Distance that was allowed for", Distance()),
            Field("actual_cm", "Distance that it really was", Distance()),
        )
    ),
    asks=(
        Field("error", "Error in what was written", Power(exact=0.03, tolerance=0.06)),
        Field("corrected", "Net sphere put right", Power()),
    ),
    draw=_draw_drift,
    begin=lambda _: {},
    steps=(
        Step(
            skills.COMPARE_DISTANCES,
            run=lambda known: {"error": vergence(known["actual_cm"]) - vergence(known["assumed_cm"])},
            says=_drift_words,
            slips=(
                Slip(
                    skills.DRIFT_REVERSED,
                    run=lambda known: {"error": vergence(known["assumed_cm"]) - vergence(known["actual_cm"])},
                    says=lambda known: f"Assumed less actual: {signed(known['error'])}.",
                ),
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=_drift_by_centimetres,
                    says=lambda known: (
                        f"{abs(known['assumed_cm'] - known['actual_cm']):g} cm taken as {signed(known['error'])} D."
                    ),
                    live=lambda known: not near_a_metre(known["assumed_cm"], known["actual_cm"]),
                ),
                Slip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=lambda known: {"error": vergence(known["actual_cm"]) - 1.5},
                    says=lambda known: f"1.50 taken as what came off: error {signed(known['error'])}.",
                    live=lambda known: abs(vergence(known["assumed_cm"]) - 1.5) > 0.02,
                ),
            ),
        ),
        Step(
            CORRECT_FOR_DRIFT,
            run=lambda known: {"corrected": known["written"] - known["error"]},
            says=lambda known: (
                f"Take the error off: {less_signed(known['written'], known['error'], known['corrected'])}."
            ),
            slips=(
                Slip(
                    CORRECTED_WRONG_WAY,
                    run=lambda known: {"corrected": known["written"] + known["error"]},
                    says=lambda known: f"The error added: {signed(known['corrected'])}.",
                ),
                Slip(
                    NOT_CORRECTED,
                    run=lambda known: {"corrected": known["written"]},
                    says=lambda known: f"Left at {signed(known['corrected'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"error": known["error"], "corrected": known["corrected"]},
    found=lambda known: (
        f"{write_distance(known['assumed_cm'])} was allowed for, and {signed(known['written'])} D written as the net.",
        f"The sight hole was really {write_distance(known['actual_cm'])} from the pupil.",
    ),
    question=lambda _: (
        "What error does the written net hold (plus: too plus), and what should it say? "
        "Use the exact dioptres, to 0.01."
    ),
    figure=lambda known, uid: distance_ruler(actual_cm=known["actual_cm"], assumed_cm=known["assumed_cm"], uid=uid),
    needs=("net-sphere",),
    sources=("Definition of vergence in air, ISO 13666; sign rule from memory, follows from net = gross − 1/d",),
)

# --- neutral with no lens at all ---------------------------------------------------------------------------------

far_point = CaseType(
    id="far-point",
    title="Neutral with no lens in place",
    family=FAMILY,
    level="competent",
    seconds=10,
    findings=Group((Field("neutral_cm", "Distance at which it is neutral with no lens", Distance()),)),
    asks=(Field("power", "Power in that meridian", Power()),),
    draw=lambda chance, settings: {
        "neutral_cm": float(chance.among((10, 20, 25, 40, 50) if settings.level == "novice" else range(10, 70, 5)))
    },
    begin=lambda findings: {"distance_cm": findings["neutral_cm"]},
    steps=(
        Step(
            skills.DISTANCE_IN_DIOPTRES,
            run=lambda known: {"vergence": vergence(known["neutral_cm"])},
            says=lambda known: (
                f"{write_distance(known['neutral_cm'])} is 100 ÷ {known['neutral_cm']:g} = {size(known['vergence'])} D."
            ),
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=lambda known: {"vergence": known["neutral_cm"] / 100},
                    says=lambda known: f"{write_distance(known['neutral_cm'])} taken as {size(known['vergence'])} D.",
                ),
            ),
        ),
        Step(
            FAR_POINT_SIGN,
            run=lambda known: {"eye": -known["vergence"]},
            says=lambda known: f"The far point is in front of the eye, so a myope: {signed(known['eye'])}.",
            slips=(
                Slip(
                    FAR_POINT_PLUS,
                    run=lambda known: {"eye": known["vergence"]},
                    says=lambda known: f"Taken as plus: {signed(known['eye'])}.",
                ),
            ),
        ),
        Step(
            skills.NO_DISTANCE_DUE,
            run=lambda known: {"net": known["eye"]},
            says=lambda known: f"No lens was in place, so nothing comes off: {signed(known['net'])}.",
            slips=(
                Slip(
                    FAR_POINT_LESS_DISTANCE,
                    run=lambda known: {"net": known["eye"] - 1.5},
                    says=lambda known: f"The usual 1.50 taken off: {signed(known['net'])}.",
                ),
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=lambda known: {"net": known["eye"] - vergence(known["neutral_cm"])},
                    says=lambda known: f"The neutral distance taken off again: {signed(known['net'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["net"]},
    found=lambda known: (
        f"With no lens in place the reflex is neutral when the sight hole is {write_distance(known['neutral_cm'])} "
        "from the pupil.",
    ),
    question=lambda _: "What power corrects this meridian?",
    figure=lambda known, uid: draw_far_point(neutral_cm=known["neutral_cm"], uid=uid),
    needs=("net-sphere",),
    sources=("Duane’s Clinical Ophthalmology ch. 37 (two methods)",),
)

TYPES = (distance_drift, far_point)
