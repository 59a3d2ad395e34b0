"""Small faults put into the code one at a time, to see which no test notices.

    pip install -e '.[test,mutation]'
    python -m tests.mutation --minutes 10 [--seed 1] [--rooms optics learning] [--write]

It needs a system that forks. The faults are cosmic-ray's: another number, operator, comparison or constant, a decorator
or a loop left out. They are put into a copy of the tree, and the tests of that module are run on it, those of ROOMS.
Which faults are tried is drawn by the seed, as many as the minutes allow, from each room in turn; the same seed tries
them in the same order.

A fault that no test notices is a *survivor*. Those that are known stand in survivors.toml, each with the reason why it
may live. Exit 1 for one that does not stand there, or stands there without a reason; --write adds it for the reason to
be filled in. Exit 2 when the tests fail before anything was changed, or something is missing.
"""

from __future__ import annotations

import argparse
import difflib
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

# Loaded once for all runs, which are forks of this process: nothing of ours is among them.
import flask  # noqa: F401
import hypothesis  # noqa: F401
import numpy as np  # noqa: F401
import pytest
import scipy.stats  # noqa: F401
import sqlite_utils  # noqa: F401

ROOT = Path(__file__).resolve().parents[2]
KNOWN = Path(__file__).with_name("survivors.toml")
PLUGINS = ("-p", "no:cacheprovider", "-p", "_hypothesis_pytestplugin")
OPTIONS = ("-xq", *PLUGINS, "--hypothesis-seed=0", "--hypothesis-profile=few")
LEFT_OUT = re.compile(r"ReplaceBinaryOperator_BitOr_|ReplaceComparisonOperator_(?!Is)\w+_Is(Not)?$")
"""Operators that say nothing: the bar stands in annotations, which are never run, and whether two equal numbers are
one object is chance."""
say = print

PROMISES = "tests/test_promises.py"
MEMORY = (PROMISES, "tests/quiz/learning/test_model.py")
CHOICE = (PROMISES, "tests/quiz/learning/test_scheduler.py")
MARKING = (PROMISES, "tests/cases/procedure/test_marking.py", "tests/cases/curriculum/test_core_types.py")

ROOMS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "optics": {
        "cases/optics/lens.py": ("tests/cases/optics/test_lens.py",),
        "cases/optics/vergence.py": (PROMISES, "tests/cases/curriculum/test_core_types.py"),
        "cases/optics/reflex.py": ("tests/cases/optics/test_reflex.py",),
        "cases/optics/schematic_eye.py": ("tests/cases/optics/test_schematic_eye.py",),
        "cases/optics/sighting.py": ("tests/cases/optics/test_sighting.py",),
        "cases/optics/tolerances.py": ("tests/cases/optics/test_tolerances.py",),
    },
    "procedure": {
        "cases/procedure/randomness.py": (PROMISES,),
        "cases/procedure/kinds.py": (*MARKING, "tests/cases/test_command_line.py"),
        "cases/procedure/fields.py": (*MARKING, "tests/cases/test_command_line.py"),
        "cases/procedure/chain.py": MARKING,
        "cases/procedure/case_type.py": (*MARKING, "tests/cases/curriculum/test_register.py"),
        "cases/procedure/marking.py": MARKING,
    },
    "learning": {
        "quiz/learning/state.py": MEMORY,
        "quiz/learning/model.py": MEMORY,
        "quiz/learning/parameters.py": (*MEMORY, "tests/quiz/learning/test_scheduler.py"),
        "quiz/learning/scheduler.py": CHOICE,
        "quiz/learning/forecast.py": CHOICE,
    },
    "storage": {
        "quiz/storage/store.py": (PROMISES, "tests/quiz/storage/test_store.py", "tests/quiz/practice/test_dealing.py"),
        "quiz/storage/datafile.py": ("tests/quiz/storage/test_datafile.py", "tests/quiz/storage/test_store.py"),
        "quiz/storage/schema.py": ("tests/quiz/storage/test_upgrades.py", "tests/quiz/storage/test_store.py"),
        "quiz/storage/safekeeping/backups.py": ("tests/quiz/storage/test_backups.py",),
        "quiz/storage/safekeeping/checks.py": ("tests/quiz/storage/test_backups.py",),
    },
}
"""By room, the modules that are changed, each with the tests that are to notice, the quickest first."""


class CannotRun(Exception):
    """The run cannot begin."""


@dataclass(frozen=True)
class Survivor:
    """A fault that no test noticed: the lines of a file as they were and as they became."""

    file: str
    """The file's name without its folder: files move."""
    was: str
    becomes: str

    @classmethod
    def of(cls, module: str, before: str, after: str) -> Survivor:
        """Make one of a module's text before and after."""
        lines = list(difflib.unified_diff(before.splitlines(), after.splitlines(), n=0))[3:]
        was, becomes = (" ".join(line[1:].strip() for line in lines if line[0] == sign).strip() for sign in "-+")
        return cls(Path(module).name, was, becomes)

    def __str__(self) -> str:
        return f"{self.file}:\n    - {self.was}\n    + {self.becomes}"


def known() -> dict[Survivor, str]:
    """Return the survivors that are known, each with its reason."""
    listed = tomllib.loads(KNOWN.read_text(encoding="utf-8")).get("survivor", [])
    return {Survivor(one["file"], one["was"], one["becomes"]): one["reason"].strip() for one in listed}


