"""Family D, lens algebra: which way to turn a cylinder by the two bands seen 45° to either side of its axis."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View
from cases.curriculum.bench_types import HeldPair, Moving
from cases.curriculum.lens_algebra import FAMILY
from cases.curriculum.steps import STREAK, TURN, degrees, pick_axis, signed, turn_on_dial
from cases.figures.pupil_reflex import Breadth, lean_in
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

COMPARE_BANDS = Skill("compare-bands", "comparing the bands on either side of an axis")
BAND_TO_AXIS = Skill("band-to-axis", "turning an axis by what the bands show")

BANDS = Choice(
    (
        Option("narrow", "narrow"),
        Option("ordinary", "of middling width"),
        Option("wide", "wide"),
    )
)
GUIDES = Choice(
    (
        Option("first", "the band of the first streak", "the first band is the narrower one"),
        Option("second", "the band of the second streak", "the second band is the narrower one"),
        Option("neither", "neither: they are equally wide", "the two bands are equally wide"),
    )
)
TURNS = Choice(
    (
        Option(
            "up",
            "anticlockwise, up the scale",
            "the side to which the axis has to go is anticlockwise of it, by the shorter way",
        ),
        Option(
            "down",
            "clockwise, down the scale",
            "the side to which the axis has to go is clockwise of it, by the shorter way",
        ),
        Option("leave", "not at all: go on to the power", "the two bands are equally wide, so that the axis is right"),
    )
)

_WIDTH = {"narrow": 1, "ordinary": 2, "wide": 3}
_DRAWN: dict[str, Breadth | None] = {"narrow": "narrow", "ordinary": None, "wide": "wide"}
_OTHER = {"first": "second", "second": "first"}

WIDE_FOLLOWED = SlipName(
    "wide-band-followed",
    "took the wider band for the guide",
    "The narrower band shows which way the axis is out.",
    ("streak-guide",),
)
ONE_BAND_TRUSTED = SlipName(
    "one-band-trusted",
    "went by one band without comparing it with the other",
    "One band alone says nothing. Where both are equally wide the axis is right.",
)
TURNED_WRONG_WAY = SlipName(
    "turned-wrong-way",
    "turned the axis the wrong way",
    "The axis of a plus cylinder goes towards the narrow band, that of a minus cylinder away from it.",
    ("streak-guide",),
)
PLUS_RULE_FOR_MINUS = SlipName(
    "plus-rule-for-minus",
    "used the plus-cylinder rule for a minus cylinder",
    "Towards the narrow band is right for a plus cylinder. A minus cylinder turns away from it.",
    ("streak-guide",),
)
POWER_BEFORE_AXIS = SlipName(
    "power-before-axis",
    "went on to the power with the axis still out",
    "While the two bands differ the axis is not right, and no power will make the reflex even. Axis first, then power.",
)

_REVERSED = SlipRef(BAND_TO_AXIS.id, TURNED_WRONG_WAY.id)
_PLUS_RULE = SlipRef(BAND_TO_AXIS.id, PLUS_RULE_FOR_MINUS.id)
_NUMBERS = SlipRef(skills.TURN_ON_DIAL.id, skills.THROUGH_THE_NUMBERS.id)

TURN_TWINS: tuple[Pair, ...] = ((_REVERSED, _PLUS_RULE), (_REVERSED, _NUMBERS), (_PLUS_RULE, _NUMBERS))
"""Each turns the answer round; a plus cylinder, or a turn that does not pass 180, leaves fewer of them possible."""


CYLINDER = Field("cylinder", "Cylinder in the frame, signed", quantities.POWER)
AXIS = Field("axis", "Its axis", quantities.AXIS)
BAND = Field("band", "Band of light", BANDS)
_VIEW = Group((STREAK, BAND))
FIRST = Field("first", "First streak, 45° from the axis", _VIEW)
SECOND = Field("second", "Second streak, 45° to the other side", _VIEW)
GUIDE = Field("guide", "Which band guides you?", GUIDES)
WAY = Field("turn", "Which way does the axis go?", TURNS)
TOWARD = Key[float | None]("toward", unit="°")

_streaks = given(FIRST[STREAK], SECOND[STREAK])(lambda first, second: {"first": first, "second": second})


def _draw_straddle(chance: Chance, settings: Settings) -> dict[str, Any]:
    axis = pick_axis(chance, settings)
    looks = chance.among((("narrow", "wide"), ("narrow", "ordinary"), ("ordinary", "wide")))
    if chance.happens(1 / 6):
        looks = (looks[0], looks[0])
    (first, one), (second, other) = zip(chance.shuffled((45, -45)), chance.shuffled(looks), strict=True)
    return given(CYLINDER, AXIS, FIRST, SECOND).to(
        chance.among((-1, 1)) * chance.stepped(0.75, 3),
        axis,
        given(STREAK, BAND).to(axis_of(axis + first), one),
        given(STREAK, BAND).to(axis_of(axis + second), other),
    )


@given(CYLINDER, AXIS, given(FIRST[STREAK], SECOND[STREAK])(lambda *streaks: streaks))
def _lies_between(cylinder: float, axis: float, streaks: tuple[float, float]) -> None:
    if not cylinder:
        raise BadFinding(0, "a cylinder of zero has no axis: give its power with the sign")
    if any(abs(axis_gap(axis, streak) - 45) > 1 for streak in streaks) or axis_gap(*streaks) < 88:
        rule = (
            f"the streaks must lie 45° to either side of the axis, at {axis_of(axis + 45):g} and {axis_of(axis - 45):g}"
        )
        raise BadFinding(list(streaks), rule)


@given(FIRST[BAND], SECOND[BAND])
def _guide(first: str, second: str) -> str:
    """Say which band is the narrower."""
    return "neither" if first == second else "first" if _WIDTH[first] < _WIDTH[second] else "second"


def _degrees(toward: float | None) -> str:
    return "no side" if toward is None else degrees(toward)


def _toward(plus_rule: Callable[[float], bool]) -> Rule[float | None]:
    """Say towards which streak's side the axis goes, or nowhere, by the rule that is held right for the cylinder."""

    @given(GUIDE, CYLINDER, _streaks)
    def toward(guide: str, cylinder: float, streaks: dict[str, float]) -> float | None:
        return streaks.get(guide if plus_rule(cylinder) else _OTHER.get(guide, guide))

    return toward


