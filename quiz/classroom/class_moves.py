"""Classes that go from one school to another, with their learners: what follows, what stands in the way, doing it.

For those who administer the installation, who see classes and preceptors by name and learners by number. A learner is
of one school, so classes that share one go together; and a class is looked after by preceptors of its own school.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cases.notation.plurals import counted
from quiz.classroom import schools
from quiz.errors import QuizError
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Colleague, School
from quiz.storage.platform import lti_queries
from quiz.storage.store import Store


class ClassStays(QuizError):
    """A class that cannot go to another school as things are."""


@dataclass(frozen=True)
class LooksAfter:
    """A preceptor of a class that is to move."""

    id: int
    name: str
    role: str
    """"owner", "co-teacher" or "reader"."""
    of: Class
    there: bool
    """Whether they are in the school to which it goes."""


@dataclass(frozen=True)
class ClassMove:
    """What follows when classes go from one school to another."""

    classes: tuple[Class, ...]
    leaves: School
    to: School
    learners: int
    preceptors: tuple[LooksAfter, ...]
    takers: tuple[Colleague, ...]
    """Preceptors of the school to which they go."""
    obstacles: tuple[str, ...]
    """Why they cannot go, in words; nothing where they can."""

    @property
    def strangers(self) -> tuple[str, ...]:
        """Names of the preceptors who are not in the school to which the classes go."""
        return tuple(dict.fromkeys(one.name for one in self.preceptors if not one.there))


def planned(store: Store, leaves: School, class_ids: Sequence[int], to: int | None) -> ClassMove:
    """Return what follows when these classes of a school go to another; nothing is changed.

    Raises
    ------
    BadName
        When no class or no other school is chosen.
    """
    if not class_ids:
        raise BadName("choose the classes that move")
    taking = None if to is None else school_queries.school_of_id(store, to)
    if taking is None or taking.id == leaves.id:
        raise BadName("choose the school to which they move")
    going = tuple(schools.class_of_school(store, leaves, number) for number in dict.fromkeys(class_ids))
    numbers = [one.id for one in going]
    obstacles = [
        f"{counted(shared, 'learner')} also practised in “{name}”, and a learner is of one school: "
        "choose that class too, or leave these where they are"
        for name, shared in school_queries.classes_that_share(store, numbers)
    ]
    obstacles += [
        f"“{one.name}” is the class of a course on a platform of {leaves.name}: "
        "take the course off it first, under Course platform on its page"
        for one in going
        if lti_queries.courses_of_class(store, one.id)
    ]
    learners = {each.learner for one in going for each in roster_queries.members_of(store, one.id)}
    takers = tuple(school_queries.preceptors_of_school(store, taking.id))
    after = tuple(each for one in going for each in _looking_after(store, one, taking.id))
    return ClassMove(going, leaves, taking, len(learners), after, takers, tuple(obstacles))


def _looking_after(store: Store, one: Class, to: int) -> list[LooksAfter]:
    owner = roster_queries.preceptor_of_id(store, one.preceptor)
    found = [(one.preceptor, owner.name if owner else "", "owner")]
    found += [(each.preceptor, each.name, each.role) for each in roster_queries.teachers_of(store, one.id)]
    return [LooksAfter(who, name, role, one, school_queries.is_in(store, to, who)) for who, name, role in found]


def move(
    store: Store,
    leaves: School,
    class_ids: Sequence[int],
    to: int | None,
    *,
    along: bool,
    owner: int | None,
    by: str,
    now: float,
) -> None:
    """Let classes go to another school, all or none, and write down who let them.

    Their preceptors come `along` into that school, and stay in the one before too; otherwise those who are not there
    have no more to do with them, and `owner`, a preceptor of that school, owns them.

    Raises
    ------
    BadName, ClassStays
    """
    with store.writing():
        plan = planned(store, leaves, class_ids, to)
        if plan.obstacles:
            raise ClassStays(plan.obstacles[0])
        if not along and owner is not None and all(one.id != owner for one in plan.takers):
            raise BadName("choose an owner from the list")
        if not along and owner is None and any(one.role == "owner" and not one.there for one in plan.preceptors):
            raise ClassStays("choose who owns it there, or let its preceptors come along")
        for one in plan.classes:
            school_queries.keep_school_of_class(store, one.id, plan.to.id)
            school_queries.record(store, plan.leaves.id, by, "class left", now, what=one.name)
            school_queries.record(store, plan.to.id, by, "class came", now, what=one.name)
            way = f"{plan.leaves.name} to {plan.to.name}"
            school_queries.record(store, None, by, "moved class", now, whom=way, what=one.name)
        for each in plan.preceptors:
            if along:
                _bring(store, plan.to, each, by, now)
            else:
                _hand(store, plan, each, owner, by, now)


def _bring(store: Store, to: School, each: LooksAfter, by: str, now: float) -> None:
    if not school_queries.is_in(store, to.id, each.id):
        school_queries.keep_person(store, to.id, each.id, now)
        school_queries.record(store, to.id, by, "added", now, whom=each.name)


def _hand(store: Store, plan: ClassMove, each: LooksAfter, owner: int | None, by: str, now: float) -> None:
    if each.role == "owner" and owner is not None and owner != each.id:
        name = next(one.name for one in plan.takers if one.id == owner)
        roster_queries.keep_owner(store, each.of.id, owner)
        school_queries.record(store, plan.to.id, by, "handed over", now, whom=name, what=each.of.name)
        if each.there:
            roster_queries.keep_teacher(store, each.of.id, each.id, "co-teacher", now)
    if not each.there:
        roster_queries.remove_teacher(store, each.of.id, each.id)
        school_queries.record(store, plan.leaves.id, by, "off class", now, whom=each.name, what=each.of.name)
