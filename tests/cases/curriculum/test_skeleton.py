"""A new type starts from a file that already draws, works and marks."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from cases.curriculum.skeleton import CannotStart, write_skeleton


@pytest.mark.parametrize("family", ["distance", "brand-new"])
def test_a_skeleton_makes_its_type_and_is_clean(tmp_path: Path, family: str) -> None:
    for folder in ("cases/curriculum/working_distance", "tests/cases/curriculum"):
        (tmp_path / folder).mkdir(parents=True)
    file, test = write_skeleton(family, "first-try", tmp_path, new_family=family == "brand-new")
    assert file.parent.name == {"distance": "working_distance"}.get(family, "brand_new")
    said = "import runpy, sys, cases.curriculum as c; c.__path__.append(sys.argv[2]); "
    said += "made = runpy.run_path(sys.argv[1])['first_try']; "
    said += "print(made.case({'found_power': 2.0, 'distance_cm': 50.0}).truth)"
    root = Path(__file__).resolve().parents[3]
    ran = subprocess.run(
        (sys.executable, "-c", said, file, file.parents[1]), cwd=root, capture_output=True, text=True, check=False
    )
    assert ran.stdout == "{'power': 0.0}\n", ran.stderr
    assert "def test_a_worked_example" in test.read_text(encoding="utf-8")
    command = (sys.executable, "-m", "ruff", "check", "--config", root / "pyproject.toml", file)
    linted = subprocess.run(command, capture_output=True, text=True, check=False)
    assert linted.returncode == 0, linted.stdout


@pytest.mark.parametrize(
    ("family", "type_id", "new_family", "why"),
    [
        ("distance", "net-sphere", False, "such a type already"),
        ("A B", "x", False, "FAMILY “A B”: write up to 40 small letters and hyphens, such as near"),
        ("distance", "Net", False, "TYPE “Net”: write up to 40 small letters and hyphens, such as near-add"),
        ("Working distance", "x", False, "give its id, which is distance"),
        ("working-distance", "x", False, "the families are distance \\(Working distance\\), .* add --new-family"),
        ("distance", "x", True, "leave --new-family out"),
    ],
)
def test_a_name_that_will_not_do_is_refused(
    tmp_path: Path, family: str, type_id: str, new_family: bool, why: str
) -> None:
    with pytest.raises(CannotStart, match=why):
        write_skeleton(family, type_id, tmp_path, new_family=new_family)
