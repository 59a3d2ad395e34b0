"""Cases that are to show something: brought where they can, and never looked for in vain twice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cases.curriculum.register import all_types, case_type
from cases.procedure.case_type import CannotDraw
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings
from quiz.classroom import drills
from quiz.learning.state import SlipMemory
from quiz.practice import constraints, dealing, learners
from quiz.practice.type_catalogue import catalogue_for, key_of
from quiz.storage import projection
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, lots

LEVEL = Settings(level="novice")
"""At this level the two cylinders of an over-refraction lie along one axis: nobody can forget to double their angle."""


def test_a_case_shows_what_was_wished() -> None:
    for seed in range(20):
        assert constraints.case_for(case_type("two-spheres"), seed, LEVEL, "distance-left-in").shows("distance-left-in")


def test_what_a_type_cannot_show_is_remembered_for_these_settings_alone() -> None:
    one, wish = case_type("over-refraction"), "angle-not-doubled"
    with pytest.raises(CannotDraw):
        constraints.case_for(one, 1, LEVEL, wish)
    assert (one.id, wish) in constraints.unable(LEVEL)
    expert = replace(LEVEL, level="expert")
    assert (one.id, wish) not in constraints.unable(expert)
    assert constraints.case_for(one, 1, expert, wish).shows(wish)


def test_looking_in_vain_is_short() -> None:
    """It took 4,000 draws, some three seconds, for every case of a learner with such a slip."""
    one, drawn = case_type("over-refraction"), list[int]()

    def draw(chance: Chance, settings: Settings) -> dict[str, object]:
        drawn.append(1)
        return one.draw(chance, settings)

    with pytest.raises(CannotDraw):
        constraints.case_for(replace(one, draw=draw), 1, LEVEL, "angle-not-doubled")
    assert len(drawn) == constraints.TRIES


@pytest.mark.parametrize(
    ("type_id", "never"),
    [
        ("crossed-sum", "sphere-not-readded"),
        ("result-difference", "mean-as-sphere"),
        ("average-readings", "sphere-not-readded"),
    ],
)
def test_a_case_that_is_to_show_a_slip_shows_it_at_the_learners_level(
    store: Store, learner: Learner, type_id: str, never: str
) -> None:
    """With every slip of a type standing, and the one that it cannot show at this level made the most often."""
    state = projection.cases_of(store, learner.id).copy()
    for ref in case_type(type_id).slips:
        step, slip = key_of(ref)
        state.slips.setdefault(step, {})[slip] = SlipMemory(9.0 if slip == never else 3.0, NOON)
    with store.writing():
        projection.keep_cases(store, learner.id, state)
    for number in range(6):
        one = dealing.at_bench(store, learner, [type_id], now=NOON + number, lots=lots(number))
        assert one.dealt.must_show not in (None, never)
        assert one.case.shows(str(one.dealt.must_show))
        with store.writing():
            store.close_case(one.dealt.id, now=NOON + number)
    # Known by the steps that its cases call for, or else found out by looking for such a case.
    drawing = learners.settings_of(learner).for_drawing
    tried = any(slip == never for _, slip in catalogue_for(drawing).by_id[type_id].slips)
    assert not tried or (type_id, never) in constraints.unable(drawing)


def test_a_drill_for_a_slip_has_no_type_that_cannot_show_it() -> None:
    slips = [key_of(ref) for ref in case_type("over-refraction").slips if ref.slip == "angle-not-doubled"]
    having = {one.id for one in all_types().values() if any(key_of(ref) in slips for ref in one.slips)}
    assert "over-refraction" in having
    assert "over-refraction" not in drills.types_for(slips, LEVEL)
    assert "over-refraction" in drills.types_for(slips, replace(LEVEL, level="expert"))
