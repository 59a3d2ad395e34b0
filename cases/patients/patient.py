"""What one patient is: two eyes, what they do with accommodation and pupil, what they see and how long they look."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl

Side = Literal["right", "left"]
SIDES: tuple[Side, Side] = ("right", "left")

Medium = Literal[
    "keratoconus",
    "nuclear opacity",
    "cortical opacity",
    "subcapsular opacity",
    "artificial lens",
    "corneal surgery",
    "tear film",
    "scar",
    "vitreous haze",
    "white reflex",
    "no reflex",
]
"""What is in the way of the light. "white reflex" and "no reflex" are referred at once and not measured."""

UNSAFE: tuple[Medium, ...] = ("white reflex", "no reflex")

MARGIN_PER_C40 = -24 * math.sqrt(5) / 2.5**4
"""D per mm² for each µm of spherical aberration c at a pupil of 5 mm. The wave c·√5·(6ρ⁴ − 6ρ² + 1) bends rays at r mm
as a power of its slope over r, which less that at the centre is c·24·√5·r²/2.5⁴; plus leaves the margin more myopic."""

TIE = 1e-9
"""A value this near to the middle between two steps could round otherwise on another machine: it is drawn again."""


@dataclass(frozen=True, kw_only=True)
class Eye:
    """One eye. Powers in D at the spectacle plane, without accommodation; J0 is positive with the rule.

    vertex_mm: cornea to the back of a lens.
    pupil_dim_mm, pupil_bright_mm, pupil_drops_mm: diameters at 1 and 10 cd/m² and with drops that widen.
    c40_um: spherical aberration at a pupil of 5 mm, in µm.
    peripheral_m2, peripheral_j2: mean power and astigmatism off the axis, in D/deg².
    latent_d: plus that shows under cycloplegia and not without, in D.
    mar0: smallest angle seen with the best lens and a healthy retina, in minutes; blur_k: how fast blur widens it.
    best_logmar: vision with the best lens, amblyopia and media counted.
    irregular_d_per_mm: change of power across the pupil, in D/mm: the scissors of an irregular cornea.
    habitual_rx: the spectacles that are worn, made `habitual_age_y` years ago; None without any.
    """

    M: float
    J0: float
    J45: float
    vertex_mm: float
    pupil_dim_mm: float
    pupil_bright_mm: float
    pupil_drops_mm: float
    c40_um: float
    peripheral_m2: float
    peripheral_j2: float
    latent_d: float
    mar0: float
    blur_k: float
    best_logmar: float
    media: tuple[Medium, ...] = ()
    irregular_d_per_mm: float = 0.0
    habitual_rx: SphCyl | None = None
    habitual_age_y: float | None = None

    @property
    def lens(self) -> SphCyl:
        """The correcting lens under cycloplegia, unrounded, in minus-cylinder form."""
        return SphCyl.from_power_vector(self.M, self.J0, self.J45)

    @property
    def rx(self) -> SphCyl:
        """The same lens as it is written: quarter dioptres and 5°."""
        return written(self.lens)

    @property
    def dry_lens(self) -> SphCyl:
        """The lens that is found without drops, unrounded: the latent plus is missing."""
        return SphCyl.from_power_vector(self.M - self.latent_d, self.J0, self.J45)

    @property
    def margin_per_mm2(self) -> float:
        """What spherical aberration adds to the still missing power at r mm from the centre, in D per mm² of r²."""
        return MARGIN_PER_C40 * self.c40_um

    @property
    def unsafe(self) -> bool:
        """Whether the reflex is one to refer at once."""
        return any(one in UNSAFE for one in self.media)

    @property
    def accommodates(self) -> bool:
        """Whether the eye has a lens that can focus: surgery on the cornea leaves it, an artificial lens has none."""
        return "artificial lens" not in self.media

    @property
    def natural_lens(self) -> bool:
        """Whether the eye was never operated on for its refraction or its lens."""
        return "artificial lens" not in self.media and "corneal surgery" not in self.media


@dataclass(frozen=True, kw_only=True)
class Patient:
    """One person. Ages in years, powers in D, distances in mm.

    origin: "population", or "teaching: " and the stratum.
    latent_f: share of the latent plus that belongs to the age, 0 to 1.
    amplitude_d: what the eyes can accommodate, objectively.
    dark_near_d: accommodation in the dark with the beam alone.
    response_slope, response_lead_d: accommodation is lead + slope × demand.
    fixation_holds_s: how long the gaze stays on a target, on average.
    """

    seed: str
    origin: str
    region: str
    age_y: float
    sex: Literal["female", "male"]
    pd_mm: float
    iris: Literal["light", "dark"]
    complaint: str
    history: str
    latent_f: float
    amplitude_d: float
    dark_near_d: float
    response_slope: float
    response_lead_d: float
    fixation_holds_s: float
    nystagmus: bool
    right: Eye
    left: Eye

    def eye(self, side: Side) -> Eye:
        """Return one of the two eyes."""
        return self.right if side == "right" else self.left

    @property
    def unequal_d(self) -> float:
        """How far the mean powers of the eyes differ, in D, without sign."""
        return abs(self.right.M - self.left.M)


def blur_of(eye: Eye, amplitude: float, through: SphCyl | None = None) -> float:
    """Return what blurs an eye, unaided or through a lens, in D.

    Half of the amplitude clears plus without strain: common practice, no published source. amplitude: 0 for an eye that
    has none.
    """
    M, J0, J45 = (eye.M, eye.J0, eye.J45) if through is None else (eye.lens - through).power_vector()
    return math.hypot(M - min(max(M, 0.0), amplitude / 2), J0, J45)


def smallest_angle(eye: Eye, amplitude: float, through: SphCyl | None = None) -> float:
    """Return the smallest angle that an eye sees, in minutes: it grows as 1 + k·b² with the blur b in D."""
    blur = blur_of(eye, amplitude if eye.accommodates else 0.0, through)
    return float(10**eye.best_logmar * (1 + eye.blur_k * blur * blur))


def other(side: Side) -> Side:
    """Return the fellow of an eye."""
    return "left" if side == "right" else "right"


def written(lens: SphCyl, *, axis_step: int = 5) -> SphCyl:
    """Round a lens once, as it is written in a record: sphere and cylinder to 0.25 D, the axis to `axis_step` degrees.

    A cylinder below 0.125 D is left out.
    """
    lens = lens.minus_form()
    cylinder = _quarter(lens.cylinder)
    if cylinder == 0:
        # The half that is dropped with the cylinder stays in the sphere: the mean power is what a sphere corrects.
        return SphCyl(_quarter(lens.spherical_equivalent))
    return SphCyl(_quarter(lens.sphere), cylinder, axis_of(axis_step * round(lens.axis / axis_step)))


def near_a_tie(lens: SphCyl) -> bool:
    """Say whether a lens lies so near the middle between two written ones that machines may disagree."""
    lens = lens.minus_form()
    steps = [lens.sphere / 0.25, lens.cylinder / 0.25, lens.spherical_equivalent / 0.25, lens.axis / 5, lens.axis]
    return any(abs(abs(one - math.floor(one)) - 0.5) < TIE for one in steps)


def with_eyes(patient: Patient, right: Eye, left: Eye) -> Patient:
    """Return the same person with other eyes."""
    return replace(patient, right=right, left=left)


def _quarter(power: float) -> float:
    return round(power * 4) / 4 + 0.0
