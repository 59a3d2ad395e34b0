"""Every question to the data file about who is in a class: places, come-back phrases, requests, groups, co-teachers.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quiz.storage.class_queries import Class, Preceptor
from quiz.storage.rows import write_json
from quiz.storage.store import Learner, Store

MOST_LEARNERS = 500
"""In one class: as many as one page can show."""


@dataclass(frozen=True)
class Member:
    """A learner of a class, and their place in it."""

    id: int
    """Of the place."""
    learner: int
    name: str
    """As the roster has it, else as the learner chose it."""
    number: str | None
    """The school's own for this learner."""
    joined_at: float
    on_roster: bool
    extra_time: int
    """Per cent of the time of a timed drill."""
    has_phrase: bool
    gone_on: str | None
    """The day on which a learner who had this place before was deleted, ISO 8601."""


@dataclass(frozen=True)
class EmptyPlace:
    """A place of the roster whose learner is gone: nothing of them but the roster's own name and number."""

    id: int
    name: str | None
    number: str | None
    gone_on: str
    gone_by: str
    """"owner" or "preceptor"."""


@dataclass(frozen=True)
class Request:
    """Someone who typed the code of a class that asks its preceptor first."""

    learner: int
    name: str
    asked_at: float
    joined_with: str


@dataclass(frozen=True)
class ClassGroup:
    """Some learners of a class."""

    id: int
    class_id: int
    name: str
    made_at: float
    people: int
    """How many are in it."""


@dataclass(frozen=True)
class Teacher:
    """A preceptor of a class beside its owner."""

    preceptor: int
    name: str
    role: str
    """"co-teacher" or "reader"."""
    added_at: float


# --- places ------------------------------------------------------------------------------------------------------

_MEMBERS = (
    "SELECT m.id, m.learner, m.number, m.joined_at, m.on_roster, m.extra_time, m.gone_on, "
    "coalesce(m.name, l.name) AS name, EXISTS (SELECT 1 "
    "FROM phrases p WHERE p.learner = m.learner AND p.phrase IS NOT NULL) AS has_phrase "
    "FROM members m JOIN learners l ON l.id = m.learner WHERE m.class = ?"
)


def members_of(store: Store, class_id: int) -> list[Member]:
    """Return the learners of a class by name."""
    return store.fetch_as(Member, f"{_MEMBERS} ORDER BY lower(coalesce(m.name, l.name)), l.id", class_id)


def member_of(store: Store, class_id: int, learner_id: int) -> Member | None:
    """Return a learner's place in a class; None where they have none."""
    return store.fetch_one(Member, f"{_MEMBERS} AND m.learner = ?", class_id, learner_id)


def empty_places_of(store: Store, class_id: int) -> list[EmptyPlace]:
    """Return the places of a roster whose learners are gone, by name."""
    return store.fetch_as(
        EmptyPlace,
        "SELECT * FROM members WHERE class = ? AND learner IS NULL AND gone_on IS NOT NULL "
        "ORDER BY lower(name) NULLS FIRST, id",
        class_id,
    )


def classes_with(store: Store, learner_id: int) -> list[Class]:
    """Return the classes in which a learner has a place, the latest to be joined first."""
    return store.fetch_as(
        Class,
        "SELECT c.* FROM members m JOIN classes c ON c.id = m.class WHERE m.learner = ? ORDER BY m.id DESC",
        learner_id,
    )


def learners_of(store: Store, class_id: int) -> list[Learner]:
    """Return the learners of a class as learners."""
    return store.learners_where("JOIN members m ON m.learner = l.id WHERE m.class = ?", class_id)


def count_places(store: Store, class_id: int) -> int:
    """Count the places of a class that have a learner."""
    sql = "SELECT count(*) FROM members WHERE class = ? AND learner IS NOT NULL"
    return int(store.fetch(sql, class_id)[0][0])


def add_member(
    store: Store,
    learner_id: int,
    class_id: int,
    now: float,
    joined_with: str | None = None,
    *,
    name: str | None = None,
    number: str | None = None,
) -> int:
    """Give a learner a place in a class and return its number; on the roster where the roster has a name for it."""
    row = {"learner": learner_id, "class": class_id, "joined_at": now, "joined_with": joined_with}
    place = store.add("members", row | {"name": name, "number": number, "on_roster": int(name is not None)})
    store.change("INSERT INTO phrases (learner) VALUES (?) ON CONFLICT DO NOTHING", learner_id)
    return place


