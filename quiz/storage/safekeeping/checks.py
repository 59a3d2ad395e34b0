"""Whether data are sound: every page, every reference, the schema, and each learner's memory against the log.

Of a data file a copy is looked at, made at one moment, so that learners answer meanwhile and nothing in the file itself
is touched. A database is looked at where it is, learner by learner, and whatever is tried in it is undone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlite_utils import Database

from quiz.storage import memory_numbers, projection, result_queries, soundness
from quiz.storage.datafile import PATIENCE, Damaged, DataFile, Where, corrupt, data_path, known_migrations, refusal
from quiz.storage.engines.address import Address
from quiz.storage.engines.opening import open_database
from quiz.storage.safekeeping.backups import snapshot
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Store


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at."""

    words: str
    good: bool = True


def check(where: Where | None, *, patience: float = PATIENCE) -> Iterator[Finding]:
    """Look a data file or a database over and say what was found, one thing after the other.

    Raises
    ------
    Refused
        When it is not ours, is damaged, was written by a newer version, or cannot be read.
    """
    if isinstance(where, Address):
        yield from _database(where)
        return
    path = data_path(where)
    with TemporaryDirectory(prefix="two-meridians-") as folder:
        copy = Path(folder) / "copy.sqlite3"
        snapshot(path, copy, patience=patience)
        yield Finding("every page and every index holds together, and every cell can be read")
        with _said_of(path):
            yield _age(copy)
        with _said_of(path), closing(DataFile.open(copy, look=0)) as file, closing(Store(file)) as store:
            yield _schema(file)
            yield from _rows(store)
            yield _links(store)
            yield from _memories(store)
            yield from _tallies(store)


def _database(address: Address) -> Iterator[Finding]:
    """Look a database over; that each row names rows which are there PostgreSQL holds to itself, by its links."""
    with closing(open_database(address, make=False)) as data, closing(Store(data)) as store:
        found = data.unreadable()
        if found is not None:
            yield Finding(f"{found}; put a backup in its place", good=False)
            return
        yield Finding("every cell can be read")
        yield Finding("it stands at this version's schema")
        lacking = data.lacking()
        if lacking:
            yield Finding(f"the schema was changed by another hand: {', '.join(lacking[:8])}", good=False)
        else:
            yield Finding("tables, indexes, links and the triggers that guard the logs are as they should be")
        yield from _rows(store)
        yield from _memories(store)
        yield from _tallies(store)


@contextmanager
def _said_of(path: Path) -> Iterator[None]:
    """Say of the file what was found in its copy."""
    try:
        yield
    except Damaged as error:
        raise corrupt(path, error.what) from error
    except soundness.UNREADABLE as error:
        raise refusal(path, error) from error


def _age(copy: Path) -> Finding:
    with closing(sqlite3.connect(copy)) as conn:
        waiting = known_migrations() - {one.name for one in MIGRATIONS.applied(Database(conn))}
    if waiting:
        return Finding(f"an older version wrote it; serving it brings it up to date ({', '.join(sorted(waiting))})")
    return Finding("it stands at this version's schema")


def _schema(file: DataFile) -> Finding:
    with closing(file.connect().conn) as conn:
        named = soundness.schema_differences(conn)
    if not named:
        return Finding("tables, indexes and the triggers that guard the logs are as they should be")
    return Finding(f"the schema was changed by another hand: {', '.join(named)}; put a backup in its place", good=False)


def _rows(store: Store) -> Iterator[Finding]:
    counts = store.fetch(
        "SELECT (SELECT count(*) FROM learners), (SELECT count(*) FROM answers), (SELECT count(*) FROM recall_marks)"
    )[0]
    yield Finding(f"{counts[0]} learners, {counts[1]} answers, {counts[2]} recall marks")
    open_still = store.fetch(
        "SELECT count(*) FROM answers a JOIN dealt d ON d.id = a.dealt "
        "WHERE d.closed_at IS NULL OR d.learner <> a.learner"
    )[0][0]
    if open_still:
        yield Finding(f"{open_still} answers belong to a case that still waits, or to another learner", good=False)


def _links(store: Store) -> Finding:
    lost = store.fetch("PRAGMA foreign_key_check")
    if lost:
        tables = ", ".join(sorted({row[0] for row in lost}))
        return Finding(f"{len(lost)} rows name something that is not there, in {tables}", good=False)
    return Finding("every row that names another finds it")


def _memories(store: Store) -> Iterator[Finding]:
    older, astray = 0, []
    numbers = memory_numbers.current(store).name
    for learner in store.learners():
        try:
            kept = store.states(learner.id)
        except Damaged:
            astray.append(learner.name)
            continue
        if kept is None or kept.folded_with != numbers:
            older += 1
        elif not projection.agrees(kept, projection.refolded(store, learner.id)):
            astray.append(learner.name)
    if older:
        yield Finding(f"{older} memories were worked out with other numbers; each is worked out again when next needed")
    if astray:
        yield Finding(f"memory differs from the log of {', '.join(astray)}: run `python -m quiz rebuild`", good=False)
    else:
        yield Finding("every memory agrees with its log of answers, to twelve digits")


def _tallies(store: Store) -> Iterator[Finding]:
    members = [one for one in store.learners() if one.joined]
    if not members:
        return
    astray = 0
    for learner in members:
        with suppress(_Tried), store.writing(learner.id):
            before = _sums(store, learner.id)
            result_queries.tally_anew(store, learner)
            astray += _sums(store, learner.id) != before
            raise _Tried
    if astray:
        yield Finding(
            f"the results kept for {astray} learners of a class differ from their logs: run `python -m quiz rebuild`",
            good=False,
        )
    else:
        yield Finding("the results of every class agree with its logs of answers")


class _Tried(Exception):
    """What was changed to look at it is undone."""


def _sums(store: Store, learner_id: int) -> list[tuple[object, ...]]:
    # A sum of seconds depends on the order of its terms in the last bits, and is shown to the second.
    rows = store.fetch("SELECT * FROM tallies WHERE learner = ? ORDER BY drill, kind, key", learner_id)
    return [tuple(round(value, 3) if isinstance(value, float) else value for value in row) for row in rows]
