"""Family C, the break between streak and reflex: which way to turn the streak, and where the axis lies."""

from __future__ import annotations

from typing import Any, cast

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View
from cases.curriculum.bench_types import USUAL_CM, Moving
from cases.curriculum.meridians import FAMILY
from cases.curriculum.movements import WITH_OR_AGAINST
from cases.curriculum.shared_keys import AXIS as AXIS_CROSS
from cases.curriculum.steps import STREAK, degrees, pick_axis, read_scale, turn_between, turn_on_dial
from cases.curriculum.steps import TURN as TURN_STEPS
from cases.figures.pupil_reflex import MOST_TURNED, Movement, movement
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

FOLLOW_REFLEX = Skill("follow-reflex", "telling from the break where the axis lies")

BREAK_UNSEEN = SlipName(
    "break-unseen",
    "took the streak's own direction for the axis",
    "Where streak and reflex do not lie along one line the axis is not at your streak. The reflex points to it.",
    ("skew-figure",),
)
HALF_WAY_TO_REFLEX = SlipName(
    "half-way-to-reflex",
    "stopped half-way between streak and reflex",
    "With the other meridian neutral the reflex lies along the axis itself, not twice as far off. Go all the way.",
)

STREAK_TURNS = Choice(
    (
        Option("up", "anticlockwise, up the scale", "the reflex lies anticlockwise of the streak, by the shorter way"),
        Option("down", "clockwise, down the scale", "the reflex lies clockwise of the streak, by the shorter way"),
        Option("leave", "not at all: they lie along one line", "reflex and streak lie along one line"),
    )
)
ALONG = 0.5
"""Streak and reflex within this many degrees lie along one line: no finer break can be seen on a printed dial."""


TARGET = Key[float]("target", unit="°")


def _draw_break(chance: Chance, settings: Settings) -> dict[str, Any]:
    streak = pick_axis(chance, settings)
    step = 1 if settings.level == "expert" else 5
    turn = 0 if chance.happens(1 / 7) else chance.among((-1, 1)) * chance.stepped(10, 25, step)
    # A break of 10° or more is seen by everyone: the reading of either line may be 5° out.
    return given(STREAK, REFLEX, SEEN_FOUND).to(streak, axis_of(streak + turn), chance.among(("with", "against")))


REFLEX = Field("reflex", "Long direction of the reflex in the pupil", quantities.MERIDIAN)


@given(STREAK, REFLEX)
def _begin_break(streak: float, reflex: float) -> None:
    if axis_gap(streak, reflex) > MOST_TURNED:
        raise BadFinding(
            reflex,
            f"a reflex more than {MOST_TURNED}° from its streak cannot be judged: turn the streak first",
        )


@given(STREAK, REFLEX)
def _broken(streak: float, reflex: float) -> bool:
    return axis_gap(streak, reflex) > ALONG


def _toward(run: Rule[float]) -> Rule[float]:
    return given(run)(lambda run: axis_of(run))


def _skew(streak: float, reflex: float) -> float:
    return turn_between(streak, reflex)


@given(STREAK, TARGET)
def _there(streak: float, target: float) -> bool:
    return axis_gap(streak, target) <= ALONG


@given(TURN_STEPS, STREAK, TARGET)
def _turn_words(turn: str, streak: float, target: float) -> str:
    if turn == "leave":
        return "The streak is there already: no turn."
    return f"From {degrees(streak)} to {degrees(target)} is {STREAK_TURNS.write(turn)}."


SEEN_FOUND = Field("seen", "Movement", WITH_OR_AGAINST, default="with")
TURN = Field("turn", "Which way to turn the streak?", STREAK_TURNS)
AXIS = Field("axis", "Axis of the cylinder that is still wanted", quantities.AXIS)
axis_from_break = CaseType(
    id="axis-from-break",
    title="The axis from the break in the reflex",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            STREAK,
            REFLEX,
            SEEN_FOUND,
        )
    ),
    asks=(
        TURN,
        AXIS,
    ),
    draw=_draw_break,
    holds=_begin_break,
    steps=(
        read_scale(STREAK, REFLEX),
        TARGET.step(
            FOLLOW_REFLEX,
            run=_toward(given(REFLEX)(lambda reflex: reflex)),
            says=given(TARGET)(
                lambda target: f"The other meridian is neutral, so the reflex lies along the axis: {degrees(target)}."
            ),
            slips=(
                Slip(
                    BREAK_UNSEEN,
                    run=_toward(given(STREAK)(lambda streak: streak)),
                    says=given(TARGET)(lambda target: f"The streak taken for the axis: {degrees(target)}."),
                    live=_broken,
                ),
                Slip(
                    skills.AWAY_FROM_REFLEX,
                    run=_toward(given(STREAK, REFLEX)(lambda streak, reflex: streak - _skew(streak, reflex))),
                    says=given(TARGET)(lambda target: f"Away from the reflex, to {degrees(target)}."),
                    live=_broken,
                ),
                Slip(
                    HALF_WAY_TO_REFLEX,
                    run=_toward(given(STREAK, REFLEX)(lambda streak, reflex: streak + _skew(streak, reflex) / 2)),
                    says=given(TARGET)(lambda target: f"Half-way to the reflex, at {degrees(target)}."),
                    live=_broken,
                ),
            ),
        ),
        turn_on_dial(STREAK, TARGET, stays=_there, says=_turn_words),
        AXIS_CROSS.step(
            skills.PLACE_AXIS,
            run=given(TARGET)(lambda target: target),
            says=given(TURN_STEPS, AXIS_CROSS)(
                lambda turn, axis: (
                    f"The streak lies along the axis: {degrees(axis)}."
                    if turn == "leave"
                    else f"Once turned there, the streak lies along the axis: {degrees(axis)}."
                )
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=given(TARGET)(lambda target: across(target)),
                    says=given(AXIS_CROSS)(lambda axis: f"The axis laid across the reflex: {degrees(axis)}."),
                ),
            ),
        ),
    ),
    answer=as_found(TURN_STEPS, AXIS_CROSS),
    found=given(STREAK, SEEN_FOUND, REFLEX)(
        lambda streak, seen, reflex: (
            "The other meridian is neutral already, with the sphere in place; plane-mirror setting.",
            f"The streak on the face lies along {degrees(streak)}.",
            f"The reflex in the pupil moves {seen} and lies along {degrees(reflex)}.",
        )
    ),
    question=asking(
        "Which way do you turn the streak, seen from where you sit? And at which axis is a cylinder still wanted?"
    ),
    figure=given(SEEN_FOUND, STREAK, REFLEX).drawing(
        lambda uid, seen, streak, reflex: movement(cast("Movement", seen), streak=streak, reflex_at=reflex, uid=uid)
    ),
    needs=("streak-axis",),
    sources=("reflex-optics", "skew-figure"),
)

CYLINDER_SHOWN = {"with": 1.5, "against": -1.5}
"""D of the cylinder still needed in the picture: an example."""


@given(STREAK, REFLEX, SEEN_FOUND)
def _break_bench(streak: float, reflex: float, seen: str) -> Bench:
    """Return an eye neutral along the axis, where the reflex lies, with this much cylinder across it."""
    wanted = SphCyl(0, CYLINDER_SHOWN[seen], reflex)
    return Bench(eye=wanted + SphCyl(-100 / USUAL_CM), streak=streak)


MOVING = {axis_from_break.id: Moving(given(_break_bench)(lambda bench: (View("", bench),)))}

TYPES = (axis_from_break,)
