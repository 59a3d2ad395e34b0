"""A cache for all threads that is bounded by number: what was asked for longest ago goes first."""

from __future__ import annotations

import threading
from collections.abc import Hashable
from typing import Generic, TypeVar

from cachetools import LRUCache

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class LockedCache(Generic[Key, Value]):
    """Values by key. Only for what follows from its key alone, so that it is never out of date."""

    def __init__(self, most: int) -> None:
        self._kept: LRUCache[Key, Value] = LRUCache(most)
        self._lock = threading.Lock()  # cachetools leaves locking to its users

    def get(self, key: Key) -> Value | None:
        """Return what is kept under a key, None when it is not there or no longer."""
        with self._lock:
            return self._kept.get(key)

    def keep(self, key: Key, value: Value) -> None:
        """Keep a value; the one asked for longest ago makes room."""
        with self._lock:
            self._kept[key] = value
