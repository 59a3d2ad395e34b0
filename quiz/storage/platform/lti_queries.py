"""Every question to the data file about course platforms: keys, registrations, courses, links, people, states, tickets.

Functions that change anything must run inside `store.writing()`. Secrets come as their SHA-256.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quiz.storage.rows import write_json
from quiz.storage.store import Store


@dataclass(frozen=True)
class SigningKey:
    """A key of ours, with which what is sent to platforms is signed."""

    kid: str
    private_pem: str
    made_at: float
    retired_at: float | None


@dataclass(frozen=True)
class Registration:
    """A platform that the app was registered with, as one client of it."""

    id: int
    issuer: str
    client_id: str
    auth_login_url: str
    auth_token_url: str
    token_audience: str
    key_set_url: str
    name: str
    state: str
    """"pending", "active" or "off"."""
    made_at: float
    school: int | None
    """Whose platform it is: its courses open classes of this school alone."""


@dataclass(frozen=True)
class Deployment:
    """A part of a platform in which the app may be used."""

    id: int
    registration: int
    deployment_id: str
    state: str
    """"pending" or "active"."""


@dataclass(frozen=True)
class Course:
    """A course of a platform, which is one class here."""

    id: int
    deployment: int
    context_id: str
    title: str
    class_id: int | None
    members_url: str | None
    lineitems_url: str | None
    roster_at: float | None


@dataclass(frozen=True)
class CourseLink:
    """A place in a course that opens a drill."""

    id: int
    context: int
    resource_link_id: str
    title: str
    drill: int | None
    lineitem_url: str | None


@dataclass(frozen=True)
class CourseUser:
    """Who somebody of a course is here: a learner or a preceptor."""

    id: int
    context: int
    subject: str
    role: str
    """"learner" or "teacher"."""
    learner: int | None
    preceptor: int | None
    left_at: float | None
    extra_time: int


@dataclass(frozen=True)
class LoginState:
    """What a login that was begun is held to; taken once."""

    browser: str
    nonce: str
    registration: int
    target: str
    parameters: dict[str, str]
    until: float


@dataclass(frozen=True)
class Ticket:
    """What lets one person in once, or choose one drill."""

    user: int
    link: int | None
    request: dict[str, Any]
    """What a platform asked for that has a drill chosen; to let somebody in, the way back to the course."""
    until: float


# --- keys ----------------------------------------------------------------------------------------------------------


def keys(store: Store) -> list[SigningKey]:
    """Return our keys, the newest first."""
    return store.fetch_as(SigningKey, "SELECT * FROM lti_keys ORDER BY made_at DESC, kid")


def add_key(store: Store, kid: str, private_pem: str, now: float) -> None:
    """Add a key that signs from now on; those before it are retired."""
    store.change("UPDATE lti_keys SET retired_at = ? WHERE retired_at IS NULL", now)
    store.add("lti_keys", {"kid": kid, "private_pem": private_pem, "made_at": now})


def drop_keys(store: Store, retired_before: float) -> None:
    """Remove the keys that were retired before a moment."""
    store.change("DELETE FROM lti_keys WHERE retired_at < ?", retired_before)


# --- registrations -------------------------------------------------------------------------------------------------


def registrations(store: Store) -> list[Registration]:
    """Return every registration in the order in which they were made."""
    return store.fetch_as(Registration, "SELECT * FROM lti_registrations ORDER BY id")


def any_active(store: Store) -> bool:
    """Say whether people can come from a platform."""
    return bool(store.fetch("SELECT 1 FROM lti_registrations WHERE state = 'active' LIMIT 1"))


def registration_of_id(store: Store, number: int) -> Registration | None:
    """Return a registration."""
    return store.fetch_one(Registration, "SELECT * FROM lti_registrations WHERE id = ?", number)


def registrations_for(store: Store, issuer: str, client_id: str | None) -> list[Registration]:
    """Return the active registrations of an issuer: of one client where it is named."""
    sql = "SELECT * FROM lti_registrations WHERE issuer = ?1 AND state = 'active' AND (client_id = ?2 OR ?2 IS NULL)"
    return store.fetch_as(Registration, sql, issuer, client_id)


def registration_with(store: Store, issuer: str, client_id: str) -> Registration | None:
    """Return the registration of this issuer and client, whatever its state."""
    sql = "SELECT * FROM lti_registrations WHERE issuer = ? AND client_id = ?"
    return store.fetch_one(Registration, sql, issuer, client_id)


def add_registration(store: Store, values: Mapping[str, Any]) -> int:
    """Add a registration and return its number."""
    return store.add("lti_registrations", dict(values))


def change_registration(store: Store, given: Registration) -> None:
    """Let a registration be as given, but for its state."""
    store.change(
        "UPDATE lti_registrations SET issuer = ?, client_id = ?, auth_login_url = ?, auth_token_url = ?, "
        "token_audience = ?, key_set_url = ?, name = ? WHERE id = ?",
        given.issuer,
        given.client_id,
        given.auth_login_url,
        given.auth_token_url,
        given.token_audience,
        given.key_set_url,
        given.name[:100],
        given.id,
    )


def drop_registration(store: Store, number: int) -> None:
    """Remove a registration with its deployments and courses."""
    store.change("DELETE FROM lti_registrations WHERE id = ?", number)


def courses_of_registration(store: Store, number: int) -> int:
    """Return how many courses have come by a registration."""
    sql = "SELECT count(*) FROM lti_contexts c JOIN lti_deployments d ON d.id = c.deployment WHERE d.registration = ?"
    return int(store.fetch(sql, number)[0][0])


def keep_registration_state(store: Store, number: int, state: str) -> None:
    """Let a registration be pending, active or off."""
    store.change("UPDATE lti_registrations SET state = ? WHERE id = ?", state, number)


def end_sign_ins_of(store: Store, registration: int) -> None:
    """End every sign-in of those who came by a registration, and what they were about to come in by."""
    of = (
        "SELECT u.{} FROM lti_users u JOIN lti_contexts c ON c.id = u.context JOIN lti_deployments d "
        "ON d.id = c.deployment WHERE d.registration = ? AND u.{} IS NOT NULL"
    )
    for who in ("learner", "preceptor"):
        store.change(f"DELETE FROM sign_ins WHERE {who} IN ({of.format(who, who)})", registration)  # noqa: S608
    store.change(f'DELETE FROM lti_tickets WHERE "user" IN ({of.format("id", "id")})', registration)  # noqa: S608
    store.change("DELETE FROM lti_states WHERE registration = ?", registration)


def deployments_of(store: Store, registration: int) -> list[Deployment]:
    """Return the deployments of a registration that are known."""
    return store.fetch_as(Deployment, "SELECT * FROM lti_deployments WHERE registration = ? ORDER BY id", registration)


def keep_deployment(store: Store, registration: int, deployment_id: str, state: str) -> None:
    """Add a deployment, or give it another state."""
    store.change(
        "INSERT INTO lti_deployments (registration, deployment_id, state) VALUES (?1, ?2, ?3) "
        "ON CONFLICT (registration, deployment_id) DO UPDATE SET state = ?3",
        registration,
        deployment_id,
        state,
    )


# --- courses and links ---------------------------------------------------------------------------------------------

_COURSES = "SELECT c.*, c.class AS class_id FROM lti_contexts c"


def course_of_id(store: Store, number: int) -> Course | None:
    """Return a course."""
    return store.fetch_one(Course, f"{_COURSES} WHERE c.id = ?", number)


def course_with(store: Store, deployment: int, context_id: str) -> Course | None:
    """Return the course of this identifier in a deployment."""
    sql = f"{_COURSES} WHERE c.deployment = ? AND c.context_id = ?"
    return store.fetch_one(Course, sql, deployment, context_id)


def courses_of_class(store: Store, class_id: int) -> list[Course]:
    """Return the courses whose class this is."""
    return store.fetch_as(Course, f"{_COURSES} WHERE c.class = ? ORDER BY c.id", class_id)


def add_course(store: Store, deployment: int, context_id: str, title: str) -> int:
    """Add a course without a class and return its number."""
    return store.add("lti_contexts", {"deployment": deployment, "context_id": context_id, "title": title})


def keep_services(store: Store, course: int, title: str, members_url: str | None, lineitems_url: str | None) -> None:
    """Keep what a launch says of a course; an address that it leaves out stays as it was."""
    store.change(
        "UPDATE lti_contexts SET title = ?2, members_url = coalesce(?3, members_url), "
        "lineitems_url = coalesce(?4, lineitems_url) WHERE id = ?1",
        course,
        title,
        members_url,
        lineitems_url,
    )


def keep_class_of(store: Store, course: int, class_id: int | None) -> None:
    """Let a class be a course's; None: it has none."""
    store.change("UPDATE lti_contexts SET class = ? WHERE id = ?", class_id, course)


