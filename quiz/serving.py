"""Serving the app: the port, and the web server round it."""

from __future__ import annotations

import ipaddress
import logging
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import FrameType
from typing import Any

from waitress.server import create_server

from quiz import lanes
from quiz.app import LOOPBACK, create_app
from quiz.class_store import has_preceptor
from quiz.datafile import DataFile, NoFile, open_data
from quiz.errors import QuizError
from quiz.store import Store

LONG_AT_ONCE = 3
"""Threads for pages that may take long; the quick ones have one of their own."""
CONNECTIONS = 2000
ANY = "0.0.0.0"  # noqa: S104 - what a person asks for by name


class BadHost(QuizError):
    """An address that cannot be listened on."""

    def __init__(self, host: str) -> None:
        super().__init__(
            f"host {host}: give {' or '.join(LOOPBACK)} for this computer alone, 0.0.0.0 for a class, "
            "or one of this computer's own IPv4 addresses"
        )


class NoPreceptor(QuizError):
    """The app was to be served to other computers before anyone could look after it."""

    def __init__(self, host: str) -> None:
        super().__init__(
            f"host {host}: other computers could come in, and there is no preceptor yet; "
            'run `python -m quiz add-preceptor "NAME"` first'
        )


class PortTaken(QuizError):
    """The port asked for is in use or not to be had."""

    def __init__(self, port: int, why: str) -> None:
        super().__init__(f"port {port}: {why}; give another, or leave --port out and a free one is found")


def serve(
    *, data: Path | None, host: str, port: int | None, usual_port: int, browser: bool, say: Callable[[str], None]
) -> None:
    """Serve the app until it is stopped; `say` is told where it is.

    Raises
    ------
    BadHost, NoPreceptor, PortTaken, Refused
    """
    address = _address(host)
    beyond = not ipaddress.ip_address(address).is_loopback
    try:
        file = open_data(data, make=not beyond)
    except NoFile:
        raise NoPreceptor(host) from None
    with closing(file):
        if beyond and not _looked_after(file):
            raise NoPreceptor(host)
        with closing(_listening(address, port, usual_port)) as listening:
            _serve(file, listening, host, beyond=beyond, browser=browser, say=say)


def class_app(data: str) -> Callable[..., object]:
    """Return the app (WSGI) for a class over a data file, for another web server of one process to serve.

    Raises
    ------
    NoPreceptor, Refused
    """
    try:
        file = open_data(Path(data), make=False)
    except NoFile:
        raise NoPreceptor(ANY) from None
    if not _looked_after(file):
        file.close()
        raise NoPreceptor(ANY)
    return create_app(file, hosts=None, beyond=True)


def _looked_after(file: DataFile) -> bool:
    with closing(Store(file)) as store:
        return has_preceptor(store)


def _serve(
    file: DataFile, listening: socket.socket, host: str, *, beyond: bool, browser: bool, say: Callable[[str], None]
) -> None:
    url = f"http://{_outside_address() if host == ANY else host}:{listening.getsockname()[1]}"
    app = create_app(file, hosts=None, beyond=True, reached_at=url) if beyond else create_app(file)
    # It warns of every request that waits its turn, line after line, whenever a class answers at once.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    connections: dict[int, Any] = {}
    server = create_server(
        app,
        map=connections,
        sockets=[listening],
        threads=LONG_AT_ONCE,
        ident=None,
        # A class's browsers hold several connections each, and waitress lets in no more than 100 by itself.
        connection_limit=CONNECTIONS,
    )
    say(f"Two Meridians is at {url}/ (stop it with Ctrl+C)")
    if beyond:
        say("Whoever can reach that address may ask to come in; only a class's code or a password lets them.")
    say(f"Answers are kept in {file.path}")
    signal.signal(signal.SIGTERM, _leave)
    if browser:
        threading.Thread(target=webbrowser.open, args=(f"{url}/",), daemon=True).start()
    lanes.run(server, connections)


def _address(host: str) -> str:
    try:
        return str(ipaddress.IPv4Address(LOOPBACK[0] if host == "localhost" else host))
    except ValueError:
        raise BadHost(host) from None


def _outside_address() -> str:
    """Return the address by which other computers reach this one, or its name where it has none that is known."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        try:
            # Nothing is sent: the address is from a block that is kept for documents (RFC 5737).
            sock.connect(("192.0.2.1", 9))
            return str(sock.getsockname()[0])
        except OSError:
            return socket.gethostname()


def _leave(_signal: int, _frame: FrameType | None) -> None:
    sys.exit(0)


def _listening(address: str, port: int | None, usual_port: int) -> socket.socket:
    if port is not None:
        return _bound(address, port)
    try:
        return _bound(address, usual_port)
    except PortTaken:
        return _bound(address, 0)


def _bound(address: str, port: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((address, port))
    except OSError as error:
        sock.close()
        raise PortTaken(port, (error.strerror or str(error)).lower()) from error
    return sock
