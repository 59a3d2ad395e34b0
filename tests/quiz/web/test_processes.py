"""Several processes over one data file: what is counted is counted once, and none outlives the first."""

from __future__ import annotations

import http.client
import multiprocessing
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode

import pytest

from quiz.classroom.sign_in import FREE_TRIES
from quiz.classroom.throttle import Limit, SharedTries, TooManyTries
from quiz.web.front import processes
from tests.conftest import NOON
from tests.quiz.class_people import NAME
from tests.quiz.web.test_server import get, serving, with_preceptor


def test_what_one_process_counts_another_knows() -> None:
    """Each by a connection of its own to the first process, as processes that serve have."""
    memory = processes._Memory(None)
    ones = []
    for _ in range(2):
        shared = processes._Shared(memory.address, multiprocessing.current_process().authkey)
        shared.connect()
        ones.append(SharedTries(shared.tries()))  # type: ignore[attr-defined]
    limits = (Limit("code", "x", 2),)
    for one in ones:
        with pytest.raises(ValueError, match="wrong"), one.counted(limits, NOON):
            raise ValueError("wrong")
    for one in ones:
        with pytest.raises(TooManyTries), one.counted(limits, NOON):
            raise AssertionError
    with ones[0].counted(limits, NOON + 60):
        pass
    ones[1].add("joined", "y", NOON)
    assert [one.since("joined", "y", NOON - 1, now=NOON) for one in ones] == [1, 1]
    memory.close()


def until(there: Callable[[], bool], seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not there():
        assert time.monotonic() < end
        time.sleep(0.05)


def children(pid: int) -> set[int]:
    """Return the processes that serve; the one that looks after what they share is none of them."""
    listed = subprocess.run(["ps", "-ww", "-eo", "pid,ppid,args"], capture_output=True, text=True, check=True).stdout
    lines = [line.split(None, 2) for line in listed.splitlines()[1:]]
    return {int(one) for one, parent, words in lines if int(parent) == pid and "spawn_main" in words}


def is_there(pid: int) -> bool:
    state = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False).stdout
    return bool(state.strip()) and not state.startswith("Z")


def signed_in(host: str, port: int) -> int:
    """Try a wrong password by a connection of its own, and return the answer's status."""
    with closing(http.client.HTTPConnection(host, port, timeout=60)) as asked:
        form = urlencode({"preceptor": NAME, "password": "not the right one"})
        asked.request("POST", "/door/sign-in", form, {"Content-Type": "application/x-www-form-urlencoded"})
        return asked.getresponse().status


@pytest.mark.skipif(sys.platform == "win32", reason="looks at processes by ps")
def test_two_processes_count_tries_and_make_backups_once_and_end_together(tmp_path: Path) -> None:
    path, folder, log = with_preceptor(tmp_path / "a.sqlite3"), tmp_path / "backups", tmp_path / "app.log"
    given = ("--class", "--processes", "2", "--data", path, "--backups", folder, "--log-file", log, "-v")
    with serving(*given) as (child, host, port):
        ones = children(child.pid)
        assert len(ones) == 2
        # Waits double from a second on, so that a busy machine cannot let ten tries through.
        got = [signed_in(host, port) for _ in range(2 * FREE_TRIES)]
        assert got[:FREE_TRIES] == [422] * FREE_TRIES
        assert 429 in got
        until(lambda: len(list(folder.glob("*.sqlite3"))) == 1)
        killed = ones.pop()
        subprocess.run(["kill", "-KILL", str(killed)], check=True)
        until(lambda: len(children(child.pid) - {killed}) == 2)
        assert get(host, port, "/door") == 200
        ones = children(child.pid)
        child.send_signal(signal.SIGTERM)
        assert child.wait(60) == 0
        assert not any(map(is_there, ones))
        assert len(list(folder.glob("*.sqlite3"))) == 1
    said = log.read_text(encoding="utf-8")
    assert said.count("POST /door/sign-in 422") == got.count(422)
    assert "a process of the web server ended (-9): another" in said


@pytest.mark.skipif(sys.platform == "win32", reason="looks at processes by ps")
def test_a_first_process_that_is_killed_leaves_none_behind(tmp_path: Path) -> None:
    with serving("--processes", "2", "--data", tmp_path / "a.sqlite3") as (child, host, port):
        ones = children(child.pid)
        assert len(ones) == 2
        child.kill()
        child.wait(10)
        until(lambda: not any(map(is_there, ones)), 20)
        with socket.socket() as again:
            again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            again.bind((host, port))
