"""Where the embedded engine and PostgreSQL speak SQL otherwise: the one place that knows.

Questions and the schema are written as the embedded engine (SQLite) reads them, in words that both engines understand
where there are such. What is left is translated here, once for each statement: places for values, functions of JSON
and of numbers, and the statements that make tables and guards.

What both understand, and is to be written so: `ON CONFLICT … DO NOTHING` (not `OR IGNORE`), columns of the table named
in full after `DO UPDATE SET`, `= 1` for a truth (a column of truths holds 0 or 1), `lower(name)` for an order without
regard to ASCII case, `NULLS FIRST`, a name for each subquery, `count(*) FILTER (WHERE …)`, `CAST(… AS BIGINT)` for a
text of digits, every column that is shown in `GROUP BY`, a name that PostgreSQL keeps for itself ("user") in quotes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

_TOKEN = re.compile(r"'(?:[^']|''){0,4000}'|--[^\n]{0,400}|\?(\d{0,3})|(?<!:):([a-z_]{1,60})\b")
_COMMENT = re.compile(r"--[^\n]{0,400}")
_TABLE = re.compile(
    r'\s{0,20}CREATE TABLE "?(\w{1,60})"?\s{0,20}\((.{1,20000})\)\s{0,20}([A-Z, ]{0,40})\s{0,20}', re.DOTALL
)
_ADDED = re.compile(r"\s{0,20}ALTER TABLE (\w{1,60}) ADD COLUMN (.{1,2000})", re.DOTALL)
_TRIGGER = re.compile(
    r"\s{0,20}CREATE TRIGGER (\w{1,80})\s{1,20}(BEFORE|AFTER) (UPDATE|DELETE|INSERT)((?: OF \w{1,60})?) ON (\w{1,60})"
    r"\s{1,20}(?:WHEN (.{1,4000}?)\s{1,20})?BEGIN (.{1,8000}?);?\s{1,20}END\s{0,20}",
    re.DOTALL,
)
_DROPPED = re.compile(r"\s{0,20}DROP TRIGGER (\w{1,80})\s{0,20}")
_RAISE = re.compile(r"SELECT RAISE\(ABORT, ('(?:[^']|''){1,400}')\)")
_NAMES = re.compile(r" REFERENCES (\w{1,60})((?: ON DELETE (?:CASCADE|SET NULL))?)")
_NUMBERED = re.compile(r"INTEGER PRIMARY KEY(?: AUTOINCREMENT)?")
_KIND = re.compile(r"\b(INTEGER|REAL|TEXT|BLOB)\b")
_ALIAS = re.compile(r"\s{1,5}(?:AS )?([a-z_]{1,30})\b")
_COLUMN = re.compile(r'"?(\w{1,60})"? (.{1,2000})', re.DOTALL)
_UNIQUE = re.compile(r"UNIQUE \(([\w, ]{1,200})\)")
_AS_WHOLE = " AS INTEGER"
_KINDS = {"INTEGER": "BIGINT", "REAL": "DOUBLE PRECISION", "TEXT": 'TEXT COLLATE "C"', "BLOB": "BYTEA"}
"""Texts are compared byte by byte on both engines, whatever language the database was made for."""
_ROWS = "rowid"
"""The column by which rows without a number are known in the order in which they came: SQLite has it by itself."""


def ascii_lower(text: str) -> str:
    """Return a text as `lower()` of both engines has it: of A to Z alone."""
    return text.encode("utf-8", "surrogatepass").lower().decode("utf-8", "surrogatepass")


@dataclass(frozen=True)
class Translated:
    """A statement as PostgreSQL reads it, its places numbered."""

    sql: str
    names: tuple[str, ...] = ()
    """What fills each place, where places are named."""


@lru_cache(2000)
def to_postgres(sql: str) -> Translated:
    """Translate a question or a change: one is "SELECT …", "INSERT …", "UPDATE …" or "DELETE …"."""
    names: list[str] = []
    count = 0

    def place(found: re.Match[str]) -> str:
        nonlocal count
        if found[2] is not None:
            if found[2] not in names:
                names.append(found[2])
            return f"${names.index(found[2]) + 1}"
        if found[1] is None:
            return "" if found[0].startswith("--") else found[0]
        count += 1
        return f"${found[1] or count}"

    return Translated(_functions(_TOKEN.sub(place, sql)), tuple(names))


def _functions(sql: str) -> str:
    sql = sql.replace("CROSS JOIN", "JOIN").replace("instr(", "strpos(")
    for name, make in (
        ("max", lambda given: f"greatest({', '.join(given)})" if len(given) > 1 else None),
        ("min", lambda given: f"least({', '.join(given)})" if len(given) > 1 else None),
        ("CAST", _cast),
        ("json_array_length", lambda given: f"json_array_length(({given[0]})::json)"),
        ("json_extract", _extracted),
    ):
        sql = _calls(sql, name, make)
    return _each(sql)


def _cast(given: list[str]) -> str | None:
    """Cut a number off and do not round it, as SQLite does it."""
    [what] = given
    return f"trunc({what.removesuffix(_AS_WHOLE)})::bigint" if what.endswith(_AS_WHOLE) else None


def _extracted(given: list[str]) -> str:
    value, path = given
    return f"(({value})::json ->> {path.removeprefix(chr(39) + '$[').removesuffix(']' + chr(39))})"


def _calls(sql: str, name: str, make: Callable[[list[str]], str | None]) -> str:
    """Write the calls of a function otherwise, the innermost first; None from `make` leaves one as it is."""
    end = len(sql)
    while (at := sql.rfind(f"{name}(", 0, end)) >= 0:
        end = at
        if at and (sql[at - 1].isalnum() or sql[at - 1] == "_"):
            continue
        close = _closing(sql, at + len(name))
        made = make([one.strip() for one in _parts(sql[at + len(name) + 1 : close])])
        if made is not None:
            sql = sql[:at] + made + sql[close + 1 :]
    return sql


def _each(sql: str) -> str:
    """Write `json_each(list) alias` as a table of one column `value`, each a text."""
    end = len(sql)
    while (at := sql.rfind("json_each(", 0, end)) >= 0:
        end, close = at, _closing(sql, at + 9)
        after = sql[close + 1 :]
        alias = _ALIAS.match(after)
        called = alias[1] if alias else "json_each"
        after = after[alias.end() :] if alias else after
        sql = f"{sql[:at]}json_array_elements_text(({sql[at + 10 : close]})::json) AS {called}(value){after}"
    return sql


def _closing(sql: str, at: int) -> int:
    """Return where the bracket closes that opens at a place."""
    depth, quoted = 0, False
    for number in range(at, len(sql)):
        mark = sql[number]
        if mark == "'":
            quoted = not quoted
        elif not quoted:
            depth += (mark == "(") - (mark == ")")
            if depth == 0:
                return number
    raise ValueError(f"a bracket stays open: {sql[at : at + 60]}")


def _parts(text: str) -> Iterator[str]:
    """Yield what stands between the commas that are in no bracket and no text."""
    depth, quoted, began = 0, False, 0
    for number, mark in enumerate(text):
        if mark == "'":
            quoted = not quoted
        elif not quoted:
            depth += (mark == "(") - (mark == ")")
            if mark == "," and depth == 0:
                yield text[began:number]
                began = number + 1
    yield text[began:]


# --- statements of the schema ---------------------------------------------------------------------------------------


@dataclass
class _Table:
    """A table's columns and rules as PostgreSQL has them."""

    columns: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    """Indexes that stand in for what a column said."""
    names: list[str] = field(default_factory=list)
    """Which other tables its rows name."""
    without_case: set[str] = field(default_factory=set)


