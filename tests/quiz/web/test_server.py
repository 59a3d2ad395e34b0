"""The real commands as child processes: what they print, where they listen, what they refuse."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import metadata
from pathlib import Path

import pytest

from quiz.__main__ import PORT, serve
from quiz.classroom import sign_in
from quiz.practice import dealing
from quiz.storage.datafile import DataFile
from quiz.storage.store import Learner, Store
from quiz.web.front.server import PortTaken, _listening
from tests.conftest import NOON, lots, written

QUIZ = (sys.executable, "-m", "quiz")


def quiz(*arguments: str | Path, **env: str) -> subprocess.CompletedProcess[str]:
    command = [*QUIZ, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=30, env={**os.environ, **env})


@contextmanager
def serving(
    *arguments: str | Path, command: tuple[str, ...] = (*QUIZ, "serve", "--no-browser"), **env: str
) -> Iterator[tuple[subprocess.Popen[str], str, int]]:
    """Serve as a child process; yields it with the host and port that it printed."""
    whole = [*command, *map(str, arguments)]
    with subprocess.Popen(whole, stdout=subprocess.PIPE, text=True, env={**os.environ, **env}) as child:
        try:
            assert child.stdout is not None
            said = child.stdout.readline()
            found = re.search(r"http://([\w.]+):(\d+)/", said)
            assert found, said
            yield child, found.group(1), int(found.group(2))
        finally:
            child.kill()


def get(host: str, port: int, url: str = "/") -> int:
    with closing(http.client.HTTPConnection(host, port, timeout=60)) as asked:
        asked.request("GET", url)
        return asked.getresponse().status


def test_help_is_quick_because_it_imports_nothing() -> None:
    """Timed by what is loaded, not by the clock: flask, numpy and sqlite-utils are what takes time."""
    script = (
        "import sys, quiz.__main__ as m\n"
        "m.main(['--help'])\n"
        "print([n for n in ('flask', 'numpy', 'sqlite_utils', 'uvicorn') if n in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.splitlines()[-1] == "[]"
    assert "serve" in found.stdout
    assert "rebuild" in found.stdout


def test_it_serves_a_first_case_and_stops_when_told(tmp_path: Path) -> None:
    with serving("--data", tmp_path / "a.sqlite3") as (child, host, port):
        assert host == "127.0.0.1"
        assert get(host, port) == 200
        child.send_signal(signal.SIGTERM)
        assert child.wait(30) == 0
    with closing(DataFile.open(tmp_path / "a.sqlite3")) as file, closing(Store(file)) as store:
        assert len(store.learners()) == 1


def test_by_default_the_data_file_is_in_the_users_data_folder(tmp_path: Path) -> None:
    with serving(XDG_DATA_HOME=str(tmp_path)) as (_, host, port):
        assert get(host, port) == 200
    assert (tmp_path / "two-meridians" / "answers.sqlite3").is_file()


def test_a_free_port_is_taken_where_the_usual_one_is_in_use(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            taken.bind(("127.0.0.1", PORT))
            taken.listen()
        except OSError:
            pass  # in use already, which is what this test needs
        with serving("--data", tmp_path / "a.sqlite3") as (_, host, port):
            assert port != PORT
            assert get(host, port) == 200


def test_a_port_that_was_asked_for_is_not_swapped(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        found = quiz("serve", "--no-browser", "--port", str(port), "--data", tmp_path / "a.sqlite3")
    assert (found.returncode, found.stdout) == (2, "")
    assert found.stderr == (
        f"quiz: port {port}: address already in use; give another, or leave --port out and a free one is found\n"
    )


def test_a_server_that_starts_at_the_same_moment_gets_another_port() -> None:
    """Before either listens, both may have bound the port; the second met that with a traceback."""
    with closing(_listening("127.0.0.1", None, 0)) as first:
        port = first.getsockname()[1]
        with pytest.raises(PortTaken):
            _listening("127.0.0.1", port, PORT)
        with closing(_listening("127.0.0.1", None, port)) as second:
            assert second.getsockname()[1] != port


@pytest.mark.parametrize(
    ("host", "why"),
    [
        ("0.0.0.0", "other computers could come in, and there is no preceptor yet"),  # noqa: S104
        ("192.168.1.5", "other computers could come in, and there is no preceptor yet"),
        ("::", "give 127.0.0.1 or localhost for this computer alone, 0.0.0.0 for a class"),
        ("example.org", "give 127.0.0.1 or localhost for this computer alone, 0.0.0.0 for a class"),
        ("", "give 127.0.0.1 or localhost for this computer alone, 0.0.0.0 for a class"),
    ],
)
def test_other_computers_are_not_served_before_there_is_a_preceptor(host: str, why: str, tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", "--host", host, "--data", tmp_path / "a.sqlite3")
    assert (found.returncode, found.stdout) == (2, "")
    assert found.stderr.startswith(f"quiz: host {host}: {why}")
    assert len(found.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["serve", "rebuild"])
def test_a_file_that_is_not_ours_is_refused_in_one_line_and_left_alone(command: str, tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE patients (name TEXT)")
        other.commit()
    before = path.read_bytes()
    found = quiz(command, *(["--no-browser"] if command == "serve" else []), "--data", path)
    assert (found.returncode, found.stdout) == (2, "")
    assert re.fullmatch(r"quiz: data file .*: this is not a data file of Two Meridians; .*\n", found.stderr)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["other.sqlite3"]


@pytest.mark.parametrize(
    "arguments", [["fly"], ["serve", "--port", "0"], ["serve", "--port", "http"], ["--no-browser"]]
)
def test_a_wrong_command_line_is_exit_2(arguments: list[str]) -> None:
    found = quiz(*arguments)
    assert found.returncode == 2
    assert found.stderr.startswith("quiz: ")
    assert "--help` shows how" in found.stderr
    assert found.stderr.count("\n") == 1


def test_every_option_of_serve_may_come_from_the_environment_and_without_a_command_it_serves(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    given = {
        "QUIZ_HOST": "localhost",
        "QUIZ_PORT": str(port),
        "QUIZ_DATA": str(tmp_path / "a.sqlite3"),
        "QUIZ_NO_BROWSER": "1",
        "QUIZ_LOG_FILE": str(tmp_path / "app.log"),
        "QUIZ_VERBOSE": "1",
        "QUIZ_CLASS": "0",
        "QUIZ_ONE_PERSON": "1",
        "QUIZ_PROCESSES": "2",
    }
    elsewhere = {"QUIZ_BEHIND_PROXY", "QUIZ_ADDRESS", "QUIZ_FIRST_PRECEPTOR", "QUIZ_FIRST_PASSWORD_FILE"}
    elsewhere |= {"QUIZ_BACKUPS", "QUIZ_EVERY", "QUIZ_KEEP"}
    options = {option.envvar for option in serve.params}
    assert options == set(given) | elsewhere, "an option without a variable, or one that is tried nowhere"
    with serving(command=QUIZ, **given) as (_, host, at):
        assert (host, at, get(host, at)) == ("localhost", port, 200)
        # The process that answered hands its line to the first one, which writes it.
        until = time.monotonic() + 20
        while "GET / 200" not in (tmp_path / "app.log").read_text(encoding="utf-8"):
            assert time.monotonic() < until
            time.sleep(0.05)
    assert (tmp_path / "a.sqlite3").is_file()


def test_an_option_goes_before_its_variable(tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", "--host", "nowhere", "--data", tmp_path / "a.sqlite3", QUIZ_HOST="127.0.0.1")
    assert found.stderr.startswith("quiz: host nowhere: ")


def test_the_log_names_no_address_that_may_hold_a_code_or_a_phrase(tmp_path: Path) -> None:
    log = tmp_path / "app.log"
    with serving("--data", tmp_path / "a.sqlite3", "--log-file", log, "-v") as (_, host, port):
        get(host, port, "/case/a-secret-name?phrase=seven+larks")
        get(host, port, "/nothing/of/ours")
    said = log.read_text(encoding="utf-8")
    assert "<dealt_id>" in said
    assert "an address that is not ours 404" in said
    assert "secret" not in said
    assert "larks" not in said


def test_without_being_told_to_it_logs_no_request(tmp_path: Path) -> None:
    log = tmp_path / "app.log"
    with serving("--data", tmp_path / "a.sqlite3", "--log-file", log) as (_, host, port):
        assert get(host, port) == 200
    assert log.read_text(encoding="utf-8") == ""


def test_a_log_file_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", "--data", tmp_path / "a.sqlite3", "--log-file", tmp_path / "no" / "app.log")
    assert found.returncode == 2
    assert re.fullmatch(r"quiz: log file .*: no such file or directory; give a file in a folder .*\n", found.stderr)


def test_it_says_which_version_it_is() -> None:
    assert quiz("--version").stdout == f"Two Meridians {metadata.version('two-meridians')}\n"


def test_a_shell_can_complete_commands_and_options() -> None:
    asked = {"_TWO_MERIDIANS_COMPLETE": "bash_complete", "COMP_WORDS": "two-meridians re", "COMP_CWORD": "1"}
    script = "import sys; sys.argv[0] = 'two-meridians'; from two_meridians import main; sys.exit(main())"
    found = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, env={**os.environ, **asked}
    )
    assert [line.split(",")[1] for line in found.stdout.splitlines()] == ["rebuild", "refit", "replay", "restore"]


@pytest.mark.parametrize("package", ["cases", "quiz"])
def test_another_projects_package_in_place_of_ours_is_refused_in_words(package: str, tmp_path: Path) -> None:
    """As when another distribution installs a package of that name before ours on the path."""
    (tmp_path / package).mkdir()
    (tmp_path / package / "__init__.py").write_text("VERSION = 7\n")
    found = subprocess.run(
        [sys.executable, "-c", "import sys; from two_meridians import main; sys.exit(main())", "serve"],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": str(tmp_path)}, cwd=tmp_path,
    )  # fmt: skip
    assert found.returncode == 2
    assert found.stderr.startswith(f"two-meridians: the package `{package}` is another project's ({tmp_path}")
    assert found.stderr.count("\n") == 1


def test_the_app_run_beside_another_projects_cases_refuses_too(tmp_path: Path) -> None:
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "__init__.py").touch()
    found = subprocess.run([*QUIZ, "check"], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert (found.returncode, found.stdout) == (2, "")
    assert found.stderr.startswith("quiz: the package `cases` is another project's")


def test_rebuild_says_what_it_found(data_path: Path, store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON + 5)
    found = quiz("rebuild", "--data", data_path)
    assert (found.returncode, found.stdout) == (0, "Imre: 1 answers, 0 recall marks; as it was kept\n")
    with store.writing():
        store.keep_states(learner.id, state="{}", recall_state="{}", folded_with="")
    assert "differed from what was kept, and was put right" in quiz("rebuild", "--data", data_path).stdout
    assert "as it was kept" in quiz("rebuild", "--data", data_path).stdout


def test_rebuild_makes_no_file(tmp_path: Path) -> None:
    found = quiz("rebuild", "--data", tmp_path / "none.sqlite3")
    assert (found.returncode, found.stdout) == (2, "")
    assert "there is no such file" in found.stderr
    assert list(tmp_path.iterdir()) == []


def with_preceptor(path: Path) -> Path:
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        sign_in.add_preceptor(store, "Bartholomea Quill", "ten characters", now=NOON)
    return path


def test_a_file_with_a_preceptor_is_not_served_to_one_person_without_being_told_so(tmp_path: Path) -> None:
    """Behind a proxy every visitor would be the same learner."""
    path = with_preceptor(tmp_path / "a.sqlite3")
    found = quiz("serve", "--no-browser", "--data", path)
    assert (found.returncode, found.stdout) == (2, "")
    assert re.fullmatch(r"quiz: data file .*: it has a preceptor.* add --class .* or --one-person .*\n", found.stderr)
    with serving("--data", path, "--one-person") as (_, host, port):
        assert get(host, port) == 200


def test_a_class_is_served_on_loopback_alone(tmp_path: Path) -> None:
    path = with_preceptor(tmp_path / "a.sqlite3")
    with serving("--data", path, "--class") as (_, host, port):
        assert host == "127.0.0.1"
        with closing(http.client.HTTPConnection(host, port, timeout=60)) as asked:
            asked.request("GET", "/", headers={"Host": "retino.school.example"})
            answer = asked.getresponse()
            assert (answer.status, answer.getheader("Location")) == (303, "/door")


def test_a_real_server_for_one_person_refuses_what_a_proxy_passed_on(tmp_path: Path) -> None:
    """The web server that the app stands on would take these headers away before the app can see them."""
    with serving("--data", tmp_path / "a.sqlite3") as (_, host, port):
        assert get(host, port) == 200
        with closing(http.client.HTTPConnection(host, port, timeout=60)) as asked:
            asked.request("GET", "/", headers={"X-Forwarded-For": "192.0.2.9"})
            answer = asked.getresponse()
            assert answer.status == 403
            assert "python -m quiz serve --class" in answer.read().decode()


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--class"], "there is no preceptor yet"),
        (["--one-person", "--host", "0.0.0.0"], "--one-person is for this computer alone"),  # noqa: S104
        (["--one-person", "--class"], "not for a class: leave one out"),
    ],
)
def test_a_mode_that_does_not_fit_is_refused(arguments: list[str], why: str, tmp_path: Path) -> None:
    found = quiz("serve", "--no-browser", *arguments, "--data", tmp_path / "a.sqlite3")
    assert (found.returncode, found.stdout) == (2, "")
    assert why in found.stderr
    assert list(tmp_path.iterdir()) == []
