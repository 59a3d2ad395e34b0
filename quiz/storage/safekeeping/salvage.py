"""What can still be read of a damaged data file, written into a new one, with a list of what cannot.

SQLite itself reads the tables; where a page is damaged the rows before and after it are found by asking for row numbers
further on. Every row is looked at as `check` does before it is taken; one that names a row that is lost is lost too.
Memory and results are worked out again from the answers that are left. The damaged file is only copied, never written.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlite_utils import Database

from quiz.errors import QuizError
from quiz.storage import projection, soundness
from quiz.storage.datafile import APPLICATION_ID, DataFile, NoFile, Refused, known_migrations, refuse_newer
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Store

PAGE = 4096
"""Bytes of a page of every data file of ours."""
HEAD = 100
WORKED_OUT = ("tallies",)
"""Tables that follow from others; theirs are written again."""
FARTHEST = 2**40
"""Row numbers beyond this are no rows of ours."""
MOST_GAPS = 100_000
_SAID = 8


class NothingLeft(QuizError):
    """A damaged file of which no table can be read."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(
            f"data file {path}: nothing of it can be read ({soundness.plain(why)}); if you have a backup of it, even "
            "an old one, give it with --like"
        )


@dataclass
class SavedTable:
    """What became of one table."""

    name: str
    read: int = 0
    unreadable: list[tuple[int, int]] = field(default_factory=list)
    """Gaps in the row numbers, first and last, in which rows may have been; the last may be unknown (0)."""
    refused: list[int] = field(default_factory=list)
    """Rows that could be read and hold what was not written there, or name a row that is lost."""

    @property
    def is_whole(self) -> bool:
        """Whether nothing is known to be lost."""
        return not self.unreadable and not self.refused

    @property
    def says(self) -> str:
        """What was read and what was not, in one line."""
        parts = [f"{self.name}: {self.read} rows read"]
        if self.unreadable:
            gaps = [f"{first} to {last}" if last > first else str(first) for first, last in self.unreadable if last]
            gaps += [f"from {first} on" for first, last in self.unreadable if not last]
            parts.append(f"nothing can be read at row numbers {_shortened(gaps)}")
        if self.refused:
            parts.append(
                f"left out, changed, damaged or without what they belong to: row numbers {_shortened(self.refused)}"
            )
        return "; ".join(parts)


@dataclass
class Salvaged:
    """What was saved of a file."""

    tables: list[SavedTable]
    stand_ins: list[int]
    """Learners whose own row is lost and whose answers are not: they have a number in place of their name."""


def _shortened(items: Sequence[object]) -> str:
    more = f" and {len(items) - _SAID} more" if len(items) > _SAID else ""
    return ", ".join(map(str, items[:_SAID])) + more


def salvage(damaged: Path, to: Path, *, like: Path | None = None) -> Salvaged:
    """Write what can be read of a damaged data file into a new one.

    like: a backup of it, whose first page stands in where the file's own cannot be read.

    Raises
    ------
    Refused, NothingLeft
    """
    if not damaged.exists():
        raise NoFile(damaged)
    if to.exists():
        raise Refused(to, "there is something of that name already", "what is saved goes into a new file only")
    try:
        with TemporaryDirectory(prefix="two-meridians-") as folder:
            copy = Path(folder) / "copy.sqlite3"
            for end in ("", "-wal"):
                with suppress(FileNotFoundError):
                    shutil.copyfile(f"{damaged}{end}", f"{copy}{end}")
            with closing(_opened(damaged, copy, like)) as source:
                part = Path(folder) / "new.sqlite3"
                found = _written(damaged, source, part)
            _made_whole(part)
            _checked(damaged, part)
            to.touch(mode=0o600)
            shutil.copyfile(part, to)
    except OSError as error:
        to.unlink(missing_ok=True)
        raise Refused(to, f"it cannot be written ({error.strerror})", "give another place") from error
    return found


# --- the damaged file ---------------------------------------------------------------------------------------------


def _opened(damaged: Path, copy: Path, like: Path | None) -> sqlite3.Connection:
    """Open the copy, its first page mended as far as needed to read the names of its tables."""
    why = ""
    for mend in (None, _with_head, _with_first_page_of):
        if mend is not None and not mend(copy, like):
            continue
        conn = sqlite3.connect(copy, isolation_level=None)
        conn.text_factory = bytes
        try:
            conn.execute("PRAGMA writable_schema = ON")  # a damaged schema is read as far as it goes
            if _names(conn):
                return conn
        except soundness.UNREADABLE as error:
            why = soundness.in_words(error)
        conn.close()
    raise NothingLeft(damaged, why or "its list of tables is empty")


def _names(conn: sqlite3.Connection) -> list[str]:
    found = conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    return [str(row[0], "utf-8", "replace") for row in found if isinstance(row[0], bytes)]


def _with_head(copy: Path, _: Path | None) -> bool:
    """Give the copy the first bytes of a new data file, which say no more than that it is one, and its size."""
    with TemporaryDirectory(prefix="two-meridians-") as folder:
        new = Path(folder) / "new.sqlite3"
        DataFile.open(new).close()
        _put(copy, new.read_bytes()[:HEAD])
    return True


