"""Asking a platform over the network: seconds, bytes and addresses are bounded, and no redirect is followed.

By the standard library. A name is looked up once and the connection made to the very address that was looked at, so
that no second look-up can lead elsewhere; the certificate is checked against the name.
"""

from __future__ import annotations

import http.client
import ipaddress
import json
import os
import re
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from quiz.errors import QuizError

TIMEOUT_S = 5.0
LONGEST_BODY = 1_000_000
"""Bytes of an answer."""
PRIVATE = "QUIZ_LTI_PRIVATE"
"""The variable that lets platforms be at private addresses of this network, and on this computer by plain http."""
_HOST = re.compile(r"[a-z0-9._-]{1,253}|[0-9a-f:.]{2,45}")


class NoAnswer(QuizError):
    """A platform could not be asked, or gave no answer that can be read."""


class BadUrl(QuizError):
    """An address of a platform that is not asked."""


@dataclass(frozen=True)
class Reply:
    """What a platform answered."""

    status: int
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)
    """By their names in lower case."""

    def json(self) -> Any:
        """Read the body as JSON; raises NoAnswer."""
        try:
            return json.loads(self.body)
        except ValueError:
            raise NoAnswer("the answer of the platform is not JSON") from None


def private_allowed() -> bool:
    """Say whether platforms may be at addresses of this network."""
    return os.environ.get(PRIVATE) == "1"


def origin_of(url: str) -> str:
    """Return scheme, host and port of an address, as a policy or an Origin header names them; "" where it has none."""
    try:
        found = urlsplit(url)
        port = found.port
    except ValueError:
        return ""
    name = found.hostname or ""
    if found.scheme not in ("http", "https") or "@" in found.netloc or not _HOST.fullmatch(name):
        return ""  # what stands here goes into policies, where a semicolon would begin another rule
    host = f"[{name}]" if ":" in name else name
    usual = port is None or port == {"http": 80, "https": 443}[found.scheme]
    return f"{found.scheme}://{host}" if usual else f"{found.scheme}://{host}:{port}"


def check_url(url: str) -> str:
    """Return an address of a platform that may be asked: https, or plain http on this computer where that is allowed.

    Raises
    ------
    BadUrl
    """
    origin = origin_of(url) if len(url) <= 2000 and url.isascii() and url.isprintable() and " " not in url else ""
    host = urlsplit(origin).hostname or ""
    here = host in ("127.0.0.1", "localhost", "::1") or host.endswith(".localhost")
    if not origin or (origin.startswith("http:") and not (here and private_allowed())):
        raise BadUrl(f"address {url[:80]}: give one that begins with https://")
    return url


def fetch(
    method: str,
    url: str,
    *,
    headers: Mapping[str, str] | None = None,
    body: bytes | None = None,
    named_by_stranger: bool = False,
) -> Reply:
    """Ask a platform and return its answer, whatever its status.

    named_by_stranger: the address was not typed by this server's own administrator, so it must not lead into this
    network unless that is allowed.

    Raises
    ------
    BadUrl, NoAnswer
    """
    found = urlsplit(check_url(url))
    host, port = found.hostname or "", found.port or {"http": 80, "https": 443}[found.scheme]
    address = _looked_up(host, port, inside=private_allowed() or not named_by_stranger)
    path = f"{found.path or '/'}?{found.query}" if found.query else found.path or "/"
    conn = _Pinned(host, port, address, secure=found.scheme == "https")
    try:
        conn.request(method, path, body=body, headers={"Accept": "application/json", **(headers or {})})
        answer = conn.getresponse()
        read = answer.read(LONGEST_BODY + 1)
        if len(read) > LONGEST_BODY:
            raise NoAnswer(f"{host}: the answer is longer than {LONGEST_BODY} bytes")
        return Reply(answer.status, read, {name.lower(): value for name, value in answer.getheaders()})
    except ssl.SSLCertVerificationError as error:
        raise NoAnswer(
            f"{host}: its certificate is not known to this server ({error.verify_message}). For a certificate of the "
            "school's own start the app with SSL_CERT_FILE=/path/to/ca.pem, and give that to `lti` as well"
        ) from error
    except TimeoutError as error:
        raise NoAnswer(f"{host}: no answer within {TIMEOUT_S:.0f} seconds") from error
    except ConnectionRefusedError as error:
        raise NoAnswer(f"{host}: the connection was refused") from error
    except (OSError, http.client.HTTPException) as error:
        raise NoAnswer(f"{host}: {type(error).__name__}") from error
    finally:
        conn.close()


def _looked_up(host: str, port: int, *, inside: bool) -> str:
    """Return the address of a host; of one that may be outside alone, each of its addresses must be."""
    try:
        found = [str(one[4][0]) for one in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    except (OSError, UnicodeError) as error:
        raise NoAnswer(f"{host}: no such name") from error
    if not inside and not all(ipaddress.ip_address(one.partition("%")[0]).is_global for one in found):
        raise BadUrl(
            f"{host}: this address is not on the public internet; to allow it, set {PRIVATE}=1 on the app's server, "
            "and start the app again"
        )
    return found[0]


class _Pinned(http.client.HTTPConnection):
    """A connection to one address, under the name that the certificate must have."""

    def __init__(self, host: str, port: int, address: str, *, secure: bool) -> None:
        super().__init__(host, port, timeout=TIMEOUT_S)
        self._address, self._secure = address, secure

    def connect(self) -> None:
        self.sock = socket.create_connection((self._address, self.port), self.timeout)
        if self._secure:
            self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)
