"""What the accuracy log's forms and lists receive: an eye to enter, a file to bring in, its preview, the rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from cases.notation.prescription import write_distance, write_prescription
from quiz.accuracy.columns import NAMES, column_of
from quiz.accuracy.entries import AGES, ENTRY, BadEntry, Entry
from quiz.accuracy.importing import Preview, TableRow, Wishes
from quiz.practice.forms import Input, Pick, Shown, inputs_of, made, shown, written
from quiz.storage.accuracy_queries import Kept

ROWS_AT_ONCE = 200


def entry_words(one: Entry) -> str:
    """Say an entry in one line, as it was read."""
    state = "wet" if one.wet else "dry"
    end = "" if one.wet == one.end_wet else f" ({'wet' if one.end_wet else 'dry'})"
    return (
        f"patient {one.patient}, {one.eye} eye, {one.on.isoformat()}, {write_distance(one.distance_cm)}, {state}: "
        f"{write_prescription(one.retinoscopy, 'as-is')}; end-point{end} {write_prescription(one.end_point, 'as-is')}"
    )


def difference_words(one: Entry) -> str:
    """Write retinoscopy less end-point as a lens."""
    return write_prescription(one.difference)


# --- an eye ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class AddPage:
    """What the template of the entry form receives."""

    form: Mapping[str, Shown]
    faulty: bool
    doubted: tuple[str, ...]
    """What the remark may hold that tells who it was."""
    kept: str | None
    """The entry just kept, in words."""
    difference: str | None
    count: int


def add_page(
    log: Sequence[Kept[Entry]],
    *,
    today: date,
    kept: bool = False,
    texts: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    doubted: tuple[str, ...] = (),
) -> AddPage:
    """Make the form: what was typed, or what the next eye is likely to share with the last."""
    last = log[-1].entry if log else None
    typed = texts if texts is not None else _likely([one.entry for one in log], today)
    return AddPage(
        form=shown(ENTRY, typed, faults, focus="remark" if doubted else "retinoscopy"),
        faulty=bool(faults or doubted),
        doubted=doubted,
        kept=entry_words(last) if kept and last else None,
        difference=difference_words(last) if kept and last else None,
        count=len(log),
    )


def _likely(log: Sequence[Entry], today: date) -> dict[str, str]:
    if not log:
        return {"patient": "1", "eye": "right", "on": today.isoformat()}
    last = log[-1]
    if len({one.eye for one in log if one.patient == last.patient and one.on == last.on}) == 1:
        likely = replace(last, eye="left" if last.eye == "right" else "right")
    else:
        likely = replace(last, patient=max(one.patient for one in log) + 1, eye="right", on=today, age="")
    own = ("retinoscopy", "end_point", "remark")
    return {name: text for name, text in written(ENTRY, likely).items() if name not in own}


# --- a file ------------------------------------------------------------------------------------------------------

COLUMN = "column-"
"""How the names of the choosers begin; the place of the column follows."""
WISHES = inputs_of(Wishes)
WHOSE = Input(
    "whose",
    "The file’s patients are",
    Pick(
        (
            ("same", "the same as in the log: the file continues it, or was taken out of it"),
            ("others", "others: number them after the log’s own"),
        )
    ),
    usual="same",
)


@dataclass(frozen=True)
class ImportPage:
    """What the template of the import form receives."""

    form: Mapping[str, Shown]
    text: str
    problem: str | None
    faulty: bool
    choosers: tuple[tuple[int, str, str], ...] = ()
    """Where headings are not understood: (place of the column, its heading, the field it is read as or "")."""
    names: Mapping[str, str] = field(default_factory=lambda: NAMES)


def import_page(
    texts: Mapping[str, str],
    problem: str | None = None,
    faults: Mapping[str, str] | None = None,
    heading: Sequence[str] = (),
) -> ImportPage:
    """Make the form that brings a file in; with a heading, a chooser for what each column is."""
    form = shown((*WISHES, WHOSE), texts, faults)
    choosers = tuple((at, cell, column_of(cell) or "") for at, cell in enumerate(heading))
    return ImportPage(form, texts.get("text", ""), problem, bool(problem or faults), choosers)


def chosen_columns(form: Mapping[str, str]) -> dict[int, str]:
    """Return what each column was chosen to be, by its place from 0; a blank choice leaves it unread."""
    return {
        int(name.removeprefix(COLUMN)): value
        for name, value in form.items()
        if name.startswith(COLUMN) and name.removeprefix(COLUMN).isdecimal() and len(name) < len(COLUMN) + 4
    }


def wishes_of(form: Mapping[str, str], today: date) -> Wishes:
    """Read what is said of a file.

    Raises
    ------
    BadEntry
        When the distance or the date for rows without one cannot be read.
    """
    wishes = made(Wishes, WISHES, form, refuse=BadEntry)
    return replace(wishes, on=min(wishes.on, today)) if wishes.on else wishes


@dataclass(frozen=True)
class GoodRow:
    """A row that will be taken."""

    line: int
    words: str
    difference: str
    remark: str


@dataclass(frozen=True)
class PreviewPage:
    """What the template of the preview receives."""

    columns: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    good: tuple[GoodRow, ...]
    bad: tuple[TableRow, ...]
    known: tuple[int, ...]
    """Lines that the log has already."""
    doubtful: tuple[tuple[int, str], ...]
    """(line, what its remark may tell)."""
    text: str
    hidden: Mapping[str, str]
    """What was said of the file, to be sent once more."""


def preview_page(found: Preview, text: str, wishes: Wishes) -> PreviewPage:
    """Show a file as it was read."""
    return PreviewPage(
        columns=found.columns,
        left_out=found.left_out,
        notes=found.notes,
        good=tuple(
            GoodRow(row.line, entry_words(row.entry), difference_words(row.entry), row.entry.remark)
            for row in found.good
            if row.entry is not None
        ),
        bad=found.bad,
        known=tuple(row.line for row in found.known),
        doubtful=tuple((row.line, " and ".join(row.doubts)) for row in found.good if row.doubts),
        text=text,
        hidden={
            **written(WISHES, wishes),
            "distance_cm": "" if wishes.distance_cm is None else f"{wishes.distance_cm:g} cm",
        },
    )


# --- rows --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LogRow:
    """A row of the list."""

    id: int
    number: int
    whose: str
    on: str
    retinoscopy: str
    end_point: str
    difference: str
    how: str
    remark: str


@dataclass(frozen=True)
class RowsPage:
    """What the template of the list receives."""

    rows: tuple[LogRow, ...]
    count: int
    """Of the whole log."""
    older: int | None
    """The number of the latest row that is older than these."""
    gone: int | None
    problem: str | None


def rows_page(
    log: Sequence[Kept[Entry]], *, upto: int | None = None, gone: int | None = None, problem: str | None = None
) -> RowsPage:
    """List a log, the latest first: this many rows from the one numbered `upto`, the latest of all by default."""
    last = len(log) if upto is None else min(upto, len(log))
    first = max(last - ROWS_AT_ONCE, 0)
    rows = [_row(number, one) for number, one in enumerate(log[first:last], start=first + 1)]
    return RowsPage(tuple(reversed(rows)), len(log), first or None, gone, problem)


def _row(number: int, kept: Kept[Entry]) -> LogRow:
    one = kept.entry
    state, end = ("wet" if wet else "dry" for wet in (one.wet, one.end_wet))
    return LogRow(
        id=kept.id,
        number=number,
        whose=f"{one.patient}, {one.eye}",
        on=one.on.isoformat(),
        retinoscopy=write_prescription(one.retinoscopy, "as-is"),
        end_point=write_prescription(one.end_point, "as-is"),
        difference=difference_words(one),
        how=f"{write_distance(one.distance_cm)}, {state if state == end else f'{state}, end-point {end}'}"
        + (f", {dict(AGES)[one.age]}" if one.age else ""),
        remark=one.remark,
    )
