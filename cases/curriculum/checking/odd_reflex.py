"""Family H, odd reflexes: what is seen, what it may mean, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View
from cases.curriculum.bench_types import Moving, wanting
from cases.curriculum.checking import FAMILY
from cases.curriculum.drawn_eyes import AGE, first_fitting
from cases.curriculum.odd_reflexes import ACTION_FOR, ACTION_WORDS, ACTIONS, BESIDE, MEANINGS, REFLEXES, SEEN, SIGHTS
from cases.figures.unusual_reflexes import OddReflex, odd_reflex
from cases.patients.mixture import POPULATION_SHARE
from cases.patients.patient import SIDES, Medium, Patient, Side
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

RECOGNISE = Skill("recognise-reflex", "recognising an odd reflex")
MEANING = Skill("reflex-meaning", "saying what an odd reflex may mean")
ACTION = Skill("reflex-action", "deciding what an odd reflex calls for")

WHITE_FOR_BRIGHT = SlipName(
    "white-taken-for-bright",
    "took a white pupil for a bright reflex",
    "A bright reflex near neutral is red or orange. A white one is a different finding, and it cannot wait.",
    ("red-reflex-guidance", "eye-cancer-trust"),
)
BANDS_FOR_FLICKER = SlipName(
    "two-bands-taken-for-fluctuation",
    "took two bands for a changing focus",
    "Two bands are there at the same time and move with your sweep. A focus that changes does so while you hold still.",
)
FLICKER_FOR_BANDS = SlipName(
    "fluctuation-taken-for-two-bands",
    "took a changing focus for two bands in one pupil",
    "There was one band at a time, and it changed while the streak stood still. Two bands move as you sweep.",
)
RING_FOR_OPACITY = SlipName(
    "ring-taken-for-opacity",
    "took the ring of shadow for an opacity",
    "A ring with a lit core comes from refraction, not from blocked light. An opacity is dark throughout.",
)
REST_IGNORED = SlipName(
    "rest-of-findings-ignored",
    "went by the reflex alone",
    "The reflex alone would suggest that, but what else was found speaks against it. Read the two together.",
)
PUPIL_BLAMED = SlipName(
    "wide-pupil-blamed",
    "put two bands in the middle down to a wide pupil",
    "The outer zone of a wide pupil can do that; the middle cannot. Here both bands stood in the middle.",
)
MEDIA_BLAMED = SlipName(
    "media-blamed-too-soon",
    "blamed the media before trying strong lenses",
    "The media look clear and only weak lenses have been tried. A large error looks just like this: try it first.",
)
TEARS_BLAMED = SlipName(
    "tear-film-blamed",
    "put it down to the tear film",
    "A tear film changes with a blink. Nothing here did.",
)
HARMLESS_OPACITY = SlipName(
    "white-taken-for-plain-opacity",
    "took a white pupil for a partial opacity that can wait",
    "It may be a cataract, but a tumour can look the same through the retinoscope. It is urgent until that is "
    "ruled out.",
    ("red-reflex-guidance", "eye-cancer-trust"),
)
SQUINT_BLAMED = SlipName(
    "squint-blamed",
    "blamed a squint or the media although a lens made both glow equally",
    "If a lens makes both glow equally, light comes back from both: the refractions differ.",
)
NUMBER_FORCED = SlipName(
    "number-forced",
    "wrote a number although nothing could be measured",
    "A number that nobody could read will be believed by the next person to read the record. Write what you saw "
    "instead.",
)
WAITED = SlipName(
    "referral-put-off",
    "put the referral off to the next visit",
    "It will not be better by then, and the time may count. Note it today and refer by the local protocol.",
    ("red-reflex-guidance", "eye-cancer-trust"),
)
WITHOUT_HURRY = SlipName(
    "referral-without-hurry",
    "referred, but as if there were time",
    "This finding needs an urgent referral, the same day where the local rules say so.",
    ("red-reflex-guidance", "eye-cancer-trust"),
)
REFERRED_TOO_SOON = SlipName(
    "referred-too-soon",
    "referred at once what a simple step would have cleared up",
    "Nothing here is an emergency yet. Take the simple step first, and refer if it does not help.",
)


REFLEX = Field("reflex", "What is seen", REFLEXES)
KNOWN_BESIDE = Field("beside", "What else you know", BESIDE)
EYES = Choice((Option("right", "right eye"), Option("left", "left eye")))
MAY_MEAN = Field("meaning", "What may it mean?", MEANINGS)
TO_DO = Field("action", "What do you do?", ACTIONS)
EYE = Field("eye", "Which eye it is seen in", EYES, default="left")
SIGHT = Key[str]("sight")

AT_NEUTRAL = "neutral"
"""The sight of the person who takes an odd reflex for one at neutral; as a meaning it has the same name."""


def _always(name: str) -> Rule[str]:
    """Go on as if this had been seen, meant or called for."""
    return given()(lambda: name)


@given(SIGHT)
def _sees(sight: str) -> str:
    return f"Seen: {REFLEXES.write(SIGHTS[sight].reflex)}."


@given(SIGHT)
def _mistaken(sight: str) -> str:
    return f"Taken for: {REFLEXES.write(SIGHTS[sight].reflex)}."


@given(MAY_MEAN)
def _meaning_words(meaning: str) -> str:
    return f"Taken to mean {MEANINGS.write(meaning)}."


@given(TO_DO)
def _action_words(action: str) -> str:
    return ACTION_WORDS[action]


def _is(*reflexes: str) -> Rule[bool]:
    return given(REFLEX)(lambda reflex: reflex in reflexes)


def _seen(*sights: str) -> Rule[bool]:
    return given(SIGHT)(lambda sight: sight in sights)


def _meant(*meanings: str) -> Rule[bool]:
    return given(MAY_MEAN)(lambda meaning: meaning in meanings)


def _called_for(*actions: str) -> Rule[bool]:
    return given(MAY_MEAN)(lambda meaning: ACTION_FOR[meaning] in actions)


@given(SIGHT, MAY_MEAN)
def _judged_words(sight: str, meaning: str) -> str:
    if sight == AT_NEUTRAL:
        return "Taken for a reflex at neutral."
    return f"{SIGHTS[sight].why} It may be {MEANINGS.write(meaning)}."


_RECOGNISING = SIGHT.step(
    RECOGNISE,
    run=given(KNOWN_BESIDE)(lambda beside: beside),
    says=_sees,
    slips=(
        Slip(
            skills.DULL_AS_NEUTRAL,
            run=_always(AT_NEUTRAL),
            says=given()(lambda: "Taken for neutral."),
            live=_is("dim"),
        ),
        Slip(
            WHITE_FOR_BRIGHT,
            run=_always(AT_NEUTRAL),
            says=given()(lambda: "Taken for a bright reflex."),
            live=_is("white"),
        ),
        Slip(BANDS_FOR_FLICKER, run=_always("looks-far"), says=_mistaken, live=_is("scissors")),
        Slip(
            RING_FOR_OPACITY,
            run=_always("stays-after-blink"),
            says=_mistaken,
            live=given(KNOWN_BESIDE)(lambda beside: beside == "young-cylinder-changing"),
        ),
        Slip(FLICKER_FOR_BANDS, run=_always("cylinder-rising"), says=_mistaken, live=_is("fluctuating")),
    ),
)

_EXPLAINING = MAY_MEAN.step(
    MEANING,
    run=given(SIGHT)(lambda sight: AT_NEUTRAL if sight == AT_NEUTRAL else SIGHTS[sight].meaning),
    says=_judged_words,
    slips=(
        Slip(
            REST_IGNORED,
            run=given(SIGHT)(lambda sight: SIGHTS[sight].first_guess),
            says=_meaning_words,
            live=given(SIGHT)(lambda sight: sight != AT_NEUTRAL and SIGHTS[sight].first_guess != ""),
        ),
        Slip(
            PUPIL_BLAMED,
            run=_always("aberration"),
            says=_meaning_words,
            live=_seen("cylinder-rising"),
        ),
        Slip(
            MEDIA_BLAMED,
            run=_always("lens"),
            says=_meaning_words,
            live=_seen("small-steps-tried"),
        ),
        Slip(
            TEARS_BLAMED,
            run=_always("tears"),
            says=_meaning_words,
            live=_seen("stays-after-blink", "looks-at-light", "looks-far"),
        ),
        Slip(
            HARMLESS_OPACITY,
            run=_always("lens"),
            says=_meaning_words,
            live=given(SIGHT)(lambda sight: sight != AT_NEUTRAL and SIGHTS[sight].reflex == "white"),
        ),
        Slip(
            SQUINT_BLAMED,
            run=_always("one-side"),
            says=_meaning_words,
            live=_seen("evened-by-lens"),
        ),
    ),
)

_ACTING = TO_DO.step(
    ACTION,
    run=given(MAY_MEAN)(lambda meaning: ACTION_FOR[meaning]),
    says=_action_words,
    slips=(
        Slip(
            NUMBER_FORCED, run=_always("write-down"), says=_action_words, live=_called_for("refer-now", "large-steps")
        ),
        Slip(WAITED, run=_always("wait"), says=_action_words, live=_called_for("refer-now", "note-refer")),
        Slip(WITHOUT_HURRY, run=_always("note-refer"), says=_action_words, live=_called_for("refer-now")),
        Slip(
            REFERRED_TOO_SOON,
            run=_always("refer-now"),
            says=given()(lambda: "Referred by the local protocol at once."),
            live=_meant("tears", "aberration", "accommodation", "large-error", "unequal-errors"),
        ),
    ),
)


@given(KNOWN_BESIDE, REFLEX)
def _defensible(beside: str, reflex: str) -> tuple[Defensible, ...]:
    """Credit what this look cannot tell from the likeliest; all of it is referred at once. Common practice."""
    examined = "The retinoscope cannot separate these causes. Refer at once: media and fundus are examined there."
    match beside:
        case "never-evened":
            because = "Disease behind one pupil, a tumour among it, makes the glow of two eyes unequal too."
            return (Defensible(MAY_MEAN.to("behind"), 0.7, because, examined),)
        case "all-steps-tried":
            because = "An opacity of part of the media may be dense enough to keep the light back."
            return (Defensible(MAY_MEAN.to("lens"), 0.5, because, examined),)
    if reflex == "white":
        because = "It is seen in one eye, and cloudy media or disease of one eye is what that answer names too."
        return (Defensible(MAY_MEAN.to("one-side"), 0.6, because, examined),)
    return ()


SIGHTS_OF: dict[Medium, tuple[str, ...]] = {
    "keratoconus": ("cylinder-rising", "young-cylinder-changing"),
    "nuclear opacity": ("old-more-minus",),
    "cortical opacity": ("stays-after-blink",),
    "subcapsular opacity": ("stays-after-blink",),
    "scar": ("stays-after-blink",),
    "tear film": ("slides-after-blink",),
    "vitreous haze": ("all-steps-tried",),
    "no reflex": ("all-steps-tried",),
    "white reflex": ("child-always", "child-to-one-side", "child-photographs"),
}
HARD_TO_READ_D = 5.0
"""From about this far from neutral, in D, a reflex is dim and seems to stand still: common practice."""
WIDE_PUPIL_MM = 6.5
LOOKS_NEAR_ONCE_IN = 0.15
"""Any young patient's reflex can fluctuate: the share who are taken for it, so that they do not crowd out the rest."""


