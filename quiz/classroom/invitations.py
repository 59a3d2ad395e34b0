"""Invitations to a school by a link that is taken once, and links by which a preceptor sets a new password."""

from __future__ import annotations

from quiz.classroom import preceptors, schools, sign_in
from quiz.classroom.sign_in import COMMAND_LINE, FREE_TRIES, NotKnown, digest
from quiz.classroom.throttle import Caller
from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.practice.names import BadName, tidy_name
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Preceptor
from quiz.storage.organisation import school_queries
from quiz.storage.organisation.school_queries import Invitation, School, SchoolPerson
from quiz.storage.store import Store

HOLDS_DAYS = 7
PASSWORD_HOLDS_DAYS = 1
MOST_OPEN = 50
"""Invitations of one school that can be taken."""
LONGEST_SECRET = 100


class NoInvitation(QuizError):
    """A link that opens nothing: taken, withdrawn, out of date or never made. Which of these is not said."""

    def __init__(self) -> None:
        super().__init__(
            "This invitation opens nothing. It may have been used or withdrawn, or it is out of date: "
            "ask the person who sent it for a new one."
        )


def invite(
    store: Store, school: School, whom: str, *, administrator: bool, by: Preceptor | None, now: float, lots: Lots
) -> str:
    """Make a link for somebody to come into a school, as its administrator perhaps; return its secret.

    by: who invites; None: the command line.

    Raises
    ------
    BadName
    """
    tidy = tidy_name(whom, [], of="the person whom you invite")
    secret = lots.new_secret()
    inviter = by.name if by else COMMAND_LINE
    with store.writing():
        if len(school_queries.invitations_of(store, school.id, now)) >= MOST_OPEN:
            raise BadName(f"{MOST_OPEN} invitations are open, the most there can be: withdraw some first")
        what = Invitation(
            0, school.id, tidy, administrator, None, by.id if by else None, inviter, now, now + HOLDS_DAYS * DAY
        )
        school_queries.add_invitation(store, digest(secret), what)
        act = "invited administrator" if administrator else "invited"
        school_queries.record(store, school.id, inviter, act, now, whom=tidy)
    return secret


def invite_password(store: Store, school: School, whom: SchoolPerson, *, by: Preceptor, now: float, lots: Lots) -> str:
    """Make a link by which a preceptor of this school alone sets a new password; return its secret.

    Raises
    ------
    NotRemoved
        When others trust that password too: another school, or the installation.
    """
    if whom.elsewhere or whom.installs:
        raise preceptors.NotRemoved(
            f"{whom.name} signs in to more than this school: the person who runs this server gives them a new password"
        )
    secret = lots.new_secret()
    with store.writing():
        class_queries.end_password_links(store, whom.preceptor)
        until = now + PASSWORD_HOLDS_DAYS * DAY
        what = Invitation(0, school.id, whom.name, False, whom.preceptor, by.id, by.name, now, until)
        school_queries.add_invitation(store, digest(secret), what)
        school_queries.record(store, school.id, by.name, "password link", now, whom=whom.name)
    return secret


def withdraw(store: Store, school: School, number: int | None, *, by: str, now: float) -> None:
    """Let an invitation of a school be taken no more; one that is gone already is no error."""
    with store.writing():
        for one in school_queries.invitations_of(store, school.id, now):
            if one.id == number:
                school_queries.remove_invitation(store, one.id)
                school_queries.record(store, school.id, by, "withdrew", now, whom=one.whom)


# --- taking one --------------------------------------------------------------------------------------------------


def read(store: Store, secret: str, *, caller: Caller, now: float) -> Invitation:
    """Return the invitation of a secret; it can still be taken.

    Raises
    ------
    NoInvitation, TooManyTries
    """
    kept = digest(secret[:LONGEST_SECRET])
    with caller.tries.counted(caller.limits("invitation", kept, FREE_TRIES), now):
        return _there(store, kept, now)


def _there(store: Store, kept: str, now: float) -> Invitation:
    found = school_queries.invitation_with(store, kept, now)
    if found is None:
        raise NoInvitation
    return found


def take(
    store: Store, secret: str, name: str, password: str, *, caller: Caller, now: float, lots: Lots
) -> tuple[Preceptor, str]:
    """Make a preceptor of who holds an invitation, or give them their new password; return who, and the cookie's token.

    Raises
    ------
    BadName, BadPassword, NoInvitation, TooManyTries
    """
    found = read(store, secret, caller=caller, now=now)
    hashed = sign_in.hashed(password)
    if found.preceptor is not None:
        return _take_password(store, secret, hashed, now=now, lots=lots)
    tidy = tidy_name(name, [])
    with store.writing():
        found = _there(store, digest(secret), now)
        if class_queries.preceptor_named(store, tidy) is not None:
            raise BadName(
                f"“{tidy}” signs in on this server already. If that is you, join with your password below; "
                "if not, add a letter"
            )
        who = class_queries.add_preceptor(store, tidy, hashed, now, school=found.school)
        _taken(store, found, preceptors.get(store, who), now)
        return preceptors.get(store, who), sign_in.let_preceptor_in(store, who, now=now, lots=lots)


def _take_password(store: Store, secret: str, hashed: str, *, now: float, lots: Lots) -> tuple[Preceptor, str]:
    with store.writing():
        found = _there(store, digest(secret), now)
        who = preceptors.get(store, found.preceptor)
        school = schools.get(store, found.school)
        whom = schools.person(store, school, who.id, now=now)
        if whom.elsewhere or whom.installs:  # since the link was made
            raise NoInvitation
        class_queries.keep_password(store, who.id, hashed)
        school_queries.record(store, found.school, found.by_whom, "own password", now, whom=who.name)
        return who, sign_in.let_preceptor_in(store, who.id, now=now, lots=lots)


def take_as(
    store: Store, secret: str, name: str, password: str, *, caller: Caller, now: float, lots: Lots
) -> tuple[Preceptor, str]:
    """Let a preceptor of another school into this one by their name and password; return who, and the cookie's token.

    Raises
    ------
    NoInvitation, NotKnown, TooManyTries
    """
    found = read(store, secret, caller=caller, now=now)
    if found.preceptor is not None:
        raise NotKnown("this link sets a new password: choose it above")
    who, token = sign_in.sign_in(store, name, password, caller=caller, now=now, lots=lots)
    with store.writing():
        found = _there(store, digest(secret), now)
        school_queries.keep_person(store, found.school, who.id, now)
        _taken(store, found, who, now)
    return who, token


def _taken(store: Store, found: Invitation, who: Preceptor, now: float) -> None:
    school_queries.remove_invitation(store, found.id)
    school_queries.record(store, found.school, found.by_whom, "joined", now, whom=who.name)
    if found.administrator:
        school_queries.keep_school_administrator(store, found.school, who.id, yes=True)
        school_queries.record(store, found.school, found.by_whom, "administrator", now, whom=who.name)
