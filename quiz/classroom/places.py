"""Places in a class as rows of its roster: how many there may be, their numbers, adding one, and groups by name."""

from __future__ import annotations

from quiz.practice import learners
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.store import Store

LONGEST_NUMBER = 40
MOST_GROUPS = 60


def tidy_number(text: str) -> str | None:
    """Return a school's number for a learner, tidied; None where none is given.

    Raises
    ------
    BadName
    """
    number = " ".join(text.split())
    if len(number) > LONGEST_NUMBER:
        raise BadName(f"a number of {len(number)} characters: {LONGEST_NUMBER} is the most")
    if not number.isprintable():
        raise BadName("the number holds characters that do not print: write it again")
    return number or None


def add_place(store: Store, one: Class, name: str, number: str | None, now: float) -> int:
    """Give the roster a place under a name and a number that were looked at, in `writing()`; return its learner."""
    learner = learners.added(store, name, now)
    roster_queries.add_member(store, learner.id, one.id, now, name=name, number=number)
    return learner.id


def group_named(store: Store, one: Class, name: str, now: float) -> int:
    """Return the number of a class's group of this name, made now if there is none; in `writing()`."""
    for each in roster_queries.groups_of(store, one.id):
        if each.name.casefold() == name.casefold():
            return each.id
    return roster_queries.add_group(store, one.id, name, now)
