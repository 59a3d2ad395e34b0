"""A roster as a file of comma-separated values: read with a preview of every row, then taken in.

Nothing is guessed: a row that cannot be taken is refused by its line, with the sentence why, and the good ones stand.
Headings are those of a plain table (name, number, group) or those of the users of OneRoster, 1EdTech's open standard
for rosters: `givenName`, `familyName`, `identifier`, `role`, `status` (OneRoster 1.2 CSV binding, users.csv; named from
memory). Other columns, e-mail and passwords among them, are not read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from quiz.classroom.places import MOST_GROUPS, add_place, group_named, tidy_number
from quiz.errors import QuizError
from quiz.practice import names
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.roster_queries import MOST_LEARNERS, Member
from quiz.storage.store import Store

MOST_ROWS = 2000
LONGEST_CELL = 200
SEPARATORS = ",;\t|"
HEADINGS: Mapping[str, str] = {
    **dict.fromkeys(("name", "full name", "student", "student name", "learner", "display name"), "name"),
    **dict.fromkeys(("given name", "givenname", "first name", "firstname", "forename"), "given"),
    **dict.fromkeys(("preferred given name", "preferredgivenname", "preferredfirstname"), "preferred"),
    **dict.fromkeys(("family name", "familyname", "last name", "lastname", "surname"), "family"),
    **dict.fromkeys(("number", "student number", "student no", "student id", "id", "identifier"), "number"),
    "sourcedid": "source",
    **dict.fromkeys(("group", "groups", "section", "tutorial group"), "group"),
    "role": "role",
    "status": "status",
}
"""Headings, without regard to case, hyphens and underscores, and what each column is."""
READ_AS = {
    "name": "the name",
    "given": "the given name",
    "preferred": "the given name that is preferred",
    "family": "the family name",
    "number": "the number",
    "source": "the number, where there is no other",
    "group": "the groups",
    "role": "the role: only learners are taken",
    "status": "the status: rows to be deleted are refused",
}
LEARNER_ROLES = ("", "student", "learner")
OFF = ("tobedeleted", "inactive")


class BadRoster(QuizError):
    """A file that cannot be read as a roster at all."""


@dataclass(frozen=True)
class RosterRow:
    """One row of the file."""

    line: int
    """Where it begins in the file, the heading being line 1."""
    text: str
    """The row, shortened."""
    name: str = ""
    number: str | None = None
    groups: tuple[str, ...] = ()
    fault: str | None = None
    """Why it is refused."""
    learner: int | None = None
    """Who is in the class already and is meant."""
    known_as: str = ""
    """What that learner is called in the class now."""

    @property
    def new(self) -> bool:
        """Whether it adds a place."""
        return self.fault is None and self.learner is None


@dataclass(frozen=True)
class RosterPreview:
    """A file as it was read."""

    rows: tuple[RosterRow, ...]
    columns: tuple[tuple[str, str], ...]
    """(heading in the file, what it is read as)."""
    left_out: tuple[str, ...]
    """Headings that are not read."""

    @property
    def new(self) -> tuple[RosterRow, ...]:
        """Rows that add a place."""
        return tuple(one for one in self.rows if one.new)

    @property
    def known(self) -> tuple[RosterRow, ...]:
        """Rows of people who are in the class already: they get number and groups."""
        return tuple(one for one in self.rows if one.learner is not None and one.fault is None)

    @property
    def refused(self) -> tuple[RosterRow, ...]:
        """Rows that are not taken."""
        return tuple(one for one in self.rows if one.fault is not None)


def read_roster(store: Store, one: Class, text: str) -> RosterPreview:
    """Read a file and say what each row was read as; nothing is kept by this.

    Raises
    ------
    BadRoster
        When no heading names anybody, or the file is far too long.
    """
    lines = _lines(text)
    line, headings = next(lines, (0, []))
    if not headings:
        raise BadRoster("the file is empty: its first row has the headings, for example name, number, group")
    columns = {place: HEADINGS[_plain(one)] for place, one in enumerate(headings) if _plain(one) in HEADINGS}
    if not {"name", "family"} & set(columns.values()):
        shown = ", ".join(f"“{each[:30]}”" for each in headings[:8] if each.strip())
        raise BadRoster(
            f"no column has the names. The first row was read as the headings: {shown or 'nothing'}. "
            "One of them has to be “name”, or “given name” and “family name”"
        )
    known = _Known(store, one)
    rows: list[RosterRow] = []
    for line, cells in lines:
        if len(rows) >= MOST_ROWS:
            raise BadRoster(f"over {MOST_ROWS} rows: a class has at most {MOST_LEARNERS} learners")
        if any(cell.strip() for cell in cells):
            rows.append(known.looked_at(_row(line, cells, columns)))
    if not rows:
        raise BadRoster("the file has headings and no row below them")
    return RosterPreview(
        tuple(rows),
        tuple((headings[place].strip(), READ_AS[what]) for place, what in columns.items()),
        tuple(each.strip() for place, each in enumerate(headings) if place not in columns and each.strip()),
    )


def take(store: Store, one: Class, text: str, *, now: float) -> RosterPreview:
    """Take the good rows of a file in: new places, numbers and groups; return what was read.

    Raises
    ------
    BadRoster
    """
    with store.writing():
        found = read_roster(store, one, text)
        known = {each.learner: each for each in roster_queries.members_of(store, one.id)}
        groups: dict[str, list[int]] = {}
        for row in found.rows:
            if row.fault is not None:
                continue
            if row.learner is None:
                learner = add_place(store, one, row.name, row.number, now)
            else:
                learner = row.learner
                held = known[learner]
                roster_queries.keep_place(
                    store, held.id, name=held.name, number=row.number or held.number, on_roster=True
                )
            for name in row.groups:
                groups.setdefault(name, []).append(learner)
        # A group at a time: others wait for the data file meanwhile, and a class has many more rows than groups.
        for name, learners in groups.items():
            roster_queries.add_to_group(store, group_named(store, one, name, now), learners)
    return found


def _plain(heading: str) -> str:
    return " ".join(heading.replace("_", " ").replace("-", " ").casefold().split())


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows of a file with the line on which each begins."""
    first = text.lstrip("\ufeff").splitlines()[:1]
    separator = max(SEPARATORS, key=lambda mark: first[0].count(mark)) if first else ","
    reader = csv.reader(io.StringIO(text.lstrip("\ufeff")), delimiter=separator)
    before = 0
    try:
        for row in reader:
            yield before + 1, row
            before = reader.line_num
    except csv.Error as error:
        raise BadRoster(
            f"line {before + 1} cannot be read as a row ({error}): save the sheet as CSV once more"
        ) from error


