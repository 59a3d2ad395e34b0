"""Family E, two other eyes: whether the patient's other eye is fogged, and how sharp the examiner's own eye sees."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.drawn_eyes import Sought, first_fitting, patient_sphere
from cases.curriculum.movements import MOVEMENTS, OPPOSITE, clear_of_zone, movement_for
from cases.curriculum.shared_keys import LEFT
from cases.curriculum.sighting import FAMILY
from cases.curriculum.steps import (
    DISTANCE,
    VERGENCE,
    distance_in_dioptres,
    pick_any_distance,
    pick_distance,
    signed,
    size,
)
from cases.evidence.thresholds import Threshold
from cases.figures.distances import distance_ruler
from cases.figures.lenses import trial_frame
from cases.notation.prescription import write_distance, write_prescription
from cases.notation.sums import added, adding_up, less
from cases.optics.lens import SphCyl
from cases.optics.vergence import working_vergence
from cases.patients.patient import Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

FIND_FOG = Skill("find-fog", "finding by how much an eye is fogged")
JUDGE_FOG = Skill("judge-fog", "judging whether an eye is fogged enough")
OWN_ERROR = Skill("own-error", "counting your own uncorrected error")
USABLE_ACCOMMODATION = Skill("usable-accommodation", "counting the accommodation that you can sustain")
LACKING_AT_SIGHT_HOLE = Skill("lacking-at-sight-hole", "finding what your own eye lacks at the sight hole")
JUDGE_VIEW = Skill("judge-view", "judging how sharp you see the reflex")

FOG_REVERSED = SlipName(
    "fog-reversed",
    "took the lens off the eye's power instead of the eye's power off the lens",
    "Fog is what the lens has over: lens less correction. Plus is fogged, minus can be overcome by accommodating.",
)
LENS_AS_FOG = SlipName(
    "lens-as-fog",
    "took the lens itself for the fog",
    "A hyperope's plus lens may only correct the eye. Fog is what the lens has over the eye's own correction.",
)
ANY_FOG_ENOUGH = SlipName(
    "any-fog-enough",
    "took any fog for enough",
    "A little fog is within reach of a small mistake or a small effort. Compare it with the fog that your clinic asks "
    "for.",
)
OWN_ERROR_REVERSED = SlipName(
    "own-error-reversed",
    "gave your own error the wrong sign",
    "An uncorrected hyperope needs more plus to see the pupil, an uncorrected myope less.",
)
OWN_ERROR_LEFT_OUT = SlipName(
    "own-error-left-out",
    "left your own error out",
    "What your distance correction lacks comes on top of what the working distance asks for.",
)
WHOLE_AMPLITUDE = SlipName(
    "whole-amplitude-held",
    "counted on the whole amplitude",
    "Nobody can use the whole amplitude for long: count the half that stays comfortable.",
)
ACCOMMODATION_LEFT_OUT = SlipName(
    "own-accommodation-left-out",
    "left your own accommodation out",
    "The accommodation that you can sustain does part of the work, so you need only the rest.",
)
SPARE_AS_LACK = SlipName(
    "spare-as-lack",
    "took what you have to spare for what you lack",
    "Minus here means accommodation to spare: the view is sharp. Plus means that so much is lacking.",
)

# --- the patient's other eye -------------------------------------------------------------------------------------

FOG_STATES = Choice(
    (
        Option(
            "none",
            "not fogged: it can clear the chart by accommodating",
            "the lens has no plus over the eye's correction",
        ),
        Option(
            "little",
            "fogged, but less than the clinic asks for",
            "the lens has plus over the correction, but less than the clinic asks for",
        ),
        Option(
            "enough", "fogged enough", "the lens has as much plus over the correction as the clinic asks for, or more"
        ),
    )
)
DEPTH_OF_FOCUS = 0.25
"""Blur in D that may go unnoticed: common practice, no published source."""
SMALL_BLUR = 0.5
"""So little blur in D is still called sharp by some, who are credited: common practice, no published source."""
_HARDLY = 0.12
"""So little fog, or so little lacking, in D, is none: half a trial-lens step."""

IGNORED_OR_SWAPPED: Pair = (
    SlipRef(skills.POWER_LEFT.id, skills.DISTANCE_IGNORED.id),
    SlipRef(skills.POWER_TO_MOVEMENT.id, skills.MOVEMENT_SWAPPED.id),
)
"""With less fog than the distance is worth both turn the movement round; with more, only one of them can."""

EYE = Field("eye", "Correction of the other eye, a sphere", quantities.POWER)
LENS = Field("lens", "Lens before the other eye", quantities.POWER)
LEAST = Field(
    "least", "Fog that the clinic asks for at least", quantities.SIZE.having(low=0.25, high=3.0), default=0.75
)
FOG = Field("fog", "Fog of the other eye", quantities.POWER)
STATE = Field("state", "Is it fogged enough?", FOG_STATES)
MOVEMENT = Field("movement", "Movement that you would see in it", MOVEMENTS)


def _state(fog: float, least: float) -> str:
    if fog <= _HARDLY:
        return "none"
    return "enough" if fog >= least - 1e-9 else "little"


@given(LENS, EYE, FOG)
def _fog_words(lens: float, eye: float, fog: float) -> str:
    digits = adding_up(fog, lens, -eye)
    return f"The lens {digits.signed(lens)} less the correction {digits.signed(eye)} is {digits.result(fog)} over."


def _draw_fogged(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = patient_sphere(chance, settings, -4, 4)
    return given(EYE, LENS, DISTANCE, LEAST).to(
        eye, eye + chance.stepped(-1, 3), pick_distance(chance, settings), settings.norm("fog-least")
    )


other_eye_fogged = CaseType(
    id="other-eye-fogged",
    title="Is the other eye fogged?",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((EYE, LENS, DISTANCE, LEAST)),
    asks=(FOG, STATE, MOVEMENT),
    draw=_draw_fogged,
    undisputed=given(LEFT)(clear_of_zone),
    steps=(
        FOG.step(
            FIND_FOG,
            run=given(LENS, EYE)(lambda lens, eye: lens - eye),
            says=_fog_words,
            slips=(
                Slip(
                    FOG_REVERSED,
                    run=given(EYE, LENS)(lambda eye, lens: eye - lens),
                    says=given(FOG)(lambda fog: f"Correction less lens: {signed(fog)}."),
                ),
                Slip(
                    LENS_AS_FOG,
                    run=given(LENS)(lambda lens: lens),
                    says=given(FOG)(lambda fog: f"The lens taken as the fog: {signed(fog)}."),
                    live=given(EYE)(lambda eye: abs(eye) > _HARDLY),
                ),
            ),
        ),
        STATE.step(
            JUDGE_FOG,
            run=given(FOG, LEAST)(_state),
            says=given(LEAST, FOG, STATE)(
                lambda least, fog, state: (
                    f"The clinic asks for {signed(least)}; {signed(fog)} is {FOG_STATES.write(state)}."
                )
            ),
            slips=(
                Slip(
                    ANY_FOG_ENOUGH,
                    run=given()(lambda: "enough"),
                    says=given(FOG)(lambda fog: f"{signed(fog)} taken as enough."),
                    live=given(FOG, LEAST)(lambda fog, least: _state(fog, least) == "little"),
                ),
            ),
        ),
        LEFT.step(
            skills.POWER_LEFT,
            run=given(DISTANCE, FOG)(lambda distance_cm, fog: working_vergence(distance_cm) - fog),
            says=given(DISTANCE, LEFT)(
                lambda distance_cm, left: (
                    f"At {write_distance(distance_cm)} neutral needs {size(working_vergence(distance_cm))} over. "
                    f"Still to add: {signed(left)}."
                )
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=given(FOG)(lambda fog: -fog),
                    says=given(LEFT)(lambda left: f"Compared with zero, still to add: {signed(left)}."),
                    live=given(FOG, DISTANCE)(
                        lambda fog, distance_cm: movement_for(-fog) != movement_for(working_vergence(distance_cm) - fog)
                    ),
                ),
            ),
        ),
        MOVEMENT.step(
            skills.POWER_TO_MOVEMENT,
            run=given(LEFT)(movement_for),
            says=given(MOVEMENT)(
                lambda movement: (
                    f"Plus still wanted is with, minus is against: {movement}. Against means fogged by more than "
                    "the distance is worth."
                )
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(LEFT)(lambda left: OPPOSITE[movement_for(left)]),
                    says=given(MOVEMENT)(lambda movement: f"The other way round: {movement}."),
                    live=given(LEFT)(lambda left: movement_for(left) != "neutral"),
                ),
            ),
        ),
    ),
    answer=as_found(FOG, STATE, MOVEMENT),
    found=given(EYE, LENS, LEAST, DISTANCE)(
        lambda eye, lens, least, distance_cm: (
            f"The other eye, the one that you are not measuring, needs {write_prescription(SphCyl(eye))} for the "
            "far chart.",
            f"Before it stands {write_prescription(SphCyl(lens))}.",
            f"The clinic asks for a fog of {signed(least)} D or more.",
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
        )
    ),
    question=asking(
        "By how much is the other eye fogged (minus: not at all, it must accommodate), is that enough, and which "
        "movement would you see if you swept across it?"
    ),
    figure=given(LENS, DISTANCE).drawing(
        lambda uid, lens, distance_cm: trial_frame(
            (SphCyl(lens),), uid=uid, notes={0: "other eye"}, distance_cm=distance_cm
        )
    ),
    needs=("predict-movement",),
    twins=(IGNORED_OR_SWAPPED,),
    probes=(Probe(IGNORED_OR_SWAPPED, "other-eye-fogged"),),
    errors={LENS.name: 0.12, EYE.name: 0.12, DISTANCE.name: 1.0},
    sources=("computed", "common-practice"),
)

# --- the examiner's own eye --------------------------------------------------------------------------------------

HELD = Choice((Option("half", "half"), Option("whole", "all")))
VIEWS = Choice(
    (
        Option(
            "sharp", "sharp, with nothing added", "the accommodation that you can sustain covers what the pupil demands"
        ),
        Option(
            "plus", "blurred: a plus lens before your own eye clears it", "the pupil demands more than you can sustain"
        ),
        Option(
            "minus",
            "blurred: a minus lens before your own eye clears it",
            "your own eye is too strong for that distance already: accommodation cannot weaken it",
        ),
    )
)

AMPLITUDE = Field("amplitude", "Your amplitude of accommodation", quantities.SIZE.having(high=15.0))
UNCORRECTED = Field(
    "uncorrected", "What your distance correction lacks", quantities.POWER.having(low=-20.0, high=20.0), default=0.0
)
COUNTED_ON = Field("held", "How much of an amplitude is counted on", HELD, default="half")
LACKING = Field("lacking", "Plus lacking before your own eye (minus: to spare, or too strong)", quantities.POWER)
VIEW = Field("view", "How you see the pupil", VIEWS)
NEED = Key[float]("need", unit="D")
USABLE = Key[float]("usable", unit="D")


@given(NEED)
def _too_strong(need: float) -> bool:
    # Accommodation only adds plus, so it cannot help an eye that is too strong for the distance already.
    return need < -_HARDLY


@given(_too_strong, NEED, USABLE)
def _lacking(too_strong: bool, need: float, usable: float) -> float:
    """Return what is lacking beyond the usable accommodation (minus: to spare); of too strong an eye, by how much.

    An eye that asks for nothing has all of its accommodation to spare, as one that asks for a little has most of it.
    """
    return need if too_strong else max(need, 0.0) - usable


@given(_too_strong, LACKING)
def _view(too_strong: bool, lacking: float) -> str:
    if too_strong:
        return "minus"
    return "plus" if lacking > _HARDLY else "sharp"


@given(_too_strong, LACKING)
def _clearly_seen(too_strong: bool, lacking: float) -> bool:
    """Leave out a blur of a quarter dioptre, which one calls sharp and another blurred (depth of focus)."""
    return abs(lacking) > DEPTH_OF_FOCUS + 1e-9 if too_strong or lacking > 0 else True


@given(VIEW, LACKING)
def _defensible(view: str, lacking: float) -> tuple[Defensible, ...]:
    """Credit a sharp view of what is little out of focus; common practice, no published source."""
    if view == "sharp" or abs(lacking) > SMALL_BLUR + 1e-9:
        return ()
    because = f"A blur of {size(abs(lacking))} D is within what many eyes, behind a small sight hole, still see sharp."
    return (
        Defensible(
            VIEW.to("sharp"), 0.5, because, "Hold the lens before your own eye and see whether the edge gets sharper."
        ),
    )


def _draw_examiner(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw an examiner of working age, with what that age accommodates and what old spectacles, or none, lack."""
    held = settings.norm("usable-amplitude-share")
    most = 5 if settings.level == "expert" else 4
    side = chance.among(("right", "left"))
    worn = chance.happens(0.5)

    def fits(examiner: Patient) -> tuple[float, float] | None:
        eye = examiner.right if side == "right" else examiner.left
        amplitude = round(2 * examiner.amplitude_d) / 2
        if amplitude > most:
            return None
        if settings.level == "novice":
            return amplitude, 0.0
        # Without drops the latent plus is made up for all the time and is not missed.
        lens = eye.habitual_rx.spherical_equivalent if worn and eye.habitual_rx is not None else 0.0
        uncorrected = round(4 * (eye.M - eye.latent_d - lens)) / 4 + 0.0
        return (amplitude, uncorrected) if uncorrected and -2.5 <= uncorrected <= 1.5 else None

    amplitude, uncorrected = first_fitting(chance, settings, fits, EXAMINERS) or (
        chance.stepped(0, most, 0.5),
        0.0 if settings.level == "novice" else chance.stepped(-2.5, 1.5),
    )
    return given(AMPLITUDE, UNCORRECTED, DISTANCE, COUNTED_ON).to(
        amplitude, uncorrected, pick_any_distance(chance, settings), "half" if held < 0.75 else "whole"
    )


