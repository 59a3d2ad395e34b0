"""The house in order: linted, typed, documented commands that exist, nothing that does not belong."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.mutation.__main__ import ROOMS, known

ROOT = Path(__file__).resolve().parent.parent


def ran(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, check=False)


def test_ruff_is_clean() -> None:
    found = ran(sys.executable, "-m", "ruff", "check", ".")
    assert found.returncode == 0, found.stdout
    found = ran(sys.executable, "-m", "ruff", "format", "--check", ".")
    assert found.returncode == 0, found.stdout


def test_mypy_is_clean() -> None:
    found = ran(sys.executable, "-m", "mypy")
    assert found.returncode == 0, found.stdout


def commands_in(name: str) -> list[str]:
    """Every `python -m cases|quiz …` that a document shows."""
    text = (ROOT / name).read_text(encoding="utf-8")
    return sorted(set(re.findall(r"python -m (?:cases|quiz) [a-z][a-z-]*", text)))


@pytest.mark.parametrize("command", commands_in("README.md") + commands_in("DEVELOPERS.md"))
def test_every_command_in_the_documents_exists(command: str) -> None:
    found = ran(sys.executable, *command.split()[1:], "--help")
    assert found.returncode == 0, found.stderr


def test_the_map_in_developers_names_files_that_exist() -> None:
    """Every path in DEVELOPERS.md's map is there, and every module of the two packages is on the map."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:cases|quiz|static|tests)/[\w/.-]*\w)`", text))
    missing = sorted(path for path in named if not (ROOT / path).exists())
    assert not missing
    modules = {
        str(path.relative_to(ROOT))
        for package in ("cases", "quiz")
        for path in (ROOT / package).rglob("*.py")
        if path.name != "__init__.py"
    }
    off_the_map = sorted(modules - named)
    assert not off_the_map, f"add a row to the map in DEVELOPERS.md for {', '.join(off_the_map)}"


def test_the_faults_that_may_live_have_reasons_and_stand_in_the_code_yet() -> None:
    """What `python -m tests.mutation` leans on: modules and tests that are there, lines not rewritten since."""
    for modules in ROOMS.values():
        for module, tests in modules.items():
            assert [name for name in (module, *tests) if not (ROOT / name).is_file()] == []
    files = {path.name: path for module in ROOMS.values() for path in map(ROOT.joinpath, module)}
    for survivor, reason in known().items():
        assert reason, survivor
        lines = " ".join(line.strip() for line in files[survivor.file].read_text(encoding="utf-8").splitlines())
        assert survivor.was in lines, survivor


def test_nothing_in_the_tree_names_a_path_of_one_machine() -> None:
    apart = (".ci/", "tests/test_house")  # the pattern itself, and what looks for it
    tracked = [name for name in ran("git", "ls-files").stdout.split() if not name.startswith(apart)]
    pattern = re.compile(r"(^|[^\w.])/(root|home|work|farm)/\w|\.\./shared")
    files = {name: ROOT / name for name in tracked if (ROOT / name).is_file()}
    texts = {name: path.read_bytes().decode("utf-8", "ignore") for name, path in files.items()}
    assert [name for name, text in texts.items() if pattern.search(text)] == []
