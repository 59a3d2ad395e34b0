"""What is told and seen at the chair: who has come, vision as found, what stands in the pupil, and what checks show."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.notation.plurals import counted
from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import Examined, State
from cases.patients.examination.findings import SHOWS_A_LITTLE_D, SHOWS_PLAINLY_D, seen_far_and_near
from cases.patients.examination.vignettes import NO_CHART, vignette_of
from cases.patients.examination.world import gaze, pupil_mm
from cases.patients.patient import SIDES, UNSAFE, Eye, Medium, Patient, Side, smallest_angle

CHART_FROM_Y = 3.5
"""From this age in years a chart is read: ours."""
_LINES = (5, 6, 7.5, 9, 12, 15, 19, 24, 30, 38, 48, 60, 75, 95, 120)
"""Lines of a chart in steps of 0.1 logMAR, by the number under 6/."""

_IN_THE_PUPIL: dict[Medium, str] = {
    "keratoconus": "Near neutral, two bands part and meet like scissors.",
    "nuclear opacity": "The middle of the pupil is darker, like a drop of oil, and moves otherwise than the rest.",
    "cortical opacity": "Dark spokes reach in from the edge.",
    "subcapsular opacity": "A dark spot stands in the middle.",
    "artificial lens": "Glints move with the lamp; the capsule round them is dull.",
    "corneal surgery": "A ring near the edge moves otherwise than the middle.",
    "tear film": "A smear slides over the reflex and clears after a blink.",
    "scar": "A grey patch stays where it is.",
    "vitreous haze": "An even veil lies over the reflex.",
    "white reflex": "The reflex is pale, almost white, where the other is red.",
    "no reflex": "No red reflex is seen from any direction.",
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


@dataclass(frozen=True)
class Card:
    """What the desk has written of a patient before the examination."""

    title: str
    age: str
    complaint: str
    history: str
    vision: dict[Side, str]
    looks: str
    """How a child looks who is too young for a chart."""
    spectacles: str
    """The powers that are worn, how old they are, and vision with them; "" without any."""
    of_you: str
    invented: bool

    @property
    def no_chart(self) -> bool:
        """Say whether the patient is too young for a chart."""
        return set(self.vision.values()) == {NO_CHART}

    @property
    def vision_words(self) -> str:
        """Write the vision of both eyes, or once what holds for both."""
        if self.no_chart:
            return f"{NO_CHART}; {self.looks}"
        return f"right {self.vision['right']}, left {self.vision['left']}"

    @property
    def name(self) -> str:
        """Return name and age."""
        return f"{self.title}, {self.age}"


def card_of(patient: Patient) -> Card:
    """Return the card of a patient."""
    vignette = vignette_of(patient)
    vision = {side: vision_of(patient, side) for side in SIDES}
    if vignette is not None:
        vision = dict(zip(SIDES, vignette.vision, strict=True))
    return Card(
        title=vignette.name if vignette else "A drawn patient",
        age=age_in_words(patient.age_y),
        complaint=patient.complaint,
        history=patient.history,
        vision=vision,
        looks=_looks(patient),
        spectacles=_spectacles(patient),
        of_you=vignette.told_of_you if vignette else "",
        invented=vignette is not None,
    )


UNEQUAL_LOGMAR = 0.3
"""From so much difference in best vision on a child minds when the better eye is covered: ours."""


def _looks(patient: Patient) -> str:
    right, left = (eye.best_logmar for eye in (patient.right, patient.left))
    if patient.nystagmus:
        return "follows a light, eyes never still"
    if abs(right - left) >= UNEQUAL_LOGMAR:
        return f"minds when the {'left' if right > left else 'right'} eye is covered"
    return "each eye fixes and follows a light; minds neither being covered"


def _spectacles(patient: Patient) -> str:
    right, left = patient.right, patient.left
    if right.habitual_rx is None or left.habitual_rx is None or right.habitual_age_y is None:
        return ""
    made = counted(max(1, round(12 * right.habitual_age_y)), "month")
    lenses = f"right {write_prescription(right.habitual_rx)}, left {write_prescription(left.habitual_rx)}, {made} old"
    seen_so = [vision_of(patient, side, patient.eye(side).habitual_rx) for side in SIDES]
    return lenses if NO_CHART in seen_so else f"{lenses}; with them {seen_so[0]} and {seen_so[1]}"


def age_in_words(age_y: float) -> str:
    """Write an age: months below two years, then whole years."""
    if age_y < 2:
        return counted(max(1, math.floor(age_y * 12 + 1e-9)), "month")
    return f"{math.floor(age_y + 1e-9)} years"


def vision_of(patient: Patient, side: Side, through: SphCyl | None = None) -> str:
    """Return vision as a chart finds it, 6/x, unaided or through a lens, or why there is none.

    The law is that of the patient model, `smallest_angle`.
    """
    if patient.age_y < CHART_FROM_Y:
        return NO_CHART
    eye = patient.eye(side)
    angle = smallest_angle(eye, patient.amplitude_d, through)
    line = min(_LINES, key=lambda one: abs(math.log(one / 6 / angle)))
    return f"6/{line:g}" if angle < _LINES[-1] / 6 * 1.12 else "below 6/120"


def in_the_pupil(eye: Eye) -> tuple[str, ...]:
    """Say what stands in a pupil beside the reflex, a sentence each."""
    return tuple(_IN_THE_PUPIL[one] for one in eye.media)


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
    left, wide = seen_far_and_near(patient, side, examined, minute)
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
            given = ", ".join(f"{one.kind} {minute - one.minute:.0f} min ago" for one in mine)
            wide = pupil_mm(patient, side, state, minute)
            said.append(f"{side.capitalize()} eye: {given}; pupil {wide:.1f} mm.")
    return tuple(said)
