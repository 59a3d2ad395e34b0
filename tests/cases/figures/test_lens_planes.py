"""A trial lens over a contact lens, read back from its SVG."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.figures.lens_planes import over_contact_lens
from cases.optics.lens import SphCyl
from tests.cases.drawing import lenses, sound

told = st.lists(st.sampled_from([("contact lens", "−3.00 DS"), ("flattest cornea", "7.90 mm")]), max_size=8)


@given(lenses, told, st.none() | st.sampled_from([12.0, 13.5]))
def test_what_is_told_is_written_and_described(
    over: SphCyl, told: list[tuple[str, str]], vertex_mm: float | None
) -> None:
    figure = over_contact_lens(over, told, vertex_mm=vertex_mm, uid="f")
    words = sound(figure).words()
    for name, value in told:
        assert {name, value} <= set(words)
        assert f"{name[0].upper()}{name[1:]}: {value}." in figure.description
    assert any("mm" in word and "." not in word for word in words) == (vertex_mm == 12)
    assert (vertex_mm is None) == ("before the cornea" not in figure.description)


def test_too_many_lines_and_no_distance_are_refused() -> None:
    with pytest.raises(OutOfRange, match="at most 8"):
        over_contact_lens(SphCyl(1), [("a", "b")] * 9, uid="f")
    with pytest.raises(OutOfRange, match="above 0"):
        over_contact_lens(SphCyl(1), [], vertex_mm=0, uid="f")
