"""Family B, reading movement: which lens next, and which movement to expect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View, require_plain
from cases.curriculum.bench_types import HeldPair, Moving, showing
from cases.curriculum.movement import FAMILY
from cases.curriculum.movements import (
    BEAM,
    BEAMS,
    IN_PLACE,
    LENS,
    MOVEMENT,
    MOVEMENTS,
    NEXT_LENS_STEPS,
    OPPOSITE,
    STREAK,
    SWAPPED_OR_SLEEVE,
    clear_of_zone,
    movement_for,
)
from cases.curriculum.shared_keys import MERIDIANS
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
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.reflex import NEUTRAL_ZONE
from cases.optics.vergence import working_vergence
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

_IN_WORDS = {
    "with": "The reflex travels the same way as the streak.",
    "against": "The reflex travels the opposite way to the streak.",
    "neutral": "The whole pupil lights up and goes dark at once; nothing travels.",
}


EYE = Key[tuple[float, ...]]("eye", unit="D")
LEFT = Key[tuple[float, ...]]("left", unit="D")
MOVES = Key[tuple[str, ...]]("movements")


def _draw_next_lens(chance: Chance, _: Settings) -> dict[str, Any]:
    return {
        "movement": chance.among(("with", "against", "with", "against", "with", "against", "neutral")),
        "beam": "converging" if chance.happens(0.2) else "parallel",
        "streak": float(chance.whole(1, 180)),
    }


@given(MOVEMENT, STREAK).drawing
def _seen(uid: str, movement: str, streak: float) -> Figure:
    return draw_movement(cast("Movement", movement), streak=streak, uid=uid, say=False)


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
    steps=NEXT_LENS_STEPS,
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
    sources=("study-guide", "iowa"),
)

# --- which movement to expect ------------------------------------------------------------------------------------


def _draw_predict(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3))
    in_place, distance = chance.stepped(-6, 6, 0.5), pick_distance(chance, settings)
    need = working_vergence(distance) - in_place
    require_plain(distance, eye.sphere + need, eye.sphere + eye.cylinder + need)
    return given(RX, IN_PLACE, DISTANCE).to(eye, SphCyl(in_place), distance)


def _left(*, distance: float = 1, lens: float = 1) -> Rule[tuple[float, ...]]:
    """Add this many times the vergence to what the eye needs in each meridian, and take off what is in place."""

    def run(at: tuple[float, ...], in_place: SphCyl, off: float, eye: tuple[float, ...]) -> tuple[float, ...]:
        lenses = [in_place.power_at(meridian) * lens for meridian in at]
        return tuple(need + distance * off - taken for need, taken in zip(eye, lenses, strict=True))

    return given(MERIDIANS, IN_PLACE, VERGENCE, EYE)(run)


def _movements(turn: Callable[[str], str]) -> Rule[tuple[str, ...]]:
    return given(LEFT)(lambda left: tuple(turn(movement_for(one)) for one in left))


def _left_words(left: tuple[float, ...]) -> str:
    return f"Still wanted: {listed(left)}."


RX = Field("rx", "Net prescription of the eye", Lens())
ALONG = Field("along", "Along the axis of that prescription", MOVEMENTS)
ACROSS = Field("across", "Across the axis of that prescription", MOVEMENTS)
predict_movement = CaseType(
    id="predict-movement",
    title="Predicting the movement",
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
    undisputed=given(LEFT)(lambda left: all(map(clear_of_zone, left))),
    begin=given(MERIDIANS, VERGENCE).by(
        given(RX, DISTANCE)(lambda rx, distance_cm: ((rx.axis, across(rx.axis)), working_vergence(distance_cm)))
    ),
    steps=(
        EYE.step(
            skills.EYE_IN_MERIDIANS,
            run=given(RX, MERIDIANS)(lambda rx, meridians: tuple(rx.power_at(meridian) for meridian in meridians)),
            says=given(EYE, MERIDIANS)(
                lambda eye, meridians: (
                    f"The eye needs {signed(eye[0])} along {degrees(meridians[0])} and "
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
    errors={"rx": 0.12, "in_place": 0.12, "distance_cm": 1.0},
    sources=("reflex-optics",),
)

# --- moving ------------------------------------------------------------------------------------------------------

_STEPS = {"plus": 0.5, "minus": -0.5, "stop": 0.0}
"""D of the lens that the picture puts in for an answer: an example."""

_next_bench = given(MOVEMENT, BEAM, STREAK)(lambda movement, beam, streak: showing(movement, beam, streak=streak))


@given(_next_bench)
def _next_pair(bench: Bench) -> HeldPair:
    return lambda yours, right: (
        bench.holding(SphCyl(_STEPS[yours["lens"]])),
        bench.holding(SphCyl(_STEPS[right["lens"]])),
    )


@given(RX, IN_PLACE, DISTANCE)
def _predicted(rx: SphCyl, in_place: SphCyl, distance_cm: float) -> tuple[View, ...]:
    bench = Bench(eye=rx, distance_cm=distance_cm).holding(in_place)
    return (
        View("Along the axis", replace(bench, streak=across(rx.axis))),
        View("Across the axis", replace(bench, streak=rx.axis)),
    )


MOVING = {
    next_lens.id: Moving(given(_next_bench)(lambda bench: (View("", bench),)), pair=_next_pair),
    predict_movement.id: Moving(_predicted, tells=True),
}

TYPES = (next_lens, predict_movement)
