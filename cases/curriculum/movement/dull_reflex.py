"""Family B, a reflex that does not move: neutral, too far off to move, or a matter for others; and what to do."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import View
from cases.curriculum.bench_types import Moving, wanting
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import PAST_NEUTRAL
from cases.curriculum.steps import DISTANCE, lens_in_place, pick_distance
from cases.figures.pupil_reflex import DrawnLook
from cases.figures.pupil_reflex import movement as draw_movement
from cases.figures.unusual_reflexes import odd_reflex
from cases.notation.prescription import write_distance
from cases.optics.vergence import working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Marks, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

NEUTRAL_OR_DULL = Skill("neutral-or-dull", "telling neutral from a reflex too dull to move")
ACT_ON_DULL = Skill("act-on-dull", "deciding what a dull reflex calls for")

NEUTRAL_DOUBTED = SlipName(
    "neutral-doubted",
    "took a bright neutral for a hidden error",
    "A large error in disguise is dull. This pupil is bright all over and goes out at once: that is neutral.",
)
QUARTER_STEPS = SlipName(
    "quarter-steps-when-dull",
    "went on in small steps behind a dull reflex",
    "So far from neutral a quarter dioptre changes nothing that you can see. Change by 4 D or more.",
)
LEFT_TO_SUBJECTIVE = SlipName(
    "dull-left-unmeasured",
    "left a dull reflex unmeasured",
    "For many patients this is the only measurement there is, and large lenses or a shorter distance often find the "
    "reflex.",
)
REFERRED_BEFORE_LOOKING = SlipName(
    "referred-before-looking",
    "referred before large lenses and a shorter distance were tried",
    "A dull reflex is often a large error. Try a large plus, a large minus and a shorter distance first.",
)
KEPT_TRYING = SlipName(
    "kept-trying",
    "went on trying when nothing had found the reflex",
    "Large lenses of either sign and a shorter distance have all failed: that is no matter of lenses any more.",
)
ABSENT_AS_DULL = SlipName(
    "absent-taken-for-large-error",
    "treated an absent or white reflex as a large error",
    "No reflex at all, or a white one, is not a matter of lenses. It is referred by the local protocol at once.",
    ("red-reflex-guidance", "eye-cancer-trust"),
)

LIGHTS = Choice(
    (
        Option("bright", "bright all over"),
        Option("dull", "faint all over"),
        Option("white", "white all over"),
        Option("absent", "none at all"),
    )
)
MEASURES = Marks(
    (
        Option("large-plus", "a lens of +6.00 or more"),
        Option("large-minus", "a lens of −6.00 or more"),
        Option("moved-in", "a distance of 20 to 33 cm"),
    )
)
ACTIONS = Choice(
    (
        Option(
            "accept", "try it by leaning in, then take it for neutral", "the pupil is bright all over and nothing moves"
        ),
        Option(
            "search",
            "try a large plus, a large minus or 20 to 33 cm: what was not tried yet",
            "the pupil is faint and a strong plus, a strong minus or a shorter distance has not been tried",
        ),
        Option("quarters", "go on in quarter-dioptre steps", "a movement can be seen and is near neutral"),
        Option(
            "leave",
            "leave the eye unmeasured and go on to the subjective",
            "never: a reflex that cannot be judged is itself a finding to act on",
        ),
        Option(
            "refer",
            "refer by the local protocol at once",
            "the pupil is white or dark, or stays faint with every lens and distance tried",
        ),
    )
)
_VISION = {
    "bright": ("6/6", "6/9"),
    "dull": ("6/60", "3/60", "counting fingers"),
    "white": ("not measurable", "counting fingers"),
    "absent": ("not measurable", "hand movements"),
}
VISIONS = Choice(
    tuple(
        Option(name, name)
        for name in ("6/6", "6/9", "6/60", "3/60", "counting fingers", "hand movements", "not measurable")
    )
)


MEANING = Key[str]("meaning")


def _draw_dull(chance: Chance, settings: Settings) -> dict[str, Any]:
    light = chance.among(("dull", "dull", "dull", "dull", "bright", "bright", "white", "absent"))
    tried: tuple[str, ...] = ()
    if light == "dull":
        tried = chance.among(
            ((), ("large-plus",), ("large-minus",), ("large-plus", "large-minus", "moved-in"))
            if settings.level != "expert"
            else (("large-plus", "large-minus"), ("large-plus", "moved-in"), ("large-plus", "large-minus", "moved-in"))
        )
    distance = pick_distance(chance, settings)
    in_place = working_vergence(distance) if light == "bright" else chance.stepped(-1, 2)
    return given(LIGHT, IN_PLACE, DISTANCE, VISION, TRIED).to(
        light, round(4 * in_place) / 4, distance, chance.among(_VISION[light]), tried
    )


def _meaning(light: str) -> str:
    return {"bright": "neutral", "dull": "far", "white": "refer", "absent": "refer"}[light]


def _all_tried(tried: tuple[str, ...]) -> bool:
    return len(tried) == len(MEASURES.options)


def _action(meaning: str, tried: tuple[str, ...]) -> str:
    if meaning == "far":
        return "refer" if _all_tried(tried) else "search"
    return {"neutral": "accept", "refer": "refer"}[meaning]


def _meant(name: SlipName, meaning: str, words: str, live: Rule[bool]) -> Slip[str]:
    return Slip(name, run=given()(lambda: meaning), says=given()(lambda: words), live=live)


def _acted(name: SlipName, action: str, words: str, live: Rule[bool]) -> Slip[str]:
    return Slip(name, run=given()(lambda: action), says=given()(lambda: words), live=live)


TRIED = Field("tried", "Tried as well, without any change", MEASURES, default=())


@given(MEANING, TRIED)
def _searching(meaning: str, tried: tuple[str, ...]) -> bool:
    return meaning == "far" and not _all_tried(tried)


_MEANINGS = {
    "neutral": "Bright all over and nothing travels: that is how neutral looks.",
    "far": "Faint, so it is not neutral, which is bright: as a rule an error too large for any movement to be seen.",
    "refer": "A white reflex, or none, is no matter of lenses.",
}
_ACTIONS_SAID = {
    "accept": "Make sure by leaning in, which must show with, and take it.",
    "refer": "Refer by the local protocol at once.",
}


ACTION = Field("action", "What next?", ACTIONS)


@given(MEANING, ACTION, TRIED)
def _action_words(meaning: str, action: str, tried: tuple[str, ...]) -> str:
    if meaning == "far" and action == "refer":
        return "Neither large lenses nor a shorter distance changed anything: refer by the local protocol at once."
    if action == "search":
        left = MEASURES.write([option.id for option in MEASURES.options if option.id not in tried])
        return f"Not tried yet: {left}. Whatever the distance then is, allow for it."
    return _ACTIONS_SAID[action]


LIGHT = Field("light", "Light in the pupil", LIGHTS)


@given(LIGHT).drawing
def _dull_figure(uid: str, light: str) -> Figure | None:
    if light == "bright":
        return draw_movement("neutral", uid=uid, look=DrawnLook(brightness="bright"), say=False)
    if light == "absent":
        return None
    return odd_reflex("dim" if light == "dull" else "white", uid=uid)


def _tried_words(tried: tuple[str, ...]) -> tuple[str, ...]:
    if not tried:
        return ()
    return (f"Tried as well, and it looked the same: {MEASURES.write(tried)}.",)


IN_PLACE = Field("in_place", "Sphere in place", quantities.POWER, default=0.0)
VISION = Field("vision", "Vision with that lens and the working distance taken off", VISIONS)
dull_reflex = CaseType(
    id="dull-reflex",
    title="Neutral, or too far off to move",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            LIGHT,
            IN_PLACE,
            DISTANCE,
            VISION,
            TRIED,
        )
    ),
    asks=(ACTION,),
    draw=_draw_dull,
    steps=(
        MEANING.step(
            NEUTRAL_OR_DULL,
            run=given(LIGHT)(lambda light: _meaning(light)),
            says=given(MEANING)(lambda meaning: _MEANINGS[meaning]),
            slips=(
                _meant(
                    skills.DULL_AS_NEUTRAL,
                    "neutral",
                    "No movement taken for neutral.",
                    given(LIGHT)(lambda light: light == "dull"),
                ),
                _meant(
                    NEUTRAL_DOUBTED, "far", "Taken for a hidden error.", given(LIGHT)(lambda light: light == "bright")
                ),
                _meant(
                    ABSENT_AS_DULL,
                    "far",
                    "Taken for a large error.",
                    given(LIGHT, TRIED)(lambda light, tried: light in ("white", "absent") and not _all_tried(tried)),
                ),
            ),
        ),
        ACTION.step(
            ACT_ON_DULL,
            run=given(MEANING, TRIED)(lambda meaning, tried: _action(meaning, tried)),
            says=_action_words,
            slips=(
                _acted(QUARTER_STEPS, "quarters", "Small steps gone on with.", _searching),
                _acted(REFERRED_BEFORE_LOOKING, "refer", "Referred before looking further.", _searching),
                _acted(
                    LEFT_TO_SUBJECTIVE,
                    "leave",
                    "Left to the subjective.",
                    given(MEANING)(lambda meaning: meaning == "far"),
                ),
                _acted(
                    KEPT_TRYING,
                    "search",
                    "More lenses tried.",
                    given(MEANING, TRIED)(lambda meaning, tried: meaning == "far" and _all_tried(tried)),
                ),
                _acted(
                    PAST_NEUTRAL,
                    "quarters",
                    "Another lens added at neutral.",
                    given(MEANING)(lambda meaning: meaning == "neutral"),
                ),
            ),
        ),
    ),
    answer=as_found(ACTION),
    found=given(IN_PLACE, DISTANCE, LIGHT, VISION, TRIED)(
        lambda in_place, distance_cm, light, vision, tried: (
            f"Streak swept both ways with {lens_in_place(in_place, 'DS in place')}, sight hole "
            f"{write_distance(distance_cm)} from the pupil: nothing is seen to travel.",
            f"Light in the pupil: {LIGHTS.write(light)}. The pupil is of ordinary size.",
            f"Acuity with the net result in place: {vision}.",
            *_tried_words(tried),
        )
    ),
    question=asking("What do you do next?"),
    figure=_dull_figure,
    needs=("near-or-far",),
    errors={IN_PLACE.name: 0.12, "distance_cm": 1.0},
    sources=("optician-question-46", "red-reflex-guidance", "eye-cancer-trust"),
)

LEFT_SHOWN = {"bright": 0.0, "dull": -9.0}
"""D still needed in the picture of such a pupil: examples."""


@given(LIGHT, DISTANCE)
def _dull_views(light: str, distance_cm: float) -> tuple[View, ...]:
    return (View("", wanting(LEFT_SHOWN[light], distance_cm)),) if light in LEFT_SHOWN else ()


MOVING = {dull_reflex.id: Moving(_dull_views)}

TYPES = (dull_reflex,)
