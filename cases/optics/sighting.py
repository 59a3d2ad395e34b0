"""Where the examiner sits: the angle off the visual axis, and the height at which the chart is seen past the head."""

from __future__ import annotations

import math

from cases.errors import OutOfRange


def offset_angle(*, offset_cm: float, distance_cm: float) -> float:
    """Return the angle in degrees between the visual axis and the examiner's line of sight, signed like the offset.

    offset_cm: distance of the sight hole from the patient's visual axis, square to that axis.
    distance_cm: from the patient's pupil to the examiner, measured along the visual axis; more than 0.
    A sight hole 6.4 to 6.5 cm off, in front of the patient's other eye, at 67 cm gives 5.5°.

    Raises
    ------
    OutOfRange
        When the offset is not finite or the distance is not a finite number above 0.

    Source: right-angled triangle; published mean for an examiner lined up with the other eye 5.58°, Eye 2011,
    doi 10.1038/eye.2011.79.
    """
    _check_finite("sideways offset", offset_cm)
    _check_length("working distance", distance_cm)
    return math.degrees(math.atan2(offset_cm, distance_cm))


def sighting_height(*, chart_height_cm: float, chart_path_cm: float, distance_cm: float) -> float:
    """Return how far above the patient's eye, in cm, the examiner's eye lies on the patient's line to the chart.

    chart_height_cm: the chart (its image in the mirror, if there is one) above the patient's eye; negative: below.
    chart_path_cm: from the patient's eye to the chart, by the mirror if there is one.
    distance_cm: from the patient's eye to the examiner's, along that path; shorter than the path.
    An examiner at this height works on the visual axis, and so has just come into the way of the chart: a little
    lower keeps the chart in view and costs an angle of `offset_angle`. The height is in proportion to the distance:
    70 cm up at the end of 6 m is about 8 cm at two thirds of a metre.

    Raises
    ------
    OutOfRange
        When the chart's height is not finite, a length is not a finite number above 0, or the examiner is not
        nearer than the chart.

    Source: similar triangles; common practice, no published source.
    """
    _check_finite("chart height", chart_height_cm)
    _check_length("path to the chart", chart_path_cm)
    _check_length("working distance", distance_cm)
    if distance_cm >= chart_path_cm:
        rule = f"it must be shorter than the path to the chart, {chart_path_cm:g} cm"
        raise OutOfRange("working distance", f"{distance_cm:g} cm", rule)
    return chart_height_cm * distance_cm / chart_path_cm


def _check_finite(quantity: str, value: float) -> None:
    if not math.isfinite(value):
        raise OutOfRange(quantity, f"{value:g} cm", "a finite number of centimetres is needed")


def _check_length(quantity: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise OutOfRange(quantity, f"{value:g} cm", "a finite number of centimetres above 0 is needed")
