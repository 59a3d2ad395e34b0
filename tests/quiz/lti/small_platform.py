"""A small course platform of our own: keys, tokens, scores, members, registration, as the specifications have them.

LTI Core 1.3, Assignment and Grade Services 2.0, Names and Role Provisioning Services 2.0 and Dynamic Registration 1.0,
all of 1EdTech. What it does with stamps and maxima was observed at a general course platform (quiz/lti/README.md).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from typing import Any
from urllib.parse import parse_qs, parse_qsl, urlsplit

import jwt
from cryptography.hazmat.primitives.asymmetric import rsa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from quiz.lti.fetching import Reply
from tests.conftest import Clock

HERE = "https://school.example"
CLAIM = "https://purl.imsglobal.org/spec/lti/claim/"
MEMBER = "http://purl.imsglobal.org/vocab/lis/v2/membership#"


@cache
def a_key(number: int = 0, bits: int = 2048) -> rsa.RSAPrivateKey:
    """Make a private key; the same for the same number."""
    del number
    return rsa.generate_private_key(65537, bits)


def public_jwk(key: rsa.RSAPrivateKey, kid: str, **more: Any) -> dict[str, Any]:
    made = jwt.algorithms.RSAAlgorithm.to_jwk(key.public_key(), as_dict=True)
    return {"kty": "RSA", "n": made["n"], "e": made["e"], "kid": kid, "use": "sig", "alg": "RS256", **more}


@dataclass
class SmallPlatform:
    """Answers what the app asks, and sends people to it."""

    clock: Clock
    issuer: str = "https://platform.example"
    client_id: str = "client-1"
    kid: str = "k1"
    key: rsa.RSAPrivateKey = field(default_factory=a_key)
    tool: str = HERE
    """The app's address."""
    tool_keys: Any = None
    """Gives the app's key set."""
    grades: dict[tuple[str, str], dict[str, Any]] = field(default_factory=dict)
    """What is in the gradebook, by item and user: score out of the item's maximum, and the stamp."""
    item_maximum: float = 10.0
    posts: list[dict[str, Any]] = field(default_factory=list)
    """Every score that was sent and taken."""
    fails: list[int] = field(default_factory=list)
    """Statuses with which the next scores are answered, before anything is taken."""
    dies_after_taking: bool = False
    """Whether the next score is taken, and the answer never arrives."""
    tokens: set[str] = field(default_factory=set)
    asked_tokens: int = 0
    members: list[dict[str, Any]] = field(default_factory=list)
    page_size: int = 2
    gone: set[str] = field(default_factory=set)
    """Users for whom a score is refused."""
    registered: list[dict[str, Any]] = field(default_factory=list)
    elsewhere: str = ""
    """An address of the configuration that lies on another server."""
    log: list[str] = field(default_factory=list)

    # --- what the app asks

    def ask(self, method: str, url: str, **how: Any) -> Reply:
        """Answer as `quiz.lti.fetching.fetch` would."""
        self.log.append(f"{method} {url}")
        path = urlsplit(url).path
        if path == "/keys":
            return self._json({"keys": [public_jwk(self.key, self.kid)]})
        if path == "/token":
            return self._token(how["body"])
        if path == "/.well-known/openid-configuration":
            return self._json(self.configuration())
        if path == "/register":
            self.registered.append({**json.loads(how["body"]), "bearer": how["headers"].get("Authorization")})
            tool = {"deployment_id": "7"}
            return self._json({"client_id": "made-1", "https://purl.imsglobal.org/spec/lti-tool-configuration": tool})
        bearer = how.get("headers", {}).get("Authorization", "").removeprefix("Bearer ")
        if bearer not in self.tokens:
            return Reply(401, b"")
        if path.endswith("/scores"):
            return self._take(path.removesuffix("/scores"), json.loads(how["body"]))
        if path.endswith("/results"):
            who = dict(parse_qsl(urlsplit(url).query))["user_id"]
            kept = self.grades.get((path.removesuffix("/results"), who))
            line = {"userId": who, "resultScore": kept["score"], "resultMaximum": self.item_maximum} if kept else None
            return self._json([line] if line else [])
        if path == "/members":
            return self._members(url)
        return Reply(404, b"")

    def _json(self, what: Any, **headers: str) -> Reply:
        return Reply(200, json.dumps(what).encode(), headers)

    def configuration(self) -> dict[str, Any]:
        return {
            "issuer": self.issuer,
            "authorization_endpoint": f"{self.issuer}/auth",
            "registration_endpoint": f"{self.issuer}/register",
            "jwks_uri": self.elsewhere or f"{self.issuer}/keys",
            "token_endpoint": f"{self.issuer}/token",
            "https://purl.imsglobal.org/spec/lti-platform-configuration": {"product_family_code": "small"},
        }

    def _token(self, body: bytes) -> Reply:
        form = dict(parse_qsl(body.decode()))
        assertion = form["client_assertion"]
        kid = jwt.get_unverified_header(assertion)["kid"]
        key = next(one for one in self.tool_keys()["keys"] if one["kid"] == kid)
        options: Any = {"verify_exp": False, "verify_iat": False, "require": ["exp", "iat", "jti"]}
        claims = jwt.decode(
            assertion, jwt.PyJWK.from_dict(key).key, ["RS256"], audience=f"{self.issuer}/token", options=options
        )
        assert claims["iss"] == claims["sub"] == self.client_id
        assert claims["iat"] <= self.clock() < claims["exp"]
        assert form["grant_type"] == "client_credentials"
        self.asked_tokens += 1
        token = f"token-{self.asked_tokens}-{form['scope'].rsplit('/', 1)[1]}"
        self.tokens.add(token)
        return self._json({"access_token": token, "expires_in": 3600, "token_type": "Bearer"})

    def _take(self, item: str, score: dict[str, Any]) -> Reply:
        if self.fails:
            return Reply(self.fails.pop(0), b"")
        if score["userId"] in self.gone:
            return Reply(400, b"")
        at = datetime.fromisoformat(score["timestamp"].replace("Z", "+00:00")).timestamp()
        kept = self.grades.get((item, score["userId"]))
        if kept and int(at) <= int(kept["at"]):
            return Reply(409, b"")
        given = score.get("scoreGiven")
        scaled = None if given is None else given / score["scoreMaximum"] * self.item_maximum
        self.grades[item, score["userId"]] = {"score": scaled, "at": at}
        self.posts.append(score)
        if self.dies_after_taking:
            raise KeyboardInterrupt
        return Reply(200, b"")

    def _members(self, url: str) -> Reply:
        start = int(dict(parse_qsl(urlsplit(url).query)).get("from", 0))
        shown = self.members[start : start + self.page_size]
        more = start + self.page_size < len(self.members)
        link = {"link": f'<{self.issuer}/members?from={start + self.page_size}>; rel="next"'} if more else {}
        return self._json({"id": url, "context": {"id": "course-1"}, "members": shown}, **link)

    # --- whom it sends

    def claims(self, nonce_: str, /, **other: Any) -> dict[str, Any]:
        """Return the claims of a launch; None for one leaves it out."""
        now = int(self.clock())
        found = {
            "iss": self.issuer,
            "aud": self.client_id,
            "sub": "4",
            "exp": now + 60,
            "iat": now,
            "nonce": nonce_,
            "name": "Ada Byron",
            f"{CLAIM}version": "1.3.0",
            f"{CLAIM}message_type": "LtiResourceLinkRequest",
            f"{CLAIM}deployment_id": "1",
            f"{CLAIM}target_link_uri": f"{self.tool}/lti/launch",
            f"{CLAIM}resource_link": {"id": "link-1", "title": "First drill"},
            f"{CLAIM}context": {"id": "course-1", "title": "Optics 2"},
            f"{CLAIM}roles": [f"{MEMBER}Learner"],
            "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint": {
                "scope": [],
                "lineitems": f"{self.issuer}/course-1/items?type_id=1",
                "lineitem": f"{self.issuer}/course-1/items/1?type_id=1",
            },
            "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice": {
                "context_memberships_url": f"{self.issuer}/members",
                "service_versions": ["2.0"],
            },
            **other,
        }
        return {name: value for name, value in found.items() if value is not None}

    def token(self, claims: Mapping[str, Any], *, key: Any = None, alg: str = "RS256", kid: str | None = "") -> str:
        headers = {} if kid is None else {"kid": kid or self.kid}
        return jwt.encode(dict(claims), key or self.key, algorithm=alg, headers=headers)


