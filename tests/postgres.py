"""Asks PostgreSQL what the tests of the app ask the data file: python -m tests.postgres [what to give to pytest].

Left out, and counted by pytest as deselected, is what is about the data file itself.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent
ROOMS = ("practice", "classroom", "accuracy", "exports", "lti", "web")

if __name__ == "__main__":
    rooms = [str(ROOT / "quiz" / one) for one in ROOMS]
    sys.exit(pytest.main(["-n", "auto", "--dist", "worksteal", "--engine", "postgres", *(sys.argv[1:] or rooms)]))
