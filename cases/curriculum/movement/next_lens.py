"""Family B, reading movement: which lens next, and which movement to expect."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.cross import MERIDIANS
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import MOVEMENTS, OPPOSITE, movement_for
from cases.curriculum.steps import (
    DISTANCE,
    VERGENCE,
    as_written,
    degrees,
    listed,
    pick_distance,
    pick_lens,
    signed,
    size,
)
from cases.figures.lenses import trial_frame
from cases.figures.pupil_reflex import Movement
from cases.figures.pupil_reflex import movement as draw_movement
from cases.notation.prescription import write_distance
from cases.optics.lens import SphCyl, across
from cases.optics.reflex import NEUTRAL_ZONE
from cases.optics.vergence import working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

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


AS_PLANE = Key[str]("as_plane")
EYE = Key[tuple[float, ...]]("eye", unit="D")
LEFT = Key[tuple[float, ...]]("left")
MOVES = Key[tuple[str, ...]]("movements")


def _draw_next_lens(chance: Chance, _: Settings) -> dict[str, Any]:
    return {
        "movement": chance.among(("with", "against", "with", "against", "with", "against", "neutral")),
        "beam": "converging" if chance.happens(0.2) else "parallel",
        "streak": chance.among((90.0, 180.0, 45.0, 135.0)),
    }


MOVEMENT = Field("movement", "Movement of the reflex against the streak's", MOVEMENTS)
BEAM = Field("beam", "Sleeve", BEAMS, default="parallel")


@given(MOVEMENT, BEAM, AS_PLANE)
def _sleeve_words(movement: str, beam: str, as_plane: str) -> str:
    if movement == "neutral":
        return "Neutral is neutral at either setting of the sleeve."
    if beam == "parallel":
        return f"Plane-mirror setting: {movement} is {as_plane}."
    return f"The beam converges, so {movement} means what {as_plane} would mean otherwise."


STREAK = Field("streak", "Long direction of the streak", quantities.MERIDIAN, default=90.0)


@given(MOVEMENT, STREAK).drawing
def _seen(uid: str, movement: str, streak: float) -> Figure:
    return draw_movement(cast("Movement", movement), streak=streak, uid=uid, say=False)


LENS = Field("lens", "What next?", NEXT)
next_lens = CaseType(
    id="next-lens",
    title="From movement to the next lens",
    family=FAMILY,
    level="novice",
    seconds=3,
    findings=Group(
        (
            MOVEMENT,
            BEAM,
            STREAK,
        )
    ),
    asks=(LENS,),
    draw=_draw_next_lens,
    steps=(
        AS_PLANE.step(
            READ_SLEEVE,
            run=given(MOVEMENT, BEAM)(lambda movement, beam: movement if beam == "parallel" else OPPOSITE[movement]),
            says=_sleeve_words,
            slips=(
                Slip(
                    SLEEVE_MISSED,
                    run=given(MOVEMENT)(lambda movement: movement),
                    says=given(MOVEMENT)(lambda movement: f"{movement.capitalize()}, taken as it looks."),
                    live=given(BEAM, MOVEMENT)(lambda beam, movement: beam == "converging" and movement != "neutral"),
                ),
            ),
        ),
        LENS.step(
            skills.MOVEMENT_TO_LENS,
            run=given(AS_PLANE)(lambda as_plane: _LENS_FOR[as_plane]),
            says=given(LENS)(
                lambda lens: {
                    "plus": "With wants plus.",
                    "minus": "Against wants minus.",
                    "stop": "Neither: this is neutral, so stop and check by leaning in.",
                }[lens]
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=given(AS_PLANE)(lambda as_plane: _LENS_FOR[OPPOSITE[as_plane]]),
                    says=given(LENS, AS_PLANE)(lambda lens, as_plane: f"{lens.capitalize()} given to {as_plane}."),
                    live=given(AS_PLANE)(lambda as_plane: as_plane != "neutral"),
                ),
                Slip(
                    PAST_NEUTRAL,
                    run=given()(lambda: "plus"),
                    says=given()(lambda: "More plus added at neutral."),
                    live=given(AS_PLANE)(lambda as_plane: as_plane == "neutral"),
                ),
            ),
        ),
    ),
    answer=as_found(LENS),
    found=given(MOVEMENT, BEAM)(
        lambda movement, beam: (
            _IN_WORDS[movement],
            f"The sleeve is in the {BEAMS.write(beam)}.",
        )
    ),
    question=asking("Which lens next?"),
    figure=_seen,
    twins=(SWAPPED_OR_SLEEVE,),
    probes=(Probe(SWAPPED_OR_SLEEVE, "next-lens"),),
    sources=("open study guide for ophthalmic assistants; Wilkinson, University of Iowa transcript (sleeve)",),
)

# --- which movement to expect ------------------------------------------------------------------------------------


def _draw_predict(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3))
    return given(RX, IN_PLACE, DISTANCE).to(eye, SphCyl(chance.stepped(-6, 6, 0.5)), pick_distance(chance, settings))


def _left(*, distance: float = 1, lens: float = 1) -> Rule[tuple[float, ...]]:
    """Add so many times the vergence to what the eye needs in each meridian, and take off as often what is in place."""

    def run(at: tuple[float, ...], in_place: SphCyl, off: float, eye: tuple[float, ...]) -> tuple[float, ...]:
        lenses = [in_place.power_at(meridian) * lens for meridian in at]
        return tuple(need + distance * off - taken for need, taken in zip(eye, lenses, strict=True))

    return given(MERIDIANS, IN_PLACE, VERGENCE, EYE)(run)


def _movements(turn: Callable[[str], str]) -> Rule[tuple[str, ...]]:
    return given(LEFT)(lambda left: tuple(turn(movement_for(one)) for one in left))


def _left_words(left: tuple[float, ...]) -> str:
    return f"Still wanted: {listed(left)}."


RX = Field("rx", "Net prescription of the eye", Lens())
IN_PLACE = Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0))
ALONG = Field("along", "Along the axis of that prescription", MOVEMENTS)
ACROSS = Field("across", "Across the axis of that prescription", MOVEMENTS)
predict_movement = CaseType(
    id="predict-movement",
    title="Foretelling the movement",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            RX,
            IN_PLACE,
            DISTANCE,
        )
    ),
    asks=(
        ALONG,
        ACROSS,
    ),
    draw=_draw_predict,
    begin=given(MERIDIANS, VERGENCE).by(
        given(RX, DISTANCE)(lambda rx, distance_cm: ((rx.axis, across(rx.axis)), working_vergence(distance_cm)))
    ),
    steps=(
        EYE.step(
            skills.EYE_IN_MERIDIANS,
            run=given(RX, MERIDIANS)(lambda rx, meridians: tuple(rx.power_at(meridian) for meridian in meridians)),
            says=given(EYE, MERIDIANS)(
                lambda eye, meridians: (
                    f"The eye wants {signed(eye[0])} along {degrees(meridians[0])} and "
                    f"{signed(eye[1])} along {degrees(meridians[1])}."
                )
            ),
        ),
        LEFT.step(
            skills.POWER_LEFT,
            run=_left(),
            says=given(VERGENCE, DISTANCE, LEFT)(
                lambda vergence, distance_cm, left: (
                    f"Add {size(vergence)} for {write_distance(distance_cm)}, take off what is "
                    f"in place. {_left_words(left)}"
                )
            ),
            slips=(
                Slip(
                    skills.DISTANCE_IGNORED,
                    run=_left(distance=0),
                    says=given(LEFT)(lambda left: f"The distance left out. {_left_words(left)}"),
                ),
                Slip(
                    skills.LENSES_IGNORED,
                    run=_left(lens=0),
                    says=given(LEFT)(lambda left: f"The lens in place left out. {_left_words(left)}"),
                    live=given(IN_PLACE)(lambda in_place: in_place.strongest > NEUTRAL_ZONE),
                ),
            ),
        ),
        MOVES.step(
            skills.POWER_TO_MOVEMENT,
            run=_movements(str),
            says=given(MOVES)(
                lambda movements: f"Plus still wanted is with, minus is against: {' and '.join(movements)}."
            ),
            slips=(
                Slip(
                    skills.MOVEMENT_SWAPPED,
                    run=_movements(lambda movement: OPPOSITE[movement]),
                    says=given(MOVES)(lambda movements: f"The other way round: {' and '.join(movements)}."),
                ),
            ),
        ),
    ),
    answer=given(ALONG, ACROSS).by(given(MOVES)(lambda movements: (movements[0], movements[1]))),
    found=given(RX, IN_PLACE, DISTANCE)(
        lambda rx, in_place, distance_cm: (
            f"The eye's net prescription is {as_written(rx)}.",
            f"In place: {as_written(in_place)}.",
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
        )
    ),
    question=given(RX)(
        lambda rx: (
            f"Which movement do you expect along the {degrees(rx.axis)} meridian (streak at "
            f"{degrees(across(rx.axis))}), and along the {degrees(across(rx.axis))} meridian (streak at "
            f"{degrees(rx.axis)})?"
        )
    ),
    figure=given(IN_PLACE, DISTANCE).drawing(
        lambda uid, in_place, distance_cm: trial_frame((in_place,), uid=uid, distance_cm=distance_cm)
    ),
    needs=("distance-vergence", "rx-to-cross", "next-lens"),
    sources=("optics: derived in cases/optics/README.md",),
)

TYPES = (next_lens, predict_movement)
