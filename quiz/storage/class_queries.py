"""Every question to the data file about preceptors, classes, sign-ins and drills; results are result_queries.py's.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quiz.learning.state import SlipKey
from quiz.storage.engines.dialect import ascii_lower
from quiz.storage.rows import to_row
from quiz.storage.safekeeping.gone_list import Gone
from quiz.storage.store import Answer, Dealt, Learner, Sitting, Store


@dataclass(frozen=True)
class Preceptor:
    """Someone who sets drills and sees a class's results."""

    id: int
    name: str
    password: str
    """Its salted hash, never the password itself."""
    made_at: float
    administrator: bool = False
    """Whether they look after the other preceptors."""


@dataclass(frozen=True)
class Class:
    """A class, and the code by which it is joined."""

    id: int
    preceptor: int
    """Who owns it."""
    name: str
    made_at: float
    code: str | None
    code_until: float | None
    joins_from: float | None = None
    """The preceptor has looked at who had joined by then, and knows them."""
    asks: bool = False
    """Whether who types the code waits until a preceptor lets them in."""
    archived_at: float | None = None
    """When it was put away: nobody works on its drills, and nothing in it is changed."""
    region: str = "europe"
    """As where the refractions of its drawn patients are: an id of cases.patients.population."""
    school: int | None = None
    """Whose it is; None only for what is left of a removed class."""
    removed_at: float | None = None
    """When it was removed; what is left are drills that learners of another class had begun."""

    def code_holds(self, now: float) -> bool:
        """Say whether the code lets anyone in."""
        return self.code is not None and self.code_until is not None and now < self.code_until


@dataclass(frozen=True)
class Allowance:
    """What one learner has beyond the others in a drill."""

    closes_at: float | None = None
    """Their own time to close, in place of the drill's."""
    extra_minutes: float = 0.0
    extra_time: int = 0
    """Per cent of the time."""


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
    """Of a drill of minutes: its share is of this many cases at least; None: it has no share and no pass mark."""
    counts: bool = False
    """Whether those who joined the class after it opened have to be let in."""
    opened_at: float | None = None
    """When it was first opened by hand; None: never, or before this was kept."""
    closed_at: float | None = None
    """When it was closed by hand, while it is."""
    chosen: bool = False
    """Whether it is for some groups and people, and not for everyone."""
    test: bool = False
    """Whether nothing else is open to a learner until they have come to its end."""
    limit_minutes: float | None = None
    """The time for this many cases."""
    may_return: bool = False
    """Whether a case can be put back for later."""
    aids: tuple[str, ...] = ()
    """What stays open beside a test."""
    region: str = "europe"
    """As where the refractions of its drawn patients are."""
    shuffled: bool = False
    """Whether the same cases come in another order for each learner."""
    together: bool = False
    """Whether its time runs for all at once."""
    started_at: float | None = None
    """When it was started for all by hand."""
    own_cases: tuple[int, ...] = ()
    """Cases that preceptors wrote, by their numbers: they come first."""

    def end_for(self, given: Allowance | None = None) -> float | None:
        """Return when it closes for a learner with this allowance; None: not before it is closed by hand."""
        if given is not None and given.closes_at is not None:
            return given.closes_at
        ends = [self.closes_at, self.closed_at]
        if given is not None and self.closes_at is not None and self.time is not None:
            ends[0] = self.closes_at + 60 * self.time * given.extra_time / 100
        return min((at for at in ends if at is not None), default=None)

    def due_for(self, begun_at: float, given: Allowance | None = None) -> float | None:
        """Return when the server ends a run that began then; None where the drill has no time of its own."""
        if self.time is None:
            return None
        if self.together:
            begun_at = self.starts_at or begun_at
        minutes = self.time if given is None else self.time * (1 + given.extra_time / 100) + given.extra_minutes
        end = self.end_for(given)
        return begun_at + 60 * minutes if end is None else min(begun_at + 60 * minutes, end)

    def is_open(self, now: float, given: Allowance | None = None) -> bool:
        """Say whether it can be worked on, by a learner with this allowance."""
        end = self.end_for(given)
        return (
            self.state != "draft"
            and (not self.together or (self.starts_at is not None and now >= self.starts_at))
            and (self.opens_at is None or now >= self.opens_at)
            and (now < end if end is not None else self.state == "open")
        )

    @property
    def time(self) -> float | None:
        """The minutes after which the server ends a run; None: it has none."""
        return self.limit_minutes if self.minutes is None else self.minutes

    @property
    def starts_at(self) -> float | None:
        """When the time of a drill with a start together begins; None: its preceptor has not started it yet."""
        return self.started_at if self.opens_at is None else self.opens_at

    def awaited(self, now: float) -> bool:
        """Say whether learners wait for a start together."""
        return self.together and self.state == "open" and (self.starts_at is None or now < self.starts_at)

    @property
    def length(self) -> str:
        """How long it is, in words."""
        if self.minutes is not None:
            return "one minute" if self.minutes == 1 else f"{self.minutes:g} minutes"
        cases = "one case" if self.cases == 1 else f"{self.cases} cases"
        return cases if self.limit_minutes is None else f"{cases} in {self.limit_minutes:g} minutes"

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
    words: str = ""
    """What stands before the findings of a case that a preceptor wrote."""


