"""Every type draws, works out and says what it did when its golden cases were last kept on purpose."""

from __future__ import annotations

import json

import pytest

from cases.curriculum.register import all_types
from tests import golden


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_a_type_draws_and_works_out_its_golden_cases(type_id: str) -> None:
    """One case for each level and form: findings, answer, sentences and values of the working, slips."""
    assert golden.path_of(type_id).exists(), f"{type_id} has no golden cases yet: `{golden.COMMAND}`"
    kept = json.loads(golden.path_of(type_id).read_text(encoding="utf-8"))
    assert json.loads(golden.as_text(golden.drawn(all_types()[type_id]))) == kept, (
        f"what was kept has changed: `python -m tests.golden` says how; if that is meant, `{golden.COMMAND}`"
    )


def test_there_are_golden_cases_of_no_type_that_is_gone() -> None:
    assert {path.stem for path in golden.HERE.glob("*.json")} == set(all_types()), f"put right by `{golden.COMMAND}`"
