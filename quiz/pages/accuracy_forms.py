"""What the accuracy log's forms and lists receive: an eye to enter, a file to bring in, its preview, the rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from cases.errors import CaseError
from cases.notation import read_distance_cm, write_distance, write_prescription
from quiz.accuracy import AGES, BadEntry, Entry
from quiz.accuracy_import import Preview, Row, Wishes
from quiz.accuracy_store import Kept

Pairs = tuple[tuple[str, str], ...]
ROWS_AT_ONCE = 200

EYES: Pairs = (("right", "right eye"), ("left", "left eye"))
STATES: Pairs = (("dry", "dry"), ("wet", "under cycloplegia"))
AGE_WORDS: Pairs = tuple(zip(AGES, ("not said", "under 20", "20 to 39", "40 or over"), strict=True))
SIGNS: Pairs = (("", "refuse the row and say so"), ("minus", "are minus cylinders"), ("plus", "are plus cylinders"))
WHOSE: Pairs = (
    ("same", "the same as in the log: the file continues it, or was taken out of it"),
    ("others", "others: number them after the log’s own"),
)


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

    texts: Mapping[str, str]
    faults: Mapping[str, str]
    doubted: tuple[str, ...]
    """What the remark may hold that tells who it was."""
    kept: str | None
    """The entry just kept, in words."""
    difference: str | None
    count: int
    eyes: Pairs = EYES
    states: Pairs = STATES
    ages: Pairs = AGE_WORDS

    @property
    def first_fault(self) -> str | None:
        """Which field is to have the focus."""
        order = ("eye", "patient", "retinoscopy", "end_point", "distance_cm", "on", "age", "remark")
        return next((one for one in order if one in self.faults), "remark" if self.doubted else None)


def add_page(
    log: Sequence[Kept],
    *,
    today: date,
    kept: bool = False,
    texts: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    doubted: tuple[str, ...] = (),
) -> AddPage:
    """Make the form: what was typed, or what the next eye is likely to share with the last."""
    last = log[-1].entry if log else None
    return AddPage(
        texts=texts if texts is not None else _likely([one.entry for one in log], today),
        faults=faults or {},
        doubted=doubted,
        kept=entry_words(last) if kept and last else None,
        difference=difference_words(last) if kept and last else None,
        count=len(log),
    )


def _likely(log: Sequence[Entry], today: date) -> dict[str, str]:
    if not log:
        return {"patient": "1", "eye": "right", "on": today.isoformat(), "wet": "dry", "end_wet": "dry", "age": ""}
    last = log[-1]
    mine = {one.eye for one in log if one.patient == last.patient and one.on == last.on}
    same = len(mine) == 1
    return {
        "patient": str(last.patient if same else max(one.patient for one in log) + 1),
        "eye": ("left" if last.eye == "right" else "right") if same else "right",
        "distance_cm": write_distance(last.distance_cm),
        "on": last.on.isoformat() if same else today.isoformat(),
        "wet": "wet" if last.wet else "dry",
        "end_wet": "wet" if last.end_wet else "dry",
        "age": last.age if same else "",
    }


# --- a file ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ImportPage:
    """What the template of the import form receives."""

    texts: Mapping[str, str]
    problem: str | None
    signs: Pairs = SIGNS
    whose: Pairs = WHOSE


def import_page(texts: Mapping[str, str], problem: str | None = None) -> ImportPage:
    """Make the form that brings a file in."""
    return ImportPage(texts, problem)


def wishes_of(form: Mapping[str, str], today: date) -> Wishes:
    """Read what is said of a file.

    Raises
    ------
    BadEntry
        When the distance or the date for rows without one cannot be read.
    """
    faults = {}
    distance = on = None
    if form.get("distance_cm", "").strip():
        try:
            distance = read_distance_cm(form["distance_cm"])
        except CaseError as error:
            faults["distance_cm"] = f"distance for rows without one: {error}"
    if form.get("on", "").strip():
        try:
            on = min(date.fromisoformat(form["on"].strip()), today)
        except ValueError:
            faults["on"] = f"date for rows without one, “{form['on'].strip()[:30]}”: write it like {today.isoformat()}"
    if faults:
        raise BadEntry(faults)
    sign, after = form.get("cylinder_sign", ""), form.get("after", "0")
    return Wishes(
        distance_cm=distance,
        on=on,
        cylinder_sign=sign if sign in ("minus", "plus") else "",
        after=int(after) if after.isdecimal() and len(after) < 6 else 0,
        keep_doubtful=form.get("keep_doubtful") == "yes",
    )


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
    bad: tuple[Row, ...]
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
            "distance_cm": "" if wishes.distance_cm is None else f"{wishes.distance_cm:g} cm",
            "on": "" if wishes.on is None else wishes.on.isoformat(),
            "cylinder_sign": wishes.cylinder_sign,
            "after": str(wishes.after),
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
    log: Sequence[Kept], *, upto: int | None = None, gone: int | None = None, problem: str | None = None
) -> RowsPage:
    """List a log, the latest first: so many rows from the one numbered `upto`, the latest of all by default."""
    last = len(log) if upto is None else min(upto, len(log))
    first = max(last - ROWS_AT_ONCE, 0)
    rows = [_row(number, one) for number, one in enumerate(log[first:last], start=first + 1)]
    return RowsPage(tuple(reversed(rows)), len(log), first or None, gone, problem)


def _row(number: int, kept: Kept) -> LogRow:
    one = kept.entry
    state, end = ("wet" if wet else "dry" for wet in (one.wet, one.end_wet))
    age = next(words for value, words in AGE_WORDS if value == one.age)
    return LogRow(
        id=kept.id,
        number=number,
        whose=f"{one.patient}, {one.eye}",
        on=one.on.isoformat(),
        retinoscopy=write_prescription(one.retinoscopy, "as-is"),
        end_point=write_prescription(one.end_point, "as-is"),
        difference=difference_words(one),
        how=f"{write_distance(one.distance_cm)}, {state if state == end else f'{state}, end-point {end}'}"
        + (f", {age}" if one.age else ""),
        remark=one.remark,
    )
