"""Web servers compared in one run: `python -m tests.benchmarks.servers [--seconds 6] [--only NAME …]`.

Each serves the app, then a bare Flask endpoint that inserts one row as durably, to the same clients that keep their
connections; then it is tried with slow, silent and big requests. Those beside ours must be installed:
`pip install waitress gunicorn cheroot granian a2wsgi`; what is not is said and left out.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from quiz.practice import learners as people
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.benchmarks.load import Seen, bare, crowd, missing
from tests.conftest import NOON

say = print
LEARNERS = 50
WARM_S = 6.0
PROBE_S = 15.0
"""Seconds for which a slow or silent connection is watched."""
WHICH, WHERE = "TRIED_APP", "TRIED_DATA"
HERE = "tests.benchmarks.servers"
LISTEN = "import sys, socket; from tests.benchmarks.servers import app; port = int(sys.argv[1])\n"


def app() -> Any:
    """Make what is served, as the environment says: the app, or the bare endpoint."""
    path = Path(os.environ[WHERE])
    if os.environ[WHICH] == "app":
        from quiz.app import create_app

        return create_app(DataFile.open(path))
    return bare(path)


def asgi() -> Any:
    """Make the same for a server that speaks ASGI."""
    from a2wsgi import WSGIMiddleware

    return WSGIMiddleware(app(), workers=4)


OURS = """
from quiz.web.front import gateway
from quiz.web.front.web_server import WebServer
gateway.QUICK |= {"add"}
with socket.create_server(("127.0.0.1", port)) as listening:
    WebServer(app(), listening, most=2000).run(lambda: None)
