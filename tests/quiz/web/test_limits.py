"""What strangers cost a server: connections under a low limit of open files, long bodies, a locked data file."""

from __future__ import annotations

import http.client
import io
import re
import resource
import selectors
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import pytest

from quiz.app import create_app
from quiz.storage.datafile import Busy, DataFile
from quiz.storage.store import Store
from quiz.web import uploads
from quiz.web.front import gateway, limits
from tests.conftest import NOON, Clock, lots, serving
from tests.quiz.web.test_server import QUIZ


@contextmanager
def served(path: Path, *arguments: str, files: tuple[int, int] | None = None) -> Iterator[tuple[int, list[str], Path]]:
    """Serve as a child process that may open this many files; yields port, words and complaints."""
    wrong = path.with_suffix(".stderr")

    def fewer() -> None:
        if files is not None:
            resource.setrlimit(resource.RLIMIT_NOFILE, files)

    command = [*QUIZ, "serve", "--no-browser", "--data", str(path), *arguments]
    with (
        wrong.open("w") as complaints,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=complaints, text=True, preexec_fn=fewer) as child,
    ):
        try:
            assert child.stdout is not None
            said: list[str] = []
            while not (said and said[-1].startswith("Answers are kept")):
                said.append(child.stdout.readline())
                assert said[-1], wrong.read_text()
            yield int(re.search(r":(\d+)/", said[0]).group(1)), said, wrong  # type: ignore[union-attr]
        finally:
            child.kill()


def status(port: int, url: str = "/", timeout: float = 30) -> int:
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)) as asked:
        asked.request("GET", url)
        return asked.getresponse().status


def test_under_256_open_files_it_says_so_and_serves_past_idle_connections(tmp_path: Path) -> None:
    """Three hundred connections that ask nothing: before, the accept loop span and wrote a traceback at each turn."""
    with served(tmp_path / "a.sqlite3", files=(256, 256)) as (port, said, wrong), ExitStack() as idle:
        most = limits.most_for(256)
        why = "since the system lets this process open 256 files (see `ulimit -n`)"
        assert f"At most {most} connections at once, {why}.\n" in said
        for _ in range(300):
            idle.enter_context(socket.create_connection(("127.0.0.1", port), 30))
        assert status(port) == 200
        complaints = wrong.read_text()
        assert "Traceback" not in complaints
        assert len(complaints.splitlines()) <= 2, complaints


def test_the_limit_that_may_be_raised_is_raised(tmp_path: Path) -> None:
    with served(tmp_path / "a.sqlite3", files=(200, 4096)) as (port, said, _):
        assert not any("connections at once" in line for line in said)
        assert status(port) == 200


def test_too_few_files_to_serve_anyone_is_one_line(tmp_path: Path) -> None:
    script = (
        "import resource, sys; import quiz.web.front.server; resource.setrlimit(resource.RLIMIT_NOFILE, (40, 40)); "
        "from quiz.__main__ import main; sys.exit(main(['serve', '--no-browser', '--data', sys.argv[1]]))"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "a.sqlite3")]
    found = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (found.returncode, found.stdout) == (2, "")
    assert found.stderr == (
        "quiz: the system lets this process open 40 files, too few to serve a browser: run `ulimit -n 1024` first\n"
    )


def test_without_poll_it_lets_in_as_many_as_select_can_look_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(selectors, "DefaultSelector", selectors.SelectSelector)
    assert limits.connections()[0] == limits.WITH_SELECT


@pytest.mark.parametrize(
    ("url", "head", "body"),
    [
        ("/settings", "Content-Length: 1073741824", b""),
        ("/door/join", "Content-Length: 1073741824\r\nExpect: 100-continue", b""),
        ("/accuracy/import", "Content-Length: 1073741824", b""),
        ("/settings", f"Content-Length: {gateway.BODY}", b""),
        (
            "/settings",
            "Transfer-Encoding: chunked",
            b"10000\r\n" + b"a" * 65536 + b"\r\n" + b"10000\r\n" + b"a" * 65536,
        ),
    ],
)
def test_a_body_too_long_is_refused_by_its_head_alone(data_file: DataFile, url: str, head: str, body: bytes) -> None:
    """Nothing is sent after the head, or no end of the chunks: who waits for the body waits for ever."""
    with serving(create_app(data_file, clock=Clock(), lots=lots())) as address:
        host, port = address.removeprefix("http://").split(":")
        with closing(socket.create_connection((host, int(port)), 10)) as raw:
            raw.sendall(f"POST {url} HTTP/1.1\r\nHost: localhost\r\n{head}\r\n\r\n".encode() + body)
            got = b"".join(iter(lambda: raw.recv(65536), b"")).decode()
        assert got.startswith("HTTP/1.1 413 ")
        assert "a file may have 2 MB, and anything else 64 kB" in got


