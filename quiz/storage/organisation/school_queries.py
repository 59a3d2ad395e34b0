"""Every question to the data file about schools: who is in one, its classes from above, invitations, changes.

Functions that change anything must run inside `store.writing()`. Secrets come as their SHA-256.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from quiz.storage.rows import write_json
from quiz.storage.safekeeping.gone_list import GonePreceptor
from quiz.storage.store import Store


@dataclass(frozen=True)
class School:
    """What classes and preceptors belong to."""

    id: int
    name: str
    made_at: float


@dataclass(frozen=True)
class Membership:
    """A school in which a preceptor is."""

    school: int
    name: str
    administrator: bool


@dataclass(frozen=True)
class Colleague:
    """A preceptor of a school, as the others see them."""

    id: int
    name: str


@dataclass(frozen=True)
class SchoolPerson:
    """A preceptor of a school, as its administrators see them."""

    preceptor: int
    name: str
    administrator: bool
    added_at: float
    elsewhere: int
    """In how many other schools they are."""
    installs: bool
    """Whether they administer the installation."""
    sign_ins: int
    """Devices on which they are signed in."""


@dataclass(frozen=True)
class SchoolClass:
    """A class of a school from above: nothing that a learner answered, nor a learner's name."""

    id: int
    name: str
    owner: int
    owner_name: str
    archived_at: float | None
    places: int
    """Its learners, and places on its roster."""
    last_at: float | None
    """When a learner of it last answered anything; None: nobody has."""


@dataclass(frozen=True)
class SchoolSize:
    """A school as those who administer the installation see it."""

    id: int
    name: str
    made_at: float
    preceptors: int
    classes: int


@dataclass(frozen=True)
class Invitation:
    """A link that lets one person in once, or set a new password once."""

    id: int
    school: int
    whom: str
    administrator: bool
    preceptor: int | None
    """Who sets a new password; None: it is for someone who comes."""
    made_by: int | None
    by_whom: str
    made_at: float
    until: float


@dataclass(frozen=True)
class Change:
    """One change of who may do what."""

    at: float
    by_whom: str
    act: str
    """One of school_schema.ACTS."""
    whom: str
    what: str


# --- schools -----------------------------------------------------------------------------------------------------


def schools(store: Store) -> list[School]:
    """Return every school by name."""
    return store.fetch_as(School, "SELECT * FROM schools ORDER BY lower(name), id")


def only_school(store: Store) -> School | None:
    """Return the school of a file that has one; None where there are several."""
    found = schools(store)
    return found[0] if len(found) == 1 else None


def school_of_id(store: Store, school_id: int) -> School | None:
    """Return a school."""
    return store.fetch_one(School, "SELECT * FROM schools WHERE id = ?", school_id)


def school_sizes(store: Store) -> list[SchoolSize]:
    """Return every school by name, with how many preceptors and classes it has."""
    return store.fetch_as(
        SchoolSize,
        "SELECT s.id, s.name, s.made_at, (SELECT count(*) FROM school_people p WHERE p.school = s.id) AS preceptors, "
        "(SELECT count(*) FROM classes c WHERE c.school = s.id AND c.removed_at IS NULL) AS classes "
        "FROM schools s ORDER BY lower(s.name), s.id",
    )


def add_school(store: Store, name: str, now: float) -> int:
    """Add a school and return its number."""
    return store.add("schools", {"name": name, "made_at": now})


def rename_school(store: Store, school_id: int, name: str) -> None:
    """Give a school another name."""
    store.change("UPDATE schools SET name = ? WHERE id = ?", name, school_id)


def remove_school(store: Store, school_id: int) -> None:
    """Remove a school without preceptors, classes or platforms; what is left of removed classes is nobody's."""
    store.change("UPDATE classes SET school = NULL WHERE school = ? AND removed_at IS NOT NULL", school_id)
    store.change("DELETE FROM schools WHERE id = ?", school_id)


def count_platforms(store: Store, school_id: int) -> int:
    """Count the course platforms that are registered for a school."""
    return int(store.fetch("SELECT count(*) FROM lti_registrations WHERE school = ?", school_id)[0][0])


# --- who is in one -----------------------------------------------------------------------------------------------


def schools_of(store: Store, preceptor_id: int) -> list[Membership]:
    """Return the schools in which a preceptor is, by name."""
    return store.fetch_as(
        Membership,
        "SELECT p.school, s.name, p.administrator FROM school_people p JOIN schools s ON s.id = p.school "
        "WHERE p.preceptor = ? ORDER BY lower(s.name), s.id",
        preceptor_id,
    )


