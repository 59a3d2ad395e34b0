"""Ten invented patients to begin with: no real person. Each sets one or two traps that the record alone cannot show.

Refractions, ages, complaints and vision are given; all else is drawn by age and then held to what the trap needs.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.patients.drawing_patients import draw_patient
from cases.patients.examination.acts import Act
from cases.patients.examination.world import Examiner
from cases.patients.patient import SIDES, Patient, Side


class UnknownVignette(CaseError):
    """None of the ten."""

    def __init__(self, vignette_id: str) -> None:
        super().__init__(
            f"“{vignette_id[:20]}” is none of the ten: give one of {', '.join(one.id for one in VIGNETTES)}"
        )


@dataclass(frozen=True)
class Vignette:
    """One of the ten: who comes, and what is told before and after."""

    id: str
    name: str
    age_y: float
    complaint: str
    history: str
    right: SphCyl
    left: SphCyl
    vision: tuple[str, str]
    """Unaided vision as found beforehand, right and left."""
    trap: str
    """What it teaches, told at the end."""
    refer: str = ""
    """Why a right record refers this patient; "" where it does not."""
    eyes: dict[Side, dict[str, Any]] = field(default_factory=dict)
    """Fields of an eye that are not as drawn."""
    person: dict[str, Any] = field(default_factory=dict)
    examiner: Examiner = field(default_factory=Examiner)
    told_of_you: str = ""
    """What is told of the examiner."""
    cover: str = "straight, far and near"
    """What the cover test showed."""
    frame_mm: float | None = None
    """Cornea to trial lenses as the frame was left; None: where the result is for."""


def _both(**fields: Any) -> dict[Side, dict[str, Any]]:
    return {side: dict(fields) for side in SIDES}


NO_CHART = "no chart at this age"

VIGNETTES: tuple[Vignette, ...] = (
    Vignette(
        "ada", "Ada", 0.75, "a first check: a brother wears glasses", "born at term; well",
        SphCyl(2.25, -1.25, 180), SphCyl(2.50, -1.00, 175), (NO_CHART, NO_CHART),
        "She turns to every sound. A reading counts only while she looks where you need her to, and without drops she "
        "shows 1 to 2 D less plus. A cylinder of this size is common in the first year.",
        eyes=_both(latent_d=1.1, media=(), irregular_d_per_mm=0.0),
        person={"fixation_holds_s": 7.2, "nystagmus": False, "amplitude_d": 7.0},
        cover="not borne; the lamp’s reflections lie even in both eyes",
    ),
    Vignette(
        "ben", "Ben", 4, "squeezes the left eye shut in the sun", "well; nobody has looked at his eyes before",
        SphCyl(2.00, -0.50, 180), SphCyl(5.00, -1.00, 10), ("6/7.5", "6/19"),
        "His left eye needs 2.75 D more plus. While it is not fogged, and the lenses blur the better eye, it may take "
        "over the focus of both, and the right eye reads minus. A child who shuts one eye in the sun may squint.",
        refer="unequal eyes with one that sees less: refer by the local protocol",
        eyes={
            "right": {"latent_d": 0.85, "media": (), "irregular_d_per_mm": 0.0},
            "left": {"latent_d": 1.3, "media": (), "irregular_d_per_mm": 0.0, "best_logmar": 0.4},
        },
        person={"fixation_holds_s": 40.0, "nystagmus": False},
        cover="the left eye moves out to fix when the right is covered, near more than far",
    ),
    Vignette(
        "cho", "Cho", 7, "headaches when reading", "well; no spectacles",
        SphCyl(2.75, -0.25, 90), SphCyl(2.50, -0.25, 90), ("6/6", "6/6"),
        "She sees 6/6 by accommodating. At your face she reads as a myope; looking far and fogged she shows half of "
        "her plus; the rest shows under drops.",
        eyes=_both(latent_d=1.05, media=(), irregular_d_per_mm=0.0),
        person={"fixation_holds_s": 60.0, "nystagmus": False},
        cover="straight far; near a slight drift inwards that recovers at once",
    ),
    Vignette(
        "dev", "Dev", 12, "cannot read the board", "well; both parents are short-sighted",
        SphCyl(-1.50, -0.50, 175), SphCyl(-1.25, -0.50, 5), ("6/38", "6/30"),
        "Nothing odd in him: what goes wrong is the distance. At 50 cm take off 2.00 D.",
        eyes=_both(latent_d=0.20, media=(), irregular_d_per_mm=0.0),
        person={"nystagmus": False},
    ),
    Vignette(
        "eve", "Eve", 21, "a check-up", "well; wide pupils in photographs",
        SphCyl(0.50, -0.50, 180), SphCyl(0.50, -0.25, 180), ("6/6", "6/6"),
        "From 15° to one side her half dioptre of astigmatism vanishes. Her pupils are wide, and their edge is more "
        "myopic than their centre.",
        eyes=_both(
            latent_d=0.15, pupil_dim_mm=6.0, c40_um=0.077, media=(), irregular_d_per_mm=0.0, peripheral_m2=0.0
        ),
        person={"nystagmus": False},
    ),
    Vignette(
        "finn", "Finn", 19, "the third spectacles in two years", "rubs his eyes; hay fever",
        SphCyl(-1.00, -3.75, 40), SphCyl(-0.50, -1.25, 140), ("6/120", "6/12"),
        "Two bands part and meet like scissors: no lens makes the right eye neutral all over. Judge the plain middle, "
        "say in the record what you saw, and refer.",
        refer="a scissors reflex: refer for a map of the cornea",
        eyes={
            "right": {"latent_d": 0.05, "media": ("keratoconus",), "irregular_d_per_mm": 0.9, "best_logmar": 0.3,
                      "habitual_rx": SphCyl(-0.50, -2.50, 45), "habitual_age_y": 0.7},
            "left": {"latent_d": 0.05, "media": ("keratoconus",), "irregular_d_per_mm": 0.3,
                     "habitual_rx": SphCyl(-0.25, -0.75, 140), "habitual_age_y": 0.7},
        },
        person={"nystagmus": False},
    ),
    Vignette(
        "gwen", "Gwen", 34, "wears contact lenses and wants spectacles too", "well; lenses out since last night",
        SphCyl(-8.50, -1.50, 15), SphCyl(-8.00, -1.25, 165), ("below 6/120", "below 6/120"),
        "The first reflex is dim, wide and slow: go straight to a strong minus lens. The trial frame was left at "
        "16 mm; her result is for 12 mm, where less minus does the same. Write the distance beside so strong a lens.",
        eyes=_both(latent_d=0.0, vertex_mm=12.0, media=(), irregular_d_per_mm=0.0),
        person={"nystagmus": False},
        cover="straight; near a slight drift outwards that recovers at once",
        frame_mm=16.0,
    ),
    Vignette(
        "hal", "Hal", 47, "tired at the computer", "well; has never worn spectacles",
        SphCyl(1.25, -0.75, 90), SphCyl(1.00, -0.75, 85), ("6/9", "6/7.5"),
        "The trap is yours: at 52, without a glass for this distance, you see the reflex out of focus, and readings "
        "scatter nearly twice as much.",
        eyes=_both(latent_d=0.05, media=(), irregular_d_per_mm=0.0),
        person={"nystagmus": False},
        examiner=Examiner(age_y=52, corrected=False),
        told_of_you="You are 52 today, and your near glasses lie on the desk.",
    ),
    Vignette(
        "ida", "Ida", 71, "reads without glasses again", "wore +1.00 for years; well",
        SphCyl(-2.75, -1.00, 95), SphCyl(1.25, -0.75, 85), ("6/120", "6/15"),
        "A drop of oil in the middle of the right lens: its core is more myopic than the rest, which is why she reads "
        "again. Say which part you judged, and refer.",
        refer="a lens opacity that has moved the refraction: refer by the local protocol",
        eyes={
            "right": {"media": ("nuclear opacity",), "irregular_d_per_mm": 0.0, "pupil_dim_mm": 4.0, "c40_um": -0.318,
                      "best_logmar": 0.25},
            "left": {"media": (), "irregular_d_per_mm": 0.0, "pupil_dim_mm": 4.0},
        },
        person={"nystagmus": False},
    ),
    Vignette(
        "jon", "Jon", 78, "distance vision is blurred", "cataract surgery, both eyes, six years ago",
        SphCyl(-0.50, -1.25, 100), SphCyl(-0.75, -1.00, 80), ("6/24", "6/19"),
        "Glints move with the lamp: they are the implant's. In the lit room his pupils are small and the neutral zone "
        "is wide; dim the room. Drops would do nothing for accommodation: there is none.",
        eyes=_both(
            media=("artificial lens",), irregular_d_per_mm=0.0, pupil_bright_mm=3.2, pupil_dim_mm=4.0, latent_d=0.0
        ),
        person={"nystagmus": False},
    ),
)  # fmt: skip
"""Common practice taught by example; no published source has these people."""


@cache
def patient_of_vignette(vignette_id: str) -> Patient:
    """Make the patient of a vignette: the same every time.

    Raises
    ------
    UnknownVignette
    """
    vignette = next((one for one in VIGNETTES if one.id == vignette_id), None)
    if vignette is None:
        raise UnknownVignette(vignette_id)
    drawn = draw_patient(f"vignette {vignette.id}", age=(vignette.age_y, vignette.age_y))
    eyes = {}
    for side, lens in zip(SIDES, (vignette.right, vignette.left), strict=True):
        M, J0, J45 = lens.power_vector()
        fields: dict[str, Any] = {"habitual_rx": None, "habitual_age_y": None, **vignette.eyes.get(side, {})}
        eyes[side] = replace(drawn.eye(side), M=M, J0=J0, J45=J45, **fields)
    return replace(
        drawn,
        **vignette.person,
        origin=f"vignette: {vignette.id}",
        complaint=vignette.complaint,
        history=vignette.history,
        right=eyes["right"],
        left=eyes["left"],
    )


def vignette_of(patient: Patient) -> Vignette | None:
    """Return the vignette that a patient is of; None for one that was drawn."""
    name = patient.origin.removeprefix("vignette: ")
    return next((one for one in VIGNETTES if one.id == name and name != patient.origin), None)


def starting_acts(patient: Patient) -> tuple[Act, ...]:
    """Return how the room was left: the lights on, the chair too far, you about to look with your right eye."""
    vignette = vignette_of(patient)
    acts = [Act(0, "room", "lit"), Act(0, "target", "off"), Act(0, "seat", 80.0), Act(0, "own eye", "right")]
    if vignette is not None and vignette.frame_mm is not None:
        acts.append(Act(0, "frame", (vignette.frame_mm, 0.0, 0.0)))
    return tuple(acts)


def examiner_of(patient: Patient) -> Examiner:
    """Return who examines: one who sees the reflex sharply, unless the vignette says otherwise."""
    vignette = vignette_of(patient)
    return Examiner() if vignette is None else vignette.examiner