@pytest.mark.parametrize(
    ("url", "size", "code", "says"),
    [
        ("/settings", 60_000, 303, ""),
        ("/settings", 70_000, 413, "An answer is a line, not a file: shorten it."),
        ("/accuracy/import", 1_500_000, 422, "<h1>"),
        ("/accuracy/import", 3_000_000, 422, "the file is over 2 MB"),
        ("/progress/bring", 1_500_000, 422, "<h1>"),
        ("/accuracy/import", 30_000_000, 413, "a file may have 2 MB"),
        ("/progress/bring", 1_500_000, 422, "The file is empty."),
        ("/day", 200_000, 200, "<h1>"),
        ("/settings", 3_000_000, 413, "anything else 64 kB"),
    ],
)
def test_whoever_sends_too_much_gets_to_read_why(
    data_file: DataFile, url: str, size: int, code: int, says: str
) -> None:
    """The whole body is sent, as browsers do before they listen."""
    with serving(create_app(data_file, clock=Clock(), lots=lots())) as address:
        host = address.removeprefix("http://")
        with closing(http.client.HTTPConnection(host, timeout=30)) as asked:
            body = b"text=" + b"a" * size
            headers = {"Content-Type": "application/x-www-form-urlencoded", "Origin": address}
            asked.request("POST", url, body, headers)
            answer = asked.getresponse()
            assert answer.status == code
            assert says in answer.read().decode()


def test_every_page_with_a_field_for_a_file_takes_more_than_an_answer(data_file: DataFile) -> None:
    """Own data and rosters were once refused at 128 kB by the server, while their pages spoke of megabytes."""
    rules = {
        one.endpoint: one.rule for one in create_app(data_file).url_map.iter_rules() if "POST" in (one.methods or ())
    }
    forms = [
        re.search(r"url_for\('([\w.]+)'", form)
        for page in Path(uploads.__file__).parent.rglob("*.html")
        for form in re.findall(r"<form.+?</form>", page.read_text(encoding="utf-8"), re.DOTALL)
        if 'type="file"' in form
    ]
    found = {one and rules[one[1]] for one in forms}
    assert len(found) == 5
    assert {one for one in found if not (one and uploads.takes_files(one))} == set()


@pytest.mark.parametrize(
    ("url", "size", "code"),
    [("/settings", 60_000, 303), ("/settings", 70_000, 413), ("/accuracy/import", 1_000_000, 422)],
)
def test_a_body_in_chunks_is_not_cut_at_the_limit_by_another_server(
    data_file: DataFile, url: str, size: int, code: int
) -> None:
    """Other servers hand chunks on as they come (`wsgi.input_terminated`); a beginning is no answer."""
    client = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    body = io.BytesIO(b"text=" + b"a" * size)
    kind, terminated = "application/x-www-form-urlencoded", {"wsgi.input_terminated": True}
    page = client.post(url, input_stream=body, content_type=kind, environ_overrides=terminated)
    assert page.status_code == code


@pytest.fixture
def impatient(data_path: Path) -> Iterator[DataFile]:
    with closing(DataFile.open(data_path, patience=1)) as file:
        yield file


@pytest.fixture
def locked(impatient: DataFile) -> Iterator[sqlite3.Connection]:
    """Another program, which keeps the data file to itself."""
    with closing(sqlite3.connect(impatient.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield other


def test_one_lock_is_waited_for_once_by_all_together(impatient: DataFile, locked: sqlite3.Connection) -> None:
    """Twelve learners, and another program has the file: before, each waited for its turn and then as long again."""
    app = create_app(impatient, clock=Clock(), lots=lots())
    got: list[int] = []
    with serving(app) as address:
        port = int(address.rsplit(":", 1)[1])
        began = time.monotonic()
        ones = [threading.Thread(target=lambda: got.append(status(port))) for _ in range(12)]
        for one in ones:
            one.start()
        for one in ones:
            one.join(30)
        took = time.monotonic() - began
        assert got == [503] * 12
        assert took < 4 * impatient.patience, "twelve times as long, one after another"
        locked.execute("ROLLBACK")
        assert status(port) == 200


def test_a_request_waits_so_long_in_all_and_not_each_time_that_it_writes(
    impatient: DataFile, locked: sqlite3.Connection
) -> None:
    with closing(Store(impatient, remember=True)) as store:

        def write() -> None:
            with store.writing():
                store.add_learner("Ada", now=NOON, settings={}, state="", recall_state="", folded_with="")

        waited = []
        for _ in range(3):
            began = time.monotonic()
            with pytest.raises(Busy):
                write()
            waited.append(time.monotonic() - began)
        assert waited[0] >= 0.9 * impatient.patience
        assert sum(waited) < 1.5 * impatient.patience
        locked.execute("ROLLBACK")
        write()
