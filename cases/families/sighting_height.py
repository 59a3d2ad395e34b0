"""Family E, sighting: how high the gaze runs to a chart on the wall, and how far off it a seat puts the examiner."""

from __future__ import annotations

from typing import Any

from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.sighting import ANGLE, FAMILY, FIND_OFFSET, KEEP_WITHIN_FIVE, OFFSET_OR_PERCENT, angle_steps
from cases.fields import Field, Group
from cases.figures_seats import beside_the_gaze
from cases.figures_sighting import sighting_side
from cases.kinds import Angle, BadFinding, Distance, Height
from cases.notation import write_distance
from cases.sighting import offset_angle
from cases.sighting import sighting_height as line_height
from cases.steps import DISTANCE, pick_distance
from cases.sums import about
from cases.working import Known, Skill, Slip, SlipName, Step

LIMIT = Field("limit", "Angle off the visual axis that is still allowed", Angle(low=0.5, high=30), default=5.0)
"""Norm "sighting-limit", in degrees; its usual value is the advice of `KEEP_WITHIN_FIVE`."""

COMPARE_WITH_LIMIT = Skill("compare-with-limit", "holding an angle against the limit")
SHARE_OF_PATH = Skill("share-of-path", "finding your share of the way to the chart")
HEIGHT_ON_LINE = Skill("height-on-line", "finding how high the line to the chart runs")

PATH_HALVED = SlipName(
    "path-halved-for-mirror",
    "counted the way to the mirror only",
    "The light comes from the chart by the mirror, so the whole way counts: to the mirror and on to the chart.",
)
FROM_THE_CHART = SlipName(
    "share-from-the-chart",
    "counted the way from the chart instead of from the eye",
    "The line starts at the patient's eye: your share of the way is your own distance over the whole path.",
)
MIRROR_TURNED = SlipName(
    "mirror-turned-over",
    "let the mirror turn up into down",
    "An upright mirror keeps high things high: a chart above the eye is seen above the eye.",
)
LEVEL_WITH_EYE = SlipName(
    "level-with-the-eye",
    "sat level with the patient's eye",
    "The patient looks up to the chart, so the line of gaze has left the level of the eye where you sit.",
)
OWN_HEIGHT_AS_OFFSET = SlipName(
    "own-height-as-offset",
    "measured from the level of the patient's eye instead of from the gaze",
    "What counts is how far you are from the line to the chart, not from the level of the eye.",
)
LIMIT_IN_CENTIMETRES = SlipName(
    "limit-in-centimetres",
    "held the centimetres against the limit in degrees",
    "The limit is an angle, so compare the angle with it.",
)

# --- how high the line to the chart runs -------------------------------------------------------------------------

CHART_HEIGHT = Field("chart_height_cm", "Chart above the patient's eye", Height(low=0.0, high=200))
CHART_PATH = Field(
    "chart_path_cm", "From the patient's eye to the chart, by the mirror", Distance(low=100.0, high=2000)
)


def _begin_chart(findings: Known) -> dict[str, Any]:
    if findings["distance_cm"] >= findings["chart_path_cm"]:
        raise BadFinding(
            findings["distance_cm"],
            f"the working distance must be shorter than the path to the chart, {findings['chart_path_cm']:g} cm",
        )
    return {}


