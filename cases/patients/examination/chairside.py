"""What is seen at the chair: what stands in the pupil, what it is called, where the gaze is, and what checks show."""

from __future__ import annotations

from cases.patients.examination.act_words import clock
from cases.patients.examination.acts import Examined, State
from cases.patients.examination.card import CHART_FROM_Y
from cases.patients.examination.reflex_names import names_of, says
from cases.patients.examination.vignettes import vignette_of
from cases.patients.examination.world import (
    SHOWS_A_LITTLE_D,
    SHOWS_PLAINLY_D,
    gaze,
    pupil_mm,
    seen_far_and_near,
)
from cases.patients.patient import SIDES, UNSAFE, Eye, Medium, Patient, Side

_IN_THE_PUPIL: dict[Medium, str] = {
    "keratoconus": "Near neutral, two bands part and meet like scissors.",
    "nuclear opacity": "A round core stands in the middle, like a drop of oil, with a dark ring round it.",
    "cortical opacity": "Dark spokes reach in from the edge.",
    "subcapsular opacity": "A dark spot stands in the middle.",
    "artificial lens": "Glints move with the lamp; the capsule round them is dull.",
    "corneal surgery": "A faint ring lies near the edge; light outside it may move otherwise than the middle.",
    "tear film": "A smear slides over the reflex and clears after a blink.",
    "scar": "A grey patch stays where it is.",
    "vitreous haze": "An even veil lies over the reflex.",
    "white reflex": "The pupil glows pale, almost white, wherever the streak lies.",
    "no reflex": "No light comes back from the pupil, from any direction.",
}
HAZE: dict[Medium, float] = {
    "vitreous haze": 0.6,
    "nuclear opacity": 0.25,
    "cortical opacity": 0.2,
    "subcapsular opacity": 0.25,
    "artificial lens": 0.1,
    "tear film": 0.15,
    "scar": 0.15,
    "white reflex": 0.9,
    "no reflex": 1.0,
}
"""Share of the light that media scatter in the picture: ours, no published source."""


def in_the_pupil(eye: Eye, *, scissors: bool = True) -> tuple[str, ...]:
    """Say what stands in a pupil beside the reflex, a sentence each; scissors: also of those that come near neutral."""
    return tuple(_IN_THE_PUPIL[one] for one in eye.media if scissors or one != "keratoconus")


def reflex_words(eye: Eye) -> str:
    """Say what a reflex is called and what stands in its pupil, for one who has named it or asked."""
    name = says(names_of(eye)[0])
    called = f"The reflex is {name}."
    return " ".join((called, *in_the_pupil(eye)))


def haze_of(eye: Eye) -> float:
    """Return the share of light that the media of an eye scatter, 0 to 1."""
    return max((HAZE.get(one, 0.0) for one in eye.media), default=0.0)


_TO_REFER: tuple[Medium, ...] = (
    "keratoconus", "nuclear opacity", "cortical opacity", "subcapsular opacity", "scar", "vitreous haze"
)  # fmt: skip
UNEQUAL_D, AT_RISK_TO_Y = 1.5, 8.0
"""Eyes so unequal, in D, at up to this age in years are a reason to refer: common practice; local rules decide."""


def referral_of(patient: Patient) -> str:
    """Say why a right record refers a patient, by the local protocol; "" where nothing that was found asks for it."""
    if any(patient.eye(side).unsafe for side in SIDES):
        return "at once, by the local protocol: the reflex"
    vignette = vignette_of(patient)
    if vignette is not None:
        return vignette.refer
    reasons = dict.fromkeys(one for side in SIDES for one in patient.eye(side).media if one in _TO_REFER)
    parts: list[str] = [*reasons]
    if patient.age_y <= AT_RISK_TO_Y and patient.unequal_d >= UNEQUAL_D:
        parts.append("unequal eyes in a child")
    if patient.nystagmus:
        parts.append("nystagmus, unless it is known")
    return f"by the local protocol: {' and '.join(parts)}" if parts else ""


def unsafe_words(eye: Eye) -> str:
    """Say what is seen of a reflex that is referred at once; "" for any other."""
    return next((_IN_THE_PUPIL[one] for one in eye.media if one in UNSAFE), "")


def gaze_words(patient: Patient, state: State, minute: float) -> str:
    """Say where the patient looks."""
    if gaze(patient, state, minute).away:
        return "looks away to one side, at something near"
    if state.target == "face" or (state.target == "off" and state.room != "dark"):
        return "looks at your face"
    if state.target == "off":
        return "looks into the dark"
    what = "a toy" if patient.age_y < CHART_FROM_Y else "the target"
    return f"looks at {what}, {state.target:g} m away"


def tape_reads(state: State, held_at: str, offsets: dict[str, float]) -> float:
    """Return what the tape reads from there to the sight hole, in whole cm."""
    return float(round(state.distance_cm + offsets[held_at]))


def near_check_words(patient: Patient, side: Side, examined: Examined, minute: float) -> str:
    """Say what is seen while the patient looks from far to near: accommodation shows, the pupil does not tell it."""
    left, wide = seen_far_and_near(patient, side, examined.state, minute)
    shift = "changes a little" if left >= SHOWS_A_LITTLE_D else "hardly changes"
    shift = "changes plainly" if left >= SHOWS_PLAINLY_D else shift
    pupil = "The pupil is wide." if wide else "The pupil is not wide."
    return f"{side.capitalize()} eye: from far to near the reflex {shift}. {pupil}"


def pupil_words(patient: Patient, state: State, minute: float) -> str:
    """Say how wide the pupils are, which is all that looking at them tells."""
    right, left = (pupil_mm(patient, side, state, minute) for side in SIDES)
    return f"The right pupil is {right:.1f} mm wide, the left {left:.1f} mm."


def drops_words(patient: Patient, state: State, minute: float) -> tuple[str, ...]:
    """Say of each eye with drops how long ago, and how wide the pupil is; how far they work only a check shows."""
    said = []
    for side in SIDES:
        mine = [one for one in state.drops if one.side == side]
        if mine:
            given = ", ".join(f"{one.kind} at {clock(one.minute)} ({minute - one.minute:.0f} min ago)" for one in mine)
            wide = pupil_mm(patient, side, state, minute)
            said.append(f"{side.capitalize()} eye: {given}; pupil {wide:.1f} mm.")
    return tuple(said)
