"""Family E, sighting: how far off the gaze the sight hole stands, and which eye looks at which."""

from __future__ import annotations

from typing import Literal, cast

from cases.curriculum.drawn_eyes import first_fitting
from cases.curriculum.sighting import FAMILY
from cases.curriculum.steps import DISTANCE, pick_any_distance
from cases.figures.lines_of_sight import sighting_plan
from cases.figures.seats import before_other_eye
from cases.notation.prescription import write_distance
from cases.notation.sums import about, three_figures
from cases.optics.sighting import offset_angle
from cases.patients.patient import Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, Step, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

EYES = Choice(
    (
        Option("right", "right eye", "the patient's right eye is to be measured"),
        Option("left", "left eye", "the patient's left eye is to be measured"),
    )
)
OTHER = {"right": "left", "left": "right"}

EYE_FOR_EYE = Skill("eye-for-eye", "choosing the eye to look with")
SIDE_TO_MOVE = Skill("side-to-move", "knowing which way to move in front of the patient")
FIND_OFFSET = Skill("find-offset", "finding how far the sight hole is from the line of gaze")
OFFSET_OVER_DISTANCE = Skill("offset-over-distance", "setting the offset against the distance")
RATIO_TO_ANGLE = Skill("ratio-to-angle", "turning offset over distance into an angle")

EYE_ACROSS = SlipName(
    "eye-across",
    "chose the eye that faces it, as in a mirror",
    "Your right eye for the patient's right eye, your left for the left: then your head is to the side, and the other "
    "eye sees the chart past it. With the eye that faces it your head comes between that other eye and the chart.",
)
SIDES_MIRRORED = SlipName(
    "sides-mirrored",
    "took the patient's right for your own",
    "You face the patient, so the patient's right eye is on your left.",
)
HALF_PUPIL_DISTANCE = SlipName(
    "half-pupil-distance",
    "counted from the nose instead of from the other eye",
    "The sight hole is in front of the other eye, so the whole distance between the pupils counts, not half of it.",
)
OFFSET_UPSIDE_DOWN = SlipName(
    "offset-upside-down",
    "divided the distance by the offset",
    "The tangent of the angle is the offset over the distance, the small one over the large one.",
)
TWO_THIRDS_RULE = SlipName(
    "two-thirds-rule-elsewhere",
    "used the rule for two thirds of a metre at another distance",
    "About one degree for each 1.2 cm is true at 67 cm only. Nearer, the same offset is a wider angle.",
)
OFFSET_AS_ANGLE = SlipName(
    "offset-as-angle",
    "took the centimetres for degrees",
    "Turn the ratio into an angle: only near 57 cm is a centimetre a degree; at 67 cm a degree is about 1.2 cm.",
)
RATIO_AS_ANGLE = SlipName(
    "ratio-as-angle",
    "left the ratio as it was",
    "Offset over distance is the tangent. Turn it into degrees: for small angles multiply it by 57.3.",
)
PERCENT_AS_ANGLE = SlipName(
    "percent-as-angle",
    "took centimetres to the metre for degrees",
    "Centimetres to the metre are prism dioptres. One of them is little more than half a degree.",
)

OFFSET_OR_PERCENT: Pair = (
    SlipRef(RATIO_TO_ANGLE.id, OFFSET_AS_ANGLE.id),
    SlipRef(RATIO_TO_ANGLE.id, PERCENT_AS_ANGLE.id),
)
"""At one metre, centimetres and centimetres to the metre are the same number; any other distance parts them."""

DEGREE_PER_CENTIMETRE_CM = 57.3
"""At this distance a centimetre is a degree, so taking one for the other is no slip."""


# --- the angle ---------------------------------------------------------------------------------------------------

OFFSET = Field("offset_cm", "Sight hole to the patient's line of gaze", quantities.HEIGHT.having(low=0.0, high=60))
ANGLE = Field("angle", "Degrees off the visual axis", quantities.ANGLE)
RATIO = Key[float]("ratio")


def _nearly(ratio: float, offset_cm: float, distance_cm: float) -> str:
    return about(round(ratio, 3), float(three_figures(offset_cm)) / distance_cm, 3)


@given(OFFSET, DISTANCE, RATIO)
def _ratio_words(offset_cm: float, distance_cm: float, ratio: float) -> str:
    return (
        f"{three_figures(offset_cm)} cm off at {write_distance(distance_cm)} is "
        f"{three_figures(offset_cm)} ÷ {distance_cm:g} = {_nearly(ratio, offset_cm, distance_cm)}{ratio:.3f}."
    )


@given(DISTANCE, OFFSET, RATIO)
def _turned_over(distance_cm: float, offset_cm: float, ratio: float) -> str:
    nearly = about(round(ratio, 2), distance_cm / float(three_figures(offset_cm)), 2)
    return f"{distance_cm:g} ÷ {three_figures(offset_cm)} = {nearly}{ratio:.2f} taken."