def keep_roster_at(store: Store, course: int, at: float) -> None:
    """Keep when a course list was fetched."""
    store.change("UPDATE lti_contexts SET roster_at = ? WHERE id = ?", at, course)


def registration_of_course(store: Store, course: int) -> Registration | None:
    """Return the registration by which a course is known."""
    return store.fetch_one(
        Registration,
        "SELECT r.* FROM lti_registrations r JOIN lti_deployments d ON d.registration = r.id "
        "JOIN lti_contexts c ON c.deployment = d.id WHERE c.id = ?",
        course,
    )


def deployment_of_course(store: Store, course: int) -> str:
    """Return the identifier of a course's deployment, as the platform has it."""
    sql = "SELECT d.deployment_id FROM lti_deployments d JOIN lti_contexts c ON c.deployment = d.id WHERE c.id = ?"
    return str(store.fetch(sql, course)[0][0])


def link_of_id(store: Store, number: int) -> CourseLink | None:
    """Return a link."""
    return store.fetch_one(CourseLink, "SELECT * FROM lti_links WHERE id = ?", number)


def link_with(store: Store, course: int, resource_link_id: str) -> CourseLink | None:
    """Return the link of this identifier in a course."""
    sql = "SELECT * FROM lti_links WHERE context = ? AND resource_link_id = ?"
    return store.fetch_one(CourseLink, sql, course, resource_link_id)


