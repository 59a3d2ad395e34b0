"""Classes: making one, the code that it is joined by, joining, coming back from another device, archive, removing."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from cases.patients.population import REGIONS
from quiz.classroom import sign_in
from quiz.classroom.sign_in import NotKnown, digest, new_code, tidy_code
from quiz.classroom.throttle import WINDOW, Caller
from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.practice import learners, names
from quiz.practice.names import BadName
from quiz.practice.randomness import Lots
from quiz.storage import class_queries, roster_queries
from quiz.storage.class_queries import Class, Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.roster_queries import MOST_LEARNERS, Member
from quiz.storage.store import Learner, Store

CODE_MARKS = 8
CODE_DAYS = 14
PHRASE_MARKS = 16
"""79 bits: not to be guessed, so that it is kept as a plain hash."""
MOST_AT_ONCE = 120
"""Joins in one class within `WINDOW`; then nobody else joins until its preceptor says so, or time passes."""
MOST_FROM_ONE_ADDRESS = 80
"""Of these, from one address: a whole class in one room passes, and one person who holds the code cannot fill it."""
FREE_TRIES = 20
"""Failed tries of one code or one phrase before the next one has to wait."""
LEAST_SECRET = 12
"""Marks of a form's secret: fewer could be another's by chance."""


class UnknownClass(QuizError):
    """No such class is this preceptor's."""

    def __init__(self) -> None:
        super().__init__("you have no such class: your classes are listed under Class")


class BadSchool(QuizError):
    """A school of which somebody is not, named or meant for a class."""


class UnknownMember(QuizError):
    """No such learner is in this class."""

    def __init__(self) -> None:
        super().__init__("no such learner is in this class; perhaps they have left it")


class NotYours(QuizError):
    """Something that a preceptor of this class may not do in it: a reader changes nothing, and some is its owner's."""

    def __init__(self, role: str, owner: str) -> None:
        who = "you may read this class and change nothing in it" if role == "reader" else "only its owner can do this"
        super().__init__(f"{who}: ask {owner}, who owns it")


class Archived(QuizError):
    """A class that was put away: nothing in it is changed."""

    def __init__(self) -> None:
        super().__init__("this class is archived: its owner can take it out of the archive on its page")


class RosterClosed(QuizError):
    """A drill that counts is open, so nobody joins by a code."""

    def __init__(self, drill: str) -> None:
        super().__init__(
            f"“{drill}” counts and is open, so the roster is closed: add people to it by hand or by a file, "
            "or close the drill first"
        )


class OfAnotherSchool(QuizError):
    """A learner of one school on the way into a class of another, whose preceptors would see what they did in both."""

    def __init__(self) -> None:
        super().__init__(
            "that class is of another school, which is to see nothing of the one that you are in. Join it under a name "
            "of its own; what you practised can be taken along as own data"
        )


class ClassFull(QuizError):
    """A class has as many learners as one page can show."""

    def __init__(self) -> None:
        super().__init__(f"this class has {MOST_LEARNERS} learners, the most there can be: ask for another class")


class ManyJoined(QuizError):
    """Too many people joined a class at once: nobody else can until its preceptor has looked, or time has passed."""

    def __init__(self) -> None:
        super().__init__(
            "many have joined this class in the last minutes, so joining is on hold: "
            f"ask your preceptor, who can let more in, or try again in {WINDOW / 60:.0f} minutes"
        )


class BadForm(QuizError):
    """A form to join by that lacks the secret it was sent out with, by which one sent twice joins once."""

    def __init__(self) -> None:
        super().__init__("this form is incomplete: open the page again and fill it in there")


@dataclass(frozen=True)
class Joined:
    """A learner who has come in: the token for the cookie, and the phrase to come back with, shown once."""

    learner: Learner
    token: str
    """"" where they were in already."""
    phrase: str
    of: Class | None = None
    """The class that was joined, or asked."""


