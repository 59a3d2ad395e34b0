"""What two processes over one data file cost: `python -m tests.benchmarks.two_processes [--engine postgres]`.

The same learners, as fast as they can, ask one process and two by turns. Told are the time of a processor that a
request takes, and the share of a request's time that is spent waiting for the lock of the data file. Aims: two take at
most 10 % more of a processor than one, and wait for at most 10 %; exit 1 where one is missed or a learner met a fault.

Beside them two processes that share nothing, each with data of its own, serve half of the learners each. What these
take more than one is the machine's doing: two that are busy share its caches, and the clients are on it too.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from flask import Flask, Response, g

from quiz.app import create_app
from quiz.practice import learners as people
from quiz.storage.datafile import Where
from quiz.storage.engines.address import Address
from quiz.storage.engines.opening import open_engine
from quiz.storage.engines.seam import Engine
from quiz.storage.store import Store
from tests.benchmarks.load import client, crowd, missing
from tests.benchmarks.servers import _used_by, served
from tests.conftest import NOON
from tests.postgres_server import SAFE, PostgresServer

say = print
LEARNERS = 50
MOST_FOLD, MOST_WAITING = 1.10, 0.10
SERVE = """
import socket, sys
from contextlib import closing
from quiz.storage.engines.opening import open_engine, read_where
from quiz.web.front import processes
from tests.benchmarks.two_processes import measured
count, port, data = int(sys.argv[1]), int(sys.argv[2]), read_where(sys.argv[3])
plan = processes.ServingPlan(measured, data, {}, None, None, 2000, None)
with closing(open_engine(data)) as file, socket.create_server(("127.0.0.1", port)) as listening:
    if count == 1:
        processes.serve_alone(plan, file, listening, lambda: None)
    else:
        processes.serve_by(count, plan, listening, lambda: None)
