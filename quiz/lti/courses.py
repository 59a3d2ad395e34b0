"""Courses of platforms and their people: one course is one class; who comes from it is found or made, never guessed.

Nobody is taken for a learner or preceptor who is here already because of a name. One subject of one registration is one
person, in however many of its courses.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from quiz.classroom import classes, drills, schools
from quiz.classroom.sign_in import digest
from quiz.errors import QuizError
from quiz.lti.launching import Launch, LaunchRefused, origins_of
from quiz.practice import learners
from quiz.practice.names import BadName, tidy_name
from quiz.practice.randomness import Lots
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class, Drill, Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.platform import earlier_runs, lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import Course, CourseLink, CourseUser, Registration, Ticket
from quiz.storage.store import Store

TICKET_HOLDS_S = 60.0
BESIDE_CHOICE_S = 600.0
"""Seconds for a teacher who reads the list of drills before they go to set one."""
CHOICE_HOLDS_S = 3600.0
STAYS_S = 8 * 3600.0
"""Seconds for which somebody from a platform is signed in."""
NO_PASSWORD = "none"  # noqa: S105 - no hash, so that no password fits it
MOST_OF_ONE_NAME = 600


class NotOfCourse(QuizError):
    """No such course or link is this preceptor's."""

    def __init__(self) -> None:
        super().__init__("you have no such course: open the link again in your course platform")


@dataclass(frozen=True)
class Arrival:
    """Somebody who has come from a platform: the ticket that lets them in once, and the one to choose a drill with."""

    ticket: str
    choice: str = ""


@dataclass(frozen=True)
class Entered:
    """Somebody who came in by a ticket: the token for the cookie, and what they came for."""

    user: CourseUser
    course: Course
    token: str
    preceptor: Preceptor | None
    class_: Class | None
    link: CourseLink | None
    back: str
    """Where the platform takes people back to the course; "" where it did not say."""


# --- coming ----------------------------------------------------------------------------------------------------------


def arrive(store: Store, launch: Launch, *, now: float, lots: Lots) -> Arrival:
    """Find or make what a launch names, and give a ticket to come in by.

    Raises
    ------
    LaunchRefused
    ClassFull
        When the class of the course has no room for one learner more.
    """
    refused_at = origins_of(launch.registration)
    with store.writing():
        course = _course(store, launch)
        one = class_of(store, course)
        if launch.role == "learner" and one is None:
            raise LaunchRefused(11, f"{course.title} has no class here", origin=refused_at, back=launch.back)
        link = _link(store, launch, course, one, now) if launch.resource_link_id else None
        if launch.role == "teacher":
            user = _teacher(store, launch, course, one, now)
        elif one is not None and one.archived_at is not None:
            known = lti_queries.user_with(store, course.id, launch.subject, "learner")
            if known is None:
                words = f"the class of {course.title} is in the archive"
                raise LaunchRefused(19, words, origin=refused_at, back=launch.back)
            user = known  # who practised in it keeps the way to what they have
        elif one is not None:
            user = learner_for(store, launch.registration, course, one, launch.subject, launch.name, now)
            if link is None or link.drill is None:
                words = f"no drill is chosen for “{link.title}” in {course.title}" if link else "no link"
                raise LaunchRefused(13, words, origin=refused_at, back=launch.back)
            _grade_again(store, link, user, now)
        holds = BESIDE_CHOICE_S if launch.request else TICKET_HOLDS_S
        back = {"back": launch.back} if launch.back else {}
        ticket = _give(store, "enter", Ticket(user.id, link.id if link else None, back, now + holds), now, lots)
        choice = ""
        if launch.request:
            until = now + CHOICE_HOLDS_S
            choice = _give(store, "choose", Ticket(user.id, None, dict(launch.request), until), now, lots)
    return Arrival(ticket, choice)


