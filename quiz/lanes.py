"""How the web server shares out its one interpreter: the quick pages one after another, long ones beside them.

The interpreter runs one thread at a time. Several that serve quick pages only take it from each other, once for every
question to the data file, and so does the thread that looks for requests: together that costs two fifths of what the
machine can serve. A page that may take long (results, exports, statistics, a password's hash) must not keep a class
waiting, so those have threads of their own.
"""

from __future__ import annotations

import time
from typing import Any

from waitress import wasyncore
from waitress.channel import HTTPChannel
from waitress.task import ThreadedTaskDispatcher

QUICK = frozenset(("", "case", "read-as", "bench", "drill", "recall", "static"))
"""First parts of the addresses that a learner at practice asks for; each page takes some milliseconds."""
LOOK_AGAIN = 0.003
"""Seconds until the next look for requests while others wait in line anyway."""


class Lanes:
    """Takes requests from waitress in place of its one queue; `long` serves those that may take long."""

    def __init__(self, long: ThreadedTaskDispatcher) -> None:
        self._long = long
        self._quick = ThreadedTaskDispatcher()
        self._quick.set_thread_count(1)

    @property
    def in_line(self) -> bool:
        """Whether a quick page waits for its turn."""
        return bool(self._quick.queue)

    def add_task(self, channel: HTTPChannel) -> None:
        """Let the first request of a connection be served."""
        (self._quick if is_quick(str(channel.requests[0].path)) else self._long).add_task(channel)

    def shutdown(self, cancel_pending: bool = True, timeout: float = 5) -> bool:
        """End the threads when they have done what they are at."""
        done = [lane.shutdown(cancel_pending, timeout) for lane in (self._quick, self._long)]
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
            wasyncore.loop(timeout=1, use_poll=True, map=connections, count=1)
            if lanes.in_line:
                time.sleep(LOOK_AGAIN)
    except (SystemExit, KeyboardInterrupt):
        lanes.shutdown()
