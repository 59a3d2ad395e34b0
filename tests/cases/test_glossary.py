"""The glossary: every term has a page with its figure, and what a text uses is found."""

from __future__ import annotations

import pytest

from cases.curriculum.register import all_types
from cases.optics.lens import SphCyl
from cases.procedure.case_type import draw
from cases.recall.glossary import EXAMPLE, TERMS, terms_in
from tests.cases.seeds import settings_of


def test_there_are_thirty_terms_or_more_each_with_one_or_two_sentences_and_a_figure_that_says_what_it_shows() -> None:
    assert len(TERMS) >= 30
    assert len({one.id for one in TERMS}) == len(TERMS)
    assert len({word for one in TERMS for word in one.words}) == sum(len(one.words) for one in TERMS)
    for one in TERMS:
        assert one.says.endswith(".")
        assert one.says.count(". ") <= 2, one.id
        figure = one.figure()
        assert figure.svg.startswith("<svg")
        assert figure.title


def test_the_example_lens_is_what_its_sentences_say() -> None:
    """Transposed by hand: S' = S + C, C' = −C, A' = A + 90; powers along 180 and 90 by the sine-squared law."""
    assert SphCyl(1.00, -1.50, 180) == EXAMPLE
    assert (EXAMPLE.power_at(180), EXAMPLE.power_at(90)) == pytest.approx((1.00, -0.50))
    other = SphCyl(-0.50, 1.50, 90)
    assert (other.power_at(180), other.power_at(90)) == pytest.approx((1.00, -0.50))


@pytest.mark.parametrize(
    ("text", "ids"),
    [
        ("Take the working distance off.", {"working-distance"}),
        ("Write it as a net prescription", {"net"}),
        ("Magnetic and internet", set()),
        ("Streaks at 90: against movement", {"streak", "against"}),
    ],
)
def test_the_terms_of_a_text_are_found_as_whole_words(text: str, ids: set[str]) -> None:
    assert {one.id for one in terms_in([text])} == ids


def test_cases_use_the_terms_that_they_teach() -> None:
    used = {
        one.id
        for kind in all_types().values()
        for case in [draw(kind, 1, settings_of(1))]
        for one in terms_in((*case.type.found(case.findings), *(line.says for line in case.run.lines)))
    }
    assert {"streak", "reflex", "meridian", "axis", "sphere", "cylinder", "working-distance", "net"} <= used
