"""Odd reflexes: how each looks, what it may mean with what else is known, and what it calls for.

Recognise and act, never diagnose: an absent, white or grossly unequal reflex is referred by the local protocol at once.
Sources: scissors and cones, Al-Mahrouqi 2019, Cornea 38:442, and Goebels 2015, Cont Lens Ant Eye 38:234; white reflex,
NICE NG12 and NG127 and the Childhood Eye Cancer Trust's page for optometrists; the rest is common practice, no
published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cases.procedure.choices import Choice, Option


@dataclass(frozen=True)
class Sight:
    """One odd reflex with what else is known of it, and what it may mean."""

    reflex: str
    label: str
    """What else is known, as a finding has it."""
    meaning: str
    why: str
    """Why it means that."""
    first_guess: str = ""
    """What the reflex alone would suggest, where what else is known speaks against it."""
    ages: tuple[int, int] = (20, 75)
    """Youngest and oldest patient, in years, whom it is told of; the age alone decides nothing within these."""


SIGHTS: Mapping[str, Sight] = {
    "cylinder-rising": Sight(
        "scissors",
        "Both bands show in the middle of the pupil, and the cylinder has grown since last year.",
        "cornea",
        "Two bands in the middle that no cylinder turns into one belong to an irregular cornea.",
        ages=(14, 35),
    ),
    "middle-plain": Sight(
        "scissors",
        "The pupil is very wide. Through the middle 3 to 4 mm alone there is one plain band.",
        "aberration",
        "The middle is plain, so the two bands come from the outer zone of a wide pupil.",
        first_guess="cornea",
        ages=(20, 50),
    ),
    "young-cylinder-changing": Sight(
        "oil-drop",
        "The cylinder has changed at each of the last three visits, and the lens of the eye is clear.",
        "cornea",
        "At that age a round core inside a shadow, with a changing cylinder, is suspect of a cone-shaped cornea.",
        ages=(13, 20),
    ),
    "old-more-minus": Sight(
        "oil-drop",
        "The patient has become more short-sighted, and the corneas are regular.",
        "lens",
        "A regular cornea and a shift to minus at that age point to the nucleus of the lens.",
        first_guess="cornea",
        ages=(65, 85),
    ),
    "stays-after-blink": Sight(
        "dark-shadow",
        "It keeps its place in the pupil after every blink.",
        "lens",
        "What stops the light and stays put does not float: an opacity of the lens or, as a scar, of the cornea.",
    ),
    "slides-after-blink": Sight(
        "dark-shadow",
        "It slides down after every blink.",
        "tears",
        "What moves with a blink floats on the cornea: mucus, or an uneven tear film.",
        first_guess="lens",
    ),
    "small-steps-tried": Sight(
        "dim",
        "The media look clear. Plus and minus half a dioptre have been tried, and nothing changed.",
        "large-error",
        "Dim and without movement, through clear media, is a large error in disguise.",
        ages=(18, 70),
    ),
    "all-steps-tried": Sight(
        "dim",
        "Strong plus, strong minus and moving in have been tried, and nothing changed.",
        "behind",
        "No lens and no distance brightens it: dense media, or disease behind the pupil, keeps the light back.",
        first_guess="large-error",
    ),
    "child-always": Sight(
        "white",
        "It is white in every direction of gaze.",
        "behind",
        "White instead of red: a dense cataract or disease at the back of the eye can look like this.",
        ages=(1, 3),
    ),
    "child-to-one-side": Sight(
        "white",
        "It is white only when the child looks to one side.",
        "behind",
        "One direction of gaze is enough: something pale may come into your beam just then.",
        ages=(1, 4),
    ),
    "child-photographs": Sight(
        "white",
        "The parents have noticed the same in photographs for a month.",
        "behind",
        "White in photographs and in your beam too: a stray reflection is unlikely.",
        ages=(1, 5),
    ),
    "evened-by-lens": Sight(
        "unequal",
        "The patient sees well with spectacles. With +3.50 in front of the left eye alone both glow equally.",
        "unequal-errors",
        "A lens evens them out, so it is the two refractions that differ.",
        ages=(20, 65),
    ),
    "never-evened": Sight(
        "unequal",
        "No lens before the left eye brings its glow up to that of the right.",
        "one-side",
        "No lens evens them out, so the left eye sends less light back: a squint, cloudy media or disease.",
        first_guess="unequal-errors",
        ages=(2, 7),
    ),
    "looks-at-light": Sight(
        "fluctuating",
        "The patient looks at your light.",
        "accommodation",
        "Reflex and pupil change together while you hold still: the eye is accommodating.",
        ages=(18, 32),
    ),
    "looks-far": Sight(
        "fluctuating",
        "The patient looks at the far chart, and no drops were given.",
        "accommodation",
        "A child can accommodate at a far chart too, and the shrinking pupil gives it away.",
        ages=(6, 12),
    ),
}

REFLEXES = Choice(
    (
        Option("scissors", "two bands that meet and part"),
        Option("oil-drop", "a round core inside a shadow"),
        Option("dark-shadow", "a dark patch in a lit pupil"),
        Option("dim", "faint light, no band"),
        Option("white", "a white glow"),
        Option("unequal", "one eye bright, one faint"),
        Option("fluctuating", "now wide and bright, now narrow and faint"),
    )
)
BESIDE = Choice(tuple(Option(name, sight.label) for name, sight in SIGHTS.items()))
MEANINGS = Choice(
    (
        Option(
            "cornea",
            "an irregular cornea, such as ectasia",
            "two bands show in the middle of the pupil, or a ring of shadow goes with a changing cylinder",
        ),
        Option(
            "lens",
            "a partial opacity of cornea or lens, or a changed lens",
            "a dark patch keeps its place, or an older eye with a regular cornea turns more myopic",
        ),
        Option("tears", "mucus or an uneven tear film", "the shadow moves with a blink"),
        Option("aberration", "aberration of a wide pupil", "the pupil is wide and its middle shows one plain band"),
        Option(
            "accommodation",
            "accommodation at work",
            "reflex and pupil change together while lens and streak are held still",
        ),
        Option(
            "large-error",
            "a large error, far from neutral",
            "the reflex is faint, the media are clear and strong lenses have not been tried",
        ),
        Option("unequal-errors", "unequal refraction", "a lens in front of the fainter eye makes both glow equally"),
        Option(
            "one-side",
            "one side only: squint, cloudy media or disease, a tumour not ruled out",
            "no lens makes the fainter eye glow like the other",
        ),
        Option(
            "behind",
            "dense media, such as a dense cataract, or disease behind the pupil, a tumour not ruled out",
            "the glow is white, or the pupil stays faint with everything tried",
        ),
        Option(
            "neutral",
            "nothing: it is near neutral",
            "the pupil is bright and red or orange all over, and nothing moves",
        ),
    )
)
ACTIONS = Choice(
    (
        Option(
            "refer-now",
            "refer by the local protocol at once, number or none",
            "the reflex is white, absent or grossly unequal",
        ),
        Option(
            "note-refer",
            "measure what can be judged, note it, refer by the local protocol",
            "an irregular cornea or an opacity is suspected, and nothing points to an emergency",
        ),
        Option(
            "measure-on",
            "measure both eyes to the end, then compare them",
            "the two refractions are unequal and there is no other sign",
        ),
        Option(
            "middle-only",
            "judge the middle of the pupil alone and go on",
            "only the outer zone of a wide pupil disturbs",
        ),
        Option("blink", "have the patient blink, look again", "the tear film disturbs"),
        Option(
            "relax",
            "far target, fog, measure again, and cycloplegia by local rules if it goes on",
            "accommodation is at work",
        ),
        Option("large-steps", "try strong plus and strong minus, or move in", "a large error is suspected"),
        Option("write-down", "write down the lens in place and go on", "the reflex is at neutral"),
        Option(
            "wait", "look again at the next visit", "never here: what is odd in a reflex is cleared up or referred now"
        ),
    )
)
ACTION_FOR: Mapping[str, str] = {
    "cornea": "note-refer",
    "lens": "note-refer",
    "tears": "blink",
    "aberration": "middle-only",
    "accommodation": "relax",
    "large-error": "large-steps",
    "unequal-errors": "measure-on",
    "one-side": "refer-now",
    "behind": "refer-now",
    "neutral": "write-down",
}
ACTION_WORDS: Mapping[str, str] = {
    "refer-now": (
        "An absent, white or grossly unequal reflex is referred by the local protocol at once, number or none."
    ),
    "note-refer": "Measure what can be judged, write down what was seen, and refer by the local protocol.",
    "measure-on": "Measure both to the end; what follows from the difference is for the local rules.",
    "middle-only": "The middle 3 to 4 mm are what the eye sees with: judge those and leave the rim.",
    "blink": "A blink moves it away; judge straight after one.",
    "relax": (
        "Give a far target and fog, and measure again. Cycloplegia, if needed, by local rules and the "
        "product's information."
    ),
    "large-steps": "Small steps show nothing so far out: strong plus, strong minus, or a move in.",
    "write-down": "The lens in place written down as neutral.",
    "wait": "Left for the next visit.",
}
SEEN: Mapping[str, str] = {
    "scissors": "Two bands of light in one pupil close towards each other and open again during one sweep.",
    "oil-drop": "A round lit core in the middle of the pupil is set off from the rest by a ring of shadow.",
    "dark-shadow": "The pupil is lit apart from one dark patch with a clear edge.",
    "dim": "The whole pupil is faintly lit; no band can be seen, and nothing seems to move.",
    "white": "The whole pupil glows white where a red or orange glow is expected.",
    "unequal": "The right pupil glows brightly, the left one only faintly.",
    "fluctuating": (
        "With the same lens and the streak held still, the reflex is now wide and bright, now narrow and faint, and "
        "the pupil is smaller when it is faint."
    ),
}
