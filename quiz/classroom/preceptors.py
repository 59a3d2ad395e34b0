"""Preceptors of a class, and of the installation: co-teachers and readers, handing a class over, the administrator."""

from __future__ import annotations

from quiz.errors import QuizError
from quiz.practice.names import BadName, tidy_name
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class, Preceptor
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


def give_role(store: Store, one: Class, who: Preceptor, role: str, *, now: float) -> None:
    """Let a preceptor be a co-teacher or a reader of a class; its owner stays its owner.

    Raises
    ------
    BadName
    """
    if role not in ROLES:
        raise BadName(f"“{role[:30]}”: choose {' or '.join(ROLES)}")
    if who.id == one.preceptor:
        raise BadName(f"{who.name} owns this class: hand it over first")
    with store.writing():
        roster_queries.keep_teacher(store, one.id, who.id, role, now)


def take_role(store: Store, one: Class, who: Preceptor) -> None:
    """Let a preceptor have no more to do with a class; not its owner, who can hand it over."""
    with store.writing():
        roster_queries.remove_teacher(store, one.id, who.id)


def hand_over(store: Store, one: Class, to: Preceptor, *, now: float, stay: bool = True) -> None:
    """Give a class to another owner; the one before stays as its co-teacher, if they like."""
    if to.id == one.preceptor:
        return
    with store.writing():
        roster_queries.keep_owner(store, one.id, to.id)
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


def rename(store: Store, who: Preceptor, name: str) -> None:
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
        roster_queries.rename_preceptor(store, who.id, tidy)


def make_administrator(store: Store, who: Preceptor, *, yes: bool = True) -> None:
    """Let a preceptor look after the others, or no longer.

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


def remove(store: Store, who: Preceptor, *, to: Preceptor | None) -> None:
    """Remove a preceptor, whose classes are handed to another; what they set and saw stays with the classes.

    Raises
    ------
    NotRemoved
        When they own a class and nobody is named who takes it, or would leave no preceptor or no administrator.
    """
    with store.writing():
        everyone = roster_queries.preceptors(store)
        others = [one for one in everyone if one.id != who.id]
        if not others:
            raise NotRemoved(f"{who.name} is the only preceptor: add another one first")
        if who.administrator and not any(one.administrator for one in others):
            raise NotRemoved(f"{who.name} is the only administrator: make another one first")
        classes = owned(store, who)
        if to is not None and to.id == who.id:
            raise NotRemoved("classes are handed to another preceptor: choose one")
        if classes and to is None:
            named_ = ", ".join(f"“{one.name}”" for one in classes[:5])
            raise NotRemoved(f"{who.name} owns {named_}: say who takes them")
        for one in classes if to else ():
            roster_queries.keep_owner(store, one.id, to.id if to else 0)
        class_queries.hand_what_is_left(store, who.id, (to or others[0]).id)
        roster_queries.remove_preceptor(store, who.id)
    store.wipe()
