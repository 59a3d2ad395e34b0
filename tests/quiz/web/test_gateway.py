"""Quick pages and long ones: neither waits for the other, and their threads end with the server."""

from __future__ import annotations

import asyncio
import http.client
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from typing import Any

import pytest
from flask import Flask, Response

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web import request_context
from quiz.web.front import gateway
from quiz.web.front.connections import Connection, Connections
from quiz.web.front.gateway import LONG_AT_ONCE
from quiz.web.front.public_address import behind, comes_from, read_address
from tests.conftest import Clock, lots, serving
from tests.quiz.class_people import Browser, preceptor


def status(address: str, url: str, browser: int = 0) -> int:
    with closing(http.client.HTTPConnection(address.removeprefix("http://"), timeout=60)) as asked:
        asked.request("GET", url, headers={"Cookie": f"browser={browser}"})
        return asked.getresponse().status


class Held:
    """A page that does not end until it is let go."""

    def __init__(self, app: Flask, url: str) -> None:
        self.begun, self.let_go = threading.Semaphore(0), threading.Event()
        app.add_url_rule(url, f"held {url}", self.page)

    def page(self) -> str:
        self.begun.release()
        assert self.let_go.wait(60)
        return "done"


@contextmanager
def raw(address: str) -> Iterator[socket.socket]:
    host, port = address.removeprefix("http://").split(":")
    with closing(socket.create_connection((host, int(port)), 20)) as one:
        yield one


@contextmanager
def asked_for(address: str, url: str, times: int, *, by_one: bool = False) -> Iterator[list[int]]:
    """Ask for a page this many times at once, each by another browser or all by one; the block runs meanwhile."""
    got: list[int] = []
    ones = [
        threading.Thread(target=lambda browser=number: got.append(status(address, url, 0 if by_one else browser)))
        for number in range(1, 1 + times)
    ]
    for one in ones:
        one.start()
    yield got
    for one in ones:
        one.join(60)