@given(TOWARD, CYLINDER)
def _toward_words(toward: float | None, cylinder: float) -> str:
    if toward is None:
        return "Equally wide: the axis is right and stays."
    sign, way = ("plus", "towards") if cylinder > 0 else ("minus", "away from")
    return f"A {sign} cylinder's axis goes {way} the narrow band: to the side of the streak at {degrees(toward)}."


@given(TURN, AXIS, TOWARD)
def _turn_words(turn: str, axis: float, toward: float | None) -> str:
    if toward is None:
        return "So go on to the power."
    return f"From {degrees(axis)} towards {degrees(toward)} is {TURNS.write(turn)}."


def _bands(uid: str, first: float, one: str, second: float, other: str) -> Figure:
    return lean_in((first, _DRAWN[one]), (second, _DRAWN[other]), uid=uid)


@given(GUIDE, _streaks)
def _guide_words(guide: str, streaks: dict[str, float]) -> str:
    if guide == "neither":
        return "The two bands are equally wide."
    return f"The narrower band is that of the {guide} streak, at {degrees(streaks[guide])}."


straddling = CaseType(
    id="axis-straddling",
    title="Straddling the axis",
    family=FAMILY,
    level="expert",
    seconds=15,
    findings=Group((CYLINDER, AXIS, FIRST, SECOND)),
    asks=(GUIDE, WAY),
    draw=_draw_straddle,
    holds=_lies_between,
    steps=(
        GUIDE.step(
            COMPARE_BANDS,
            run=_guide,
            says=_guide_words,
            slips=(
                Slip(
                    WIDE_FOLLOWED,
                    run=given(_guide)(lambda guide: _OTHER[guide]),
                    says=given(GUIDE)(lambda guide: f"The wider band followed, that of the {guide} streak."),
                    live=given(_guide)(lambda guide: guide != "neither"),
                ),
                Slip(
                    ONE_BAND_TRUSTED,
                    run=given()(lambda: "first"),
                    says=given()(lambda: "The first band taken by itself."),
                    live=given(_guide)(lambda guide: guide == "neither"),
                ),
            ),
        ),
        TOWARD.step(
            BAND_TO_AXIS,
            run=_toward(lambda cylinder: cylinder > 0),
            says=_toward_words,
            slips=(
                Slip(
                    TURNED_WRONG_WAY,
                    run=_toward(lambda cylinder: cylinder < 0),
                    says=given(TOWARD)(lambda toward: f"Turned to the side of the streak at {_degrees(toward)}."),
                    live=given(GUIDE)(lambda guide: guide != "neither"),
                ),
                Slip(
                    PLUS_RULE_FOR_MINUS,
                    run=_toward(lambda _: True),
                    says=given(TOWARD)(
                        lambda toward: f"Towards the narrow band: the side of the streak at {_degrees(toward)}."
                    ),
                    live=given(GUIDE, CYLINDER)(lambda guide, cylinder: guide != "neither" and cylinder < 0),
                ),
                Slip(
                    POWER_BEFORE_AXIS,
                    run=given()(lambda: None),
                    says=given()(lambda: "The axis left where it was."),
                    live=given(GUIDE)(lambda guide: guide != "neither"),
                ),
            ),
        ),
        turn_on_dial(AXIS, TOWARD, stays=given(TOWARD)(lambda toward: toward is None), says=_turn_words),
    ),
    answer=as_found(GUIDE, TURN),
    found=given(CYLINDER, AXIS, FIRST[STREAK], FIRST[BAND], SECOND[STREAK], SECOND[BAND])(
        lambda cylinder, axis, first, one, second, other: (
            f"In the frame, a cylinder of {signed(cylinder)} × {degrees(axis)}. You sit a little nearer than neutral, "
            "so that every band moves with.",
            f"First streak, at {degrees(first)}: the band is {BANDS.write(one)}.",
            f"Second streak, at {degrees(second)}: the band is {BANDS.write(other)}.",
        )
    ),
    question=asking("Which band guides you, and which way does the axis go?"),
    figure=given(FIRST[STREAK], FIRST[BAND], SECOND[STREAK], SECOND[BAND]).drawing(_bands),
    needs=("near-or-far", "sphere-then-cyl"),
    twins=TURN_TWINS,
    probes=tuple(Probe(pair, "axis-straddling") for pair in TURN_TWINS),
    sources=("streak-guide",),
)

