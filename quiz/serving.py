"""Serving the app: the port, and the web server round it."""

from __future__ import annotations

import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import FrameType

from waitress.server import create_server

from quiz.app import LOOPBACK, create_app
from quiz.datafile import open_data
from quiz.errors import QuizError

THREADS = 8


class NotLoopback(QuizError):
    """The app was to be served to other computers."""

    def __init__(self, host: str) -> None:
        super().__init__(f"host {host}: this serves one computer only, without sign-in; give {' or '.join(LOOPBACK)}")


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
    NotLoopback, PortTaken, Refused
    """
    if host not in LOOPBACK:
        raise NotLoopback(host)
    with closing(open_data(data)) as file, closing(_listening(port, usual_port)) as listening:
        server = create_server(create_app(file), sockets=[listening], threads=THREADS, ident=None)
        url = f"http://{host}:{listening.getsockname()[1]}/"
        say(f"Two Meridians is at {url} (stop it with Ctrl+C)")
        say(f"Answers are kept in {file.path}")
        signal.signal(signal.SIGTERM, _leave)
        if browser:
            threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
        server.run()


def _leave(_signal: int, _frame: FrameType | None) -> None:
    sys.exit(0)


def _listening(port: int | None, usual_port: int) -> socket.socket:
    if port is not None:
        return _bound(port)
    try:
        return _bound(usual_port)
    except PortTaken:
        return _bound(0)


def _bound(port: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((LOOPBACK[0], port))
    except OSError as error:
        sock.close()
        raise PortTaken(port, (error.strerror or str(error)).lower()) from error
    return sock
