"""Family H, odd reflexes: what is seen, what it may mean, and what to do about it."""

from __future__ import annotations

from typing import Any, cast

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.families.checking import FAMILY
from cases.fields import Field, Group
from cases.figures_odd import OddReflex, odd_reflex
from cases.keys import Key, Rule, Slip, as_found, asking, given, untyped
from cases.kinds import BadFinding
from cases.odd_reflexes import ACTION_FOR, ACTION_WORDS, ACTIONS, BESIDE, MEANINGS, REFLEXES, SEEN, SIGHTS
from cases.working import Known, Skill, SlipName
from cases.working import Slip as OldSlip

RECOGNISE = Skill("recognise-reflex", "recognising an odd reflex")
MEANING = Skill("reflex-meaning", "saying what an odd reflex may mean")
ACTION = Skill("reflex-action", "deciding what an odd reflex calls for")

_CONE = "Al-Mahrouqi 2019, Cornea 38:442 (scissors reflex); Goebels 2015, Cont Lens Ant Eye 38:234"
_RED_REFLEX = "NICE NG12 and NG127; Childhood Eye Cancer Trust, page for optometrists"


WHITE_FOR_BRIGHT = SlipName(
    "white-taken-for-bright",
    "took a white pupil for a bright reflex",
    "Bright near neutral is red or orange. White is another thing altogether, and it cannot wait.",
    _RED_REFLEX,
)
BANDS_FOR_FLICKER = SlipName(
    "two-bands-taken-for-fluctuation",
    "took two bands for a focus that will not settle",
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
    "A ring with a lit core is bent light, not stopped light. An opacity is dark through and through.",
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
    "gave the media up before trying strong lenses",
    "The media look clear and only weak lenses have been tried. A large error looks just like this: try it first.",
)
TEARS_BLAMED = SlipName(
    "tear-film-blamed",
    "put it down to the tear film",
    "A tear film changes with a blink. Nothing here did.",
)
HARMLESS_OPACITY = SlipName(
    "white-taken-for-plain-opacity",
    "took a white pupil for a plain opacity that can wait",
    "It may be one, but a tumour looks the same and nobody can tell from here. It is urgent until that is ruled out.",
    _RED_REFLEX,
)
SQUINT_BLAMED = SlipName(
    "squint-blamed",
    "blamed a squint or the media though a lens made both alike",
    "Once a lens makes both glow alike, the light does come back from both: it is the refractions that differ.",
)
NUMBER_FORCED = SlipName(
    "number-forced",
    "wrote a number where there was none to be had",
    "A number that nobody could read will be believed by whoever reads the record. Write what you saw instead.",
)
WAITED = SlipName(
    "referral-put-off",
    "put the referral off to the next visit",
    "It will not be better by then, and the time may count. Note it today and refer by the local path.",
    _RED_REFLEX,
)
WITHOUT_HURRY = SlipName(
    "referral-without-hurry",
    "referred, but as if there were time",
    "This sort goes by the urgent path, the same day where the local rules say so.",
    _RED_REFLEX,
)
REFERRED_TOO_SOON = SlipName(
    "referred-too-soon",
    "referred at once what a simple step would have cleared up",
    "Nothing here is an emergency yet. Take the simple step first, and refer if it does not help.",
)


SIGHT = Key[str]("sight")
NEUTRAL = Key[bool]("neutral")


def _as_sight(name: str) -> Rule[str]:
    """Go on as if this had been seen."""
    return given()(lambda: name)


@given(SIGHT)
def _sees(sight: str) -> str:
    return f"Seen: {REFLEXES.write(SIGHTS[sight].reflex)}."


@given(SIGHT)
def _mistaken(sight: str) -> str:
    return f"Taken for: {REFLEXES.write(SIGHTS[sight].reflex)}."


def _means(meaning: str) -> Rule[str]:
    return given()(lambda: meaning)


MEANING_ASKED = Field("meaning", "What may it mean?", MEANINGS)


@given(MEANING_ASKED)
def _meaning_words(meaning: str) -> str:
    return f"Taken to mean {MEANINGS.write(meaning)}."


def _acts(action: str) -> Rule[str]:
    return given()(lambda: action)


ACTION_ASKED = Field("action", "What do you do?", ACTIONS)


@given(ACTION_ASKED)
def _action_words(action: str) -> str:
    return ACTION_WORDS[action]


def _is(*reflexes: str) -> Rule[bool]:
    return given(REFLEX)(lambda reflex: reflex in reflexes)


def _meant(*meanings: str) -> Rule[bool]:
    return given(MEANING_ASKED)(lambda meaning: meaning in meanings)


def _called_for(*actions: str) -> Rule[bool]:
    return given(MEANING_ASKED)(lambda meaning: ACTION_FOR[meaning] in actions)


BESIDE_FOUND = Field("beside", "What else is known", BESIDE)


@given(BESIDE_FOUND)
def _neutral(beside: str) -> tuple[str, bool]:
    return (beside, True)


def _judged(known: Known) -> dict[str, Any]:
    return {"meaning": "neutral" if known.get("neutral") else SIGHTS[known["sight"]].meaning}


def _judged_words(known: Known) -> str:
    if known.get("neutral"):
        return "Taken for a reflex at neutral."
    return f"{SIGHTS[known['sight']].why} It may be {MEANINGS.write(known['meaning'])}."