# --- the moving picture -------------------------------------------------------------------------------------------

LEFT_BY_BAND = {"narrow": 1.4, "ordinary": 1.0, "wide": 0.85}
"""D still needed for neutral behind a band of this width, from 60 cm with a parallel beam: examples."""
STRADDLED_CM = 60.0


def _turned_by(cylinder: float, first: str, second: str, upper_first: bool) -> float:
    """Return by how many degrees the eye's axis lies anticlockwise of the cylinder in the frame.

    Two cylinders of power C whose axes differ by δ leave ±(C sin 2δ)/2 behind streaks 45° to either side: the
    difference of two power matrices.
    """
    more = (LEFT_BY_BAND[first] - LEFT_BY_BAND[second]) * (1 if upper_first else -1)
    return math.degrees(math.asin(max(-1.0, min(1.0, more / cylinder)))) / 2


@given(CYLINDER, AXIS, FIRST[STREAK], FIRST[BAND], SECOND[BAND])
def _straddled(cylinder: float, axis: float, first: float, one: str, other: str) -> Bench:
    """Return an eye whose own axis is off that of the cylinder in the frame by what the bands say."""
    upper_first = abs(axis_gap(axis_of(axis + 45), first)) < 45
    off = _turned_by(cylinder, one, other, upper_first)
    middle = (LEFT_BY_BAND[one] + LEFT_BY_BAND[other]) / 2
    eye = SphCyl(middle - 100 / STRADDLED_CM, cylinder, axis_of(axis + off))
    return Bench(eye=eye, cylinder=cylinder, axis=axis, streak=first, distance_cm=STRADDLED_CM, sleeve=0.0)


@given(_straddled, FIRST[STREAK], SECOND[STREAK])
def _straddled_views(bench: Bench, first: float, second: float) -> tuple[View, ...]:
    return View("First streak", replace(bench, streak=first)), View("Second streak", replace(bench, streak=second))


@given(_straddled, AXIS, FIRST[STREAK], SECOND[STREAK], _guide)
def _straddled_pair(bench: Bench, axis: float, first: float, second: float, guide: str) -> HeldPair:
    # Of an axis that is right, a turn of ten degrees is shown: an example.
    off = abs((bench.eye.axis - axis + 90) % 180 - 90) or 10.0
    turns = {"up": off, "down": -off, "leave": 0.0}
    streak = second if guide == "second" else first

    def pair(yours: Mapping[str, Any], right: Mapping[str, Any]) -> tuple[Bench, Bench]:
        before, after = (axis_of(axis + turns[one["turn"]]) for one in (yours, right))
        return replace(bench, axis=before, streak=streak), replace(bench, axis=after, streak=streak)

    return pair


MOVING = {straddling.id: Moving(_straddled_views, pair=_straddled_pair)}

TYPES = (straddling,)