def schema_to_postgres(sql: str) -> list[str]:
    """Translate a statement of the schema: tables, columns that are added, indexes, guards, or a change of rows."""
    made = _TABLE.fullmatch(_COMMENT.sub("", sql)) if "CREATE TABLE" in sql else None
    if made is not None:
        return _new_table(made[1], made[2], made[3])
    added = _ADDED.fullmatch(sql)
    if added is not None:
        table = _Table()
        _add_column(table, added[1], added[2].strip())
        return [f"ALTER TABLE {added[1]} ADD COLUMN {table.columns[0]}", *table.after, *table.names]
    trigger = _TRIGGER.fullmatch(sql)
    if trigger is not None:
        return _guard(*trigger.groups())
    dropped = _DROPPED.fullmatch(sql)
    if dropped is not None:
        return [f"DROP FUNCTION {dropped[1]}() CASCADE"]
    return [to_postgres(sql).sql]


def is_link(sql: str) -> bool:
    """Say whether a translated statement lets rows of one table name another's: it needs both to be there."""
    return " FOREIGN KEY " in sql


def _new_table(name: str, body: str, rest: str) -> list[str]:
    table = _Table()
    definitions = [one.strip() for one in _parts(body)]
    for one in definitions:
        if one.startswith(("PRIMARY KEY", "CHECK")):
            table.columns.append(one)
        elif one.startswith("UNIQUE"):
            _add_unique(table, name, one)
        else:
            _add_column(table, name, one)
    if "WITHOUT ROWID" not in rest and not any("INTEGER PRIMARY KEY" in one for one in definitions):
        table.columns.append(f"{_ROWS} BIGINT GENERATED BY DEFAULT AS IDENTITY")
    return [f"CREATE TABLE {name} ({', '.join(table.columns)})", *table.after, *table.names]