def add(survivors: Sequence[Survivor]) -> None:
    """Add survivors to the list, without a reason."""
    with KNOWN.open("a", encoding="utf-8") as file:
        for one in survivors:
            parts = {"file": one.file, "was": one.was, "becomes": one.becomes, "reason": ""}
            file.write("\n[[survivor]]\n" + "".join(f"{name} = {_quoted(text)}\n" for name, text in parts.items()))


def _quoted(text: str) -> str:
    return f"'{text}'" if "'" not in text else '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def copy_tree(to: Path) -> None:
    """Copy what git knows of and what it would take in, so that the tree itself is never touched."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    for name in filter(None, listed.split("\0")):
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, to / name)


def faults(rooms: Sequence[str], seed: int) -> list[Any]:
    """Return cosmic-ray's mutations of the rooms' modules in the order of trying, a room after another."""
    from cosmic_ray.commands.init import init
    from cosmic_ray.work_db import WorkDB, use_db

    rng, by_room = random.Random(seed), []
    for room in rooms:
        with use_db(":memory:", WorkDB.Mode.create) as session:
            init([Path(one) for one in ROOMS[room]], session, {})
            drawn = [item.mutations[0] for item in session.work_items]
        drawn = [one for one in drawn if not LEFT_OUT.search(one.operator_name)]
        drawn.sort(key=lambda one: (str(one.module_path), one.operator_name, one.occurrence))
        rng.shuffle(drawn)
        by_room.append(drawn)
    return [one for turn in zip_longest(*by_room) for one in turn if one is not None]


def passes(tests: Sequence[str], limit: float) -> bool:
    """Run tests in a fork of this process, which has loaded what is not ours already; say whether they all passed.

    The working folder is the copy. Tests that take longer than `limit` seconds are ended, and count as failed: a fault
    that loops for ever is noticed too.
    """
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.setsid()
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            sys.dont_write_bytecode = True
            # Ours comes from the copy alone, the tests too.
            sys.path[:] = [str(Path.cwd()), *(one for one in sys.path if Path(one or ROOT).resolve() != ROOT)]
            for name in [one for one in sys.modules if one.split(".")[0] == "tests"]:
                del sys.modules[name]
            code = int(pytest.main([*OPTIONS, *tests]))
        finally:
            os._exit(code)
    until = time.monotonic() + limit
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def usual_seconds(tests: Sequence[str]) -> float:
    """Return how long the tests take as the code is.

    Raises
    ------
    CannotRun
        When they fail.
    """
    began = time.monotonic()
    if not passes(tests, 3600):
        raise CannotRun(f"{' '.join(tests)} fail before anything was changed")
    return time.monotonic() - began


def tried(rooms: Sequence[str], seed: int, minutes: float) -> Iterator[tuple[str, Survivor | None]]:
    """Try one fault after another until the time is up; yields the module, and the survivor if it is one."""
    from cosmic_ray.mutating import use_mutation
    from cosmic_ray.plugins import get_operator

    tests = {module: names for room in rooms for module, names in ROOMS[room].items()}
    usual: dict[tuple[str, ...], float] = {}
    until = time.monotonic() + 60 * minutes
    for fault in faults(rooms, seed):
        module = str(fault.module_path)
        if time.monotonic() > until:
            return
        names = tests[module]
        if names not in usual:
            usual[names] = usual_seconds(names)
        operator = get_operator(fault.operator_name)(**(fault.operator_args or {}))
        with use_mutation(Path(module), operator, fault.occurrence) as (before, after):
            if after is None or after == before:
                continue
            lived = passes(names, 30 + 5 * usual[names])
        yield module, Survivor.of(module, before, after) if lived else None


def main(arguments: Sequence[str] | None = None) -> int:
    """Try faults and compare the survivors with those that are known."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__.split("\n\n")[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=list(ROOMS))
    parser.add_argument("--write", action="store_true", help="add new survivors to survivors.toml")
    options = parser.parse_args(arguments)
    try:
        import cosmic_ray  # noqa: F401
    except ImportError:
        say("cosmic-ray is not there: pip install -e '.[test,mutation]'")
        return 2
    listed, new, again = known(), list[Survivor](), set[Survivor]()
    counted = {room: [0, 0] for room in options.rooms}
    with TemporaryDirectory(prefix="mutation-") as folder:
        copy_tree(Path(folder))
        os.chdir(folder)
        # What plugins bring along would take longer than the tests.
        os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
        try:
            for module, survivor in tried(options.rooms, options.seed, options.minutes):
                room = next(one for one in options.rooms if module in ROOMS[one])
                counted[room][survivor is not None] += 1
                if survivor is None:
                    continue
                again.add(survivor)
                if survivor not in listed and survivor not in new:
                    new.append(survivor)
                    say(f"NEW {module.removesuffix(survivor.file)}{survivor}", flush=True)
        except CannotRun as error:
            say(str(error))
            return 2
        finally:
            os.chdir(ROOT)
    for one in again & listed.keys():
        say(f"known {one}\n    {listed[one] or 'WITHOUT A REASON'}")
    if options.write:
        add(new)
    unexplained = sum(not listed[one] for one in again & listed.keys())
    for room, (noticed, lived) in counted.items():
        say(f"{room:10} {noticed} of {noticed + lived} faults noticed")
    say(f"{len(again)} not noticed: {len(new)} new, {unexplained} known without a reason")
    return 1 if new or unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
