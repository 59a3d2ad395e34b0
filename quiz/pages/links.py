"""Addresses that templates ask for again and again, written once."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from flask import Flask, request, url_for

MOST = 4096


def set_up(app: Flask) -> None:
    """Give templates a `url_for` that remembers: a page holds some two dozen addresses, most of them on every page."""

    @lru_cache(MOST)
    def remembered(_root: str, endpoint: str, values: tuple[tuple[str, Any], ...]) -> str:
        return url_for(endpoint, **dict(values))

    def link(endpoint: str, **values: Any) -> str:
        fixed = not endpoint.startswith(".") and not any(name.startswith("_") for name in values)
        if not fixed or any(isinstance(value, list | tuple | dict) for value in values.values()):
            return url_for(endpoint, **values)
        return remembered(request.root_path, endpoint, tuple(sorted(values.items())))

    app.jinja_env.globals["url_for"] = link
