"""The desk's journeys so that every two of width, theme and scripts meet: named in `.ci/run`.

`test_desk.py` walks 360 px, light, with scripts; these three ways complete the pairs.
"""

from __future__ import annotations

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


@pytest.fixture(params=[Way(360, "dark", False), Way(1280, "light", False), Way(1280, "dark", True)], ids=str)
def way(request: pytest.FixtureRequest) -> Way:
    return request.param  # type: ignore[no-any-return]
