"""Preceptors of a class, and of the installation: co-teachers and readers, handing a class over, the administrator."""

from __future__ import annotations

from collections.abc import Sequence

from quiz.classroom.sign_in import COMMAND_LINE
from quiz.errors import QuizError
from quiz.practice.names import BadName, tidy_name
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class, Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.store import Store

ROLES = {
    "co-teacher": "co-teacher: sets drills, looks after people, sees results",
    "reader": "reader: sees everything and changes nothing",
}


class UnknownPreceptor(QuizError):
    """No preceptor has this name or number."""

    def __init__(self, whom: str = "") -> None:
        super().__init__(
            f"there is no preceptor “{whom}”: look at the list again"
            if whom
            else "there is no preceptor of this number: look at the list again"
        )


class NotRemoved(QuizError):
    """A preceptor who cannot be removed as things are."""


class NotAdministrator(QuizError):
    """Someone who does not look after the preceptors."""

    def __init__(self) -> None:
        super().__init__("only an administrator can do this: the person who runs this server can make one")


def get(store: Store, preceptor_id: int | None) -> Preceptor:
    """Return a preceptor.

    Raises
    ------
    UnknownPreceptor
    """
    found = None if preceptor_id is None else roster_queries.preceptor_of_id(store, preceptor_id)
    if found is None:
        raise UnknownPreceptor
    return found


def named(store: Store, name: str) -> Preceptor:
    """Return the preceptor of this name.

    Raises
    ------
    UnknownPreceptor
    """
    found = class_queries.preceptor_named(store, " ".join(name.split()))
    if found is None:
        raise UnknownPreceptor(name[:60])
    return found


# --- of a class --------------------------------------------------------------------------------------------------


def of_its_school(store: Store, one: Class, preceptor_id: int | None) -> Preceptor:
    """Return a preceptor of the school whose class this is.

    Raises
    ------
    UnknownPreceptor
        Also for one of other schools alone, who is as if they were not there.
    """
    found = get(store, preceptor_id)
    if not school_queries.is_in(store, one.school, found.id):
        raise UnknownPreceptor
    return found


def give_role(store: Store, one: Class, who: Preceptor, role: str, *, by: str, now: float) -> None:
    """Let a preceptor of its school be a co-teacher or a reader of a class; its owner stays its owner.

    Raises
    ------
    BadName, UnknownPreceptor
    """
    if role not in ROLES:
        raise BadName(f"“{role[:30]}”: choose {' or '.join(ROLES)}")
    if who.id == one.preceptor:
        raise BadName(f"{who.name} owns this class: hand it over first")
    with store.writing():
        who = of_its_school(store, one, who.id)
        roster_queries.keep_teacher(store, one.id, who.id, role, now)
        school_queries.record(store, one.school, by, role, now, whom=who.name, what=one.name)


def take_role(store: Store, one: Class, who: Preceptor, *, by: str, now: float) -> None:
    """Let a preceptor have no more to do with a class; not its owner, who can hand it over."""
    with store.writing():
        if roster_queries.role_in(store, one, who.id) in ROLES:
            roster_queries.remove_teacher(store, one.id, who.id)
            school_queries.record(store, one.school, by, "off class", now, whom=who.name, what=one.name)


def hand_over(store: Store, one: Class, to: Preceptor, *, by: str, now: float, stay: bool = True) -> None:
    """Give a class to another owner, of its school; the one before stays as its co-teacher, if they like.

    Raises
    ------
    UnknownPreceptor
    """
    if to.id == one.preceptor:
        return
    with store.writing():
        to = of_its_school(store, one, to.id)
        roster_queries.keep_owner(store, one.id, to.id)
        school_queries.record(store, one.school, by, "handed over", now, whom=to.name, what=one.name)
        if stay:
            roster_queries.keep_teacher(store, one.id, one.preceptor, "co-teacher", now)


# --- of the installation -----------------------------------------------------------------------------------------


def administer(who: Preceptor) -> None:
    """See that someone looks after the preceptors.

    Raises
    ------
    NotAdministrator
    """
    if not who.administrator:
        raise NotAdministrator