# --- preceptors and sign-ins -------------------------------------------------------------------------------------


def has_preceptor(store: Store) -> bool:
    """Say whether there is any preceptor."""
    return bool(store.fetch("SELECT 1 FROM preceptors LIMIT 1"))


def preceptor_named(store: Store, name: str) -> Preceptor | None:
    """Return the preceptor of this name, however its letters are cased."""
    return store.fetch_one(Preceptor, "SELECT * FROM preceptors WHERE lower(name) = ?", ascii_lower(name))


def add_preceptor(store: Store, name: str, password: str, now: float, *, school: int) -> int:
    """Add a preceptor of a school with the hash of a password and return the number."""
    number = store.add("preceptors", {"name": name, "password": password, "made_at": now})
    store.add("school_people", {"school": school, "preceptor": number, "administrator": 0, "added_at": now})
    return number


def keep_password(store: Store, preceptor_id: int, password: str) -> None:
    """Keep the hash of a new password, and end every sign-in made with the old one, and links that set another."""
    store.change("UPDATE preceptors SET password = ? WHERE id = ?", password, preceptor_id)
    end_password_links(store, preceptor_id)
    store.change("DELETE FROM sign_ins WHERE preceptor = ?", preceptor_id)


def end_password_links(store: Store, preceptor_id: int) -> None:
    """Let no link set a preceptor's password any more."""
    store.change("DELETE FROM school_invitations WHERE preceptor = ?", preceptor_id)


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


def sign_in_until(store: Store, token: str) -> float:
    """Return until when a sign-in holds; 0 where there is none."""
    return next((row[0] for row in store.fetch("SELECT until FROM sign_ins WHERE token = ?", token)), 0.0)


def keep_sign_in(store: Store, token: str, until: float) -> None:
    """Let a sign-in hold until another moment."""
    store.change("UPDATE sign_ins SET until = ? WHERE token = ?", until, token)


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
    """Return the classes that a preceptor owns, teaches or reads, the newest first."""
    return store.fetch_as(
        Class,
        "SELECT * FROM classes WHERE removed_at IS NULL AND (preceptor = ?1 "
        "OR id IN (SELECT class FROM teachers WHERE preceptor = ?1)) ORDER BY id DESC",
        preceptor_id,
    )


def class_of_id(store: Store, class_id: int) -> Class | None:
    """Return a class."""
    return store.fetch_one(Class, "SELECT * FROM classes WHERE id = ?", class_id)


def class_with_code(store: Store, code: str) -> Class | None:
    """Return the class that has this code, whether or not it still holds."""
    return store.fetch_one(Class, "SELECT * FROM classes WHERE code = ?", code)


def add_class(store: Store, preceptor_id: int, name: str, now: float, *, school: int) -> int:
    """Add a class of a school, in which its owner is, and return its number."""
    return store.add("classes", {"preceptor": preceptor_id, "name": name, "made_at": now, "school": school})


def keep_code(store: Store, class_id: int, code: str | None, until: float | None) -> None:
    """Give a class a code, or none."""
    store.change("UPDATE classes SET code = ?, code_until = ? WHERE id = ?", code, until, class_id)


def keep_joins_from(store: Store, class_id: int, at: float) -> None:
    """Keep that the preceptor knows those who had joined by then."""
    store.change("UPDATE classes SET joins_from = ? WHERE id = ?", at, class_id)


