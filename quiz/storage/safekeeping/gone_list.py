"""Who was deleted from a data file, by number alone, as a table beside its backups."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

Line = TypeVar("Line")
GONE = "gone.csv"
GONE_PRECEPTORS = "gone-preceptors.csv"


@dataclass(frozen=True)
class Gone:
    """A learner who was deleted, by number alone."""

    learner: int
    created_at: float
    """With the number it tells them from anyone else."""
    on_day: str
    by_whom: str
    """"owner": by themselves; "preceptor": they were removed."""


@dataclass(frozen=True)
class GonePreceptor:
    """A preceptor who was removed from a school, by numbers alone."""

    school: int
    preceptor: int
    added_at: float
    """When they had come into it: with the numbers it tells them from anyone else, and from a later stay."""
    on_day: str
    taker: int | None
    """Who took their classes."""


def write_gone_preceptors(path: Path, gone: Iterable[GonePreceptor]) -> None:
    """Write who was removed from a school, by numbers alone."""
    lines = [["school", "preceptor", "added_at", "on_day", "taker"]]
    for one in gone:
        taker = "" if one.taker is None else str(one.taker)
        lines.append([str(one.school), str(one.preceptor), repr(one.added_at), one.on_day, taker])
    _write(path, lines)


def read_gone_preceptors(path: Path) -> list[GonePreceptor]:
    """Read that list; a line that cannot be read is left out, and so is a list that is not there."""

    def read(row: dict[str, str]) -> GonePreceptor:
        taker = int(row["taker"]) if row["taker"] else None
        numbers = (int(row["school"]), int(row["preceptor"]), float(row["added_at"]))
        return GonePreceptor(*numbers, row["on_day"], taker)

    return _read(path, read)


def write_gone(path: Path, gone: Iterable[Gone]) -> None:
    """Write who was deleted, by number alone."""
    lines = [["learner", "created_at", "on_day", "by_whom"]]
    _write(path, lines + [[str(one.learner), repr(one.created_at), one.on_day, one.by_whom] for one in gone])


def read_gone(path: Path) -> list[Gone]:
    """Read that list; a line that cannot be read is left out, and so is a list that is not there."""
    return _read(path, lambda row: Gone(int(row["learner"]), float(row["created_at"]), row["on_day"], row["by_whom"]))


def _write(path: Path, lines: Iterable[Sequence[str]]) -> None:
    write_whole(path, "".join(f"{','.join(line)}\n" for line in lines))


def _read(path: Path, read: Callable[[dict[str, str]], Line]) -> list[Line]:
    found: list[Line] = []
    with suppress(OSError, UnicodeDecodeError, csv.Error):
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
            with suppress(KeyError, TypeError, ValueError):
                found.append(read(row))
    return found


def write_whole(path: Path, text: str) -> None:
    """Write a small file so that it is there whole or as it was before."""
    part = path.with_name(f".{path.name}.part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)