def is_in(store: Store, school_id: int | None, preceptor_id: int) -> bool:
    """Say whether a preceptor is in a school."""
    sql = "SELECT 1 FROM school_people WHERE school = ? AND preceptor = ?"
    return bool(store.fetch(sql, school_id, preceptor_id))


def administrators_of(store: Store, school_id: int) -> list[tuple[int, str]]:
    """Return numbers and names of those who administer a school, by name."""
    sql = (
        "SELECT p.id, p.name FROM school_people s JOIN preceptors p ON p.id = s.preceptor "
        "WHERE s.school = ? AND s.administrator = 1 ORDER BY lower(p.name), p.id"
    )
    return [(int(row[0]), str(row[1])) for row in store.fetch(sql, school_id)]


def preceptors_of_school(store: Store, school_id: int | None) -> list[Colleague]:
    """Return numbers and names of the preceptors of a school, by name."""
    sql = "SELECT p.id, p.name FROM school_people s JOIN preceptors p ON p.id = s.preceptor WHERE s.school = ? "
    return store.fetch_as(Colleague, f"{sql}ORDER BY lower(p.name), p.id", school_id)


def people_of_school(store: Store, school_id: int, now: float) -> list[SchoolPerson]:
    """Return the preceptors of a school by name."""
    return store.fetch_as(
        SchoolPerson,
        "SELECT s.preceptor, p.name, s.administrator, s.added_at, p.administrator AS installs, (SELECT count(*) "
        "FROM school_people o WHERE o.preceptor = p.id AND o.school <> s.school) AS elsewhere, (SELECT count(*) "
        "FROM sign_ins i WHERE i.preceptor = p.id AND i.until > ?) AS sign_ins "
        "FROM school_people s JOIN preceptors p ON p.id = s.preceptor WHERE s.school = ? ORDER BY lower(p.name), p.id",
        now,
        school_id,
    )


def keep_person(store: Store, school_id: int, preceptor_id: int, now: float, *, administrator: bool = False) -> None:
    """Let a preceptor be in a school; who is an administrator there already stays one."""
    store.change(
        "INSERT INTO school_people (school, preceptor, administrator, added_at) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (school, preceptor) DO NOTHING",
        school_id,
        preceptor_id,
        0,
        now,
    )
    if administrator:
        keep_school_administrator(store, school_id, preceptor_id, yes=True)


def keep_school_administrator(store: Store, school_id: int, preceptor_id: int, *, yes: bool) -> None:
    """Let a preceptor administer a school, or no longer; then the invitations that they made end."""
    sql = "UPDATE school_people SET administrator = ? WHERE school = ? AND preceptor = ?"
    store.change(sql, int(yes), school_id, preceptor_id)
    if not yes:
        _end_invitations_by(store, school_id, preceptor_id)


def remove_person(store: Store, school_id: int, preceptor_id: int, *, on_day: str, taker: int | None = None) -> None:
    """Let a preceptor, who owns no class of a school, be in it no more, nor in a class or by a platform of it.

    taker: who took their classes. Numbers and day stay, so that a backup from before lets them in no more.
    """
    store.change(
        "INSERT INTO gone_preceptors (school, preceptor, added_at, on_day, taker) SELECT school, preceptor, added_at, "
        "?, ? FROM school_people WHERE school = ? AND preceptor = ? ON CONFLICT DO NOTHING",
        on_day,
        taker,
        school_id,
        preceptor_id,
    )
    of_school = "SELECT id FROM classes WHERE school = ?"
    store.change(f"DELETE FROM teachers WHERE preceptor = ? AND class IN ({of_school})", preceptor_id, school_id)  # noqa: S608
    store.change(
        "DELETE FROM lti_users WHERE preceptor = ? AND context IN (SELECT c.id FROM lti_contexts c "
        "JOIN lti_deployments d ON d.id = c.deployment JOIN lti_registrations r ON r.id = d.registration "
        "WHERE r.school = ?)",
        preceptor_id,
        school_id,
    )
    _end_invitations_by(store, school_id, preceptor_id)
    store.change("DELETE FROM school_invitations WHERE school = ? AND preceptor = ?", school_id, preceptor_id)
    store.change("DELETE FROM school_people WHERE school = ? AND preceptor = ?", school_id, preceptor_id)


def gone_preceptors(store: Store) -> list[GonePreceptor]:
    """Return who was removed from a school of this data file."""
    return store.fetch_as(GonePreceptor, "SELECT * FROM gone_preceptors ORDER BY school, preceptor, added_at")


