"""Family D, lens algebra: which way to turn a cylinder by the two bands seen 45° to either side of its axis."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.algebra import FAMILY
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_reflex import lean_in
from cases.kinds import Axis, BadFinding, Meridian, Power
from cases.lens import axis_gap, axis_of
from cases.steps import degrees, pick_axis, signed, turn_on_dial
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

COMPARE_BANDS = Skill("compare-bands", "comparing the bands on either side of an axis")
BAND_TO_AXIS = Skill("band-to-axis", "turning an axis by what the bands show")
STRADDLING = "a streak retinoscope's user guide (straddling the axis)"

BANDS = Choice(
    (
        Option("narrow", "narrow"),
        Option("ordinary", "of middling width"),
        Option("wide", "wide"),
    )
)
GUIDES = Choice(
    (
        Option("first", "the band of the first streak"),
        Option("second", "the band of the second streak"),
        Option("neither", "neither: they are alike"),
    )
)
TURNS = Choice(
    (
        Option("up", "anticlockwise, up the scale"),
        Option("down", "clockwise, down the scale"),
        Option("leave", "not at all: go on to the power"),
    )
)

_WIDTH = {"narrow": 1, "ordinary": 2, "wide": 3}
_OTHER = {"first": "second", "second": "first"}

WIDE_FOLLOWED = SlipName(
    "wide-band-followed",
    "took the wider band for the guide",
    "The narrower band is the one that tells which way the axis is out.",
    STRADDLING,
)
ONE_BAND_TRUSTED = SlipName(
    "one-band-trusted",
    "went by one band without comparing it with the other",
    "One band alone says nothing. Where both are alike the axis is right.",
)
TURNED_WRONG_WAY = SlipName(
    "turned-wrong-way",
    "turned the axis the wrong way",
    "The axis of a plus cylinder goes towards the narrow band, that of a minus cylinder away from it.",
    STRADDLING,
)
PLUS_RULE_FOR_MINUS = SlipName(
    "plus-rule-for-minus",
    "used the plus-cylinder rule for a minus cylinder",
    "Towards the narrow band is right for a plus cylinder. A minus cylinder turns away from it.",
    STRADDLING,
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


def _draw_straddle(chance: Chance, settings: Settings) -> dict[str, Any]:
    axis = pick_axis(chance, settings)
    looks = chance.among((("narrow", "wide"), ("narrow", "ordinary"), ("ordinary", "wide")))
    if chance.happens(1 / 6):
        looks = (looks[0], looks[0])
    (first, one), (second, other) = zip(chance.shuffled((45, -45)), chance.shuffled(looks), strict=True)
    return {
        "cylinder": chance.among((-1, 1)) * chance.stepped(0.75, 3),
        "axis": axis,
        "first": {"streak": axis_of(axis + first), "band": one},
        "second": {"streak": axis_of(axis + second), "band": other},
    }


def _begin_straddle(findings: Known) -> dict[str, Any]:
    axis, streaks = findings["axis"], (findings["first"]["streak"], findings["second"]["streak"])
    if not findings["cylinder"]:
        raise BadFinding(0, "a cylinder of nought has no axis: give its power with the sign")
    if any(abs(axis_gap(axis, streak) - 45) > 1 for streak in streaks) or axis_gap(*streaks) < 88:
        rule = (
            f"the streaks must lie 45° to either side of the axis, at {axis_of(axis + 45):g} and {axis_of(axis - 45):g}"
        )
        raise BadFinding(list(streaks), rule)
    return {}


def _guide(known: Known) -> str:
    first, second = (_WIDTH[known[name]["band"]] for name in ("first", "second"))
    return "neither" if first == second else "first" if first < second else "second"


def _toward(known: Known, *, plus_rule: bool) -> dict[str, Any]:
    """Say towards which streak's side the axis goes, or nowhere."""
    if known["guide"] == "neither":
        return {"toward": None}
    name = known["guide"] if plus_rule else _OTHER[known["guide"]]
    return {"toward": known[name]["streak"]}


def _toward_words(known: Known) -> str:
    if known["toward"] is None:
        return "Alike: the axis is right and stays."
    sign, way = ("plus", "towards") if known["cylinder"] > 0 else ("minus", "away from")
    return (
        f"A {sign} cylinder's axis goes {way} the narrow band: to the side of the streak at {degrees(known['toward'])}."
    )


