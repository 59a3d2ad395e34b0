"""What the rest of the app needs of an engine, whichever holds the data: the embedded file or PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from typing import Any, Protocol


class Engine(Protocol):
    """Where the data are: lends connections, asks, changes, and keeps transactions apart."""

    patience: float
    """Seconds to wait for the locks of others."""
    looked_over: bool
    """Whether what it holds was looked over from end to end when it was opened."""

    wipes: bool
    """Whether what is deleted is overwritten at once where it stood."""

    @property
    def where(self) -> Any:
        """What `--data` names it by: a path, or an `Address`."""

    @property
    def name(self) -> str:
        """What people are told of where the data are: a path, or an address without its password."""

    def lend(self) -> Any:
        """Lend a connection for one request or one command."""

    def give_back(self, db: Any) -> None:
        """Take a lent connection back."""

    def reading(self) -> AbstractContextManager[None]:
        """Say in one line what stands in the way of reading."""

    def writing(
        self,
        db: Any,
        *,
        learner: int | None = None,
        patience: float | None = None,
        waited: Callable[[float], None] = lambda _: None,
    ) -> AbstractContextManager[None]:
        """Hold a writing transaction: alone in all the data, or, with a learner, alone in what is that learner's."""

    def fetch(self, db: Any, sql: str, values: tuple[Any, ...]) -> list[Any]:
        """Return the rows that a question finds, each read by name and by place."""

    def change(self, db: Any, sql: str, values: tuple[Any, ...]) -> int:
        """Carry a change out and return how many rows it met."""

    def add(self, db: Any, table: str, row: Mapping[str, Any], conflict: str) -> int:
        """Add a row and return its number; 0 where nothing was added."""

    def wipe(self, db: Any) -> None:
        """Overwrite what was deleted wherever it still stands, if the engine `wipes`; otherwise do nothing."""

    def look_over(self) -> Iterator[None]:
        """Look what it holds over in turns while it is in use."""

    def close(self) -> None:
        """Close every connection."""
