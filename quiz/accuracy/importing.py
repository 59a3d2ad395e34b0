"""The accuracy log as a file of comma-separated values: read with a preview of every row, and written so that it reads.

Nothing is guessed: a row that may be read in two ways is refused by its line, with the sentence why, and the good ones
stand. What each heading and each cell may say is in columns.py.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice

from cases.optics.lens import SphCyl
from cases.procedure import quantities
from quiz.accuracy.columns import (
    IDENTIFYING,
    LONGEST_CELL,
    NAMES,
    Dates,
    age_of,
    column_of,
    date_order,
    day_of,
    distance_of,
    eye_of,
    heading_of,
    lens_of,
    lens_of_parts,
    patient_of,
    plain,
    wet_of,
)
from quiz.accuracy.entries import HIGHEST_PATIENT, BadEntry, Entry, doubts, tidy_remark
from quiz.errors import QuizError
from quiz.practice.forms import Day, Pick, Tick, Whole, asked

MOST_ROWS = 5000
MOST_COLUMNS = 200
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_SHOWN = 160
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
_PARTS = ("sphere", "cylinder", "axis")
_LENSES = ("retinoscopy", "end_point")
_APOSTROPHE = re.compile(r"'(?=[=+\-@\t\r'])")


class BadTable(QuizError):
    """A file that cannot be read as a log at all."""


class BadHeading(BadTable):
    """A file whose headings do not name the columns that are needed: they can be chosen by hand."""

    def __init__(self, says: str, heading: Sequence[str]) -> None:
        super().__init__(says)
        self.heading = tuple(cell.strip()[:40] for cell in heading)


@dataclass(frozen=True)
class Wishes:
    """What the person who brings a file says of it."""

    distance_cm: float | None = asked(
        "Distance for rows that give none",
        quantities.DISTANCE,
        hint="centimetres; left empty, such rows are refused",
        size=8,
    )
    on: date | None = asked(
        "Date for rows that give none", Day(), hint="year-month-day; left empty, such rows are refused", size=12
    )
    cylinder_sign: str = asked(
        "Cylinders in a column of their own without a sign",
        Pick((("", "refuse the row and say so"), ("minus", "are minus cylinders"), ("plus", "are plus cylinders"))),
        usual="",
    )
    after: int = asked("", Whole("patients after"), usual=0)
    """Added to every patient's number, so that the patients of another log come after those of this one."""
    keep_doubtful: bool = asked("None of them identifies a patient: keep these remarks", Tick(), usual=False)
    """Whether remarks that may tell who it was are kept all the same."""


@dataclass(frozen=True)
class TableRow:
    """One row of the file."""

    line: int
    """Where it begins in the file, the heading being line 1."""
    text: str
    """The row as it stands, shortened."""
    entry: Entry | None
    """What it was read as; None when it was refused."""
    faults: tuple[str, ...] = ()
    """Why it was refused, a sentence each."""
    doubts: tuple[str, ...] = ()
    """What its remark may tell of who it was."""
    known: bool = False
    """Whether the log, or an earlier row, holds the very same: it is not taken twice."""


@dataclass(frozen=True)
class Preview:
    """A file as it was read."""

    rows: tuple[TableRow, ...]
    columns: tuple[tuple[str, str], ...]
    """(heading in the file, what it was taken for)."""
    left_out: tuple[str, ...]
    """Headings that were not read."""
    notes: tuple[str, ...]

    @property
    def good(self) -> tuple[TableRow, ...]:
        """The rows that will be taken."""
        return tuple(row for row in self.rows if row.entry is not None and not row.known)

    @property
    def bad(self) -> tuple[TableRow, ...]:
        """The rows that were refused."""
        return tuple(row for row in self.rows if row.entry is None)

    @property
    def known(self) -> tuple[TableRow, ...]:
        """The rows that the log has already."""
        return tuple(row for row in self.rows if row.known)


def decode(data: bytes) -> str:
    """Return the text of a file: UTF-8 or UTF-16 as it is marked, else Western European as spreadsheets write it.

    Raises
    ------
    BadTable
        When it is no text.
    """
    try:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            text = data.decode("utf-16")
        else:
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise BadTable("this file is no text: save the sheet as CSV (comma-separated values) and choose that file")
    return text


