"""Who may come in: preceptors by password, learners of a class by what their browser or their phrase holds.

A sign-in is a row in the data file, so it can be taken back. Failed tries are throttle.py's.
"""

from __future__ import annotations

import hashlib
from functools import cache

from werkzeug.security import check_password_hash, generate_password_hash

from quiz.classroom.throttle import Caller, Limit
from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.practice.names import BadName, tidy_name
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.store import Learner, Store

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Without 0 and O, 1, I and L, which are read for one another."""
LEAST_PASSWORD = 10
LONGEST_CODE = 200
"""Characters, with whatever was typed between the letters."""
PRECEPTOR_STAYS = DAY / 2
LEARNER_STAYS = 180 * DAY
SHARED_STAYS = 20 * 60.0
"""Seconds without a page after which a learner is signed out on a shared device; within a test they never are."""
STAYS_STEP = 60.0
"""Seconds: a sign-in on a shared device is made longer by steps, so that not every page writes."""
COMMAND_LINE = "The command line"
"""Who does what is done there, in the record of changes."""
FREE_TRIES = 5
"""Wrong passwords for one name from one address, or in one browser that the preceptor signed in with before."""
FREE_FOR_A_NAME = 30
"""Wrong passwords for one name, from wherever."""
FREE_PASSWORDS_FROM_ONE_ADDRESS = 100


class BadPassword(QuizError):
    """A password that will not do for a preceptor."""


class NotKnown(QuizError):
    """A name and password, a code or a phrase that opens nothing."""


def digest(secret: str) -> str:
    """Return what is kept of a secret that chance made: it is long enough to need no salt."""
    return hashlib.sha256(secret.encode()).hexdigest()


def in_groups(marks: str) -> str:
    """Write a code in groups of four."""
    return "-".join(marks[at : at + 4] for at in range(0, len(marks), 4))


def tidy_code(text: str) -> str:
    """Return a code as it is kept, however it was typed: any case, with spaces or hyphens or none.

    A text that is no code at all, or far too long for one, gives "".
    """
    if len(text) > LONGEST_CODE:
        return ""
    marks = "".join(mark for mark in text.upper() if mark.isalnum())
    return in_groups(marks) if marks and set(marks) <= set(ALPHABET) else ""


def new_code(lots: Lots, length: int) -> str:
    """Make a code that cannot be guessed, of `length` marks in groups of four: 4.95 bits a mark."""
    return in_groups("".join(lots.pick(ALPHABET) for _ in range(length)))


# --- preceptors --------------------------------------------------------------------------------------------------


def hashed(password: str) -> str:
    """Return what is kept of a preceptor's password; raises BadPassword where it will not do."""
    if len(password) < LEAST_PASSWORD:
        raise BadPassword(f"a password of {len(password)} characters: give at least {LEAST_PASSWORD}")
    return generate_password_hash(password)


def add_preceptor(store: Store, name: str, password: str, *, now: float, school: int | None = None) -> bool:
    """Add a preceptor of a school; one of that name gets the new password, and False is returned.

    school: its number; None: the one that there is.

    Raises
    ------
    BadName
        Also where there are several schools and none is named.
    BadPassword
    """
    kept = hashed(password)
    tidy = tidy_name(name, [])
    with store.writing():
        known = class_queries.preceptor_named(store, tidy)
        if known is not None:
            class_queries.keep_password(store, known.id, kept)
            for one in school_queries.schools_of(store, known.id):
                school_queries.record(store, one.school, COMMAND_LINE, "password", now, whom=known.name)
            return False
        only = school_queries.only_school(store)
        if school is None and only is not None:
            school = only.id
        if school is None:
            raise BadName('there are several schools: say which with --school "Its name"')
        class_queries.add_preceptor(store, tidy, kept, now, school=school)
        school_queries.record(store, school, COMMAND_LINE, "added", now, whom=tidy)
    return True


