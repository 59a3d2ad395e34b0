"""Addresses that templates ask for again and again, written once."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from flask import Flask, request, url_for

MOST = 4096


def set_up(app: Flask) -> None:
    """Give templates the `url_for` that remembers: a page holds some two dozen addresses."""
    app.jinja_env.globals["url_for"] = link


def link(endpoint: str, **values: Any) -> str:
    """Return an address within the app; one that depends on more than its endpoint and values is written anew."""
    fixed = not endpoint.startswith(".") and not any(name.startswith("_") for name in values)
    if not fixed or any(isinstance(value, list | tuple | dict) for value in values.values()):
        return url_for(endpoint, **values)
    return _remembered(request.root_path, endpoint, tuple(sorted(values.items())))


@lru_cache(MOST)
def _remembered(_root: str, endpoint: str, values: tuple[tuple[str, Any], ...]) -> str:
    return url_for(endpoint, **dict(values))