def keep_asks(store: Store, class_id: int, *, asks: bool) -> None:
    """Let the person who types the code wait until they are let in, or let them in at once."""
    store.change("UPDATE classes SET asks = ? WHERE id = ?", int(asks), class_id)


def keep_region(store: Store, class_id: int, region: str) -> None:
    """Keep as where the refractions of a class's drawn patients are, from now on."""
    store.change("UPDATE classes SET region = ? WHERE id = ?", region, class_id)


def keep_archived(store: Store, class_id: int, at: float | None) -> None:
    """Put a class away, or take it out again."""
    store.change("UPDATE classes SET archived_at = ? WHERE id = ?", at, class_id)


def rename_class(store: Store, class_id: int, name: str) -> None:
    """Give a class another name."""
    store.change("UPDATE classes SET name = ? WHERE id = ?", name, class_id)


def remove_learner(store: Store, learner_id: int, *, on_day: str, by_whom: str) -> None:
    """Remove a learner with all that was kept of them, the drills that were for them alone included.

    Each other drill that they had begun keeps a mark: the day, and whether they went by themselves ("owner") or were
    removed ("preceptor"). So does their place, where it is on a roster, which then is nobody's.
    """
    _keep_gone(store, "id = ?", learner_id, on_day=on_day, by_whom=by_whom)
    own = [row[0] for row in store.fetch("SELECT id FROM drills WHERE for_learner = ?", learner_id)]
    store.change(
        "INSERT INTO deletions (drill, on_day, by_whom, place) SELECT s.drill, ?, ?, "
        "(SELECT m.id FROM members m WHERE m.learner = s.learner AND m.class = d.class AND m.on_roster = 1) "
        "FROM sittings s JOIN drills d ON d.id = s.drill WHERE s.learner = ? AND d.for_learner IS NULL",
        on_day,
        by_whom,
        learner_id,
    )
    store.change(
        "INSERT INTO set_deletions (set_in, on_day, by_whom) SELECT DISTINCT set_in, ?, ? FROM examinations "
        "WHERE learner = ? AND set_in IS NOT NULL",
        on_day,
        by_whom,
        learner_id,
    )
    store.change(
        "UPDATE members SET gone_on = ?, gone_by = ? WHERE learner = ? AND on_roster = 1", on_day, by_whom, learner_id
    )
    store.change("DELETE FROM members WHERE learner = ? AND on_roster = 0", learner_id)
    store.remove_learner(learner_id)
    for drill in own:
        store.change("DELETE FROM drills WHERE id = ?", drill)


def own_day(now: float) -> str:
    """Return the day of a moment in this computer's own time, as the tables of deletions keep it (ISO 8601)."""
    return datetime.fromtimestamp(now).astimezone().date().isoformat()


def _keep_gone(store: Store, which: str, *values: object, on_day: str, by_whom: str) -> None:
    """Keep by number that learners are deleted now; `which` says which, in words from here."""
    sql = (
        "INSERT INTO gone_learners (learner, created_at, on_day, by_whom) "  # noqa: S608
        f"SELECT id, created_at, ?, ? FROM learners WHERE {which} ON CONFLICT (learner) DO UPDATE "
        "SET created_at = excluded.created_at, on_day = excluded.on_day, by_whom = excluded.by_whom"
    )
    store.change(sql, on_day, by_whom, *values)


def gone_learners(store: Store) -> list[Gone]:
    """Return who was deleted from this data file."""
    return store.fetch_as(Gone, "SELECT learner, created_at, on_day, by_whom FROM gone_learners ORDER BY learner")


def remove_again(store: Store, gone: Iterable[Gone]) -> int:
    """Remove those of a list who are here, as after a backup from before was put back; return how many were."""
    number = 0
    for one in gone:
        here = store.fetch("SELECT 1 FROM learners WHERE id = ? AND created_at = ?", one.learner, one.created_at)
        if here:
            remove_learner(store, one.learner, on_day=one.on_day, by_whom=one.by_whom)
            number += 1
    return number


