"""Serving the app: the port, and the web server round it."""

from __future__ import annotations

import ipaddress
import signal
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from flask import Flask

from cases.curriculum.register import not_loaded
from quiz.classroom import preceptors, sign_in
from quiz.errors import QuizError
from quiz.lti import own_address
from quiz.storage.class_queries import has_preceptor
from quiz.storage.datafile import DataFile, NoFile, Refused, Where, named
from quiz.storage.engines.address import Address
from quiz.storage.engines.opening import open_engine
from quiz.storage.engines.seam import Engine
from quiz.storage.safekeeping.timetable import Timetable
from quiz.storage.store import Store
from quiz.web.front import limits, processes
from quiz.web.front.class_file import ANY, NoPreceptor, looked_after
from quiz.web.front.public_address import LOOPBACK, PublicAddress


class BadHost(QuizError):
    """An address that cannot be listened on."""

    def __init__(self, host: str) -> None:
        super().__init__(
            f"host {host}: give {' or '.join(LOOPBACK)} for this computer alone, 0.0.0.0 for a class, "
            "or one of this computer's own IPv4 addresses"
        )


class BadMode(QuizError):
    """Someone asked for one-person mode where others come in, or did not say which mode a class's file is for."""


class BadSecret(QuizError):
    """The file that should hold the first preceptor's password cannot be read."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"password file {path}: {why}; give a file whose first line is the password")


@dataclass(frozen=True)
class FirstPreceptor:
    """Who is made preceptor of a data file that has none: for containers, which nobody sits at."""

    name: str
    password_file: Path

    def password(self) -> str:
        """Read the password.

        Raises
        ------
        BadSecret
        """
        try:
            lines = self.password_file.read_text(encoding="utf-8").splitlines()
        except (OSError, ValueError) as error:
            raise BadSecret(self.password_file, str(getattr(error, "strerror", None) or error).lower()) from error
        if not lines:
            raise BadSecret(self.password_file, "it is empty")
        return lines[0]


class PortTaken(QuizError):
    """The port asked for is in use or not available."""

    def __init__(self, port: int, why: str) -> None:
        super().__init__(f"port {port}: {why}; give another, or leave --port out and a free one is found")


def serve(
    create_app: Callable[..., Flask],
    *,
    data: Where | None,
    host: str,
    port: int | None,
    usual_port: int,
    browser: bool,
    say: Callable[[str], None],
    for_class: bool = False,
    one_person: bool = False,
    public: PublicAddress | None = None,
    first: FirstPreceptor | None = None,
    timetable: Timetable | None = None,
    count: int = 1,
) -> None:
    """Serve the app that `create_app` makes until it is stopped; `say` is told where it is.

    for_class lets in only those who join or sign in, as an address that other computers reach does anyway; one_person
    makes who opens a page the learner of this computer, even where the file is a class's; public is the address by
    which a web server before this one serves a class; first is added where a class's file has no preceptor yet; count
    is the number of processes.

    Raises
    ------
    BadHost, BadMode, BadPassword, BadPlace, BadSecret, NoPreceptor, PortTaken, Refused, TooFewFiles
    """
    address = _address(host)
    beyond = for_class or not ipaddress.ip_address(address).is_loopback
    if beyond and one_person:
        raise BadMode(f"host {host}: --one-person is for this computer alone, not for a class: leave one out")
    if public is not None and not beyond:
        raise BadMode("--behind-proxy is for a class: add --class")
    if first is not None and not beyond:
        raise BadMode("--first-preceptor is for a class: add --class")
    if timetable is not None and isinstance(data, Address):
        raise Refused(data, "--backups is for data files", "leave it out, and back the database up with pg_dump")
    try:
        # Tables in an empty database give nothing away; a file would be left lying about.
        make = not beyond or first is not None or isinstance(data, Address)
        file = open_engine(data, make=make, look=processes.LOOK_S)
    except NoFile:
        raise NoPreceptor(host) from None
    with closing(file):
        if timetable is not None:
            timetable.begin()
        if first is not None:
            _add_first(file, first)
        has_one = looked_after(file)
        if beyond and not has_one:
            raise NoPreceptor(host)
        if has_one and not beyond and not one_person:
            raise BadMode(
                f"{named(file.where)}: it has a preceptor, so it is a class's; add --class to serve it to the class, "
                "or --one-person to make anyone who opens a page on this computer its learner"
            )
        with closing(_listening(address, port, usual_port)) as listening:
            _serve(
                create_app,
                file,
                listening,
                host,
                beyond=beyond,
                browser=browser,
                say=say,
                public=public,
                timetable=timetable,
                count=count,
            )
    processes.end_if_busy()


def _add_first(file: Engine, first: FirstPreceptor) -> None:
    """Add the first preceptor, who looks after the others too; one who is there is left as they are."""
    with closing(Store(file)) as store:
        if not has_preceptor(store):
            sign_in.add_preceptor(store, first.name, first.password(), now=time.time())
            preceptors.make_administrator(store, preceptors.named(store, first.name), now=time.time())


def _serve(
    create_app: Callable[..., Flask],
    file: Engine,
    listening: socket.socket,
    host: str,
    *,
    beyond: bool,
    browser: bool,
    say: Callable[[str], None],
    public: PublicAddress | None,
    timetable: Timetable | None,
    count: int,
) -> None:
    own = ipaddress.ip_address(listening.getsockname()[0]).is_loopback
    url = f"http://{_outside_address() if host == ANY else host}:{listening.getsockname()[1]}"
    most, fewer = limits.connections()
    # At an address of this computer alone, learners come by another server: their links have the address that they see.
    how = {"hosts": None, "beyond": True, "reached_at": "" if own or public else url, "public": public}
    plan = processes.ServingPlan(
        *(create_app, file.where, how if beyond else {}, public, timetable, most),
        # Anyone who comes by another server, or from this computer, comes from one address.
        most_of_one=None if own or public else most // 2,
    )

    with closing(Store(file)) as store:
        if public is not None:
            own_address.keep_address(store, public.url)
        wrong = own_address.wrong_set_up(store, public.url if public else "") if beyond else ""

    def ready() -> None:
        if wrong:
            say(f"Warning: {wrong}.")
        for line in not_loaded():
            say(line)
        say(f"Two Meridians is at {url}/ (stop it with Ctrl+C)")
        if beyond:
            say("Anyone who can reach that address may ask to come in; only a class's code or a password lets them.")
        if public is not None:
            say(f"Learners come by {public.url}/, which another web server must lead here.")
        elif beyond and own:
            say("Only this computer reaches it. For another web server before it add --behind-proxy 1 --address URL.")
        if count > 1:
            say(f"{count} processes serve it.")
        if fewer:
            say(fewer)
        if timetable is not None:
            say(f"Backups are made in {timetable.folder}")
        say(f"Answers are kept in {file.name}")
        if browser:
            threading.Thread(target=webbrowser.open, args=(f"{url}/",), daemon=True).start()

    signal.signal(signal.SIGTERM, processes.leave)
    if timetable is not None and isinstance(file, DataFile):
        timetable.run(file)
    if count > 1:
        processes.serve_by(count, plan, listening, ready)
    else:
        processes.look_on(file)
        processes.serve_alone(plan, file, listening, ready)


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
        sock.listen()  # at once: two servers that start together can both bind, and the second must find another port
    except OSError as error:
        sock.close()
        raise PortTaken(port, (error.strerror or str(error)).lower()) from error
    return sock
