"""Schools above classes: who is in one, who administers it, whom a class is handed to, and the record of all that.

A preceptor is in one school or more, a class in one, a learner in classes of one school. Who administers a school sees
its classes by name and size, and nothing that anyone answered. A stranger's school is as if it were not there.
"""

from __future__ import annotations

from quiz.classroom.preceptors import NotRemoved, UnknownPreceptor, require_taker
from quiz.errors import QuizError
from quiz.practice.names import BadName, tidy_name
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class, Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Change, School, SchoolPerson
from quiz.storage.store import Store

CHANGES = {
    "made school": "{by} added the school “{what}”",
    "renamed school": "{by} renamed the school “{what}” to “{whom}”",
    "removed school": "{by} removed the school “{what}”",
    "added": "{by} added {whom} as a preceptor",
    "invited": "{by} invited {whom} as a preceptor",
    "invited administrator": "{by} invited {whom} as an administrator",
    "withdrew": "{by} withdrew the invitation of {whom}",
    "joined": "{whom} came by the invitation of {by}",
    "removed": "{by} removed {whom} from the school",
    "renamed": "{by} renamed {what} to {whom}",
    "administrator": "{by} made {whom} an administrator of the school",
    "no administrator": "{by} removed {whom} as an administrator of the school",
    "installation": "{by} made {whom} an administrator of the installation",
    "no installation": "{by} removed {whom} as an administrator of the installation",
    "signed out": "{by} ended the sign-ins of {whom}",
    "password link": "{by} made a link by which {whom} sets a new password",
    "own password": "{whom} set a new password by the link of {by}",
    "password": "{by} gave {whom} a new password",
    "handed over": "{by} handed “{what}” over to {whom}",
    "co-teacher": "{by} made {whom} a co-teacher of “{what}”",
    "reader": "{by} made {whom} a reader of “{what}”",
    "off class": "{by} took {whom} off “{what}”",
    "platform invited": "{by} made an address by which a course platform registers itself",
    "platform added": "{by} registered the course platform “{what}”",
    "platform approved": "{by} approved the course platform “{what}”",
    "platform off": "{by} turned the course platform “{what}” off",
    "platform changed": "{by} changed the course platform “{what}”",
    "platform removed": "{by} removed the course platform “{what}”",
    "moved class": "{by} moved the class “{what}” from {whom}",
    # What another school is called is not told in a school.
    "class left": "{by} moved the class “{what}” to another school",
    "class came": "{by} moved the class “{what}” here from another school",
}
"""What each act of the record says."""


class UnknownSchool(QuizError):
    """No school that this preceptor administers; in the words for an address that is not there."""

    def __init__(self) -> None:
        super().__init__("There is no page of that address.")


class NotInstalling(UnknownSchool):
    """Someone who does not administer the installation asks for its schools."""


def in_words(one: Change) -> str:
    """Say what was changed and by whom."""
    return CHANGES[one.act].format(by=one.by_whom, whom=one.whom, what=one.what)


# --- which school ------------------------------------------------------------------------------------------------


def own(store: Store, who: Preceptor, school_id: int) -> School:
    """Return a school that this preceptor administers.

    Raises
    ------
    UnknownSchool
        Also when it is a stranger's: nobody learns which numbers there are.
    """
    found = school_queries.school_of_id(store, school_id)
    if found is None or all(number != who.id for number, _ in school_queries.administrators_of(store, found.id)):
        raise UnknownSchool
    return found


def get(store: Store, school_id: int) -> School:
    """Return a school; raises UnknownSchool."""
    found = school_queries.school_of_id(store, school_id)
    if found is None:
        raise UnknownSchool
    return found


def named(store: Store, name: str) -> School:
    """Return the school of this name; raises BadName."""
    wanted = " ".join(name.split()).casefold()
    for one in school_queries.schools(store):
        if one.name.casefold() == wanted:
            return one
    raise BadName(f"there is no school “{name[:60]}”: `python -m quiz schools` lists them")


def one_or_named(store: Store, name: str | None) -> School:
    """Return the school of this name, or the one that there is; raises BadName where there are several."""
    if name is not None:
        return named(store, name)
    only = school_queries.only_school(store)
    if only is None:
        raise BadName('there are several schools: say which with --school "Its name"')
    return only


def person(store: Store, school: School, preceptor_id: int | None, *, now: float) -> SchoolPerson:
    """Return a preceptor of a school; raises UnknownPreceptor, also for a preceptor of other schools alone."""
    for one in school_queries.people_of_school(store, school.id, now):
        if one.preceptor == preceptor_id:
            return one
    raise UnknownPreceptor


# --- by the installation -----------------------------------------------------------------------------------------


def install(who: Preceptor) -> None:
    """See that someone administers the installation; raises NotInstalling."""
    if not who.administrator:
        raise NotInstalling


def make(store: Store, name: str, *, by: str, now: float) -> School:
    """Add a school.

    Raises
    ------
    BadName
    """
    with store.writing():
        tidy = _free_school_name(store, name)
        number = school_queries.add_school(store, tidy, now)
        for where in (None, number):
            school_queries.record(store, where, by, "made school", now, what=tidy)
    return School(number, tidy, now)


def rename(store: Store, school: School, name: str, *, by: str, now: float) -> None:
    """Give a school another name; raises BadName."""
    with store.writing():
        tidy = _free_school_name(store, name, but=school.id)
        if tidy != school.name:
            school_queries.rename_school(store, school.id, tidy)
            for where in (None, school.id):
                school_queries.record(store, where, by, "renamed school", now, whom=tidy, what=school.name)


