"""Pages that take a file, and how long a body each takes: for the app, and for the web server in front of it."""

from __future__ import annotations

from collections.abc import Mapping

from flask import Flask, request

_MB = 1024 * 1024
LONGEST: Mapping[str, int] = {
    "/accuracy/import": 2 * _MB,
    "/accuracy/import/take": 2 * _MB,
    "/progress/bring": 2 * _MB,
    "/day": _MB // 4,
    "/people/file": _MB,
    "/people/file/take": _MB,
    "/set": 2 * _MB,
    "/set/take": 2 * _MB,
}
"""Bytes of a body, by the end of the address; what other pages take is set in `create_app`."""


def set_up(app: Flask) -> None:
    """Let bodies be longer where files are taken; before anything reads the body."""
    app.url_value_preprocessor(_let_files_be_longer)


def takes_files(path: str) -> bool:
    """Say whether the page at an address takes a file."""
    return path.endswith(tuple(LONGEST))


def _let_files_be_longer(_: str | None, __: object) -> None:
    longest = next((most for end, most in LONGEST.items() if request.path.endswith(end)), None)
    if longest is not None:
        request.max_content_length = request.max_form_memory_size = longest