def ticket_beside_choice(store: Store, choice: str, *, now: float, lots: Lots) -> str:
    """Give who chooses a drill one more ticket, to set a drill in a tab of its own.

    Raises
    ------
    LaunchRefused
    """
    user, _, _ = read_choice(store, choice, now=now)
    with store.writing():
        return _give(store, "enter", Ticket(user.id, None, {}, now + BESIDE_CHOICE_S), now, lots)


def _give(store: Store, kind: str, what: Ticket, now: float, lots: Lots) -> str:
    secret = lots.new_secret()
    lti_queries.add_ticket(store, digest(secret), kind, what, now)
    return secret


def _course(store: Store, launch: Launch) -> Course:
    found = lti_queries.course_with(store, launch.deployment.id, launch.context_id)
    title = launch.context_title or (found.title if found else "") or "Course"
    number = found.id if found else lti_queries.add_course(store, launch.deployment.id, launch.context_id, title)
    lti_queries.keep_services(store, number, title, launch.members_url, launch.lineitems_url)
    kept = lti_queries.course_of_id(store, number)
    if kept is None:
        raise RuntimeError("a course that was just kept is gone")
    return kept


def class_of(store: Store, course: Course) -> Class | None:
    """Return the class of a course; None where it has none, or that was removed, or is of another school."""
    one = None if course.class_id is None else class_queries.class_of_id(store, course.class_id)
    if one is None or one.removed_at is not None or one.school != school_of(store, course):
        return None
    return one


def school_of(store: Store, course: Course) -> int:
    """Return the number of the school whose platform a course is of: its classes alone can be the course's."""
    registration = lti_queries.registration_of_course(store, course.id)
    if registration is None or registration.school is None:
        raise NotOfCourse
    return registration.school


def _link(store: Store, launch: Launch, course: Course, one: Class | None, now: float) -> CourseLink:
    before = lti_queries.link_with(store, course.id, launch.resource_link_id)
    lti_queries.keep_link(store, course.id, launch.resource_link_id, launch.link_title, launch.lineitem_url)
    link = lti_queries.link_with(store, course.id, launch.resource_link_id)
    opened = (before.drill, before.lineitem_url) if before else (None, None)
    if link is None:
        raise RuntimeError("a link that was just kept is gone")
    if one is None:
        return link  # a teacher's, who gives the course a class first
    named = drill_named(store, one, launch.drill) if launch.drill else None
    here = link.drill is not None and any(each.id == link.drill for each in class_queries.drills_of(store, one.id))
    wanted = named.id if named else link.drill if here else None
    if wanted is None and (launch.drill or link.drill is not None) and launch.role == "learner":
        raise _of_another_class(launch, course)
    if wanted != link.drill:
        # A teacher who comes by a link of another class, as a copied course has them, is asked for its drill.
        lti_queries.keep_drill_of(store, link.id, wanted)
    kept = lti_queries.link_of_id(store, link.id) or link
    if kept.drill is not None and (kept.drill, kept.lineitem_url) != opened:
        # Put into the course once more, perhaps: who has finished the drill need not open the new link as well.
        for user in lti_queries.users_of(store, course.id, "learner"):
            _grade_again(store, kept, user, now)
    return kept


def _of_another_class(launch: Launch, course: Course) -> LaunchRefused:
    words = f"“{launch.link_title}” in {course.title} opens a drill that is not of its class"
    return LaunchRefused(12, words, origin=origins_of(launch.registration), back=launch.back)


def remove_link(store: Store, course_id: int, link_id: int) -> None:
    """Forget a link whose column was deleted on the platform, with what is kept of its grades.

    Raises
    ------
    NotOfCourse
    """
    link = lti_queries.link_of_id(store, link_id)
    if link is None or link.context != course_id:
        raise NotOfCourse
    with store.writing():
        lti_queries.drop_link(store, link_id)


def opaque(store: Store, drill: Drill) -> str:
    """Return what names a drill to a platform: nothing can be read from it, and it is of this data file alone."""
    return hashlib.sha256(f"{store.secret()} {drill.id} {drill.made_at!r}".encode()).hexdigest()[:32]