def read_table(text: str, wishes: Wishes, *, today: date, log: Sequence[Entry] = ()) -> Preview:
    """Read a file and say what each row was read as; nothing is kept by this.

    Raises
    ------
    BadTable
        When it has no heading that can be understood, no row, or too many rows.
    """
    # One row more than may be is enough to say that they are too many.
    lines = list(islice(_lines(text.removeprefix("\ufeff")), MOST_ROWS + 2))
    if not lines:
        raise BadTable(f"the file is empty: it needs a heading, such as {', '.join(NAMES)}, and a row for each eye")
    heading, body = lines[0][2], lines[1:]
    if not body:
        raise BadTable("the file has a heading and no row below it: give a row for each eye")
    if len(body) > MOST_ROWS:
        raise BadTable(f"more than {MOST_ROWS} rows: {MOST_ROWS} at once are the most; part the file")
    if len(heading) > MOST_COLUMNS:
        raise BadTable(f"{len(heading)} columns: {MOST_COLUMNS} are the most; leave out those that are not needed")
    where, left_out = _columns(heading)
    order = date_order([cells[where["on"]] for _, _, cells in body if where.get("on", len(cells)) < len(cells)])
    reader = _Reader(where, len(heading), wishes, order, today)
    seen = {replace(one, remark="") for one in log}
    rows = []
    for line, raw, cells in body:
        row = reader.row(line, raw, cells)
        if row.entry is not None:
            bare = replace(row.entry, remark="")
            row = replace(row, known=bare in seen)
            seen.add(bare)
        rows.append(row)
    columns = tuple((heading[at], NAMES[name]) for name, at in sorted(where.items(), key=lambda one: one[1]))
    return Preview(tuple(rows), columns, left_out, _notes(where, order, left_out))


def _lines(text: str) -> Iterator[tuple[int, str, list[str]]]:
    """Yield (first line, raw text, cells) of every row that is not empty, with the separator that reads best."""
    try:
        separator = _separator(text)
        raw_lines = list(io.StringIO(text, newline=""))
        reader = csv.reader(raw_lines, delimiter=separator, strict=True)
        last = 0
        for cells in reader:
            first, last = last + 1, reader.line_num
            if any(cell.strip() for cell in cells):
                yield first, " ".join("".join(raw_lines[first - 1 : last]).split()), cells
    except csv.Error as error:
        raise BadTable(
            f"the file cannot be parted into rows and cells ({error}): look for a quote that is not closed"
        ) from error


def _separator(text: str) -> str:
    """Return the separator of a file: that under which most headings are understood."""
    return max(SEPARATORS, key=lambda one: _understood(text, one))


def _understood(text: str, separator: str) -> tuple[int, int]:
    """Count the headings that are understood, then the cells of the first row: what decides where none is."""
    first = next((cells for cells in csv.reader(io.StringIO(text, newline=""), delimiter=separator) if cells), [])
    return sum(column_of(cell) is not None for cell in first[:MOST_COLUMNS]), len(first)


def with_headings(text: str, chosen: Mapping[int, str]) -> str:
    """Give a file other headings: by the column's place from 0 a field of `NAMES`, or "" for one not to be read.

    Columns that are not in `chosen` keep theirs. The rows below stay as they are.

    Raises
    ------
    BadTable
        When the file cannot be parted into rows and cells, or a field is none of `NAMES`.
    """
    text = text.removeprefix("\ufeff")
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    heading = next((cells for cells in reader if any(cell.strip() for cell in cells)), [])
    if unknown := [field for field in chosen.values() if field and field not in NAMES]:
        raise BadTable(f"“{unknown[0][:40]}” is not a column of the log")
    named = [_heading(chosen.get(at), cell) for at, cell in enumerate(heading)]
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerow(named)
    rest = "".join(io.StringIO(text, newline="").readlines()[reader.line_num :])
    return out.getvalue() + rest


def _heading(field: str | None, cell: str) -> str:
    """Write the heading of a chosen column; one that is not to be read is marked so, and never understood."""
    if field is None:
        return cell
    return heading_of(field) if field else f"not read: {cell}"


def _columns(heading: list[str]) -> tuple[dict[str, int], tuple[str, ...]]:
    where: dict[str, int] = {}
    left_out = []
    for at, cell in enumerate(heading):
        name = column_of(cell)
        if name is None:
            if cell.strip():
                left_out.append(cell.strip()[:40])
            continue
        if name in where:
            raise BadTable(
                f"the headings “{heading[where[name]]}” and “{cell}” both mean {NAMES[name]}: take one of them out"
            )
        where[name] = at
    missing = [NAMES[name] for name in ("eye", "patient") if name not in where]
    missing += [NAMES[lens] for lens in _LENSES if lens not in where and f"{lens}_sphere" not in where]
    if missing:
        found = ", ".join(f"“{cell.strip()[:20]}”" for cell in heading if cell.strip()) or "nothing"
        raise BadHeading(
            f"no heading says {', '.join(missing)}: the first line has {found[:200]}; it must name each column", heading
        )
    for lens in _LENSES:
        if lens in where and f"{lens}_sphere" in where:
            raise BadTable(f"{NAMES[lens]} stands in one column and in three: take one of the two out")
    return where, tuple(left_out)


