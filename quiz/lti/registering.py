"""Platforms that this app is registered with: added by hand, or by one address that their administrator pastes.

A registration by address (LTI Dynamic Registration 1.0) is made only while an invitation is open, and stays pending
until it is approved on this server.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from cases.notation.plurals import counted
from quiz.classroom.sign_in import digest
from quiz.errors import QuizError
from quiz.lti.fetching import BadUrl, NoAnswer, Reply, check_url, fetch, origin_of
from quiz.lti.launching import DEEP_LINK, RESOURCE_LINK
from quiz.lti.own_address import BadRegistration
from quiz.lti.services import SCOPES
from quiz.lti.signing import BadToken, library, read_key_set
from quiz.practice.randomness import Lots
from quiz.storage.organisation import school_queries
from quiz.storage.platform import lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import Registration
from quiz.storage.store import Store

INVITATION_HOLDS_S = 3600.0
NAME = "Two Meridians"
_INVITATION = "lti-invitation"
OPTIONS = {"auth_login_url": "--login", "auth_token_url": "--token", "key_set_url": "--keys"}
"""The options of the commands by what they give."""
CONFIGURATION = "https://purl.imsglobal.org/spec/lti-platform-configuration"
TOOL = "https://purl.imsglobal.org/spec/lti-tool-configuration"
LONGEST_FIELD = 1000


class UnknownRegistration(QuizError):
    """No registration has this number."""

    def __init__(self, number: int) -> None:
        super().__init__(f"there is no registration {number}: `python -m quiz lti list` shows them")


@dataclass(frozen=True)
class Platform:
    """What the administrator of a platform gives."""

    issuer: str
    client_id: str
    auth_login_url: str
    auth_token_url: str
    key_set_url: str
    deployment_id: str = ""
    token_audience: str = ""
    """"" where it is the address of the tokens."""
    name: str = ""


def try_keys(url: str, *, ask: Callable[..., Reply] | None = None) -> str:
    """Fetch a platform's keys as a launch will; return a warning, "" where there are some."""
    try:
        found = read_key_set(url, (ask or fetch)("GET", url))
    except (NoAnswer, BadUrl, BadToken) as error:
        return f"Warning: the platform's keys could not be fetched: {error}. `lti change` corrects an address."
    return "" if found else f"Warning: {url} has no RSA key to sign with, so every launch would be refused."


def addresses(address: str) -> dict[str, str]:
    """Return what the administrator of a platform types in, by what it is called there."""
    return {
        "Tool URL (target link URI)": f"{address}/lti/launch",
        "Initiate login URL": f"{address}/lti/login",
        "Redirection URI": f"{address}/lti/launch",
        "Public keyset URL": f"{address}/lti/jwks.json",
        "Content selection URL (deep linking)": f"{address}/lti/launch",
    }


def host_of(issuer: str) -> str:
    """Return what a platform is called that nobody has named: its host, where its issuer is an address."""
    return origin_of(issuer).partition("://")[2] or issuer


def record(store: Store, what: Registration, act: str, *, by: str, now: float) -> None:
    """Write down who registered, approved or changed a platform, for its school and for the installation."""
    with store.writing():
        for where in dict.fromkeys((None, what.school)):
            school_queries.record(store, where, by, act, now, what=what.name)


def waiting(store: Store) -> int:
    """Return how many platforms, or deployments of those that are active, wait to be approved."""
    found = lti_queries.registrations(store)
    pending = sum(one.state == "pending" for one in found)
    active = [one.id for one in found if one.state == "active"]
    return pending + sum(each.state == "pending" for one in active for each in lti_queries.deployments_of(store, one))


