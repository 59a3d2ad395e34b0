"""The next case behind a long log against a short one, on both engines, and the data file before this one.

    python -m tests.benchmarks.engines --answers 1000000 [--folder FOLDER]    (with room for 2.5 kB an answer)
    python -m tests.benchmarks.engines --before FOLDER    (a checkout of an earlier version)

The two desks of an engine take turns, so that other work falls on both; told are medians and their ratios.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import statistics
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from quiz.practice import learners
from quiz.storage.datafile import DataFile
from quiz.storage.engines.postgres import PostgresData
from quiz.storage.store import Store
from tests.benchmarks.test_long_log import Desk
from tests.big_log import FILLING, grow_database, grow_file
from tests.conftest import NOON, lots
from tests.postgres_server import SAFE, PostgresServer

say = print
SHORT = 1000
OWN = 100
"""Cases that were practised through the app; the rest of a log are copies of their rows."""
UNCOUNTED = 10
"""Rounds at first in which statements are prepared and the pages in use come from the disk."""

SEAM = """
import json, sys, time
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from quiz.app import create_app
from quiz.practice import dealing, learners
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots, written
with TemporaryDirectory() as folder:
    began = time.process_time()
    with closing(DataFile.open(Path(folder) / "a.sqlite3")) as file:
        client = create_app(file, clock=Clock(), lots=lots()).test_client()
        assert client.get("/practise").status_code == 200
        first = time.process_time() - began
        with closing(Store(file)) as store:
            who, taken, chance = learners.add(store, "Imre", now=NOON), [], lots(7)
            for number in range(120):
                one = dealing.waiting(store, who, now=NOON + 40 * number, lots=chance)
                began = time.process_time()
                dealing.take(store, who, one.dealt.id, written(one.case), 2, now=NOON + 40 * number + 9)
                taken.append(time.process_time() - began)
    print(json.dumps([first, sorted(taken)[60]]))