def owned(store: Store, who: Preceptor) -> list[Class]:
    """Return the classes that a preceptor owns, archived ones included."""
    return [one for one in class_queries.classes_of(store, who.id) if one.preceptor == who.id]


def rename(store: Store, who: Preceptor, name: str, *, by: str, now: float) -> None:
    """Give a preceptor another name, by which they sign in from then on.

    Raises
    ------
    BadName
    """
    tidy = tidy_name(name, [])
    with store.writing():
        other = class_queries.preceptor_named(store, tidy)
        if other is not None and other.id != who.id:
            raise BadName(f"“{tidy}” is another preceptor: add a letter")
        if tidy != who.name:
            roster_queries.rename_preceptor(store, who.id, tidy)
            for one in school_queries.schools_of(store, who.id):
                school_queries.record(store, one.school, by, "renamed", now, whom=tidy, what=who.name)


def make_administrator(store: Store, who: Preceptor, *, now: float, yes: bool = True, by: str = COMMAND_LINE) -> None:
    """Let a preceptor administer the installation, or no longer; where it has one school, that school too.

    Raises
    ------
    NotRemoved
        When nobody would be left who does.
    """
    with store.writing():
        others = [one for one in roster_queries.preceptors(store) if one.administrator and one.id != who.id]
        if not yes and who.administrator and not others:
            raise NotRemoved(f"{who.name} is the only administrator: make another one first")
        roster_queries.keep_administrator(store, who.id, yes=yes)
        if not yes:
            school_queries.end_invitations_by(store, who.id)
        school_queries.record(store, None, by, "installation" if yes else "no installation", now, whom=who.name)
        only = school_queries.only_school(store)
        if only is not None and school_queries.is_in(store, only.id, who.id):
            school_queries.keep_school_administrator(store, only.id, who.id, yes=yes)
            act = "administrator" if yes else "no administrator"
            school_queries.record(store, only.id, by, act, now, whom=who.name)


def require_taker(name: str, preceptor: int, classes: Sequence[Class], taker: int | None) -> None:
    """Refuse to remove a preceptor who owns classes that nobody else takes; raises NotRemoved."""
    if taker == preceptor:
        raise NotRemoved("classes are handed to another preceptor: choose one")
    if classes and taker is None:
        named_ = ", ".join(f"“{one.name}”" for one in classes[:5])
        raise NotRemoved(f"{name} owns {named_}: say who takes them")


def remove(store: Store, who: Preceptor, *, to: Preceptor | None, by: str, now: float) -> None:
    """Remove a preceptor from every school; their classes are handed to another; what they set stays with the classes.

    Raises
    ------
    NotRemoved
        When they own a class and nobody of its school is named who takes it, or would leave no preceptor, or the
        installation or a school no administrator.
    """
    with store.writing():
        everyone = roster_queries.preceptors(store)
        others = [one for one in everyone if one.id != who.id]
        if not others:
            raise NotRemoved(f"{who.name} is the only preceptor: add another one first")
        if who.administrator and not any(one.administrator for one in others):
            raise NotRemoved(f"{who.name} is the only administrator: make another one first")
        of = school_queries.schools_of(store, who.id)
        for each in of:
            if each.administrator and len(school_queries.administrators_of(store, each.school)) == 1:
                raise NotRemoved(f"{who.name} is the only administrator of {each.name}: make another one first")
        classes = owned(store, who)
        require_taker(who.name, who.id, classes, None if to is None else to.id)
        for one in classes if to else ():
            if to is not None and not school_queries.is_in(store, one.school, to.id):
                raise NotRemoved(f"{to.name} is not in the school of “{one.name}”: hand that class over first")
            roster_queries.keep_owner(store, one.id, to.id if to else 0)
            whom = to.name if to else ""
            school_queries.record(store, one.school, by, "handed over", now, whom=whom, what=one.name)
        for each in of:
            school_queries.record(store, each.school, by, "removed", now, whom=who.name)
            taker, day = to.id if to else None, class_queries.own_day(now)
            school_queries.remove_person(store, each.school, who.id, on_day=day, taker=taker)
        class_queries.hand_what_is_left(store, who.id, (to or others[0]).id)
        roster_queries.remove_preceptor(store, who.id)
    store.wipe()
