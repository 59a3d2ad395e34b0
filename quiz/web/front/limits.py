"""What the web server lets in: connections, as many as files may be open for, and bodies, as long as their page takes.

Both are seen to before the app is asked, and before anything is put on the disk: whoever has no code must cost little.
"""

from __future__ import annotations

import copy
import errno
import logging
import select
import socket
import time
from contextlib import suppress
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import create_server
from waitress.utilities import RequestEntityTooLarge

from quiz.errors import QuizError
from quiz.web import uploads

try:
    import resource
except ImportError:  # Windows, which has no such limits
    resource = None  # type: ignore[assignment]

CONNECTIONS = 2000
"""The most that are let in, since a class's browsers hold several each."""
FEWEST = 20
SPARE = 64
"""Open files for all else: the data file, style sheets, a long download, what has to be read in."""
WITHOUT_POLL = 400
"""`select`, which is all that some systems have, looks at 512 files at most."""
IDLE_S, IDLE_WHEN_FULL_S = 60, 2
"""Seconds after which a connection on which nothing is asked is closed."""
HEAD = 32 * 1024
BODY, FILE_BODY = 2 * 64 * 1024, 2 * 2 * 1024 * 1024
"""Bytes from which on a body is not read at all. Twice what the app takes: up to there it says why by a page."""
DRAIN_S = 2
"""Seconds for which a refused body is read and thrown away, so that its sender gets to read why it was refused."""
REST_S = 0.5
"""Seconds without new connections once the system has no file left for one."""
_NO_FILE_LEFT = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)


class TooFewFiles(QuizError):
    """The system lets this process open so few files that it cannot serve anyone."""

    def __init__(self, files: int) -> None:
        super().__init__(
            f"the system lets this process open {files} files, too few to serve a browser: run `ulimit -n 1024` first"
        )


def connections() -> tuple[int, str]:
    """Return how many connections can be let in, and a line that says so where it is fewer than usual.

    Raises
    ------
    TooFewFiles
    """
    files = _files()
    most = CONNECTIONS if files is None else most_for(files)
    if not hasattr(select, "poll"):
        most = min(most, WITHOUT_POLL)
    if most < FEWEST:
        raise TooFewFiles(files or 0)
    why = f"the system lets this process open {files} files (see `ulimit -n`)" if files else "of this system's `select`"
    return most, "" if most == CONNECTIONS else f"At most {most} connections at once, since {why}."


