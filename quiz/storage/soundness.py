"""Whether what stands in a data file can be read: its pages, its schema, and the form of every cell.

Form is what can be seen everywhere: pages that hang together, text in UTF-8, JSON of the shape that its column has,
numbers, times. A digit that became another digit is seen in an answer, by its checksum, and nowhere else. It is done in
turns, since a file with a million answers takes minutes and a class cannot wait for them.
"""

from __future__ import annotations

import math
import sqlite3
import string
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from datetime import date
from functools import cache
from typing import Any

import msgspec
from sqlite_utils import Database

from cases.optics.lens import SphCyl
from cases.procedure.vocabulary import CREDITED, CYLINDER_FORMS, LEVELS, MISSED
from quiz.learning.state import SlipKey, Weighed
from quiz.storage import rows
from quiz.storage.organisation.school_schema import ACTS
from quiz.storage.schema import MIGRATIONS

ROWS_A_TURN = 100
FIRST_MOMENT, LAST_MOMENT = -62_135_683_200.0, 253_402_387_199.0
"""Years 1 to 9999, in seconds since 1970, and a day more for the time zones: what can be written as a date."""

Test = Callable[[Any], bool]
UNREADABLE = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What reading a damaged file raises: a message of SQLite that quotes damaged text is itself not UTF-8."""


_Found = dict[str, Any]
_Ways = tuple[tuple[SlipKey, ...], ...]
"""Sets of slips that lead to an answer."""
SHAPES: Mapping[str, Mapping[str, Any]] = {
    "learners": {"settings": _Found, "priors": dict[str, tuple[float, float]]},
    "dealt": {"settings": _Found, "findings": _Found, "probe_of": tuple[SlipKey, SlipKey]},
    "answers": {
        "findings": _Found,
        "truth": _Found,
        "given": dict[str, str],
        "read_as": _Found,
        "explanations": _Ways,
        "steps": tuple[str, ...],
        "could_show": tuple[SlipKey, ...],
        "hints": tuple[str, ...],
        "probe_of": tuple[SlipKey, SlipKey],
        "weighed": tuple[Weighed, ...],
    },
    "retyped": {
        "given": dict[str, str],
        "read_as": _Found,
        "explanations": _Ways,
        "weighed": tuple[Weighed, ...],
    },
    "drills": {
        "types": tuple[str, ...],
        "slips": tuple[SlipKey, ...],
        "aids": tuple[str, ...],
        "own_cases": tuple[int, ...],
    },
    "drill_cases": {"findings": _Found},
    "own_cases": {"findings": _Found},
    "accuracy": {"retinoscopy": SphCyl, "end_point": SphCyl},
    "kept_to": {"types": tuple[str, ...]},
    "examinations": {"patient": _Found},
    "set_examinations": {"patients": tuple[_Found, ...]},
    "lti_states": {"parameters": dict[str, str]},
    "lti_tickets": {"request": _Found},
    "examination_acts": {"value": _Found},
    "examination_marks": {
        "steps": tuple[str, ...],
        "explanations": _Ways,
        "could_show": tuple[SlipKey, ...],
    },
}
"""Every column that holds JSON, and what it is read into. A memory (`state`, `recall_state`) does too, but is worked
out again where it cannot be read, so that it is no damage."""
WORDS: Mapping[str, Mapping[str, Sequence[str]]] = {
    "answers": {"verdict": CREDITED + MISSED},
    "retyped": {"verdict": CREDITED + MISSED},
    "drills": {"level": LEVELS, "form": CYLINDER_FORMS},
    "examination_marks": {"verdict": CREDITED + MISSED},
    "school_changes": {"act": ACTS},
}
"""Columns that hold one of a few words."""
WORKED_OUT = {("learners", "state"), ("learners", "recall_state")}
_SCHEMA = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' AND name NOT LIKE '_sqlite_%'"


def damage(conn: sqlite3.Connection, *, pages: str = "", references: bool = False) -> Iterator[str | None]:
    """Look a file over in turns: None after each turn, or a sentence on the first damage, which ends it.

    pages: "quick_check" or "integrity_check" to look at the pages first, as SQLite does, in one turn of its own;
    references: whether to see, in another, that every row which names another finds it.
    """
    was, conn.text_factory = conn.text_factory, bytes
    try:
        if pages:
            verdict = str(conn.execute(f"PRAGMA {pages}(1)").fetchone()[0], "utf-8", "replace")
            if verdict != "ok":
                yield verdict
                return
            yield None
        lost = conn.execute("PRAGMA foreign_key_check").fetchone() if references else None
        if lost:
            yield f"row {lost[1]} of table {_plainly(lost[0])} names a row of {_plainly(lost[2])} that is not there"
            return
        for table, numbered in _tables(conn):
            for found in _cells(conn, table, numbered=numbered):
                yield found
                if found:
                    return
    except UNREADABLE as error:
        yield in_words(error)
    finally:
        conn.text_factory = was


def in_words(error: Exception) -> str:
    """Return what an error of reading says, in one line that any terminal can show."""
    if isinstance(error, UnicodeDecodeError) or "decode to UTF-8" in str(error):
        column = str(error).partition("column '")[2].partition("'")[0]
        return f"{plain(column) or 'a name'} is not UTF-8 text"
    return plain(str(error))


def _plainly(raw: bytes | str) -> str:
    return plain(str(raw, "utf-8", "replace") if isinstance(raw, bytes) else raw)


def plain(words: str) -> str:
    """Return the first line of words that a damaged file had a part in, short, and with nothing that does not print."""
    line = (words.splitlines() or [""])[0]
    return "".join(mark if mark in string.printable[:95] else "?" for mark in line)[:160].strip()


# --- the schema ---------------------------------------------------------------------------------------------------


def schema_differences(conn: sqlite3.Connection) -> list[str]:
    """Name each table, index and trigger that is not as the schema of this version has it, or that it has not."""
    found = {(kind, name, sql) for kind, name, sql in conn.execute(_SCHEMA)}
    return sorted({plain(f"{kind} {name}") for kind, name, _ in found ^ _meant()})


@cache
def _meant() -> frozenset[tuple[str, str, str]]:
    with closing(sqlite3.connect(":memory:")) as conn:
        MIGRATIONS.apply(Database(conn))
        return frozenset((kind, name, sql) for kind, name, sql in conn.execute(_SCHEMA))


def unfit(table: str, row: Mapping[str, Any]) -> str | None:
    """Name a column of a row, as it is about to be added, in which it would be damage; None where there is none.

    What others wrote is asked about here first: a file in which such a row stands is not served any more.
    """
    for name, (kind, test) in _columns_meant(table).items():
        if name in row and not test(_as_read(row[name], kind)):
            return name
    return None


def tests_of(table: str) -> Mapping[str, Test]:
    """Return, by column, what says whether a value that another engine gave can stand in it."""

    def of(kind: str, test: Test) -> Test:
        return lambda value: test(_as_read(value, kind))

    return {name: of(kind, test) for name, (kind, test) in _columns_meant(table).items()}


@cache
def _columns_meant(table: str) -> Mapping[str, tuple[str, Test]]:
    with closing(sqlite3.connect(":memory:")) as conn:
        MIGRATIONS.apply(Database(conn))
        columns = conn.execute('SELECT name, type, "notnull" FROM pragma_table_info(?)', [table]).fetchall()
    return {name: (kind, cell_test(table, name, kind, required=bool(required))) for name, kind, required in columns}


def _as_read(value: Any, kind: str) -> Any:
    """Return a value as it is read again from a column of this kind."""
    if isinstance(value, str):
        return value.encode("utf-8", "surrogatepass")
    if isinstance(value, int) and kind == "REAL":
        return float(value) if abs(value) < 2**63 else math.inf
    return value


# --- cells --------------------------------------------------------------------------------------------------------


def _tables(conn: sqlite3.Connection) -> list[tuple[str, bool]]:
    """Return the names of the tables, and whether each has numbered rows."""
    found = conn.execute(f"{_SCHEMA} AND type = 'table'").fetchall()
    return [(str(name, "utf-8", "replace"), b"WITHOUT ROWID" not in sql) for _, name, sql in found]


def _cells(conn: sqlite3.Connection, table: str, *, numbered: bool) -> Iterator[str | None]:
    quoted = '"' + table.replace('"', '""') + '"'
    columns = [
        (str(row[1], "utf-8"), str(row[2], "utf-8"), row[3]) for row in conn.execute(f"PRAGMA table_info({quoted})")
    ]
    tests = [cell_test(table, name, kind, required=bool(required)) for name, kind, required in columns]
    for turn in _numbered_turns(conn, quoted) if numbered else _turns(conn, quoted):
        for number, *row in turn:
            for value, test, (name, _, _) in zip(row, tests, columns, strict=True):
                if not test(value):
                    yield f"column {plain(name)} in row {number} of table {plain(table)} cannot be read"
                    return
            if table == "answers" and is_changed(
                {name: value for value, (name, _, _) in zip(row, columns, strict=True)}
            ):
                yield f"answer {number} is not as it was written: its checksum differs"
                return
        yield None


def is_changed(answer: Mapping[str, Any]) -> bool:
    """Say whether a row of the table of answers, whose cells can be read, is not as it was written.

    Nothing is known of answers from before there was a checksum.
    """
    return answer.get("checksum") is not None and answer["checksum"] != rows.checksum(answer)


def _numbered_turns(conn: sqlite3.Connection, quoted: str) -> Iterator[list[Any]]:
    """Give the rows of a table in turns, each asked for by itself: no look holds up the log beside the file."""
    last = -(2**63)
    # The names stand in the file's own schema.
    sql = f"SELECT rowid, * FROM {quoted} WHERE rowid > ? ORDER BY rowid LIMIT {ROWS_A_TURN}"  # noqa: S608
    while turn := conn.execute(sql, [last]).fetchall():
        yield turn
        if turn[-1][0] <= last:
            raise sqlite3.DatabaseError(f"rows of {quoted} out of order")
        last = turn[-1][0]


def _turns(conn: sqlite3.Connection, quoted: str) -> Iterator[list[Any]]:
    found = conn.execute(f"SELECT '?', * FROM {quoted}")  # noqa: S608 - as above
    while turn := found.fetchmany(ROWS_A_TURN):
        yield turn


def cell_test(table: str, name: str, kind: str, *, required: bool) -> Test:
    """Return what says whether a value can stand in a column; text comes as bytes."""
    shape = SHAPES.get(table, {}).get(name)
    if (table, name) in WORKED_OUT:
        test: Test = _is_bytes
    elif shape is not None:
        test = _json_of(shape)
    elif name in WORDS.get(table, {}):
        words = frozenset(word.encode() for word in WORDS[table][name])
        test = words.__contains__
    elif name in ("day", "on_day", "gone_on"):
        test = _is_day
    elif kind == "REAL":
        test = _is_moment if name in ("at", "until") or name.endswith(("_at", "_until")) else _is_finite
    else:
        test = {"TEXT": _is_text, "INTEGER": _is_whole}.get(kind, _is_anything)
    return test if required or name == "id" else lambda value: value is None or test(value)


def _is_anything(_: Any) -> bool:
    return True


def _is_bytes(value: Any) -> bool:
    return isinstance(value, bytes)


def _is_text(value: Any) -> bool:
    try:
        return isinstance(value, bytes) and (value.isascii() or bool(value.decode()))
    except UnicodeDecodeError:
        return False


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and -(2**63) <= value < 2**63


def _is_finite(value: Any) -> bool:
    return isinstance(value, float) and math.isfinite(value)


def _is_moment(value: Any) -> bool:
    return isinstance(value, float) and FIRST_MOMENT <= value <= LAST_MOMENT


def _is_day(value: Any) -> bool:
    try:
        return isinstance(value, bytes) and bool(date.fromisoformat(value.decode()))
    except ValueError:
        return False


def _json_of(shape: Any) -> Test:
    read = msgspec.json.Decoder(shape).decode

    def test(value: Any) -> bool:
        try:
            return isinstance(value, bytes) and read(value) is not None
        except ValueError:
            return False

    return test