def make(store: Store, preceptor: Preceptor, name: str, *, now: float, lots: Lots, school: int | None = None) -> int:
    """Make a class that can be joined for the next two weeks and return its number.

    school: whose it is, one of the preceptor's; None: the one in which they are.

    Raises
    ------
    BadName
    BadSchool
        When they are in several and name none, or in none.
    """
    with store.writing():
        tidy = _free_class_name(store, preceptor.id, name)
        theirs = [one.school for one in school_queries.schools_of(store, preceptor.id)]
        if school is None and len(theirs) == 1:
            school = theirs[0]
        if school is None or school not in theirs:
            raise BadSchool(
                "choose whose class it is"
                if theirs
                else "you are in no school of this server: an administrator of one invites you"
            )
        number = class_queries.add_class(store, preceptor.id, tidy, now, school=school)
        class_queries.keep_code(store, number, new_code(lots, CODE_MARKS), now + CODE_DAYS * DAY)
    return number


def rename(store: Store, one: Class, name: str) -> None:
    """Give a class another name.

    Raises
    ------
    BadName
    """
    with store.writing():
        class_queries.rename_class(store, one.id, _free_class_name(store, one.preceptor, name, but=one.id))


def _free_class_name(store: Store, preceptor_id: int, name: str, but: int | None = None) -> str:
    tidy = names.tidy_name(name, [], of="the class")
    there = class_queries.classes_of(store, preceptor_id)
    if any(one.name.casefold() == tidy.casefold() and one.id != but for one in there):
        raise BadName(f"you have a class “{tidy}” already: give another name, perhaps with the year")
    return tidy


def own(store: Store, preceptor: Preceptor, class_id: int) -> Class:
    """Return a class of this preceptor, whatever they are in it.

    Raises
    ------
    UnknownClass
        When they are nothing in it.
    """
    found = class_queries.class_of_id(store, class_id)
    if found is None or found.removed_at is not None or roster_queries.role_in(store, found, preceptor.id) is None:
        raise UnknownClass
    return found


def changeable(
    store: Store, preceptor: Preceptor, class_id: int, *, owner: bool = False, archived: bool = False
) -> Class:
    """Return a class in which this preceptor may change something; only its owner where `owner`.

    Raises
    ------
    UnknownClass, NotYours, Archived
        Archived unless `archived`, for what can be done to a class that was put away.
    """
    found = own(store, preceptor, class_id)
    role = roster_queries.role_in(store, found, preceptor.id) or ""
    if role == "reader" or (owner and role != "owner"):
        by = roster_queries.preceptor_of_id(store, found.preceptor)
        raise NotYours(role, by.name if by else "the one")
    if found.archived_at is not None and not archived:
        raise Archived
    return found


def member(store: Store, one: Class, learner_id: int) -> Member:
    """Return the place of a learner in a class.

    Raises
    ------
    UnknownMember
        When there is none of this number in it.
    """
    found = roster_queries.member_of(store, one.id, learner_id)
    if found is None:
        raise UnknownMember
    return found


def give_code(store: Store, one: Class, *, now: float, lots: Lots) -> None:
    """Give a class a new code for the next two weeks; the one before no longer lets anyone in.

    Raises
    ------
    RosterClosed
        While a drill that counts is open.
    """
    with store.writing():
        for drill in class_queries.open_and_counting(store, one.id, now):
            raise RosterClosed(drill.title)
        class_queries.keep_code(store, one.id, new_code(lots, CODE_MARKS), now + CODE_DAYS * DAY)


def ask_first(store: Store, one: Class, *, asks: bool) -> None:
    """Let the person who types the code wait until a preceptor lets them in, or let them in at once."""
    with store.writing():
        class_queries.keep_asks(store, one.id, asks=asks)


class UnknownRegion(QuizError):
    """A region that no patients can be drawn for."""


def set_region(store: Store, one: Class, region: str) -> None:
    """Draw the patients of drills and examinations that are set from now on as those of a region.

    Raises
    ------
    UnknownRegion
    """
    if region not in REGIONS:
        raise UnknownRegion(f"region “{region[:40]}” is unknown: give one of {', '.join(REGIONS)}")
    with store.writing():
        class_queries.keep_region(store, one.id, region)


def archive(store: Store, one: Class, *, now: float) -> None:
    """Put a class away: its code lets nobody in, its drills end, everything in it can be read."""
    with store.writing():
        class_queries.keep_code(store, one.id, None, None)
        class_queries.end_runs_in_class(store, one.id, now)
        class_queries.keep_archived(store, one.id, now)


