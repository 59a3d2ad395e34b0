"""Family C, the break between streak and reflex: which way to turn the streak, and where the axis lies."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.meridians import FAMILY, STREAK
from cases.families.meridians_order import SEEN
from cases.fields import Field, Group
from cases.figures_reflex import MOST_TURNED, movement
from cases.kinds import Axis, BadFinding, Meridian
from cases.lens import across, axis_gap, axis_of
from cases.steps import degrees, pick_axis, read_scale, turn_between, turn_on_dial
from cases.working import Known, Skill, Slip, SlipName, Step

FOLLOW_REFLEX = Skill("follow-reflex", "telling from the break where the axis lies")

BREAK_UNSEEN = SlipName(
    "break-unseen",
    "took the streak's own direction for the axis",
    "Where streak and reflex do not lie along one line the axis is not at your streak. The reflex points to it.",
    "that reflex and streak part company off axis: AAO image caption, “Skew”",
)
HALF_WAY_TO_REFLEX = SlipName(
    "half-way-to-reflex",
    "stopped half-way between streak and reflex",
    "With the other meridian neutral the reflex lies along the axis itself, not twice as far off. Go all the way.",
)

STREAK_TURNS = Choice(
    (
        Option("up", "anticlockwise, up the scale"),
        Option("down", "clockwise, down the scale"),
        Option("leave", "not at all: they lie along one line"),
    )
)
ALONG = 0.5
"""Streak and reflex within so many degrees lie along one line: no finer break can be seen on a printed dial."""


def _draw_break(chance: Chance, settings: Settings) -> dict[str, Any]:
    streak = pick_axis(chance, settings)
    step = 1 if settings.level == "expert" else 5
    turn = 0 if chance.happens(1 / 7) else chance.among((-1, 1)) * chance.stepped(5 if step == 5 else 6, 25, step)
    return {
        "streak": streak,
        "reflex": axis_of(streak + turn),
        "seen": chance.among(("with", "against")),
    }


def _begin_break(findings: Known) -> dict[str, Any]:
    if axis_gap(findings["streak"], findings["reflex"]) > MOST_TURNED:
        raise BadFinding(
            findings["reflex"],
            f"a reflex more than {MOST_TURNED}° from its streak cannot be judged: turn the streak first",
        )
    return {}


def _broken(known: Known) -> bool:
    return axis_gap(known["streak"], known["reflex"]) > ALONG


def _toward(run: Callable[[Known], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"target": axis_of(run(known))}


def _skew(known: Known) -> float:
    return turn_between(known["streak"], known["reflex"])


def _there(known: Known) -> bool:
    return axis_gap(known["streak"], known["target"]) <= ALONG


def _turn_words(known: Known) -> str:
    if known["turn"] == "leave":
        return "The streak is there already: no turn."
    return f"From {degrees(known['streak'])} to {degrees(known['target'])} is {STREAK_TURNS.write(known['turn'])}."


axis_from_break = CaseType(
    id="axis-from-break",
    title="The axis from the break in the reflex",
    family=FAMILY,
    level="competent",
    seconds=12,
    findings=Group(
        (
            STREAK,
            Field("reflex", "Long direction of the reflex in the pupil", Meridian()),
            Field("seen", "Movement", SEEN, default="with"),
        )
    ),
    asks=(
        Field("turn", "Which way to turn the streak?", STREAK_TURNS),
        Field("axis", "Axis of the cylinder that is still wanted", Axis()),
    ),
    draw=_draw_break,
    begin=_begin_break,
    steps=(
        read_scale("streak", "reflex"),
        Step(
            FOLLOW_REFLEX,
            run=_toward(lambda known: known["reflex"]),
            says=lambda known: (
                f"The other meridian is neutral, so the reflex lies along the axis: {degrees(known['target'])}."
            ),
            slips=(
                Slip(
                    BREAK_UNSEEN,
                    run=_toward(lambda known: known["streak"]),
                    says=lambda known: f"The streak taken for the axis: {degrees(known['target'])}.",
                    live=_broken,
                ),
                Slip(
                    skills.AWAY_FROM_REFLEX,
                    run=_toward(lambda known: known["streak"] - _skew(known)),
                    says=lambda known: f"Away from the reflex, to {degrees(known['target'])}.",
                    live=_broken,
                ),
                Slip(
                    HALF_WAY_TO_REFLEX,
                    run=_toward(lambda known: known["streak"] + _skew(known) / 2),
                    says=lambda known: f"Half-way to the reflex, at {degrees(known['target'])}.",
                    live=_broken,
                ),
            ),
        ),
        turn_on_dial("streak", "target", stays=_there, says=_turn_words),
        Step(
            skills.PLACE_AXIS,
            run=lambda known: {"axis": known["target"]},
            says=lambda known: (
                f"The streak lies along the axis{'' if known['turn'] == 'leave' else ', once turned there'}: "
                f"{degrees(known['axis'])}."
            ),
            slips=(
                Slip(
                    skills.AXIS_AT_POWER,
                    run=lambda known: {"axis": across(known["target"])},
                    says=lambda known: f"The axis laid across the reflex: {degrees(known['axis'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"turn": known["turn"], "axis": known["axis"]},
    found=lambda known: (
        "The other meridian is neutral already, with the sphere in place; plane-mirror setting.",
        f"The streak on the face lies along {degrees(known['streak'])}.",
        f"The reflex in the pupil moves {known['seen']} and lies along {degrees(known['reflex'])}.",
    ),
    question=lambda _: (
        "Which way do you turn the streak, seen from where you sit? And at which axis is a cylinder still wanted?"
    ),
    figure=lambda known, uid: movement(known["seen"], streak=known["streak"], reflex_at=known["reflex"], uid=uid),
    needs=("streak-axis",),
    form=lambda _: None,
    sources=("optics: derived in DEVELOPERS.md, The reflex; AAO image caption, “Skew”",),
)

TYPES = (axis_from_break,)
