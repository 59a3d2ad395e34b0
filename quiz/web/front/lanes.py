"""How the web server shares out its one interpreter: the quick pages one after another, long ones beside them.

The interpreter runs one thread at a time. Several that serve quick pages only take it from each other, once for every
question to the data file, and so does the thread that looks for requests: together that costs two fifths of what the
machine can serve. A page that may take long (results, exports, statistics, a password's hash) must not keep a class
waiting, so those have threads of their own; and where a quick page hangs, because another program holds the data file
for one, those behind it go round it.
"""

from __future__ import annotations

import time
from typing import Any

from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.task import ThreadedTaskDispatcher

from quiz.web.front import limits

QUICK = frozenset(("", "practise", "worked", "case", "read-as", "bench", "drill", "recall", "static"))
"""First parts of the addresses that a learner at practice asks for; each page takes some milliseconds."""
HANGS = 0.25
"""Seconds after which a quick page is held to hang."""
LOOK_AGAIN = 0.003
"""Seconds until the next look for requests while others wait in line anyway."""


class _Quick:
    """A request on the quick lane, which says when its turn came."""

    def __init__(self, lanes: Lanes, channel: HTTPChannel) -> None:
        self.lanes, self.channel = lanes, channel

    def service(self) -> None:
        self.lanes.since = time.monotonic()
        try:
            self.channel.service()
        finally:
            self.lanes.since = None

    def cancel(self) -> None:
        self.channel.cancel()


class Lanes:
    """Takes requests from waitress in place of its one queue; `long` serves those that may take long."""

    def __init__(self, long: ThreadedTaskDispatcher) -> None:
        self.since: float | None = None
        """When the quick page that is being served had its turn."""
        self._long = long
        self._quick = ThreadedTaskDispatcher()
        self._quick.set_thread_count(1)

    @property
    def in_line(self) -> bool:
        """Whether a quick page waits for its turn."""
        return bool(self._quick.queue)

    @property
    def hangs(self) -> bool:
        """Whether the quick page that is being served takes longer than any should."""
        since = self.since
        return since is not None and time.monotonic() - since > HANGS

    def add_task(self, channel: HTTPChannel) -> None:
        """Let the first request of a connection be served."""
        # A request that could not be read has no path; it is answered all the same.
        if is_quick(str(getattr(channel.requests[0], "path", ""))) and not self.hangs:
            self._quick.add_task(_Quick(self, channel))
        else:
            self._long.add_task(channel)

    def go_round(self) -> None:
        """Send those in line behind a quick page that hangs to the threads for long ones."""
        with self._quick.lock:
            behind = [self._quick.queue.popleft() for _ in range(len(self._quick.queue))]
        for one in behind:
            self._long.add_task(one.channel)

    def shutdown(self, cancel_pending: bool = True, timeout: float = 5) -> bool:
        """End the threads when they have done what they are at."""
        until = time.monotonic() + timeout
        lanes = (self._quick, self._long)
        for lane in lanes:
            lane.set_thread_count(0)
        done = [lane.shutdown(cancel_pending, max(0.0, until - time.monotonic())) for lane in lanes]
        return any(done)


def is_quick(path: str) -> bool:
    """Say whether the page at an address is one of the quick ones."""
    return path.startswith("/") and path[1:].partition("/")[0] in QUICK


def run(server: Any, connections: dict[int, Any]) -> None:
    """Serve by two lanes until told to stop; in place of waitress's own `run`.

    `connections` is the map that the server was created with.
    """
    lanes = server.task_dispatcher = Lanes(server.task_dispatcher)
    try:
        while connections:
            limits.look(server)
            wasyncore.loop(timeout=HANGS if lanes.in_line else 1, use_poll=True, map=connections, count=1)
            if lanes.in_line:
                if lanes.hangs:
                    lanes.go_round()
                time.sleep(LOOK_AGAIN)
    except (SystemExit, KeyboardInterrupt):
        lanes.shutdown()