def add(store: Store, given: Platform, *, school: int, now: float, state: str = "active") -> int:
    """Keep the registration of a school's platform and return its number; one that was pending or off is made as given.

    Raises
    ------
    BadRegistration
        When something is missing or no address, or the registration is active already.
    NotInstalled
    """
    library()
    for name in ("issuer", "client_id"):
        if not 0 < len(getattr(given, name)) <= LONGEST_FIELD:
            on_page = "give the one that the platform shows"
            raise BadRegistration(f"{name.replace('_', ' ')}: {on_page}", field=name, on_page=on_page)
    try:
        for name in ("auth_login_url", "auth_token_url", "key_set_url"):
            check_url(getattr(given, name))
    except BadUrl as error:
        raise BadRegistration(f"{OPTIONS[name]}: {error}", field=name, on_page=str(error)) from error
    with store.writing():
        known = lti_queries.registration_with(store, given.issuer, given.client_id)
        if known is not None:
            raise BadRegistration(
                f"this issuer and client are registration {known.id} ({known.state}): "
                f"`lti change {known.id}` corrects it, `lti approve {known.id}` and `lti off {known.id}` change its "
                f"state, `lti remove {known.id}` removes it",
                field="client_id",
                on_page=f"number {known.id} on this page has this issuer and client",
            )
        values = {name: getattr(given, name) for name in ("issuer", "client_id", "auth_login_url", "auth_token_url")}
        more = {"key_set_url": given.key_set_url, "token_audience": given.token_audience or given.auth_token_url}
        name = given.name or host_of(given.issuer)
        row = {**values, **more, "name": name[:100], "state": state, "made_at": now, "school": school}
        number = lti_queries.add_registration(store, row)
        if given.deployment_id:
            lti_queries.keep_deployment(store, number, given.deployment_id[:255], state)
    return number


def get(store: Store, number: int) -> Registration:
    """Return a registration; raises UnknownRegistration."""
    found = lti_queries.registration_of_id(store, number)
    if found is None:
        raise UnknownRegistration(number)
    return found


def approve(store: Store, number: int) -> list[str]:
    """Let a registration, and every deployment of it that is waiting, come in; return those deployments."""
    get(store, number)
    with store.writing():
        lti_queries.keep_registration_state(store, number, "active")
        waiting = [one.deployment_id for one in lti_queries.deployments_of(store, number) if one.state == "pending"]
        for one in waiting:
            lti_queries.keep_deployment(store, number, one, "active")
    return waiting


def turn_off(store: Store, number: int) -> None:
    """Let nobody come in by a registration, and end the sign-ins of those who came by it."""
    get(store, number)
    with store.writing():
        lti_queries.keep_registration_state(store, number, "off")
        lti_queries.end_sign_ins_of(store, number)


def change(store: Store, number: int, given: Mapping[str, str]) -> None:
    """Correct a registration by what is given, by field; "" leaves a field as it is.

    Raises
    ------
    BadRegistration
        When an address cannot be one, or another registration has this issuer and client.
    UnknownRegistration
    """
    found = get(store, number)
    new = {name: value for name, value in given.items() if value and name != "deployment_id"}
    for name in ("auth_login_url", "auth_token_url", "key_set_url"):
        try:
            check_url(new.get(name, getattr(found, name)))
        except BadUrl as error:
            raise BadRegistration(f"{OPTIONS[name]}: {error}", field=name, on_page=str(error)) from error
    if any(len(value) > LONGEST_FIELD for value in new.values()):
        raise BadRegistration(f"give at most {LONGEST_FIELD} characters")
    if "auth_token_url" in new and found.token_audience == found.auth_token_url:
        new.setdefault("token_audience", new["auth_token_url"])
    with store.writing():
        other = lti_queries.registration_with(
            store, new.get("issuer", found.issuer), new.get("client_id", found.client_id)
        )
        if other is not None and other.id != number:
            raise BadRegistration(
                f"registration {other.id} has this issuer and client: remove one of the two", field="client_id"
            )
        changed: dict[str, Any] = dict(new)
        lti_queries.change_registration(store, replace(found, **changed))
        if given.get("deployment_id"):
            state = "pending" if found.state == "pending" else "active"
            lti_queries.keep_deployment(store, number, given["deployment_id"][:255], state)


def remove(store: Store, number: int, *, with_courses: bool) -> None:
    """Remove a registration with its deployments; its classes, learners and answers stay.

    with_courses: also where courses have come by it, whose links and grades still to be sent are then forgotten.

    Raises
    ------
    BadRegistration
        Where courses have come by it and they were not meant.
    UnknownRegistration
    """
    get(store, number)
    have = lti_queries.courses_of_registration(store, number)
    if have and not with_courses:
        raise BadRegistration(
            f"{counted(have, 'course')} came by registration {number}: with --with-courses their links and the grades "
            f"still to be sent are forgotten too; `lti off {number}` keeps them"
        )
    with store.writing():
        lti_queries.end_sign_ins_of(store, number)
        lti_queries.drop_registration(store, number)


def send_again(store: Store, *, now: float) -> int:
    """Let every grade that could not be sent be tried again; return how many there are."""
    with store.writing():
        return outcome_queries.make_failed_due(store, now)


