"""What keeps other sites out: where a request comes from, and what a browser may do with our pages."""

from __future__ import annotations

from io import BytesIO
from urllib.parse import urlsplit

from flask import Flask, Response, request
from werkzeug.exceptions import Forbidden, RequestEntityTooLarge

from quiz.web import assets, request_context
from quiz.web.front.public_address import LOOPBACK

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
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
_FORWARDED = {"forwarded", "via", "x-real-ip", "x-client-ip", "x-original-host", "x-proxyuser-ip"}
"""Headers that only a server between a browser and the app writes (RFC 7239, RFC 9110 section 7.6.3, and custom)."""
SETS_WHERE_FROM = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto")
_FROM_PLATFORMS = ("lti.login", "lti.launch")
"""Sent by a course platform's pages: what proves them is a state that is used once, its cookie, and a nonce."""
_SAFE = {"GET", "HEAD", "OPTIONS"}


class FromElsewhere(Forbidden):
    """Another site sent this request, or it does not say which did."""

    description = "This was sent from another site, or without saying from where. Open the page here and send it again."


class ByAnotherServer(Forbidden):
    """A request that another web server passed on, where only this computer is served."""

    description = (
        "This came by way of another web server, so others may come that way too, and here anyone who opens a page is "
        "the "
        "same learner, without signing in."
    )
    title = "Only for this computer"
    way_on = (
        "For yourself, open the address that the app printed. For a class, add a preceptor, then start the app by "
        "python -m quiz serve --class"
    )


class ByUnknownServer(ByAnotherServer):
    """A request to a class that another web server passed on, of which the app was not told."""

    description = (
        "This came by way of another web server, and the app was not told of one. All who come that way would count as "
        "one visitor, so that a few wrong codes would lock everyone out."
    )
    title = "The app was not told of this web server"
    way_on = (
        "For the person who looks after the app: start it by python -m quiz serve --class --behind-proxy 1 --address "
        "and the address that learners type"
    )


def set_up(app: Flask) -> None:
    """Check every request that changes something, and give every response its headers."""
    app.before_request(_came_straight)
    app.before_request(_check)
    app.before_request(_body_that_fits)
    app.after_request(_seal)


def _came_straight() -> None:
    if request.endpoint in (*assets.ENDPOINTS, "health.healthz") or request_context.by_proxy():
        return
    if request_context.beyond():
        # A learner's own network may add Via; these alone are the work of a server that stands before this one.
        if any(name in request.headers for name in SETS_WHERE_FROM):
            raise ByUnknownServer
    elif _passed_on():
        raise ByAnotherServer


def _passed_on() -> bool:
    """Say whether something shows that another web server stands between the browser and the app."""
    if any(name.lower() in _FORWARDED or name.lower().startswith("x-forwarded-") for name in request.headers.keys()):  # noqa: SIM118
        return True
    # What browsers have not spoken for long, and some servers still do with those behind them.
    if request.environ.get("SERVER_PROTOCOL") == "HTTP/1.0":
        return True
    # A browser sends an address of its own page that it takes for ours: then the Host was put in by somebody else.
    if request.headers.get("Sec-Fetch-Site") == "same-origin":
        pages = (request.headers.get("Origin"), request.headers.get("Referer"))
        return any(one and _named_in(one)[1] not in LOOPBACK for one in pages)
    return False


def _body_that_fits() -> None:
    """Refuse a body in chunks that is too long: it would be cut at the limit, and the beginning taken for the whole."""
    if request.content_length is not None or "wsgi.input_terminated" not in request.environ:
        return
    most = request.max_content_length or 0
    body = request.environ["wsgi.input"].read(most + 1)
    if len(body) > most:
        raise RequestEntityTooLarge
    request.environ |= {"wsgi.input": BytesIO(body), "CONTENT_LENGTH": str(len(body))}


def _check() -> None:
    if request.method in _SAFE or request.endpoint in _FROM_PLATFORMS:
        return
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    if site is not None:
        ours = site == "same-origin"
    elif origin is not None:
        # By way of another server the scheme is known too: a page that came by plain http is not ours.
        ours = _named_in(origin)[0] == request.host and (
            not request_context.by_proxy() or origin.startswith(f"{request.scheme}://")
        )
    else:
        # A browser names one of the two; a script that brings no cookie acts for nobody.
        ours = not request.cookies
    if not ours:
        raise FromElsewhere


def _named_in(address: str) -> tuple[str, str | None]:
    """Return host and port of an address, and the host alone."""
    try:
        found = urlsplit(address)
    except ValueError:  # no address at all, such as one with half a pair of brackets
        return "", None
    return found.netloc, found.hostname


def _seal(response: Response) -> Response:
    # A page may have a policy of its own, as worksheets do.
    own = {name for name, _ in response.headers}
    response.headers.extend({name: value for name, value in HEADERS.items() if name not in own})
    if request.endpoint not in assets.ENDPOINTS:
        response.headers["Cache-Control"] = "no-store"
    return response