def _sights(patient: Patient, side: Side, chance: Chance) -> list[str]:
    """Return what this eye of a patient can show, of those sights that go with the patient's age."""
    eye = patient.eye(side)
    found = [name for medium in eye.media for name in SIGHTS_OF.get(medium, ())]
    if not found:
        if eye.natural_lens and abs(eye.M) >= HARD_TO_READ_D:
            found.append("small-steps-tried")
        if side == "left" and patient.left.M - patient.right.M >= 2:
            found.append("never-evened" if eye.best_logmar > 0.2 else "evened-by-lens")
        if eye.pupil_dim_mm >= WIDE_PUPIL_MM and eye.margin_per_mm2 < 0:
            found.append("middle-plain")
        if patient.amplitude_d >= 3 and chance.happens(LOOKS_NEAR_ONCE_IN):
            found += ["looks-at-light", "looks-far"]
    return [name for name in found if SIGHTS[name].ages[0] <= round(patient.age_y) <= SIGHTS[name].ages[1]]


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw what a patient of the mixture shows in three cases of five, else every reflex as often as any other."""
    side = chance.among(SIDES)

    def fits(patient: Patient) -> tuple[str, float] | None:
        sights = _sights(patient, side, chance)
        return (chance.among(sights), float(round(patient.age_y))) if sights else None

    found = first_fitting(chance, settings, fits) if chance.happens(POPULATION_SHARE) else None
    if found is not None:
        beside, age = found
        return given(REFLEX, KNOWN_BESIDE, AGE, EYE).to(SIGHTS[beside].reflex, beside, age, side)
    reflex = chance.among([option.id for option in REFLEXES.options])
    beside = chance.among([name for name, sight in SIGHTS.items() if sight.reflex == reflex])
    # Of two unequal glows the figure and the words have the left one faint.
    eye = "left" if reflex == "unequal" else chance.among(SIDES)
    return given(REFLEX, KNOWN_BESIDE, AGE, EYE).to(reflex, beside, float(chance.whole(*SIGHTS[beside].ages)), eye)


@given(KNOWN_BESIDE, AGE)
def _years(beside: str, age: float) -> int:
    youngest, oldest = SIGHTS[beside].ages
    return round(age) or (youngest + oldest) // 2


@given(_years, REFLEX, EYE, KNOWN_BESIDE)
def _found(age: int, reflex: str, eye: str, beside: str) -> tuple[str, ...]:
    years = "1 year" if age == 1 else f"{age} years"
    where = "" if reflex == "unequal" else f", {eye} eye"
    return (f"The patient is {years} old{where}. {SEEN[reflex]}", SIGHTS[beside].label)


@given(KNOWN_BESIDE, REFLEX, AGE, EYE)
def _go_together(beside: str, reflex: str, age: float, eye: str) -> None:
    youngest, oldest = SIGHTS[beside].ages
    if age and not youngest <= age <= oldest:
        raise BadFinding(age, f"with “{beside}” the patient is {youngest} to {oldest} years old")
    if reflex == "unequal" and eye != "left":
        raise BadFinding(eye, "of two unequal glows the left one is faint here")
    if SIGHTS[beside].reflex != reflex:
        fitting = ", ".join(name for name, one in SIGHTS.items() if one.reflex == reflex)
        raise BadFinding(beside, f"that goes with another reflex; here give one of {fitting}")


odd = CaseType(
    id="odd-reflex",
    title="An odd reflex: what it may mean and what to do",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((REFLEX, KNOWN_BESIDE, AGE, EYE)),
    asks=(MAY_MEAN, TO_DO),
    draw=_draw,
    holds=_go_together,
    steps=(_RECOGNISING, _EXPLAINING, _ACTING),
    answer=as_found(MAY_MEAN, TO_DO),
    found=_found,
    question=asking("What may that mean, and what do you do now?"),
    figure=given(REFLEX).drawing(lambda uid, reflex: odd_reflex(cast("OddReflex", reflex), uid=uid)),
    needs=("next-lens",),
    defensible=_defensible,
    sources=("al-mahrouqi-2019", "goebels-2015", "red-reflex-guidance", "eye-cancer-trust", "common-practice"),
)

# --- the moving picture -------------------------------------------------------------------------------------------

UNEQUAL = (("Right eye", 0.4), ("Left eye", -7.0))
"""D still needed in eyes that glow brightly and faintly: examples."""
BENCHES: Mapping[str, Bench] = {
    "scissors": wanting(0.25, coma=0.5, pupil_mm=7.0),
    "oil-drop": wanting(4.0, cone=6.0, filament="spot"),
    "dim": wanting(-8.0),
    "fluctuating": wanting(0.25, unrest="wavering"),
}
"""What the instrument can show, whatever it means: examples. An opacity or a white fundus it cannot."""


@given(REFLEX)
def _odd_views(reflex: str) -> tuple[View, ...]:
    """Show the reflex in the words of the case, which alone say what is odd in it."""
    if reflex == "unequal":
        return tuple(View(name, wanting(left), (SEEN[reflex],)) for name, left in UNEQUAL)
    bench = BENCHES.get(reflex)
    note = (
        ("The picture has a spot of light, and its core lies a little below the middle.",)
        if reflex == "oil-drop"
        else ()
    )
    return () if bench is None else (View("", bench, (SEEN[reflex], *note)),)


MOVING = {odd.id: Moving(_odd_views)}

TYPES = (odd,)