# --- by one address --------------------------------------------------------------------------------------------------


def invite(store: Store, *, school: int, now: float, lots: Lots) -> str:
    """Open an invitation to a school's platform for an hour and return its secret; one before it is closed."""
    library()
    secret = lots.new_secret()
    with store.writing():
        store.keep_app_value(_INVITATION, f"{digest(secret)} {now + INVITATION_HOLDS_S} {school}")
    return secret


def invited_school(store: Store, secret: str, *, now: float) -> int | None:
    """Return the school whose invitation is open and has this secret; None where there is none."""
    kept, *rest = (store.app_value(_INVITATION) or "").split(" ")
    if len(rest) != 2 or not hmac.compare_digest(kept, digest(secret)) or now >= float(rest[0]):
        return None
    return int(rest[1])


def register(
    store: Store,
    configuration_url: str,
    token: str,
    *,
    school: int,
    address: str,
    now: float,
    ask: Callable[..., Reply] = fetch,
) -> Registration:
    """Register with a platform that a stranger names, as pending, and close the invitation.

    Raises
    ------
    BadRegistration
        Also when an address of the platform is elsewhere than its issuer.
    """
    try:
        reply = ask("GET", configuration_url, named_by_stranger=True)
        found: Any = reply.json() if reply.status == 200 else None
        if not isinstance(found, dict):
            raise BadRegistration("there is no configuration of a platform at that address")
        names = ("issuer", "registration_endpoint", "jwks_uri", "token_endpoint", "authorization_endpoint")
        urls = {name: check_url(found[name]) for name in names if isinstance(found.get(name), str)}
        missing = [name for name in names if name not in urls]
        if missing:
            raise BadRegistration(f"the platform's configuration has no {', '.join(missing)}")
        home = origin_of(configuration_url)
        if any(origin_of(one) != home for one in urls.values()):
            raise BadRegistration("an address of the platform is on another server than the rest: add it by hand")
        headers = {"Content-Type": "application/json", **({"Authorization": f"Bearer {token}"} if token else {})}
        body = json.dumps(tool_configuration(address)).encode()
        reply = ask("POST", urls["registration_endpoint"], headers=headers, body=body, named_by_stranger=True)
        given: Any = reply.json() if reply.status in (200, 201) else None
    except (NoAnswer, BadUrl) as error:
        raise BadRegistration(str(error)) from error
    client_id = given.get("client_id") if isinstance(given, dict) else None
    if not isinstance(client_id, str):
        raise BadRegistration(f"the platform did not take the registration ({reply.status})")
    deployment = _part(given, TOOL).get("deployment_id")
    product = _part(found, CONFIGURATION).get("product_family_code")
    number = add(
        store,
        Platform(
            issuer=urls["issuer"],
            client_id=client_id,
            auth_login_url=urls["authorization_endpoint"],
            auth_token_url=urls["token_endpoint"],
            key_set_url=urls["jwks_uri"],
            deployment_id=str(deployment) if isinstance(deployment, str | int) else "",
            token_audience=_word(found.get("authorization_server")),
            name=f"{_word(product)} at {host_of(urls['issuer'])}".removeprefix(" at "),
        ),
        school=school,
        now=now,
        state="pending",
    )
    with store.writing():
        store.keep_app_value(_INVITATION, "")
    return get(store, number)


def _part(value: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = value.get(name)
    return found if isinstance(found, Mapping) else {}


def _word(value: object) -> str:
    return value[:200] if isinstance(value, str) else ""


def tool_configuration(address: str) -> dict[str, Any]:
    """Return how this app describes itself to a platform; it asks for names, and for no address of a person."""
    launch = f"{address}/lti/launch"
    messages = (RESOURCE_LINK, DEEP_LINK)
    return {
        "application_type": "web",
        "response_types": ["id_token"],
        "grant_types": ["implicit", "client_credentials"],
        "initiate_login_uri": f"{address}/lti/login",
        "redirect_uris": [launch],
        "client_name": NAME,
        "jwks_uri": f"{address}/lti/jwks.json",
        "token_endpoint_auth_method": "private_key_jwt",
        "scope": " ".join(SCOPES),
        TOOL: {
            "domain": origin_of(address).partition("://")[2],
            "target_link_uri": launch,
            "claims": ["iss", "sub", "name"],
            "messages": [{"type": one, "target_link_uri": launch, "label": NAME} for one in messages],
            "description": "Retinoscopy cases that say which step went wrong.",
        },
    }
