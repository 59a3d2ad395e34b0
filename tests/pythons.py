"""One log folded on every Python of this machine: `python -m tests.pythons`.

Each Python from 3.11 on gets a virtual environment of its own, in a folder that is removed at the end, with the project
installed. There it folds the log of tests/fixtures/fold.json, and writes a data file: an invented class of eight weeks.
Then each Python checks, rebuilds and exports the files of all, its own among them. Exit 1 when a state differs from
the golden one in its first twelve digits, a file is not good to another Python, or exports of one file differ.

Pythons are found on PATH, in the versions folder of pyenv, and by uv. `python -m tests.pythons keep` writes the golden
state again: only when a rule or a number of the memory has changed.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parent.parent
GOLDEN = ROOT / "tests" / "fixtures" / "fold.json"
LEAST = (3, 11)
NOON = 1_795_000_000.0
say = print


# --- what is done on each Python ---------------------------------------------------------------------------------


def folded() -> str:
    """Fold the golden log and return the state as JSON."""
    from quiz.learning import model
    from quiz.learning.state import Answered

    log = json.loads(GOLDEN.read_text(encoding="utf-8"))["log"]
    return model.replay(map(Answered.from_row, log)).to_json()


def write(path: Path) -> str:
    """Write a data file with an invented class and return how many answers it holds."""
    from quiz import demo
    from quiz.storage.datafile import DataFile
    from quiz.storage.store import Store

    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        filled = demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None)
    return f"{filled.answers} answers"


def read(path: Path) -> str:
    """Check, rebuild and export a data file, and return a digest of the exports, or what is wrong."""
    from quiz.accuracy.entries import Entry
    from quiz.accuracy.importing import write_table
    from quiz.exports import answers as sharing
    from quiz.learning.parameters import NUMBERS
    from quiz.learning.refit import losses
    from quiz.storage import accuracy_queries, projection, result_queries, roster_queries
    from quiz.storage.datafile import DataFile
    from quiz.storage.safekeeping.checks import check
    from quiz.storage.store import Store

    wrong = [one.words for one in check(path) if not one.good]
    digest = hashlib.sha256()
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        wrong += [
            f"rebuilding {one.learner} gave another memory" for one in projection.rebuild(store) if not one.as_kept
        ]
        logs = []
        for learner in store.learners():
            answers = list(store.answers_of(learner.id))
            logs.append([projection.event_of(one) for one in answers])
            digest.update("".join(sharing.statements(store, answers)).encode())
            entries = [one.entry for one in accuracy_queries.entries_of(store, learner.id, Entry)]
            digest.update(write_table(entries).encode())
            for of in roster_queries.classes_with(store, learner.id):
                members = [one.learner for one in roster_queries.members_of(store, of.id)]
                text = sharing.answers_csv(store, (of.id,), result_queries.answers_for_export(store, members))
                digest.update("".join(text).encode())
        digest.update(" ".join(f"{loss:.11e}" for loss in losses(logs, NUMBERS)).encode())
    wrong += [one.words for one in check(path) if not one.good]
    return "; ".join(wrong) or digest.hexdigest()


# --- which Pythons there are -------------------------------------------------------------------------------------


def _candidates() -> Iterator[str]:
    yield sys.executable
    for minor in range(LEAST[1], 30):
        for folder in os.get_exec_path():
            yield str(Path(folder) / f"python3.{minor}")
    yield from (str(Path(folder) / "python3") for folder in os.get_exec_path())
    versions = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv") / "versions"
    yield from (str(one) for one in sorted(versions.glob("*/bin/python3")))
    uv = shutil.which("uv")
    for minor in range(LEAST[1], LEAST[1] + 8) if uv else ():
        found = _ran(str(uv), "python", "find", "--no-python-downloads", f"3.{minor}")
        if found.returncode == 0:
            yield found.stdout.strip()


def _ran(*command: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True, check=False
    )


def pythons() -> dict[str, str]:
    """Return the newest of each version of Python on this machine, by version: "3.12.1" to where it stands."""
    ask = "import sys, venv, ensurepip; print(*sys.version_info[:3], sys.implementation.name, sys._base_executable)"
    found: dict[tuple[int, ...], str] = {}
    for path in dict.fromkeys(_candidates()):
        if not Path(path).is_file():
            continue
        said = _ran(path, "-c", ask).stdout.split(maxsplit=4)
        if len(said) == 5 and said[3] == "cpython" and (version := tuple(map(int, said[:3]))) >= LEAST:
            found.setdefault(version, said[4].strip())
    newest = {version[:2]: version for version in sorted(found)}
    return {".".join(map(str, version)): found[version] for version in newest.values()}


# --- the proof ---------------------------------------------------------------------------------------------------


def _environment(python: str, folder: Path) -> str:
    """Make a virtual environment with the project in it and return its Python."""
    inside = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    for command in ((python, "-m", "venv", str(folder)), (str(inside), "-m", "pip", "install", "-q", str(ROOT))):
        done = _ran(*command)
        if done.returncode:
            raise SystemExit(f"{' '.join(command)}: {done.stderr[-2000:]}")
    return str(inside)


def _asked(python: str, *what: str) -> str:
    # Another seed for hashes each time: no order of a set may be seen in what comes out.
    done = _ran(python, "-m", "tests.pythons", *what, PYTHONHASHSEED=str(random.randrange(1, 10_000)))
    return done.stdout.strip() if done.returncode == 0 else f"failed: {done.stderr.strip()[-1000:]}"


def prove() -> int:
    """Fold, write, check and export on every Python, and say how it went."""
    found, bad = pythons(), 0
    say(f"Pythons from {'.'.join(map(str, LEAST))} on that were found here, and used: {', '.join(found)}.")
    if len(found) < 2:
        say("That is one alone: its fold is held against the golden one, and no other Python reads its file.")
    with TemporaryDirectory(prefix="two-meridians-pythons-") as name:
        folder = Path(name)
        inside = {version: _environment(python, folder / version) for version, python in found.items()}
        states = {version: _asked(python, "fold") for version, python in inside.items()}
        for version, text in states.items():
            good = _is_golden(text)
            bad += not good
            same = "to the last bit" if text == next(iter(states.values())) else "to twelve digits"
            say(
                f"{version}: the golden log folds as it should, {same}"
                if good
                else f"{version}: BAD fold: {text[:300]}"
            )
        for version, python in inside.items():
            say(f"{version} wrote a data file: {_asked(python, 'write', str(folder / f'{version}.sqlite3'))}")
        for writer in inside:
            outcomes = {}
            for reader, python in inside.items():
                copy = folder / f"{writer} read by {reader}.sqlite3"
                shutil.copyfile(folder / f"{writer}.sqlite3", copy)
                outcomes[reader] = _asked(python, "read", str(copy))
            good = len(set(outcomes.values())) == 1 and len(outcomes[writer]) == 64
            bad += not good
            says = "is good, rebuilds and is exported alike on" if good else f"BAD ({outcomes}): it was read on"
            say(f"the data file of {writer} {says} {', '.join(outcomes)}")
    say("Every Python agrees." if not bad else f"{bad} of these are BAD.")
    return 1 if bad else 0


def _is_golden(text: str) -> bool:
    from quiz.learning.state import same_to_twelve_digits

    return same_to_twelve_digits(text, json.dumps(json.loads(GOLDEN.read_text(encoding="utf-8"))["state"]))


def main(arguments: list[str]) -> int:
    """Do what was asked for; the whole proof when nothing was."""
    match arguments:
        case []:
            return prove()
        case ["fold"]:
            say(folded())
        case ["write", path]:
            say(write(Path(path)))
        case ["read", path]:
            say(read(Path(path)))
        case ["keep"]:
            lines = ",\n".join(json.dumps(one) for one in json.loads(GOLDEN.read_text(encoding="utf-8"))["log"])
            GOLDEN.write_text(f'{{"log": [\n{lines}\n],\n"state": {folded()}}}\n', encoding="utf-8")
        case _:
            say(f"{' '.join(arguments)}: give fold, write FILE, read FILE, keep, or nothing", file=sys.stderr)
            return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
