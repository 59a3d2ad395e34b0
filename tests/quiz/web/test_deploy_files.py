"""The files of `.deploy/` against the app: every variable is one of its options, every port and path is the same."""

from __future__ import annotations

import re
from pathlib import Path

from quiz.__main__ import PORT, serve

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