"""
"""Seconds of a processor: from opening a new file to the first case, and to take an answer."""


def _desk(file: DataFile | PostgresData, stack: ExitStack) -> Desk:
    store = stack.enter_context(closing(Store(file)))
    made = Desk(store, learners.add(store, "Imre", now=NOON).id, file, lots(), random.Random(1))  # type: ignore[arg-type]
    for _ in range(OWN):
        made.answer(made.deal())
    return made


def _again(file: DataFile | PostgresData, left: Desk, answers: int, stack: ExitStack) -> Desk:
    """Sit down again at a desk whose data were closed, behind a log of this many answers."""
    store = stack.enter_context(closing(Store(file)))
    if store.count_answers(left.learner) != answers:
        raise RuntimeError(f"{file.name}: {store.count_answers(left.learner)} answers, not {answers}")
    return replace(left, store=store, file=file)  # type: ignore[arg-type]


def _files(folder: Path, sizes: tuple[int, ...], stack: ExitStack) -> dict[int, Desk]:
    """Return a desk behind a log of each size, in data files in the folder."""
    desks = {}
    for size in sizes:
        path = folder / f"{size}.sqlite3"
        with closing(DataFile.open(path)) as file, ExitStack() as meanwhile:
            left = _desk(file, meanwhile)
        grow_file(path, size // OWN - 1)
        file = stack.enter_context(closing(DataFile.open(path, look=0.0)))
        desks[size] = _again(file, left, size, stack)
    return desks


def _databases(folder: Path, sizes: tuple[int, ...], stack: ExitStack) -> dict[int, Desk]:
    """Return a desk behind a log of each size, in databases of a server whose data are in the folder."""
    folder.chmod(0o711)  # the server may run as another user
    server = PostgresServer(FILLING, folder=folder)
    stack.callback(server.close)
    left = {}
    for size in sizes:
        address = server.empty()
        with closing(PostgresData.open(address)) as data, ExitStack() as meanwhile:
            left[size] = address, _desk(data, meanwhile)
        grow_database(address, size // OWN - 1)
    server.stop()
    server.settings = SAFE
    server.start()
    desks = {}
    for size, (address, desk) in left.items():
        data = stack.enter_context(closing(PostgresData.open(address)))
        desks[size] = _again(data, desk, size, stack)
    return desks


def long_log(answers: int, rounds: int, folder: Path | None = None) -> None:
    """Tell what the next case, an answer and a removal take on each engine, behind a short log and a long one.

    One engine after the other, so that what the disk holds of one is not pushed out of memory by the other.
    """
    for engine, filled in (("data file", _files), ("PostgreSQL", _databases)):
        with TemporaryDirectory(prefix="engines-", dir=folder) as here, ExitStack() as stack:
            began = time.perf_counter()
            desks = filled(Path(here), (SHORT, answers), stack)
            say(f"{engine}: {SHORT:,} and {answers:,} answers were put in in {time.perf_counter() - began:.0f} s")
            taken: dict[int, tuple[list[float], list[float]]] = {size: ([], []) for size in desks}
            for number in range(rounds + UNCOUNTED):
                for size in list(desks) if number % 2 else list(reversed(desks)):
                    began = time.perf_counter()
                    waiting = desks[size].deal()
                    dealt = time.perf_counter()
                    desks[size].answer(waiting)
                    if number >= UNCOUNTED:
                        taken[size][0].append(dealt - began)
                        taken[size][1].append(time.perf_counter() - dealt)
            (a, b), (c, d) = ([1000 * statistics.median(times) for times in taken[size]] for size in (SHORT, answers))
            say(
                f"  load {os.getloadavg()[0]:.1f}; medians of {rounds} rounds, behind {SHORT:,} and {answers:,} answers"
            )
            say(f"  next case {a:.2f} and {c:.2f} ms ({c / a:.2f}); an answer {b:.2f} and {d:.2f} ms ({d / b:.2f})")
            gone = [1000 * _removed(desks[answers], name) for name in ("Ada", "Bo", "Cy")]
            say(
                f"  removing another learner, of {OWN} answers: {', '.join(f'{one:.0f}' for one in gone)} ms",
                flush=True,
            )


def _removed(beside: Desk, name: str) -> float:
    """Let somebody else practise, remove them, and return for how long that took, in seconds."""
    who = learners.add(beside.store, name, now=NOON)
    other = Desk(beside.store, who.id, beside.file, lots(len(name) + ord(name[0])), random.Random(1))
    for _ in range(OWN):
        other.answer(other.deal())
    began = time.perf_counter()
    learners.remove(beside.store, who.id, now=NOON)
    return time.perf_counter() - began


def before_and_after(before: Path, rounds: int) -> None:
    """Tell what the data file takes in an earlier version and in this one, by turns."""
    here = Path(__file__).resolve().parents[2]
    found: dict[Path, list[tuple[float, float]]] = {before: [], here: []}
    for _ in range(rounds):
        for folder in found:
            env = {**os.environ, "PYTHONPATH": str(folder)}
            done = subprocess.run([sys.executable, "-c", SEAM], cwd=folder, env=env, capture_output=True, text=True)
            if done.returncode:
                raise RuntimeError(done.stderr)
            found[folder].append(tuple(json.loads(done.stdout.splitlines()[-1])))
    for place, what in enumerate(("from opening a new file to the first case", "an answer")):
        a, b = (1000 * min(each[place] for each in found[folder]) for folder in found)
        say(f"{what}: {a:.2f} ms of a processor before, {b:.2f} now ({b / a:.2f})")


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--answers", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=100)
    parser.add_argument(
        "--folder", type=Path, help="where there is room for 2.5 kB an answer; by default where temporary files go"
    )
    parser.add_argument("--before", type=Path)
    given = parser.parse_args()
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before")
    if given.before:
        before_and_after(given.before.resolve(), min(given.rounds, 6))
    else:
        long_log(given.answers, given.rounds, given.folder)


if __name__ == "__main__":
    main()
