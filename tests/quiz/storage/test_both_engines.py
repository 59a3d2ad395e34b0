"""Every test of this folder runs on both engines, or says why it does not: by its mark, or its file in this table."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import OF_THE_FILE

ONE_ENGINE = {
    "test_backups.py": "backups of a data file: those of a database are pg_dump's",
    "test_both_engines.py": "asks for no data",
    "test_datafile.py": "how a file is known, opened and refused: test_postgres.py has it of a database",
    "test_engine_moves.py": "from one to the other",
    "test_faults.py": "disks that are full, read-only or gone: test_postgres.py has a database that is away",
    "test_killed.py": "the app is killed over a file: kills_on_postgres.py kills it and the database",
    "test_postgres.py": "what PostgreSQL alone has",
    "test_rows.py": "asks for no data",
    "test_salvage.py": "what can be read of a damaged file: there is no such thing for a database",
    "test_spoilt_files.py": "bytes of a file are spoilt: pages are PostgreSQL's own care",
    "test_summing.py": "sums and saved states: those that ask for data run on both",
    "test_timetable.py": "backups of a data file, by the clock",
    "test_upgrades.py": "data files of every older schema: test_postgres.py has an older database",
}
"""Files that have tests of one engine alone, and why."""


def alone(items: list[pytest.Item], folder: Path) -> dict[str, list[str]]:
    """Return by file the tests of a folder that run on one engine alone and do not say why themselves."""
    ran: dict[tuple[str, str], set[str]] = {}
    for item in items:
        if item.path.parent == folder and isinstance(item, pytest.Function):
            given = item.callspec.params.get("engine") if hasattr(item, "callspec") else None
            if item.get_closest_marker(OF_THE_FILE) is None:
                ran.setdefault((item.path.name, item.originalname), set()).add(str(given))
    found: dict[str, list[str]] = {}
    for (file, name), engines in ran.items():
        if engines != {"embedded", "postgres"}:
            found.setdefault(file, []).append(name)
    return found


def test_whatever_runs_on_one_engine_alone_says_why(request: pytest.FixtureRequest) -> None:
    found = alone(list(request.session.items), Path(__file__).parent)
    assert {file: names for file, names in found.items() if file not in ONE_ENGINE} == {}


def test_the_table_names_files_that_are_there() -> None:
    assert {one.name for one in Path(__file__).parent.glob("test_*.py")} >= set(ONE_ENGINE)


def test_a_test_of_one_engine_would_be_noticed(request: pytest.FixtureRequest) -> None:
    """It asks for no data, and would be named if its file were not in the table."""
    found = alone(list(request.session.items), Path(__file__).parent)
    assert "test_a_test_of_one_engine_would_be_noticed" in found["test_both_engines.py"]
