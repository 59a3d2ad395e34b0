"""Who keeps a place when there are more connections than places, and how long each may say nothing."""

from __future__ import annotations

import http.client
import logging
import socket
import time
from contextlib import ExitStack, closing

import pytest

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.web.front import connections
from quiz.web.front.connections import HEAD, HEAD_S, IDLE_S, Connections
from tests.conftest import Clock, lots, serving


class Transport:
    """What asyncio would give, as far as it is asked."""

    def __init__(self, host: str, port: int) -> None:
        self.peer, self.aborted = (host, port), False

    def get_extra_info(self, _: str) -> tuple[str, int]:
        return self.peer

    def abort(self) -> None:
        self.aborted = True


def ones(count: int, host: str = "192.0.2.1", first: int = 0) -> list[Transport]:
    return [Transport(host, first + number) for number in range(count)]


def let_in(all_of: Connections, transports: list[Transport]) -> list[connections.Connection]:
    return [all_of.let_in(one) for one in transports]  # type: ignore[arg-type]


def ask(all_of: Connections, one: connections.Connection) -> None:
    assert all_of.takes(one, 100)
    assert all_of.head_read(one.peer) is one
    all_of.request_read(one)


def test_whoever_never_asked_anything_makes_room_first_then_the_longest_silent() -> None:
    all_of, came = Connections(4), ones(4)
    mine = let_in(all_of, came)
    ask(all_of, mine[0])
    for one in (mine[1], mine[2]):
        ask(all_of, one)
        all_of.answered(one)
    more = ones(4, first=10)
    let_in(all_of, more[:1])
    assert [one.aborted for one in came] == [False, False, False, True]
    ask(all_of, all_of.head_read(more[0].peer))  # type: ignore[arg-type]
    let_in(all_of, more[1:2])
    assert [one.aborted for one in came] == [False, True, False, True]
    let_in(all_of, more[2:])
    assert [one.aborted for one in came] == [False, True, False, True], "strangers before those who practise"
    assert [one.aborted for one in more] == [False, True, True, False]


def test_where_everyone_is_being_served_the_new_one_is_refused() -> None:
    all_of = Connections(2)
    for one in let_in(all_of, ones(2)):
        ask(all_of, one)
    more = ones(1, first=10)
    let_in(all_of, more)
    assert more[0].aborted


def test_one_address_takes_no_more_than_its_share() -> None:
    all_of = Connections(10, 4)
    learners = ones(3, "192.0.2.1")
    let_in(all_of, learners)
    attackers = ones(50, "198.51.100.7")
    let_in(all_of, attackers)
    assert not any(one.aborted for one in learners)
    assert sum(not one.aborted for one in attackers) == 4


def test_slow_heads_and_silence_are_ended_and_what_is_served_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 1000.0
    monkeypatch.setattr(time, "monotonic", lambda: now)
    all_of, came = Connections(10), ones(5)
    silent, slow, served, idle, reading = let_in(all_of, came)
    assert silent
    ask(all_of, served)
    ask(all_of, idle)
    all_of.answered(idle)
    all_of.head_read(reading.peer)
    now += HEAD_S - 1
    assert all_of.takes(slow, 1)
    all_of.look()
    assert not any(one.aborted for one in came)
    now += 2
    all_of.look()
    assert [one.aborted for one in came] == [True, True, False, False, False]
    assert all_of.takes(idle, 1)
    now += HEAD_S + 1
    all_of.look()
    assert [one.aborted for one in came] == [True, True, False, True, False], "its second head is slow"
    all_of.answered(served)
    now += IDLE_S + 1
    all_of.look()
    assert came[2].aborted


def test_a_head_without_end_is_not_read_on() -> None:
    all_of = Connections(10)
    [one] = let_in(all_of, ones(1))
    assert all_of.takes(one, HEAD + 1)
    assert not all_of.takes(one, 1)


def test_no_file_for_a_connection_is_told_in_one_line_once(caplog: pytest.LogCaptureFixture) -> None:
    all_of = Connections(10)
    with caplog.at_level(logging.WARNING):
        for _ in range(5):
            all_of.accept_failed(None, {"exception": OSError(24, "Too many open files")})  # type: ignore[arg-type]
    assert [one.getMessage() for one in caplog.records] == [
        "no file is left for another connection (Too many open files): the longest silent are closed"
    ]


def test_a_page_comes_past_as_many_silent_connections_as_there_are_places(data_file: DataFile) -> None:
    with serving(create_app(data_file, clock=Clock(), lots=lots())) as address, ExitStack() as silent:
        host, port = address.removeprefix("http://").split(":")
        with closing(http.client.HTTPConnection(host, int(port), timeout=60)) as asked:
            asked.request("GET", "/recall")
            assert asked.getresponse().read()
            kept = asked.sock
            for _ in range(150):
                silent.enter_context(socket.create_connection((host, int(port)), 30))
            began = time.monotonic()
            asked.request("GET", "/recall")
            assert asked.getresponse().status == 200
            assert asked.sock is kept, "whoever was served keeps the connection"
            assert time.monotonic() - began < 30
