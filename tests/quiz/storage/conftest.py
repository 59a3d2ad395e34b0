"""What is asked of the engines is asked of both of them."""

from __future__ import annotations

import pytest

from tests.conftest import is_of_the_file

ENGINES = ("embedded", "postgres")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test that needs data on both engines, but those that are about the data file itself."""
    if "engine" in metafunc.fixturenames and metafunc.config.getoption("engine") == "embedded":
        both = not is_of_the_file(metafunc.definition, metafunc.function)
        metafunc.parametrize("engine", ENGINES if both else ENGINES[:1])
