"""The desk's journeys in every way: both widths, both themes, with scripts and without: named in `.ci/run`."""

from __future__ import annotations

from itertools import product

import pytest

from tests.browser.test_desk import (
    Way,
    browser_context_args,
    data_path,
    practised,
    sound,
    test_a_mock_paper,
    test_after_200_days,
    test_before_an_exam,
    test_data_moved_from_one_computer_to_another,
    test_day_fifteen,
    test_mistakes_only,
    test_the_first_day_of_a_beginner,
    test_the_first_day_of_an_expert,
)

__all__ = [
    "browser_context_args",
    "data_path",
    "practised",
    "sound",
    "test_a_mock_paper",
    "test_after_200_days",
    "test_before_an_exam",
    "test_data_moved_from_one_computer_to_another",
    "test_day_fifteen",
    "test_mistakes_only",
    "test_the_first_day_of_a_beginner",
    "test_the_first_day_of_an_expert",
]


@pytest.fixture(params=[Way(*one) for one in product((360, 1280), ("light", "dark"), (True, False))], ids=str)  # type: ignore[arg-type]
def way(request: pytest.FixtureRequest) -> Way:
    return request.param  # type: ignore[no-any-return]
