"""The register: in which order types are taught, and that an id of a step or a slip has one meaning everywhere.

The order is that of the design's curriculum (common practice, no published source).
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

from cases.casetype import LEVELS
from cases.register import all_families, all_types
from cases.working import Skill, SlipName


def test_no_type_stands_before_one_of_its_family_that_it_needs() -> None:
    types = list(all_types().values())
    place = {one.id: number for number, one in enumerate(types)}
    for one in types:
        for need in one.needs:
            assert need in place, f"{one.id} needs {need}, which there is not"
            if all_types()[need].family == one.family:
                assert place[need] < place[one.id], f"{one.id} stands before {need}"


def test_families_stand_together_from_distance_to_judgement() -> None:
    families = [one.family for one in all_types().values()]
    assert list(dict.fromkeys(families)) == sorted(set(families), key=lambda one: one.place)
    assert sum(a != b for a, b in pairwise(families)) == len(all_families()) - 1


def test_within_a_family_the_easier_level_comes_first() -> None:
    for family in all_families():
        levels = [LEVELS.index(one.level) for one in all_types().values() if one.family == family]
        assert levels == sorted(levels), family.id


def test_a_beginner_starts_with_distance_movement_streak_and_transposing() -> None:
    start = {one.id for one in all_types().values() if one.level == "novice" and not one.needs}
    assert start == {"distance-vergence", "next-lens", "streak-axis", "transpose"}


def test_no_type_needs_one_of_a_higher_level() -> None:
    """Else a learner held to a level would never come to it."""
    for one in all_types().values():
        for need in one.needs:
            assert LEVELS.index(all_types()[need].level) <= LEVELS.index(one.level), f"{one.id} needs {need}"


def test_every_type_can_be_come_to() -> None:
    met: set[str] = set()
    while ready := {one.id for one in all_types().values() if set(one.needs) <= met} - met:
        met |= ready
    assert met == set(all_types())


def test_an_id_has_one_meaning() -> None:
    skills: dict[str, set[Skill]] = defaultdict(set)
    slips: dict[str, set[SlipName]] = defaultdict(set)
    for one in all_types().values():
        for step in one.steps:
            skills[step.skill.id].add(step.skill)
            for slip in step.slips:
                slips[slip.name.id].add(slip.name)
    assert [ident for ident, found in skills.items() if len(found) > 1] == []
    assert [ident for ident, found in slips.items() if len(found) > 1] == []


def test_steps_of_one_title_are_one_step() -> None:
    ids: dict[str, set[str]] = defaultdict(set)
    for one in all_types().values():
        for step in one.steps:
            ids[step.skill.title].add(step.skill.id)
    assert [title for title, found in ids.items() if len(found) > 1] == []
