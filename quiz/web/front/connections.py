"""The connections of one process: how many there are, and how long each may say nothing.

uvicorn bounds neither the time that the head of a request takes nor the number of connections. Here its protocol
tells a `Connections` what asyncio tells it; nothing of uvicorn's own is touched.
"""

from __future__ import annotations

import asyncio
import errno
import logging
import socket
import time
from collections import Counter
from collections.abc import Iterable
from typing import Any, ClassVar

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

HEAD_S, IDLE_S = 10.0, 60.0
"""Seconds for the head of a request, counted from the connection or from its first byte; and between two requests."""
HEAD = 32 * 1024
"""Bytes of a head."""
TELL_S = 60.0
_NO_FILE_LEFT = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)

Peer = tuple[str, int]


class Connection:
    """One connection."""

    __slots__ = ("begun", "head", "is_reading", "peer", "silent_since", "transport")

    def __init__(self, transport: asyncio.Transport, peer: Peer, now: float) -> None:
        self.transport, self.peer = transport, peer
        self.silent_since: float | None = now
        """Since when it waits for a request, or sends one; None while one is answered."""
        self.begun: float | None = None
        """When the first byte of a head came that is not whole yet."""
        self.head = 0
        self.is_reading = False
        """Whether a body is being read: its reader has a deadline of its own."""


class Connections:
    """Every connection of this process. Where all places are taken, the person who has been silent longest makes room.

    most: places in all; most_of_one: places of one address, or None where everyone comes from that of another server.
    """

    def __init__(self, most: int, most_of_one: int | None = None) -> None:
        self.most, self.most_of_one = most, most_of_one
        self._by_peer: dict[Peer, Connection] = {}
        self._of: Counter[str] = Counter()
        self._new: dict[Connection, None] = {}
        """Those that never sent a whole request, oldest first: they go before those that did."""
        self._idle: dict[Connection, None] = {}
        """Those whose requests were answered, longest silent first."""
        self._told = -TELL_S

    def let_in(self, transport: asyncio.Transport) -> Connection:
        """Take a connection in, which may cost the place of another, or its own where all others are being served."""
        peer: Peer = (transport.get_extra_info("peername") or ("", id(transport)))[:2]
        one = Connection(transport, peer, time.monotonic())
        if self.most_of_one is not None and self._of[peer[0]] >= self.most_of_one:
            room = self._end_first(each for each in (*self._new, *self._idle) if each.peer[0] == peer[0])
        else:
            room = len(self._by_peer) < self.most or self._end_first(self._silent())
            if not room or len(self._by_peer) == self.most - 1:
                self._tell(f"{self.most} connections are open, which is the most")
        if room:
            self._by_peer[peer] = one
            self._of[peer[0]] += 1
            self._new[one] = None
        else:
            transport.abort()
        return one

    def takes(self, one: Connection, size: int) -> bool:
        """Say whether this many more bytes are read; a connection whose head grows without end is closed."""
        if one.silent_since is None or one.is_reading:
            return True
        if one.begun is None:
            one.begun = time.monotonic()
        if one.head > HEAD:
            self._end(one)
            return False
        one.head += size
        return True

    def head_read(self, peer: Peer) -> Connection | None:
        """Note that the head of a request has come whole; None where its connection is gone."""
        one = self._by_peer.get(peer)
        if one is not None:
            one.is_reading, one.begun, one.head = True, None, 0
        return one

    def request_read(self, one: Connection) -> None:
        """Note that a request has come whole: until it is answered, its connection is not silent."""
        one.is_reading, one.silent_since = False, None
        self._new.pop(one, None)
        self._idle.pop(one, None)

    def answered(self, one: Connection) -> None:
        """Note that the answer was handed over."""
        one.is_reading, one.silent_since = False, time.monotonic()
        self._new.pop(one, None)
        self._idle.pop(one, None)
        if not self.is_gone(one):
            self._idle[one] = None

    def is_gone(self, one: Connection) -> bool:
        """Say whether a connection was closed, from here or from there."""
        return self._by_peer.get(one.peer) is not one

    def forget(self, one: Connection) -> None:
        """Note that a connection was closed."""
        self._new.pop(one, None)
        self._idle.pop(one, None)
        if self._by_peer.get(one.peer) is one:
            del self._by_peer[one.peer]
            self._of[one.peer[0]] -= 1
            if not self._of[one.peer[0]]:
                del self._of[one.peer[0]]

    def look(self) -> None:
        """Close those that have been silent, or slow with a head, for too long."""
        now = time.monotonic()
        for one in list(self._silent()):
            since = now - (one.silent_since or now)
            slow = one.begun is not None and now - one.begun > HEAD_S
            if not one.is_reading and (slow or since > (HEAD_S if one in self._new else IDLE_S)):
                self._end(one)

    def end_all(self) -> None:
        """Close every connection, whatever it is at."""
        for one in list(self._by_peer.values()):
            self._end(one)

    def accept_failed(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Tell in one line that the system has no file left for a connection; asyncio tries again in a second."""
        error = context.get("exception")
        if isinstance(error, OSError) and error.errno in _NO_FILE_LEFT:
            self._tell(f"no file is left for another connection ({error.strerror})")
        else:
            loop.default_exception_handler(context)

    def _silent(self) -> Iterable[Connection]:
        yield from self._new
        yield from self._idle

    def _end_first(self, ones: Iterable[Connection]) -> bool:
        first = next(iter(ones), None)
        if first is not None:
            self._end(first)
        return first is not None

    def _end(self, one: Connection) -> None:
        self.forget(one)
        one.transport.abort()

    def _tell(self, words: str) -> None:
        """Say it once a minute."""
        if time.monotonic() - self._told > TELL_S:
            self._told = time.monotonic()
            logging.getLogger("quiz").warning("%s: the longest silent are closed", words)


class WatchedProtocol(asyncio.Protocol):
    """Hands what asyncio tells it to uvicorn's protocol, and to the `watch` of a subclass."""

    watch: ClassVar[Connections]

    def __init__(self, **given: Any) -> None:
        self._inner = HttpToolsProtocol(**given)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the connection in."""
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 - the type says less than asyncio gives
        # Head and body are two writes. asyncio does this only where a socket names its protocol, which none that was
        # accepted does: the body waited 40 ms for the browser to acknowledge the head (RFC 896 with RFC 1122, 4.2.3.2).
        transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._inner.connection_made(transport)
        self._mine = self.watch.let_in(transport)

    def data_received(self, data: bytes) -> None:
        """Read on, where more may be read."""
        if self.watch.takes(self._mine, len(data)):
            self._inner.data_received(data)

    def eof_received(self) -> None:
        """Close, since nothing more comes."""
        self._inner.eof_received()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self.watch.forget(self._mine)
        self._inner.connection_lost(exc)

    def pause_writing(self) -> None:
        """Wait with what is to be sent."""
        self._inner.pause_writing()

    def resume_writing(self) -> None:
        """Send on."""
        self._inner.resume_writing()
