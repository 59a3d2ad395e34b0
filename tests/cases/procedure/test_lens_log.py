"""Logs of lenses tried: read, written, kept as JSON, refused when they enclose nothing; and what encloses neutral."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import CaseError
from cases.procedure import quantities
from cases.procedure.fields import Field, Group
from cases.procedure.lens_log import Bracket, LensLog, Log, NoEndPoint, Tried, UnreadableLog, bracket

KIND = LensLog()


@st.composite
def sound_logs(draw: st.DrawFn) -> Log:
    """Draw a log whose movements run from with by neutral to against, in any order of trying."""
    lenses = sorted(draw(st.sets(st.integers(-40, 40), min_size=2, max_size=10)))
    first, last = sorted((draw(st.integers(1, len(lenses) - 1)), draw(st.integers(1, len(lenses) - 1))))
    movements = ["with"] * first + ["neutral"] * (last - first) + ["against"] * (len(lenses) - last)
    log = [Tried(lens / 4, movement) for lens, movement in zip(lenses, movements, strict=True)]
    return tuple(draw(st.permutations(log)))


@given(sound_logs())
def test_the_end_point_lies_between_with_and_against(log: Log) -> None:
    found = bracket(log)
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.end_point < found.high
    assert not [one for one in log if one.movement == "with" and one.lens > found.end_point]
    assert not [one for one in log if one.movement == "against" and one.lens < found.end_point]


@given(sound_logs())
def test_a_log_survives_writing_and_json(log: Log) -> None:
    assert KIND.read(KIND.write(log)) == log
    assert KIND.from_json(KIND.to_json(log)) == log


@given(sound_logs())
def test_a_line_while_the_pupil_shrank_does_not_count(log: Log) -> None:
    low = min(one.lens for one in log)
    spoilt = (*log, Tried(low - 1, "against", unsteady=True))
    assert bracket(spoilt) == bracket(log)
    with pytest.raises(NoEndPoint):
        bracket(spoilt, unsteady_too=True)


# The middle of the end-point, by hand: common practice, no published source.
BY_HAND = [
    ("+1.00 with; +2.00 against", Bracket(1, (), 2), 1.5),
    ("+2.00 against; +1.00 with; +0.50 with; +2.75 against", Bracket(1, (), 2), 1.5),
    ("+1.00 with; +1.25 neutral; +2.00 against", Bracket(1, (1.25,), 2), 1.25),
    ("+1.00 with; +1.25 neutral; +1.75 neutral; +2.00 against", Bracket(1, (1.25, 1.75), 2), 1.5),
    ("-1.00 neutral", Bracket(None, (-1,), None), -1),
]


@pytest.mark.parametrize(("text", "found", "end_point"), BY_HAND)
def test_end_points_by_hand(text: str, found: Bracket, end_point: float) -> None:
    assert bracket(KIND.read(text)) == found
    assert found.end_point == end_point


def test_a_shrinking_pupil_is_read_and_written() -> None:
    log = KIND.read("+1.00 with; +1.50 against (pupil shrank), +2,00 Against, pupil shrank\n+3.00 against")
    assert [one.unsteady for one in log] == [False, True, True, False]
    assert [one.lens for one in log] == [1, 1.5, 2, 3]
    assert KIND.write(log).startswith("+1.00 with, +1.50 against (pupil shrank), ")


@pytest.mark.parametrize(
    "text",
    ["+1.00", "with", "+1.00 sideways", "; ;", "", "+1.00 sideways; +2.00 against", "+1.00 with +2.00", "+x with"],
)
def test_what_is_no_line_is_refused(text: str) -> None:
    with pytest.raises(CaseError):
        KIND.read(text)


def test_the_sentence_says_how_a_line_is_written() -> None:
    with pytest.raises(UnreadableLog, match=r"\+1\.00 with"):
        KIND.read("+1.00 then neutral later")


@pytest.mark.parametrize(
    ("text", "because"),
    [
        ("+1.00 with; +2.00 with", "every lens left with"),
        ("+1.00 against", "every lens left against"),
        ("+2.00 with; +1.00 against", "past neutral"),
        ("+1.00 with; +1.00 against", "past neutral"),
        ("+1.00 with; +1.00 neutral", "past neutral"),
        ("+2.00 neutral; +1.00 against", "past neutral"),
    ],
)
def test_a_log_without_an_end_point_is_refused(text: str, because: str) -> None:
    with pytest.raises(NoEndPoint, match=because):
        KIND.read(text)


@pytest.mark.parametrize(
    "given",
    [
        "with", {}, [{"lens": 1}], [{"lens": 1, "movement": "up"}], [{"lens": "1", "movement": "with"}],
        [{"lens": 1, "movement": "neutral", "pupil": 3}], [{"lens": 1, "movement": "neutral", "unsteady": 1}],
        [{"lens": 99, "movement": "neutral"}], [], [{"lens": 1, "movement": "neutral"}] * 13,
    ],
)  # fmt: skip
def test_bad_json_is_refused(given: Any) -> None:
    with pytest.raises(CaseError):
        KIND.from_json(given)


def test_a_log_stands_in_a_group_as_text() -> None:
    group = Group((Field("streak", "Streak", quantities.AXIS), Field("log", "Log", KIND)))
    value = {"streak": 90.0, "log": KIND.read("+1.00 with, +1.50 neutral, +2.00 against")}
    assert group.read(group.write(value)) == value


def test_logs_are_compared_line_by_line() -> None:
    one, other = KIND.read("+1.00 with; +2.00 against"), KIND.read("+2.00 against; +1.00 with")
    assert KIND.same(one, one)
    assert not KIND.close(one, other)
