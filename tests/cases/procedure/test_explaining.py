"""The three figures of tests/benchmarks/explanations.py, over few seeds: what is told of an answer may be believed."""

from __future__ import annotations

from collections import Counter

from tests.benchmarks.explanations import WANTED, measured, shares


def test_of_few_seeds_the_three_figures_hold() -> None:
    """`python -m tests.benchmarks.explanations` measures 200 seeds of each type and level."""
    total = sum(measured([3], levels=("competent",)).values(), Counter[str]())
    assert total["spoilt"] > 400
    assert total["slips"] > 300
    found = shares(total)
    assert found["spoilt"] <= WANTED["spoilt"]
    assert found["slips"] >= WANTED["slips"]
    assert found["pairs"] >= WANTED["pairs"]
    assert found["apart"] >= 0.95, "one number out is never a fact, but for twins"
