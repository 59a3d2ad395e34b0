"""Every question to the data file about preceptors, classes, sign-ins and drills; results are result_queries.py's.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from quiz.learning.state import SlipKey
from quiz.storage.rows import to_row
from quiz.storage.store import Answer, Dealt, Learner, Sitting, Store


@dataclass(frozen=True)
class Preceptor:
    """Someone who sets drills and sees a class's results."""

    id: int
    name: str
    password: str
    """Its salted hash, never the password itself."""
    made_at: float


@dataclass(frozen=True)
class Class:
    """A class, and the code by which it is joined."""

    id: int
    preceptor: int
    name: str
    made_at: float
    code: str | None
    code_until: float | None
    joins_from: float | None = None
    """The preceptor has looked at who had joined by then, and knows them."""

    def code_holds(self, now: float) -> bool:
        """Say whether the code lets anyone in."""
        return self.code is not None and self.code_until is not None and now < self.code_until


@dataclass(frozen=True)
class Member:
    """A learner of a class."""

    learner: int
    name: str
    joined_at: float
    has_phrase: bool


@dataclass(frozen=True)
class Drill:
    """A drill as its preceptor set it; distances in cm, times in seconds since 1970."""

    id: int
    class_id: int
    title: str
    types: tuple[str, ...]
    slips: tuple[SlipKey, ...]
    level: str
    form: str
    distance_cm: float
    fixed_distance: bool
    cases: int | None
    minutes: float | None
    same: bool
    seed: int
    opens_at: float | None
    closes_at: float | None
    feedback: str
    pass_mark: int | None
    notes: str
    for_learner: int | None
    made_at: float
    state: str
    least: int | None = None
    """Of a drill of minutes: its share is of so many cases at least; None: it has no share and no pass mark."""
    counts: bool = False
    """Whether those who joined the class after it opened have to be let in."""
    opened_at: float | None = None
    """When it was first opened by hand; None: never, or before this was kept."""

    def is_open(self, now: float) -> bool:
        """Say whether it can be worked on."""
        return (
            self.state == "open"
            and (self.opens_at is None or now >= self.opens_at)
            and (self.closes_at is None or now < self.closes_at)
        )

    @property
    def length(self) -> str:
        """How long it is, in words."""
        if self.minutes is not None:
            return "one minute" if self.minutes == 1 else f"{self.minutes:g} minutes"
        return "one case" if self.cases == 1 else f"{self.cases} cases"

    @property
    def open_from(self) -> float | None:
        """Since when learners could see it; None where that is not known."""
        return None if self.opened_at is None else max(self.opened_at, self.opens_at or 0.0)

    @property
    def at_once(self) -> bool:
        """Whether each answer is shown its mark at once."""
        return self.feedback == "once"


@dataclass(frozen=True)
class KeptCase:
    """A case of a drill, as it is kept with it; places count from 0."""

    place: int
    type: str
    seed: int
    findings: dict[str, Any]
    """As JSON holds them."""


# --- preceptors and sign-ins -------------------------------------------------------------------------------------


def has_preceptor(store: Store) -> bool:
    """Say whether there is any preceptor."""
    return bool(store.fetch("SELECT 1 FROM preceptors LIMIT 1"))


def preceptor_named(store: Store, name: str) -> Preceptor | None:
    """Return the preceptor of this name, however its letters are cased."""
    return store.fetch_one(Preceptor, "SELECT * FROM preceptors WHERE name = ?", name)


def add_preceptor(store: Store, name: str, password: str, now: float) -> int:
    """Add a preceptor with the hash of a password and return the number."""
    return store.add("preceptors", {"name": name, "password": password, "made_at": now})


def keep_password(store: Store, preceptor_id: int, password: str) -> None:
    """Keep the hash of a new password, and end every sign-in made with the old one."""
    store.change("UPDATE preceptors SET password = ? WHERE id = ?", password, preceptor_id)
    store.change("DELETE FROM sign_ins WHERE preceptor = ?", preceptor_id)


def preceptor_with(store: Store, token: str, now: float) -> Preceptor | None:
    """Return the preceptor whose sign-in this is, while it holds."""
    return store.fetch_one(
        Preceptor,
        "SELECT p.* FROM sign_ins s JOIN preceptors p ON p.id = s.preceptor WHERE s.token = ? AND s.until > ?",
        token,
        now,
    )


def learner_with(store: Store, token: str, now: float) -> Learner | None:
    """Return the learner whose sign-in this is, while it holds."""
    return store.learner_where("JOIN sign_ins s ON s.learner = l.id WHERE s.token = ? AND s.until > ?", token, now)


