"""The accuracy log in the data file, each learner their own; what changes it is a transaction of its own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from quiz.errors import QuizError
from quiz.storage.rows import from_row, to_row
from quiz.storage.store import Store

Entry = TypeVar("Entry")
MOST_ENTRIES = 20_000
"""Eyes that one log holds: more than a working life of checks, and still read in a second."""


class FullLog(QuizError):
    """A log that holds as many eyes as it can."""

    def __init__(self, held: int, more: int) -> None:
        super().__init__(
            f"the log holds {held} eyes and {more} more would pass {MOST_ENTRIES}: export it and delete the oldest"
        )


@dataclass(frozen=True)
class Kept(Generic[Entry]):
    """An entry with its number in the data file."""

    id: int
    entry: Entry


def entries_of(store: Store, learner: int, kind: type[Entry]) -> list[Kept[Entry]]:
    """Return a learner's log as entries of a kind, in the order in which they were entered."""
    return store.fetch_with(
        lambda row: Kept(row["id"], from_row(kind, row)),
        'SELECT *, day AS "on" FROM accuracy WHERE learner = ? ORDER BY id',
        learner,
    )


def add(store: Store, learner: int, entries: Sequence[Any]) -> None:
    """Add entries to a learner's log, all of them or none.

    Raises
    ------
    FullLog
        When the log cannot hold them.
    """
    with store.writing(learner):
        append(store, learner, entries)


def append(store: Store, learner: int, entries: Sequence[Any]) -> None:
    """Add entries to a learner's log; in `writing()`.

    Raises
    ------
    FullLog
    """
    held = store.fetch("SELECT count(*) FROM accuracy WHERE learner = ?", learner)[0][0]
    if held + len(entries) > MOST_ENTRIES:
        raise FullLog(held, len(entries))
    for one in entries:
        store.add("accuracy", {"learner": learner, **row_of(one)})


def row_of(entry: Any) -> dict[str, Any]:
    """Make a row of an entry, by the names of the columns."""
    row = to_row(entry)
    return {"day": row.pop("on"), **row}


def remove(store: Store, learner: int, entry_ids: Iterable[int]) -> int:
    """Remove entries of a learner's and return how many were there."""
    with store.writing(learner):
        each = (store.change("DELETE FROM accuracy WHERE learner = ? AND id = ?", learner, one) for one in entry_ids)
        return sum(each)


def clear(store: Store, learner: int) -> int:
    """Remove a learner's whole log, with every trace of it, and return how many entries it had."""
    with store.writing(learner):
        held = store.change("DELETE FROM accuracy WHERE learner = ?", learner)
    store.wipe()
    return held