def take_out(store: Store, one: Class) -> None:
    """Take a class out of the archive."""
    with store.writing():
        class_queries.keep_archived(store, one.id, None)


def take_code(store: Store, one: Class) -> None:
    """Let nobody else join."""
    with store.writing():
        class_queries.keep_code(store, one.id, None, None)


def join(
    store: Store,
    code: str,
    name: str,
    *,
    form: str,
    caller: Caller,
    now: float,
    lots: Lots,
    who: Learner | None = None,
    shared: bool = False,
) -> Joined:
    """Let someone join by a class's code: under a name of their choosing, or as `who`, who is in a class already.

    form is the secret of the form that was sent: the same form once more finds the learner whom it made. Where the
    class asks its preceptor first, they wait for that.

    Raises
    ------
    NotKnown, TooManyTries, BadForm, BadName, ClassFull, ManyJoined
    OfAnotherSchool
        When `who` is in a class of another school.
    """
    code = tidy_code(code)
    with caller.tries.counted(caller.limits("code", code, FREE_TRIES), now):
        one = class_queries.class_with_code(store, code)
        if one is None or not one.code_holds(now):
            raise NotKnown("no class has that code now: look at it again, or ask your preceptor for a new one")
    if len(form) < LEAST_SECRET:
        raise BadForm
    with store.writing():
        learner = roster_queries.learner_joined_with(store, one.id, digest(form))
        if learner is None:
            _not_too_many(store, one, caller, now)
            learner = _added(store, one, name, digest(form), now, who)
            caller.tries.add("joined", f"{one.id} from {caller.address}", now)
        if who is not None and learner.id == who.id:
            return Joined(learner, "", "", one)
        return _come_in(store, learner, now, lots, one, shared=shared)


def _not_too_many(store: Store, one: Class, caller: Caller, now: float) -> None:
    since = max(now - WINDOW, one.joins_from or 0.0)
    here = caller.tries.since("joined", f"{one.id} from {caller.address}", since, now=now)
    if here >= MOST_FROM_ONE_ADDRESS or roster_queries.joined_since(store, one.id, since) >= MOST_AT_ONCE:
        raise ManyJoined


@dataclass(frozen=True)
class Crowd:
    """Many who joined a class within `WINDOW`, of whom its preceptor has not said that they are known."""

    count: int
    first_at: float
    last_at: float


def crowd(members: Sequence[Member], one: Class) -> Crowd | None:
    """Return the most who joined within `WINDOW`, once they are as many as one address is let; else None."""
    times = sorted(each.joined_at for each in members if each.joined_at > (one.joins_from or 0.0))
    most, first = Crowd(0, 0.0, 0.0), 0
    for last, at in enumerate(times):
        while times[first] <= at - WINDOW:
            first += 1
        if last - first + 1 > most.count:
            most = Crowd(last - first + 1, times[first], at)
    return most if most.count >= MOST_FROM_ONE_ADDRESS else None


def know_joined(store: Store, one: Class, *, now: float) -> None:
    """Keep that the preceptor knows all who have joined so far, so that as many more can join."""
    with store.writing():
        class_queries.keep_joins_from(store, one.id, now)


def _added(store: Store, one: Class, name: str, form: str, now: float, who: Learner | None) -> Learner:
    room_for(store, one, 1)
    if who is None:
        learner = learners.added(store, free_name(store, one, name), now)
    elif roster_queries.member_of(store, one.id, who.id) is not None:
        return who
    else:
        same_school(store, one, who.id)
        free_name(store, one, who.name)
        learner = who
    if one.asks:
        roster_queries.add_request(store, one.id, learner.id, now, form)
    else:
        roster_queries.add_member(store, learner.id, one.id, now, form)
    return learners.get(store, learner.id)


def same_school(store: Store, one: Class, learner_id: int) -> None:
    """See that a learner is in no class of another school; raises OfAnotherSchool."""
    if school_queries.schools_of_learner(store, learner_id) - {one.school}:
        raise OfAnotherSchool


