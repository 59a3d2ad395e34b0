"""The page's scripts: every one checked by TypeScript, and the optics importable by themselves.

Node and npm must be there; TypeScript comes from npm at the version below, and stays in npm's own cache.
"""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from itertools import pairwise
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
    """The defaults of static/reflex.js, for the person who imports it without a page, are the core's."""
    script = "import {NEUTRAL_ZONE, SEEN} from './static/reflex.js'; console.log(JSON.stringify([NEUTRAL_ZONE, SEEN]))"
    found = ran(tool("node"), "--input-type=module", "--eval", script)
    assert found.returncode == 0, found.stderr
    seen = {"too_dull_mm2": TOO_DULL_MM2, "unseen": UNSEEN, "faint": FAINT, "faded": FADED}
    assert json.loads(found.stdout) == [instrument()["neutral_zone"], seen]


LIVES = """import { life } from './static/js/bench-life.js';
const at = (unrest, lit, seconds, seed = 7) => {
  const lives = life(unrest, seed);
  const out = [];
  for (let step = 0; step <= seconds * 250; step += 1) out.push(lives(step / 250, lit(step / 250)));
  return out;
};
const dim = () => 0;
const flash = (t) => (t >= 4 && t < 8 ? 1 : 0);
console.log(JSON.stringify({
  none: at('none', dim, 1), jerk: at('jerk', dim, 10), pendular: at('pendular', dim, 10),
  alive: at('alive', dim, 30), again: at('alive', dim, 30), other: at('alive', dim, 30, 8), lit: at('alive', flash, 14),
}));"""


def test_what_an_eye_does_by_itself_keeps_to_its_sizes_and_times() -> None:
    """Sizes and times are those chosen for the bench, no published source; the geometry of a turned eye is derived.

    A turn by α moves the pupil 10.4 sin α mm and the corneal mark 5.7 sin α mm; nystagmus of 1 to 4° at 1 to 4 Hz; the
    pupil answers light after 0.25 s, closing faster than it opens; blinks of 0.15 s come every 2 to 6 s.
    """
    found = ran(tool("node"), "--input-type=module", "--eval", LIVES)
    assert found.returncode == 0, found.stderr
    lives = json.loads(found.stdout)
    assert all(one == lives["none"][0] for one in lives["none"])
    assert lives["alive"] == lives["again"] != lives["other"]
    for unrest in ("jerk", "pendular"):
        turned = [one["turned"] for one in lives[unrest]]
        reach = max(turned) - min(turned)
        assert (1 if unrest == "jerk" else 2) * 0.9 <= reach <= 8.1
        for one in lives[unrest][::50]:
            sine = math.sin(math.radians(one["turned"]))
            assert one["pupilX"] == pytest.approx(10.4 * sine)
            assert one["markX"] == pytest.approx(5.7 * sine)
        rises = sum(a <= 0 < b for a, b in pairwise(turned))
        assert 9 <= rises <= 41, "1 to 4 Hz for 10 s"
    jerk = [one["turned"] for one in lives["jerk"]]
    steps = [b - a for a, b in pairwise(jerk)]
    assert max(map(abs, steps)) > 3 * sorted(map(abs, steps))[len(steps) // 2], "a slow drift and a quick return"
    assert all(one["turned"] == 0 and 0 <= one["accommodated"] <= 0.4 for one in lives["alive"])
    assert max(one["wider"] for one in lives["alive"]) <= 1.04
    assert min(one["wider"] for one in lives["alive"]) >= 0.96
    shut = [place / 250 for place, (a, b) in enumerate(pairwise(lives["alive"])) if b["shut"] and not a["shut"]]
    assert all(1.9 <= later - earlier <= 6.1 for earlier, later in pairwise(shut))
    assert 5 <= len(shut) <= 15
    width = [one["wider"] for one in lives["lit"]]
    before, soon, closed, opening = (width[round(t * 250)] for t in (3.98, 4.2, 7.5, 8.9))
    assert abs(soon - before) < 0.02, "nothing within 0.2 s"
    assert closed < before - 0.07
    assert opening < 0.97, "it opens more slowly than it closed"
