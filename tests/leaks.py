"""What must never reach a screen, a sheet or an export: how we came by a claim, and the names of our own files."""

from __future__ import annotations

import re
from collections.abc import Iterable

LEAK = re.compile(
    r"(?i:from memory|teaching page|\bunchecked\b)|DEVELOPERS|\b(?!w3\.)[\w/-]+\.(?:py|md|toml|com|net|org)\b"
)
"""Also the addresses of teaching pages, which are told as common practice; w3.org names the format of a drawing."""


def leaks(texts: Iterable[str]) -> list[str]:
    """Return what leaks, with a little of what stands around it."""
    return [text[max(0, found.start() - 40) : found.end() + 20] for text in texts for found in LEAK.finditer(text)]