def drill_named(store: Store, one: Class, name: str) -> Drill | None:
    """Return the drill of a class that a platform's link names; drills of other classes are none of these."""
    return next((each for each in class_queries.drills_of(store, one.id) if opaque(store, each) == name), None)


# --- people ----------------------------------------------------------------------------------------------------------


def _teacher(store: Store, launch: Launch, course: Course, one: Class | None, now: float) -> CourseUser:
    user = lti_queries.user_with(store, course.id, launch.subject, "teacher")
    if user is None:
        elsewhere = lti_queries.user_elsewhere(store, launch.registration.id, launch.subject, "teacher")
        who = elsewhere.preceptor if elsewhere else None
        if who is None:
            name = _free_preceptor_name(store, launch.name)
            of, by = school_of(store, course), launch.registration.name
            who = class_queries.add_preceptor(store, name, NO_PASSWORD, now, school=of)
            school_queries.record(store, of, by, "added", now, whom=name)
        number = lti_queries.add_user(store, course.id, launch.subject, "teacher", preceptor=who)
        user = lti_queries.user_of_id(store, number)
    if user is None or user.preceptor is None:
        raise RuntimeError("a teacher who was just kept is gone")
    if one is not None and roster_queries.role_in(store, one, user.preceptor) is None:
        roster_queries.keep_teacher(store, one.id, user.preceptor, "co-teacher", now)
        teacher = roster_queries.preceptor_of_id(store, user.preceptor)
        whom, by = teacher.name if teacher else "", launch.registration.name
        school_queries.record(store, one.school, by, "co-teacher", now, whom=whom, what=one.name)
    return user


def _free_preceptor_name(store: Store, name: str) -> str:
    tidy = _tidy(name, "Teacher")
    for name in _numbered(tidy):
        if class_queries.preceptor_named(store, name) is None:
            return name
    raise BadName(f"“{tidy}”: too many preceptors have this name")


def learner_for(
    store: Store, registration: Registration, course: Course, one: Class, subject: str, name: str, now: float
) -> CourseUser:
    """Return who a learner of a course is in its class, made or let back in where they are not there; in `writing()`.

    Raises
    ------
    ClassFull, OfAnotherSchool
    """
    user = lti_queries.user_with(store, course.id, subject, "learner")
    if user is None:
        elsewhere = lti_queries.user_elsewhere(store, registration.id, subject, "learner")
        number = elsewhere.learner if elsewhere else None
        if number is not None and school_queries.schools_of_learner(store, number) - {one.school}:
            number = None  # they have gone to another school since: there they are somebody else
        if number is None:
            classes.room_for(store, one, 1)
            number = learners.added(store, _free_learner_name(store, one, name), now).id
        lti_queries.add_user(store, course.id, subject, "learner", learner=number)
        user = lti_queries.user_with(store, course.id, subject, "learner")
    if user is None or user.learner is None:
        raise RuntimeError("a learner who was just kept is gone")
    if roster_queries.member_of(store, one.id, user.learner) is None:
        classes.same_school(store, one, user.learner)
        classes.room_for(store, one, 1)
        roster_queries.add_member(store, user.learner, one.id, now)
        if user.extra_time:
            roster_queries.keep_extra_time(store, one.id, (user.learner,), user.extra_time)
        # Who they are the platform says, so they need not be let into what counts one by one.
        # One who had begun a drill before, and deleted themselves since, is let in by a preceptor or not at all.
        for drill in class_queries.open_and_counting(store, one.id, now):
            if earlier_runs.earlier_run(store, drill.id, user.learner) is None:
                class_queries.let_in(store, drill.id, user.learner, now)
    if user.left_at is not None:
        lti_queries.keep_left(store, user.id, None)
    return user