"""
WAITRESS = """
from waitress import serve
serve(app(), host="127.0.0.1", port=port, threads=THREADS, connection_limit=2000, asyncore_use_poll=True)
"""
CHEROOT = """
from cheroot.wsgi import Server
Server(("127.0.0.1", port), app(), numthreads=THREADS, request_queue_size=1024).start()
"""
SERVERS: dict[str, tuple[str, Callable[[int], list[str]]]] = {
    "ours (uvicorn)": ("uvicorn", lambda port: ["-c", LISTEN + OURS, str(port)]),
    "waitress, 4 threads": ("waitress", lambda port: ["-c", LISTEN + WAITRESS.replace("THREADS", "4"), str(port)]),
    "waitress, 1 thread": ("waitress", lambda port: ["-c", LISTEN + WAITRESS.replace("THREADS", "1"), str(port)]),
    "gunicorn, 4 threads": (
        "gunicorn",
        lambda port: [
            "-m",
            "gunicorn",
            "-k",
            "gthread",
            "--threads",
            "4",
            "--keep-alive",
            "65",
            "-b",
            f"127.0.0.1:{port}",
            f"{HERE}:app()",
        ],
    ),
    "cheroot, 4 threads": ("cheroot", lambda port: ["-c", LISTEN + CHEROOT.replace("THREADS", "4"), str(port)]),
    "granian, WSGI": (
        "granian",
        lambda port: [
            *("-m", "granian", "--interface", "wsgi", "--port", str(port), "--blocking-threads", "1", "--no-ws"),
            *("--factory", f"{HERE}:app"),
        ],
    ),
    "granian, ASGI": (
        "granian",
        lambda port: [
            "-m",
            "granian",
            "--interface",
            "asgi",
            "--port",
            str(port),
            "--no-ws",
            "--factory",
            f"{HERE}:asgi",
        ],
    ),
    "uvicorn, a2wsgi": (
        "a2wsgi",
        lambda port: [
            *("-m", "uvicorn", "--port", str(port), "--http", "httptools", "--loop", "asyncio", "--no-access-log"),
            *("--log-level", "error", "--lifespan", "off", "--factory", f"{HERE}:asgi"),
        ],
    ),
}


@contextmanager
def served(
    command: Sequence[str], port: int, which: str, path: Path, used: list[float], warm: Callable[[int], object]
) -> Iterator[None]:
    """Serve by one server, warmed first; `used` gets the seconds of a processor that it and its children used."""
    env = {**os.environ, WHICH: which, WHERE: str(path)}
    with subprocess.Popen(
        [sys.executable, *command], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as child:
        until = time.monotonic() + 60
        while True:
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), 2) as one:
                one.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
                if one.recv(10):
                    break
            if time.monotonic() > until:
                raise RuntimeError(f"{command} does not answer")
            time.sleep(0.1)
        warm(port)
        before = _used_by(child.pid)
        try:
            yield
        finally:
            used.append(_used_by(child.pid) - before)
            child.send_signal(signal.SIGTERM)
            try:
                child.wait(15)
            except subprocess.TimeoutExpired:
                child.kill()


def _used_by(pid: int) -> float:
    """Return the seconds of a processor that a process and its living children used."""
    total = 0.0
    for folder in Path("/proc").iterdir():
        with suppress(OSError, ValueError):
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            if int(folder.name) == pid or int(fields[1]) == pid:
                total += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return total


def closed_within(port: int, first: bytes, drip: bytes, seconds: float = PROBE_S) -> str:
    """Say after how many seconds a connection is closed on which this is sent, then one letter a second."""
    began = time.monotonic()
    with socket.create_connection(("127.0.0.1", port), 5) as one:
        one.sendall(first)
        one.settimeout(1.0)
        while time.monotonic() < began + seconds:
            try:
                if not one.recv(4096):
                    return f"{time.monotonic() - began:.0f} s"
            except TimeoutError:
                pass
            except OSError:
                return f"{time.monotonic() - began:.0f} s"
            with suppress(OSError):
                one.sendall(drip)
    return f"not in {seconds:.0f} s"


def page_beside_slow_bodies(port: int) -> str:
    """Say how long a page takes while twenty bodies come a letter a second."""
    head = b"POST /settings HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 60000\r\n\r\n"
    ones = [socket.create_connection(("127.0.0.1", port), 5) for _ in range(20)]
    try:
        for one in ones:
            one.sendall(head + b"a")
        time.sleep(0.5)
        began = time.monotonic()
        with socket.create_connection(("127.0.0.1", port), 5) as asked:
            asked.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            try:
                return f"{1000 * (time.monotonic() - began):.0f} ms" if asked.recv(10) else "cut off"
            except TimeoutError:
                return "not in 5 s"
    finally:
        for one in ones:
            one.close()


def refuses_big_body(port: int) -> str:
    """Say whether a body of a gigabyte is refused by its head."""
    with socket.create_connection(("127.0.0.1", port), 5) as one:
        one.sendall(b"POST /settings HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1073741824\r\n\r\n")
        try:
            return one.recv(100).decode("latin-1").partition("\r")[0] or "closed"
        except TimeoutError:
            return "no answer"


def tried(name: str, seconds: float, folder: Path) -> None:
    """Try one server and print a row."""
    command = SERVERS[name][1]
    path = folder / f"{name.replace(' ', '-')}.sqlite3"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        learners = [people.add(store, f"Learner {number}", now=NOON).id for number in range(LEARNERS)]
    seen: dict[str, tuple[Seen, float]] = {}
    probes: list[str] = []
    for which, where in (("bare", folder / f"bare-{path.name}"), ("app", path)):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = int(free.getsockname()[1])
        used: list[float] = []
        asked = path if which == "app" else None

        def warmed(port: int, asked: Path | None = asked) -> Seen:
            # The first cases of a start cost a second or two of a processor.
            return crowd(port, learners[:4], 0.0, WARM_S if asked else 0.5, asked)

        with served(command(port), port, which, where, used, warmed):
            found = crowd(port, learners, 0.0, seconds, asked)
        seen[which] = found, used[0]
        if which == "app":
            with served(command(port + 1), port + 1, which, where, [], lambda _: None):
                head = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-"
                probes = [
                    closed_within(port + 1, head, b"x"),
                    closed_within(port + 1, b"", b""),
                    refuses_big_body(port + 1),
                    page_beside_slow_bodies(port + 1),
                ]
    (app_seen, app_used), (bare_seen, bare_used) = seen["app"], seen["bare"]
    p95 = max(app_seen.p95(kind) for kind in ("next case", "answer", "mark"))
    lost = missing(path, app_seen.acknowledged) + sum(app_seen.faults.values())
    say(
        f"| {name} | {app_seen.rate:.0f} | {1e3 * app_used / app_seen.requests:.2f} | {bare_seen.rate:.0f} "
        f"| {1e3 * bare_used / bare_seen.requests:.2f} | {app_seen.rate / bare_seen.rate:.2f} "
        f"| {p95 / bare_seen.p95('bare'):.1f} | {' | '.join(probes)} | {lost} |",
        flush=True,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Try all servers that are installed."""
    parser = argparse.ArgumentParser(prog=f"python -m {HERE}", description=__doc__.split("\n\n")[0])
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--only", nargs="+", choices=SERVERS, default=list(SERVERS), metavar="NAME")
    given = parser.parse_args(arguments)
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} before; Python {sys.version.split()[0]}")
    say(
        "| server | app, requests/s | ms of a processor each | bare, requests/s | ms each | rate: app of bare "
        "| p95: times bare | slow head closed | silent connection closed | 1 GB body | page beside 20 slow bodies "
        "| faults |\n|---|---:|---:|---:|---:|---:|---:|---|---|---|---|---:|"
    )
    with TemporaryDirectory(prefix="servers-") as folder:
        for name in given.only:
            if importlib.util.find_spec(SERVERS[name][0]) is None:
                say(f"| {name} | not installed |")
                continue
            tried(name, given.seconds, Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