def remove_class(store: Store, class_id: int, now: float) -> None:
    """Remove a class with its drills, and its learners with all that they answered.

    Learners of another class stay, and so do the drills of this one that they had begun, for their answers name them;
    nobody sees those any more.
    """
    elsewhere = "SELECT 1 FROM members o WHERE o.learner = learners.id AND o.class <> ?1"
    here = "SELECT learner FROM {} WHERE class = ?1 AND learner IS NOT NULL"
    for table in ("members", "requests"):
        which = f"id IN ({here.format(table)}) AND NOT EXISTS ({elsewhere})"
        _keep_gone(store, which.replace("?1", "?3"), class_id, on_day=own_day(now), by_whom="preceptor")
        store.change(f"DELETE FROM learners WHERE {which}", class_id)  # noqa: S608
    end_runs_in_class(store, class_id, now)
    for table in ("members", "requests", "teachers", "class_groups", "own_cases"):
        store.change(f"DELETE FROM {table} WHERE class = ?", class_id)  # noqa: S608 - names from here
    begun = "SELECT drill FROM sittings WHERE drill IS NOT NULL"
    store.change(f"DELETE FROM drills WHERE class = ? AND id NOT IN ({begun})", class_id)  # noqa: S608 - words from here
    if store.fetch("SELECT 1 FROM drills WHERE class = ? LIMIT 1", class_id):
        store.change("UPDATE classes SET name = '', code = NULL, removed_at = ? WHERE id = ?", now, class_id)
        sql = "UPDATE drills SET title = '', notes = '', state = 'closed', closed_at = ? WHERE class = ?"
        store.change(sql, now, class_id)
    else:
        store.change("DELETE FROM classes WHERE id = ?", class_id)


def hand_what_is_left(store: Store, preceptor_id: int, to: int) -> None:
    """Let what is left of removed classes be in another preceptor's name; nobody sees it."""
    sql = "UPDATE classes SET preceptor = ? WHERE preceptor = ? AND removed_at IS NOT NULL"
    store.change(sql, to, preceptor_id)


def end_runs_in_class(store: Store, class_id: int, now: float, learner_id: int | None = None) -> None:
    """End what is under way in the drills of a class: everyone's runs, or one learner's."""
    store.change(
        "UPDATE sittings SET ended_at = ?1 WHERE ended_at IS NULL AND (learner = ?3 OR ?3 IS NULL) "
        "AND drill IN (SELECT id FROM drills WHERE class = ?2)",
        now,
        class_id,
        learner_id,
    )


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


def settle_drill(store: Store, drill_id: int, values: Mapping[str, Any]) -> None:
    """Change some columns of a drill, the person who has begun it."""
    sets = ", ".join(f"{name} = ?" for name in values)
    store.change(f"UPDATE drills SET {sets} WHERE id = ?", *values.values(), drill_id)  # noqa: S608 - names from code


def drill_of_id(store: Store, drill_id: int) -> Drill | None:
    """Return a drill."""
    return store.fetch_one(Drill, f"{_DRILLS} WHERE d.id = ?", drill_id)


def drills_of(store: Store, class_id: int) -> list[Drill]:
    """Return the drills of a class, the newest first."""
    return store.fetch_as(Drill, f"{_DRILLS} WHERE d.class = ? ORDER BY d.id DESC", class_id)


_DRILLS_FOR = """
SELECT d.*, d.class AS class_id FROM drills d JOIN members m ON m.class = d.class JOIN classes c ON c.id = d.class
WHERE m.learner = ?1 AND c.archived_at IS NULL AND d.state <> 'draft'
    AND (d.for_learner IS NULL OR d.for_learner = ?1) AND (d.chosen = 0
    OR EXISTS (SELECT 1 FROM drill_people p WHERE p.drill = d.id AND p.learner = ?1)
    OR EXISTS (SELECT 1 FROM drill_groups g JOIN group_people p ON p.class_group = g.class_group
        WHERE g.drill = d.id AND p.learner = ?1)
    OR EXISTS (SELECT 1 FROM sittings s WHERE s.drill = d.id AND s.learner = ?1))
ORDER BY d.id
"""


def drills_for(store: Store, learner: Learner) -> list[Drill]:
    """Return the drills of a learner's classes that are for them, drafts and those of archived classes left out.

    What they have begun is theirs, the person who it is for now.
    """
    if not learner.joined:
        return []
    return store.fetch_as(Drill, _DRILLS_FOR, learner.id)