def test_a_case_comes_while_every_thread_for_long_pages_is_busy(
    data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # On a busy machine a quick page may take long enough to pass for one that hangs, and what is behind it goes round.
    monkeypatch.setattr(gateway, "HANGS_S", 5.0)
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/class/held")
    with serving(app) as address, asked_for(address, "/class/held", LONG_AT_ONCE) as got:
        for _ in range(LONG_AT_ONCE):
            assert held.begun.acquire(timeout=30)
        assert [status(address, url) for url in ("/", "/static/css/parts.css", "/recall")] == [200, 200, 200]
        assert got == []
        held.let_go.set()
    assert got == [200] * LONG_AT_ONCE


def test_long_pages_come_while_a_quick_one_hangs(data_file: DataFile, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/case/held/held")
    with serving(app) as address, asked_for(address, "/case/held/held", 3) as got:
        assert held.begun.acquire(timeout=30)
        assert status(address, "/reference") == 200
        held.let_go.set()
    assert got == [200] * 3


def test_quick_pages_go_round_one_that_hangs(data_file: DataFile, clock: Clock) -> None:
    """Those asked for after it, and those already in line behind it."""
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/case/held/held")
    with serving(app) as address, asked_for(address, "/case/held/held", 1) as got:
        assert held.begun.acquire(timeout=30)
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
        with raw(address) as one:
            got = b""
            if before:
                one.sendall(before)
                got = one.recv(200)
                assert b" 200 OK" in got
            one.sendall(sent)
            while more := one.recv(65536):
                got += more
        assert b" 400 Bad Request" in got


def test_a_header_with_an_underscore_passes_for_no_other(data_file: DataFile, clock: Clock) -> None:
    """X_Forwarded_For would be X-Forwarded-For to the app, which only a server between may write."""
    with serving(create_app(data_file, clock=clock, lots=lots())) as address, raw(address) as one:
        one.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX_Forwarded_For: 192.0.2.9\r\n\r\n")
        assert b" 200 OK" in one.recv(200)


def test_one_browser_has_one_long_page_made_at_a_time(data_file: DataFile, clock: Clock) -> None:
    """Nine tabs of results are in the way of nobody else's."""
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/class/held")
    with serving(app) as address, asked_for(address, "/class/held", 9, by_one=True) as got:
        assert held.begun.acquire(timeout=30)
        assert status(address, "/reference", 7) == 200
        assert not held.begun.acquire(timeout=0.3)
        held.let_go.set()
    assert got == [200] * 9


def test_quick_pages_are_known_behind_another_web_server(data_file: DataFile, clock: Clock) -> None:
    """A path of the public address, as .deploy/nginx.conf passes it on, once made every page a long one."""
    public = read_address("https://school.example/retinoscopy", 1)
    app = create_app(data_file, clock=clock, lots=lots(), public=public, hosts=None)
    held = Held(app, "/class/held")
    url = "/retinoscopy/class/held"
    with serving(behind(app, public), public=public) as address, asked_for(address, url, LONG_AT_ONCE) as got:  # type: ignore[arg-type]
        for _ in range(LONG_AT_ONCE):
            assert held.begun.acquire(timeout=30)
        assert [status(address, f"/retinoscopy{url}") for url in ("/", "/static/css/parts.css")] == [200, 200]
        assert got == []
        held.let_go.set()
    assert got == [200] * LONG_AT_ONCE


@pytest.mark.parametrize(
    ("sent", "hops", "found"),
    [
        ("198.51.100.7", 1, "198.51.100.7"),
        ("203.0.113.9, 198.51.100.7", 1, "198.51.100.7"),
        ("203.0.113.9, 198.51.100.7", 2, "203.0.113.9"),
        ("", 1, "192.0.2.1"),
        ("198.51.100.7", 2, "192.0.2.1"),
    ],
)
def test_where_a_request_comes_from_is_read_as_proxyfix_reads_it(sent: str, hops: int, found: str) -> None:
    """The reference is werkzeug's ProxyFix, by which the app itself reads it."""
    public = read_address("https://school.example", hops)
    environ = {"REMOTE_ADDR": "192.0.2.1", "HTTP_X_FORWARDED_FOR": sent}
    assert comes_from(environ, public) == found
    assert comes_from(environ, None) == "192.0.2.1"
    seen: list[str] = []

    def app(given: dict[str, Any], _: Any) -> list[bytes]:
        seen.append(given["REMOTE_ADDR"])
        return []

    list(behind(app, public)({**environ, "wsgi.url_scheme": "http", "HTTP_HOST": "x"}, lambda *_: lambda _: None))
    assert seen == [found]


def test_a_preceptor_on_two_devices_has_one_long_page_made_at_a_time(
    data_file: DataFile, store: Store, clock: Clock
) -> None:
    """Signing in again and again once brought a hostile preceptor every thread for long pages."""
    app = create_app(data_file, clock=clock, lots=lots(), beyond=True, hosts=None)
    browsers = preceptor(app, store), Browser(app)
    browsers[1].sign_in()
    found = [one.client.get_cookie("two-meridians") for one in browsers]
    cookies = [f"two-meridians={one.value}" for one in found if one is not None]
    assert cookies[0] != cookies[1]
    whose = [request_context.person_of(app, {"HTTP_COOKIE": one, "REMOTE_ADDR": "192.0.2.1"}) for one in cookies]
    assert whose == ["preceptor 1"] * 2
    assert request_context.person_of(app, {"HTTP_COOKIE": cookies[0][:-4], "REMOTE_ADDR": "192.0.2.1"}) == ""


def test_a_person_who_asks_without_end_gets_half_of_the_time_and_anyone_else_waits_for_nothing() -> None:
    asking, now, made = gateway._Asking(), 1000.0, 0.0
    for _ in range(300):
        began, now, made = now, now + 0.2, made + 0.2
        now += asking.pause_after(began, now)
    assert 0.49 < made / (now - 1000.0) < 0.55
    calm, now = gateway._Asking(), 1000.0
    for _ in range(300):
        assert calm.pause_after(now, now + 0.2) == 0.0
        now += 0.5


def test_refused_bodies_are_read_at_one_pace_together() -> None:
    """Twenty bodies of a gigabyte, each read as fast as it came, once kept every page waiting for a quarter second."""

    async def read() -> float:
        refusals, loop = gateway._Refusals(), asyncio.get_running_loop()
        began = loop.time()
        await asyncio.gather(*(refusals._pause_after(gateway.DRAIN_RATE // 40) for _ in range(4)))
        return loop.time() - began

    assert asyncio.run(read()) >= 0.099


def test_a_long_page_is_not_waited_for_without_end_and_keeps_its_turn(
    data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gateway, "LONG_S", 0.3)
    app = create_app(data_file, clock=clock, lots=lots())
    held = Held(app, "/class/held")
    with serving(app) as address:
        assert [status(address, "/class/held", one) for one in range(1, 1 + LONG_AT_ONCE)] == [503] * LONG_AT_ONCE
        assert status(address, "/reference", 7) == 503, "every thread for long pages is busy still"
        assert status(address, "/recall") == 200
        held.let_go.set()
        until = time.monotonic() + 10
        while status(address, "/reference", 7) != 200:
            assert time.monotonic() < until


def test_slow_bodies_hold_no_thread(data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gateway, "BODY_S", 1.0)
    head = b"POST /settings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 60000\r\n\r\na"
    with serving(create_app(data_file, clock=clock, lots=lots())) as address, ExitStack() as slow:
        ones = [slow.enter_context(raw(address)) for _ in range(30)]
        for one in ones:
            one.sendall(head)
        assert [status(address, url) for url in ("/", "/reference")] == [200, 200]
        assert ones[0].recv(200).startswith(b"HTTP/1.1 408 ")


def test_a_stalled_download_holds_no_thread_and_lets_its_file_go(
    data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gateway, "SEND_S", 1.0)
    app = create_app(data_file, clock=clock, lots=lots())
    ended = threading.Event()

    def without_end() -> Iterator[bytes]:
        try:
            while True:
                yield b"a" * 65536
        finally:
            ended.set()

    app.add_url_rule("/class/download", "download", lambda: Response(without_end()))
    with serving(app) as address, ExitStack() as stalled:
        for number in range(2 * LONG_AT_ONCE):
            one = stalled.enter_context(raw(address))
            cookie = f"Cookie: browser={number}".encode()
            one.sendall(b"GET /class/download HTTP/1.1\r\nHost: localhost\r\n" + cookie + b"\r\n\r\n")
        assert status(address, "/reference", 77) == 200
        assert ended.wait(20)


def test_the_threads_end_with_the_server(data_file: DataFile, clock: Clock) -> None:
    before = set(threading.enumerate())
    with serving(create_app(data_file, clock=clock, lots=lots())) as address:
        assert status(address, "/") == 200
        assert len(set(threading.enumerate()) - before) >= 2
    for one in set(threading.enumerate()) - before:
        one.join(5)
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
    assert gateway.is_quick(path) is quick


def test_every_quick_address_is_one_of_the_apps(data_file: DataFile) -> None:
    rules = {str(rule).split("/")[1] for rule in create_app(data_file).url_map.iter_rules()}
    assert rules >= gateway.QUICK


def test_an_answer_is_sent_without_waiting_for_the_last_piece_to_be_acknowledged(
    data_file: DataFile, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each page over a connection that was kept came 40 ms late, since head and body are two writes."""
    let_in, options = Connections.let_in, list[int]()

    def noted(self: Connections, transport: asyncio.Transport) -> Connection:
        options.append(transport.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        return let_in(self, transport)

    monkeypatch.setattr(Connections, "let_in", noted)
    with serving(create_app(data_file, clock=clock, lots=lots())) as address:
        assert status(address, "/healthz") == 200
    assert options
    assert all(options)
