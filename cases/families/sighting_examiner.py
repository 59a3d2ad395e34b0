"""Family E, two other eyes: whether the patient's other eye is fogged, and how sharp the examiner's own eye sees."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.sighting import FAMILY
from cases.fields import Field, Group
from cases.figures_distance import distance_ruler
from cases.figures_lenses import trial_frame
from cases.kinds import Power, Size
from cases.lens import SphCyl
from cases.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.notation import write_distance, write_prescription
from cases.steps import DISTANCE, distance_in_dioptres, pick_distance, signed, size
from cases.sums import added, adding_up, less
from cases.vergence import working_vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FIND_FOG = Skill("find-fog", "finding by how much an eye is fogged")
JUDGE_FOG = Skill("judge-fog", "judging whether an eye is fogged enough")
OWN_ERROR = Skill("own-error", "counting your own uncorrected error")
USABLE_ACCOMMODATION = Skill("usable-accommodation", "counting the accommodation that you can hold")
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
    "A little fog is within reach of a small mistake or a small effort. Hold it against what your clinic asks for.",
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
    "Nobody holds the whole amplitude for long: count the half that stays comfortable.",
)
ACCOMMODATION_LEFT_OUT = SlipName(
    "own-accommodation-left-out",
    "left your own accommodation out",
    "What you can hold in comfort does part of the work, so only the rest is lacking.",
)
SPARE_AS_LACK = SlipName(
    "spare-as-lack",
    "took what you have to spare for what you lack",
    "Minus here means accommodation to spare: the view is sharp. Plus means that so much is lacking.",
)

# --- the patient's other eye -------------------------------------------------------------------------------------

FOG_STATES = Choice(
    (
        Option("none", "not fogged: it can clear the chart by accommodating"),
        Option("little", "fogged, but less than the clinic asks for"),
        Option("enough", "fogged enough"),
    )
)
_HARDLY = 0.12
"""So little fog, or so little lacking, in D, is none: half a trial-lens step, as common practice has it."""

IGNORED_OR_SWAPPED: Pair = (
    SlipRef(skills.POWER_LEFT.id, skills.DISTANCE_IGNORED.id),
    SlipRef(skills.POWER_TO_MOVEMENT.id, skills.MOVEMENT_SWAPPED.id),
)
"""With less fog than the distance is worth both turn the movement round; with more, only one of them can."""


def _state(fog: float, least: float) -> str:
    if fog <= _HARDLY:
        return "none"
    return "enough" if fog >= least - 1e-9 else "little"


def _fog_words(known: Known) -> str:
    lens, eye, fog = known["lens"], known["eye"], known["fog"]
    digits = adding_up(fog, lens, -eye)
    return f"The lens {digits.signed(lens)} less the correction {digits.signed(eye)} is {digits.result(fog)} over."


def _draw_fogged(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = chance.stepped(-4, 4)
    return {
        "eye": eye,
        "lens": eye + chance.stepped(-1, 3),
        "distance_cm": pick_distance(chance, settings),
        "least": settings.norm("fog-least"),
    }


other_eye_fogged = CaseType(
    id="other-eye-fogged",
    title="Is the other eye fogged?",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            Field("eye", "Correction of the other eye, a sphere", Power()),
            Field("lens", "Lens before the other eye", Power()),
            DISTANCE,
            Field("least", "Fog that the clinic asks for at least", Size(low=0.25, high=3.0), default=0.75),
        )
    ),
    asks=(
        Field("fog", "Fog of the other eye", Power()),
        Field("state", "Is it fogged enough?", FOG_STATES),
        Field("movement", "Movement that you would see in it", MOVEMENTS),
    ),
    draw=_draw_fogged,
    begin=lambda _: {},
    steps=(
        Step(
            FIND_FOG,
            run=lambda known: {"fog": known["lens"] - known["eye"]},
            says=_fog_words,
            slips=(
                Slip(
                    FOG_REVERSED,
                    run=lambda known: {"fog": known["eye"] - known["lens"]},
                    says=lambda known: f"Correction less lens: {signed(known['fog'])}.",
                ),
                Slip(
                    LENS_AS_FOG,
                    run=lambda known: {"fog": known["lens"]},
                    says=lambda known: f"The lens taken as the fog: {signed(known['fog'])}.",
                    live=lambda known: abs(known["eye"]) > _HARDLY,
                ),
            ),
        ),
        Step(
            JUDGE_FOG,
            run=lambda known: {"state": _state(known["fog"], known["least"])},
            says=lambda known: (
                f"The clinic asks for {signed(known['least'])}; {signed(known['fog'])} is "
                f"{FOG_STATES.write(known['state'])}."
            ),
            slips=(
                Slip(
                    ANY_FOG_ENOUGH,
                    run=lambda _: {"state": "enough"},
                    says=lambda known: f"{signed(known['fog'])} taken as enough.",
                    live=lambda known: _state(known["fog"], known["least"]) == "little",
                ),
            ),
        ),
        Step(
            skills.POWER_LEFT,
            run=lambda known: {"left": working_vergence(known["distance_cm"]) - known["fog"]},
            says=lambda known: (
                f"At {write_distance(known['distance_cm'])} neutral wants "
                f"{size(working_vergence(known['distance_cm']))} over. Still to add: {signed(known['left'])}."
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=lambda known: {"left": -known["fog"]},
                    says=lambda known: f"Compared with zero, still to add: {signed(known['left'])}.",
                    live=lambda known: (
                        movement_for(-known["fog"])
                        != movement_for(working_vergence(known["distance_cm"]) - known["fog"])
                    ),
                ),
            ),
        ),
        Step(
            skills.POWER_TO_MOVEMENT,
            run=lambda known: {"movement": movement_for(known["left"])},
            says=lambda known: (
                f"Plus still wanted is with, minus is against: {known['movement']}. Against means fogged by more than "
                "the distance is worth."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"movement": OPPOSITE[movement_for(known["left"])]},
                    says=lambda known: f"The other way round: {known['movement']}.",
                    live=lambda known: movement_for(known["left"]) != "neutral",
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("fog", "state", "movement")},
    found=lambda known: (
        f"The other eye, the one that you are not measuring, needs {write_prescription(SphCyl(known['eye']))} for the "
        "far chart.",
        f"Before it stands {write_prescription(SphCyl(known['lens']))}.",
        f"The clinic wants it fogged by {signed(known['least'])} D or more.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
    ),
    question=lambda _: (
        "By how much is the other eye fogged (minus: not at all, it must accommodate), is that enough, and which "
        "movement would you see if you swept across it?"
    ),
    figure=lambda known, uid: trial_frame(
        (SphCyl(known["lens"]),), uid=uid, notes={0: "other eye"}, distance_cm=known["distance_cm"]
    ),
    form=lambda _: None,
    needs=("predict-movement",),
    twins=(IGNORED_OR_SWAPPED,),
    probes=(Probe(IGNORED_OR_SWAPPED, "other-eye-fogged"),),
    sources=("How much fog: common practice, no published source (about +0.75 to +1.50)", "Movement: optics"),
)

# --- the examiner's own eye --------------------------------------------------------------------------------------

HELD = Choice((Option("half", "half"), Option("whole", "all")))
VIEWS = Choice(
    (
        Option("sharp", "sharp, with nothing added"),
        Option("plus", "blurred: a plus lens before your own eye clears it"),
        Option("minus", "blurred: a minus lens before your own eye clears it"),
    )
)


def _not_too_strong(known: Known) -> bool:
    # Accommodation only adds plus, so it cannot help an eye that is too strong for the distance already.
    return bool(known["need"] >= -_HARDLY)


def _lacking(known: Known, usable: float) -> float:
    """Return what is lacking beyond the usable accommodation (minus: to spare); of too strong an eye, by how much.

    An eye that asks for nothing has all of its accommodation to spare, as one that asks for a little has most of it.
    """
    need = float(known["need"])
    return max(need, 0.0) - usable if _not_too_strong(known) else need


def _view(known: Known) -> str:
    if not _not_too_strong(known):
        return "minus"
    return "plus" if known["lacking"] > _HARDLY else "sharp"


def _draw_examiner(chance: Chance, settings: Settings) -> dict[str, Any]:
    held = settings.norm("usable-amplitude-share")
    return {
        "amplitude": chance.stepped(0, 5 if settings.level == "expert" else 4, 0.5),
        "uncorrected": 0.0 if settings.level == "novice" else chance.stepped(-2.5, 1.5, 0.25),
        "distance_cm": pick_distance(chance, settings),
        "held": "half" if held < 0.75 else "whole",
    }


def _own_error_words(known: Known) -> str:
    if not known["uncorrected"]:
        return f"Your distance correction lacks nothing, so the pupil asks for {signed(known['need'])}."
    return (
        f"Your distance correction lacks {signed(known['uncorrected'])}: "
        f"{added(known['vergence'], known['uncorrected'], known['need'])}."
    )


def _lacking_words(known: Known) -> str:
    if not _not_too_strong(known):
        return f"Accommodating cannot take plus away: {signed(known['lacking'])}."
    return f"{less(max(known['need'], 0.0), known['usable'], known['lacking'])}."


examiner_blur = CaseType(
    id="examiner-blur",
    title="Your own view through the sight hole",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            Field("amplitude", "Your amplitude of accommodation", Size(high=15.0)),
            Field("uncorrected", "What your distance correction lacks", Power(low=-20.0, high=20.0), default=0.0),
            DISTANCE,
            Field("held", "How much of an amplitude is counted on", HELD, default="half"),
        )
    ),
    asks=(
        Field("lacking", "Plus lacking before your own eye (minus: to spare, or too strong)", Power()),
        Field("view", "How you see the pupil", VIEWS),
    ),
    draw=_draw_examiner,
    begin=lambda _: {},
    steps=(
        distance_in_dioptres(),
        Step(
            OWN_ERROR,
            run=lambda known: {"need": known["vergence"] + known["uncorrected"]},
            says=_own_error_words,
            slips=(
                Slip(
                    OWN_ERROR_REVERSED,
                    run=lambda known: {"need": known["vergence"] - known["uncorrected"]},
                    says=lambda known: f"With the other sign: {signed(known['need'])}.",
                    live=lambda known: known["uncorrected"] != 0,
                ),
                Slip(
                    OWN_ERROR_LEFT_OUT,
                    run=lambda known: {"need": known["vergence"]},
                    says=lambda known: f"Your own error left out: {signed(known['need'])}.",
                    live=lambda known: known["uncorrected"] != 0,
                ),
            ),
        ),
        Step(
            USABLE_ACCOMMODATION,
            run=lambda known: {"usable": known["amplitude"] * (0.5 if known["held"] == "half" else 1)},
            says=lambda known: (
                f"Of {size(known['amplitude'])} D of accommodation {HELD.write(known['held'])} is counted on: "
                f"{size(known['usable'])} D."
            ),
            slips=(
                Slip(
                    WHOLE_AMPLITUDE,
                    run=lambda known: {"usable": known["amplitude"]},
                    says=lambda known: f"All of the amplitude: {size(known['usable'])} D.",
                    live=lambda known: known["held"] == "half" and known["amplitude"] > 0 and _not_too_strong(known),
                ),
            ),
        ),
        Step(
            LACKING_AT_SIGHT_HOLE,
            run=lambda known: {"lacking": _lacking(known, known["usable"])},
            says=_lacking_words,
            slips=(
                Slip(
                    ACCOMMODATION_LEFT_OUT,
                    run=lambda known: {"lacking": known["need"]},
                    says=lambda known: f"Accommodation left out: {signed(known['lacking'])}.",
                    live=lambda known: known["usable"] > 0 and _not_too_strong(known),
                ),
            ),
        ),
        Step(
            JUDGE_VIEW,
            run=lambda known: {"view": _view(known)},
            says=lambda known: f"So the pupil is {VIEWS.write(known['view'])}.",
            slips=(
                Slip(
                    SPARE_AS_LACK,
                    run=lambda _: {"view": "plus"},
                    says=lambda known: f"{signed(known['lacking'])} taken as lacking.",
                    live=lambda known: _not_too_strong(known) and known["lacking"] < -_HARDLY,
                ),
            ),
        ),
    ),
    answer=lambda known: {"lacking": known["lacking"], "view": known["view"]},
    found=lambda known: (
        f"You sit with your sight hole {write_distance(known['distance_cm'])} from the pupil that you look at.",
        f"Your amplitude of accommodation is {size(known['amplitude'])} D, of which {HELD.write(known['held'])} is "
        "counted on for steady work."
        if known["amplitude"]
        else "You have no accommodation left.",
        "You wear your full distance correction."
        if not known["uncorrected"]
        else f"With what you wear, your own eye still wants {signed(known['uncorrected'])} DS for far.",
    ),
    question=lambda _: (
        "How much plus is lacking before your own eye to see that pupil sharp (minus: to spare, or too strong), and "
        "how do you see it?"
    ),
    figure=lambda known, uid: distance_ruler(actual_cm=known["distance_cm"], uid=uid),
    form=lambda _: None,
    needs=("distance-vergence",),
    sources=(
        "About +1.50 for a presbyope at two thirds of a metre, and half of the amplitude held in comfort: common "
        "practice, no published source",
    ),
)

TYPES = (other_eye_fogged, examiner_blur)