def room_for(store: Store, one: Class, more: int) -> None:
    """See that a class has room for this many more.

    Raises
    ------
    ClassFull
    """
    asking = len(roster_queries.requests_of(store, one.id))
    if roster_queries.count_places(store, one.id) + asking + more > MOST_LEARNERS:
        raise ClassFull


def free_name(store: Store, one: Class, name: str, *, but: int | None = None) -> str:
    """Return a name, tidied, that nobody in a class has, or asks to join it under; `but` is a learner who may have it.

    Raises
    ------
    BadName
    """
    tidy = names.tidy_name(name, [])
    taken = [(each.name, each.learner) for each in roster_queries.members_of(store, one.id)]
    taken += [(each.name, each.learner) for each in roster_queries.requests_of(store, one.id)]
    if any(each.casefold() == tidy.casefold() and learner != but for each, learner in taken):
        raise BadName(f"“{tidy}” is taken in this class: add a letter, or come back with your phrase if it is you")
    return tidy


def _come_in(
    store: Store, learner: Learner, now: float, lots: Lots, one: Class | None = None, *, shared: bool = False
) -> Joined:
    phrase = phrase_for(store, learner.id, lots)
    return Joined(learner, sign_in.let_in(store, learner, now=now, lots=lots, shared=shared), phrase, one)


def phrase_for(store: Store, learner_id: int, lots: Lots) -> str:
    """Give a learner a new come-back phrase and return it, in `writing()`; the one before opens nothing any more."""
    phrase = new_code(lots, PHRASE_MARKS)
    roster_queries.keep_phrase(store, learner_id, digest(phrase))
    return phrase


def who_comes_back(store: Store, phrase: str, *, caller: Caller, now: float) -> Learner:
    """Return the learner whose come-back phrase this is.

    Raises
    ------
    NotKnown, TooManyTries
    """
    kept = digest(tidy_code(phrase))
    with caller.tries.counted(caller.limits("phrase", kept, FREE_TRIES), now):
        learner = roster_queries.learner_with_phrase(store, kept)
        if learner is None:
            raise NotKnown("that phrase opens nothing here: look at it again, or ask your preceptor for a new one")
    return learner


def come_back(store: Store, phrase: str, *, caller: Caller, now: float, lots: Lots, shared: bool = False) -> str:
    """Sign a learner in by the come-back phrase and return the token for the cookie.

    Raises
    ------
    NotKnown, TooManyTries
    """
    learner = who_comes_back(store, phrase, caller=caller, now=now)
    with store.writing():
        return sign_in.let_in(store, learner, now=now, lots=lots, shared=shared)


def new_phrase(store: Store, learner_id: int, *, lots: Lots) -> str:
    """Give a learner a new come-back phrase and return it; the one before opens nothing any more."""
    with store.writing():
        return phrase_for(store, learner_id, lots)


def sign_out_elsewhere(store: Store, learner: Learner, *, now: float, lots: Lots) -> Joined:
    """End a learner's sign-ins on every device, and give this one a new sign-in and a new phrase."""
    with store.writing():
        class_queries.end_sign_ins_of_learner(store, learner.id)
        return _come_in(store, learner, now, lots)


def remove_learners(store: Store, one: Class, learner_ids: Collection[int], *, now: float) -> None:
    """Remove learners of a class with everything that they answered: all of them or, where one is not in it, none.

    Who is in another class too leaves this one, and keeps what they answered.

    Raises
    ------
    UnknownMember
    """
    of_class = {each.learner for each in roster_queries.members_of(store, one.id)}
    if not of_class.issuperset(learner_ids):
        raise UnknownMember
    elsewhere = roster_queries.in_other_classes(store, one.id) & set(learner_ids)
    with store.writing():
        for each in elsewhere:
            class_queries.end_runs_in_class(store, one.id, now, each)
            roster_queries.leave_class(store, one.id, each)
    learners.remove_many(store, set(learner_ids) - elsewhere, now=now, by_whom="preceptor")


def remove(store: Store, one: Class, *, now: float) -> None:
    """Remove a class with its learners and everything that they answered, and every trace of them.

    Who is in another class too stays, with what they answered.
    """
    with store.writing():
        class_queries.remove_class(store, one.id, now)
    store.wipe()
