"""A class's roster: places added by hand, renamed, merged, moved; who asks to join; groups; slips with phrases."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from quiz.classroom import classes
from quiz.classroom.classes import UnknownMember
from quiz.classroom.places import MOST_GROUPS, add_place, group_named, tidy_number
from quiz.errors import QuizError
from quiz.practice import learners, names
from quiz.practice.names import BadName
from quiz.practice.randomness import Lots
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.platform import lti_queries, outcome_queries
from quiz.storage.roster_queries import ClassGroup, Member
from quiz.storage.store import Store

EXTRA_TIMES = (0, 10, 25, 33, 50, 100)
"""Per cent of a drill's time that can be given to a person."""


class UnknownGroup(QuizError):
    """No such group is in this class."""

    def __init__(self) -> None:
        super().__init__("this class has no such group: the groups are listed under People")


class CannotMerge(QuizError):
    """Two places that cannot be made one."""


class CannotMove(QuizError):
    """Learners who cannot be put into another class."""


@dataclass(frozen=True)
class Slip:
    """What is printed for one learner: the phrase to come back with, shown this once."""

    name: str
    number: str | None
    phrase: str


# --- places ------------------------------------------------------------------------------------------------------


def add(store: Store, one: Class, name: str, number: str | None, *, now: float) -> int:
    """Give the roster a place with a learner in it, who has no phrase yet; return the learner's number.

    Raises
    ------
    BadName, ClassFull
    """
    with store.writing():
        classes.room_for(store, one, 1)
        return add_place(store, one, classes.free_name(store, one, name), _free_number(store, one, number), now)


def _free_number(store: Store, one: Class, number: str | None, *, but: int | None = None) -> str | None:
    tidy = tidy_number(number or "")
    if tidy is not None:
        holders = (each.name for each in roster_queries.members_of(store, one.id) if _has(each, tidy, but))
        for name in holders:
            raise BadName(f"number {tidy} is {name}’s in this class: look at it again")
        if any(each.number == tidy for each in roster_queries.empty_places_of(store, one.id)):
            raise BadName(f"number {tidy} is a place whose learner is gone: give that place to someone instead")
    return tidy


def _has(each: Member, number: str, but: int | None) -> bool:
    return each.number is not None and each.number.casefold() == number.casefold() and each.learner != but


def rename(store: Store, one: Class, learner_id: int, name: str, number: str | None) -> None:
    """Give a learner's place another name and number; who is in this class alone is called so themselves.

    Raises
    ------
    BadName, UnknownMember
    """
    with store.writing():
        held = classes.member(store, one, learner_id)
        tidy = classes.free_name(store, one, name, but=learner_id)
        roster_queries.keep_place(
            store, held.id, name=tidy, number=_free_number(store, one, number, but=learner_id), on_roster=True
        )
        if len(roster_queries.classes_with(store, learner_id)) == 1:
            store.rename_learner(learner_id, tidy)


def fill(store: Store, one: Class, place: int, *, now: float) -> int:
    """Give a place of the roster whose learner is gone a new one, under the roster's own name; return the number.

    What is on record of the one before stays.

    Raises
    ------
    UnknownMember, BadName, ClassFull
    """
    with store.writing():
        empty = next((each for each in roster_queries.empty_places_of(store, one.id) if each.id == place), None)
        if empty is None:
            raise UnknownMember
        classes.room_for(store, one, 1)
        learner = learners.added(store, classes.free_name(store, one, empty.name or ""), now)
        roster_queries.give_place(store, place, learner.id, now)
        return learner.id


def drop(store: Store, one: Class, place: int) -> None:
    """Remove a place of the roster whose learner is gone."""
    with store.writing():
        if any(each.id == place for each in roster_queries.empty_places_of(store, one.id)):
            roster_queries.remove_place(store, place)


