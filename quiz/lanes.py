"""Which thread serves what: the quick pages one after another, long ones beside them.

The interpreter runs one thread at a time. Several that serve quick pages only take it from each other, once for every
question to the data file, which costs a third of what the machine can serve. A page that may take long (results,
exports, statistics, a password's hash) must not keep a class waiting, so those have threads of their own.
"""

from __future__ import annotations

from waitress.channel import HTTPChannel
from waitress.task import ThreadedTaskDispatcher

QUICK = frozenset(("", "case", "read-as", "bench", "drill", "recall", "static"))
"""First parts of the addresses that a learner at practice asks for; each page takes some milliseconds."""


class Lanes:
    """Takes requests from waitress in place of its one queue."""

    def __init__(self, long: ThreadedTaskDispatcher) -> None:
        self._long = long
        self._quick = ThreadedTaskDispatcher()
        self._quick.set_thread_count(1)

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