def most_for(files: int) -> int:
    """Return how many connections can be let in where so many files may be open."""
    # Some take a second file: a download, or a body that has to wait for its turn.
    return min(CONNECTIONS, (files - SPARE) * 4 // 5)


def _files() -> int | None:
    """Return how many files this process may open, once as many as are needed were asked for; None without a limit."""
    if resource is None:
        return None
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = CONNECTIONS * 5 // 4 + SPARE
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with suppress(ValueError, OSError):  # some systems have a lower bound of their own
            resource.setrlimit(
                resource.RLIMIT_NOFILE, (wanted if hard == resource.RLIM_INFINITY else min(wanted, hard), hard)
            )
        soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return None if soft == resource.RLIM_INFINITY else soft


# --- bodies -------------------------------------------------------------------------------------------------------


class _TooLong(RequestEntityTooLarge):  # type: ignore[misc]
    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        """Say it in words."""
        status, headers, _ = super().to_response(ident)
        words = "Too long: a file may have 2 MB, and anything else 64 kB. Nothing of it was kept.\n"
        return status, headers, words.encode()


class _Parser(HTTPRequestParser):  # type: ignore[misc]
    """Reads requests, each with the limit that the page which it is for has."""

    adj: Any
    error: Any
    path: str

    def parse_header(self, head: bytes) -> None:
        """Read the head of a request."""
        super().parse_header(head)
        if uploads.takes_files(self.path):
            self.adj = self.adj.taking_files

    def received(self, data: bytes) -> int:
        """Take in what came."""
        taken = int(super().received(data))
        if isinstance(self.error, RequestEntityTooLarge):
            self.error = _TooLong(self.error.body)
            self.expect_continue = False  # whoever asks before sending is told not to
        return taken


class _Channel(HTTPChannel):  # type: ignore[misc]
    """A connection on which a refused body is read on for a moment: a browser that still sends does not listen."""

    parser_class = _Parser
    connected: bool
    refused = False
    drained_until = 0.0

    def service(self) -> None:
        """Answer the first request."""
        self.refused = isinstance(self.requests[0].error, _TooLong)
        super().service()

    def readable(self) -> bool:
        """Say whether to look for more."""
        return bool(self.drained_until) or bool(super().readable())

    def handle_read(self) -> None:
        """Take what came, or throw it away."""
        if not self.drained_until:
            super().handle_read()
        elif not self.recv(65536) or time.monotonic() > self.drained_until:
            super().handle_close()

    def handle_close(self) -> None:
        """Close, or only say that no more is said here."""
        if self.refused and self.connected and not self.drained_until:
            self.drained_until = time.monotonic() + DRAIN_S
            self.will_close = False
            with suppress(OSError):
                self.socket.shutdown(socket.SHUT_WR)
        else:
            super().handle_close()


# --- the server ---------------------------------------------------------------------------------------------------


def limited_server(app: Any, open_ones: dict[int, Any], *, most: int, threads: int, **where: Any) -> Any:
    """Make the web server, with these limits; `open_ones` is the map that its connections are kept in.

    most: connections at once; where: what else waitress is to be told, above all on which socket to listen.
    """
    server = create_server(
        app,
        map=open_ones,
        threads=threads,
        ident=None,
        connection_limit=most,
        channel_timeout=IDLE_S,
        cleanup_interval=5,
        max_request_header_size=HEAD,
        max_request_body_size=BODY,
        # The app itself refuses what came by another server where only this computer was to be served.
        clear_untrusted_proxy_headers=False,
        **where,
    )
    server.adj.taking_files = copy.copy(server.adj)
    server.adj.taking_files.max_request_body_size = FILE_BODY
    server.channel_class = _Channel
    server.accept = _Entrance(server)
    return server


class _Entrance:
    """Lets connections in, and rests where the system has no file for one: waitress would try without end."""

    def __init__(self, server: Any) -> None:
        self._server, self._accept = server, server.accept
        self._rests_until: float | None = None
        self._told = -60.0

    def __call__(self) -> Any:
        try:
            return self._accept()
        except OSError as error:
            if error.errno not in _NO_FILE_LEFT:
                raise
            self._server.accepting, self._rests_until = False, time.monotonic() + REST_S
            self._tell(f"no file is left for another connection ({error.strerror})")
            return None

    def look(self) -> None:
        """Open again after a rest, and close idle connections while others wait outside."""
        if self._rests_until is not None and time.monotonic() > self._rests_until:
            self._server.accepting, self._rests_until = True, None
        if self._server.in_connection_overflow:
            self._tell(f"{self._server.adj.connection_limit} connections are open, which is the most")
        if self._server.in_connection_overflow or self._rests_until is not None:
            before = time.time() - IDLE_WHEN_FULL_S
            for one in list(self._server.active_channels.values()):
                if not one.requests and not one.total_outbufs_len and one.last_activity < before:
                    one.will_close = True

    def _tell(self, words: str) -> None:
        """Say once a minute that others wait outside."""
        if time.monotonic() - self._told > 60:
            self._told = time.monotonic()
            logging.getLogger("quiz").warning("%s: new ones wait, and idle ones are closed", words)


def look(server: Any) -> None:
    """Do what is to be done between two looks for requests; a server without limits needs nothing."""
    if isinstance(server.accept, _Entrance):
        server.accept.look()
