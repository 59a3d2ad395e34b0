"""Who is in a course, as its platform lists them (LTI Names and Role Provisioning Services 2.0).

A learner who has not begun is in the class by name; who is gone from the course leaves the class, with nothing deleted,
and is back in it when they are in the course again. No address of a person is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from quiz.errors import QuizError
from quiz.learning.state import DAY
from quiz.lti.courses import class_of, learner_for
from quiz.lti.fetching import BadUrl, NoAnswer, origin_of
from quiz.lti.launching import role_in
from quiz.lti.services import MEMBERS, Services
from quiz.storage import class_queries, roster_queries
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Course, Registration
from quiz.storage.store import Store

MOST_PAGES = 50
TYPE = "application/vnd.ims.lti-nrps.v2.membershipcontainer+json"
_LINK = re.compile(r"<([^>]{1,2000})>([^,<]{0,300})")
_NEXT = re.compile(r";\s{0,5}rel\s{0,5}=\s{0,5}\"?next\"?(?:\s|;|$)", re.I)


class NoList(QuizError):
    """A course list that could not be fetched; nothing was changed."""


@dataclass(frozen=True)
class Fetched:
    """What a course list changed."""

    listed: int
    """Learners in the course."""
    added: int
    left: int

    @property
    def words(self) -> str:
        """Say it."""
        return f"{self.listed} learners are in the course: {self.added} added here, {self.left} no longer in it."


def is_due(course: Course, now: float) -> bool:
    """Say whether a course list was not fetched for a day."""
    return course.members_url is not None and (course.roster_at is None or now - course.roster_at > DAY)


def fetch_list(store: Store, services: Services, course: Course, *, now: float) -> Fetched:
    """Fetch the list of a course and bring its class in step with it.

    Raises
    ------
    NoList
        With nothing changed.
    ClassFull
    """
    registration, one = lti_queries.registration_of_course(store, course.id), class_of(store, course)
    if registration is None or registration.state != "active" or course.members_url is None or one is None:
        raise NoList("the platform offers no list of this course")
    try:
        people = list(_people(store, services, registration, course.members_url, now))
    except (NoAnswer, BadUrl) as error:
        raise NoList(f"the course list could not be fetched: {error}") from error
    here = {subject: name for subject, name, role in people if role == "learner"}
    if not here:
        # An answer that would empty the class is more likely a fault than a course without learners.
        raise NoList("the platform lists no learner in this course, so nothing was changed")
    added = left = 0
    with store.writing():
        known = {each.subject: each for each in lti_queries.users_of(store, course.id, "learner")}
        for subject, name in here.items():
            added += subject not in known or known[subject].left_at is not None
            learner_for(store, registration, course, one, subject, name, now)
        for subject, user in known.items():
            if subject in here or user.left_at is not None or user.learner is None:
                continue
            place = roster_queries.member_of(store, one.id, user.learner)
            class_queries.end_runs_in_class(store, one.id, now, user.learner)
            roster_queries.leave_class(store, one.id, user.learner)
            lti_queries.keep_left(store, user.id, now, place.extra_time if place else 0)
            left += 1
        lti_queries.keep_roster_at(store, course.id, now)
    return Fetched(len(here), added, left)


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