def links_of_class(store: Store, class_id: int) -> list[CourseLink]:
    """Return the links of a class's courses."""
    sql = "SELECT k.* FROM lti_links k JOIN lti_contexts c ON c.id = k.context WHERE c.class = ? ORDER BY k.id"
    return store.fetch_as(CourseLink, sql, class_id)


def courses_with_drill(store: Store, class_id: int, drill: int) -> list[str]:
    """Return the titles of a class's courses that have a link to a drill."""
    sql = "SELECT DISTINCT c.title FROM lti_links k JOIN lti_contexts c ON c.id = k.context "
    sql += "WHERE c.class = ? AND k.drill = ? ORDER BY c.title"
    return [str(row[0]) for row in store.fetch(sql, class_id, drill)]


def links_of_course(store: Store, course: int) -> list[CourseLink]:
    """Return the links of a course."""
    return store.fetch_as(CourseLink, "SELECT * FROM lti_links WHERE context = ? ORDER BY id", course)


def graded_links(store: Store) -> list[CourseLink]:
    """Return the links that open a drill whose grades are wanted."""
    sql = "SELECT * FROM lti_links WHERE drill IS NOT NULL AND lineitem_url IS NOT NULL ORDER BY id"
    return store.fetch_as(CourseLink, sql)


def keep_link(store: Store, course: int, resource_link_id: str, title: str, lineitem_url: str | None) -> None:
    """Add a link, or keep what a launch says of it; an address that it leaves out stays as it was."""
    store.change(
        "INSERT INTO lti_links (context, resource_link_id, title, lineitem_url) VALUES (?1, ?2, ?3, ?4) "
        "ON CONFLICT (context, resource_link_id) "
        "DO UPDATE SET title = ?3, lineitem_url = coalesce(?4, lti_links.lineitem_url)",
        course,
        resource_link_id,
        title,
        lineitem_url,
    )


def keep_drill_of(store: Store, link: int, drill: int | None) -> None:
    """Let a link open a drill; None: none."""
    store.change("UPDATE lti_links SET drill = ? WHERE id = ?", drill, link)


def drop_link(store: Store, link: int) -> None:
    """Remove a link, and what is kept of its grades."""
    store.change("DELETE FROM lti_links WHERE id = ?", link)


# --- people --------------------------------------------------------------------------------------------------------


def user_of_id(store: Store, number: int) -> CourseUser | None:
    """Return somebody of a course."""
    return store.fetch_one(CourseUser, "SELECT * FROM lti_users WHERE id = ?", number)


def user_with(store: Store, course: int, subject: str, role: str) -> CourseUser | None:
    """Return who a subject is in a course."""
    sql = "SELECT * FROM lti_users WHERE context = ? AND subject = ? AND role = ?"
    return store.fetch_one(CourseUser, sql, course, subject, role)


def user_elsewhere(store: Store, registration: int, subject: str, role: str) -> CourseUser | None:
    """Return who a subject is in any course of a registration: one platform's subject is one person."""
    return store.fetch_one(
        CourseUser,
        "SELECT u.* FROM lti_users u JOIN lti_contexts c ON c.id = u.context JOIN lti_deployments d "
        "ON d.id = c.deployment WHERE d.registration = ? AND u.subject = ? AND u.role = ? ORDER BY u.id LIMIT 1",
        registration,
        subject,
        role,
    )


def users_of(store: Store, course: int, role: str) -> list[CourseUser]:
    """Return the people of a course in one role."""
    return store.fetch_as(
        CourseUser, "SELECT * FROM lti_users WHERE context = ? AND role = ? ORDER BY id", course, role
    )