def sign_in(store: Store, name: str, password: str, *, caller: Caller, now: float, lots: Lots) -> tuple[Preceptor, str]:
    """Check a preceptor's password; return who it is and the token for the cookie.

    A browser in which this very preceptor signed in before is not held up by failures elsewhere.

    Raises
    ------
    NotKnown, TooManyTries
    """
    name = " ".join(name.split())[:100]
    known = class_queries.preceptor_named(store, name)
    with caller.tries.counted(_password_limits(caller, name.casefold(), known), now):
        fits = check_password_hash(known.password if known else _nobodys(), password)
        if known is None or not fits:
            raise NotKnown(
                "Name or password not recognised. Try again, or ask the person who runs the server for a new password."
            )
    with store.writing():
        return known, let_preceptor_in(store, known.id, now=now, lots=lots)


def let_preceptor_in(store: Store, preceptor_id: int, *, now: float, lots: Lots) -> str:
    """Sign a preceptor in and return the token for the cookie; in `writing()`."""
    token = lots.new_secret()
    class_queries.add_sign_in(store, digest(token), preceptor=preceptor_id, now=now, until=now + PRECEPTOR_STAYS)
    return token


def _password_limits(caller: Caller, name: str, known: Preceptor | None) -> tuple[Limit, ...]:
    if known is not None and caller.device and known.id in caller.preceptors:
        return (Limit("password by device", f"{name} by {caller.device}", FREE_TRIES),)
    return (
        Limit("password", f"{name} from {caller.address}", FREE_TRIES),
        Limit("password for", name, FREE_FOR_A_NAME),
        Limit("password from", caller.address, FREE_PASSWORDS_FROM_ONE_ADDRESS),
    )


@cache
def _nobodys() -> str:
    """Return what is checked where there is no such preceptor, so that an unknown name takes as long as a known one."""
    return generate_password_hash("nobody has this password")


def preceptor_of(store: Store, token: object, *, now: float) -> Preceptor | None:
    """Return the preceptor whose token this is."""
    return class_queries.preceptor_with(store, digest(token), now) if isinstance(token, str) else None


def learner_of(store: Store, token: object, *, now: float) -> Learner | None:
    """Return the learner of a class whose token this is."""
    return class_queries.learner_with(store, digest(token), now) if isinstance(token, str) else None


def sign_out(store: Store, token: object) -> None:
    """End the sign-in of a token."""
    if isinstance(token, str):
        with store.writing():
            class_queries.end_sign_in(store, digest(token))


def sign_out_everywhere(store: Store, preceptor: Preceptor) -> None:
    """End a preceptor's sign-ins on every device."""
    with store.writing():
        class_queries.end_sign_ins_of_preceptor(store, preceptor.id)


def let_in(store: Store, learner: Learner, *, now: float, lots: Lots, shared: bool = False) -> str:
    """Sign a learner of a class in and return the token for the cookie; in `writing()`.

    shared: on a device that others use too, where a sign-in ends when nothing was asked for a while.
    """
    token = lots.new_secret()
    until = now + LEARNER_STAYS
    if shared:
        until = _stays_until(store, learner.id, now)
    class_queries.add_sign_in(store, digest(token), learner=learner.id, now=now, until=until)
    return token


def stay(store: Store, token: object, learner: Learner, *, now: float) -> None:
    """Let a learner who has just asked for something stay on a shared device; in a test, until it is over."""
    if isinstance(token, str):
        until = _stays_until(store, learner.id, now)
        if class_queries.sign_in_until(store, digest(token)) < until - STAYS_STEP:
            with store.writing(learner.id):
                class_queries.keep_sign_in(store, digest(token), until)


def _stays_until(store: Store, learner_id: int, now: float) -> float:
    found = class_queries.run_through_test(store, learner_id)
    test = 0.0 if found is None else (found[0].due_at or 0.0) + 60
    return max(now + SHARED_STAYS, test)