def angle_steps(*more: Slip[float]) -> tuple[Step, Step]:
    """Build the steps from `offset_cm` and `distance_cm` to `ratio` and `angle` in degrees; `more` slips the ratio."""
    return (
        RATIO.step(
            OFFSET_OVER_DISTANCE,
            run=given(OFFSET, DISTANCE)(lambda offset_cm, distance_cm: offset_cm / distance_cm),
            says=_ratio_words,
            slips=(
                Slip(
                    OFFSET_UPSIDE_DOWN,
                    run=given(DISTANCE, OFFSET)(lambda distance_cm, offset_cm: distance_cm / offset_cm),
                    says=_turned_over,
                ),
                *more,
            ),
        ),
        ANGLE.step(
            RATIO_TO_ANGLE,
            run=given(RATIO, DISTANCE)(
                lambda ratio, distance_cm: offset_angle(offset_cm=ratio * distance_cm, distance_cm=distance_cm)
            ),
            says=given(RATIO, ANGLE)(
                lambda ratio, angle: f"The angle whose tangent is {ratio:.3f} is {quantities.ANGLE.write(angle)}."
            ),
            slips=(
                Slip(
                    OFFSET_AS_ANGLE,
                    run=given(OFFSET)(lambda offset_cm: offset_cm),
                    says=given(OFFSET, ANGLE)(
                        lambda offset_cm, angle: f"{write_distance(offset_cm)} taken as {angle:.1f}°."
                    ),
                    live=given(DISTANCE)(lambda distance_cm: abs(distance_cm - DEGREE_PER_CENTIMETRE_CM) > 5),
                ),
                Slip(
                    RATIO_AS_ANGLE,
                    run=given(RATIO)(lambda ratio: ratio),
                    says=given(RATIO)(lambda ratio: f"{ratio:.3f} taken as the angle."),
                ),
                Slip(
                    PERCENT_AS_ANGLE,
                    run=given(RATIO)(lambda ratio: 100 * ratio),
                    says=given(RATIO, ANGLE)(
                        lambda ratio, angle: f"{100 * ratio:.1f} cm to the metre taken as {angle:.1f}°."
                    ),
                ),
            ),
        ),
    )


def pick_offset(chance: Chance, settings: Settings, *, widest: float = 14.0) -> float:
    """Draw how far the sight hole stands off the gaze, in cm: whole ones for a novice, else fifths."""
    return chance.stepped(2, widest, 1.0 if settings.level == "novice" else 0.2)


def _pick_pupils(chance: Chance, settings: Settings) -> float:
    """Draw a patient's distance between the pupils in cm, to the millimetre."""

    def fits(patient: Patient) -> float | None:
        return round(patient.pd_mm) / 10 if 4.2 <= patient.pd_mm / 10 <= 7.6 else None

    return first_fitting(chance, settings, fits) or chance.stepped(5.4, 7.2, 0.2)


sighting_angle = CaseType(
    id="sighting-angle",
    title="How far off the visual axis",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((OFFSET, DISTANCE)),
    asks=(ANGLE,),
    draw=lambda chance, settings: given(OFFSET, DISTANCE).to(
        pick_offset(chance, settings), pick_any_distance(chance, settings)
    ),
    steps=angle_steps(
        Slip(
            TWO_THIRDS_RULE,
            run=given(OFFSET)(lambda offset_cm: offset_cm / 67),
            says=given(OFFSET, RATIO)(
                lambda offset_cm, ratio: (
                    f"{three_figures(offset_cm)} ÷ 67 = {_nearly(ratio, offset_cm, 67)}{ratio:.3f}, as at two thirds "
                    "of a metre."
                )
            ),
            live=given(DISTANCE)(lambda distance_cm: abs(distance_cm - 67) > 4),
        )
    ),
    answer=as_found(ANGLE),
    found=given(OFFSET, DISTANCE)(
        lambda offset_cm, distance_cm: (
            f"The sight hole is {write_distance(offset_cm)} to the side of the patient's line of gaze.",
            f"Sight hole {write_distance(distance_cm)} from the pupil, along the gaze.",
        )
    ),
    question=asking("By how many degrees, to 0.1°, is your line of sight off the visual axis?"),
    figure=given(OFFSET, DISTANCE).drawing(
        lambda uid, offset_cm, distance_cm: sighting_plan(offset_cm=offset_cm, distance_cm=distance_cm, uid=uid)
    ),
    needs=("distance-vergence",),
    twins=(OFFSET_OR_PERCENT,),
    probes=(Probe(OFFSET_OR_PERCENT, "sighting-angle"),),
    sources=("computed", "eye-2011", "mohd-nor"),
)

# --- which eye with which eye ------------------------------------------------------------------------------------