def _free_learner_name(store: Store, one: Class, name: str) -> str:
    tidy = _tidy(name, "Student")
    for each in _numbered(tidy) if name else (f"{tidy} {number}" for number in range(1, MOST_OF_ONE_NAME)):
        try:
            return classes.free_name(store, one, each)
        except BadName:
            continue
    raise BadName(f"“{tidy}”: too many in this class have this name")


def _tidy(name: str, instead: str) -> str:
    try:
        return tidy_name(name[:50], [])
    except BadName:
        return instead


def _numbered(name: str) -> list[str]:
    return [name, *(f"{name} {number}" for number in range(2, MOST_OF_ONE_NAME))]


def _grade_again(store: Store, link: CourseLink, user: CourseUser, now: float) -> None:
    """Let the grade of a run be sent that ended before this link, or this learner in it, was known."""
    if link.drill is None or link.lineitem_url is None or user.learner is None:
        return
    run = class_queries.run_of(store, link.drill, user.learner)
    if run is not None and run.ended_at is not None and outcome_queries.grade(store, link.id, user.learner) is None:
        outcome_queries.make_due(store, link.id, user.learner, now)


# --- coming in -------------------------------------------------------------------------------------------------------


def enter(store: Store, ticket: str, *, now: float, lots: Lots) -> Entered:
    """Let somebody in by a ticket, once.

    Raises
    ------
    LaunchRefused
    """
    with store.writing():
        found = lti_queries.take_ticket(store, digest(ticket), "enter")
        user = None if found is None or found.until <= now else lti_queries.user_of_id(store, found.user)
        course = None if user is None else lti_queries.course_of_id(store, user.context)
        if found is None or user is None or course is None:
            raise LaunchRefused(4, "a ticket that is not known, was used or has run out")
        token = lots.new_secret()
        who = {"learner": user.learner, "preceptor": user.preceptor}
        class_queries.add_sign_in(store, digest(token), **who, now=now, until=now + STAYS_S)
    preceptor = None if user.preceptor is None else roster_queries.preceptor_of_id(store, user.preceptor)
    link = None if found.link is None else lti_queries.link_of_id(store, found.link)
    back = str(found.request.get("back", ""))
    return Entered(user, course, token, preceptor, class_of(store, course), link, back)


def course_of(store: Store, preceptor: Preceptor, number: int) -> tuple[Course, CourseUser]:
    """Return a course in which a preceptor is a teacher, and who they are in it.

    Raises
    ------
    NotOfCourse
    """
    course = lti_queries.course_of_id(store, number)
    taught = [] if course is None else lti_queries.users_of(store, course.id, "teacher")
    user = next((one for one in taught if one.preceptor == preceptor.id), None)
    if course is None or user is None:
        raise NotOfCourse
    return course, user


def make_class(store: Store, course: Course, preceptor: Preceptor, *, now: float, anew: bool = False) -> int:
    """Make a class for a course, without a code: its learners come from the platform; return its number.

    A course that has a class by now keeps it, unless it is to have one anew.
    """
    with store.writing():
        kept = lti_queries.course_of_id(store, course.id) or course
        there = class_of(store, kept)
        if there is not None and not anew:
            return there.id
        taken = {one.name.casefold() for one in class_queries.classes_of(store, preceptor.id)}
        tidy = _tidy(course.title, "Course")
        year = f"{tidy} ({datetime.fromtimestamp(now, UTC).year})"
        name = next(each for each in (tidy, year, *_numbered(tidy)[1:]) if each.casefold() not in taken)
        number = class_queries.add_class(store, preceptor.id, name, now, school=school_of(store, kept))
        _give_class(store, kept, number, now)
    return number


def use_class(store: Store, course: Course, preceptor: Preceptor, class_id: int, *, now: float) -> None:
    """Let a class that a preceptor owns be the class of a course that has none.

    Raises
    ------
    UnknownClass, NotYours, Archived, NotOfCourse
    """
    with store.writing():
        one = classes.changeable(store, preceptor, class_id, owner=True)
        kept = lti_queries.course_of_id(store, course.id)
        if kept is None or class_of(store, kept) is not None or one.school != school_of(store, kept):
            raise NotOfCourse
        _give_class(store, kept, one.id, now)