def types_in_drill(store: Store, learner: Learner, now: float) -> frozenset[str]:
    """Return the types of the open drills that a learner has not come to the end of."""
    given = allowances_for(store, learner.id) if learner.joined else {}
    return frozenset(
        type_id
        for one in drills_for(store, learner)
        if one.is_open(now, given.get(one.id))
        and ((run := run_of(store, one.id, learner.id)) is None or run.ended_at is None)
        for type_id in one.types
    )


# --- what single learners have beyond the others ------------------------------------------------------------------

_ALLOWANCES = (
    "SELECT d.id AS drill, m.learner, e.closes_at, coalesce(e.extra_minutes, 0.0) AS extra_minutes, m.extra_time "
    "FROM members m JOIN drills d ON d.class = m.class "
    "LEFT JOIN extensions e ON e.drill = d.id AND e.learner = m.learner "
    "WHERE (m.extra_time > 0 OR e.drill IS NOT NULL)"
)


def allowances_for(store: Store, learner_id: int) -> dict[int, Allowance]:
    """Return what a learner has beyond the others, by drill; drills in which they have nothing are left out."""
    return {row["drill"]: _allowance(row) for row in store.fetch(f"{_ALLOWANCES} AND m.learner = ?", learner_id)}


def allowances_in(store: Store, drill_id: int) -> dict[int, Allowance]:
    """Return what learners have beyond the others in a drill, by learner."""
    return {row["learner"]: _allowance(row) for row in store.fetch(f"{_ALLOWANCES} AND d.id = ?", drill_id)}


def _allowance(row: Any) -> Allowance:
    return Allowance(row["closes_at"], row["extra_minutes"], row["extra_time"])


def end_for(store: Store, drill: Drill, learner_id: int) -> float | None:
    """Return when a drill closes for a learner."""
    return drill.end_for(allowances_for(store, learner_id).get(drill.id))


def keep_extension(store: Store, drill_id: int, learner_id: int, closes_at: float | None, extra_minutes: float) -> None:
    """Give one learner a time to close of their own, and this many minutes more; neither takes what they had back."""
    store.change("DELETE FROM extensions WHERE drill = ? AND learner = ?", drill_id, learner_id)
    if closes_at is not None or extra_minutes:
        row = {"drill": drill_id, "learner": learner_id, "closes_at": closes_at, "extra_minutes": extra_minutes}
        store.add("extensions", row)


def close_extensions(store: Store, drill_id: int, now: float) -> None:
    """Let no learner's own time to close be later than now."""
    store.change("UPDATE extensions SET closes_at = ?1 WHERE drill = ?2 AND closes_at > ?1", now, drill_id)


def set_due(store: Store, sitting_id: int, due_at: float | None) -> None:
    """Let the server end a run at another moment; one that has ended stays ended."""
    store.change("UPDATE sittings SET due_at = ? WHERE id = ? AND ended_at IS NULL", due_at, sitting_id)


# --- changing a drill --------------------------------------------------------------------------------------------


def set_state(store: Store, drill_id: int, state: str) -> None:
    """Open or close a drill."""
    store.change("UPDATE drills SET state = ? WHERE id = ?", state, drill_id)


def set_opened(store: Store, drill_id: int, now: float) -> None:
    """Keep when a drill was opened for the first time."""
    store.change("UPDATE drills SET opened_at = ? WHERE id = ? AND opened_at IS NULL", now, drill_id)


def set_times(store: Store, drill_id: int, opens_at: float | None, closes_at: float | None) -> None:
    """Set when a drill opens and closes by itself."""
    store.change("UPDATE drills SET opens_at = ?, closes_at = ? WHERE id = ?", opens_at, closes_at, drill_id)


def set_closed(store: Store, drill_id: int, at: float | None) -> None:
    """Keep when a drill was closed by hand; None: it is not."""
    store.change("UPDATE drills SET closed_at = ? WHERE id = ?", at, drill_id)


def open_and_counting(store: Store, class_id: int, now: float) -> list[Drill]:
    """Return the drills of a class that count and are open: its roster is closed as long."""
    sql = f"{_DRILLS} WHERE d.class = ? AND d.counts = 1 AND d.state = 'open' ORDER BY d.id"
    return [one for one in store.fetch_as(Drill, sql, class_id) if one.end_for() is None or now < (one.end_for() or 0)]


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
        Dealt,
        "SELECT * FROM dealt WHERE drill = ? AND learner = ? AND closed_at IS NULL AND flagged_at IS NULL",
        drill_id,
        learner_id,
    )


