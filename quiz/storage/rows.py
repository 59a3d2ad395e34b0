"""Rows of the data file as dataclasses, and values as JSON: the one place where either is mapped to the other.

How a field is kept follows from its type. Numbers and texts stand in their column as they are, truths as 0 or 1, days
as year-month-day; all else is one JSON document. Written is by the standard library, which refuses what JSON has no
number for where msgspec writes null; read is by msgspec, into the very types.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import date
from functools import cache, partial
from types import NoneType, UnionType
from typing import Any, NamedTuple, TypeVar, get_args, get_type_hints

import msgspec

Kind = TypeVar("Kind")

_AS_THEY_ARE = {int, float, str, NoneType}
_SIMPLE = {bool, date, NoneType}

write_json = json.JSONEncoder(
    ensure_ascii=False, separators=(",", ":"), allow_nan=False, default=msgspec.to_builtins
).encode
"""Write anything as JSON without spaces, dataclasses and dates too; ValueError where a number is not finite."""
as_json = msgspec.to_builtins
"""Return a value as JSON holds it: numbers, texts, truths, lists and mappings alone."""
read_json = msgspec.json.decode
"""Read JSON, into `type` where one is named; ValueError where it is something else."""


class _Column(NamedTuple):
    """How one field is read from its column and written into it; None: as it is."""

    name: str
    read: Callable[[Any], Any] | None
    write: Callable[[Any], Any] | None


@cache
def _columns(kind: Any) -> tuple[_Column, ...]:
    hints = get_type_hints(kind)
    return tuple(_column(one.name, hints[one.name]) for one in fields(kind))


def _column(name: str, hint: Any) -> _Column:
    kinds = set(get_args(hint)) if isinstance(hint, UnionType) else {hint}
    if kinds <= _AS_THEY_ARE:
        return _Column(name, None, None)
    if kinds <= _SIMPLE:
        return _Column(name, partial(msgspec.convert, type=hint, strict=False), msgspec.to_builtins)
    return _Column(name, msgspec.json.Decoder(hint).decode, write_json)


def from_row(kind: type[Kind], row: Any) -> Kind:
    """Make a dataclass of a row that has a column for each of its fields, and perhaps others.

    Raises
    ------
    ValueError
        When a column holds what its field cannot.
    """
    values = {}
    for name, read, _ in _columns(kind):  # type: ignore[arg-type]
        value = row[name]
        try:
            values[name] = value if read is None or value is None else read(value)
        except ValueError as error:
            raise ValueError(f"{name} cannot be read") from error
    return kind(**values)


def to_row(what: object) -> dict[str, Any]:
    """Make a row of a dataclass, by the names of its fields."""
    values = vars(what)
    return {
        name: values[name] if write is None or values[name] is None else write(values[name])
        for name, _, write in _columns(type(what))  # type: ignore[arg-type]
    }


CHECKED = (
    *("dealt", "learner", "sitting", "at", "type", "seed", "findings", "truth", "given", "read_as", "verdict"),
    *("explanations", "steps", "could_show", "hints", "confidence", "seconds", "options", "working_shown", "probe_of"),
    *("for_drill", "source", "drill", "late", "weighed", "did_not_know"),
)
"""The columns of an answer that its checksum is of: those that there were when it was brought in (m032)."""
_BROKEN = {"at", "seconds"}
"""Those of them that hold numbers with a fraction, which may be given without one."""


def checksum(row: Mapping[str, Any]) -> int:
    """Return the CRC-32 (that of zlib) of an answer as it stands in its columns, text as such or as bytes.

    It shows that a digit became another one, and is no guard against a person who changes the file.
    """
    parts = []
    for name in CHECKED:
        value = row[name]
        if isinstance(value, bytes):
            parts.append(value)
        elif value is None:
            parts.append(b"")
        elif isinstance(value, str):
            parts.append(value.encode("utf-8", "surrogatepass"))
        else:
            parts.append(repr(float(value) if name in _BROKEN else int(value)).encode())
    return zlib.crc32(b"\x1f".join(parts))
