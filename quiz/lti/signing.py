"""Signed tokens: those of platforms read and checked, ours signed. The one module that leans on PyJWT."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Any

from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.lti.fetching import Reply, fetch
from quiz.practice.randomness import Lots
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Registration, SigningKey
from quiz.storage.store import Store

if TYPE_CHECKING:
    import jwt as pyjwt

ALGORITHM = "RS256"
KEY_BITS = 2048
LEEWAY_S = 10.0
OLDEST_S = 300.0
"""Seconds after which a token is too old, whatever its own end."""
KEY_SET_HOLDS_S = 3600.0
UNKNOWN_KEY_S = 30.0
"""Seconds after which a key set is fetched again for a key that it did not have."""
RETIRED_STAYS = 7 * DAY
"""For which a key that no longer signs can still be asked for."""


class NotInstalled(QuizError):
    """The libraries that LTI needs are not there."""

    def __init__(self) -> None:
        super().__init__("course platforms need the extra “lti”: pip install 'two-meridians[lti]'")


class BadToken(QuizError):
    """A token that is not what a platform sends; the words say why, and nothing of what is in it."""


def library() -> Any:
    """Return PyJWT.

    Raises
    ------
    NotInstalled
    """
    try:
        import cryptography  # noqa: F401 - what it signs with
        import jwt
    except ImportError:
        raise NotInstalled from None
    return jwt


def installed() -> bool:
    """Say whether the extra is installed."""
    try:
        library()
    except NotInstalled:
        return False
    return True


# --- key sets of platforms -----------------------------------------------------------------------------------------


@dataclass
class KeySets:
    """The public keys of platforms, as they were fetched last."""

    ask: Callable[[str, str], Reply] = fetch
    _kept: dict[str, tuple[float, dict[str, Mapping[str, Any]]]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def key(self, url: str, kid: str, now: float) -> pyjwt.PyJWK:
        """Return the key of a key set that has this name.

        Raises
        ------
        BadToken, BadUrl, NoAnswer
        """
        with self._lock:
            at, keys = self._kept.get(url, (-math.inf, {}))
            age = now - at
            if not 0 <= age < KEY_SET_HOLDS_S or (kid not in keys and age >= UNKNOWN_KEY_S):
                keys = self._fetched(url)
                self._kept[url] = now, keys
        found = keys.get(kid)
        if found is None:
            raise BadToken("unknown key")
        jwt = library()
        try:
            key = jwt.PyJWK.from_dict(dict(found), algorithm=ALGORITHM)
            bits = key.key.key_size
        except (jwt.PyJWTError, AttributeError, TypeError, ValueError):
            raise BadToken("a key that cannot be read") from None
        if bits < KEY_BITS:
            raise BadToken("a key that is too short")
        return key  # type: ignore[no-any-return]

    def _fetched(self, url: str) -> dict[str, Mapping[str, Any]]:
        reply = self.ask("GET", url)
        listed = reply.json() if reply.status == 200 else None
        keys = listed.get("keys") if isinstance(listed, dict) else None
        if not isinstance(keys, list):
            raise BadToken("no key set at its address")
        usable = (one for one in keys if isinstance(one, dict) and one.get("kty") == "RSA" and _for_signing(one))
        return {one["kid"]: one for one in usable if isinstance(one.get("kid"), str)}


def _for_signing(key: Mapping[str, Any]) -> bool:
    return key.get("use", "sig") == "sig" and key.get("alg", ALGORITHM) == ALGORITHM and "d" not in key


# --- tokens of platforms -------------------------------------------------------------------------------------------


def read_token(token: str, registration: Registration, keys: KeySets, *, now: float) -> dict[str, Any]:
    """Return what a platform's token claims, its signature, sender, addressee and times checked.

    Raises
    ------
    BadToken, BadUrl, NoAnswer, NotInstalled
    """
    jwt = library()
    try:
        header = jwt.get_unverified_header(token)
    except (jwt.PyJWTError, ValueError):
        raise BadToken("no token") from None
    if header.get("alg") != ALGORITHM:
        raise BadToken("another algorithm than RS256")
    if not isinstance(header.get("kid"), str):
        raise BadToken("no name of a key")
    key = keys.key(registration.key_set_url, header["kid"], now)
    # Its times are checked below, by the clock that the app was given.
    off = {f"verify_{one}": False for one in ("exp", "iat", "nbf")}
    try:
        claims: dict[str, Any] = jwt.decode(
            token,
            key.key,
            algorithms=[ALGORITHM],
            audience=registration.client_id,
            issuer=registration.issuer,
            options={"require": ["exp", "iat", "iss", "aud", "sub", "nonce"], **off},
        )
    except jwt.PyJWTError as error:
        raise BadToken(type(error).__name__) from None
    _check_addressee(claims, registration.client_id)
    _check_times(claims, now)
    return claims


def _check_addressee(claims: Mapping[str, Any], client_id: str) -> None:
    several = isinstance(claims["aud"], list) and len(claims["aud"]) > 1
    if (several or "azp" in claims) and claims.get("azp") != client_id:
        raise BadToken("meant for another client")


def _check_times(claims: Mapping[str, Any], now: float) -> None:
    times = {name: claims[name] for name in ("exp", "iat", "nbf") if name in claims}
    for value in times.values():
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise BadToken("a time that is none")
    if times["exp"] <= now - LEEWAY_S:
        raise BadToken("run out")
    if max(times["iat"], times.get("nbf", 0)) > now + LEEWAY_S:
        raise BadToken("from the future")
    if times["iat"] < now - OLDEST_S - LEEWAY_S:
        raise BadToken("too old")


# --- our keys, and what we sign ------------------------------------------------------------------------------------


def signing_key(store: Store, *, now: float, lots: Lots) -> SigningKey:
    """Return the key that signs, made now where there is none; outside `writing()`."""
    for one in lti_queries.keys(store):
        if one.retired_at is None:
            return one
    return new_key(store, now=now, lots=lots)


def new_key(store: Store, *, now: float, lots: Lots) -> SigningKey:
    """Make a key that signs from now on; the one before can be asked for a week more."""
    library()
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import rsa

    made = rsa.generate_private_key(public_exponent=65537, key_size=KEY_BITS)
    plain = serialization.NoEncryption()
    pem = made.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    kid = lots.new_secret()
    with store.writing():
        lti_queries.drop_keys(store, now - RETIRED_STAYS)
        lti_queries.add_key(store, kid, pem.decode(), now)
    return SigningKey(kid, pem.decode(), now, None)


def public_keys(store: Store, *, now: float, lots: Lots) -> dict[str, Any]:
    """Return our public keys as a key set (RFC 7517): the one that signs, and those retired within a week."""
    jwt = library()
    from cryptography.hazmat.primitives import serialization

    signing_key(store, now=now, lots=lots)
    listed = []
    for one in lti_queries.keys(store):
        if one.retired_at is None or one.retired_at > now - RETIRED_STAYS:
            public = serialization.load_pem_private_key(one.private_pem.encode(), None).public_key()
            key = jwt.algorithms.RSAAlgorithm.to_jwk(public, as_dict=True)
            kept = {name: key[name] for name in ("kty", "n", "e")}
            listed.append({**kept, "kid": one.kid, "alg": ALGORITHM, "use": "sig"})
    return {"keys": listed}


def sign(claims: Mapping[str, Any], key: SigningKey) -> str:
    """Sign claims with a key of ours."""
    return str(library().encode(dict(claims), key.private_pem, algorithm=ALGORITHM, headers={"kid": key.kid}))