def add_sign_in(
    store: Store, token: str, *, preceptor: int | None = None, learner: int | None = None, now: float, until: float
) -> None:
    """Keep a sign-in, and drop those that have run out."""
    store.change("DELETE FROM sign_ins WHERE until <= ?", now)
    row = {"token": token, "preceptor": preceptor, "learner": learner, "made_at": now, "until": until}
    store.add("sign_ins", row)


def end_sign_in(store: Store, token: str) -> None:
    """End one sign-in."""
    store.change("DELETE FROM sign_ins WHERE token = ?", token)


def end_sign_ins_of_learner(store: Store, learner_id: int) -> None:
    """End a learner's sign-ins on every device."""
    store.change("DELETE FROM sign_ins WHERE learner = ?", learner_id)


def end_sign_ins_of_preceptor(store: Store, preceptor_id: int) -> None:
    """End a preceptor's sign-ins on every device."""
    store.change("DELETE FROM sign_ins WHERE preceptor = ?", preceptor_id)


# --- classes and their learners ----------------------------------------------------------------------------------


def classes_of(store: Store, preceptor_id: int) -> list[Class]:
    """Return a preceptor's classes, the newest first."""
    return store.fetch_as(Class, "SELECT * FROM classes WHERE preceptor = ? ORDER BY id DESC", preceptor_id)


def class_of_id(store: Store, class_id: int) -> Class | None:
    """Return a class."""
    return store.fetch_one(Class, "SELECT * FROM classes WHERE id = ?", class_id)


def class_with_code(store: Store, code: str) -> Class | None:
    """Return the class that has this code, whether or not it still holds."""
    return store.fetch_one(Class, "SELECT * FROM classes WHERE code = ?", code)


def class_of_learner(store: Store, learner_id: int) -> Class | None:
    """Return the class that a learner joined."""
    return store.fetch_one(
        Class, "SELECT c.* FROM members m JOIN classes c ON c.id = m.class WHERE m.learner = ?", learner_id
    )


def add_class(store: Store, preceptor_id: int, name: str, now: float) -> int:
    """Add a class and return its number."""
    return store.add("classes", {"preceptor": preceptor_id, "name": name, "made_at": now})


def keep_code(store: Store, class_id: int, code: str | None, until: float | None) -> None:
    """Give a class a code, or none."""
    store.change("UPDATE classes SET code = ?, code_until = ? WHERE id = ?", code, until, class_id)


def keep_joins_from(store: Store, class_id: int, at: float) -> None:
    """Keep that the preceptor knows those who had joined by then."""
    store.change("UPDATE classes SET joins_from = ? WHERE id = ?", at, class_id)


def joined_since(store: Store, class_id: int, at: float) -> int:
    """Count those who joined a class after a moment and are still in it."""
    return int(store.fetch("SELECT count(*) FROM members WHERE class = ? AND joined_at > ?", class_id, at)[0][0])


def remove_learner(store: Store, learner_id: int, *, on_day: str, by_whom: str) -> None:
    """Remove a learner with all that was kept of them, the drills that were for them alone included.

    Each other drill that they had begun keeps a mark: the day, and whether they went by themselves ("owner") or were
    removed ("preceptor").
    """
    own = [row[0] for row in store.fetch("SELECT id FROM drills WHERE for_learner = ?", learner_id)]
    store.change(
        "INSERT INTO deletions (drill, on_day, by_whom) SELECT s.drill, ?, ? FROM sittings s "
        "JOIN drills d ON d.id = s.drill WHERE s.learner = ? AND d.for_learner IS NULL",
        on_day,
        by_whom,
        learner_id,
    )
    store.remove_learner(learner_id)
    for drill in own:
        store.change("DELETE FROM drills WHERE id = ?", drill)


def remove_class(store: Store, class_id: int) -> None:
    """Remove a class with its drills, its learners and all that they answered."""
    store.change("DELETE FROM learners WHERE id IN (SELECT learner FROM members WHERE class = ?)", class_id)
    store.change("DELETE FROM classes WHERE id = ?", class_id)


def members_of(store: Store, class_id: int) -> list[Member]:
    """Return the learners of a class by name."""
    return store.fetch_as(
        Member,
        "SELECT m.learner, l.name, m.joined_at, m.phrase IS NOT NULL AS has_phrase "
        "FROM members m JOIN learners l ON l.id = m.learner WHERE m.class = ? ORDER BY l.name COLLATE NOCASE, l.id",
        class_id,
    )