def _notes(where: dict[str, int], order: Dates, left_out: tuple[str, ...]) -> tuple[str, ...]:
    out = [order.says] if order.says else []
    if "wet" not in where:
        out.append("No column says dry or wet, so every retinoscopy is taken as dry.")
    if "end_wet" not in where:
        out.append("No column says whether the end-point was reached dry or wet, so all are taken as dry.")
    telling = [one for one in left_out if plain(one) in IDENTIFYING]
    if telling:
        out.append(
            f"Left out because it may identify a patient: {', '.join(telling)}. Better take such columns out of the "
            f"file "
            "too."
        )
    return tuple(out)


@dataclass(frozen=True)
class _Reader:
    where: dict[str, int]
    width: int
    wishes: Wishes
    order: Dates
    today: date

    def row(self, line: int, raw: str, cells: list[str]) -> TableRow:
        text = raw if len(raw) <= _SHOWN else raw[: _SHOWN - 1] + "…"
        if len(cells) != self.width and any(cell.strip() for cell in cells[self.width :]):
            return TableRow(
                line,
                text,
                None,
                (
                    f"{len(cells)} cells where the heading has {self.width}: put a cell that holds the separator, such "
                    "as a decimal comma, in quotes",
                ),
            )
        found = {name: cells[at].strip() if at < len(cells) else "" for name, at in self.where.items()}
        faults = [
            f"{NAMES[name]} of {len(cell)} characters: {LONGEST_CELL} is the most"
            for name, cell in found.items()
            if name != "remark" and len(cell) > LONGEST_CELL
        ]
        if faults:
            return TableRow(line, text, None, tuple(faults))
        lenses = [self._lens(name, found, faults) for name in _LENSES]
        eye, patient = eye_of(found["eye"], faults), patient_of(found["patient"], faults)
        patient += self.wishes.after
        if patient > HIGHEST_PATIENT:
            faults.append(f"patient {patient}: numbered after the log's own it is past {HIGHEST_PATIENT}")
        remark = tidy_remark(unguarded(found.get("remark", "")))
        distance = distance_of(found.get("distance_cm", ""), self.wishes.distance_cm, faults)
        on = day_of(found.get("on", ""), self.order, self.wishes.on, self.today, faults)
        wet, end_wet = wet_of(found.get("wet", ""), faults), wet_of(found.get("end_wet", ""), faults)
        age = age_of(found.get("age", ""), faults)
        if faults:
            return TableRow(line, text, None, tuple(faults))
        doubted = doubts(remark)
        try:
            entry = Entry(
                eye=eye,
                patient=patient,
                retinoscopy=lenses[0],
                end_point=lenses[1],
                distance_cm=distance,
                on=on,
                wet=wet,
                end_wet=end_wet,
                age=age,
                remark="" if doubted and not self.wishes.keep_doubtful else remark,
            )
        except BadEntry as error:
            return TableRow(line, text, None, tuple(error.faults.values()))
        return TableRow(line, text, entry, (), doubted)

    def _lens(self, name: str, found: dict[str, str], faults: list[str]) -> SphCyl:
        if name in found:
            return lens_of(NAMES[name], found[name], faults)
        parts = [found.get(f"{name}_{part}", "") for part in _PARTS]
        return lens_of_parts(NAMES[name], parts, self.wishes.cylinder_sign, faults)


# --- writing -----------------------------------------------------------------------------------------------------


def write_table(entries: Sequence[Entry]) -> str:
    """Write a log as CSV that `read_table` reads back the same, one eye a row, lines ended by CR LF.

    Powers are plain signed numbers in D and the axis in degrees. A remark that a spreadsheet would take for a formula
    (it begins with = + - @, a tab, or the apostrophe itself) gets an apostrophe before it, which reading takes off.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    heads = ["patient", "eye", "date", "distance_cm"]
    heads += [f"{lens}_{part}" for lens in _LENSES for part in _PARTS]
    writer.writerow([*heads, "retinoscopy_state", "end_point_state", "age", "remark"])
    for one in entries:
        lenses = [
            value
            for lens in (one.retinoscopy, one.end_point)
            for value in (_power(lens.sphere), _power(lens.cylinder), f"{lens.axis:g}" if lens.cylinder else "")
        ]
        states = ["wet" if wet else "dry" for wet in (one.wet, one.end_wet)]
        first = [one.patient, one.eye, one.on.isoformat(), f"{one.distance_cm:g}"]
        writer.writerow([*first, *lenses, *states, one.age, guarded(one.remark)])
    return out.getvalue()


def _power(value: float) -> str:
    """Write a power in D with its sign, two decimals or as many as it has up to three."""
    text = f"{value:+.3f}"
    text = text[:-1] if text.endswith("0") else text
    return text[1:] if not value else text


def guarded(text: str) -> str:
    """Put an apostrophe before a cell that a spreadsheet would take for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def unguarded(text: str) -> str:
    """Take off the apostrophe that `guarded` put before a cell."""
    return text[1:] if _APOSTROPHE.match(text) else text
