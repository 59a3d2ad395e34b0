"""Family E, sighting: how high the gaze runs to a chart on the wall, and how far off it a seat puts the examiner."""

from __future__ import annotations

from typing import Any

from cases.curriculum.shared_keys import SHARE
from cases.curriculum.sighting import FAMILY
from cases.curriculum.sighting.sighting_angle import (
    ANGLE,
    FIND_OFFSET,
    OFFSET,
    OFFSET_OR_PERCENT,
    angle_steps,
)
from cases.curriculum.steps import DISTANCE, pick_any_distance
from cases.figures.lines_of_sight import sighting_side
from cases.figures.seats import beside_the_gaze
from cases.notation.prescription import write_distance
from cases.notation.sums import about, three_figures
from cases.optics.sighting import offset_angle
from cases.optics.sighting import sighting_height as line_height
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Slip, Step, as_found, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LIMIT = Field(
    "limit", "Angle off the visual axis that is still allowed", quantities.ANGLE.having(low=0.5, high=30), default=5.0
)
"""Norm "sighting-limit", in degrees; its usual value is the advice of its source."""

COMPARE_WITH_LIMIT = Skill("compare-with-limit", "holding an angle against the limit")
SHARE_OF_PATH = Skill("share-of-path", "finding how far along the line to the chart you sit")
HEIGHT_ON_LINE = Skill("height-on-line", "finding how high the line to the chart runs")