def _free_school_name(store: Store, name: str, but: int | None = None) -> str:
    tidy = tidy_name(name, [], of="the school")
    there = school_queries.schools(store)
    if any(one.name.casefold() == tidy.casefold() and one.id != but for one in there):
        raise BadName(f"“{tidy}” is another school here: give another name, perhaps with the town")
    return tidy


def remove(store: Store, school: School, *, by: str, now: float) -> None:
    """Remove a school in which nobody is and nothing is.

    Raises
    ------
    NotRemoved
        Otherwise, and where it is the only one.
    """
    with store.writing():
        if school_queries.only_school(store) is not None:
            raise NotRemoved(f"“{school.name}” is the only school: add another one first")
        size = next(one for one in school_queries.school_sizes(store) if one.id == school.id)
        if size.preceptors or size.classes or school_queries.count_platforms(store, school.id):
            raise NotRemoved(
                f"“{school.name}” has preceptors, classes or course platforms: a school is removed when it is empty"
            )
        school_queries.remove_school(store, school.id)
        school_queries.record(store, None, by, "removed school", now, what=school.name)
    store.wipe()


# --- by its administrators ---------------------------------------------------------------------------------------


def add_person(
    store: Store, school: School, who: Preceptor, *, by: str, now: float, administrator: bool = False
) -> None:
    """Let a preceptor be in a school, as its administrator perhaps; in `writing()`. Nothing is done twice."""
    if not school_queries.is_in(store, school.id, who.id):
        school_queries.keep_person(store, school.id, who.id, now)
        school_queries.record(store, school.id, by, "added", now, whom=who.name)
    if administrator and all(one != who.id for one, _ in school_queries.administrators_of(store, school.id)):
        school_queries.keep_school_administrator(store, school.id, who.id, yes=True)
        school_queries.record(store, school.id, by, "administrator", now, whom=who.name)


def make_school_administrator(
    store: Store, school: School, whom: SchoolPerson, *, yes: bool, by: str, now: float
) -> None:
    """Let a preceptor of a school administer it, or no longer.

    Raises
    ------
    NotRemoved
        When nobody would be left who does.
    """
    with store.writing():
        whom = person(store, school, whom.preceptor, now=now)
        if yes == whom.administrator:
            return
        if not yes:
            _not_the_last(store, school, whom)
        school_queries.keep_school_administrator(store, school.id, whom.preceptor, yes=yes)
        act = "administrator" if yes else "no administrator"
        school_queries.record(store, school.id, by, act, now, whom=whom.name)


def _not_the_last(store: Store, school: School, whom: SchoolPerson) -> None:
    if whom.administrator and len(school_queries.administrators_of(store, school.id)) == 1:
        raise NotRemoved(f"{whom.name} is the only administrator of {school.name}: make another one first")


def sign_out(store: Store, school: School, whom: SchoolPerson, *, by: str, now: float) -> None:
    """End the sign-ins of a preceptor of a school on every device."""
    with store.writing():
        class_queries.end_sign_ins_of_preceptor(store, whom.preceptor)
        school_queries.record(store, school.id, by, "signed out", now, whom=whom.name)


def class_of_school(store: Store, school: School, class_id: int | None) -> Class:
    """Return a class of a school; raises BadName, also for a class of another."""
    found = None if class_id is None else class_queries.class_of_id(store, class_id)
    if found is None or found.removed_at is not None or found.school != school.id:
        raise BadName("choose a class from the list")
    return found


def hand_over(store: Store, school: School, one: Class, to: SchoolPerson, *, by: str, now: float) -> None:
    """Give a class of a school to another of its preceptors; the owner before stays as its co-teacher."""
    if one.preceptor == to.preceptor:
        raise BadName(f"{to.name} owns “{one.name}” already: choose somebody else")
    with store.writing():
        roster_queries.keep_owner(store, one.id, to.preceptor)
        roster_queries.keep_teacher(store, one.id, one.preceptor, "co-teacher", now)
        school_queries.record(store, school.id, by, "handed over", now, whom=to.name, what=one.name)


def owned_in(store: Store, school: School, preceptor_id: int) -> list[Class]:
    """Return the classes of a school that a preceptor owns, archived ones included."""
    there = class_queries.classes_of(store, preceptor_id)
    return [one for one in there if one.preceptor == preceptor_id and one.school == school.id]


def remove_person(
    store: Store, school: School, whom: SchoolPerson, *, to: SchoolPerson | None, by: str, now: float
) -> None:
    """Remove a preceptor from a school, whose classes there are handed to another of its preceptors.

    Who is in no other school, and does not administer the installation, is removed for good and signs in no more.

    Raises
    ------
    NotRemoved
        When they are its only administrator, or own a class and nobody is named who takes it.
    """
    with store.writing():
        whom = person(store, school, whom.preceptor, now=now)
        _not_the_last(store, school, whom)
        classes = owned_in(store, school, whom.preceptor)
        require_taker(whom.name, whom.preceptor, classes, None if to is None else to.preceptor)
        for one in classes if to else ():
            roster_queries.keep_owner(store, one.id, to.preceptor if to else 0)
            school_queries.record(store, school.id, by, "handed over", now, whom=to.name if to else "", what=one.name)
        taker = to.preceptor if to else None
        school_queries.remove_person(store, school.id, whom.preceptor, on_day=class_queries.own_day(now), taker=taker)
        school_queries.record(store, school.id, by, "removed", now, whom=whom.name)
        if not whom.elsewhere and not whom.installs:
            others = school_queries.people_of_school(store, school.id, now)
            class_queries.hand_what_is_left(store, whom.preceptor, (to or others[0]).preceptor)
            roster_queries.remove_preceptor(store, whom.preceptor)
    store.wipe()
