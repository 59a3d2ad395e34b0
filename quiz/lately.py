"""What was worked out lately, kept in memory up to a number; what was asked for longest ago goes first."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Lately(Generic[Key, Value]):
    """Values by key, for all threads. Only for what follows from its key alone, so that it is never out of date."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Key, Value] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Key) -> Value | None:
        """Return what is kept under a key, None when it is not there or no longer."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key]

    def keep(self, key: Key, value: Value) -> None:
        """Keep a value; the one asked for longest ago makes room."""
        with self._lock:
            self._kept[key] = value
            self._kept.move_to_end(key)
            if len(self._kept) > self._most:
                self._kept.popitem(last=False)
