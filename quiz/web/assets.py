"""Style sheets, scripts and icons at addresses that change when any of them does, so that a browser asks once for each.

The version stands as a folder before the name, since scripts load one another by names relative to their own.
"""

from __future__ import annotations

import hashlib
import re
from functools import lru_cache
from pathlib import Path

from flask import Flask, Response

ENDPOINTS = ("static", "asset")
_GROUND = re.compile(r"--(paper|room): (#[0-9a-f]{6});")
KEPT = "public, max-age=31536000, immutable"


def set_up(app: Flask) -> None:
    """Serve the static files at their versioned addresses too, and give templates the colours of the theme."""
    app.jinja_env.globals["theme_colours"] = theme_colours(str(app.static_folder))

    @app.get("/static/v-<version>/<path:filename>", endpoint="asset")
    def asset(version: str, filename: str) -> Response:
        response = app.send_static_file(filename)
        # A page from before an upgrade gets what there is, but is not to keep it.
        if version == version_of(str(app.static_folder)):
            response.headers["Cache-Control"] = KEPT
        return response


@lru_cache(8)
def theme_colours(folder: str) -> tuple[str, str]:
    """Return the ground of pages by day and by night, which a browser may paint its own bars with, from tokens.css."""
    tokens = (Path(folder) / "css" / "tokens.css").read_text(encoding="utf-8")
    grounds = dict(_GROUND.findall(tokens))
    return grounds["paper"], grounds["room"]


@lru_cache(8)
def version_of(folder: str) -> str:
    """Name the files of a folder as they were when this was first asked, all of them together."""
    whole = hashlib.sha256()
    for path in sorted(Path(folder).rglob("*")):
        if path.is_file():
            whole.update(f"{path.relative_to(folder).as_posix()}\0".encode() + path.read_bytes())
    return whole.hexdigest()[:10]