REFLEX = Field("reflex", "What is seen", REFLEXES)
_RECOGNISING = SIGHT.step(
    RECOGNISE,
    run=given(BESIDE_FOUND)(lambda beside: beside),
    says=_sees,
    slips=(
        OldSlip(
            skills.DULL_AS_NEUTRAL,
            run=given(SIGHT, NEUTRAL).by(_neutral),
            says=given()(lambda: "Taken for neutral."),
            live=_is("dim"),
        ),
        OldSlip(
            WHITE_FOR_BRIGHT,
            run=given(SIGHT, NEUTRAL).by(_neutral),
            says=given()(lambda: "Taken for a bright reflex."),
            live=_is("white"),
        ),
        Slip(BANDS_FOR_FLICKER, run=_as_sight("looks-far"), says=_mistaken, live=_is("scissors")),
        Slip(
            RING_FOR_OPACITY,
            run=_as_sight("stays-after-blink"),
            says=_mistaken,
            live=given(BESIDE_FOUND)(lambda beside: beside == "young-cylinder-changing"),
        ),
        Slip(FLICKER_FOR_BANDS, run=_as_sight("cylinder-rising"), says=_mistaken, live=_is("fluctuating")),
    ),
)

_EXPLAINING = MEANING_ASKED.step(
    MEANING,
    run=untyped(lambda known: _judged(known)["meaning"]),
    says=untyped(_judged_words),
    slips=(
        Slip(
            REST_IGNORED,
            run=given(SIGHT)(lambda sight: SIGHTS[sight].first_guess),
            says=_meaning_words,
            live=untyped(lambda known: bool(SIGHTS[known["sight"]].first_guess) and not known.get("neutral")),
        ),
        Slip(
            PUPIL_BLAMED,
            run=_means("aberration"),
            says=_meaning_words,
            live=given(SIGHT)(lambda sight: sight == "cylinder-rising"),
        ),
        Slip(
            MEDIA_BLAMED,
            run=_means("lens"),
            says=_meaning_words,
            live=untyped(lambda known: known["sight"] == "small-steps-tried" and not known.get("neutral")),
        ),
        Slip(
            TEARS_BLAMED,
            run=_means("tears"),
            says=_meaning_words,
            live=given(SIGHT)(lambda sight: sight in ("stays-after-blink", "looks-at-light", "looks-far")),
        ),
        Slip(
            HARMLESS_OPACITY,
            run=_means("lens"),
            says=_meaning_words,
            live=untyped(lambda known: SIGHTS[known["sight"]].reflex == "white" and not known.get("neutral")),
        ),
        Slip(
            SQUINT_BLAMED,
            run=_means("one-side"),
            says=_meaning_words,
            live=given(SIGHT)(lambda sight: sight == "evened-by-lens"),
        ),
    ),
)

_ACTING = ACTION_ASKED.step(
    ACTION,
    run=given(MEANING_ASKED)(lambda meaning: ACTION_FOR[meaning]),
    says=_action_words,
    slips=(
        Slip(NUMBER_FORCED, run=_acts("write-down"), says=_action_words, live=_called_for("refer-now", "large-steps")),
        Slip(WAITED, run=_acts("wait"), says=_action_words, live=_called_for("refer-now", "note-refer")),
        Slip(WITHOUT_HURRY, run=_acts("note-refer"), says=_action_words, live=_called_for("refer-now")),
        Slip(
            REFERRED_TOO_SOON,
            run=_acts("refer-now"),
            says=given()(lambda: "Referred by the local path at once."),
            live=_meant("tears", "aberration", "accommodation", "large-error", "unequal-errors"),
        ),
    ),
)


def _draw(chance: Chance, _: Settings) -> dict[str, Any]:
    reflex = chance.among([option.id for option in REFLEXES.options])
    return {"reflex": reflex, "beside": chance.among([n for n, sight in SIGHTS.items() if sight.reflex == reflex])}


@given(BESIDE_FOUND, REFLEX)
def _begin(beside: str, reflex: str) -> None:
    sight = SIGHTS[beside]
    if sight.reflex != reflex:
        fitting = ", ".join(name for name, one in SIGHTS.items() if one.reflex == reflex)
        raise BadFinding(beside, f"that goes with another reflex; here give one of {fitting}")


odd = CaseType(
    id="odd-reflex",
    title="An odd reflex: what it may mean and what to do",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            REFLEX,
            BESIDE_FOUND,
        )
    ),
    asks=(
        MEANING_ASKED,
        ACTION_ASKED,
    ),
    draw=_draw,
    holds=_begin,
    steps=(_RECOGNISING, _EXPLAINING, _ACTING),
    answer=as_found(MEANING_ASKED, ACTION_ASKED),
    found=given(REFLEX, BESIDE_FOUND)(lambda reflex, beside: (SEEN[reflex], SIGHTS[beside].label)),
    question=asking("What may that mean, and what do you do now?"),
    figure=given(REFLEX).drawing(lambda uid, reflex: odd_reflex(cast("OddReflex", reflex), uid=uid)),
    needs=("next-lens",),
    form=lambda _: None,
    sources=(_CONE, _RED_REFLEX, "dim and unequal reflexes, shadows: common practice, no published source"),
)

TYPES = (odd,)
