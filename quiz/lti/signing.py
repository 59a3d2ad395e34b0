"""Signed tokens: those of platforms read and checked, ours signed. The one module that leans on PyJWT."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Any

from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.lti.fetching import BadUrl, NoAnswer, Reply, fetch
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
KEY_SET_AGAIN_S = 120.0
"""Seconds after which a key set is fetched again for a key that it did not have, or that did not fit a signature."""
NOT_FETCHED_S = 20.0
"""Seconds for which a key set that could not be fetched is not asked for again."""
SHOWN = 60
"""Characters of what a token names that the log shows."""
RETIRED_STAYS = 7 * DAY
"""For which a key that no longer signs can still be asked for."""


class NotInstalled(QuizError):
    """The libraries that LTI needs are not there."""

    def __init__(self) -> None:
        super().__init__(
            "course platforms need the extra “lti”: .venv/bin/pip install '.[lti]', then start the app again"
        )


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


class ClockOff(BadToken):
    """A token of a platform whose clock and this server's are too far apart."""

    def __init__(self, ahead_s: float) -> None:
        self.ahead_s = ahead_s
        """By how much at least the platform's clock is ahead of this server's, in seconds; below 0: behind."""
        where = "ahead of" if ahead_s > 0 else "behind"
        super().__init__(
            f"the platform's clock is {abs(ahead_s):.0f} s or more {where} this server's ({LEEWAY_S:.0f} s ahead and "
            f"{OLDEST_S:.0f} s behind are allowed): keep both in step by NTP"
        )

    @property
    def minutes(self) -> int:
        """By how many whole minutes at least the two clocks differ; never below 1."""
        return max(1, round(abs(self.ahead_s) / 60))


class TooOld(BadToken):
    """A token that was good, and came too late."""


# --- key sets of platforms -----------------------------------------------------------------------------------------


@dataclass
class KeySets:
    """The public keys of platforms, as they were fetched last."""

    ask: Callable[[str, str], Reply] = fetch
    _kept: dict[str, tuple[float, dict[str, Mapping[str, Any]]]] = field(default_factory=dict)
    _failed: dict[str, tuple[float, QuizError]] = field(default_factory=dict)
    """When a key set could not be fetched, and why."""
    _lock: Lock = field(default_factory=Lock)

    def key(self, url: str, kid: str, now: float, *, other_than: pyjwt.PyJWK | None = None) -> pyjwt.PyJWK | None:
        """Return the key of a key set that has this name.

        other_than: a key of this name that did not fit a signature; the set is fetched again where that was not done
        within `KEY_SET_AGAIN_S`, and None is returned where it has no other.

        Raises
        ------
        BadToken, BadUrl, NoAnswer
        """
        with self._lock:
            at, keys = self._kept.get(url, (-math.inf, {}))
            age = now - at
            wanted = kid not in keys or other_than is not None
            if not 0 <= age < KEY_SET_HOLDS_S or (wanted and age >= KEY_SET_AGAIN_S):
                keys = self._fetched(url, now)
                self._kept[url] = now, keys
            elif other_than is not None:
                return None
        found = keys.get(kid)
        if found is None:
            raise BadToken(f"{url} has no key of the name {shown(kid)}")
        jwt = library()
        try:
            key = jwt.PyJWK.from_dict(dict(found), algorithm=ALGORITHM)
            bits = key.key.key_size
        except (jwt.PyJWTError, AttributeError, TypeError, ValueError):
            raise BadToken(f"{url}: the key {shown(kid)} cannot be read") from None
        if bits < KEY_BITS:
            raise BadToken(f"{url}: the key {shown(kid)} has {bits} bits, and {KEY_BITS} are needed")
        return key  # type: ignore[no-any-return]

    def _fetched(self, url: str, now: float) -> dict[str, Mapping[str, Any]]:
        at, why = self._failed.get(url, (-math.inf, None))
        if why is not None and 0 <= now - at < NOT_FETCHED_S:
            raise why
        try:
            return read_key_set(url, self.ask("GET", url))
        except (BadToken, BadUrl, NoAnswer) as error:
            self._failed[url] = now, error
            raise


