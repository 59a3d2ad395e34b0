"""Quick pages and long ones: neither waits for the other, and their threads end with the server."""

from __future__ import annotations

import http.client
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from types import SimpleNamespace

import pytest
from flask import Flask
from waitress.task import ThreadedTaskDispatcher

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.web.front import lanes
from quiz.web.front.server import LONG_AT_ONCE
from tests.conftest import Clock, lots, serving


def status(address: str, url: str) -> int:
    with closing(http.client.HTTPConnection(address.removeprefix("http://"), timeout=10)) as asked:
        asked.request("GET", url)
        return asked.getresponse().status


class Held:
    """A page that does not end until it is let go."""

    def __init__(self, app: Flask, url: str) -> None:
        self.begun, self.let_go = threading.Semaphore(0), threading.Event()
        app.add_url_rule(url, f"held {url}", self.page)

    def page(self) -> str:
        self.begun.release()
        assert self.let_go.wait(20)
        return "done"


@contextmanager
def asked_for(address: str, url: str, times: int) -> Iterator[list[int]]:
    """Ask for a page so many times at once; the block runs while they are at it."""
    got: list[int] = []
    ones = [threading.Thread(target=lambda: got.append(status(address, url))) for _ in range(times)]
    for one in ones:
        one.start()
    yield got
    for one in ones:
        one.join(20)


def test_a_case_comes_while_every_thread_for_long_pages_is_busy(
    data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # On a busy machine a quick page may take long enough to pass for one that hangs, and what is behind it goes round.
    monkeypatch.setattr(lanes, "HANGS", 5.0)
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/class/held")
    with serving(app) as address, asked_for(address, "/class/held", LONG_AT_ONCE) as got:
        for _ in range(LONG_AT_ONCE):
            assert held.begun.acquire(timeout=10)
        assert [status(address, url) for url in ("/", "/static/css/parts.css", "/recall")] == [200, 200, 200]
        assert got == []
        held.let_go.set()
    assert got == [200] * LONG_AT_ONCE


def test_long_pages_come_while_a_quick_one_hangs(data_file: DataFile, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/case/held/held")
    with serving(app) as address, asked_for(address, "/case/held/held", 3) as got:
        assert held.begun.acquire(timeout=10)
        assert status(address, "/reference") == 200
        held.let_go.set()
    assert got == [200] * 3


def test_quick_pages_go_round_one_that_hangs(data_file: DataFile, clock: Clock) -> None:
    """Those asked for after it, and those already in line behind it."""
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/case/held/held")
    with serving(app) as address, asked_for(address, "/case/held/held", 1) as got:
        assert held.begun.acquire(timeout=10)
        with asked_for(address, "/", 4) as behind:
            pass
        assert behind == [200] * 4
        assert status(address, "/recall") == 200
        assert got == []
        held.let_go.set()
    assert got == [200]


@pytest.mark.parametrize(
    "sent",
    [
        b"garbage\r\n\r\n",
        b"get / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nno colon\r\n\r\n",
        b"GET /\xff HTTP/1.1\r\n\r\n",
    ],
)
@pytest.mark.parametrize("before", [b"", b"GET /static/css/parts.css HTTP/1.1\r\nHost: localhost\r\n\r\n"])
def test_what_cannot_be_read_is_answered_and_its_connection_let_go(
    data_file: DataFile, clock: Clock, sent: bytes, before: bytes
) -> None:
    with serving(create_app(data_file, clock=clock, lots=lots())) as address:
        host, port = address.removeprefix("http://").split(":")
        with closing(socket.create_connection((host, int(port)), 10)) as raw:
            raw.sendall(before + sent)
            got = b""
            while more := raw.recv(65536):
                got += more
        assert got.count(b"HTTP/1.1 ") + got.count(b"HTTP/1.0 ") == 1 + bool(before)
        assert b" 400 Bad Request" in got


def test_both_lanes_are_given_one_time_to_end() -> None:
    long = ThreadedTaskDispatcher()
    long.set_thread_count(1)
    two, let_go = lanes.Lanes(long), threading.Event()

    class Channel:
        def __init__(self, path: str) -> None:
            self.requests = [SimpleNamespace(path=path)]

        def service(self) -> None:
            assert let_go.wait(20)

        def cancel(self) -> None: ...

    for path in ("/", "/class"):
        two.add_task(Channel(path))
    began = time.monotonic()
    two.shutdown(timeout=2)
    assert time.monotonic() - began < 3.5, "each had a time of its own"
    let_go.set()


def test_the_threads_end_with_the_server(data_file: DataFile, clock: Clock) -> None:
    before = set(threading.enumerate())
    with serving(create_app(data_file, clock=clock, lots=lots())) as address:
        assert status(address, "/") == 200
        assert len(set(threading.enumerate()) - before) > LONG_AT_ONCE
    assert set(threading.enumerate()) <= before


@pytest.mark.parametrize(
    ("path", "quick"),
    [
        ("/", True),
        ("/case/a1/answer", True),
        ("/drill/3", True),
        ("/class/1/drill/3", False),
        ("/progress", False),
        ("/cases", False),
        ("", False),
        ("b''", False),
    ],
)
def test_which_pages_are_quick(path: str, quick: bool) -> None:
    assert lanes.is_quick(path) is quick


def test_every_quick_address_is_one_of_the_apps(data_file: DataFile) -> None:
    rules = {str(rule).split("/")[1] for rule in create_app(data_file).url_map.iter_rules()}
    assert rules >= lanes.QUICK
