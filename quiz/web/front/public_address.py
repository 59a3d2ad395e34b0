"""The address at which the world reaches the app, where another web server stands before it.

That server's own words about scheme, host and path are not asked for: the person who starts the app says them once, so
that nothing that a visitor sends can change them. Of the headers only X-Forwarded-For is read, by werkzeug's ProxyFix,
which counts from its end as many servers as there are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from werkzeug.middleware.proxy_fix import ProxyFix

from quiz.errors import QuizError

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication

LOOPBACK = ("127.0.0.1", "localhost")
"""The names under which one computer asks itself."""
_PREFIX = re.compile(r"(?:/(?!\.{1,2}(?:/|$))[A-Za-z0-9._~-]{1,60}){0,5}")
_HOST = re.compile(r"[A-Za-z0-9.-]{1,253}(?::[0-9]{1,5})?|\[[0-9A-Fa-f:.]{2,45}\](?::[0-9]{1,5})?")


class BadAddress(QuizError):
    """An address that is none, or holds what an address of an app cannot."""

    def __init__(self, text: str) -> None:
        super().__init__(
            f"address {text[:80]}: give the address that learners type, for example https://school.example/retinoscopy"
        )


@dataclass(frozen=True)
class PublicAddress:
    """Scheme, host (with its port where that is not the scheme's own) and path without a slash at its end."""

    scheme: str
    host: str
    prefix: str
    hops: int
    """How many web servers stand between the world and the app."""

    @property
    def url(self) -> str:
        """The whole address, without a slash at its end."""
        return f"{self.scheme}://{self.host}{self.prefix}"

    @property
    def is_secure(self) -> bool:
        """Whether browsers reach it by https."""
        return self.scheme == "https"


def read_address(text: str, hops: int) -> PublicAddress:
    """Read an address as a person gives it.

    Raises
    ------
    BadAddress
    """
    try:
        found = urlsplit(text.strip())
        host, port = found.hostname or "", found.port
    except ValueError:
        raise BadAddress(text) from None
    prefix = found.path.rstrip("/")
    whole = found.scheme in ("http", "https") and not found.query and not found.fragment and "@" not in found.netloc
    if not (whole and host and _HOST.fullmatch(found.netloc) and _PREFIX.fullmatch(prefix)):
        raise BadAddress(text)
    # Browsers leave the scheme's own port out of Host and Origin.
    own = port is None or port == {"http": 80, "https": 443}[found.scheme]
    name = f"[{host}]" if ":" in host else host
    return PublicAddress(found.scheme, name if own else f"{name}:{port}", prefix, hops)


def path_within(path: str, address: PublicAddress | None) -> str:
    """Return the path of a page within the app, from that of a request, which may begin with the public address's."""
    prefix = address.prefix if address else ""
    if prefix and (path == prefix or path.startswith(f"{prefix}/")):
        path = path[len(prefix) :]
    return path or "/"


def comes_from(environ: Mapping[str, Any], address: PublicAddress | None) -> str:
    """Return the network address that a request (WSGI) came from, as the web servers before this one say, if any do."""
    heard = [one.strip() for one in environ.get("HTTP_X_FORWARDED_FOR", "").split(",")] if address else []
    found = heard[-address.hops] if address and len(heard) >= address.hops else ""
    return found or str(environ["REMOTE_ADDR"])


def behind(app: WSGIApplication, address: PublicAddress) -> Callable[[dict[str, Any], StartResponse], Iterable[bytes]]:
    """Let an app (WSGI) see each request as the world sent it: its address, and where it came from.

    The server before may pass the path on with its beginning or without.
    """
    fixed = ProxyFix(app, x_for=address.hops, x_proto=0, x_host=0, x_port=0, x_prefix=0)

    def as_sent(environ: dict[str, Any], start_response: StartResponse) -> Iterable[bytes]:
        environ |= {
            "wsgi.url_scheme": address.scheme,
            "HTTP_HOST": address.host,
            "SCRIPT_NAME": address.prefix,
            "PATH_INFO": path_within(environ.get("PATH_INFO", ""), address),
        }
        return fixed(environ, start_response)

    return as_sent
