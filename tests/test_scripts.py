"""The page's scripts: every one checked by TypeScript, and the optics importable by themselves.

Node and npm must be there; TypeScript comes from npm at the version below, and stays in npm's own cache.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from cases.curriculum.bench_stage import instrument
from cases.optics.light import FADED, FAINT, TOO_DULL_MM2, UNSEEN

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "static"
TYPESCRIPT = "typescript@5.9.3"
HOW = "it checks the page's scripts; `apt-get install -y nodejs npm`, or nodejs.org"


def tool(name: str) -> str:
    """Find node or npx, or fail and say what is missing: nothing here is skipped."""
    found = shutil.which(name)
    if found is None:
        pytest.fail(f"{name} is not on the PATH: {HOW}")
    return found


def ran(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=300)


def test_every_script_asks_to_be_checked() -> None:
    lines = {path.name: path.read_text(encoding="utf-8").splitlines()[0] for path in STATIC.rglob("*.js")}
    assert {name for name, line in lines.items() if line != "// @ts-check"} == set()


def test_typescript_finds_nothing() -> None:
    found = ran(
        *(tool("npx"), "--yes", "--prefer-offline", f"--package={TYPESCRIPT}", "--"),
        *("tsc", "--project", "tests/browser/tsconfig.json", "--pretty", "false"),
    )
    assert found.returncode == 0, f"{found.stdout}{found.stderr}"


def test_the_optics_are_imported_by_themselves_and_hold_the_cores_numbers() -> None:
    """The defaults of static/reflex.js, for whoever imports it without a page, are the core's."""
    script = "import {NEUTRAL_ZONE, SEEN} from './static/reflex.js'; console.log(JSON.stringify([NEUTRAL_ZONE, SEEN]))"
    found = ran(tool("node"), "--input-type=module", "--eval", script)
    assert found.returncode == 0, found.stderr
    seen = {"too_dull_mm2": TOO_DULL_MM2, "unseen": UNSEEN, "faint": FAINT, "faded": FADED}
    assert json.loads(found.stdout) == [instrument()["neutral_zone"], seen]
