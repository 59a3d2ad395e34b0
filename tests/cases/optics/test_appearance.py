"""How a reflex looks so far from neutral: the words follow the optics of reflex.py."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.optics.appearance import BRIGHTNESSES, SPEEDS, WIDTHS, seen

powers = st.floats(-12, 12).filter(lambda left: abs(left) > 0.13)
distances = st.floats(25, 120)


@given(powers, distances)
def test_the_speed_is_the_distance_over_what_is_wanted(left: float, distance: float) -> None:
    """Speed = (1/w)/e: derived in cases/optics/README.md."""
    look = seen(left, distance)
    assert look.speed == pytest.approx(100 / distance / abs(left))
    assert look.movement == ("with" if left > 0 else "against")


@given(powers, powers, distances)
def test_the_nearer_to_neutral_the_faster(one: float, other: float, distance: float) -> None:
    """Common practice, no published source."""
    near, far = sorted((seen(one, distance), seen(other, distance)), key=lambda look: abs(look.left))
    assert near.speed >= far.speed * (1 - 1e-9)


def test_the_brightest_is_not_the_nearest() -> None:
    """By the light of the ray-traced model: a little with is brighter than neutral, and against duller than with."""
    neutral, a_little, against, with_, far = (seen(left, 67).brightness for left in (0, 1, -2, 2, -8))
    assert a_little > neutral > against
    assert with_ > against > far


def test_an_eye_without_error_goes_as_fast_as_the_streak() -> None:
    """With a parallel beam an uncorrected emmetrope gives exactly 1, at any distance."""
    assert seen(1.5, 200 / 3).speed == pytest.approx(1)
    assert "about as fast as the streak" in seen(1.5, 200 / 3).words


def test_the_width_falls_and_grows_again() -> None:
    """Far from neutral the streak on the retina is itself blurred, so the width tends to that of the pupil."""
    near, middle, far = (seen(left, 67).width for left in (0.5, 1.5, 6.0))
    assert near == 1
    assert middle < 0.75
    assert middle < far < 1


def test_words() -> None:
    assert seen(0.5, 67).words == "with, much faster than the streak; the band fills the pupil; bright"
    assert seen(-6, 67).words == "against, much slower than the streak; the band fills the pupil; rather dull"
    assert seen(0, 67).words == "nothing travels; the band fills the pupil; bright"
    assert math.isinf(seen(0, 66.66666666666667).speed)


def test_every_grade_has_words_down_to_nought() -> None:
    for grades in (SPEEDS, BRIGHTNESSES, WIDTHS):
        least = [grade for grade, _ in grades]
        assert least == sorted(least, reverse=True)
        assert least[-1] == 0


def test_a_distance_that_nobody_works_at_is_refused() -> None:
    with pytest.raises(OutOfRange):
        seen(1, 10)