def keep_place(store: Store, place: int, *, name: str | None, number: str | None, on_roster: bool) -> None:
    """Give a place another name and number."""
    sql = "UPDATE members SET name = ?, number = ?, on_roster = ? WHERE id = ?"
    store.change(sql, name, number, int(on_roster), place)


def keep_extra_time(store: Store, class_id: int, learner_ids: Iterable[int], per_cent: int) -> None:
    """Give learners of a class so much more of the time of timed drills."""
    for one in learner_ids:
        store.change("UPDATE members SET extra_time = ? WHERE class = ? AND learner = ?", per_cent, class_id, one)


def give_place(store: Store, place: int, learner_id: int, now: float) -> None:
    """Give a place of the roster to a learner: the one who had it is gone, or is this very person."""
    store.change("UPDATE members SET learner = ?, joined_at = ? WHERE id = ?", learner_id, now, place)
    store.change("INSERT INTO phrases (learner) VALUES (?) ON CONFLICT DO NOTHING", learner_id)


def remove_place(store: Store, place: int) -> None:
    """Remove a place; its learner, if it has one, stays."""
    store.change("DELETE FROM members WHERE id = ?", place)


def leave_class(store: Store, class_id: int, learner_id: int) -> None:
    """Take a learner out of a class and its groups; what they answered stays theirs."""
    store.change("DELETE FROM members WHERE class = ? AND learner = ?", class_id, learner_id)
    store.change(
        "DELETE FROM group_people WHERE learner = ? AND class_group IN (SELECT id FROM class_groups WHERE class = ?)",
        learner_id,
        class_id,
    )


def learner_joined_with(store: Store, class_id: int, joined_with: str) -> Learner | None:
    """Return the learner whom this very form made."""
    rest = "JOIN members m ON m.learner = l.id WHERE m.joined_with = ? AND m.class = ?"
    return store.learner_where(rest, joined_with, class_id) or store.learner_where(
        "JOIN requests r ON r.learner = l.id WHERE r.joined_with = ? AND r.class = ?", joined_with, class_id
    )


def joined_since(store: Store, class_id: int, at: float) -> int:
    """Count those who joined a class by themselves after a moment, or asked to, and are still there."""
    sql = (
        "SELECT (SELECT count(*) FROM members WHERE class = ?1 AND joined_at > ?2 AND joined_with IS NOT NULL "
        "AND learner IS NOT NULL) + (SELECT count(*) FROM requests WHERE class = ?1 AND asked_at > ?2)"
    )
    return int(store.fetch(sql, class_id, at)[0][0])


def joined_at(store: Store, class_id: int, learner_id: int) -> float | None:
    """Return when a learner joined a class."""
    sql = "SELECT joined_at FROM members WHERE class = ? AND learner = ?"
    return next((row[0] for row in store.fetch(sql, class_id, learner_id)), None)


def in_other_classes(store: Store, class_id: int) -> frozenset[int]:
    """Return those learners of a class who have a place in another one too."""
    sql = (
        "SELECT m.learner FROM members m WHERE m.class = ?1 AND m.learner IS NOT NULL AND EXISTS "
        "(SELECT 1 FROM members o WHERE o.learner = m.learner AND o.class <> ?1)"
    )
    return frozenset(row[0] for row in store.fetch(sql, class_id))


# --- come-back phrases -------------------------------------------------------------------------------------------


def keep_phrase(store: Store, learner_id: int, phrase: str | None) -> None:
    """Keep the hash of a learner's come-back phrase; the one before no longer opens anything."""
    sql = "INSERT INTO phrases (learner, phrase) VALUES (?1, ?2) ON CONFLICT (learner) DO UPDATE SET phrase = ?2"
    store.change(sql, learner_id, phrase)


def phrase_of(store: Store, learner_id: int) -> str | None:
    """Return the hash of a learner's come-back phrase."""
    return next((row[0] for row in store.fetch("SELECT phrase FROM phrases WHERE learner = ?", learner_id)), None)


def learner_with_phrase(store: Store, phrase: str) -> Learner | None:
    """Return the learner whose come-back phrase has this hash."""
    return store.learner_where("JOIN phrases p ON p.learner = l.id WHERE p.phrase = ?", phrase)


# --- requests to join --------------------------------------------------------------------------------------------


def add_request(store: Store, class_id: int, learner_id: int, now: float, joined_with: str) -> None:
    """Keep that someone asks to join a class."""
    row = {"class": class_id, "learner": learner_id, "asked_at": now, "joined_with": joined_with}
    store.add("requests", row, conflict="ON CONFLICT (class, learner) DO NOTHING")
    store.change("INSERT INTO phrases (learner) VALUES (?) ON CONFLICT DO NOTHING", learner_id)


