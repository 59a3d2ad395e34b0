"""Worksheets as pages to be shown and printed: their one style, which they carry with them, is let through."""

from __future__ import annotations

import base64
import hashlib

from flask import Response

from cases.worksheet import STYLE
from quiz.web.csrf import POLICY

SHEET_POLICY = POLICY.replace(
    "style-src 'self'",
    f"style-src 'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'",
)
"""A worksheet carries its style with it, so that it can be kept as one file; this one style is let through."""


def on_paper(page: str) -> Response:
    """Return a worksheet, to be shown and printed."""
    return Response(page, mimetype="text/html", headers={"Content-Security-Policy": SHEET_POLICY})
