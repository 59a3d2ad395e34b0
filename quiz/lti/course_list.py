"""Who is in a course, as its platform lists them (LTI Names and Role Provisioning Services 2.0).

A learner who has not begun is in the class by name; who is gone from the course leaves the class, with nothing deleted,
and is back in it when they are in the course again. No address of a person is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from cases.notation.plurals import counted
from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.lti.courses import class_of, learner_for
from quiz.lti.fetching import BadUrl, NoAnswer, origin_of
from quiz.lti.launching import role_in
from quiz.lti.services import MEMBERS, Services
from quiz.storage import class_queries, roster_queries
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Course, CourseUser, Registration
from quiz.storage.store import Store

MOST_PAGES = 50
ASK_FROM = 3
"""Learners, and half of those in the course: where so many are missing from a list, a person is asked first."""
TYPE = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json"
_LINK = re.compile(r"<([^>]{1,2000})>([^,<]{0,300})")
_NEXT = re.compile(r";\s{0,5}rel\s{0,5}=\s{0,5}\"?next\"?(?:\s|;|$)", re.I)


class NoList(QuizError):
    """A course list that could not be fetched; nothing was changed."""


class ManyLeft(QuizError):
    """A course list that lacks so many who were in the course that a person is asked first; nothing was changed."""

    def __init__(self, names: Sequence[str], known: int) -> None:
        super().__init__(
            f"{len(names)} of {known} learners are no longer in the course: {', '.join(names)}. Nothing was changed yet"
        )


@dataclass(frozen=True)
class Fetched:
    """What a course list changed."""

    listed: int
    """Learners in the course."""
    added: int
    left: tuple[str, ...] = ()
    """Who is no longer in it, by name."""

    @property
    def words(self) -> str:
        """Say it."""
        said = f"{counted(self.listed, 'learner')} in the course: {self.added} added here"
        return f"{said}; no longer in it: {', '.join(self.left)}." if self.left else f"{said}, none has left."


def is_due(course: Course, now: float) -> bool:
    """Say whether a course list was not fetched for a day."""
    return course.members_url is not None and (course.roster_at is None or now - course.roster_at > DAY)


def fetch_list(store: Store, services: Services, course: Course, *, now: float, sure: bool = False) -> Fetched:
    """Fetch the list of a course and bring its class in step with it.

    sure: a person was asked whether all who are missing from it have left.

    Raises
    ------
    NoList, ManyLeft
        With nothing changed.
    ClassFull
    """
    registration, one = lti_queries.registration_of_course(store, course.id), class_of(store, course)
    if one is None:
        raise NoList(f"{course.title} has no class here yet")
    if one.archived_at is not None:
        raise NoList(f"the class of {course.title} is in the archive")
    if registration is None or registration.state != "active":
        raise NoList(f"the platform of {course.title} is turned off here")
    if course.members_url is None:
        raise NoList(f"the platform offers no list of {course.title}: its administrator allows names and roles")
    try:
        people = list(_people(store, services, registration, course.members_url, now))
    except _Refused as error:
        raise NoList(
            f"the platform refused the list of {course.title} ({error}): its administrator allows names and roles for "
            "this app"
        ) from error
    except (NoAnswer, BadUrl) as error:
        raise NoList(f"the list of {course.title} could not be fetched: {error}") from error
    here = {subject: name for subject, name, role in people if role == "learner"}
    if not here:
        # An answer that would empty the class is more likely a fault than a course without learners.
        raise NoList("the platform lists no learner in this course, so nothing was changed")
    added, left = 0, list[str]()
    with store.writing():
        known = {each.subject: each for each in lti_queries.users_of(store, course.id, "learner")}
        gone = [
            each for subject, each in known.items() if subject not in here and each.left_at is None and each.learner
        ]
        were = sum(each.left_at is None for each in known.values())
        if not sure and len(gone) >= ASK_FROM and len(gone) * 2 >= were:
            raise ManyLeft([_name(store, each) for each in gone], were)
        for subject, name in here.items():
            added += subject not in known or known[subject].left_at is not None
            learner_for(store, registration, course, one, subject, name, now)
        for user in gone:
            if user.learner is None:
                continue
            place = roster_queries.member_of(store, one.id, user.learner)
            class_queries.end_runs_in_class(store, one.id, now, user.learner)
            roster_queries.leave_class(store, one.id, user.learner)
            lti_queries.keep_left(store, user.id, now, place.extra_time if place else 0)
            left.append(_name(store, user))
        lti_queries.keep_roster_at(store, course.id, now)
    return Fetched(len(here), added, tuple(left))


def _name(store: Store, user: CourseUser) -> str:
    found = None if user.learner is None else store.learner(user.learner)
    return found.name if found else ""


class _Refused(NoAnswer):
    """The platform has the list, and does not give it to this app."""


def _people(
    store: Store, services: Services, registration: Registration, url: str, now: float
) -> Iterator[tuple[str, str, str | None]]:
    """Yield subject, name and role of everyone in a course who is active, page by page."""
    first, seen = origin_of(url), set[str]()
    for _ in range(MOST_PAGES):
        seen.add(url)
        reply = services.call(store, registration, MEMBERS, "GET", url, headers={"Accept": TYPE}, now=now)
        listed: Any = reply.json() if reply.status == 200 else None
        members = listed.get("members") if isinstance(listed, dict) else None
        if not isinstance(members, list):
            if reply.status in (401, 403):
                raise _Refused(str(reply.status))
            raise NoAnswer(f"the platform answered {reply.status}")
        for one in members:
            subject = one.get("user_id") if isinstance(one, dict) else None
            if isinstance(subject, str) and 0 < len(subject) <= 255 and one.get("status", "Active") == "Active":
                name = one.get("name")
                yield subject, " ".join(name.split())[:200] if isinstance(name, str) else "", role_in(one.get("roles"))
        after = next_page(reply.headers.get("link", ""))
        if after is None:
            return
        if origin_of(after) != first or after in seen:
            raise NoAnswer("the next page of the list is not where this one is")
        url = after
    raise NoAnswer(f"the list has more than {MOST_PAGES} pages")


def next_page(header: str) -> str | None:
    """Return the address of the next page as a Link header has it (RFC 8288); None where there is none."""
    return next((target for target, rest in _LINK.findall(header[:20_000]) if _NEXT.search(rest)), None)