def _add_unique(table: _Table, name: str, rule: str) -> None:
    found = _UNIQUE.fullmatch(rule)
    columns = found[1].split(", ") if found else []
    if not table.without_case.intersection(columns):
        table.columns.append(rule)
        return
    those = ", ".join(f"lower({one})" if one in table.without_case else f'"{one}"' for one in columns)
    table.after.append(f"CREATE UNIQUE INDEX {name}_{'_'.join(columns)}_once ON {name} ({those})")


def _add_column(table: _Table, name: str, definition: str) -> None:
    found = _COLUMN.fullmatch(definition)
    if found is None:
        raise ValueError(f"no column of {name}: {definition}")
    column, rest = found.groups()
    for other, at_the_end in _NAMES.findall(rest):
        table.names.append(
            f'ALTER TABLE {name} ADD CONSTRAINT {name}_{column}_names FOREIGN KEY ("{column}") '
            f"REFERENCES {other}{at_the_end}"
        )
    rest = _NAMES.sub("", rest)
    if "COLLATE NOCASE" in rest:
        table.without_case.add(column)
        rest = rest.replace(" COLLATE NOCASE", "")
        if " UNIQUE" in rest:
            rest = rest.replace(" UNIQUE", "")
            table.after.append(f"CREATE UNIQUE INDEX {name}_{column}_once ON {name} (lower({column}))")
    if column == "id":
        rest = _NUMBERED.sub("BIGINT GENERATED BY DEFAULT AS IDENTITY PRIMARY KEY", rest)
    table.columns.append(f'"{column}" {_KIND.sub(lambda kind: _KINDS[kind[1]], rest)}')


def _guard(name: str, when: str, what: str, of: str, table: str, condition: str | None, body: str) -> list[str]:
    """Write a trigger as the function that PostgreSQL wants, its condition inside: there it may ask other tables."""
    does = _RAISE.sub(r"RAISE EXCEPTION USING MESSAGE = \1, ERRCODE = 'integrity_constraint_violation'", body)
    if does == body:
        does = to_postgres(body).sql
    if condition is not None:
        does = f"IF {to_postgres(condition).sql} THEN {does}; END IF"
    gives = "OLD" if what == "DELETE" else "NEW"
    return [
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $body$ BEGIN {does}; RETURN {gives}; END $body$",
        f"CREATE TRIGGER {name} {when} {what}{of} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]