def take_off(store: Store, course: Course) -> None:
    """Let a course have no class, so that it can be given another."""
    with store.writing():
        lti_queries.keep_class_of(store, course.id, None)


def _give_class(store: Store, course: Course, class_id: int, now: float) -> None:
    lti_queries.keep_class_of(store, course.id, class_id)
    one = class_queries.class_of_id(store, class_id)
    for each in lti_queries.users_of(store, course.id, "teacher"):
        if one is not None and each.preceptor and roster_queries.role_in(store, one, each.preceptor) is None:
            roster_queries.keep_teacher(store, class_id, each.preceptor, "co-teacher", now)


def be_preceptor(store: Store, course: Course, user: CourseUser, known: Preceptor, *, now: float) -> None:
    """Let a teacher of a platform be the preceptor whose password they have just given; in every course of theirs.

    What they had here under the name that the platform gave is handed over. The platform says that they teach at its
    school, so they are in it from then on.
    """
    registration = lti_queries.registration_of_course(store, course.id)
    if registration is None or user.preceptor is None or user.preceptor == known.id:
        return
    before = user.preceptor
    with store.writing():
        schools.add_person(store, schools.get(store, school_of(store, course)), known, by=registration.name, now=now)
        for one in class_queries.classes_of(store, before):
            if not school_queries.is_in(store, one.school, known.id):
                continue
            if one.preceptor == before:
                roster_queries.keep_owner(store, one.id, known.id)
            elif roster_queries.role_in(store, one, known.id) is None:
                roster_queries.keep_teacher(store, one.id, known.id, "co-teacher", one.made_at)
        lti_queries.make_another(store, registration.id, user.subject, known.id)
        other = roster_queries.preceptor_of_id(store, before)
        left = [one for one in class_queries.classes_of(store, before) if one.preceptor == before]
        if other is not None and other.password == NO_PASSWORD and not other.administrator and not left:
            class_queries.hand_what_is_left(store, before, known.id)
            roster_queries.remove_preceptor(store, before)


# --- a drill for a link ----------------------------------------------------------------------------------------------


def drills_to_choose(store: Store, one: Class) -> list[Drill]:
    """Return the drills of a class that a link can open: those for everyone, or for some groups and people."""
    return [each for each in class_queries.drills_of(store, one.id) if each.for_learner is None]


def set_link(store: Store, course: Course, link_id: int, drill_id: int, *, now: float) -> None:
    """Let a link that was placed by hand open a drill of the course's class; grades of runs that ended are due.

    Raises
    ------
    NotOfCourse, UnknownDrill
    """
    one, link = class_of(store, course), lti_queries.link_of_id(store, link_id)
    if one is None or link is None or link.context != course.id:
        raise NotOfCourse
    drill = drills.own(store, one, drill_id)
    with store.writing():
        lti_queries.keep_drill_of(store, link.id, drill.id)
        kept = lti_queries.link_of_id(store, link.id) or link
        for user in lti_queries.users_of(store, course.id, "learner"):
            _grade_again(store, kept, user, now)


def read_choice(
    store: Store, choice: str, *, now: float, take: bool = False
) -> tuple[CourseUser, Course, Mapping[str, Any]]:
    """Return who chooses a drill, for which course, and what the platform asked for; `take`: it is used up.

    Raises
    ------
    LaunchRefused
    """
    if take:
        with store.writing():
            found = lti_queries.take_ticket(store, digest(choice), "choose")
    else:
        found = lti_queries.ticket(store, digest(choice), "choose")
    user = None if found is None or found.until <= now else lti_queries.user_of_id(store, found.user)
    course = None if user is None else lti_queries.course_of_id(store, user.context)
    if found is None or user is None or course is None:
        raise LaunchRefused(4, "a choice that is not known, was used or has run out")
    return user, course, found.request
