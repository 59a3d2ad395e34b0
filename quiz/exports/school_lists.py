"""Lists of a school as CSV (RFC 4180): its classes, its preceptors, who changed what. No learner is in any of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from quiz.classroom import schools
from quiz.exports.answers import BYTE_ORDER_MARK, csv_line, no_formula
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import School
from quiz.storage.store import Store

MOST_CHANGES = 100_000
LISTS = ("classes", "preceptors", "changes")


def school_list(store: Store, school: School, which: str, *, now: float) -> Iterator[str]:
    """Yield the lines of one of `LISTS`; days and moments in UTC (ISO 8601)."""
    rows = {"classes": _classes, "preceptors": _preceptors, "changes": _changes}[which](store, school, now)
    yield BYTE_ORDER_MARK
    for row in rows:
        yield csv_line(no_formula(one) if isinstance(one, str) else one for one in row)


def _classes(store: Store, school: School, _: float) -> Iterator[tuple[object, ...]]:
    yield "class", "owner", "co-teachers", "readers", "learners", "last practised", "archived"
    teachers = school_queries.teachers_in_school(store, school.id)
    for one in school_queries.classes_of_school(store, school.id):
        beside = teachers.get(one.id, [])
        of = {role: "; ".join(name for name, each in beside if each == role) for role in ("co-teacher", "reader")}
        row = (one.name, one.owner_name, of["co-teacher"], of["reader"], one.places)
        yield *row, _day(one.last_at), _day(one.archived_at)


def _preceptors(store: Store, school: School, now: float) -> Iterator[tuple[object, ...]]:
    yield "preceptor", "administrator", "since", "classes"
    owners = school_queries.classes_of_school(store, school.id)
    for one in school_queries.people_of_school(store, school.id, now):
        names = "; ".join(each.name for each in owners if each.owner == one.preceptor)
        yield one.name, "yes" if one.administrator else "", _day(one.added_at), names


def _changes(store: Store, school: School, _: float) -> Iterator[tuple[object, ...]]:
    yield "at", "change"
    for one in school_queries.changes_of(store, school.id, MOST_CHANGES):
        yield datetime.fromtimestamp(one.at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), schools.in_words(one)


def _day(at: float | None) -> str:
    return "" if at is None else datetime.fromtimestamp(at, UTC).date().isoformat()
