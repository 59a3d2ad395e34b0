"""Addresses that templates ask for again and again, written once."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from flask import Flask, current_app, request, url_for

from cases.notation.plurals import counted, plural
from quiz.web.assets import version_of

MOST = 4096


def set_up(app: Flask) -> None:
    """Give templates the `url_for` that remembers (a page holds some two dozen addresses) and the plurals."""
    app.jinja_env.globals["url_for"] = link
    app.jinja_env.globals.update(counted=counted, plural=plural)


def link(endpoint: str, **values: Any) -> str:
    """Return an address within the app; one that depends on more than its endpoint and values is written again."""
    if endpoint == "static":
        endpoint, values = "asset", {"version": version_of(str(current_app.static_folder)), **values}
    fixed = not endpoint.startswith(".") and not any(name.startswith("_") for name in values)
    if not fixed or any(isinstance(value, list | tuple | dict) for value in values.values()):
        return url_for(endpoint, **values)
    if values.keys() == _CASE and _PLAIN.fullmatch(str(values["dealt_id"])):
        # Every case has an id of its own, but all their addresses are alike.
        return _remembered(request.root_path, endpoint, _ANY_CASE).replace(_ANY, values["dealt_id"])
    return _remembered(request.root_path, endpoint, tuple(sorted(values.items())))


_ANY = "ANY-CASE"
_CASE = {"dealt_id"}
_ANY_CASE = (("dealt_id", _ANY),)
_PLAIN = re.compile(r"[\w-]{1,40}", re.ASCII)


@lru_cache(MOST)
def _remembered(_root: str, endpoint: str, values: tuple[tuple[str, Any], ...]) -> str:
    return url_for(endpoint, **dict(values))