def learners_of(store: Store, class_id: int) -> list[Learner]:
    """Return the learners of a class as learners."""
    return store.learners_where("JOIN members m ON m.learner = l.id WHERE m.class = ?", class_id)


def add_member(store: Store, learner_id: int, class_id: int, now: float, joined_with: str) -> None:
    """Let a learner be one of a class."""
    row = {"learner": learner_id, "class": class_id, "joined_at": now, "joined_with": joined_with}
    store.add("members", row)


def learner_joined_with(store: Store, class_id: int, joined_with: str) -> Learner | None:
    """Return the learner whom this very form made."""
    rest = "JOIN members m ON m.learner = l.id WHERE m.joined_with = ? AND m.class = ?"
    return store.learner_where(rest, joined_with, class_id)


def keep_phrase(store: Store, learner_id: int, phrase: str | None) -> None:
    """Keep the hash of a learner's come-back phrase; the one before no longer opens anything."""
    store.change("UPDATE members SET phrase = ? WHERE learner = ?", phrase, learner_id)


def learner_with_phrase(store: Store, phrase: str) -> Learner | None:
    """Return the learner whose come-back phrase has this hash."""
    return store.learner_where("JOIN members m ON m.learner = l.id WHERE m.phrase = ?", phrase)


# --- drills ------------------------------------------------------------------------------------------------------

_DRILLS = "SELECT d.*, d.class AS class_id FROM drills d"


def add_drill(store: Store, class_id: int, plan: object, *, seed: int, now: float) -> int:
    """Add a drill as a draft, its plan a dataclass with fields as in `Drill`, and return its number."""
    row = {"class": class_id, "seed": seed, "made_at": now, "state": "draft"}
    return store.add("drills", {**to_row(plan), **row})


def change_drill(store: Store, drill_id: int, plan: object) -> None:
    """Give a drill that nobody has begun another plan."""
    row = to_row(plan)
    sets = ", ".join(f"{name} = ?" for name in row)
    store.change(f"UPDATE drills SET {sets} WHERE id = ?", *row.values(), drill_id)  # noqa: S608 - a plan's own names


def drill_of_id(store: Store, drill_id: int) -> Drill | None:
    """Return a drill."""
    return store.fetch_one(Drill, f"{_DRILLS} WHERE d.id = ?", drill_id)


def drills_of(store: Store, class_id: int) -> list[Drill]:
    """Return the drills of a class, the newest first."""
    return store.fetch_as(Drill, f"{_DRILLS} WHERE d.class = ? ORDER BY d.id DESC", class_id)


def drills_for(store: Store, learner: Learner) -> list[Drill]:
    """Return the drills of a learner's class that are for all or for this learner, drafts left out."""
    if not learner.joined:
        return []
    return store.fetch_as(
        Drill,
        f"{_DRILLS} JOIN members m ON m.class = d.class WHERE m.learner = ?1 AND d.state <> 'draft' "
        "AND (d.for_learner IS NULL OR d.for_learner = ?1) ORDER BY d.id",
        learner.id,
    )


def types_in_drill(store: Store, learner: Learner, now: float) -> frozenset[str]:
    """Return the types of the open drills that a learner has not come to the end of."""
    return frozenset(
        type_id
        for one in drills_for(store, learner)
        if one.is_open(now) and ((run := run_of(store, one.id, learner.id)) is None or run.ended_at is None)
        for type_id in one.types
    )


def set_state(store: Store, drill_id: int, state: str) -> None:
    """Open or close a drill."""
    store.change("UPDATE drills SET state = ? WHERE id = ?", state, drill_id)


def set_opened(store: Store, drill_id: int, now: float) -> None:
    """Keep when a drill was opened for the first time."""
    store.change("UPDATE drills SET opened_at = ? WHERE id = ? AND opened_at IS NULL", now, drill_id)


def set_times(store: Store, drill_id: int, opens_at: float | None, closes_at: float | None) -> None:
    """Set when a drill opens and closes by itself."""
    store.change("UPDATE drills SET opens_at = ?, closes_at = ? WHERE id = ?", opens_at, closes_at, drill_id)


def remove_drill(store: Store, drill_id: int) -> None:
    """Remove a drill that nobody has begun."""
    store.change("DELETE FROM drills WHERE id = ?", drill_id)


def kept_cases(store: Store, drill_id: int, *, first: int) -> list[KeptCase]:
    """Return the cases that a drill keeps at its first places, in their order; a place may have none yet."""
    sql = "SELECT * FROM drill_cases WHERE drill = ? AND place < ? ORDER BY place"
    return store.fetch_as(KeptCase, sql, drill_id, first)