def add_user(
    store: Store, course: int, subject: str, role: str, *, learner: int | None = None, preceptor: int | None = None
) -> int:
    """Keep who a subject is in a course and return the number."""
    row = {"context": course, "subject": subject, "role": role, "learner": learner, "preceptor": preceptor}
    return store.add("lti_users", row)


def make_another(store: Store, registration: int, subject: str, preceptor: int) -> None:
    """Let a teacher of a platform be another preceptor here, in every course of the registration."""
    store.change(
        "UPDATE lti_users SET preceptor = ? WHERE subject = ? AND role = 'teacher' AND context IN (SELECT c.id FROM "
        "lti_contexts c JOIN lti_deployments d ON d.id = c.deployment WHERE d.registration = ?)",
        preceptor,
        subject,
        registration,
    )


def courses_of_both(store: Store, learner: int, other: int) -> list[str]:
    """Return the titles of the courses in which two learners are two people of the platform."""
    sql = (
        "SELECT DISTINCT c.title FROM lti_contexts c JOIN lti_users u ON u.context = c.id AND u.learner = ? "
        "JOIN lti_users o ON o.context = c.id AND o.learner = ? ORDER BY c.title"
    )
    return [str(row[0]) for row in store.fetch(sql, learner, other)]


def follow_merged(store: Store, goes: int, stays: int) -> None:
    """Let who a learner is in courses of platforms be another learner, who is the same person."""
    store.change("UPDATE lti_users SET learner = ? WHERE learner = ?", stays, goes)


def keep_left(store: Store, user: int, at: float | None, extra_time: int = 0) -> None:
    """Keep that somebody is no longer in a course, or is again."""
    store.change("UPDATE lti_users SET left_at = ?, extra_time = ? WHERE id = ?", at, extra_time, user)


@dataclass(frozen=True)
class KnownAt:
    """What is kept of a learner at one link of a course, or in a course without one."""

    issuer: str
    course: str
    subject: str
    """Who they are there."""
    link: str | None
    given: float | None
    """Their grade that was sent."""
    maximum: float | None
    sent_at: float | None


def known_of(store: Store, learner_id: int) -> list[KnownAt]:
    """Return who a learner is in courses of platforms, and the grades that were sent there."""
    return store.fetch_as(
        KnownAt,
        "SELECT r.issuer, c.title AS course, u.subject, k.title AS link, o.given, o.maximum, o.sent_at "
        "FROM lti_users u JOIN lti_contexts c ON c.id = u.context JOIN lti_deployments d ON d.id = c.deployment "
        "JOIN lti_registrations r ON r.id = d.registration LEFT JOIN lti_outcomes o ON o.learner = u.learner "
        "AND o.link IN (SELECT id FROM lti_links WHERE context = c.id) LEFT JOIN lti_links k ON k.id = o.link "
        "WHERE u.learner = ? ORDER BY u.id, o.link",
        learner_id,
    )


def is_of_platform(store: Store, learner_id: int) -> bool:
    """Say whether a learner came by a course of a platform."""
    return bool(store.fetch("SELECT 1 FROM lti_users WHERE learner = ? LIMIT 1", learner_id))


# --- states and tickets --------------------------------------------------------------------------------------------


def add_state(store: Store, state: str, what: LoginState, now: float) -> None:
    """Keep what a login is held to, and drop what has run out."""
    store.change("DELETE FROM lti_states WHERE until <= ?", now)
    store.add("lti_states", {"state": state, **vars(what), "parameters": write_json(what.parameters)})


def take_state(store: Store, state: str) -> LoginState | None:
    """Return what a login is held to and forget it: it is taken once, whatever comes of it."""
    found = store.fetch_one(LoginState, "SELECT * FROM lti_states WHERE state = ?", state)
    store.change("DELETE FROM lti_states WHERE state = ?", state)
    return found


def add_ticket(store: Store, ticket: str, kind: str, what: Ticket, now: float) -> None:
    """Keep a ticket, and drop those that have run out."""
    store.change("DELETE FROM lti_tickets WHERE until <= ?", now)
    store.add("lti_tickets", {"ticket": ticket, "kind": kind, **vars(what), "request": write_json(what.request)})


def ticket(store: Store, ticket: str, kind: str) -> Ticket | None:
    """Return a ticket."""
    return store.fetch_one(Ticket, "SELECT * FROM lti_tickets WHERE ticket = ? AND kind = ?", ticket, kind)


def take_ticket(store: Store, ticket_: str, kind: str) -> Ticket | None:
    """Return a ticket and forget it."""
    found = ticket(store, ticket_, kind)
    store.change("DELETE FROM lti_tickets WHERE ticket = ? AND kind = ?", ticket_, kind)
    return found