def requests_of(store: Store, class_id: int) -> list[Request]:
    """Return who asks to join a class, the earliest first."""
    return store.fetch_as(
        Request,
        "SELECT r.*, l.name FROM requests r JOIN learners l ON l.id = r.learner WHERE r.class = ? "
        "ORDER BY r.asked_at, r.learner",
        class_id,
    )


def asks_in(store: Store, learner_id: int) -> list[Class]:
    """Return the classes that a learner has asked to join, and waits for."""
    sql = "SELECT c.* FROM requests r JOIN classes c ON c.id = r.class WHERE r.learner = ? ORDER BY r.asked_at"
    return store.fetch_as(Class, sql, learner_id)


def end_request(store: Store, class_id: int, learner_id: int) -> None:
    """Let someone ask to join a class no longer."""
    store.change("DELETE FROM requests WHERE class = ? AND learner = ?", class_id, learner_id)


# --- groups ------------------------------------------------------------------------------------------------------

_GROUPS = (
    "SELECT g.id, g.class AS class_id, g.name, g.made_at, "
    "(SELECT count(*) FROM group_people p WHERE p.class_group = g.id) AS people FROM class_groups g"
)


def groups_of(store: Store, class_id: int) -> list[ClassGroup]:
    """Return the groups of a class by name."""
    return store.fetch_as(ClassGroup, f"{_GROUPS} WHERE g.class = ? ORDER BY lower(g.name), g.id", class_id)


def group_of_id(store: Store, group_id: int) -> ClassGroup | None:
    """Return a group."""
    return store.fetch_one(ClassGroup, f"{_GROUPS} WHERE g.id = ?", group_id)


def add_group(store: Store, class_id: int, name: str, now: float) -> int:
    """Add a group and return its number."""
    return store.add("class_groups", {"class": class_id, "name": name, "made_at": now})


def rename_group(store: Store, group_id: int, name: str) -> None:
    """Give a group another name."""
    store.change("UPDATE class_groups SET name = ? WHERE id = ?", name, group_id)


def remove_group(store: Store, group_id: int) -> None:
    """Remove a group; its learners stay in the class."""
    store.change("DELETE FROM class_groups WHERE id = ?", group_id)


def add_to_group(store: Store, group_id: int, learner_ids: Iterable[int]) -> None:
    """Put learners into a group; those who are in it stay."""
    store.change(
        "INSERT INTO group_people (class_group, learner) SELECT ?, CAST(value AS BIGINT) FROM json_each(?) "
        "WHERE true ON CONFLICT DO NOTHING",
        group_id,
        write_json(list(learner_ids)),
    )


def take_from_group(store: Store, group_id: int, learner_ids: Iterable[int]) -> None:
    """Take learners out of a group."""
    store.change(
        "DELETE FROM group_people WHERE class_group = ? AND learner IN "
        "(SELECT CAST(value AS BIGINT) FROM json_each(?))",
        group_id,
        write_json(list(learner_ids)),
    )


def people_of(store: Store, group_id: int) -> frozenset[int]:
    """Return the learners of a group."""
    return frozenset(row[0] for row in store.fetch("SELECT learner FROM group_people WHERE class_group = ?", group_id))


def groups_by_learner(store: Store, class_id: int) -> dict[int, list[str]]:
    """Return the names of the groups that each learner of a class is in."""
    found: dict[int, list[str]] = {}
    sql = (
        "SELECT p.learner, g.name FROM class_groups g JOIN group_people p ON p.class_group = g.id "
        "WHERE g.class = ? ORDER BY lower(g.name)"
    )
    for learner, name in store.fetch(sql, class_id):
        found.setdefault(learner, []).append(name)
    return found


# --- for whom a drill is -----------------------------------------------------------------------------------------


def keep_audience(store: Store, drill_id: int, groups: Iterable[int], learners: Iterable[int]) -> None:
    """Keep the groups and the people whom a drill is for; for everyone where neither is named."""
    groups, learners = sorted(set(groups)), sorted(set(learners))
    store.change("UPDATE drills SET chosen = ? WHERE id = ?", int(bool(groups or learners)), drill_id)
    store.change("DELETE FROM drill_groups WHERE drill = ?", drill_id)
    store.change("DELETE FROM drill_people WHERE drill = ?", drill_id)
    for group in groups:
        store.add("drill_groups", {"drill": drill_id, "class_group": group})
    for learner in learners:
        store.add("drill_people", {"drill": drill_id, "learner": learner})