PATH_HALVED = SlipName(
    "path-halved-for-mirror",
    "counted the way to the mirror only",
    "The light comes from the chart by the mirror, so the whole way counts: to the mirror and on to the chart.",
)
FROM_THE_CHART = SlipName(
    "share-from-the-chart",
    "counted the way from the chart instead of from the eye",
    "The line starts at the patient's eye: divide your own distance by the whole distance to the chart.",
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

CHART_HEIGHT = Field("chart_height_cm", "Chart above the patient's eye", quantities.HEIGHT.having(low=0.0, high=200))
CHART_PATH = Field(
    "chart_path_cm",
    "From the patient's eye to the chart, by the mirror",
    quantities.DISTANCE.having(low=100.0, high=2000),
)
HEIGHT = Field("height_cm", "Height of the gaze above the eye where you sit", quantities.HEIGHT)


@given(DISTANCE, CHART_PATH)
def _before_the_chart(distance_cm: float, chart_path_cm: float) -> None:
    if distance_cm >= chart_path_cm:
        raise BadFinding(
            distance_cm,
            f"the working distance must be shorter than the path to the chart, {chart_path_cm:g} cm",
        )


def _draw_chart(chance: Chance, settings: Settings) -> dict[str, Any]:
    path = float(chance.among((400, 500, 600) if settings.level == "novice" else range(300, 651, 50)))
    # A chart hangs no steeper than some 9° up, or the neck tires.
    return given(CHART_HEIGHT, CHART_PATH, DISTANCE).to(
        chance.stepped(35, 5 * (path * 0.16 // 5), 5), path, pick_any_distance(chance, settings)
    )


def _chart_words(chart_height_cm: float, chart_path_cm: float) -> tuple[str, ...]:
    return (
        f"The chart, seen by a mirror on the wall, stands {write_distance(chart_height_cm)} above the level "
        "of the patient's eye.",
        f"From the eye to the mirror and on to the chart is {write_distance(chart_path_cm)}.",
    )


@given(DISTANCE, CHART_PATH, SHARE)
def _share_words(distance_cm: float, chart_path_cm: float, share: float) -> str:
    return f"You sit at {distance_cm:g} ÷ {chart_path_cm:g} = {share:.3f} of the way to the chart."


def share_of_path(*more: Slip[float]) -> Step:
    """Step: `distance_cm` and `chart_path_cm` to the `share` of the way at which the examiner sits."""
    return SHARE.step(
        SHARE_OF_PATH,
        run=given(DISTANCE, CHART_PATH)(lambda distance_cm, chart_path_cm: distance_cm / chart_path_cm),
        says=_share_words,
        slips=(
            Slip(
                PATH_HALVED,
                run=given(DISTANCE, CHART_PATH)(lambda distance_cm, chart_path_cm: 2 * distance_cm / chart_path_cm),
                says=given(DISTANCE, CHART_PATH, SHARE)(
                    lambda distance_cm, chart_path_cm, share: (
                        f"{distance_cm:g} ÷ {chart_path_cm / 2:g} = {share:.3f} of the way, as "
                        "if the mirror were the chart."
                    )
                ),
            ),
            *more,
        ),
    )


@given(SHARE, CHART_HEIGHT, HEIGHT)
def _height_words(share: float, chart_height_cm: float, height_cm: float) -> str:
    nearly = about(round(height_cm, 1), round(share, 3) * chart_height_cm, 1)
    return (
        f"The line to the chart has covered as much of the height: {share:.3f} × "
        f"{chart_height_cm:g} = {nearly}{quantities.HEIGHT.write(height_cm)} above the level of the eye."
    )


def height_on_line(*more: Slip[float]) -> Step:
    """Step: `share` and `chart_height_cm` to the `height_cm` of the gaze where the examiner sits."""
    return HEIGHT.step(
        HEIGHT_ON_LINE,
        run=given(CHART_HEIGHT, DISTANCE, SHARE)(
            lambda chart_height_cm, distance_cm, share: line_height(
                chart_height_cm=chart_height_cm,
                chart_path_cm=distance_cm / share,
                distance_cm=distance_cm,
            )
        ),
        says=_height_words,
        slips=(
            Slip(
                MIRROR_TURNED,
                run=given(SHARE, CHART_HEIGHT)(lambda share, chart_height_cm: -share * chart_height_cm),
                says=given(HEIGHT)(
                    lambda height_cm: f"Turned over by the mirror: {quantities.HEIGHT.write(height_cm)}."
                ),
                live=given(CHART_HEIGHT)(lambda chart_height_cm: abs(chart_height_cm) > 1),
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
    asks=(HEIGHT,),
    draw=_draw_chart,
    holds=_before_the_chart,
    steps=(
        share_of_path(
            Slip(
                FROM_THE_CHART,
                run=given(DISTANCE, CHART_PATH)(lambda distance_cm, chart_path_cm: 1 - distance_cm / chart_path_cm),
                says=given(CHART_PATH, DISTANCE, SHARE)(
                    lambda chart_path_cm, distance_cm, share: (
                        f"{chart_path_cm - distance_cm:g} ÷ {chart_path_cm:g} = "
                        f"{share:.3f} of the way, counted from the chart."
                    )
                ),
            )
        ),
        height_on_line(
            Slip(
                LEVEL_WITH_EYE,
                run=given()(lambda: 0.0),
                says=given()(lambda: "Level with the patient's eye: 0 cm."),
                live=given(CHART_HEIGHT)(lambda chart_height_cm: abs(chart_height_cm) > 1),
            )
        ),
    ),
    answer=as_found(HEIGHT),
    found=given(CHART_HEIGHT, CHART_PATH, DISTANCE)(
        lambda chart_height_cm, chart_path_cm, distance_cm: (
            *_chart_words(chart_height_cm, chart_path_cm),
            f"You sit {write_distance(distance_cm)} from the patient.",
        )
    ),
    question=asking("How far above the level of the patient's eye does the patient's gaze pass where you sit?"),
    figure=given(CHART_HEIGHT, CHART_PATH, DISTANCE).drawing(
        lambda uid, chart_height_cm, chart_path_cm, distance_cm: sighting_side(
            chart_height_cm=chart_height_cm,
            chart_path_cm=chart_path_cm,
            distance_cm=distance_cm,
            uid=uid,
        )
    ),
    needs=("distance-vergence",),
    sources=("computed", "common-practice"),
)

# --- how far off the gaze a height puts you ----------------------------------------------------------------------

WITHIN = Choice(
    (
        Option("within", "within the limit", "the angle between the two lines is no more than the limit"),
        Option("beyond", "beyond the limit", "the angle between the two lines is more than the limit"),
    )
)
OWN_HEIGHT = Field(
    "own_height_cm", "Your own eye above the patient's (minus: below)", quantities.HEIGHT.having(low=-60.0, high=100)
)
INSIDE = Field("inside", "Against the limit", WITHIN)


def _draw_level(chance: Chance, settings: Settings) -> dict[str, Any]:
    limit = settings.norm("sighting-limit")
    step = 1 if settings.level == "novice" else 0.5
    while True:
        chart = _draw_chart(chance, settings)
        away = chart["distance_cm"]
        own = chance.stepped(-round(away * 0.08), round(away * 0.2), step)
        off = offset_angle(offset_cm=abs(line_height(**chart) - own), distance_cm=away)
        # Many take the offset upright, where strictly it lies square to the gaze: near the limit that would decide.
        if abs(off - limit) > 0.4:
            return chart | given(OWN_HEIGHT, LIMIT).to(own, limit)


def _square_to_gaze(height_cm: float, own_height_cm: float, distance_cm: float) -> float:
    """Return the offset in cm whose tangent, over the distance, is that of the angle between gaze and line of sight.

    Source: tan(a − b) = (tan a − tan b) ÷ (1 + tan a · tan b). Rounded, so that a seat at the very height of the gaze
    is nothing off it.
    """
    upright = abs(round(height_cm - own_height_cm, 9))
    return upright / (1 + height_cm * own_height_cm / distance_cm**2)


sighting_level = CaseType(
    id="sighting-level",
    title="Too low or too high for the chart",
    family=FAMILY,
    level="expert",
    seconds=35,
    findings=Group((CHART_HEIGHT, CHART_PATH, DISTANCE, OWN_HEIGHT, LIMIT)),
    asks=(ANGLE, INSIDE),
    draw=_draw_level,
    holds=_before_the_chart,
    steps=(
        share_of_path(),
        height_on_line(),
        OFFSET.step(
            FIND_OFFSET,
            run=given(HEIGHT, OWN_HEIGHT, DISTANCE)(_square_to_gaze),
            says=given(OWN_HEIGHT, HEIGHT, OFFSET)(
                lambda own_height_cm, height_cm, offset_cm: (
                    f"Your eye at {quantities.HEIGHT.write(own_height_cm)} and the gaze at "
                    f"{three_figures(height_cm)} cm are {three_figures(abs(height_cm - own_height_cm))} cm apart "
                    f"upright; for the angle between the two lines that counts as {three_figures(offset_cm)} cm."
                ).replace("-", "−")
            ),
            slips=(
                Slip(
                    OWN_HEIGHT_AS_OFFSET,
                    run=given(OWN_HEIGHT)(abs),
                    says=given(OFFSET)(
                        lambda offset_cm: f"Counted from the level of the eye: {write_distance(offset_cm)}."
                    ),
                ),
            ),
        ),
        *angle_steps(),
        INSIDE.step(
            COMPARE_WITH_LIMIT,
            run=given(ANGLE, LIMIT)(lambda angle, limit: "within" if angle <= limit else "beyond"),
            says=given(ANGLE, INSIDE, LIMIT)(
                lambda angle, inside, limit: (
                    f"{quantities.ANGLE.write(angle)} is {WITHIN.write(inside)}, {quantities.ANGLE.write(limit)}."
                )
            ),
            slips=(
                Slip(
                    LIMIT_IN_CENTIMETRES,
                    run=given(OFFSET, LIMIT)(lambda offset_cm, limit: "within" if offset_cm <= limit else "beyond"),
                    says=given(OFFSET, LIMIT)(
                        lambda offset_cm, limit: f"{write_distance(offset_cm)} held against {limit:g}."
                    ),
                    live=given(OFFSET, LIMIT, ANGLE)(
                        lambda offset_cm, limit, angle: (offset_cm <= limit) != (angle <= limit)
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(ANGLE, INSIDE),
    found=given(CHART_HEIGHT, CHART_PATH, DISTANCE, OWN_HEIGHT, LIMIT)(
        lambda chart_height_cm, chart_path_cm, distance_cm, own_height_cm, limit: (
            *_chart_words(chart_height_cm, chart_path_cm),
            f"You sit {write_distance(distance_cm)} from the patient, your eye "
            + (
                f"{write_distance(abs(own_height_cm))} {'above' if own_height_cm > 0 else 'below'} "
                if own_height_cm
                else "at "
            )
            + "the level of the patient's.",
            f"The clinic's limit is {quantities.ANGLE.write(limit)} off the visual axis.",
        )
    ),
    question=asking(
        "What is the angle between the patient's gaze and your line of sight, to 0.1°, and is it within the limit?"
    ),
    figure=given(CHART_HEIGHT, CHART_PATH, DISTANCE, OWN_HEIGHT).drawing(
        lambda uid, chart_height_cm, chart_path_cm, distance_cm, own_height_cm: beside_the_gaze(
            chart_height_cm=chart_height_cm,
            chart_path_cm=chart_path_cm,
            distance_cm=distance_cm,
            own_height_cm=own_height_cm,
            uid=uid,
        )
    ),
    needs=("sighting-height", "sighting-angle"),
    twins=(OFFSET_OR_PERCENT,),
    probes=(Probe(OFFSET_OR_PERCENT, "sighting-angle"),),
    errors={OWN_HEIGHT.name: 0.5, "chart_height_cm": 1.0, "distance_cm": 1.0},
    sources=("computed", "mohd-nor", "pacific-1985"),
)

TYPES = (sighting_height, sighting_level)