EXAMINERS = Sought((28.0, 70.0))
"""Ages in years at which an examiner may not see the pupil clearly: ours."""


@given(UNCORRECTED, NEED, VERGENCE)
def _own_error_words(uncorrected: float, need: float, vergence: float) -> str:
    if not uncorrected:
        return f"Your distance correction lacks nothing, so the pupil asks for {signed(need)}."
    return f"Your distance correction lacks {signed(uncorrected)}: {added(vergence, uncorrected, need)}."


@given(_too_strong, NEED, USABLE, LACKING)
def _lacking_words(too_strong: bool, need: float, usable: float, lacking: float) -> str:
    if too_strong:
        return f"Accommodating cannot take plus away: {signed(lacking)}."
    return f"{less(max(need, 0.0), usable, lacking)}."


examiner_blur = CaseType(
    id="examiner-blur",
    title="Your own view through the sight hole",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((AMPLITUDE, UNCORRECTED, DISTANCE, COUNTED_ON)),
    asks=(LACKING, VIEW),
    draw=_draw_examiner,
    undisputed=_clearly_seen,
    defensible=_defensible,
    steps=(
        distance_in_dioptres(),
        NEED.step(
            OWN_ERROR,
            run=given(VERGENCE, UNCORRECTED)(lambda vergence, uncorrected: vergence + uncorrected),
            says=_own_error_words,
            slips=(
                Slip(
                    OWN_ERROR_REVERSED,
                    run=given(VERGENCE, UNCORRECTED)(lambda vergence, uncorrected: vergence - uncorrected),
                    says=given(NEED)(lambda need: f"With the other sign: {signed(need)}."),
                    live=given(UNCORRECTED)(lambda uncorrected: uncorrected != 0),
                ),
                Slip(
                    OWN_ERROR_LEFT_OUT,
                    run=given(VERGENCE)(lambda vergence: vergence),
                    says=given(NEED)(lambda need: f"Your own error left out: {signed(need)}."),
                    live=given(UNCORRECTED)(lambda uncorrected: uncorrected != 0),
                ),
            ),
        ),
        USABLE.step(
            USABLE_ACCOMMODATION,
            run=given(AMPLITUDE, COUNTED_ON)(lambda amplitude, held: amplitude * (0.5 if held == "half" else 1)),
            says=given(AMPLITUDE, COUNTED_ON, USABLE)(
                lambda amplitude, held, usable: (
                    f"Of {size(amplitude)} D of accommodation {HELD.write(held)} is counted on: {size(usable)} D."
                )
            ),
            slips=(
                Slip(
                    WHOLE_AMPLITUDE,
                    run=given(AMPLITUDE)(lambda amplitude: amplitude),
                    says=given(USABLE)(lambda usable: f"All of the amplitude: {size(usable)} D."),
                    live=given(COUNTED_ON, AMPLITUDE, _too_strong)(
                        lambda held, amplitude, too_strong: held == "half" and amplitude > 0 and not too_strong
                    ),
                ),
            ),
        ),
        LACKING.step(
            LACKING_AT_SIGHT_HOLE,
            run=_lacking,
            says=_lacking_words,
            slips=(
                Slip(
                    ACCOMMODATION_LEFT_OUT,
                    run=given(NEED)(lambda need: need),
                    says=given(LACKING)(lambda lacking: f"Accommodation left out: {signed(lacking)}."),
                    live=given(USABLE, _too_strong)(lambda usable, too_strong: usable > 0 and not too_strong),
                ),
            ),
        ),
        VIEW.step(
            JUDGE_VIEW,
            run=_view,
            says=given(VIEW)(lambda view: f"So the pupil is {VIEWS.write(view)}."),
            slips=(
                Slip(
                    SPARE_AS_LACK,
                    run=given()(lambda: "plus"),
                    says=given(LACKING)(lambda lacking: f"{signed(lacking)} taken as lacking."),
                    live=given(_too_strong, LACKING)(lambda too_strong, lacking: not too_strong and lacking < -_HARDLY),
                ),
            ),
        ),
    ),
    answer=as_found(LACKING, VIEW),
    found=given(DISTANCE, AMPLITUDE, COUNTED_ON, UNCORRECTED)(
        lambda distance_cm, amplitude, held, uncorrected: (
            f"You sit with your sight hole {write_distance(distance_cm)} from the pupil that you look at.",
            f"Your amplitude of accommodation is {size(amplitude)} D, of which {HELD.write(held)} is "
            "counted on for steady work."
            if amplitude
            else "You have no accommodation left.",
            "You wear your full distance correction."
            if not uncorrected
            else f"With what you wear, your own eye still needs {signed(uncorrected)} DS for far.",
        )
    ),
    question=asking(
        "How much plus is lacking before your own eye to see that pupil sharp (minus: to spare, or too strong), and "
        "how do you see it?"
    ),
    figure=given(DISTANCE).drawing(lambda uid, distance_cm: distance_ruler(actual_cm=distance_cm, uid=uid)),
    needs=("distance-vergence",),
    errors={UNCORRECTED.name: 0.12, AMPLITUDE.name: 0.25, DISTANCE.name: 1.0},
    sources=("common-practice",),
)

THRESHOLDS = (
    Threshold(f"Fog or lack of plus up to {_HARDLY:.2f} D counts as none"),
    Threshold(f"A blur of up to {SMALL_BLUR:.2f} D of the examiner's own view is called sharp by some"),
)
TYPES = (other_eye_fogged, examiner_blur)
