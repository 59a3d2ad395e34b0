"""Laws that every case type in the register keeps to. A new type comes under them by being there."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.curriculum.register import all_types, case_type
from cases.procedure.case_type import CannotDraw, draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from tests.cases.drawing import sound
from tests.cases.seeds import check_cases_hide_nothing, check_twins_are_parted, settings_of
from tests.cases.worked import anything, check_never_falls_over

EVERY = tuple(all_types())
MAIN = (
    "distance-vergence", "net-sphere", "working-lens", "distance-drift", "far-point", "next-lens", "predict-movement",
    "streak-axis", "two-spheres", "sphere-then-cyl", "rx-to-cross", "cross-to-rx", "transpose", "spherical-equivalent",
)  # fmt: skip
"""The spine of the job, held to more cases than the others."""

OWN_DISTANCE = ("distance-vergence", "bench-lean")
"""Types whose distance is the question itself, so that it is never fixed."""


@pytest.mark.parametrize("type_id", EVERY)
def test_no_slip_hides_behind_the_truth_or_another(type_id: str, pytestconfig: pytest.Config) -> None:
    """A slip that is rare is waited for; `.ci/run` draws 600 cases of each type, 1,200 of the main ones."""
    draws, many = int(pytestconfig.getoption("draws")), type_id in MAIN
    check_cases_hide_nothing(type_id, 2 * draws if many else draws, most=1000 if many else 600)


@pytest.mark.parametrize("type_id", [one.id for one in all_types().values() if one.twins])
def test_declared_twins_coincide_and_a_probe_parts_them(type_id: str) -> None:
    check_twins_are_parted(type_id)


@pytest.mark.parametrize("type_id", EVERY)
@settings(max_examples=50, deadline=None)
@given(data=st.data())
def test_any_findings_are_worked_or_refused(type_id: str, data: st.DataObject) -> None:
    kind = case_type(type_id)
    check_never_falls_over(kind, data.draw(anything(kind.findings)))


@pytest.mark.parametrize("type_id", EVERY)
def test_every_figure_is_sound(type_id: str) -> None:
    for seed in range(30):
        case = draw(case_type(type_id), seed, settings_of(seed))
        figure = case.type.figure(case.findings, "f")
        if figure:
            sound(figure)


@pytest.mark.parametrize("type_id", EVERY)
def test_any_usual_distance_leaves_cases_to_draw(type_id: str) -> None:
    for number, distance_cm in enumerate((33, 57, 67, 100)):
        draw(
            case_type(type_id), number, Settings(level=LEVELS[number % 3], distance_cm=distance_cm, fixed_distance=True)
        )


@pytest.mark.parametrize("type_id", ["net-sphere", "two-spheres", "sphere-then-cyl", "hand-over", "bench-eye"])
def test_a_metre_and_a_half_leaves_cases_though_its_metres_are_the_habitual_dioptres(type_id: str) -> None:
    case = draw(case_type(type_id), 1, Settings(distance_cm=150, fixed_distance=True))
    assert case.shows("always-one-fifty")
    assert not case.shows("metres-not-inverted")


def test_the_whole_curriculum_is_there() -> None:
    steps = [step.skill.id for one in all_types().values() for step in one.steps]
    assert len(EVERY) >= 50
    assert len({one.family.id for one in all_types().values()}) >= 8
    assert len({ref.slip for one in all_types().values() for ref in one.slips}) >= 65
    assert any(steps.count(step) >= 8 for step in steps), "no step is shared by eight types"


@pytest.mark.parametrize("distance_cm", [6, 12, 20, 150, 400, 1000])
@pytest.mark.parametrize("type_id", ["lean-test", "whole-run", "vision-disagrees", "bench-movement", "near-or-far"])
def test_an_unusual_distance_gives_a_case_or_says_that_there_is_none(type_id: str, distance_cm: float) -> None:
    for seed, level in enumerate(LEVELS):
        with suppress(CannotDraw):
            chosen = Settings(level=level, distance_cm=distance_cm, fixed_distance=True)
            case = draw(case_type(type_id), seed, chosen)
            assert case.hides_nothing()
