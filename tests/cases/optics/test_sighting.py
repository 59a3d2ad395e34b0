"""Angles and heights of sighting against a published mean and the figures of the trade."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.optics.sighting import offset_angle, sighting_height

distances = st.floats(20, 150)
offsets = st.floats(-30, 30)


@pytest.mark.parametrize(
    ("offset_cm", "angle", "within", "source"),
    [
        # The published mean belongs to an examiner lined up with the other eye; the distance between the pupils of
        # an adult, 6.4 to 6.5 cm, is from memory.
        (6.4, 5.58, 0.15, "published mean, Eye 2011, doi 10.1038/eye.2011.79"),
        (6.5, 5.58, 0.05, "published mean, Eye 2011, doi 10.1038/eye.2011.79"),
        (3.0, 2.6, 0.05, "arctangent worked by hand"),
        (5.0, 4.3, 0.05, "arctangent worked by hand"),
        (10.0, 8.5, 0.05, "arctangent worked by hand"),
    ],
)
def test_angle_at_67_cm(offset_cm: float, angle: float, within: float, source: str) -> None:
    assert offset_angle(offset_cm=offset_cm, distance_cm=67) == pytest.approx(angle, abs=within), source


def test_about_one_degree_for_each_1_2_cm_at_67() -> None:
    """Common practice, no published source."""
    assert offset_angle(offset_cm=1.2, distance_cm=67) == pytest.approx(1.0, abs=0.05)


@given(offsets, distances)
def test_angle_keeps_the_sign_of_the_offset_and_its_tangent(offset: float, distance: float) -> None:
    angle = offset_angle(offset_cm=offset, distance_cm=distance)
    assert math.tan(math.radians(angle)) * distance == pytest.approx(offset, abs=1e-9)
    assert offset_angle(offset_cm=-offset, distance_cm=distance) == -angle


def test_height_for_a_chart_70_cm_up_at_6_m() -> None:
    """Common practice, no published source: about 8 cm at two thirds of a metre."""
    height = sighting_height(chart_height_cm=70, chart_path_cm=600, distance_cm=200 / 3)
    assert height == pytest.approx(8, abs=0.5)


@given(st.floats(-150, 150), st.floats(200, 800), distances)
def test_the_three_eyes_lie_on_one_line(height: float, path: float, distance: float) -> None:
    """Patient, examiner and chart see each other under one elevation (derived here: collinear points)."""
    found = sighting_height(chart_height_cm=height, chart_path_cm=path, distance_cm=distance)
    assert math.atan2(found, distance) == pytest.approx(math.atan2(height, path), abs=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: offset_angle(offset_cm=5, distance_cm=0), "working distance 0 cm"),
        (lambda: offset_angle(offset_cm=5, distance_cm=math.inf), "working distance inf cm"),
        (lambda: offset_angle(offset_cm=math.nan, distance_cm=67), "sideways offset nan cm"),
        (lambda: sighting_height(chart_height_cm=math.inf, chart_path_cm=600, distance_cm=67), "chart height inf cm"),
        (lambda: sighting_height(chart_height_cm=70, chart_path_cm=-6, distance_cm=67), "path to the chart -6 cm"),
        (lambda: sighting_height(chart_height_cm=70, chart_path_cm=60, distance_cm=67), "shorter than the path"),
    ],
)
def test_impossible_places_are_refused_in_words(call: object, message: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=message):
        call()
