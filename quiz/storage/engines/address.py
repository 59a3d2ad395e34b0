"""The address of a PostgreSQL database, which is told without the password that it may hold."""

from __future__ import annotations

import re

_SCHEME = re.compile(r"postgres(?:ql)?://", re.IGNORECASE)
_MARKS = re.compile(r"[/?#@:&=]")
_SECRET = re.compile(r"(?i)([?&](?:ssl)?password=)[^&]{1,500}")


class Address:
    """The address of a database (`postgresql://user@host:5432/name`), as libpq reads it."""

    def __init__(self, url: str) -> None:
        self._url = url

    @classmethod
    def read(cls, text: str) -> Address | None:
        """Read an address; None where the text is none, and so may be a path."""
        return cls(text) if _SCHEME.match(text) else None

    @property
    def with_password(self) -> str:
        """The whole address, to connect with and never to be shown."""
        return self._url

    def __str__(self) -> str:
        scheme, _, rest = self._url.partition("://")
        # The last "@": a password may hold any mark, whether or not it should have been written otherwise.
        who, at, host = rest.rpartition("@")
        return _SECRET.sub(r"\1***", f"{scheme}://{who.partition(':')[0]}{at}{host}")

    def hidden(self, words: str) -> str:
        """Return words of the database's own without what may be a part of the password."""
        secret = self._url.partition("://")[2].rpartition("@")[0].partition(":")[2]
        for part in _MARKS.split(secret):
            if len(part) > 2 or f'"{part}"' in words:
                words = words.replace(part, "***") if part else words
        return words

    def __repr__(self) -> str:
        return f"Address({self})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Address) and other._url == self._url

    def __hash__(self) -> int:
        return hash(self._url)
