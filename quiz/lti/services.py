"""Asking a platform's services in this app's name: an access token for each registration and what it is for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from threading import Lock
from typing import Any
from urllib.parse import urlencode

from quiz.lti.fetching import NoAnswer, Reply, fetch
from quiz.lti.signing import sign, signing_key
from quiz.practice.randomness import Lots
from quiz.storage.platform.lti_queries import Registration
from quiz.storage.store import Store

SCORES = "https://purl.imsglobal.org/spec/lti-ags/scope/score"
RESULTS = "https://purl.imsglobal.org/spec/lti-ags/scope/result.readonly"
MEMBERS = "https://purl.imsglobal.org/spec/lti-nrps/scope/contextmembership.readonly"
SCOPES = (SCORES, RESULTS, MEMBERS)
ASSERTION_HOLDS_S = 60.0
LEAST_LEFT_S = 60.0
"""Seconds that a token must be good for yet."""
UNAUTHORISED = 401


class NoAccess(NoAnswer):
    """A platform gives this app no access token."""


@dataclass
class Services:
    """Access tokens by registration and scope, and the asking that uses them."""

    ask: Callable[..., Reply] = fetch
    lots: Lots = field(default_factory=Lots)
    _tokens: dict[tuple[int, str], tuple[str, float]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def call(
        self,
        store: Store,
        registration: Registration,
        scope: str,
        method: str,
        url: str,
        *,
        headers: Mapping[str, str] | None = None,
        body: bytes | None = None,
        now: float,
    ) -> Reply:
        """Ask a service; where the token is refused, once more with a new one.

        Raises
        ------
        BadUrl, NoAnswer
        """
        reply = Reply(UNAUTHORISED, b"")
        for token in self._tries(store, registration, scope, now):
            with_token = {**(headers or {}), "Authorization": f"Bearer {token}"}
            reply = self.ask(method, url, headers=with_token, body=body)
            if reply.status != UNAUTHORISED:
                break
        return reply

    def _tries(self, store: Store, registration: Registration, scope: str, now: float) -> Iterator[str]:
        """Yield the token that is kept, and then a new one; only a new one where none is kept."""
        with self._lock:
            kept, until = self._tokens.get((registration.id, scope), ("", 0.0))
        if kept and now + LEAST_LEFT_S < until:
            yield kept
        yield self._new(store, registration, scope, now)

    def _new(self, store: Store, registration: Registration, scope: str, now: float) -> str:
        claims = {
            "iss": registration.client_id,
            "sub": registration.client_id,
            "aud": registration.token_audience,
            "iat": int(now),
            "exp": int(now + ASSERTION_HOLDS_S),
            "jti": self.lots.new_secret(),
        }
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": "urn:ietf:params:oauth:client-assertion-type:jwt-bearer",
            "client_assertion": sign(claims, signing_key(store, now=now, lots=self.lots)),
            "scope": scope,
        }
        headers = {"Content-Type": "application/x-www-form-urlencoded"}
        reply = self.ask("POST", registration.auth_token_url, headers=headers, body=urlencode(form).encode())
        given: Any = reply.json() if reply.status in (200, 201) else {}
        token = given.get("access_token") if isinstance(given, dict) else None
        if not isinstance(token, str):
            raise NoAccess(f"the platform gave no access ({reply.status})")
        lasts = given.get("expires_in")
        until = now + (float(lasts) if isinstance(lasts, int | float) and not isinstance(lasts, bool) else 0.0)
        with self._lock:
            self._tokens[registration.id, scope] = token, until
        return token
