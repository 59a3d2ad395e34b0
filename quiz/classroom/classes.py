"""Classes: making one, the code that it is joined by, joining, coming back from another device, and removing."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from quiz.classroom import sign_in
from quiz.classroom.sign_in import NotKnown, digest, new_code, tidy_code
from quiz.classroom.throttle import WINDOW, Caller
from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.practice import learners, names
from quiz.practice.names import BadName
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Class, Member, Preceptor
from quiz.storage.store import Learner, Store

CODE_MARKS = 8
CODE_DAYS = 14
PHRASE_MARKS = 16
"""79 bits: not to be guessed, so that it is kept as a plain hash."""
MOST_LEARNERS = 500
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


class UnknownMember(QuizError):
    """No such learner is in this class."""

    def __init__(self) -> None:
        super().__init__("no such learner is in this class; perhaps they have left it")


class ClassFull(QuizError):
    """A class has as many learners as one page can show."""

    def __init__(self) -> None:
        super().__init__(f"this class has {MOST_LEARNERS} learners, the most there can be: ask for another class")


class ManyJoined(QuizError):
    """So many joined a class at once that nobody else can until its preceptor has looked, or some time has passed."""

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
    phrase: str


def make(store: Store, preceptor: Preceptor, name: str, *, now: float, lots: Lots) -> int:
    """Make a class that can be joined for the next two weeks and return its number.

    Raises
    ------
    BadName
    """
    tidy = names.tidy_name(name, [])
    with store.writing():
        if any(one.name.casefold() == tidy.casefold() for one in class_queries.classes_of(store, preceptor.id)):
            raise BadName(f"you have a class “{tidy}” already: give another name, perhaps with the year")
        number = class_queries.add_class(store, preceptor.id, tidy, now)
        class_queries.keep_code(store, number, new_code(lots, CODE_MARKS), now + CODE_DAYS * DAY)
    return number


def own(store: Store, preceptor: Preceptor, class_id: int) -> Class:
    """Return a class of this preceptor.

    Raises
    ------
    UnknownClass
        When it is not.
    """
    found = class_queries.class_of_id(store, class_id)
    if found is None or found.preceptor != preceptor.id:
        raise UnknownClass
    return found


def member(store: Store, one: Class, learner_id: int) -> Learner:
    """Return a learner of a class.

    Raises
    ------
    UnknownMember
        When there is none of this number in it.
    """
    of = class_queries.class_of_learner(store, learner_id)
    learner = store.learner(learner_id)
    if learner is None or of is None or of.id != one.id:
        raise UnknownMember
    return learner


def give_code(store: Store, one: Class, *, now: float, lots: Lots) -> None:
    """Give a class a new code for the next two weeks; the one before no longer lets anyone in."""
    with store.writing():
        class_queries.keep_code(store, one.id, new_code(lots, CODE_MARKS), now + CODE_DAYS * DAY)


def take_code(store: Store, one: Class) -> None:
    """Let nobody else join."""
    with store.writing():
        class_queries.keep_code(store, one.id, None, None)


def join(store: Store, code: str, name: str, *, form: str, caller: Caller, now: float, lots: Lots) -> Joined:
    """Let someone join by a class's code, under a name of their choosing.

    form is the secret of the form that was sent: the same form once more finds the learner whom it made.

    Raises
    ------
    NotKnown, TooManyTries, BadForm, BadName, ClassFull, ManyJoined
    """
    code = tidy_code(code)
    with caller.tries.counted(caller.limits("code", code, FREE_TRIES), now):
        one = class_queries.class_with_code(store, code)
        if one is None or not one.code_holds(now):
            raise NotKnown("no class has that code now: look at it again, or ask your preceptor for a new one")
    if len(form) < LEAST_SECRET:
        raise BadForm
    with store.writing():
        learner = class_queries.learner_joined_with(store, one.id, digest(form))
        if learner is None:
            _not_too_many(store, one, caller, now)
            learner = _added(store, one, name, digest(form), now)
            caller.tries.add("joined", f"{one.id} from {caller.address}", now)
        return _come_in(store, learner, now, lots)


def _not_too_many(store: Store, one: Class, caller: Caller, now: float) -> None:
    since = max(now - WINDOW, one.joins_from or 0.0)
    here = caller.tries.since("joined", f"{one.id} from {caller.address}", since, now=now)
    if here >= MOST_FROM_ONE_ADDRESS or class_queries.joined_since(store, one.id, since) >= MOST_AT_ONCE:
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


def _added(store: Store, one: Class, name: str, form: str, now: float) -> Learner:
    others = class_queries.learners_of(store, one.id)
    if len(others) >= MOST_LEARNERS:
        raise ClassFull
    tidy = names.tidy_name(name, [])
    if any(other.name.casefold() == tidy.casefold() for other in others):
        raise BadName(f"“{tidy}” is taken in this class: add a letter, or come back with your phrase if it is you")
    learner = learners.added(store, tidy, now)
    class_queries.add_member(store, learner.id, one.id, now, form)
    return learners.get(store, learner.id)


def _come_in(store: Store, learner: Learner, now: float, lots: Lots) -> Joined:
    phrase = _new_phrase(store, learner, lots)
    return Joined(learner, sign_in.let_in(store, learner, now=now, lots=lots), phrase)


def _new_phrase(store: Store, learner: Learner, lots: Lots) -> str:
    phrase = new_code(lots, PHRASE_MARKS)
    class_queries.keep_phrase(store, learner.id, digest(phrase))
    return phrase


def who_comes_back(store: Store, phrase: str, *, caller: Caller, now: float) -> Learner:
    """Return the learner whose come-back phrase this is.

    Raises
    ------
    NotKnown, TooManyTries
    """
    kept = digest(tidy_code(phrase))
    with caller.tries.counted(caller.limits("phrase", kept, FREE_TRIES), now):
        learner = class_queries.learner_with_phrase(store, kept)
        if learner is None:
            raise NotKnown("that phrase opens nothing here: look at it again, or ask your preceptor for a new one")
    return learner


def come_back(store: Store, phrase: str, *, caller: Caller, now: float, lots: Lots) -> str:
    """Sign a learner in by the come-back phrase and return the token for the cookie.

    Raises
    ------
    NotKnown, TooManyTries
    """
    learner = who_comes_back(store, phrase, caller=caller, now=now)
    with store.writing():
        return sign_in.let_in(store, learner, now=now, lots=lots)


def new_phrase(store: Store, learner: Learner, *, lots: Lots) -> str:
    """Give a learner a new come-back phrase and return it; the one before opens nothing any more."""
    with store.writing():
        return _new_phrase(store, learner, lots)


def sign_out_elsewhere(store: Store, learner: Learner, *, now: float, lots: Lots) -> Joined:
    """End a learner's sign-ins on every device, and give this one a new sign-in and a new phrase."""
    with store.writing():
        class_queries.end_sign_ins_of_learner(store, learner.id)
        return _come_in(store, learner, now, lots)


def remove_learners(store: Store, one: Class, learner_ids: Collection[int], *, now: float) -> None:
    """Remove learners of a class with everything that they answered: all of them or, where one is not in it, none.

    Raises
    ------
    UnknownMember
    """
    of_class = {each.learner for each in class_queries.members_of(store, one.id)}
    if not of_class.issuperset(learner_ids):
        raise UnknownMember
    learners.remove_many(store, learner_ids, now=now, by_whom="preceptor")


def remove(store: Store, one: Class) -> None:
    """Remove a class with its learners and everything that they answered, and every trace of them."""
    with store.writing():
        class_queries.remove_class(store, one.id)
    store.wipe()