def merge(store: Store, one: Class, pair: Sequence[int]) -> int:
    """Make two places of a class one, which are one person's; return the learner who stays.

    The one who has answered stays, with their phrase; name, number and groups are the roster's. A log of answers is
    never changed, so two who have both answered stay two.

    Raises
    ------
    CannotMerge, UnknownMember
    """
    if len(set(pair)) != 2:
        raise CannotMerge("choose two people who are one and the same")
    with store.writing():
        both = [classes.member(store, one, each) for each in dict.fromkeys(pair)]
        answered = [each for each in both if store.count_answers(each.learner)]
        if len(answered) > 1:
            raise CannotMerge(
                f"{both[0].name} and {both[1].name} have both answered, and a log of answers is never changed. To give "
                f"one of them the practice of both: on the page of {both[1].name} save everything that is kept, remove "
                f"{both[1].name}, and let {both[0].name} bring that file in under Progress, Own data. It comes in as "
                f"practice: what {both[1].name} scored in drills is gone with them"
            )
        elsewhere = roster_queries.in_other_classes(store, one.id)
        known = [each for each in both if each.learner in elsewhere]
        if len({each.learner for each in (*answered, *known)}) > 1:
            raise CannotMerge(f"{known[0].name} is in another class too and {answered[0].name} has answered here")
        courses = lti_queries.courses_of_both(store, both[0].learner, both[1].learner)
        if courses:
            raise CannotMerge(
                f"{both[0].name} and {both[1].name} are two people in the course {courses[0]}: the platform keeps a "
                "grade for each of them"
            )
        stays = next(iter((*answered, *known, *(each for each in both if not each.on_roster), both[0])))
        goes = next(each for each in both if each.learner != stays.learner)
        named = next((each for each in both if each.on_roster), stays)
        groups = [
            group.id
            for group in roster_queries.groups_of(store, one.id)
            if goes.learner in roster_queries.people_of(store, group.id)
        ]
        phrase = roster_queries.phrase_of(store, goes.learner)
        roster_queries.remove_place(store, goes.id)
        roster_queries.keep_place(
            store,
            stays.id,
            name=named.name if named.on_roster else None,
            number=stays.number or goes.number,
            on_roster=named.on_roster,
        )
        roster_queries.keep_extra_time(store, one.id, (stays.learner,), max(stays.extra_time, goes.extra_time))
        for group in groups:
            roster_queries.add_to_group(store, group, (stays.learner,))
        roster_queries.name_instead(store, goes.learner, stays.learner)
        lti_queries.follow_merged(store, goes.learner, stays.learner)
        outcome_queries.make_ended_due(store, stays.learner)
        store.remove_learner(goes.learner)
        if phrase is not None and roster_queries.phrase_of(store, stays.learner) is None:
            roster_queries.keep_phrase(store, stays.learner, phrase)
    store.wipe()
    return stays.learner


def put_into(store: Store, one: Class, other: Class, learner_ids: Collection[int], *, stay: bool, now: float) -> None:
    """Put learners of a class into another one, all or none; they leave the first unless they `stay` in both.

    Their memory is one, whatever they are in. Their answers in drills of a class that they left are no longer shown
    there.

    Raises
    ------
    CannotMove, UnknownMember, ClassFull
    """
    if other.id == one.id:
        raise CannotMove("that is the class that they are in: choose another")
    if other.school != one.school:
        raise CannotMove("that class is of another school: people move within one")
    with store.writing():
        new = []
        for each in learner_ids:
            held = classes.member(store, one, each)
            if roster_queries.member_of(store, other.id, each) is None:
                try:
                    classes.free_name(store, other, held.name)
                    number = _free_number(store, other, held.number)
                except BadName as error:
                    raise CannotMove(f"{held.name} cannot be put into {other.name}: {error}") from error
                new.append((held, number))
        classes.room_for(store, other, len(new))
        for held, number in new:
            roster_queries.add_member(
                store, held.learner, other.id, now, name=held.name if held.on_roster else None, number=number
            )
            roster_queries.keep_extra_time(store, other.id, (held.learner,), held.extra_time)
        if not stay:
            for each in learner_ids:
                class_queries.end_runs_in_class(store, one.id, now, each)
                roster_queries.leave_class(store, one.id, each)


def give_extra_time(store: Store, one: Class, learner_ids: Collection[int], per_cent: int) -> None:
    """Give learners so much more of the time of timed drills that they have not begun.

    Raises
    ------
    UnknownMember, BadName
    """
    if per_cent not in EXTRA_TIMES:
        raise BadName(f"extra time of {per_cent} %: choose one of those listed")
    with store.writing():
        for each in learner_ids:
            classes.member(store, one, each)
        roster_queries.keep_extra_time(store, one.id, learner_ids, per_cent)


