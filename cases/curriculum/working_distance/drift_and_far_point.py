"""Family A, when the distance is not what it was thought to be, and when no lens is there: drifting, the far point."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.shared_keys import EYE, ONE_NET
from cases.curriculum.steps import COMMON_DISTANCES, VERGENCE, degrees, signed, size
from cases.curriculum.working_distance import FAMILY
from cases.figures.distances import distance_ruler
from cases.figures.distances import far_point as draw_far_point
from cases.notation.prescription import write_distance
from cases.notation.sums import adding_up, less_signed
from cases.optics.axes import across
from cases.optics.vergence import near_a_metre, vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

CORRECT_FOR_DRIFT = Skill("correct-for-drift", "correcting what was written for the true distance")
FAR_POINT_SIGN = Skill("far-point-sign", "giving a far point its sign")

CORRECTED_WRONG_WAY = SlipName(
    "corrected-wrong-way",
    "added the error instead of taking it off",
    "The error is what was written less what is true, so take it off what was written.",
    ("mock-station",),
)
NOT_CORRECTED = SlipName(
    "drift-not-corrected",
    "left the written result as it was",
    "The error was found but not taken out of the result.",
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


DISTANCE_CM = Key[float]("distance_cm", unit="cm")


def _draw_drift(chance: Chance, settings: Settings) -> dict[str, Any]:
    assumed = settings.distance_cm if settings.fixed_distance else chance.among(COMMON_DISTANCES)
    return given(WRITTEN, ASSUMED, ACTUAL).to(
        chance.stepped(-6, 6), assumed, assumed + chance.among((-1, 1)) * chance.whole(3, 15)
    )


ASSUMED = Field("assumed_cm", "Distance that was allowed for", quantities.DISTANCE)
ACTUAL = Field("actual_cm", "Distance that it really was", quantities.DISTANCE)
ERROR = Field("error", "Error in what was written", quantities.POWER.having(exact=0.03, tolerance=0.06))


@given(ERROR, ACTUAL, ASSUMED)
def _drift_words(error_value: float, actual_cm: float, assumed_cm: float) -> str:
    error, actual, assumed = error_value, vergence(actual_cm), vergence(assumed_cm)
    digits = adding_up(error, actual, -assumed)
    told = (
        f"{write_distance(actual_cm)} is {digits.size(actual)} D and "
        f"{write_distance(assumed_cm)} is {digits.size(assumed)} D"
    )
    if abs(error) < 0.005:
        return f"{told}: the right amount came off."
    amount, side = ("little", "plus") if error > 0 else ("much", "minus")
    return (
        f"{told}: {digits.result_size(error)} D too {amount} came off, so the net is too {side}: "
        f"error {digits.signed(error)}."
    )


@given(ASSUMED, ACTUAL)
def _drift_by_centimetres(assumed_cm: float, actual_cm: float) -> float:
    return (assumed_cm - actual_cm) / 100


WRITTEN = Field("written", "Net sphere as written down", quantities.POWER)
CORRECTED = Field("corrected", "Net sphere put right", quantities.POWER)
distance_drift = CaseType(
    id="distance-drift",
    title="Nearer or farther than assumed",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            WRITTEN,
            ASSUMED,
            ACTUAL,
        )
    ),
    asks=(
        ERROR,
        CORRECTED,
    ),
    draw=_draw_drift,
    steps=(
        ERROR.step(
            skills.COMPARE_DISTANCES,
            run=given(ACTUAL, ASSUMED)(lambda actual_cm, assumed_cm: vergence(actual_cm) - vergence(assumed_cm)),
            says=_drift_words,
            slips=(
                Slip(
                    skills.DRIFT_REVERSED,
                    run=given(ASSUMED, ACTUAL)(
                        lambda assumed_cm, actual_cm: vergence(assumed_cm) - vergence(actual_cm)
                    ),
                    says=given(ERROR)(lambda error: f"Assumed less actual: {signed(error)}."),
                ),
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=_drift_by_centimetres,
                    says=given(ASSUMED, ACTUAL, ERROR)(
                        lambda assumed_cm, actual_cm, error: (
                            f"{abs(assumed_cm - actual_cm):g} cm taken as {signed(error)} D."
                        )
                    ),
                    live=given(ASSUMED, ACTUAL)(lambda assumed_cm, actual_cm: not near_a_metre(assumed_cm, actual_cm)),
                ),
                Slip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=given(ACTUAL)(lambda actual_cm: vergence(actual_cm) - 1.5),
                    says=given(ERROR)(lambda error: f"1.50 taken as what came off: error {signed(error)}."),
                    live=given(ASSUMED)(lambda assumed_cm: abs(vergence(assumed_cm) - 1.5) > 0.02),
                ),
            ),
        ),
        CORRECTED.step(
            CORRECT_FOR_DRIFT,
            run=given(WRITTEN, ERROR)(lambda written, error: written - error),
            says=given(WRITTEN, ERROR, CORRECTED)(
                lambda written, error, corrected: f"Take the error off: {less_signed(written, error, corrected)}."
            ),
            slips=(
                Slip(
                    CORRECTED_WRONG_WAY,
                    run=given(WRITTEN, ERROR)(lambda written, error: written + error),
                    says=given(CORRECTED)(lambda corrected: f"The error added: {signed(corrected)}."),
                ),
                Slip(
                    NOT_CORRECTED,
                    run=given(WRITTEN)(lambda written: written),
                    says=given(CORRECTED)(lambda corrected: f"Left at {signed(corrected)}."),
                ),
            ),
        ),
    ),
    answer=as_found(ERROR, CORRECTED),
    found=given(ASSUMED, WRITTEN, ACTUAL)(
        lambda assumed_cm, written, actual_cm: (
            f"{write_distance(assumed_cm)} was allowed for, and {signed(written)} D written as the net.",
            f"The sight hole was really {write_distance(actual_cm)} from the pupil.",
        )
    ),
    question=asking(
        "What is the error of the written net (plus: too plus), and what should the net be? "
        "Use the exact dioptres, to 0.01."
    ),
    figure=given(ACTUAL, ASSUMED).drawing(
        lambda uid, actual_cm, assumed_cm: distance_ruler(actual_cm=actual_cm, assumed_cm=assumed_cm, uid=uid)
    ),
    needs=("net-sphere",),
    sources=("computed",),
)

# --- neutral with no lens at all ---------------------------------------------------------------------------------

NEUTRAL = Field("neutral_cm", "Distance at which it is neutral with no lens", quantities.DISTANCE)
STREAK = Field("streak", "Direction of the streak", quantities.MERIDIAN, default=180.0)
POWER = Field("power", "Power in that meridian", quantities.POWER)


def _draw_far_point(chance: Chance, settings: Settings) -> dict[str, Any]:
    step = {"novice": 10.0, "competent": 1.0, "expert": 0.5}[settings.level]
    return given(NEUTRAL, STREAK).to(chance.stepped(10, 90, step), chance.stepped(5, 180, 5))


far_point = CaseType(
    id="far-point",
    title="Neutral with no lens in place",
    family=FAMILY,
    level="competent",
    seconds=10,
    findings=Group((NEUTRAL, STREAK)),
    asks=(POWER,),
    draw=_draw_far_point,
    steps=(
        VERGENCE.step(
            skills.DISTANCE_IN_DIOPTRES,
            run=given(NEUTRAL)(lambda neutral_cm: vergence(neutral_cm)),
            says=given(NEUTRAL, VERGENCE)(
                lambda neutral_cm, vergence: (
                    f"{write_distance(neutral_cm)} is 100 ÷ {neutral_cm:g} = {size(vergence)} D."
                )
            ),
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=given(NEUTRAL)(lambda neutral_cm: neutral_cm / 100),
                    says=given(NEUTRAL, VERGENCE)(
                        lambda neutral_cm, vergence: f"{write_distance(neutral_cm)} taken as {size(vergence)} D."
                    ),
                ),
            ),
        ),
        EYE.step(
            FAR_POINT_SIGN,
            run=given(VERGENCE)(lambda vergence: -vergence),
            says=given(EYE)(lambda eye: f"The far point is in front of the eye, so a myope: {signed(eye)}."),
            slips=(
                Slip(
                    FAR_POINT_PLUS,
                    run=given(VERGENCE)(lambda vergence: vergence),
                    says=given(EYE)(lambda eye: f"Taken as plus: {signed(eye)}."),
                ),
            ),
        ),
        ONE_NET.step(
            skills.NO_DISTANCE_DUE,
            run=given(EYE)(lambda eye: eye),
            says=given(ONE_NET)(lambda net: f"No lens was in place, so nothing comes off: {signed(net)}."),
            slips=(
                Slip(
                    FAR_POINT_LESS_DISTANCE,
                    run=given(EYE)(lambda eye: eye - 1.5),
                    says=given(ONE_NET)(lambda net: f"The usual 1.50 taken off: {signed(net)}."),
                ),
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=given(EYE, NEUTRAL)(lambda eye, neutral_cm: eye - vergence(neutral_cm)),
                    says=given(ONE_NET)(lambda net: f"The neutral distance taken off again: {signed(net)}."),
                ),
            ),
        ),
    ),
    answer=POWER.by(given(ONE_NET)(lambda net: net)),
    found=given(NEUTRAL, STREAK)(
        lambda neutral_cm, streak: (
            f"The streak lies along {degrees(streak)}, and you sweep along {degrees(across(streak))}.",
            f"With no lens in place the reflex is neutral when the sight hole is {write_distance(neutral_cm)} "
            "from the pupil.",
        )
    ),
    question=given(STREAK)(lambda streak: f"What power, to 0.01 D, corrects the {degrees(across(streak))} meridian?"),
    figure=given(NEUTRAL).drawing(lambda uid, neutral_cm: draw_far_point(neutral_cm=neutral_cm, uid=uid)),
    needs=("net-sphere",),
    sources=("duane",),
)

TYPES = (distance_drift, far_point)