def _draw_chart(chance: Chance, settings: Settings) -> dict[str, Any]:
    path = float(chance.among((400, 500, 600) if settings.level == "novice" else range(300, 651, 50)))
    # A chart hangs no steeper than some 9° up, or the neck tires.
    return {
        "chart_height_cm": chance.stepped(35, 5 * (path * 0.16 // 5), 5),
        "chart_path_cm": path,
        "distance_cm": pick_distance(chance, settings),
    }


def _chart_words(known: Known) -> tuple[str, ...]:
    return (
        f"The chart, seen by a mirror on the wall, stands {write_distance(known['chart_height_cm'])} above the level "
        "of the patient's eye.",
        f"From the eye to the mirror and on to the chart is {write_distance(known['chart_path_cm'])}.",
    )


def _share_words(known: Known) -> str:
    return (
        f"You sit at {known['distance_cm']:g} ÷ {known['chart_path_cm']:g} = {known['share']:.3f} of the way to the "
        "chart."
    )


def share_of_path(*more: Slip) -> Step:
    """Step: `distance_cm` and `chart_path_cm` to the `share` of the way at which the examiner sits."""
    return Step(
        SHARE_OF_PATH,
        run=lambda known: {"share": known["distance_cm"] / known["chart_path_cm"]},
        says=_share_words,
        slips=(
            Slip(
                PATH_HALVED,
                run=lambda known: {"share": 2 * known["distance_cm"] / known["chart_path_cm"]},
                says=lambda known: (
                    f"{known['distance_cm']:g} ÷ {known['chart_path_cm'] / 2:g} = {known['share']:.3f} of the way, as "
                    "if the mirror were the chart."
                ),
            ),
            *more,
        ),
    )


def _nearly(known: Known) -> str:
    return about(round(known["height_cm"], 1), round(known["share"], 3) * known["chart_height_cm"], 1)


def height_on_line(*more: Slip) -> Step:
    """Step: `share` and `chart_height_cm` to the `height_cm` of the gaze where the examiner sits."""
    return Step(
        HEIGHT_ON_LINE,
        run=lambda known: {
            "height_cm": line_height(
                chart_height_cm=known["chart_height_cm"],
                chart_path_cm=known["distance_cm"] / known["share"],
                distance_cm=known["distance_cm"],
            )
        },
        says=lambda known: (
            f"The line to the chart has covered as much of the height: {known['share']:.3f} × "
            f"{known['chart_height_cm']:g} = {_nearly(known)}{Height().write(known['height_cm'])} above the level of "
            "the eye."
        ),
        slips=(
            Slip(
                MIRROR_TURNED,
                run=lambda known: {"height_cm": -known["share"] * known["chart_height_cm"]},
                says=lambda known: f"Turned over by the mirror: {Height().write(known['height_cm'])}.",
                live=lambda known: abs(known["chart_height_cm"]) > 1,
            ),
            *more,
        ),
    )


sighting_height = CaseType(
    id="sighting-height",
    title="How high the gaze runs to a chart on the wall",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((CHART_HEIGHT, CHART_PATH, DISTANCE)),
    asks=(Field("height_cm", "Height of the gaze above the eye where you sit", Height()),),
    draw=_draw_chart,
    begin=_begin_chart,
    steps=(
        share_of_path(
            Slip(
                FROM_THE_CHART,
                run=lambda known: {"share": 1 - known["distance_cm"] / known["chart_path_cm"]},
                says=lambda known: (
                    f"{known['chart_path_cm'] - known['distance_cm']:g} ÷ {known['chart_path_cm']:g} = "
                    f"{known['share']:.3f} of the way, counted from the chart."
                ),
            )
        ),
        height_on_line(
            Slip(
                LEVEL_WITH_EYE,
                run=lambda _: {"height_cm": 0.0},
                says=lambda _: "Level with the patient's eye: 0 cm.",
                live=lambda known: abs(known["chart_height_cm"]) > 1,
            )
        ),
    ),
    answer=lambda known: {"height_cm": known["height_cm"]},
    found=lambda known: (*_chart_words(known), f"You sit {write_distance(known['distance_cm'])} from the patient."),
    question=lambda _: "How far above the level of the patient's eye does the patient's gaze pass where you sit?",
    figure=lambda known, uid: sighting_side(
        chart_height_cm=known["chart_height_cm"],
        chart_path_cm=known["chart_path_cm"],
        distance_cm=known["distance_cm"],
        uid=uid,
    ),
    needs=("distance-vergence",),
    sources=("Similar triangles; about 8 cm for 70 cm at the end of 6 m: common practice, no published source",),
)

# --- how far off the gaze a height puts you ----------------------------------------------------------------------

WITHIN = Choice((Option("within", "within the limit"), Option("beyond", "beyond the limit")))


def _draw_level(chance: Chance, settings: Settings) -> dict[str, Any]:
    limit = settings.norm("sighting-limit")
    step = 1 if settings.level == "novice" else 0.5
    while True:
        chart = _draw_chart(chance, settings)
        away = chart["distance_cm"]
        own = chance.stepped(-round(away * 0.08), round(away * 0.2), step)
        off = offset_angle(offset_cm=abs(line_height(**chart) - own), distance_cm=away)
        # The offset is taken upright, strictly it lies square to the gaze: too near the limit that would decide.
        if abs(off - limit) > 0.4:
            return {**chart, "own_height_cm": own, "limit": limit}


sighting_level = CaseType(
    id="sighting-level",
    title="Too low or too high for the chart",
    family=FAMILY,
    level="expert",
    seconds=35,
    findings=Group(
        (
            CHART_HEIGHT,
            CHART_PATH,
            DISTANCE,
            Field("own_height_cm", "Your own eye above the patient's (minus: below)", Height(low=-60.0, high=100)),
            LIMIT,
        )
    ),
    asks=(ANGLE, Field("inside", "Against the limit", WITHIN)),
    draw=_draw_level,
    begin=_begin_chart,
    steps=(
        share_of_path(),
        height_on_line(),
        Step(
            FIND_OFFSET,
            run=lambda known: {"offset_cm": abs(known["height_cm"] - known["own_height_cm"])},
            says=lambda known: (
                f"Your eye at {Height().write(known['own_height_cm'])} and the gaze at "
                f"{known['height_cm']:.3g} cm are {known['offset_cm']:.3g} cm apart.".replace("-", "−")
            ),
            slips=(
                Slip(
                    OWN_HEIGHT_AS_OFFSET,
                    run=lambda known: {"offset_cm": abs(known["own_height_cm"])},
                    says=lambda known: f"Counted from the level of the eye: {write_distance(known['offset_cm'])}.",
                ),
            ),
        ),
        *angle_steps(),
        Step(
            COMPARE_WITH_LIMIT,
            run=lambda known: {"inside": "within" if known["angle"] <= known["limit"] else "beyond"},
            says=lambda known: (
                f"{Angle().write(known['angle'])} is {WITHIN.write(known['inside'])}, {Angle().write(known['limit'])}."
            ),
            slips=(
                Slip(
                    LIMIT_IN_CENTIMETRES,
                    run=lambda known: {"inside": "within" if known["offset_cm"] <= known["limit"] else "beyond"},
                    says=lambda known: f"{write_distance(known['offset_cm'])} held against {known['limit']:g}.",
                    live=lambda known: (known["offset_cm"] <= known["limit"]) != (known["angle"] <= known["limit"]),
                ),
            ),
        ),
    ),
    answer=lambda known: {"angle": known["angle"], "inside": known["inside"]},
    found=lambda known: (
        *_chart_words(known),
        f"You sit {write_distance(known['distance_cm'])} from the patient, your eye "
        + (
            f"{write_distance(abs(known['own_height_cm']))} {'above' if known['own_height_cm'] > 0 else 'below'} "
            if known["own_height_cm"]
            else "at "
        )
        + "the level of the patient's.",
        f"The clinic's limit is {Angle().write(known['limit'])} off the visual axis.",
    ),
    question=lambda _: "By how many degrees, to 0.1°, are you off the visual axis, and is that within the limit?",
    figure=lambda known, uid: beside_the_gaze(
        chart_height_cm=known["chart_height_cm"],
        chart_path_cm=known["chart_path_cm"],
        distance_cm=known["distance_cm"],
        own_height_cm=known["own_height_cm"],
        uid=uid,
    ),
    needs=("sighting-height", "sighting-angle"),
    twins=(OFFSET_OR_PERCENT,),
    probes=(Probe(OFFSET_OR_PERCENT, "sighting-angle"),),
    sources=("Similar triangles; " + KEEP_WITHIN_FIVE, "Pacific University thesis 1985: up to 4° unimportant"),
)

TYPES = (sighting_height, sighting_level)
