"""How many learners one server carries: `python -m tests.benchmarks.load [--thinking 300] [--flat-out 50]`.

A real server is asked by learners in other processes, each at a browser that keeps its connection: first by some with
the pauses of people who think, then by some as fast as they can. Before and after each, the same clients ask a bare
Flask endpoint that inserts one row as durably; what counts are the ratios to it, since other work on the machine slows
both. Exit 1 when a request failed, or an answer that was acknowledged is not in the data file.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import os
import random
import re
import resource
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlencode

from flask import Flask, redirect, request
from werkzeug.wrappers import Response

from quiz.practice import dealing
from quiz.practice import learners as people
from quiz.storage.datafile import Where
from quiz.storage.engines.opening import open_engine
from quiz.storage.store import Store
from tests.conftest import NOON, written

WARM_S = 6.0
"""Seconds in which a server that has just started is warmed, which count for nothing but what was acknowledged."""
THINK = 12.0
"""Mean seconds that a person looks at a case before answering it; the mark is looked at for a third of that."""
PROCESSES = 2
KINDS = ("next case", "answer", "mark")
say = print

SERVE = ("-m", "quiz", "serve", "--no-browser")
BARE = """
import socket, sys
from pathlib import Path
from quiz.web.front import gateway
from quiz.web.front.web_server import WebServer
from tests.benchmarks.load import bare
gateway.QUICK |= {"add"}
with socket.create_server(("127.0.0.1", int(sys.argv[2]))) as listening:
    WebServer(bare(Path(sys.argv[1])), listening, most=2000).run(lambda: None)
