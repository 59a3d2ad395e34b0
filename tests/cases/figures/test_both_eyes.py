"""Both eyes side by side: axes at their true angles, the right eye on the examiner's left."""

from __future__ import annotations

import pytest
from hypothesis import given

from cases.figures.both_eyes import two_eyes
from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl
from tests.cases.drawing import lenses, sound


@given(lenses, lenses)
def test_each_minus_axis_lies_at_its_angle(right: SphCyl, left: SphCyl) -> None:
    drawing = sound(two_eyes(right, left, uid="f"))
    drawn = drawing.angles("truth")
    torics = [lens for lens in (right, left) if lens.cylinder]
    assert len(drawn) == len(torics)
    for angle, lens in zip(drawn, torics, strict=True):
        assert axis_gap(angle, lens.minus_form().axis) < 0.5


def test_the_right_eye_stands_on_the_examiners_left() -> None:
    """The examiner faces the patient: ISO 8429 views the dial so."""
    boxes = dict(sound(two_eyes(SphCyl(1, -2, 20), SphCyl(0, 1, 90), uid="f")).boxes())
    assert boxes["right eye"].right < boxes["left eye"].left


@pytest.mark.parametrize(
    ("lens", "words"),
    [
        (SphCyl(1, -2, 20), "+1.00 / −2.00 × 20; its minus axis lies along 20"),
        (SphCyl(0, 0.5, 20), "plano / +0.50 × 20; its minus axis lies along 110"),
        (SphCyl(-1.25), "−1.25 DS, without a cylinder"),
    ],
)
def test_the_words_carry_the_lens_as_it_is_written(lens: SphCyl, words: str) -> None:
    assert words in two_eyes(lens, SphCyl(0), uid="f").description
