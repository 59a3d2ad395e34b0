"""Every sum that a working prints adds up as printed: a learner who checks it with a pencil finds no digit out."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.curriculum.register import all_types, case_type
from cases.errors import CaseError
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from tests.cases.printed_sums import sums
from tests.cases.worked import anything, case_of, rx

EVERY = tuple(all_types())
DISTANCES_CM = (67, 40, 32, 64, 57)
"""32 cm is 3.125 D and 64 cm is 1.5625 D: an eighth and a sixteenth, by the definition of vergence."""


def check_sums(case: Case) -> int:
    """Check the sums of the right working and of every slipped one, and say how many there were."""
    met = 0
    for run in (case.run, *(one.run for one in case.singles)):
        for line in run.lines:
            for one in sums(line.says):
                met += 1
                assert one.adds_up, f"{case.type.id} {case.seed}: {line.says!r}: {one.worked:g} by hand"
    return met


@pytest.mark.parametrize("type_id", EVERY)
def test_every_sum_in_a_drawn_working_adds_up_as_printed(type_id: str) -> None:
    for seed in range(60):
        chosen = Settings(
            level=LEVELS[seed % 3],
            form=("minus", "plus")[seed // 3 % 2],
            distance_cm=DISTANCES_CM[seed % 5],
            fixed_distance=seed % 2 == 1,
        )
        with suppress(CannotDraw):
            check_sums(draw(case_type(type_id), seed, chosen))


def as_typed(findings: Any) -> Any:
    """Round every number to the hundredth, or to the eighth that it is: nobody finds or types more digits."""
    if isinstance(findings, float):
        return findings if findings * 8 % 1 == 0 else round(findings, 2)
    if isinstance(findings, dict):
        return {name: as_typed(one) for name, one in findings.items()}
    return [as_typed(one) for one in findings] if isinstance(findings, list) else findings


def test_a_long_way_off_is_written_without_a_power_of_ten() -> None:
    """It read "1.3e+03 ÷ 5": found by the law below, in the working of a slip."""
    found = {"chart_height_cm": 5.75, "chart_path_cm": 100.0, "distance_cm": 5.0, "own_height_cm": 80.0, "limit": 0.5}
    case = case_type("sighting-level").case_from_json(found)
    check_sums(case)
    runs = [case.run, *(one.run for one in case.singles)]
    assert not [line.says for run in runs for line in run.lines if "e+" in line.says]


@given(type_id=st.sampled_from(EVERY), data=st.data())
@settings(max_examples=600, deadline=None)
def test_every_sum_in_a_working_of_own_findings_adds_up_as_printed(type_id: str, data: st.DataObject) -> None:
    """Own findings may be hundredths, and then a rounded result is said to be about so much."""
    kind = case_type(type_id)
    try:
        check_sums(kind.case_from_json(as_typed(data.draw(anything(kind.findings)))))
    except CaseError:
        return


def test_the_law_of_sums_reads_the_sentences_that_have_them() -> None:
    """A law that finds no sum holds of anything: most families print some."""
    found = Counter({type_id: check_sums(draw(case_type(type_id), 3)) for type_id in EVERY})
    assert sum(count > 0 for count in found.values()) >= 40
    assert [one.adds_up for one in sums("−4.25 with +0.87 makes −3.37.")] == [False]
    assert [one.adds_up for one in sums("Take the error off: +3.75 − (+0.62) = +3.12.")] == [False]
    assert [one.adds_up for one in sums("+9.00 × (1 + sin²25° ÷ 3) = +9.00 × 1.0595 = +9.54.")] == [True, True]
    assert [one.adds_up for one in sums("53 cm is 1.89 D and 57 cm is 1.75 D: about 0.13 D too little")] == [True]


def test_a_mean_power_with_an_eighth_is_worked_in_eighths() -> None:
    """−4.25 with half of +1.75: −4.25 + 0.875 = −3.375 by hand."""
    case = case_of("spherical-equivalent", {"rx": rx(-4.25, 1.75, 90)})
    assert [line.says for line in case.run.lines] == ["Half of +1.75 is +0.875.", "−4.25 with +0.875 makes −3.375."]
    assert case.type.asks[0].kind.write(case.truth["power"]) == "−3.375 D"