def name_instead(store: Store, learner_id: int, other: int) -> None:
    """Let drills that are for a learner be for another one, who is the same person."""
    store.change(
        "UPDATE drill_people SET learner = ?1 WHERE learner = ?2 AND NOT EXISTS "
        "(SELECT 1 FROM drill_people o WHERE o.drill = drill_people.drill AND o.learner = ?1)",
        other,
        learner_id,
    )
    store.change("UPDATE drills SET for_learner = ? WHERE for_learner = ?", other, learner_id)


def groups_in_drill(store: Store, drill_id: int) -> list[ClassGroup]:
    """Return the groups that a drill is for."""
    sql = f"{_GROUPS} JOIN drill_groups d ON d.class_group = g.id WHERE d.drill = ? ORDER BY lower(g.name), g.id"
    return store.fetch_as(ClassGroup, sql, drill_id)


def people_in_drill(store: Store, drill_id: int) -> frozenset[int]:
    """Return the learners whom a drill names."""
    return frozenset(row[0] for row in store.fetch("SELECT learner FROM drill_people WHERE drill = ?", drill_id))


def audience_of(store: Store, drill_id: int) -> frozenset[int]:
    """Return the learners whom a drill for groups and people is for."""
    sql = (
        "SELECT learner FROM drill_people WHERE drill = ?1 UNION SELECT p.learner FROM drill_groups d "
        "JOIN group_people p ON p.class_group = d.class_group WHERE d.drill = ?1"
    )
    return frozenset(row[0] for row in store.fetch(sql, drill_id))


# --- preceptors of a class, and of the installation ---------------------------------------------------------------


def role_in(store: Store, one: Class, preceptor_id: int) -> str | None:
    """Return what a preceptor is in a class: "owner", "co-teacher", "reader" or nothing."""
    if one.preceptor == preceptor_id:
        return "owner"
    sql = "SELECT role FROM teachers WHERE class = ? AND preceptor = ?"
    return next((str(row[0]) for row in store.fetch(sql, one.id, preceptor_id)), None)


def teachers_of(store: Store, class_id: int) -> list[Teacher]:
    """Return the preceptors of a class beside its owner, by name."""
    return store.fetch_as(
        Teacher,
        "SELECT t.*, p.name FROM teachers t JOIN preceptors p ON p.id = t.preceptor WHERE t.class = ? "
        "ORDER BY lower(p.name)",
        class_id,
    )


def keep_teacher(store: Store, class_id: int, preceptor_id: int, role: str, now: float) -> None:
    """Let a preceptor be a co-teacher or a reader of a class."""
    store.change(
        "INSERT INTO teachers (class, preceptor, role, added_at) VALUES (?1, ?2, ?3, ?4) "
        "ON CONFLICT (class, preceptor) DO UPDATE SET role = ?3",
        class_id,
        preceptor_id,
        role,
        now,
    )


def remove_teacher(store: Store, class_id: int, preceptor_id: int) -> None:
    """Let a preceptor who does not own a class have no more to do with it."""
    store.change("DELETE FROM teachers WHERE class = ? AND preceptor = ?", class_id, preceptor_id)


def keep_owner(store: Store, class_id: int, preceptor_id: int) -> None:
    """Give a class to another owner."""
    store.change("UPDATE classes SET preceptor = ? WHERE id = ?", preceptor_id, class_id)
    remove_teacher(store, class_id, preceptor_id)


def preceptors(store: Store) -> list[Preceptor]:
    """Return every preceptor by name."""
    return store.fetch_as(Preceptor, "SELECT * FROM preceptors ORDER BY lower(name)")


def preceptor_of_id(store: Store, preceptor_id: int) -> Preceptor | None:
    """Return a preceptor."""
    return store.fetch_one(Preceptor, "SELECT * FROM preceptors WHERE id = ?", preceptor_id)


def rename_preceptor(store: Store, preceptor_id: int, name: str) -> None:
    """Give a preceptor another name."""
    store.change("UPDATE preceptors SET name = ? WHERE id = ?", name, preceptor_id)


def keep_administrator(store: Store, preceptor_id: int, *, yes: bool) -> None:
    """Let a preceptor look after the other preceptors, or no longer."""
    store.change("UPDATE preceptors SET administrator = ? WHERE id = ?", int(yes), preceptor_id)


def remove_preceptor(store: Store, preceptor_id: int) -> None:
    """Remove a preceptor who owns no class."""
    store.change("DELETE FROM preceptors WHERE id = ?", preceptor_id)