def remove_people_again(store: Store, gone: Iterable[GonePreceptor]) -> int:
    """Remove those of a list who are in their school, as after a backup from before was put back; return how many.

    Their classes go to who took them, else to another of the school. The last one of a school stays, and signs in no
    more; nor does anyone who is left in no school and does not administer the installation.
    """
    number = 0
    for one in gone:
        there = "SELECT 1 FROM school_people WHERE school = ? AND preceptor = ? AND added_at = ?"
        if not store.fetch(there, one.school, one.preceptor, one.added_at):
            continue
        number += 1
        others = "SELECT preceptor FROM school_people WHERE school = ? AND preceptor <> ? "
        others += "ORDER BY CASE WHEN preceptor = ? THEN 0 ELSE 1 END, administrator DESC, preceptor LIMIT 1"
        takers = store.fetch(others, one.school, one.preceptor, one.taker or 0)
        if takers:
            of_theirs = "school = ? AND preceptor = ?"
            taken = f"SELECT id FROM classes WHERE {of_theirs}"  # noqa: S608 - words from here
            store.change(
                f"DELETE FROM teachers WHERE preceptor = ? AND class IN ({taken})",  # noqa: S608 - words from here
                takers[0][0],
                one.school,
                one.preceptor,
            )
            store.change(
                f"UPDATE classes SET preceptor = ? WHERE {of_theirs}",  # noqa: S608 - words from here
                takers[0][0],
                one.school,
                one.preceptor,
            )
            remove_person(store, one.school, one.preceptor, on_day=one.on_day, taker=one.taker)
        if not store.fetch(
            "SELECT 1 FROM school_people WHERE preceptor = ? AND school <> ? UNION "
            "SELECT 1 FROM preceptors WHERE id = ? AND administrator = 1",
            one.preceptor,
            one.school,
            one.preceptor,
        ):
            store.change("UPDATE preceptors SET password = 'none' WHERE id = ?", one.preceptor)
            store.change(
                "DELETE FROM preceptors WHERE id = ? AND id NOT IN (SELECT preceptor FROM classes) "
                "AND id NOT IN (SELECT preceptor FROM school_people)",
                one.preceptor,
            )
    return number


def end_invitations_by(store: Store, preceptor_id: int) -> None:
    """Let no invitation that a preceptor made be taken any more, to any school."""
    store.change("DELETE FROM school_invitations WHERE made_by = ?", preceptor_id)


def _end_invitations_by(store: Store, school_id: int, preceptor_id: int) -> None:
    store.change("DELETE FROM school_invitations WHERE school = ? AND made_by = ?", school_id, preceptor_id)


# --- its classes from above --------------------------------------------------------------------------------------


def classes_of_school(store: Store, school_id: int) -> list[SchoolClass]:
    """Return the classes of a school by name, those in the archive last.

    The latest answer of each learner is one look into an index, so that the page is quick behind millions of answers.
    """
    return store.fetch_as(
        SchoolClass,
        "SELECT c.id, c.name, c.preceptor AS owner, p.name AS owner_name, c.archived_at, "
        "(SELECT count(*) FROM members m WHERE m.class = c.id) AS places, "
        "(SELECT max((SELECT a.at FROM answers a WHERE a.learner = m.learner ORDER BY a.id DESC LIMIT 1)) "
        "FROM members m WHERE m.class = c.id AND m.learner IS NOT NULL) AS last_at "
        "FROM classes c JOIN preceptors p ON p.id = c.preceptor WHERE c.school = ? AND c.removed_at IS NULL "
        "ORDER BY CASE WHEN c.archived_at IS NULL THEN 0 ELSE 1 END, lower(c.name), c.id",
        school_id,
    )


def teachers_in_school(store: Store, school_id: int) -> dict[int, list[tuple[str, str]]]:
    """Return names and roles of those who teach or read each class of a school beside its owner."""
    found: dict[int, list[tuple[str, str]]] = {}
    sql = (
        "SELECT t.class, p.name, t.role FROM teachers t JOIN classes c ON c.id = t.class "
        "JOIN preceptors p ON p.id = t.preceptor WHERE c.school = ? ORDER BY t.role, lower(p.name), p.id"
    )
    for number, name, role in store.fetch(sql, school_id):
        found.setdefault(int(number), []).append((str(name), str(role)))
    return found


def platforms_of_school(store: Store, school_id: int) -> list[tuple[str, str]]:
    """Return names and states of the course platforms of a school."""
    sql = "SELECT name, state FROM lti_registrations WHERE school = ? ORDER BY id"
    return [(str(row[0]), str(row[1])) for row in store.fetch(sql, school_id)]


