"""For programs that ask without a person: whether the app can serve, and what search engines may read (nothing)."""

from __future__ import annotations

from flask import Blueprint, Response

from quiz.storage.class_queries import has_preceptor
from quiz.web import request_context

pages = Blueprint("health", __name__)


@pages.get("/healthz")
def healthz() -> Response:
    """Say ok once the data file has answered a question; 503 with the reason where it does not."""
    has_preceptor(request_context.store())
    return Response("ok\n", mimetype="text/plain")


@pages.get("/robots.txt")
def robots() -> Response:
    """Ask search engines to read nothing (RFC 9309)."""
    return Response("User-agent: *\nDisallow: /\n", mimetype="text/plain")
