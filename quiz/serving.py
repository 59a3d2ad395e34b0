"""Serving the app: which data file, which port, and the web server round it."""

from __future__ import annotations

import ipaddress
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import FrameType

from quiz.datafile import DataFile, Refused
from quiz.errors import QuizError

THREADS = 8


class NotLoopback(QuizError):
    """The app was to be served to other computers."""

    def __init__(self, host: str) -> None:
        super().__init__(
            f"host {host}: this serves one computer only, without sign-in; give 127.0.0.1, ::1 or localhost"
        )


class PortTaken(QuizError):
    """The port asked for is in use or not to be had."""

    def __init__(self, port: int, why: str) -> None:
        super().__init__(f"port {port}: {why}; give another, or leave --port out and a free one is found")


def open_data(path: Path | None, *, make: bool = True) -> DataFile:
    """Open the data file, by default the one in the user's data folder; `make` it if it is not there.

    Raises
    ------
    Refused
        When it cannot be opened.
    """
    if path is None:
        from platformdirs import user_data_path

        path = user_data_path("two-meridians", appauthor=False) / "answers.sqlite3"
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refused(path, f"its folder cannot be made ({error.strerror})", "give a file with --data") from error
    if not make and not path.exists():
        raise Refused(path, "there is no such file", "give one with --data")
    return DataFile.open(path)


def serve(
    *, data: Path | None, host: str, port: int | None, usual_port: int, browser: bool, say: Callable[[str], None]
) -> None:
    """Serve the app until it is stopped; `say` is told where it is.

    Raises
    ------
    NotLoopback, PortTaken, Refused
    """
    address = _loopback(host)
    with closing(open_data(data)) as file, closing(_listening(address, port, usual_port)) as listening:
        from waitress.server import create_server

        from quiz.app import create_app

        server = create_server(create_app(file), sockets=[listening], threads=THREADS, ident=None)
        url = _url(host, listening.getsockname()[1])
        say(f"Two Meridians is at {url} (stop it with Ctrl+C)")
        say(f"Answers are kept in {file.path}")
        signal.signal(signal.SIGTERM, _leave)
        if browser:
            threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
        server.run()


def _leave(_signal: int, _frame: FrameType | None) -> None:
    sys.exit(0)


def _loopback(host: str) -> str:
    address = "127.0.0.1" if host == "localhost" else host.strip("[]")
    try:
        loopback = ipaddress.ip_address(address).is_loopback
    except ValueError:
        loopback = False
    if not loopback:
        raise NotLoopback(host)
    return address


def _listening(address: str, port: int | None, usual_port: int) -> socket.socket:
    if port is not None:
        return _bound(address, port)
    try:
        return _bound(address, usual_port)
    except PortTaken:
        return _bound(address, 0)


def _bound(address: str, port: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((address, port))
    except OSError as error:
        sock.close()
        raise PortTaken(port, (error.strerror or str(error)).lower()) from error
    return sock


def _url(host: str, port: int) -> str:
    name = f"[{host.strip('[]')}]" if ":" in host else host
    return f"http://{name}:{port}/"