def schools_of_learner(store: Store, learner_id: int) -> set[int]:
    """Return the schools of the classes in which a learner is, asks to join, or has begun a drill."""
    sql = (
        "SELECT c.school FROM members m JOIN classes c ON c.id = m.class WHERE m.learner = ?1 UNION "
        "SELECT c.school FROM requests r JOIN classes c ON c.id = r.class WHERE r.learner = ?1 UNION "
        "SELECT c.school FROM sittings s JOIN drills d ON d.id = s.drill JOIN classes c ON c.id = d.class "
        "WHERE s.learner = ?1 AND c.removed_at IS NULL"
    )
    return {int(row[0]) for row in store.fetch(sql, learner_id) if row[0] is not None}


def keep_school_of_class(store: Store, class_id: int, school_id: int) -> None:
    """Let a class be of another school."""
    store.change("UPDATE classes SET school = ? WHERE id = ?", school_id, class_id)


def classes_that_share(store: Store, class_ids: Sequence[int]) -> list[tuple[str, int]]:
    """Return names of other classes, with how many learners each shares with one of these.

    A learner is of a class while they are in it or ask to join, and where they have begun a drill.
    """
    ties = (
        "SELECT learner, class FROM members WHERE learner IS NOT NULL AND {0} UNION "
        "SELECT learner, class FROM requests WHERE {0} UNION "
        "SELECT s.learner, d.class FROM sittings s JOIN drills d ON d.id = s.drill WHERE s.drill IS NOT NULL AND {0}"
    )
    listed = "SELECT CAST(value AS BIGINT) FROM json_each(?1)"
    here = ties.format(f"class IN ({listed})")
    of_theirs = ties.format(f"learner IN (SELECT h.learner FROM ({here}) h)")  # noqa: S608 - words of ours
    rows = store.fetch(
        f"SELECT c.name, count(*) FROM ({of_theirs}) o JOIN classes c ON c.id = o.class "  # noqa: S608 - words of ours
        f"WHERE c.removed_at IS NULL AND c.id NOT IN ({listed}) GROUP BY c.id, c.name ORDER BY lower(c.name), c.id",
        write_json(list(class_ids)),
    )
    return [(str(row[0]), int(row[1])) for row in rows]


# --- invitations -------------------------------------------------------------------------------------------------


def add_invitation(store: Store, secret: str, what: Invitation) -> int:
    """Keep an invitation, whose own number is not looked at, and return its number; those that have run out go."""
    store.change("DELETE FROM school_invitations WHERE until <= ?", what.made_at)
    row = {"secret": secret, "school": what.school, "whom": what.whom, "administrator": int(what.administrator)}
    row |= {"preceptor": what.preceptor, "made_by": what.made_by, "by_whom": what.by_whom}
    return store.add("school_invitations", row | {"made_at": what.made_at, "until": what.until})


def invitation_with(store: Store, secret: str, now: float) -> Invitation | None:
    """Return the invitation of this secret, while it can be taken."""
    sql = "SELECT * FROM school_invitations WHERE secret = ? AND until > ?"
    return store.fetch_one(Invitation, sql, secret, now)


def invitations_of(store: Store, school_id: int, now: float) -> list[Invitation]:
    """Return the invitations of a school that can be taken, the newest first."""
    sql = "SELECT * FROM school_invitations WHERE school = ? AND until > ? ORDER BY id DESC"
    return store.fetch_as(Invitation, sql, school_id, now)


def remove_invitation(store: Store, number: int) -> None:
    """Let an invitation be taken no more."""
    store.change("DELETE FROM school_invitations WHERE id = ?", number)


def end_all_invitations(store: Store) -> None:
    """Let no invitation be taken any more, nor any link set a password."""
    store.change("DELETE FROM school_invitations")


# --- the record of changes ---------------------------------------------------------------------------------------


def record(
    store: Store, school_id: int | None, by: str, act: str, now: float, *, whom: str = "", what: str = ""
) -> None:
    """Write down a change of who may do what: in a school, or in the installation where none is named."""
    row = {"school": school_id, "at": now, "by_whom": by, "act": act, "whom": whom, "what": what}
    store.add("school_changes", row)


def changes_of(store: Store, school_id: int | None, most: int) -> list[Change]:
    """Return the latest changes in a school, or in the installation, the newest first."""
    if school_id is None:
        sql = "SELECT * FROM school_changes WHERE school IS NULL ORDER BY id DESC LIMIT ?"
        return store.fetch_as(Change, sql, most)
    sql = "SELECT * FROM school_changes WHERE school = ? ORDER BY id DESC LIMIT ?"
    return store.fetch_as(Change, sql, school_id, most)
