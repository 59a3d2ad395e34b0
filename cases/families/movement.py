"""Family B, reading movement: which lens next, and which movement to expect."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_lenses import trial_frame
from cases.figures_reflex import movement as draw_movement
from cases.kinds import Lens, Meridian
from cases.lens import SphCyl, across
from cases.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.notation import write_distance
from cases.retinoscope import NEUTRAL_ZONE
from cases.steps import DISTANCE, as_written, degrees, listed, pick_distance, pick_lens, signed, size
from cases.vergence import working_vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FAMILY = Family("movement", "Reading movement", 2)

NEXT = Choice(
    (
        Option("plus", "add plus (or take minus away)"),
        Option("minus", "add minus (or take plus away)"),
        Option("stop", "change nothing: it is neutral"),
    )
)
BEAMS = Choice((Option("parallel", "plane-mirror setting"), Option("converging", "concave-mirror setting")))

READ_SLEEVE = Skill("read-sleeve", "allowing for the sleeve's setting")

SLEEVE_MISSED = SlipName(
    "sleeve-setting-missed",
    "missed that the sleeve was in the concave-mirror setting",
    "Check the sleeve: in the concave-mirror setting the beam converges and every movement reverses.",
    "Wilkinson, University of Iowa transcript: the sleeve differs by make",
)
PAST_NEUTRAL = SlipName(
    "past-neutral",
    "went on past neutral",
    "Nothing moved and the pupil was bright all over: that is the end-point. Check by leaning in, not by another lens.",
)

SWAPPED_OR_SLEEVE: Pair = (
    SlipRef(READ_SLEEVE.id, SLEEVE_MISSED.id),
    SlipRef(skills.MOVEMENT_TO_LENS.id, skills.MOVEMENT_SWAPPED.id),
)
"""With the sleeve at its concave setting both turn the answer round; at the plane setting only one of them can."""

_LENS_FOR = {"with": "plus", "against": "minus", "neutral": "stop"}


_IN_WORDS = {
    "with": "The reflex travels the same way as the streak.",
    "against": "The reflex travels the opposite way to the streak.",
    "neutral": "The whole pupil lights up and goes dark at once; nothing travels.",
}


def _draw_next_lens(chance: Chance, _: Settings) -> dict[str, Any]:
    return {
        "movement": chance.among(("with", "against", "with", "against", "with", "against", "neutral")),
        "beam": "converging" if chance.happens(0.2) else "parallel",
        "streak": chance.among((90.0, 180.0, 45.0, 135.0)),
    }


def _sleeve_words(known: Known) -> str:
    if known["movement"] == "neutral":
        return "Neutral is neutral at either setting of the sleeve."
    if known["beam"] == "parallel":
        return f"Plane-mirror setting: {known['movement']} is {known['as_plane']}."
    return f"The beam converges, so {known['movement']} means what {known['as_plane']} would mean otherwise."


def _seen(known: Known, uid: str) -> Figure:
    return draw_movement(known["movement"], streak=known["streak"], uid=uid, say=False)


next_lens = CaseType(
    id="next-lens",
    title="From movement to the next lens",
    family=FAMILY,
    level="novice",
    seconds=3,
    findings=Group(
        (
            Field("movement", "Movement of the reflex against the streak's", MOVEMENTS),
            Field("beam", "Sleeve", BEAMS, default="parallel"),
            Field("streak", "Long direction of the streak", Meridian(), default=90.0),
        )
    ),
    asks=(Field("lens", "What next?", NEXT),),
    draw=_draw_next_lens,
    begin=lambda _: {},
    steps=(
        Step(
            READ_SLEEVE,
            run=lambda known: {
                "as_plane": known["movement"] if known["beam"] == "parallel" else OPPOSITE[known["movement"]]
            },
            says=_sleeve_words,
            slips=(
                Slip(
                    SLEEVE_MISSED,
                    run=lambda known: {"as_plane": known["movement"]},
                    says=lambda known: f"{known['movement'].capitalize()}, taken as it looks.",
                    live=lambda known: known["beam"] == "converging" and known["movement"] != "neutral",
                ),
            ),
        ),
        Step(
            skills.MOVEMENT_TO_LENS,
            run=lambda known: {"lens": _LENS_FOR[known["as_plane"]]},
            says=lambda known: {
                "plus": "With wants plus.",
                "minus": "Against wants minus.",
                "stop": "Neither: this is neutral, so stop and check by leaning in.",
            }[known["lens"]],
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: {"lens": _LENS_FOR[OPPOSITE[known["as_plane"]]]},
                    says=lambda known: f"{known['lens'].capitalize()} given to {known['as_plane']}.",
                    live=lambda known: known["as_plane"] != "neutral",
                ),
                Slip(
                    PAST_NEUTRAL,
                    run=lambda _: {"lens": "plus"},
                    says=lambda _: "More plus added at neutral.",
                    live=lambda known: known["as_plane"] == "neutral",
                ),
            ),
        ),
    ),
    answer=lambda known: {"lens": known["lens"]},
    found=lambda known: (
        _IN_WORDS[known["movement"]],
        f"The sleeve is in the {BEAMS.write(known['beam'])}.",
    ),
    question=lambda _: "Which lens next?",
    figure=_seen,
    twins=(SWAPPED_OR_SLEEVE,),
    probes=(Probe(SWAPPED_OR_SLEEVE, "next-lens"),),
    sources=("open study guide for ophthalmic assistants; Wilkinson, University of Iowa transcript (sleeve)",),
)

# --- which movement to expect ------------------------------------------------------------------------------------


def _draw_predict(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3))
    return {
        "rx": eye,
        "in_place": SphCyl(chance.stepped(-6, 6, 0.5)),
        "distance_cm": pick_distance(chance, settings),
    }


def _left(known: Known, *, vergence: float, in_place: float) -> dict[str, Any]:
    at = known["meridians"]
    lenses = [known["in_place"].power_at(meridian) * in_place for meridian in at]
    return {
        "left": tuple(eye + vergence * known["vergence"] - lens for eye, lens in zip(known["eye"], lenses, strict=True))
    }


def _movements(known: Known, turn: Callable[[str], str] = str) -> dict[str, Any]:
    return {"movements": tuple(turn(movement_for(left)) for left in known["left"])}


def _left_words(known: Known) -> str:
    return f"Still wanted: {listed(known['left'])}."


predict_movement = CaseType(
    id="predict-movement",
    title="Foretelling the movement",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            Field("rx", "Net prescription of the eye", Lens()),
            Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0)),
            DISTANCE,
        )
    ),
    asks=(
        Field("along", "Along the axis of that prescription", MOVEMENTS),
        Field("across", "Across the axis of that prescription", MOVEMENTS),
    ),
    draw=_draw_predict,
    begin=lambda findings: {
        "meridians": (findings["rx"].axis, across(findings["rx"].axis)),
        "vergence": working_vergence(findings["distance_cm"]),
    },
    steps=(
        Step(
            skills.EYE_IN_MERIDIANS,
            run=lambda known: {"eye": tuple(known["rx"].power_at(meridian) for meridian in known["meridians"])},
            says=lambda known: (
                f"The eye wants {signed(known['eye'][0])} along {degrees(known['meridians'][0])} and "
                f"{signed(known['eye'][1])} along {degrees(known['meridians'][1])}."
            ),
        ),
        Step(
            skills.POWER_LEFT,
            run=lambda known: _left(known, vergence=1, in_place=1),
            says=lambda known: (
                f"Add {size(known['vergence'])} for {write_distance(known['distance_cm'])}, take off what is "
                f"in place. {_left_words(known)}"
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=lambda known: _left(known, vergence=0, in_place=1),
                    says=lambda known: f"The distance left out. {_left_words(known)}",
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=lambda known: _left(known, vergence=1, in_place=0),
                    says=lambda known: f"The lens in place left out. {_left_words(known)}",
                    live=lambda known: known["in_place"].strongest > NEUTRAL_ZONE,
                ),
            ),
        ),
        Step(
            skills.POWER_TO_MOVEMENT,
            run=_movements,
            says=lambda known: f"Plus still wanted is with, minus is against: {' and '.join(known['movements'])}.",
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=lambda known: _movements(known, lambda movement: OPPOSITE[movement]),
                    says=lambda known: f"The other way round: {' and '.join(known['movements'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"along": known["movements"][0], "across": known["movements"][1]},
    found=lambda known: (
        f"The eye's net prescription is {as_written(known['rx'])}.",
        f"In place: {as_written(known['in_place'])}.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
    ),
    question=lambda known: (
        f"Which movement do you expect along the {degrees(known['rx'].axis)} meridian (streak at "
        f"{degrees(across(known['rx'].axis))}), and along the {degrees(across(known['rx'].axis))} meridian (streak at "
        f"{degrees(known['rx'].axis)})?"
    ),
    figure=lambda known, uid: trial_frame((known["in_place"],), uid=uid, distance_cm=known["distance_cm"]),
    needs=("distance-vergence", "rx-to-cross", "next-lens"),
    form=lambda _: None,
    sources=("optics: derived in DEVELOPERS.md, The reflex",),
)

TYPES = (next_lens, predict_movement)
