"""The files of `.deploy/` against the app and their own formats.

Every variable is an option and can be read, every port and path is the same, and the container's health check finds the
app that the container would start. No container is made here.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import click
import pytest
from ruamel.yaml import YAML

from quiz.__main__ import PORT, commands, serve
from tests.quiz.class_people import PASSWORD

DEPLOY = Path(__file__).resolve().parents[3] / ".deploy"
FILES = {path.name: path.read_text(encoding="utf-8") for path in DEPLOY.iterdir()}


def test_every_variable_is_an_option_of_serve() -> None:
    options = {option.envvar for option in serve.params}
    used = {name: set(re.findall(r"\bQUIZ_[A-Z_]+", text)) for name, text in FILES.items()}
    assert set().union(*used.values()) >= {"QUIZ_BEHIND_PROXY", "QUIZ_ADDRESS", "QUIZ_FIRST_PASSWORD_FILE"}
    assert {name: variables - options for name, variables in used.items() if variables - options} == {}


def test_they_agree_on_the_port_and_say_how_the_app_beside_them_is_started() -> None:
    for name in ("nginx.conf", "Caddyfile"):
        assert f"127.0.0.1:{PORT}" in FILES[name]
        assert "serve --class --behind-proxy 1 --address https://school.example" in FILES[name]
    assert set(re.findall(r"\b80\d\d\b", " ".join(FILES.values()))) == {str(PORT)}


def test_where_a_visitor_comes_from_is_set_and_not_appended() -> None:
    """`$proxy_add_x_forwarded_for` would keep what the visitor wrote there."""
    assert "proxy_set_header X-Forwarded-For $remote_addr;" in FILES["nginx.conf"]
    assert "header_up X-Forwarded-For {remote_host}" in FILES["Caddyfile"]
    assert "proxy_add_x_forwarded_for" not in FILES["nginx.conf"]


def test_what_the_container_copies_is_there() -> None:
    for line in re.findall(r"^COPY (?!--)(.+) \S+$", FILES["Containerfile"], re.MULTILINE):
        assert all((DEPLOY.parent / name).exists() for name in line.split())


COMPOSE = ("compose.yaml", "compose-postgres.yaml")


def app_of(name: str) -> dict[str, Any]:
    """Return the service of the app in a compose file."""
    found: dict[str, Any] = YAML(typ="safe").load(FILES[name])["services"]["app"]
    return found


def built_in() -> dict[str, str]:
    """Return the variables that the container has by itself."""
    [words] = re.findall(r"^ENV ((?:.+\\\n)*.+)$", FILES["Containerfile"], re.MULTILINE)
    return dict(one.split("=", 1) for one in shlex.split(words.replace("\\\n", " ")))


def of_systemd() -> dict[str, str]:
    """Return the variables of the unit, with systemd's places filled in."""
    words = " ".join(re.findall(r"^Environment=(.+)$", FILES["two-meridians.service"], re.MULTILINE))
    return dict(one.split("=", 1) for one in shlex.split(words.replace("%S", "/var/lib").replace("%d", "/run/c")))


def checked(*paths: Path) -> subprocess.CompletedProcess[str]:
    """Hold compose files to the schema of the Compose Specification, which check-jsonschema brings along."""
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", *map(str, paths)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_compose_files_are_as_the_specification_has_them(tmp_path: Path) -> None:
    done = checked(*(DEPLOY / name for name in COMPOSE))
    assert done.returncode == 0, done.stdout
    spoilt = tmp_path / "compose.yaml"
    spoilt.write_text(FILES["compose.yaml"].replace("read_only: true", "readonly: true"))
    assert checked(spoilt).returncode == 1


