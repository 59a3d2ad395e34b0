"""What is seen at the bench, in words and as a still, against values worked out by hand from the reflex's formulas."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.bench_guide import GUIDE, Guided
from cases.curriculum.bench_stage import SLEEVES, Bench, seen, still
from cases.optics.lens import SphCyl
from cases.optics.reflex import movement
from tests.cases.drawing import sound


def test_an_emmetrope_without_lenses_shows_with_as_fast_as_the_streak() -> None:
    """Parallel beam: exactly 1 at any distance, derived in cases/optics/README.md."""
    for distance in (33.0, 50.0, 67.0, 100.0):
        words = seen(Bench(distance_cm=distance, sleeve=0.0))
        assert words[1] == "In the pupil the reflex travels the same way as the streak, about as fast as it."


def test_the_concave_setting_turns_every_movement_round() -> None:
    for sphere in (-3.0, 0.0, 4.0):
        plane, concave = (Bench(eye=SphCyl(1), sphere=sphere, sleeve=sleeve) for sleeve in SLEEVES.values())
        assert {movement(plane.setting, 90), movement(concave.setting, 90)} == {"with", "against"}


def test_the_skew_by_hand() -> None:
    """Residual 1 D along the axis at 90, 2 D across it, the streak 20° anticlockwise: tan ψ = (1/2) tan 20°."""
    gross = 100 / 50
    bench = Bench(eye=SphCyl(1 - gross, 1, 90), distance_cm=50, streak=110)
    turned = 20 - math.degrees(math.atan(math.tan(math.radians(20)) / 2))
    assert turned > 5
    assert f"turned clockwise from the streak by about {5 * round(turned / 5)}°" in seen(bench)[2]


def test_centre_and_edge_are_told_apart() -> None:
    words = seen(Bench(eye=SphCyl(0), sphere=1.25, distance_cm=50, pupil_mm=8, margin=-2))
    assert "the same way" in words[1]
    assert words[-1] == "At the edge of the pupil light travels the opposite way to the streak."


@given(
    eye=st.builds(SphCyl, st.floats(-12, 12), st.floats(-5, 5), st.floats(1, 180)),
    sphere=st.floats(-12, 12),
    streak=st.floats(1, 180),
    distance=st.floats(25, 120),
    sleeve=st.floats(-4, 6),
    margin=st.floats(-2, 2),
)
def test_whatever_is_set_is_told_and_drawn_without_judging_it(
    eye: SphCyl, sphere: float, streak: float, distance: float, sleeve: float, margin: float
) -> None:
    bench = Bench(eye=eye, sphere=sphere, streak=streak, distance_cm=distance, sleeve=sleeve, margin=margin)
    words = " ".join(seen(bench))
    figure = still(bench, uid="f")
    sound(figure)
    for judged in (" with ", "against", "neutral"):
        assert judged not in f"{words} {figure.description}".replace("with the streak", "")


STARTS = {
    "swept": "with",
    "neutral": "with",
    "reversal": "neutral",
    "faded": "against",
    "sleeved": "with",
    "aligned": "with",
    "both": "with",
    "leaned": "neutral",
}


@pytest.mark.parametrize("part", GUIDE, ids=lambda part: part.goal)
def test_each_part_of_the_guided_run_starts_where_its_words_say(part: Guided) -> None:
    assert movement(part.bench.setting, part.bench.streak) == STARTS[part.goal]


def test_against_is_out_of_sight_where_the_guide_says_it_fades_and_in_sight_nearer() -> None:
    (part,) = (one for one in GUIDE if one.goal == "faded")
    words = [" ".join(seen(part.bench.holding(SphCyl(sphere)))) for sphere in (0, -3)]
    assert "you cannot see" in words[0]
    assert "the opposite way" in words[1]


def test_the_guided_end_point_holds_in_both_meridians_until_one_leans_in() -> None:
    (part,) = (one for one in GUIDE if one.goal == "leaned")
    for streak in (105, 15):
        assert movement(part.bench.setting, streak) == "neutral"
        assert movement(part.bench.setting.leaning_in(30), streak) == "with"
