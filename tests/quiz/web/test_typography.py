"""Lenses in running text: whole on one line, and everything else left as it was."""

from __future__ import annotations

import pytest

from quiz.web.typography import unbroken


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("The eye needs +2.75 / −2.00 × 150.", "+2.75 / −2.00 × 150"),
        ("such as +1.00 −1.50 × 90", "+1.00 −1.50 × 90"),
        ("net: plano / −0.75 × 180.", "plano / −0.75 × 180"),
        ("In the frame −2.25 DC × 1", "−2.25 DC × 1"),
        ("neutral with −0.50 DS alone", "−0.50 DS"),
        ("Sight hole 67 cm from the pupil.", "67 cm"),
        ("distance off: −3.00 − 1.50 = −4.50", "− 1.50"),
    ],
)
def test_a_lens_is_not_broken(text: str, whole: str) -> None:
    glued = whole.replace(" ", "\N{NO-BREAK SPACE}")
    assert unbroken(text) == text.replace(whole, glued)


@pytest.mark.parametrize("text", ["−1.00 with; +3.00 against", "Streak at 90 and at 180", "100 ÷ 67", "14 Days"])
def test_the_rest_is_as_it_was(text: str) -> None:
    assert unbroken(text) == text
