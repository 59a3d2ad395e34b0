"""One web server or several processes of it over one data file, at one socket.

What must be counted once for all of them (failed tries to come in, the state of the backups, the log) is kept by the
first process, which serves nobody where there are several: it starts the others, starts one again that ends, and
ends them all. Each of them ends by itself when the first is gone, however that came about.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import queue
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from functools import partial
from logging.handlers import QueueHandler, QueueListener
from multiprocessing.connection import Connection, wait
from multiprocessing.managers import BaseManager
from multiprocessing.process import BaseProcess
from types import FrameType
from typing import Any

from flask import Flask

from quiz.classroom.throttle import SharedTries, Tries
from quiz.errors import QuizError
from quiz.log_file import REQUESTS
from quiz.storage.datafile import Where
from quiz.storage.engines.opening import open_engine
from quiz.storage.engines.seam import Engine
from quiz.storage.safekeeping.timetable import Timetable
from quiz.web import request_context
from quiz.web.front.gateway import PAGE
from quiz.web.front.public_address import PublicAddress, behind
from quiz.web.front.web_server import WebServer
from quiz.web.template_cache import keep_compiled

LOOK_S = 0.2
"""Seconds for which a file is looked over before it is served; what is left is looked at while it is."""
ENDS_S = 6.0
"""Seconds in which a process ends that was told to."""
MOST_ENDED, WITHIN_S = 5, 60.0
"""Processes that end by themselves within this many seconds before nothing is served any more."""


class ProcessEnded(QuizError):
    """A process that serves cannot be kept up."""

    def __init__(self) -> None:
        super().__init__("a process of the web server ended by itself again and again; the log says why")


@dataclass(frozen=True)
class ServingPlan:
    """What every process serves, and how."""

    create_app: Callable[..., Flask]
    data: Where
    how: Mapping[str, Any]
    """What else the app is to be told."""
    public: PublicAddress | None
    timetable: Timetable | None
    most: int
    """Connections at once, in each process."""
    most_of_one: int | None
    """Of one address, in each process."""


def serve_alone(plan: ServingPlan, file: Engine, listening: socket.socket, ready: Callable[[], None]) -> None:
    """Serve from this process until told to stop."""
    server = _server(plan, file, listening, tries=Tries(), timetable=plan.timetable)
    server.run(ready)


def serve_by(count: int, plan: ServingPlan, listening: socket.socket, ready: Callable[[], None]) -> None:
    """Serve by this many processes until told to stop; `ready` is called once all of them answer.

    Raises
    ------
    ProcessEnded
    """
    memory = _Memory(plan.timetable)
    crew = _Crew(plan, listening, memory)
    try:
        with suppress(KeyboardInterrupt, SystemExit):
            for _ in range(count):
                crew.begin()
            crew.wait_until_ready()
            ready()
            crew.keep_up()
    finally:
        # Anyone who is impatient does not leave any of them behind.
        for one in (signal.SIGINT, signal.SIGTERM):
            signal.signal(one, signal.SIG_IGN)
        crew.end()
        memory.close()


# --- what the processes share ---------------------------------------------------------------------------------------


class _Shared(BaseManager):
    """Leads from a process that serves to what the first one keeps."""


class _Memory:
    """What is kept once for all processes, in the memory of the first alone."""

    def __init__(self, timetable: Timetable | None) -> None:
        tries, lines = Tries(), queue.SimpleQueue[logging.LogRecord]()

        class Kept(BaseManager):
            pass

        Kept.register("tries", lambda: tries, exposed=("begin", "forgive", "add", "since"))
        Kept.register("lines", lambda: lines, exposed=("put_nowait",))
        Kept.register("timetable", lambda: timetable, exposed=("last_problem",))
        self._manager = Kept()
        server = self._manager.get_server()
        self.address = server.address
        threading.Thread(target=server.serve_forever, daemon=True, name="shared memory").start()
        self._listener = QueueListener(lines, *logging.getLogger().handlers)
        self._listener.start()

    def close(self) -> None:
        """Write the last lines of the log."""
        self._listener.stop()


for _name in ("tries", "lines", "timetable"):
    _Shared.register(_name)


# --- the process that serves nobody ---------------------------------------------------------------------------------


@dataclass
class _Crew:
    """The processes that serve."""

    plan: ServingPlan
    listening: socket.socket
    memory: _Memory
    _ones: list[tuple[BaseProcess, Connection]] = field(default_factory=list)
    _ended: list[float] = field(default_factory=list)

    def begin(self) -> None:
        """Start one more."""
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        verbose = logging.getLogger(REQUESTS).isEnabledFor(logging.INFO)
        given = (self.plan, self.listening, self.memory.address, theirs, verbose)
        one = context.Process(target=serve_as_one_of_several, args=given, name="serves", daemon=True)
        one.start()
        theirs.close()
        self._ones.append((one, ours))

    def wait_until_ready(self) -> None:
        """Wait until all of them answer.

        Raises
        ------
        ProcessEnded
        """
        for _, ours in self._ones:
            try:
                ours.recv()
            except EOFError:
                raise ProcessEnded from None

    def keep_up(self) -> None:
        """Start each again that ends by itself.

        Raises
        ------
        ProcessEnded
        """
        while True:
            # A second at most: on some systems a signal does not end the wait.
            wait([one.sentinel for one, _ in self._ones], timeout=1)
            for gone in [each for each in self._ones if not each[0].is_alive()]:
                now = time.monotonic()
                self._ended = [at for at in self._ended if at > now - WITHIN_S] + [now]
                if len(self._ended) > MOST_ENDED:
                    raise ProcessEnded
                logging.getLogger("quiz").error("a process of the web server ended (%s): another", gone[0].exitcode)
                self._ones.remove(gone)
                gone[1].close()
                self.begin()

    def end(self) -> None:
        """End all of them, and wait for it."""
        for one, _ in self._ones:
            one.terminate()
        until = time.monotonic() + ENDS_S
        for one, ours in self._ones:
            one.join(max(0.0, until - time.monotonic()))
            if one.is_alive():
                one.kill()
                one.join()
            ours.close()


# --- a process that serves ------------------------------------------------------------------------------------------


def serve_as_one_of_several(
    plan: ServingPlan, listening: socket.socket, memory: Any, ready: Connection, verbose: bool
) -> None:
    """Serve beside other processes until told to stop, or until the first is gone."""
    signal.signal(signal.SIGTERM, leave)
    with suppress(KeyboardInterrupt, SystemExit):
        shared = _Shared(memory, multiprocessing.current_process().authkey)
        shared.connect()
        lines: Any = shared.lines()  # type: ignore[attr-defined]
        logging.basicConfig(level=logging.WARNING, handlers=[QueueHandler(lines)], format="%(message)s", force=True)
        logging.getLogger(REQUESTS).setLevel(logging.INFO if verbose else logging.WARNING)
        timetable = plan.timetable
        if timetable is not None:
            timetable.ask = shared.timetable().last_problem  # type: ignore[attr-defined]
        with closing(open_engine(plan.data, make=False, look=LOOK_S)) as file:
            tries = SharedTries(shared.tries())  # type: ignore[attr-defined]
            server = _server(plan, file, listening, tries=tries, timetable=timetable)
            look_on(file)
            threading.Thread(target=_end_with_the_first, daemon=True).start()

            def say_ready() -> None:
                ready.send(True)
                ready.close()

            server.run(say_ready)
    end_if_busy()


def _end_with_the_first() -> None:
    first = multiprocessing.parent_process()
    if first is not None:
        first.join()
        os._exit(1)


def _server(
    plan: ServingPlan, file: Engine, listening: socket.socket, *, tries: Tries, timetable: Timetable | None
) -> WebServer:
    app = plan.create_app(file, timetable=timetable, tries=tries, **plan.how)
    keep_compiled(app)
    for begin in app.extensions["beside"]:
        begin()
    served = app if plan.public is None else behind(app, plan.public)
    return WebServer(
        served,
        listening,
        most=plan.most,
        most_of_one=plan.most_of_one,
        public=plan.public,
        person=partial(request_context.person_of, app),
    )


def look_on(file: Engine) -> None:
    """Look the file over meanwhile where that is left to do; damage is told, and nothing is served any more.

    Where several processes serve, each does: what one finds no other knows.
    """
    if not file.looked_over:
        threading.Thread(target=_look_over, args=(file,), daemon=True).start()


def _look_over(file: Engine) -> None:
    began = time.monotonic()
    try:
        for _ in file.look_over():
            # A quarter of a processor at most: learners come first.
            time.sleep(3 * (time.monotonic() - began))
            began = time.monotonic()
    except QuizError as error:
        logging.getLogger("quiz").error("%s", error)  # noqa: TRY400 - one line, and the way out


def leave(_signal: int, _frame: FrameType | None) -> None:
    """End this process in order; a handler of signals."""
    sys.exit(0)


def end_if_busy() -> None:
    """End this process where threads still make pages that nobody waits for: as after a kill, none is half kept."""
    pages = [one for one in threading.enumerate() if one.name.startswith(PAGE)]
    for one in pages:
        one.join(0.2)
    if any(one.is_alive() for one in pages):
        _end_now()


def _end_now() -> None:
    logging.shutdown()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)