def put_back(store: Store, dealt_id: str, now: float) -> None:
    """Put a case of a drill that waits back for later."""
    store.change("UPDATE dealt SET flagged_at = ? WHERE id = ? AND closed_at IS NULL", now, dealt_id)


def put_back_in(store: Store, sitting_id: int) -> list[Dealt]:
    """Return the cases of a run that were put back and wait yet, in the order in which they were."""
    sql = "SELECT * FROM dealt WHERE sitting = ? AND closed_at IS NULL AND flagged_at IS NOT NULL ORDER BY flagged_at"
    return store.fetch_as(Dealt, sql, sitting_id)


def places_in(store: Store, sitting_id: int) -> dict[str, int]:
    """Return the place, from 1, at which each case of a run was dealt."""
    rows = store.fetch("SELECT id FROM dealt WHERE sitting = ? ORDER BY dealt_at, rowid", sitting_id)
    return {row[0]: place for place, row in enumerate(rows, 1)}


def set_started(store: Store, drill_id: int, now: float) -> None:
    """Keep when a drill was started for all by hand; one that was started stays so."""
    store.change("UPDATE drills SET started_at = ? WHERE id = ? AND started_at IS NULL", now, drill_id)


def run_through_test(store: Store, learner_id: int) -> tuple[Sitting, Drill] | None:
    """Return the run through a test that a learner has not come to the end of, and its drill."""
    where = (
        "JOIN drills d ON d.id = s.drill "
        "WHERE s.learner = ? AND s.ended_at IS NULL AND s.drill IS NOT NULL AND d.test = 1"
    )
    for run in store.sittings_where(where, learner_id):
        drill = drill_of_id(store, run.drill or 0)
        if drill is not None:
            return run, drill
    return None


def dealt_in(store: Store, sitting_id: int) -> int:
    """Count the cases dealt in a sitting."""
    return int(store.fetch("SELECT count(*) FROM dealt WHERE sitting = ?", sitting_id)[0][0])


# --- who a drill is for, and what stays of those who are gone -----------------------------------------------------


@dataclass(frozen=True)
class Deletion:
    """Learners who had begun a drill and were deleted on one day, and nothing of them that the roster does not say."""

    on_day: str
    """ISO 8601."""
    by_whom: str
    """"owner" or "preceptor"."""
    learners: int
    name: str | None
    """The roster's own, where the one learner had a place in it."""
    number: str | None


def deletions_in(store: Store, drill_id: int) -> list[Deletion]:
    """Return what stays of learners who had begun a drill and are gone: place by place, else day by day."""
    return store.fetch_as(
        Deletion,
        "SELECT d.on_day, d.by_whom, count(*) AS learners, m.name, m.number FROM deletions d "
        "LEFT JOIN members m ON m.id = d.place WHERE d.drill = ? "
        "GROUP BY d.on_day, d.by_whom, d.place, m.name, m.number ORDER BY d.on_day, d.by_whom, m.name NULLS FIRST",
        drill_id,
    )


def first_begun(store: Store, drill_id: int) -> float | None:
    """Return when the first of those who are here began a drill."""
    found = store.fetch("SELECT min(started_at) FROM sittings WHERE drill = ?", drill_id)[0][0]
    return None if found is None else float(found)


def let_in(store: Store, drill_id: int, learner_id: int, now: float) -> None:
    """Let a learner into a drill that counts although they joined after it opened."""
    store.change(
        "INSERT INTO let_in (drill, learner, at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", drill_id, learner_id, now
    )


def were_let_in(store: Store, drill_id: int) -> dict[int, float]:
    """Return who was let into a drill, and when."""
    return {row[0]: row[1] for row in store.fetch("SELECT learner, at FROM let_in WHERE drill = ?", drill_id)}


def overdue_runs(store: Store, now: float, grace_s: float) -> list[Sitting]:
    """Return the runs through timed drills that have not ended although their time, and the grace, are over."""
    # Asked with every page: the index of what is under way (sittings_due) answers it.
    return store.sittings_where("WHERE s.due_at < ? AND s.due_at IS NOT NULL AND s.ended_at IS NULL", now - grace_s)
