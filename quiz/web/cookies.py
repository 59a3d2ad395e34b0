"""The cookie that says who is asking: Flask's own, signed; each one's signature is checked once and then known."""

from __future__ import annotations

import time
from copy import deepcopy
from typing import Any

from flask import Flask, Request
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface
from itsdangerous import BadSignature

from quiz.lru_cache import LockedCache

MOST = 2000


class Cookies(SecureCookieSessionInterface):
    """Flask's sessions; a browser sends the same cookie with every page, which need not be verified every time."""

    def __init__(self) -> None:
        self._good: LockedCache[str, tuple[dict[str, Any], float]] = LockedCache(MOST)

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """Return what the cookie of a request holds; nothing where it was not signed here, or too long ago."""
        text = request.cookies.get(self.get_cookie_name(app))
        found = (self._good.get(text) or self._verified(app, text)) if text else None
        if found:
            values, signed_at = found
            # One from the future was signed here too, before the clock was put back: nobody is signed out for that.
            if int(time.time()) - signed_at <= app.permanent_session_lifetime.total_seconds():
                return self.session_class(deepcopy(values))
        return self.session_class()

    def _verified(self, app: Flask, text: str) -> tuple[dict[str, Any], float] | None:
        signing = self.get_signing_serializer(app)
        if signing is None:
            raise RuntimeError("the app has no key to sign cookies with")
        try:
            values, signed = signing.loads(text, return_timestamp=True)  # no age asked: one below 0 would be refused
        except BadSignature:
            return None
        found = dict(values), signed.timestamp()
        self._good.keep(text, found)
        return found