"""
"""The same server as the app's, with the app's best setting."""


def bare(path: Path) -> Flask:
    """Make an endpoint that inserts one row by a connection that it keeps, one at a time."""
    lock = threading.Lock()
    conn = sqlite3.connect(path, timeout=5, isolation_level=None, check_same_thread=False)
    conn.execute("PRAGMA journal_mode = WAL")
    conn.execute("PRAGMA synchronous = FULL")
    conn.execute("CREATE TABLE IF NOT EXISTS answers (id INTEGER PRIMARY KEY, text TEXT NOT NULL)")
    one = Flask("bare")

    @one.post("/add")
    def add() -> Response:
        with lock:
            conn.execute("BEGIN IMMEDIATE")
            conn.execute("INSERT INTO answers (text) VALUES (?)", (request.form["text"],))
            conn.execute("COMMIT")
        return redirect("/", 303)

    @one.get("/")
    def nothing() -> str:
        return "ok"

    return one


@dataclass
class Seen:
    """What the clients saw."""

    seconds: defaultdict[str, list[float]] = field(default_factory=partial(defaultdict, list))
    """By kind of request."""
    faults: Counter[str] = field(default_factory=Counter)
    acknowledged: list[str] = field(default_factory=list)
    took: float = 0.0

    def add(self, other: Seen) -> None:
        for kind, ones in other.seconds.items():
            self.seconds[kind] += ones
        self.faults += other.faults
        self.acknowledged += other.acknowledged
        self.took = max(self.took, other.took)

    @property
    def requests(self) -> int:
        return sum(map(len, self.seconds.values()))

    @property
    def rate(self) -> float:
        """Requests a second."""
        return self.requests / self.took

    def p95(self, *kinds: str) -> float:
        """Return the 95th centile in seconds."""
        ones = sorted(one for kind in kinds for one in self.seconds[kind])
        return ones[int(0.95 * len(ones))] if ones else 0.0


@dataclass
class Browser:
    """One browser with a connection that it keeps."""

    port: int
    seen: Seen
    rng: random.Random
    think: float
    cookie: str = ""
    streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None

    async def ask(self, kind: str, method: str, url: str, form: dict[str, str] | None = None) -> tuple[int, str]:
        here = f"127.0.0.1:{self.port}"
        body = urlencode(form or {}).encode()
        head = (
            f"{method} {url} HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nCookie: {self.cookie}\r\n"
            f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        began = time.perf_counter()
        if self.streams is None:
            self.streams = await asyncio.open_connection("127.0.0.1", self.port)
        reader, writer = self.streams
        writer.write(head.encode() + body)
        first, *lines = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
        length = 0
        for line in lines:
            name, _, value = line.partition(": ")
            if name.lower() == "content-length":
                length = int(value)
            elif name.lower() == "set-cookie":
                self.cookie = value.split(";")[0]
        text = (await reader.readexactly(length)).decode()
        self.seen.seconds[kind].append(time.perf_counter() - began)
        return int(first.split()[1]), text

    async def pause(self, mean: float) -> None:
        if mean:
            await asyncio.sleep(self.rng.uniform(0.2, 1.8) * mean)


async def practise(one: Browser, learner: int, store: Store, until: float) -> None:
    """Answer case after case: two of three rightly, the third as a slip has it. Learner 0 has come in already."""
    await one.pause(one.think)  # nobody comes at the same instant
    if learner:
        await one.ask("picking", "POST", f"/people/{learner}/pick")
    number = 0
    while time.monotonic() < until:
        status, page = await one.ask("next case", "GET", "/practise")
        detour = re.search(r'"(/first-questions|/recall/prompt/[\w-]+|/worked/[\w-]+)"', page)
        if detour:
            await one.ask("detour", "POST", detour[1], {"skip": "yes", "later": "yes"})
            continue
        found = re.search(r"/case/([\w-]+)/answer", page) or re.search(r"/bench/case/([\w-]+)", page)
        dealt = store.dealt(found[1]) if found else None
        if status != 200 or dealt is None:
            one.seen.faults[f"next case: {status}"] += 1
            await asyncio.sleep(0.05)
            continue
        await one.pause(one.think)
        case = dealing.case_of(dealt)
        slips = case.singles if number % 3 == 2 and not case.type.form_matters else ()
        texts = written(case, one.rng.choice(slips).answer if slips else None)
        form = {f"answer-{name}": text for name, text in texts.items()} | {"confidence": "2"}
        status, _ = await one.ask("answer", "POST", f"/case/{dealt.id}/answer", form)
        if status == 303:
            one.seen.acknowledged.append(dealt.id)
            status, _ = await one.ask("mark", "GET", f"/case/{dealt.id}")
            number += 1
        if status != 200:
            one.seen.faults[f"answer or mark: {status}"] += 1
            await asyncio.sleep(0.05)
        await one.pause(one.think / 3)


async def add(one: Browser, until: float) -> None:
    """Ask the bare endpoint at the same pace."""
    await one.pause(one.think)
    while time.monotonic() < until:
        status, _ = await one.ask("bare", "POST", "/add", {"text": "+1.00 / -1.50 x 90"})
        if status != 303:
            one.seen.faults[f"bare: {status}"] += 1
        await one.pause(one.think * 4 / 9)


def client(port: int, learners: Sequence[int], think: float, seconds: float, path: Where | None) -> Seen:
    """Let some learners go, in this process; without a data file it is the bare endpoint that they ask."""
    seen, rng = Seen(), random.Random(port)
    until = time.monotonic() + seconds + think * 1.8

    async def all_of(store: Store | None) -> None:
        browsers = [Browser(port, seen, rng, think) for _ in learners]
        await asyncio.gather(*(one_of(store, *each) for each in zip(browsers, learners, strict=True)))

    async def one_of(store: Store | None, one: Browser, learner: int) -> None:
        while time.monotonic() < until:
            try:
                await (add(one, until) if store is None else practise(one, learner, store, until))
            except (OSError, asyncio.IncompleteReadError):
                seen.faults["a connection was lost"] += 1
                one.streams = None

    began = time.monotonic()
    if path is None:
        asyncio.run(all_of(None))
    else:
        with closing(open_engine(path)) as file, closing(Store(file)) as store:
            began = time.monotonic()
            asyncio.run(all_of(store))
    seen.took = time.monotonic() - began
    return seen


def crowd(port: int, learners: Sequence[int], think: float, seconds: float, path: Where | None) -> Seen:
    """Let learners go in several processes."""
    shares = [learners[number::PROCESSES] for number in range(PROCESSES)]
    with multiprocessing.get_context("spawn").Pool(PROCESSES) as pool:
        parts = pool.starmap(client, [(port, share, think, seconds, path) for share in shares])
    whole = Seen()
    for one in parts:
        whole.add(one)
    return whole


@contextmanager
def child(*command: str) -> Iterator[int]:
    """Run a server as a child; yields the port that it listens at."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    with subprocess.Popen([sys.executable, *command, str(port)], stdout=subprocess.DEVNULL) as server:
        try:
            deadline = time.monotonic() + 30
            while True:
                try:
                    socket.create_connection(("127.0.0.1", port), 1).close()
                    break
                except OSError:
                    if time.monotonic() > deadline:
                        raise
                    time.sleep(0.05)
            yield port
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(20)