@pytest.mark.parametrize("name", [*COMPOSE, "Containerfile", "two-meridians.service"])
def test_serve_reads_every_variable(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    given = of_systemd() if name.endswith("service") else built_in()
    given |= app_of(name)["environment"] if name in COMPOSE else {}
    for variable, value in given.items():
        if variable.startswith("QUIZ_"):
            monkeypatch.setenv(variable, value)
    with serve.make_context("serve", []) as context:
        by_environment = {
            option.envvar
            for option in serve.params
            if option.name and context.get_parameter_source(option.name) is click.core.ParameterSource.ENVIRONMENT
        }
    assert by_environment == {one for one in given if one.startswith("QUIZ_")}
    assert len(by_environment) >= 6


def test_every_command_in_them_can_be_read() -> None:
    """In what is started, and in comments."""
    found = [
        ["serve"] for _ in re.findall(r"^ExecStart=\S+/two-meridians serve$", "\n".join(FILES.values()), re.MULTILINE)
    ]
    found += [json.loads(words)[1:] for words in re.findall(r"^CMD (\[.+\])$", FILES["Containerfile"], re.MULTILINE)]
    for text in FILES.values():
        comments = text.replace("\\\n#", " ")
        lines = re.findall(r"^#.*(?:python -m quiz|app\s+two-meridians) (.+)$", comments, re.MULTILINE)
        found += [shlex.split(line) for line in lines]
    assert sorted(one[0] for one in found) == ["move", "serve", "serve", "serve", "serve"]
    for words in found:
        command = commands.commands[words[0]]
        with command.make_context(words[0], words[1:]):
            pass


def test_what_one_service_names_of_another_is_there() -> None:
    for name in COMPOSE:
        whole = YAML(typ="safe").load(FILES[name])
        app = app_of(name)
        assert (DEPLOY / app["build"]["context"] / app["build"]["dockerfile"]).resolve() == DEPLOY / "Containerfile"
        assert app["expose"] == [built_in()["QUIZ_PORT"]] == [str(PORT)]
        assert app["environment"]["QUIZ_FIRST_PASSWORD_FILE"] == f"/run/secrets/{app['secrets'][0]}"
        assert set(app["secrets"]) == set(whole["secrets"])
        named = {one.split(":")[0] for each in whole["services"].values() for one in each.get("volumes", ())}
        assert {one for one in named if not one.startswith(".")} == set(whole["volumes"])
        assert "./nginx.conf" in named
    database = YAML(typ="safe").load(FILES["compose-postgres.yaml"])["services"]["db"]
    user, base = database["environment"]["POSTGRES_USER"], database["environment"]["POSTGRES_DB"]
    assert app_of("compose-postgres.yaml")["environment"]["QUIZ_DATA"] == f"postgresql://{user}@db/{base}"
    assert database["healthcheck"]["test"][1] == f"pg_isready -U {user}"


def test_the_health_check_finds_the_app_that_the_container_starts(tmp_path: Path) -> None:
    [words] = re.findall(r"^HEALTHCHECK .*\\\n\s+CMD (\[.+\])$", FILES["Containerfile"], re.MULTILINE)
    program, *check = json.loads(words)
    (tmp_path / "password").write_text(PASSWORD)
    env = built_in() | app_of("compose.yaml")["environment"]
    env |= {"QUIZ_DATA": str(tmp_path / "a.sqlite3"), "QUIZ_FIRST_PASSWORD_FILE": str(tmp_path / "password")}
    with closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        port = str(one.getsockname()[1])
    env |= {"QUIZ_PORT": port, "PATH": os.environ["PATH"], "HOME": str(tmp_path)}
    asked = [one.replace(str(PORT), port) for one in check]
    quietly: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen([sys.executable, "-m", "quiz", "serve"], env={**os.environ, **env}, **quietly) as child:
        try:
            until = time.monotonic() + 30
            while subprocess.run([sys.executable, *asked], check=False, **quietly).returncode:
                assert child.poll() is None
                assert time.monotonic() < until
                time.sleep(0.4)
        finally:
            child.terminate()
            child.wait(30)
    assert program == "python"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="there is no systemd here")
def test_systemd_reads_the_unit(tmp_path: Path) -> None:
    unit = tmp_path / "two-meridians.service"
    unit.write_text(FILES[unit.name].replace("/opt/two-meridians/.venv/bin/two-meridians", sys.executable))
    done = subprocess.run(["systemd-analyze", "verify", unit], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(shutil.which("caddy") is None, reason="there is no Caddy here")
def test_caddy_reads_its_file(tmp_path: Path) -> None:
    command = ["caddy", "validate", "--adapter", "caddyfile", "--config", str(DEPLOY / "Caddyfile")]
    env = {**os.environ, "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path)}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=env)
    assert done.returncode == 0, done.stderr
