"""The card of a patient: what the desk has written before the examination, each line from the same two eyes.

Nothing of it is kept with the patient: a card is worked out from what was drawn, so that one of an older version reads
the same way. How a clinic words such lines, and how often an eye turns, is common practice, no published source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cases.notation.plurals import counted
from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.patients.examination.acts import TESTS
from cases.patients.examination.vignettes import NO_CHART, vignette_of
from cases.patients.patient import SIDES, Patient, Side, smallest_angle
from cases.patients.streams import Streams

CHART_FROM_Y, LETTERS_FROM_Y, CHART_OF_LETTERS_FROM_Y = 3.0, 4.0, 6.0
"""From these ages in years pictures are named, letters matched, and a chart of letters read: ours."""
_LINES = (5, 6, 7.5, 9, 12, 15, 19, 24, 30, 38, 48, 60, 75, 95, 120)
"""Lines of a chart in steps of 0.1 logMAR, by the number under 6/."""
BELOW = "below 6/120"
VISIONS = (*(f"6/{line:g}" for line in _LINES), BELOW)
"""All that a chart finds, the best first."""
LOOKS = ("fixes and follows", "prefers the other eye", "does not fix")
"""What is written of the vision of an eye that reads no chart."""


@dataclass(frozen=True)
class Card:
    """What the desk has written of a patient before the examination."""

    title: str
    age: str
    complaint: str
    history: str
    health: str
    """"" where the history says it."""
    vision: dict[Side, str]
    test: str
    """How vision was tested, of `TESTS`."""
    looks: str
    """How a child looks who is too young for a chart."""
    spectacles: str
    """The powers that are worn, how old they are, and vision with them; "" without any."""
    cover: str
    """What the cover test showed, or the reflections of a lamp in the first year."""
    movements: str
    of_you: str
    invented: bool

    @property
    def no_chart(self) -> bool:
        """Say whether the patient is too young for a chart."""
        return set(self.vision.values()) == {NO_CHART}

    @property
    def vision_words(self) -> str:
        """Write the vision of both eyes with its test, or once what holds for both."""
        if self.no_chart:
            return f"{NO_CHART}; {self.looks}"
        return f"right {self.vision['right']}, left {self.vision['left']}, {self.test}"

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
        history="no eye trouble before" if patient.history == "nothing of note" else patient.history,
        health="" if vignette else _health(patient),
        vision=vision,
        test=test_of(patient),
        looks=_looks(patient),
        spectacles=_spectacles(patient),
        cover=vignette.cover if vignette else _cover(patient),
        movements="full; the eyes are never still" if patient.nystagmus else "full",
        of_you=vignette.told_of_you if vignette else "",
        invented=vignette is not None,
    )


def age_in_words(age_y: float) -> str:
    """Write an age: months below two years, then whole years."""
    if age_y < 2:
        return counted(max(1, math.floor(age_y * 12 + 1e-9)), "month")
    return f"{math.floor(age_y + 1e-9)} years"


# --- vision ----------------------------------------------------------------------------------------------------------

UNEQUAL_LOGMAR = 0.3
"""From so much difference in best vision on a child minds when the better eye is covered: ours."""


def test_of(patient: Patient) -> str:
    """Return how vision is tested at this age."""
    letters, matched, pictures, looking = TESTS
    if patient.age_y < CHART_FROM_Y:
        return looking
    if patient.age_y < LETTERS_FROM_Y:
        return pictures
    return matched if patient.age_y < CHART_OF_LETTERS_FROM_Y else letters


def vision_of(patient: Patient, side: Side, through: SphCyl | None = None) -> str:
    """Return vision as a chart finds it, 6/x, unaided or through a lens, or why there is none.

    The law is that of the patient model, `smallest_angle`.
    """
    if patient.age_y < CHART_FROM_Y:
        return NO_CHART
    eye = patient.eye(side)
    angle = smallest_angle(eye, patient.amplitude_d, through)
    line = min(_LINES, key=lambda one: abs(math.log(one / 6 / angle)))
    return f"6/{line:g}" if angle < _LINES[-1] / 6 * 1.12 else BELOW


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
    return lenses if NO_CHART in seen_so else f"{lenses}; with them right {seen_so[0]}, left {seen_so[1]}"


# --- the eyes together, and health -----------------------------------------------------------------------------------

WEAKER_LOGMAR, UNEQUAL_D, MUCH_PLUS_D = 0.2, 1.5, 3.5
"""From so much difference in best vision, or in mean power, or so much plus on an eye often turns: ours."""
OFTEN_TURNS, SELDOM_TURNS = 0.35, 0.01
"""How often an eye turns all the time where something makes it, and where nothing does: ours."""
DRIFTS_IN_D, DRIFTS_OUT_D = 1.5, -1.0
REFLECTIONS_TO_Y = 1.0
"""Up to this age in years the reflections of a lamp are looked at, for no cover is borne: common practice."""


def _cover(patient: Patient) -> str:
    """Return what the cover test shows: an eye that turns all the time, a drift behind the cover, or neither."""
    streams = Streams(f"{patient.seed}/card")
    infant = patient.age_y < REFLECTIONS_TO_Y
    if patient.nystagmus:
        return "cannot be judged while the eyes move"
    right, left = patient.right, patient.left
    plus, unequal = max(right.M, left.M), patient.unequal_d >= UNEQUAL_D
    weaker = abs(right.best_logmar - left.best_logmar) >= WEAKER_LOGMAR
    chance = OFTEN_TURNS if weaker or unequal or plus >= MUCH_PLUS_D else SELDOM_TURNS
    if streams.happens("turns", chance):
        side = "right" if (right.best_logmar, right.M) > (left.best_logmar, left.M) else "left"
        out = min(right.M, left.M) < 0 or patient.age_y > 16
        if infant:
            return f"the lamp’s reflection lies {'nasally' if out else 'temporally'} in the {side} eye"
        return f"the {side} eye turns {'out' if out else 'in'} a little, far and near"
    if infant:
        return "not borne; the lamp’s reflections lie even in both eyes"
    drifts = streams.happens("drifts", 0.6)
    mean = (right.M + left.M) / 2
    if drifts and patient.age_y < 40 and mean >= DRIFTS_IN_D:
        return "straight; near a slight drift inwards that recovers at once"
    if drifts and (patient.age_y >= 45 or mean <= DRIFTS_OUT_D):
        return "straight; near a slight drift outwards that recovers at once"
    return "straight, far and near"


def _health(patient: Patient) -> str:
    chance, age = Streams(f"{patient.seed}/card").chance("health"), patient.age_y
    if age < 4:
        return chance.among(("born at term; well", "born at term; well", "born at 36 weeks; well"))
    if any("keratoconus" in patient.eye(side).media for side in SIDES):
        return chance.among(("hay fever", "eczema as a child", "well; no medicines"))
    if age < 16:
        return chance.among(("well; no medicines", "well; no medicines", "asthma, with an inhaler"))
    if age < 50:
        return chance.among(("well; no medicines", "well; no medicines", "migraine now and then"))
    return chance.among(("tablets for blood pressure", "well; no medicines", "diabetes, without insulin"))