def _with_first_page_of(copy: Path, like: Path | None) -> bool:
    if like is None or not like.exists():
        return False
    _put(copy, like.read_bytes()[:PAGE])
    return True


def _put(copy: Path, beginning: bytes) -> None:
    """Write the beginning of a file, with the number of pages that the file has, and no log beside it."""
    Path(f"{copy}-wal").unlink(missing_ok=True)
    raw = bytearray(copy.read_bytes())
    raw[: len(beginning)] = beginning
    raw[18:20] = b"\x01\x01"  # read and written without a log (SQLite file format, section 1.3.3)
    raw[28:32] = (len(raw) // PAGE).to_bytes(4, "big")
    raw[92:96] = raw[24:28]  # the number of pages holds for this change
    copy.write_bytes(raw)


def _rows(
    conn: sqlite3.Connection, table: SavedTable, columns: str, *, numbered: bool
) -> Iterator[tuple[int, list[Any]]]:
    """Give every row that can be read, in the order of the row numbers, and note the gaps."""
    if not numbered:
        yield from _rows_in_a_row(conn, table, columns)
        return
    sql = f"SELECT rowid, {columns} FROM {table.name} WHERE rowid > ? ORDER BY rowid LIMIT ?"  # noqa: S608
    last, gaps = 0, 0
    while True:
        try:
            rows = conn.execute(sql, [last, 100]).fetchall()
        except soundness.UNREADABLE:
            rows = None
        if rows is None:
            beyond = _first_beyond(conn, sql, last)
            if beyond is None or gaps >= MOST_GAPS:
                table.unreadable.append((last + 1, 0))
                return
            number, row = beyond
            if number > last + 1:
                table.unreadable.append((last + 1, number - 1))
                gaps += 1
            rows = [row]
        if not rows:
            return
        for number, *values in rows:
            if number <= last:  # pages that were swapped: this would go round for ever
                table.unreadable.append((last + 1, 0))
                return
            yield number, values
            last = number


def _first_beyond(conn: sqlite3.Connection, sql: str, last: int) -> tuple[int, Any] | None:
    """Return the first row that can be read after a place that cannot, None where there is none."""

    def row_after(number: int) -> Any:
        with suppress(*soundness.UNREADABLE):
            row = conn.execute(sql, [number, 1]).fetchone()
            if row is None or row[0] > number:
                return row
        return False

    step = 0
    below, found = last, row_after(last)
    while found is False:
        step = max(1, 2 * step)
        if last + step > FARTHEST:
            return None
        below, found = last + step // 2, row_after(last + step)
    above = last + step
    while above - below > 1:  # the last number from which nothing can be read stands between them
        middle = (below + above) // 2
        row = row_after(middle)
        below, above, found = (middle, above, found) if row is False else (below, middle, row)
    return None if found is None else (found[0], found)


def _rows_in_a_row(conn: sqlite3.Connection, table: SavedTable, columns: str) -> Iterator[tuple[int, list[Any]]]:
    number = 0
    try:
        for number, row in enumerate(conn.execute(f"SELECT {columns} FROM {table.name}"), 1):  # noqa: S608
            yield number, list(row)
    except soundness.UNREADABLE:
        table.unreadable.append((number + 1, 0))


# --- the new file -------------------------------------------------------------------------------------------------


def _written(damaged: Path, source: sqlite3.Connection, part: Path) -> Salvaged:
    """Write what can be read into a new file of the same schema."""
    with closing(sqlite3.connect(part, isolation_level=None)) as new:
        new.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        later = _later_migrations(damaged, source)
        MIGRATIONS.apply(Database(new), stop_before=later or None)
        new.execute("PRAGMA foreign_keys = ON")
        new.execute("BEGIN")
        names = set(_names(source))
        order = [name for name in _parents_first(new) if name not in WORKED_OUT]
        tables = [SavedTable(name) for name in order]
        waiting = [(table, *_taken(source, new, table)) for table in tables if table.name in names]
        for table in tables:
            if table.name not in names:
                table.unreadable.append((1, 0))
        stand_ins = _stand_ins(new, waiting)
        _school_stand_ins(new, waiting)
        _put_in(new, waiting)
        new.execute("COMMIT")
    if not any(table.read for table in tables if table.name in ("learners", "answers", "accuracy")):
        raise NothingLeft(damaged, "no learner and no answer")
    return Salvaged(tables, stand_ins)


def _later_migrations(damaged: Path, source: sqlite3.Connection) -> list[str]:
    """Return the migrations that the damaged file had not seen; none where that cannot be read."""
    source.text_factory = str
    try:
        refuse_newer(damaged, Database(source))
        done = {one.name for one in MIGRATIONS.applied(Database(source))}
    except soundness.UNREADABLE:
        return []
    finally:
        source.text_factory = bytes
    return sorted(known_migrations() - done)[:1] if done else []


def _parents_first(new: sqlite3.Connection) -> list[str]:
    """Return the tables, each after those that its rows name."""
    left = [row[0] for row in new.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY rowid")]
    left = [name for name in left if not name.startswith(("sqlite_", "_sqlite"))]
    named = {one: {row[2] for row in new.execute(f"PRAGMA foreign_key_list({one})")} - {one} for one in left}
    order: list[str] = []
    while left:
        ready = [name for name in left if not named[name] - set(order)] or left[:1]
        order += ready
        left = [name for name in left if name not in ready]
    return order


_Rows = list[tuple[int, list[Any]]]


def _taken(source: sqlite3.Connection, new: sqlite3.Connection, table: SavedTable) -> tuple[list[str], _Rows]:
    """Return a table's columns, and its rows that can be read and are as they were written."""
    kinds = {row[1]: row for row in new.execute(f"PRAGMA table_info({table.name})")}
    theirs = {str(row[1], "utf-8", "replace") for row in source.execute(f"PRAGMA table_info({table.name})")}
    columns = [name for name in kinds if name in theirs]
    tests = [soundness.cell_test(table.name, name, kinds[name][2], required=bool(kinds[name][3])) for name in columns]
    sql = new.execute("SELECT sql FROM sqlite_master WHERE name = ?", [table.name]).fetchone()[0]
    good: _Rows = []
    for number, values in _rows(source, table, ", ".join(columns), numbered="WITHOUT ROWID" not in sql):
        whole = all(test(value) for test, value in zip(tests, values, strict=True))
        if whole and table.name == "answers":
            whole = not soundness.is_changed(dict(zip(columns, values, strict=True)))
        if whole:
            good.append((number, [_as_kept(one, kinds[name][2]) for one, name in zip(values, columns, strict=True)]))
        else:
            table.refused.append(number)
    return columns, good


def _as_kept(value: Any, kind: str) -> Any:
    """Return a value as it is put in: text, which was read as bytes, is text again, and a file stays bytes."""
    if kind == "BLOB" or not isinstance(value, bytes):
        return value
    # Only a memory may hold what is no UTF-8 here; it is worked out again.
    return str(value, "utf-8", "replace")


def _stand_ins(new: sqlite3.Connection, waiting: Sequence[tuple[SavedTable, list[str], _Rows]]) -> list[int]:
    """Put in a learner without a name for each whose own row is lost and who has answers."""
    rows = {table.name: [dict(zip(columns, row, strict=True)) for _, row in found] for table, columns, found in waiting}
    known = {one["id"] for one in rows.get("learners", [])}
    first = {one["learner"]: one["at"] for one in reversed(rows.get("answers", []))}
    made = sorted((number, at) for number, at in first.items() if number not in known)
    for number, at in made:
        new.execute(
            "INSERT INTO learners (id, name, created_at, settings, state, recall_state, folded_with) "
            "VALUES (?, ?, ?, '{}', '', '', '')",
            [number, f"Learner {number}", at],
        )
    return [number for number, _ in made]


def _school_stand_ins(new: sqlite3.Connection, waiting: Sequence[tuple[SavedTable, list[str], _Rows]]) -> None:
    """Let the school that a new file has of its own give way to those saved, and put in each whose row is lost."""
    rows = {table.name: [dict(zip(columns, row, strict=True)) for _, row in found] for table, columns, found in waiting}
    saved = {one["id"] for one in rows.get("schools", [])}
    named = {
        one["school"]
        for name in ("classes", "school_people", "lti_registrations")
        for one in rows.get(name, [])
        if one.get("school")
    }
    if saved | named:
        new.execute("DELETE FROM schools")
    for number in sorted(named - saved):
        new.execute(
            "INSERT INTO schools (id, name, made_at) VALUES (?, ?, 0.0)", [number, f"School {number} (name lost)"]
        )


def _put_in(new: sqlite3.Connection, waiting: Sequence[tuple[SavedTable, list[str], _Rows]]) -> None:
    """Put the rows in, those that name others again until no more find what they name."""
    left = list(waiting)
    while True:
        again = []
        for table, columns, rows in left:
            # What a new file has of its own, such as its key, gives way to what was saved.
            verb = "INSERT OR REPLACE" if table.name == "app" else "INSERT"
            sql = f"{verb} INTO {table.name} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
            missed: _Rows = []
            for number, values in rows:
                try:
                    new.execute(sql, values)
                    table.read += 1
                except sqlite3.IntegrityError:
                    missed.append((number, values))
            again.append((table, columns, missed))
        if sum(len(rows) for *_, rows in again) == sum(len(rows) for *_, rows in left):
            break
        left = again
    for table, _, rows in left:
        table.refused += [number for number, _ in rows]


def _made_whole(part: Path) -> None:
    """Bring the new file up to date, and work memory and results out again."""
    with closing(DataFile.open(part)) as file, closing(Store(file)) as store:
        for _ in projection.rebuild(store):
            pass
    with closing(sqlite3.connect(part)) as conn:
        conn.execute("PRAGMA journal_mode = DELETE")


def _checked(damaged: Path, part: Path) -> None:
    with closing(sqlite3.connect(part)) as conn:
        found = next(filter(None, soundness.damage(conn, pages="integrity_check", references=True)), None)
    if found:
        raise Refused(damaged, f"what can be read does not hold together ({found})", "put a backup in its place")
