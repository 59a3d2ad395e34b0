"""The next case behind a long log against a short one, on both engines, and the data file before this one.

    python -m tests.benchmarks.engines --answers 1000000
    python -m tests.benchmarks.engines --before FOLDER    (a checkout of an earlier version)

The desks take turns, so that other work on the machine falls on all; told are medians and their ratios.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from pathlib import Path
from tempfile import TemporaryDirectory

from quiz.practice import learners
from quiz.storage.datafile import DataFile
from quiz.storage.engines import postgres_schema
from quiz.storage.engines.postgres import PostgresData
from quiz.storage.store import Store
from tests.benchmarks.test_long_log import Desk
from tests.conftest import NOON, lots
from tests.postgres_server import SAFE, PostgresServer

say = print
SHORT = 1000
OWN = 100
"""Cases that were practised through the app; the rest of a log are copies of their rows."""

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


def _columns(table: str) -> list[str]:
    with closing(sqlite3.connect(":memory:")) as conn:
        for kind, _, sql in postgres_schema.embedded():
            if kind == "table":
                conn.execute(sql)
        return [str(row[0]) for row in conn.execute("SELECT name FROM pragma_table_info(?)", [table])]


def _grow(store: Store, learner: int, answers: int) -> None:
    """Repeat the learner's own answers, as older rows of ended sittings, until there are this many."""
    if isinstance(store._file, PostgresData):
        store._db.execute(b"SET session_replication_role = replica")
    have = store.count_answers(learner)
    while have < answers:
        more = min(have, answers - have)
        with store.writing():
            for table, key, order in (("dealt", "id", "rowid"), ("answers", "dealt", "id")):
                taken = [name for name in _columns(table) if (table, name) != ("answers", "id")]
                values = [f"{name} || '-{have}'" if name == key else name for name in taken]
                closed = " AND closed_at IS NOT NULL" if table == "dealt" else ""
                store.change(
                    f"INSERT INTO {table} ({', '.join(taken)}) SELECT {', '.join(values)} FROM {table} "  # noqa: S608
                    f"WHERE learner = ?{closed} ORDER BY {order} LIMIT ?",
                    learner,
                    more,
                )
        have += more
    if isinstance(store._file, PostgresData):
        store._db.execute(b"SET session_replication_role = DEFAULT")
        store._db.execute(b"ANALYZE")


def _desk(file: DataFile | PostgresData, answers: int, stack: ExitStack) -> Desk:
    store = stack.enter_context(closing(Store(file)))
    made = Desk(store, learners.add(store, "Imre", now=NOON).id, file, lots(), random.Random(1))  # type: ignore[arg-type]
    for _ in range(OWN):
        made.answer(made.deal())
    _grow(store, made.learner, answers)
    return made


def long_log(answers: int, rounds: int) -> None:
    """Tell what the next case and an answer take on each engine, behind a short log and a long one."""
    with TemporaryDirectory(prefix="engines-") as folder, ExitStack() as stack:
        server = PostgresServer(SAFE)
        stack.callback(server.close)
        desks = {}
        for size in (SHORT, answers):
            began = time.perf_counter()
            file = stack.enter_context(closing(DataFile.open(Path(folder) / f"{size}.sqlite3")))
            desks["embedded", size] = _desk(file, size, stack)
            data = stack.enter_context(closing(PostgresData.open(server.empty())))
            desks["postgres", size] = _desk(data, size, stack)
            say(f"{size:,} answers were put in on both in {time.perf_counter() - began:.0f} s", flush=True)
        taken: dict[tuple[str, int], tuple[list[float], list[float]]] = {key: ([], []) for key in desks}
        for number in range(rounds):
            for key in list(desks) if number % 2 else list(reversed(desks)):
                began = time.perf_counter()
                waiting = desks[key].deal()
                dealt = time.perf_counter()
                desks[key].answer(waiting)
                taken[key][0].append(dealt - began)
                taken[key][1].append(time.perf_counter() - dealt)
        say("| engine | next case, ms | ratio | an answer, ms | ratio |\n|---|---:|---:|---:|---:|")
        for engine in ("embedded", "postgres"):
            (a, b), (c, d) = (
                [1000 * statistics.median(times) for times in taken[engine, size]] for size in (SHORT, answers)
            )
            say(
                f"| {engine} | {a:.2f} behind {SHORT:,}, {c:.2f} behind {answers:,} | {c / a:.2f} "
                f"| {b:.2f}, {d:.2f} | {d / b:.2f} |"
            )


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
    parser.add_argument("--before", type=Path)
    given = parser.parse_args()
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before")
    if given.before:
        before_and_after(given.before.resolve(), min(given.rounds, 6))
    else:
        long_log(given.answers, given.rounds)


if __name__ == "__main__":
    main()