SIDES = Choice(
    (
        Option(
            "your-left",
            "to your left",
            "the eye to be measured is on the side of your left, as the patient's right eye is",
        ),
        Option(
            "your-right",
            "to your right",
            "the eye to be measured is on the side of your right, as the patient's left eye is",
        ),
    )
)
_SIDE_OF = {"right": "your-left", "left": "your-right"}
_OPPOSITE = {"your-left": "your-right", "your-right": "your-left"}

PATIENT_EYE = Field("patient_eye", "Eye to be measured", EYES)
PUPILS = Field("pupils_cm", "Distance between the pupils", quantities.HEIGHT.having(low=4.0, high=8.5))
OWN_EYE = Field("own_eye", "Your own eye to look with", EYES)
MOVE = Field("move", "Which way you move", SIDES)
ANGLE_BEFORE = Field("angle", "Degrees off the visual axis before you move", quantities.ANGLE)

eye_for_eye = CaseType(
    id="eye-for-eye",
    title="Which eye with which eye",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((PATIENT_EYE, PUPILS, DISTANCE)),
    asks=(OWN_EYE, MOVE, ANGLE_BEFORE),
    draw=lambda chance, settings: given(PATIENT_EYE, PUPILS, DISTANCE).to(
        chance.among(("right", "left")), _pick_pupils(chance, settings), pick_any_distance(chance, settings)
    ),
    steps=(
        OWN_EYE.step(
            EYE_FOR_EYE,
            run=given(PATIENT_EYE)(lambda patient_eye: patient_eye),
            says=given(OWN_EYE, PATIENT_EYE)(
                lambda own_eye, patient_eye: (
                    f"Your {own_eye} eye for the patient's {patient_eye} eye, so that your head leaves the "
                    "other eye its view of the chart."
                )
            ),
            slips=(
                Slip(
                    EYE_ACROSS,
                    run=given(PATIENT_EYE)(lambda patient_eye: OTHER[patient_eye]),
                    says=given(OWN_EYE)(lambda own_eye: f"Your {own_eye} eye, which faces it."),
                ),
            ),
        ),
        MOVE.step(
            SIDE_TO_MOVE,
            run=given(PATIENT_EYE)(lambda patient_eye: _SIDE_OF[patient_eye]),
            says=given(PATIENT_EYE, MOVE)(
                lambda patient_eye, move: (
                    f"You face each other, so the patient's {patient_eye} eye is on the side of your "
                    f"{'left' if patient_eye == 'right' else 'right'}: move {SIDES.write(move)}."
                )
            ),
            slips=(
                Slip(
                    SIDES_MIRRORED,
                    run=given(PATIENT_EYE)(lambda patient_eye: _OPPOSITE[_SIDE_OF[patient_eye]]),
                    says=given(MOVE)(lambda move: f"Moved {SIDES.write(move)}, as if the patient's sides were yours."),
                ),
            ),
        ),
        OFFSET.step(
            FIND_OFFSET,
            run=given(PUPILS)(lambda pupils_cm: pupils_cm),
            says=given(OFFSET)(
                lambda offset_cm: (
                    f"From in front of one eye to in front of the other is the distance between the pupils, "
                    f"{write_distance(offset_cm)}."
                )
            ),
            slips=(
                Slip(
                    HALF_PUPIL_DISTANCE,
                    run=given(PUPILS)(lambda pupils_cm: pupils_cm / 2),
                    says=given(OFFSET)(lambda offset_cm: f"Counted from the nose: {write_distance(offset_cm)}."),
                ),
            ),
        ),
        *angle_steps(),
    ),
    answer=as_found(OWN_EYE, MOVE, ANGLE_BEFORE),
    found=given(PATIENT_EYE, DISTANCE, PUPILS)(
        lambda patient_eye, distance_cm, pupils_cm: (
            f"The patient's {patient_eye} eye is to be measured; both eyes look straight ahead at the chart.",
            f"Your sight hole is in front of the patient's {OTHER[patient_eye]} eye, {write_distance(distance_cm)} "
            "away.",
            f"The pupils are {write_distance(pupils_cm)} apart.",
        )
    ),
    question=asking(
        "Which of your own eyes should look, which way do you move, and how many degrees off the visual axis of the "
        "eye to be measured are you now?"
    ),
    figure=given(PATIENT_EYE, PUPILS, DISTANCE).drawing(
        lambda uid, patient_eye, pupils_cm, distance_cm: before_other_eye(
            cast("Literal['right', 'left']", patient_eye), pupils_cm=pupils_cm, distance_cm=distance_cm, uid=uid
        )
    ),
    needs=("sighting-angle",),
    twins=(OFFSET_OR_PERCENT,),
    probes=(Probe(OFFSET_OR_PERCENT, "sighting-angle"),),
    errors={"pupils_cm": 0.2, "distance_cm": 1.0},
    sources=("eye-2011", "common-practice"),
)

TYPES = (sighting_angle, eye_for_eye)
