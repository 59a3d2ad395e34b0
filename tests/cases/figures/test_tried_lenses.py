"""Drawings of logs and of reflexes side by side: sound at any content, and nothing said that is not seen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.figures.reflexes_compared import ComparedReflex, side_by_side
from cases.figures.tried_lenses import lens_log, two_logs
from cases.optics.appearance import seen
from cases.procedure.lens_log import Log, Tried
from tests.cases.drawing import angles, sound

tried = st.builds(
    Tried,
    st.integers(-120, 120).map(lambda quarters: quarters / 4),
    st.sampled_from(["with", "against", "neutral"]),
    st.booleans(),
)
logs = st.lists(tried, min_size=1, max_size=12).map(tuple)
views = st.builds(
    lambda name, streak, left, distance: ComparedReflex(name, streak, seen(left, distance)),
    st.sampled_from("ABC"),
    angles,
    st.floats(-20, 20, allow_nan=False).filter(lambda left: abs(left) > 0.01),
    st.integers(20, 150).map(float),
)


@given(logs)
def test_a_log_shows_every_line_in_the_order_of_trying(log: Log) -> None:
    drawing = sound(lens_log(log, uid="f"))
    numbers = [words for words in drawing.words() if words[0] in "+−0"]
    assert len(numbers) == len(log)
    arrows = drawing.lines("arrow", "2.4")[:-1]
    moving = [one for one in log if one.movement != "neutral"]
    assert [x2 > x1 for x1, _, x2, _ in arrows] == [one.movement == "with" for one in moving]
    assert drawing.words().count("*") == sum(one.unsteady for one in log)


@given(st.tuples(angles, logs), st.tuples(angles, logs))
def test_two_logs_stand_side_by_side(first: tuple[float, Log], second: tuple[float, Log]) -> None:
    drawing = sound(two_logs(first, second, uid="f"))
    assert len([words for words in drawing.words() if words[0] in "+−0"]) == len(first[1]) + len(second[1])


@given(st.lists(views, min_size=2, max_size=3))
def test_reflexes_side_by_side(shown: list[ComparedReflex]) -> None:
    figure = side_by_side(shown, uid="f")
    sound(figure)
    for view in shown:
        assert view.seen.words in figure.description


def test_the_faster_reflex_has_the_longer_arrow() -> None:
    """At 67 cm 0.5 D off is three times as fast as the streak, 3 D off half as fast: speed = (1/w)/e."""
    near, far = (ComparedReflex(name, 90, seen(left, 67)) for name, left in (("A", 0.5), ("B", -3.0)))
    first, second, _key = sound(side_by_side([near, far], uid="f")).lines("arrow", "2.4")
    assert first[2] - first[0] > 3 * abs(second[2] - second[0])
    assert first[2] > first[0]
    assert second[2] < second[0]


@pytest.mark.parametrize("count", [0, 1, 4])
def test_other_numbers_of_reflexes_are_refused(count: int) -> None:
    with pytest.raises(OutOfRange):
        side_by_side([ComparedReflex("A", 90, seen(1, 67))] * count, uid="f")