def compared(
    name: str, learners: Sequence[int], think: float, seconds: float, path: Path, folder: Path, processes: int
) -> Seen:
    """Ask the bare endpoint, the app, and the bare endpoint again, and say how they compare."""
    bare = Seen()
    app = Seen()
    for turn in range(3):
        if turn == 1:
            with child(*SERVE, "--processes", str(processes), "--data", str(path), "--port") as port:
                # A process that has just started makes its first cases, which takes a second or two: not what is asked.
                warm = crowd(port, learners, 0.0, WARM_S, path)
                app = crowd(port, learners, think, seconds, path)
                app.acknowledged += warm.acknowledged
                app.faults.update(warm.faults)
            continue
        with child("-c", BARE, str(folder / f"bare-{name}-{turn}.sqlite3")) as port:
            half = crowd(port, learners, think, seconds / 2, None)
            half.took += bare.took
            bare.add(half)
    base, rate = bare.p95("bare"), bare.rate
    say(f"{len(learners)} learners, {name}: {len(app.acknowledged)} answers in {app.took:.0f} s")
    say(f"  bare endpoint   {rate:7.0f} requests/s   p95 {1e3 * base:7.1f} ms")
    say(f"  the app         {app.rate:7.0f} requests/s   {app.rate / rate:.2f} of the bare endpoint's")
    for kind in KINDS:
        ones = app.seconds.get(kind) or [0.0]
        middle = sorted(ones)[len(ones) // 2]
        p95 = app.p95(kind)
        times = f"median {1e3 * middle:7.1f} ms   p95 {1e3 * p95:7.1f} ms"
        say(f"    {kind:<12}  {times}   {p95 / base:5.2f} × the bare p95")
    for what, count in (app.faults + bare.faults).items():
        say(f"  FAILED {what}: {count} times")
    return app


def missing(path: Where, acknowledged: Sequence[str]) -> int:
    """Count the acknowledged answers that are not in the data file."""
    with closing(open_engine(path)) as file, closing(Store(file)) as store:
        return sum(store.answer_to(one) is None for one in acknowledged)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run both loads and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.load", description=__doc__.split("\n\n")[0])
    parser.add_argument("--thinking", type=int, default=300, help="learners who think (0: leave that part out)")
    parser.add_argument("--flat-out", type=int, default=50, help="learners as fast as they can (0: leave that out)")
    parser.add_argument("--processes", type=int, default=1, help="processes of the app (the bare endpoint has one)")
    parser.add_argument("--seconds", type=float, default=20.0, help="how long each part lasts")
    options = parser.parse_args(arguments)
    hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(8192, hard) if hard > 0 else 8192, hard))
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before")
    bad = 0
    with TemporaryDirectory(prefix="load-") as name:
        folder = Path(name)
        for words, count, think in (("thinking", options.thinking, THINK), ("flat out", options.flat_out, 0.0)):
            if not count:
                continue
            path = folder / f"{words.replace(' ', '-')}.sqlite3"
            with closing(open_engine(path)) as file, closing(Store(file)) as store:
                learners = [people.add(store, f"Learner {number}", now=NOON).id for number in range(count)]
            app = compared(words, learners, think, options.seconds, path, folder, options.processes)
            lost = missing(path, app.acknowledged)
            say(f"  {lost} of {len(app.acknowledged)} acknowledged answers missing")
            bad += lost + sum(app.faults.values())
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