"""


def measured(file: Engine, **how: Any) -> Flask:
    """Make the app; what it measured is written into the folder that MEASURED names."""
    found = {"requests": 0.0, "seconds": 0.0, "waited": 0.0}
    writing = file.writing

    @contextmanager
    def timed(*given: Any, waited: Callable[[float], None] = lambda _: None, **more: Any) -> Iterator[None]:
        def told(seconds: float) -> None:
            found["waited"] += seconds
            waited(seconds)

        with writing(*given, waited=told, **more):
            yield

    file.writing = timed  # type: ignore[method-assign]
    app = create_app(file, **how)

    @app.before_request
    def begin() -> None:
        g.measured_from = time.perf_counter()

    @app.after_request
    def end(response: Response) -> Response:
        found["requests"] += 1
        found["seconds"] += time.perf_counter() - g.measured_from
        if found["requests"] % 20 == 0:
            (Path(os.environ["MEASURED"]) / f"{os.getpid()}.json").write_text(json.dumps(found))
        return response

    return app


def measure(
    count: int, seconds: float, folder: Path, database: PostgresServer | None
) -> tuple[float, float, float, float, int]:
    """Serve by this many processes; return ms of a processor a request, the app's and the database's, and the rest.

    The rest: share of waiting, requests/s and faults.
    """
    own = folder / f"{count}-{time.monotonic_ns()}"
    own.mkdir()
    os.environ["MEASURED"] = str(own)
    path: Where = database.empty() if database else own / "a.sqlite3"
    with closing(open_engine(path)) as file, closing(Store(file)) as store:
        learners = [people.add(store, f"Learner {number}", now=NOON).id for number in range(LEARNERS)]
    used: list[float] = []
    port = _port()
    # Each process pays for its own first cases: enough learners come before it is measured that both have.
    warm = partial(crowd, learners=learners, think=0.0, seconds=seconds, path=path)
    with served(_command(count, port, path), port, "app", own, used, warm):
        before = _used_by_database(database)
        seen = crowd(port, learners, 0.0, seconds, path)
        theirs = _used_by_database(database) - before
    found = [json.loads(one.read_text()) for one in own.glob("*.json")]
    share = sum(one["waited"] for one in found) / sum(one["seconds"] for one in found)
    bad = missing(path, seen.acknowledged) + sum(seen.faults.values())
    return 1e3 * used[0] / seen.requests, 1e3 * theirs / seen.requests, share, seen.rate, bad


def measure_apart(seconds: float, folder: Path, database: PostgresServer | None) -> tuple[float, float, float, int]:
    """Serve by two processes that share nothing; return ms of a processor a request, theirs and the database's.

    And requests/s and faults.
    """
    own = folder / f"apart-{time.monotonic_ns()}"
    own.mkdir()
    os.environ["MEASURED"] = str(own)
    used: list[float] = []
    asked: list[tuple[int, list[int], float, float, Where]] = []
    with ExitStack() as stack:
        for number in range(2):
            path: Where = database.empty() if database else own / f"{number}.sqlite3"
            with closing(open_engine(path)) as file, closing(Store(file)) as store:
                half = [people.add(store, f"Learner {one}", now=NOON).id for one in range(LEARNERS // 2)]
            asked.append((_port() + number, half, 0.0, seconds, path))
        pool = stack.enter_context(multiprocessing.get_context("spawn").Pool(len(asked)))
        for port, half, think, _, path in asked:
            warm = partial(crowd, learners=half, think=think, seconds=seconds, path=path)
            stack.enter_context(served(_command(1, port, path), port, "app", own, used, warm))
        before = _used_by_database(database)
        parts = pool.starmap(client, asked)
        theirs = _used_by_database(database) - before
    requests = sum(one.requests for one in parts)
    bad = sum(missing(path, one.acknowledged) for one, (*_, path) in zip(parts, asked, strict=True))
    bad += sum(sum(one.faults.values()) for one in parts)
    rate = requests / max(one.took for one in parts)
    return 1e3 * math.fsum(used) / requests, 1e3 * theirs / requests, rate, bad


def _port() -> int:
    return 20000 + time.monotonic_ns() % 20000


def _command(count: int, port: int, path: Where) -> list[str]:
    return ["-c", SERVE, str(count), str(port), path.with_password if isinstance(path, Address) else str(path)]


def _used_by_database(database: PostgresServer | None) -> float:
    """Return the seconds of a processor that the processes of a database have used."""
    return 0.0 if database is None or database.process is None else _used_by(database.process.pid)


def main() -> int:
    """Measure one process and two by turns."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seconds", type=float, default=8.0)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--engine", choices=("embedded", "postgres"), default="embedded")
    given = parser.parse_args()
    database = PostgresServer(SAFE) if given.engine == "postgres" else None
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before")
    say("| processes | ms of a processor a request: app | database | waiting for the lock | requests/s | faults |")
    say("|---:|---:|---:|---:|---:|---:|")
    least = {1: float("inf"), 2: float("inf")}
    apart = float("inf")
    bad = False
    with TemporaryDirectory(prefix="processes-") as folder:
        for _ in range(given.rounds):
            for count in least:
                cost, theirs, share, rate, faults = measure(count, given.seconds, Path(folder), database)
                cost += theirs
                least[count] = min(least[count], cost)
                bad |= faults > 0 or share > MOST_WAITING
                say(
                    f"| {count} | {cost - theirs:.2f} | {theirs:.2f} | {100 * share:.1f} % | {rate:.0f} | {faults} |",
                    flush=True,
                )
            cost, theirs, rate, faults = measure_apart(given.seconds, Path(folder), database)
            apart = min(apart, cost + theirs)
            bad |= faults > 0
            say(f"| 2 that share nothing | {cost:.2f} | {theirs:.2f} | | {rate:.0f} | {faults} |", flush=True)
    say(f"two against one: {least[2] / least[1]:.2f} of a processor's time")
    say(f"two that share nothing against one: {apart / least[1]:.2f}; two against those: {least[2] / apart:.2f}")
    return 1 if bad or least[2] / least[1] > MOST_FOLD else 0


if __name__ == "__main__":
    sys.exit(main())