def _turn_words(known: Known) -> str:
    if known["turn"] == "leave":
        return "So go on to the power."
    return f"From {degrees(known['axis'])} towards {degrees(known['toward'])} is {TURNS.write(known['turn'])}."


def _bands(known: Known, uid: str) -> Figure:
    (first, one), (second, other) = ((known[name]["streak"], known[name]["band"]) for name in ("first", "second"))
    width = {"narrow": "narrow", "wide": "wide"}
    return lean_in((first, width.get(one)), (second, width.get(other)), uid=uid)  # type: ignore[arg-type]


_BAND = Group((Field("streak", "Long direction of the streak", Meridian()), Field("band", "Band of light", BANDS)))

straddling = CaseType(
    id="axis-straddling",
    title="Straddling the axis",
    family=FAMILY,
    level="expert",
    seconds=15,
    findings=Group(
        (
            Field("cylinder", "Cylinder in the frame, signed", Power()),
            Field("axis", "Its axis", Axis()),
            Field("first", "First streak, 45° from the axis", _BAND),
            Field("second", "Second streak, 45° to the other side", _BAND),
        )
    ),
    asks=(
        Field("guide", "Which band guides you?", GUIDES),
        Field("turn", "Which way does the axis go?", TURNS),
    ),
    draw=_draw_straddle,
    begin=_begin_straddle,
    steps=(
        Step(
            COMPARE_BANDS,
            run=lambda known: {"guide": _guide(known)},
            says=lambda known: (
                "The two bands are alike."
                if known["guide"] == "neither"
                else f"The narrower band is that of the {known['guide']} streak, at "
                f"{degrees(known[known['guide']]['streak'])}."
            ),
            slips=(
                Slip(
                    WIDE_FOLLOWED,
                    run=lambda known: {"guide": _OTHER[_guide(known)]},
                    says=lambda known: f"The wider band followed, that of the {known['guide']} streak.",
                    live=lambda known: _guide(known) != "neither",
                ),
                Slip(
                    ONE_BAND_TRUSTED,
                    run=lambda _: {"guide": "first"},
                    says=lambda _: "The first band taken by itself.",
                    live=lambda known: _guide(known) == "neither",
                ),
            ),
        ),
        Step(
            BAND_TO_AXIS,
            run=lambda known: _toward(known, plus_rule=known["cylinder"] > 0),
            says=_toward_words,
            slips=(
                Slip(
                    TURNED_WRONG_WAY,
                    run=lambda known: _toward(known, plus_rule=known["cylinder"] < 0),
                    says=lambda known: f"Turned to the side of the streak at {degrees(known['toward'])}.",
                    live=lambda known: known["guide"] != "neither",
                ),
                Slip(
                    PLUS_RULE_FOR_MINUS,
                    run=lambda known: _toward(known, plus_rule=True),
                    says=lambda known: (
                        f"Towards the narrow band: the side of the streak at {degrees(known['toward'])}."
                    ),
                    live=lambda known: known["guide"] != "neither" and known["cylinder"] < 0,
                ),
                Slip(
                    POWER_BEFORE_AXIS,
                    run=lambda _: {"toward": None},
                    says=lambda _: "The axis left where it was.",
                    live=lambda known: known["guide"] != "neither",
                ),
            ),
        ),
        turn_on_dial("axis", "toward", stays=lambda known: known["toward"] is None, says=_turn_words),
    ),
    answer=lambda known: {"guide": known["guide"], "turn": known["turn"]},
    found=lambda known: (
        f"In the frame, a cylinder of {signed(known['cylinder'])} × {degrees(known['axis'])}. You sit a little nearer "
        "than neutral, so that every band moves with.",
        *(
            f"{name.capitalize()} streak, at {degrees(known[name]['streak'])}: the band is "
            f"{BANDS.write(known[name]['band'])}."
            for name in ("first", "second")
        ),
    ),
    question=lambda _: "Which band guides you, and which way does the axis go?",
    figure=_bands,
    needs=("near-or-far", "sphere-then-cyl"),
    form=lambda _: None,
    twins=TURN_TWINS,
    probes=tuple(Probe(pair, "axis-straddling") for pair in TURN_TWINS),
    sources=(STRADDLING,),
)

TYPES = (straddling,)
