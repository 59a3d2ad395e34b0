"""Who was deleted from a data file, by number alone, as a table beside its backups."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

GONE = "gone.csv"


@dataclass(frozen=True)
class Gone:
    """A learner who was deleted, by number alone."""

    learner: int
    created_at: float
    """With the number it tells them from anyone else."""
    on_day: str
    by_whom: str
    """"owner": by themselves; "preceptor": they were removed."""


def write_gone(path: Path, gone: Iterable[Gone]) -> None:
    """Write who was deleted, by number alone."""
    lines = [["learner", "created_at", "on_day", "by_whom"]]
    lines += [[str(one.learner), repr(one.created_at), one.on_day, one.by_whom] for one in gone]
    write_whole(path, "".join(f"{','.join(line)}\n" for line in lines))


def read_gone(path: Path) -> list[Gone]:
    """Read that list; a line that cannot be read is left out, and so is a list that is not there."""
    found: list[Gone] = []
    with suppress(OSError, UnicodeDecodeError, csv.Error):
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
            with suppress(KeyError, TypeError, ValueError):
                found.append(Gone(int(row["learner"]), float(row["created_at"]), row["on_day"], row["by_whom"]))
    return found


def write_whole(path: Path, text: str) -> None:
    """Write a small file so that it is there whole or as it was before."""
    part = path.with_name(f".{path.name}.part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)