def kept_case(store: Store, drill_id: int, place: int) -> KeptCase | None:
    """Return the case that a drill keeps at a place, if it keeps one there."""
    return store.fetch_one(KeptCase, "SELECT * FROM drill_cases WHERE drill = ? AND place = ?", drill_id, place)


def keep_cases(store: Store, drill_id: int, cases: Iterable[KeptCase]) -> None:
    """Keep cases with a drill; a place that has one keeps it."""
    for one in cases:
        store.add("drill_cases", {"drill": drill_id, **to_row(one)}, conflict="ON CONFLICT DO NOTHING")


def forget_cases(store: Store, drill_id: int) -> None:
    """Let a drill that nobody has begun keep no cases."""
    store.change("DELETE FROM drill_cases WHERE drill = ?", drill_id)


def is_begun(store: Store, drill_id: int) -> bool:
    """Say whether anyone has begun a drill."""
    return bool(store.fetch("SELECT 1 FROM sittings WHERE drill = ? LIMIT 1", drill_id))


def run_of(store: Store, drill_id: int, learner_id: int) -> Sitting | None:
    """Return the sitting in which a learner works through a drill."""
    return store.sitting_where("WHERE s.drill = ? AND s.learner = ?", drill_id, learner_id)


def untold(store: Store, learner: Learner) -> list[Answer]:
    """Return the answers whose marks a learner may not see yet: of drills that show them at their end."""
    runs = [run_of(store, one.id, learner.id) for one in drills_for(store, learner) if not one.at_once]
    return [one for run in runs if run is not None and run.ended_at is None for one in store.answers_in(run.id)]


def runs_of(store: Store, drill_id: int) -> list[Sitting]:
    """Return everyone's sittings in a drill."""
    return store.sittings_where("WHERE s.drill = ?", drill_id)


def open_case_of(store: Store, drill_id: int, learner_id: int) -> Dealt | None:
    """Return the case of a drill that waits for this learner's answer."""
    return store.fetch_one(
        Dealt, "SELECT * FROM dealt WHERE drill = ? AND learner = ? AND closed_at IS NULL", drill_id, learner_id
    )


def dealt_in(store: Store, sitting_id: int) -> int:
    """Count the cases dealt in a sitting."""
    return int(store.fetch("SELECT count(*) FROM dealt WHERE sitting = ?", sitting_id)[0][0])


# --- who a drill is for, and what stays of those who are gone -----------------------------------------------------


@dataclass(frozen=True)
class Deletion:
    """Learners who had begun a drill and were deleted on one day, and nothing else of them."""

    on_day: str
    """ISO 8601."""
    by_whom: str
    """"owner" or "preceptor"."""
    learners: int


def deletions_in(store: Store, drill_id: int) -> list[Deletion]:
    """Return what stays of learners who had begun a drill and are gone, day by day."""
    return store.fetch_as(
        Deletion,
        "SELECT on_day, by_whom, count(*) AS learners FROM deletions WHERE drill = ? GROUP BY on_day, by_whom "
        "ORDER BY on_day, by_whom",
        drill_id,
    )


def first_begun(store: Store, drill_id: int) -> float | None:
    """Return when the first of those who are here began a drill."""
    found = store.fetch("SELECT min(started_at) FROM sittings WHERE drill = ?", drill_id)[0][0]
    return None if found is None else float(found)


def joined_at(store: Store, learner_id: int) -> float | None:
    """Return when a learner joined their class."""
    return next((row[0] for row in store.fetch("SELECT joined_at FROM members WHERE learner = ?", learner_id)), None)


def let_in(store: Store, drill_id: int, learner_id: int, now: float) -> None:
    """Let a learner into a drill that counts although they joined after it opened."""
    store.change("INSERT OR IGNORE INTO let_in (drill, learner, at) VALUES (?, ?, ?)", drill_id, learner_id, now)


def were_let_in(store: Store, drill_id: int) -> dict[int, float]:
    """Return who was let into a drill, and when."""
    return {row[0]: row[1] for row in store.fetch("SELECT learner, at FROM let_in WHERE drill = ?", drill_id)}


def overdue_runs(store: Store, now: float, grace_s: float) -> list[Sitting]:
    """Return the runs through drills of minutes that have not ended although their minutes, and the grace, are over."""
    # Asked with every page: the plus keeps SQLite to the small index of what is under way (sittings_timed).
    where = "WHERE s.minutes IS NOT NULL AND s.ended_at IS NULL AND s.started_at < ?2 AND +s.drill IS NOT NULL"
    return store.sittings_where(f"{where} AND s.started_at + 60 * s.minutes + ?1 < ?2", grace_s, now)
