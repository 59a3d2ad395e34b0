"""What keeps other sites out: where a request comes from, and what a browser may do with our pages."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Flask, Response, request
from werkzeug.exceptions import Forbidden

from quiz.pages import assets

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    # Not no-referrer: it would make the browser send Origin as null with our own forms.
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}
_SAFE = {"GET", "HEAD", "OPTIONS"}


class FromElsewhere(Forbidden):
    """Another site sent this request, or it does not say which did."""

    description = "This was sent from another site, or without saying from where. Open the page here and send it again."


def set_up(app: Flask) -> None:
    """Check every request that changes something, and give every response its headers."""
    app.before_request(_check)
    app.after_request(_seal)


def _check() -> None:
    if request.method in _SAFE:
        return
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    if site is not None:
        ours = site == "same-origin"
    elif origin is not None:
        ours = _names_us(origin)
    else:
        # A browser names one of the two; a script that brings no cookie acts for nobody.
        ours = not request.cookies
    if not ours:
        raise FromElsewhere


def _names_us(origin: str) -> bool:
    try:
        return urlsplit(origin).netloc == request.host
    except ValueError:  # no address at all, such as one with half a pair of brackets
        return False


def _seal(response: Response) -> Response:
    # A page may have a policy of its own, as worksheets do.
    own = {name for name, _ in response.headers}
    response.headers.extend({name: value for name, value in HEADERS.items() if name not in own})
    if request.endpoint not in assets.ENDPOINTS:
        response.headers["Cache-Control"] = "no-store"
    return response