def read_key_set(url: str, reply: Reply) -> dict[str, Mapping[str, Any]]:
    """Read what a platform answered as its key set: the keys that can sign, by name.

    Raises
    ------
    BadToken, NoAnswer
    """
    if reply.status != 200:
        raise BadToken(f"{url} answered {reply.status}, and not with a key set")
    listed = reply.json()
    keys = listed.get("keys") if isinstance(listed, dict) else None
    if not isinstance(keys, list):
        raise BadToken(f"{url} answered something that is no key set")
    usable = (one for one in keys if isinstance(one, dict) and one.get("kty") == "RSA" and _for_signing(one))
    return {one["kid"]: one for one in usable if isinstance(one.get("kid"), str)}


def shown(text: str) -> str:
    """Return what somebody sent as a log can hold it: short, in one line, in quotes."""
    return f"“{''.join(one if one.isprintable() else '?' for one in text[:SHOWN])}”"


def _for_signing(key: Mapping[str, Any]) -> bool:
    return key.get("use", "sig") == "sig" and key.get("alg", ALGORITHM) == ALGORITHM and "d" not in key


# --- tokens of platforms -------------------------------------------------------------------------------------------


def read_token(token: str, registration: Registration, keys: KeySets, *, begun: float, now: float) -> dict[str, Any]:
    """Return what a platform's token claims, its signature, sender, addressee and times checked.

    begun: when this server asked for it.

    Raises
    ------
    BadToken, BadUrl, ClockOff, NoAnswer, NotInstalled, TooOld
    """
    jwt = library()
    try:
        header = jwt.get_unverified_header(token)
    except (jwt.PyJWTError, ValueError):
        raise BadToken("what came is no token") from None
    if header.get("alg") != ALGORITHM:
        raise BadToken("it is signed by another algorithm than RS256")
    kid = header.get("kid")
    if not isinstance(kid, str):
        raise BadToken("it does not name its key")
    url = registration.key_set_url
    key = keys.key(url, kid, now)
    # Its times are checked below, by the clock that the app was given.
    off = {f"verify_{one}": False for one in ("exp", "iat", "nbf")}
    claims: dict[str, Any] | None = None
    while claims is None:
        try:
            claims = jwt.decode(
                token,
                key.key if key else None,
                algorithms=[ALGORITHM],
                audience=registration.client_id,
                issuer=registration.issuer,
                options={"require": ["exp", "iat", "iss", "aud", "sub", "nonce"], **off},
            )
        except jwt.InvalidSignatureError:
            # The platform may have put another key under the same name.
            key = keys.key(url, kid, now, other_than=key)
            if key is None:
                raise BadToken(f"the signature does not fit the key {shown(kid)} of {url}") from None
        except jwt.PyJWTError as error:
            raise BadToken(_in_words(error, registration)) from None
    _check_addressee(claims, registration.client_id)
    _check_times(claims, begun, now)
    return claims


def _in_words(error: Exception, registration: Registration) -> str:
    jwt = library()
    if isinstance(error, jwt.InvalidIssuerError):
        return f"its issuer is not {registration.issuer}"
    if isinstance(error, jwt.InvalidAudienceError):
        return f"it is meant for another client than {registration.client_id}"
    if isinstance(error, jwt.MissingRequiredClaimError):
        return f"it has no “{error.claim}”"
    return "it cannot be read"


def _check_addressee(claims: Mapping[str, Any], client_id: str) -> None:
    several = isinstance(claims["aud"], list) and len(claims["aud"]) > 1
    if (several or "azp" in claims) and claims.get("azp") != client_id:
        raise BadToken(f"it is meant for another client than {client_id}")


def _check_times(claims: Mapping[str, Any], begun: float, now: float) -> None:
    times = {name: claims[name] for name in ("exp", "iat", "nbf") if name in claims}
    for value in times.values():
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise BadToken("one of its times is no time")
    issued = times["iat"]
    if issued > now + LEEWAY_S:
        raise ClockOff(issued - now)
    if times.get("nbf", 0) > now + LEEWAY_S:
        raise BadToken("it is not valid yet")
    if issued < now - OLDEST_S - LEEWAY_S or times["exp"] <= now - LEEWAY_S:
        # It cannot have been issued before it was asked for, unless by another clock.
        raise ClockOff(issued - begun) if issued < begun - LEEWAY_S else TooOld("it came too late")


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
