"""The register: in which order types are taught, and that an id of a step or a slip has one meaning everywhere.

The order is that of the design's curriculum (common practice, no published source).
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

import pytest

from cases.curriculum.register import all_families, all_types
from cases.procedure.chain import Skill, SlipName
from cases.procedure.vocabulary import LEVELS

ROOT = Path(__file__).resolve().parents[3]


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


BROKEN = '"""A family with a fault."""\n\nfrom cases.curriculum.steps import no_such_step\n\nTYPES = (no_such_step,)\n'


def with_a_copy(tmp_path: Path) -> Path:
    """Copy the core and return the folder that it stands in."""
    shutil.copytree(ROOT / "cases", tmp_path / "cases", ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


def with_a_broken_family(tmp_path: Path) -> Path:
    """Copy the core, with one family file that cannot be imported, and return the folder."""
    folder = with_a_copy(tmp_path)
    (folder / "cases" / "curriculum" / "bench" / "bench_two.py").write_text(BROKEN, encoding="utf-8")
    return folder


def test_a_family_that_cannot_be_loaded_takes_down_its_own_types_alone(tmp_path: Path) -> None:
    folder = with_a_broken_family(tmp_path)
    listed = subprocess.run(
        [sys.executable, "-m", "cases", "list", "--json"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert listed.returncode == 0
    gone = set(all_types()) - {one["type"] for one in json.loads(listed.stdout)}
    assert gone == {"bench-axis", "bench-lean"}
    assert len(listed.stderr.splitlines()) == 1
    assert (
        "cases/curriculum/bench/bench_two.py cannot be loaded, so its types are missing: ImportError" in listed.stderr
    )
    asked = subprocess.run(
        [sys.executable, "-m", "cases", "draw", "bench-lean", "--seed", "1"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (asked.returncode, len(asked.stderr.splitlines())) == (2, 1)
    assert "bench_two.py cannot be loaded" in asked.stderr


SERVED = """
from pathlib import Path
from quiz.app import create_app
from quiz.storage.datafile import open_data
from cases.curriculum.register import not_loaded

file = open_data(Path("answers.sqlite3"), make=True)
client = create_app(file).test_client()
print([client.get(url, follow_redirects=True).status_code for url in ("/", "/bench", "/work-one-out", "/reference")])
print(not_loaded()[0])
"""


def test_the_app_goes_on_without_a_family_that_cannot_be_loaded(tmp_path: Path) -> None:
    folder = with_a_broken_family(tmp_path)
    for name in ("quiz", "static"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    ran = subprocess.run([sys.executable, "-c", SERVED], cwd=folder, capture_output=True, text=True, check=False)
    pages, said = ran.stdout.splitlines()
    assert pages == "[200, 200, 200, 200]"
    assert said.startswith("cases/curriculum/bench/bench_two.py cannot be loaded")


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        (
            'level="novice"',
            'level="beginner"',
            "case type net-sphere, level: “beginner” is none of novice",
        ),
        (
            'id="net-sphere"',
            'id="streak-axis"',
            "case type streak-axis is made in cases/curriculum/meridians/two_spheres.py already",
        ),
        ("TYPES = (", "OTHERS = (", "case type distance-vergence is not in its TYPES = (…,), so it is missing"),
    ],
)
def test_a_family_that_is_not_sound_is_named_and_the_others_go_on(
    tmp_path: Path, was: str, becomes: str, said: str
) -> None:
    folder = with_a_copy(tmp_path)
    file = folder / "cases" / "curriculum" / "working_distance" / "gross_to_net.py"
    text = file.read_text(encoding="utf-8")
    place = text.index(was, text.index("net_sphere = CaseType(") if "net-sphere" in said + was else 0)
    file.write_text(text[:place] + text[place:].replace(was, becomes, 1), encoding="utf-8")
    listed = subprocess.run(
        [sys.executable, "-m", "cases", "list"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert listed.returncode == 0
    assert said in listed.stderr
    assert "spherical-equivalent" in listed.stdout