TEACHER = {f"{CLAIM}roles": [f"{MEMBER}Instructor"], "sub": "2", "name": "Marit Osei"}


@dataclass
class Visitor:
    """One browser that a platform sends; without scripts."""

    app: Flask
    platform: SmallPlatform
    client: FlaskClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = self.app.test_client()

    def get(self, path: str, **query: str) -> TestResponse:
        return self.client.get(path, base_url=self.platform.tool, query_string=query)

    def post(self, path: str, data: Mapping[str, Any] | None = None, *, site: str = "same-origin") -> TestResponse:
        headers = {"Sec-Fetch-Site": site}
        return self.client.post(path, base_url=self.platform.tool, data=dict(data or {}), headers=headers)

    def login(self, **other: str) -> TestResponse:
        """Ask for a login as the platform does."""
        asked = {
            "iss": self.platform.issuer,
            "client_id": self.platform.client_id,
            "login_hint": "4",
            "lti_message_hint": "hint",
            "target_link_uri": f"{self.platform.tool}/lti/launch",
            **other,
        }
        return self.post("/lti/login", {name: one for name, one in asked.items() if one}, site="cross-site")

    def begun(self, **other: str) -> dict[str, str]:
        """Begin a login; what the platform is asked with."""
        reply = self.login(**other)
        assert reply.status_code == 302, reply.text
        return {name: one[0] for name, one in parse_qs(urlsplit(reply.location).query).items()}

    def send(self, state: str, token: str) -> TestResponse:
        return self.post("/lti/launch", {"state": state, "id_token": token}, site="cross-site")

    def launch(self, **claims: Any) -> TestResponse:
        """Come from the platform with these claims."""
        asked = self.begun()
        return self.send(asked["state"], self.platform.token(self.platform.claims(asked["nonce"], **claims)))

    def enter(self, **claims: Any) -> TestResponse:
        """Come from the platform and press the button."""
        page = self.launch(**claims)
        assert page.status_code == 200, page.text
        return self.post("/lti/enter", {"ticket": hidden(page, "ticket")})


def hidden(page: TestResponse, name: str) -> str:
    """Return what a hidden field of a page holds."""
    return page.text.split(f'name="{name}" value="', 1)[1].split('"', 1)[0]