# --- who asks to join --------------------------------------------------------------------------------------------


def approve(store: Store, one: Class, learner_ids: Collection[int], *, now: float) -> None:
    """Let those who asked to join a class in."""
    with store.writing():
        for each in roster_queries.requests_of(store, one.id):
            if each.learner in learner_ids:
                roster_queries.end_request(store, one.id, each.learner)
                roster_queries.add_member(store, each.learner, one.id, now, each.joined_with)


def turn_away(store: Store, one: Class, learner_ids: Collection[int], *, now: float) -> None:
    """Turn away those who asked to join a class; who is in no other class is removed with what they answered."""
    alone = []
    with store.writing():
        for each in roster_queries.requests_of(store, one.id):
            if each.learner in learner_ids:
                roster_queries.end_request(store, one.id, each.learner)
                if not roster_queries.classes_with(store, each.learner):
                    alone.append(each.learner)
    learners.remove_many(store, alone, now=now, by_whom="preceptor")


# --- slips -------------------------------------------------------------------------------------------------------


def slips(store: Store, one: Class, learner_ids: Collection[int], *, lots: Lots) -> list[Slip]:
    """Give learners a new come-back phrase each, by name, to be printed; phrases that they had open nothing any more.

    Raises
    ------
    UnknownMember
    """
    with store.writing():
        held = sorted((classes.member(store, one, each) for each in set(learner_ids)), key=lambda m: m.name.casefold())
        return [Slip(each.name, each.number, classes.phrase_for(store, each.learner, lots)) for each in held]


# --- groups ------------------------------------------------------------------------------------------------------


def group(store: Store, one: Class, group_id: int) -> ClassGroup:
    """Return a group of a class.

    Raises
    ------
    UnknownGroup
    """
    found = roster_queries.group_of_id(store, group_id)
    if found is None or found.class_id != one.id:
        raise UnknownGroup
    return found


def make_group(store: Store, one: Class, name: str, learner_ids: Collection[int], *, now: float) -> int:
    """Make a group of learners of a class and return its number.

    Raises
    ------
    BadName, UnknownMember
    """
    with store.writing():
        for each in learner_ids:
            classes.member(store, one, each)
        number = group_named(store, one, _free_group(store, one, name), now)
        roster_queries.add_to_group(store, number, learner_ids)
    return number


def _free_group(store: Store, one: Class, name: str, but: int | None = None) -> str:
    tidy = names.tidy_name(name, [], of="the group")
    there = roster_queries.groups_of(store, one.id)
    if any(each.name.casefold() == tidy.casefold() and each.id != but for each in there):
        raise BadName(f"there is a group “{tidy}” already: give another name")
    if but is None and len(there) >= MOST_GROUPS:
        raise BadName(f"there are {len(there)} groups, the most a class can have: remove one first")
    return tidy


def free_group_name(store: Store, one: Class, name: str) -> str:
    """Return a name for a new group: this one, shortened, with a number where there is such a group already."""
    there = {each.name.casefold() for each in roster_queries.groups_of(store, one.id)}
    short = name[: names.LONGEST_NAME - 4].strip()
    return next(each for each in (short, *(f"{short} {n}" for n in range(2, 999))) if each.casefold() not in there)


def rename_group(store: Store, one: Class, group_id: int, name: str) -> None:
    """Give a group another name.

    Raises
    ------
    BadName, UnknownGroup
    """
    with store.writing():
        roster_queries.rename_group(store, group(store, one, group_id).id, _free_group(store, one, name, group_id))


def remove_group(store: Store, one: Class, group_id: int) -> None:
    """Remove a group; its learners stay, and drills for it are for nobody else.

    Raises
    ------
    UnknownGroup
    """
    with store.writing():
        roster_queries.remove_group(store, group(store, one, group_id).id)


def put_into_group(
    store: Store, one: Class, group_id: int, learner_ids: Collection[int], *, take: bool = False
) -> None:
    """Put learners of a class into a group, or take them out of it.

    Raises
    ------
    UnknownGroup, UnknownMember
    """
    with store.writing():
        found = group(store, one, group_id)
        for each in learner_ids:
            classes.member(store, one, each)
        if take:
            roster_queries.take_from_group(store, found.id, learner_ids)
        else:
            roster_queries.add_to_group(store, found.id, learner_ids)
