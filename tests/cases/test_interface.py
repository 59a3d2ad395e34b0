"""What `import cases` gives to other people's scripts: its examples run, and nothing is loaded before it is needed."""

from __future__ import annotations

import doctest
import subprocess
import sys

import pytest

import cases
from cases import interface


@pytest.mark.parametrize("module", [cases, interface], ids=["cases", "interface"])
def test_the_examples_run(module: object) -> None:
    found = doctest.testmod(module)  # type: ignore[arg-type]
    assert found.attempted > 2
    assert found.failed == 0


def test_everything_public_is_there_with_a_docstring_and_in_dir() -> None:
    for name in cases.__all__:
        assert getattr(cases, name).__doc__
        assert name in dir(cases)
    with pytest.raises(AttributeError, match="no attribute 'drawn'"):
        cases.drawn  # type: ignore[attr-defined]  # noqa: B018


def test_an_answer_may_be_given_by_its_parts() -> None:
    case = cases.work("net-sphere", {"gross": 2.5, "distance_cm": 67})
    assert cases.mark(case, {"power": "+1.00"}).verdict == "right"
    with pytest.raises(cases.CaseError, match="gross"):
        cases.work("net-sphere", {"distance_cm": 67})


def test_importing_cases_loads_neither_numpy_nor_a_case_type() -> None:
    code = "import sys, cases; print(sorted(one for one in sys.modules if one.startswith(('numpy', 'cases.'))))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert loaded.strip() == "[]"
