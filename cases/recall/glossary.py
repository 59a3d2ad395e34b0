"""Terms of retinoscopy, each with a sentence and a figure, and which of them a text uses.

The sentences are common practice of the trade, without a published source, except where the figures compute them:
those are drawn with numbers by the same functions as the cases'.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from cases.figures.distances import distance_ruler, far_point, near_card
from cases.figures.lens_planes import vertex
from cases.figures.lenses import power_cross, trial_frame
from cases.figures.lines_of_sight import sighting_plan
from cases.figures.pupil_reflex import lean_in, movement, zones
from cases.figures.rays import rays_figure
from cases.figures.record_card import record_card
from cases.figures.streak_in_pupil import streak_in_pupil
from cases.figures.unusual_reflexes import odd_reflex
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

EXAMPLE = SphCyl(1.00, -1.50, 180)
"""The lens of most figures: +1.00 / −1.50 × 180, which is +1.00 along 180 and −0.50 along 90."""


@dataclass(frozen=True)
class GlossaryTerm:
    """A term: its id, the words that name it (the first is its heading), what it means, and its figure."""

    id: str
    words: tuple[str, ...]
    says: str
    figure: Callable[[], Figure]

    @property
    def title(self) -> str:
        """Give the heading, with a capital letter."""
        return self.words[0][:1].upper() + self.words[0][1:]


TERMS: tuple[GlossaryTerm, ...] = (
    GlossaryTerm(
        "retinoscope",
        ("retinoscope",),
        "The instrument that lights the retina with a streak and lets you watch, along the beam, the light that "
        "returns. "
        "The sight hole is the opening that you look through.",
        lambda: distance_ruler(actual_cm=67, uid="term-retinoscope"),
    ),
    GlossaryTerm(
        "streak",
        ("streak",),
        "The line of light from the retinoscope. You turn it to lie along a meridian, and sweep it across that line.",
        lambda: streak_in_pupil(90, uid="term-streak", sweep=True),
    ),
    GlossaryTerm(
        "sleeve",
        ("sleeve", "plane-mirror setting", "concave-mirror setting"),
        "The collar of the retinoscope. At one end of its travel the beam diverges as from a plane mirror; at the "
        "other "
        "it converges, as from a concave mirror, and every movement reverses.",
        lambda: movement("with", uid="term-sleeve"),
    ),
    GlossaryTerm(
        "reflex",
        ("reflex",),
        "The light that returns from the retina and is seen in the pupil.",
        lambda: streak_in_pupil(60, uid="term-reflex"),
    ),
    GlossaryTerm(
        "with",
        ("with movement", "moves with"),
        "The reflex moves the same way as the streak. With a diverging beam, the meridian needs plus.",
        lambda: movement("with", uid="term-with"),
    ),
    GlossaryTerm(
        "against",
        ("against movement", "moves against"),
        "The reflex moves the opposite way to the streak. With a diverging beam, the meridian needs minus.",
        lambda: movement("against", uid="term-against"),
    ),
    GlossaryTerm(
        "neutral",
        ("neutral",),
        "No movement: the pupil fills and empties at once. The eye, with the lenses in place, is then focused at the "
        "sight hole.",
        lambda: movement("neutral", uid="term-neutral"),
    ),
    GlossaryTerm(
        "end-point",
        ("end-point",),
        "The lens at which the reflex is neutral. You find it by going past it and coming back.",
        lambda: far_point(neutral_cm=67, uid="term-end-point"),
    ),
    GlossaryTerm(
        "far-point",
        ("far point",),
        "The point that is in focus on the retina with accommodation relaxed: in front of the eye in myopia, at "
        "infinity in emmetropia, behind the eye in hyperopia. At the end-point, seen through the lenses in place, it "
        "lies at your sight hole.",
        lambda: far_point(neutral_cm=40, uid="term-far-point"),
    ),
    GlossaryTerm(
        "working-distance",
        ("working distance",),
        "The distance from the patient's pupil to your sight hole.",
        lambda: distance_ruler(actual_cm=50, uid="term-working-distance"),
    ),
    GlossaryTerm(
        "vergence",
        ("vergence",),
        "A distance in dioptres: 1 divided by the distance in metres. 67 cm is 1.49 D, in the clinic 1.50 D.",
        lambda: far_point(neutral_cm=67, uid="term-vergence"),
    ),
    GlossaryTerm(
        "gross",
        ("gross result", "gross"),
        "The power in place at the end-point, before the working distance is taken off.",
        lambda: trial_frame([SphCyl(2.50)], uid="term-gross", distance_cm=67),
    ),
    GlossaryTerm(
        "net",
        ("net result", "net prescription", "net"),
        "The gross result less the vergence of the working distance: the correction for far.",
        lambda: distance_ruler(actual_cm=67, uid="term-net", lens=SphCyl(2.50)),
    ),
    GlossaryTerm(
        "working-lens",
        ("working lens",),
        "A plus lens that cancels the working distance while it is in the frame, such as +1.50 at 67 cm. The other "
        "lenses "
        "are then the net result.",
        lambda: trial_frame([SphCyl(1.50), SphCyl(1.00)], uid="term-working-lens", notes={0: "working lens"}),
    ),
    GlossaryTerm(
        "meridian",
        ("principal meridian", "principal meridians", "meridian"),
        "A direction across the pupil. The two principal meridians have the most and the least power, at right angles.",
        lambda: power_cross(EXAMPLE, uid="term-meridian"),
    ),
    GlossaryTerm(
        "axis",
        ("axis",),
        "The direction in which a cylinder has no power. Its power acts at right angles to it.",
        lambda: streak_in_pupil(180, uid="term-axis"),
    ),
    GlossaryTerm(
        "power-cross",
        ("power cross",),
        "A drawing of a lens as its two powers, each written along its meridian.",
        lambda: power_cross(EXAMPLE, uid="term-power-cross"),
    ),
    GlossaryTerm(
        "sphere",
        ("sphere",),
        "A power that is the same in every meridian.",
        lambda: power_cross(SphCyl(1.00), uid="term-sphere"),
    ),
    GlossaryTerm(
        "cylinder",
        ("cylinder",),
        "The difference in power between the two principal meridians.",
        lambda: power_cross(SphCyl(0, -1.50, 180), uid="term-cylinder"),
    ),
    GlossaryTerm(
        "transposition",
        ("transposition", "transpose", "transposing"),
        "Writing the same lens in the other cylinder form: +1.00 / −1.50 × 180 is −0.50 / +1.50 × 90.",
        lambda: power_cross(EXAMPLE, SphCyl(-0.50, 1.50, 90), uid="term-transposition", names=("minus", "plus")),
    ),
    GlossaryTerm(
        "spherical-equivalent",
        ("spherical equivalent",),
        "Sphere plus half of the cylinder, with its sign: the mean of the two powers.",
        lambda: power_cross(EXAMPLE, SphCyl(0.25), uid="term-spherical-equivalent", names=("lens", "mean")),
    ),
    GlossaryTerm(
        "residual",
        ("residual",),
        "The power still missing with the lenses in place.",
        lambda: rays_figure(-0.50, distance_cm=67, uid="term-residual"),
    ),
    GlossaryTerm(
        "over-refraction",
        ("over-refraction",),
        "A refraction found over a lens that is worn. The eye needs both lenses together.",
        lambda: trial_frame([SphCyl(-2.00), SphCyl(0.50)], uid="term-over-refraction", notes={0: "worn"}),
    ),
    GlossaryTerm(
        "vertex-distance",
        ("vertex distance",),
        "The distance from the cornea to the back of a lens. A strong lens must change its power when that changes.",
        lambda: vertex(SphCyl(-8.00), toward_eye_mm=12, uid="term-vertex-distance", acts_as=SphCyl(-7.25)),
    ),
    GlossaryTerm(
        "fogging",
        ("fogging", "fogged", "fog"),
        "Adding plus so that the patient cannot gain by accommodating. The other eye is fogged while you measure one.",
        lambda: trial_frame([SphCyl(1.00), SphCyl(1.50)], uid="term-fogging", notes={1: "fog"}),
    ),
    GlossaryTerm(
        "fixation-target",
        ("fixation target", "fixation"),
        "What the patient looks at. A far target relaxes accommodation; a near one makes the result too minus.",
        lambda: near_card(target_cm=40, scope_cm=67, uid="term-fixation-target"),
    ),
    GlossaryTerm(
        "lag",
        ("lag of accommodation", "lag"),
        "How far accommodation falls short of what a near target demands.",
        lambda: near_card(target_cm=40, scope_cm=50, uid="term-lag"),
    ),
    GlossaryTerm(
        "off-axis",
        ("off axis",),
        "The sight hole is beside the patient's line of gaze. The result then has a false cylinder.",
        lambda: sighting_plan(offset_cm=12, distance_cm=67, uid="term-off-axis", angle=10),
    ),
    GlossaryTerm(
        "spherical-aberration",
        ("spherical aberration",),
        "The edge of a wide pupil has another power than its centre. Judge the middle 3 to 4 mm.",
        lambda: zones("neutral", "against", uid="term-spherical-aberration"),
    ),
    GlossaryTerm(
        "scissors",
        ("scissors reflex", "scissors"),
        "Two bands in one pupil that meet and part as you sweep. An irregular cornea gives it, and so can a wide "
        "pupil.",
        lambda: odd_reflex("scissors", uid="term-scissors", name_it=True),
    ),
    GlossaryTerm(
        "leaning-in",
        ("leaning in", "lean in"),
        "Moving closer to test an end-point. A true one changes to with, equally in both meridians.",
        lambda: lean_in((90, "wide"), (180, "wide"), uid="term-leaning-in"),
    ),
    GlossaryTerm(
        "record",
        ("record card", "record"),
        "What is written for each eye: net or gross, the distance, and whether drops were used.",
        lambda: record_card(
            {"sphere": "+1.00", "cylinder": "−1.50", "axis": "180"},
            {"sphere": "+0.75", "cylinder": "", "axis": ""},
            ("net, 67 cm, no drops",),
            uid="term-record",
        ),
    ),
)

_NAMES = tuple(re.compile("|".join(rf"\b{word}s?\b" for word in term.words), re.IGNORECASE) for term in TERMS)
"""What names each term: letters, blanks and hyphens alone."""


def terms_in(texts: Iterable[str]) -> tuple[GlossaryTerm, ...]:
    """Return the terms that texts use, in the order of the glossary."""
    named = frozenset[int]().union(*map(_named_in, texts))
    return tuple(term for number, term in enumerate(TERMS) if number in named)


@lru_cache(2048)
def _named_in(text: str) -> frozenset[int]:
    """Return the numbers of the terms that a text names; a case and its mark ask about the same texts."""
    return frozenset(number for number, names in enumerate(_NAMES) if names.search(text))