def _row(line: int, cells: list[str], columns: Mapping[int, str]) -> RosterRow:
    at = {what: cells[place].strip() for place, what in columns.items() if place < len(cells)}
    row = RosterRow(line, "; ".join(cell.strip() for cell in cells if cell.strip())[:120])
    if any(len(cell) > LONGEST_CELL for cell in at.values()):
        return replace(row, fault=f"a cell of over {LONGEST_CELL} characters: is a quotation mark missing?")
    role, status = at.get("role", "").casefold(), at.get("status", "").casefold()
    if role not in LEARNER_ROLES:
        return replace(row, fault=f"the role is “{at['role']}”: only learners are taken in")
    if status in OFF:
        return replace(row, fault=f"the status is “{at['status']}”")
    name = at.get("name", "") or f"{at.get('preferred', '') or at.get('given', '')} {at.get('family', '')}"
    try:
        return replace(
            row,
            name=names.tidy_name(name, []),
            number=tidy_number(at.get("number", "") or at.get("source", "")),
            groups=tuple(names.tidy_name(part, []) for part in at.get("group", "").split(";") if part.strip()),
        )
    except BadName as error:
        fault = "no name" if not name.strip() else str(error)
        return replace(row, fault=fault)


class _Known:
    """Who is in the class, and what was read so far, so that nobody is taken twice."""

    def __init__(self, store: Store, one: Class) -> None:
        members = roster_queries.members_of(store, one.id)
        self._names: dict[str, Member] = {each.name.casefold(): each for each in members}
        self._numbers = {each.number.casefold(): each for each in members if each.number}
        self._asking = {each.name.casefold() for each in roster_queries.requests_of(store, one.id)}
        self._gone = {each.number.casefold() for each in roster_queries.empty_places_of(store, one.id) if each.number}
        self._room = MOST_LEARNERS - len(members) - len(self._asking)
        self._groups = {each.name.casefold() for each in roster_queries.groups_of(store, one.id)}
        self._names_at: dict[str, int] = {}
        self._numbers_at: dict[str, int] = {}

    def looked_at(self, row: RosterRow) -> RosterRow:
        """Return a row with who is meant, or with what is wrong with it."""
        if row.fault is not None:
            return row
        fault = self._twice(row)
        if fault is None:
            row, fault = self._met(row)
        more = {each.casefold() for each in row.groups}
        if fault is None and len(self._groups | more) > MOST_GROUPS:
            fault = f"over {MOST_GROUPS} groups: is this column the groups?"
        if fault is None and row.learner is None:
            self._room -= 1
            if self._room < 0:
                fault = f"the class is full: it has {MOST_LEARNERS} places"
        if fault is not None:
            return replace(row, fault=fault, learner=None)
        self._groups |= more
        self._names_at[row.name.casefold()] = row.line
        if row.number:
            self._numbers_at[row.number.casefold()] = row.line
        return row

    def _twice(self, row: RosterRow) -> str | None:
        if row.number and row.number.casefold() in self._numbers_at:
            return f"number {row.number} is in line {self._numbers_at[row.number.casefold()]} already"
        if row.name.casefold() in self._names_at:
            return f"“{row.name}” is in line {self._names_at[row.name.casefold()]} already: add a letter to one of them"
        return None

    def _met(self, row: RosterRow) -> tuple[RosterRow, str | None]:
        by_name = self._names.get(row.name.casefold())
        by_number = self._numbers.get(row.number.casefold()) if row.number else None
        if by_number is not None:
            if by_name is not None and by_name.learner != by_number.learner:
                return row, f"number {row.number} is {by_number.name}’s here, and “{by_name.name}” is another learner"
            if by_name is None:
                return (
                    row,
                    f"number {row.number} is {by_number.name}’s here: rename them on their page if it is the same",
                )
            return replace(row, learner=by_number.learner, known_as=by_number.name), None
        if by_name is not None:
            if row.number and by_name.number:
                return row, f"{by_name.name} has number {by_name.number} here: correct one of the two"
            return replace(row, learner=by_name.learner, known_as=by_name.name), None
        if row.name.casefold() in self._asking:
            return row, f"“{row.name}” asks to join: let them in or turn them away first"
        if row.number and row.number.casefold() in self._gone:
            return row, f"number {row.number} is a place whose learner is gone: give it to someone under People"
        return row, None
