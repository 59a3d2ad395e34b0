"""How somebody comes from a platform: the login that it begins, and the launch that ends it (LTI 1.3, OpenID Connect).

A launch is let in once, in the browser that began the login, by the registered key of the platform. The words of a
refusal say what to do; its reason goes to the log under the same number, and never what is in a token.
"""

from __future__ import annotations

import hmac
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode, urlsplit

from cases.notation.plurals import counted
from quiz.classroom.sign_in import digest
from quiz.errors import QuizError
from quiz.lti.fetching import BadUrl, NoAnswer, check_url, origin_of
from quiz.lti.signing import BadToken, ClockOff, KeySets, TooOld, read_token, shown
from quiz.practice.randomness import Lots
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Deployment, LoginState, Registration
from quiz.storage.store import Store

STATE_HOLDS_S = 600.0
LONGEST_PARAMETER = 4000
LONGEST_BACK = 1000
"""Characters of an address that a browser's cookie keeps."""
CLAIM = "https://purl.imsglobal.org/spec/lti/claim/"
DEEP_LINKING = "https://purl.imsglobal.org/spec/lti-dl/claim/"
GRADES = "https://purl.imsglobal.org/spec/lti-ags/claim/endpoint"
MEMBERS = "https://purl.imsglobal.org/spec/lti-nrps/claim/namesroleservice"
MEMBERSHIP = "http://purl.imsglobal.org/vocab/lis/v2/membership"
RESOURCE_LINK, DEEP_LINK = "LtiResourceLinkRequest", "LtiDeepLinkingRequest"
PASSED_ON = ("login_hint", "lti_message_hint")
ASKED_WITH = ("iss", "login_hint", "target_link_uri", "lti_message_hint", "client_id", "lti_deployment_id")

_ADMINISTRATOR = "Tell the administrator of your course platform"
_SERVER = "Tell the person who runs Two Meridians for your school"
REFUSALS = {
    1: f"The platform's request is incomplete. {_ADMINISTRATOR}.",
    2: f"This platform is not registered here. {_SERVER}.",
    3: f"The link leads to another address than this app's. {_ADMINISTRATOR}.",
    4: "This page was already used, or is too old. Go back to your course and open the link again.",
    5: "This was begun in another browser. Go back to your course and open the link again.",
    6: f"The platform's signature does not fit. Open the link again in three minutes. {_SERVER} if this recurs.",
    7: f"The platform sent something that this app does not take. {_ADMINISTRATOR}.",
    8: f"This part of your course platform has not been approved here yet. {_SERVER}.",
    9: "Only learners and teachers of the course can come in. Ask your teacher to add you to the course.",
    10: "This link belongs to no course. Ask your teacher to put it into one.",
    11: "Your teacher has not opened this course here yet. Ask your teacher to open the link first.",
    12: "This link opens a drill of another class. Ask your teacher to open it and choose its drill.",
    13: "No drill has been chosen for this link yet. Ask your teacher to open it and choose one.",
    14: "Only a teacher of the course can choose a drill.",
    15: "The platform could not be reached to check its signature. Wait a minute, then open the link again. "
    f"{_SERVER} if this recurs.",
    16: f"The clocks of your course platform and of this server are {{}} or more apart. {_SERVER}.",
    17: f"Your course platform is registered here and has not been approved yet. {_SERVER}.",
    18: f"Your course platform is turned off here. {_SERVER}.",
    19: "The class of this course has been put into the archive. Ask your teacher to make a new one.",
}
"""What is said, by number; who can mend each, and how, is in COURSE-PLATFORMS.md."""


class LaunchRefused(QuizError):
    """A login or a launch that is not let in; `number` names the reason in the log."""

    def __init__(self, number: int, reason: str = "", *, origin: str = "", back: str = "", by: str = "") -> None:
        super().__init__(f"{REFUSALS[number].format(by)} (LTI {number:02d})")
        self.number = number
        self.origin = origin
        """Of the platform, which may show the refusal in a frame; "" where it is not known for sure."""
        self.back = back
        """Where the platform takes people back; "" where it did not say."""
        logging.getLogger("quiz").warning("LTI %02d: %s", number, reason or REFUSALS[number])


class NoCookie(QuizError):
    """A launch whose browser sent no cookie, as those that keep none in a frame: it can be begun again in a tab."""

    def __init__(self, parameters: Mapping[str, str], origins: str) -> None:
        super().__init__("this browser keeps no cookie in a frame of another site: open a tab of its own")
        self.parameters = parameters
        self.origins = origins


@dataclass(frozen=True)
class Login:
    """A login that was begun: where the browser goes, and the cookie that it takes along."""

    url: str
    browser: str


@dataclass(frozen=True)
class Launch:
    """Who comes from where to what, as a platform says and this app checked."""

    registration: Registration
    deployment: Deployment
    subject: str
    role: str
    """"learner" or "teacher", in this very course."""
    name: str
    context_id: str
    context_title: str
    resource_link_id: str = ""
    """"" where a drill is to be chosen."""
    link_title: str = ""
    drill: str = ""
    """What the link says that it opens; "" where it does not."""
    members_url: str | None = None
    lineitems_url: str | None = None
    lineitem_url: str | None = None
    request: Mapping[str, Any] = field(default_factory=dict)
    """What a platform asks for that has a drill chosen."""
    back: str = ""
    """Where the platform takes people back; "" where it did not say."""


def origins_of(registration: Registration) -> str:
    """Return where a registration's pages are, as a policy names them."""
    found = (origin_of(registration.issuer), origin_of(registration.auth_login_url))
    return " ".join(dict.fromkeys(one for one in found if one))


def begin_login(
    store: Store, parameters: Mapping[str, str], browser: str, *, address: str, now: float, lots: Lots
) -> Login:
    """Begin a login that a platform asks for; `browser` is what the cookie holds, "" where there is none.

    Raises
    ------
    LaunchRefused
    """
    asked = {name: parameters[name] for name in ASKED_WITH if parameters.get(name)}
    needed = ("iss", "login_hint", "target_link_uri")
    if any(name not in asked for name in needed) or any(len(one) > LONGEST_PARAMETER for one in asked.values()):
        raise LaunchRefused(1, "a login without what it needs")
    found = lti_queries.registrations_for(store, asked["iss"], asked.get("client_id"))
    if len(found) != 1:
        raise _not_registered(store, asked["iss"], asked.get("client_id", ""))
    if not under(asked["target_link_uri"], address):
        raise LaunchRefused(3, "a target outside the public address")
    registration = found[0]
    state, nonce, browser = lots.new_secret(), lots.new_secret(), browser or lots.new_secret()
    until = now + STATE_HOLDS_S
    target = asked["target_link_uri"]
    kept = LoginState(digest(browser), digest(nonce), registration.id, target, asked, until)
    with store.writing():
        lti_queries.add_state(store, digest(state), kept, now)
    query = {
        "scope": "openid",
        "response_type": "id_token",
        "response_mode": "form_post",
        "prompt": "none",
        "client_id": registration.client_id,
        "redirect_uri": f"{address}/lti/launch",
        "state": state,
        "nonce": nonce,
        **{name: asked[name] for name in PASSED_ON if name in asked},
    }
    mark = "&" if urlsplit(registration.auth_login_url).query else "?"
    return Login(f"{registration.auth_login_url}{mark}{urlencode(query)}", browser)


def _not_registered(store: Store, issuer: str, client_id: str) -> LaunchRefused:
    """Say which registration does not fit a login, and why."""
    known = lti_queries.registrations(store)
    exact = [one for one in known if one.issuer == issuer and client_id in ("", one.client_id)]
    if sum(one.state == "active" for one in exact) > 1:
        numbers = ", ".join(str(one.id) for one in exact if one.state == "active")
        return LaunchRefused(2, f"the login names no client, and registrations {numbers} have the issuer {issuer}")
    for state, number, words in (
        ("pending", 17, "waits to be approved: python -m quiz lti approve {0}"),
        ("off", 18, "is off; python -m quiz lti approve {0} turns it on"),
    ):
        found = next((each for each in exact if each.state == state), None)
        if found is not None:
            return LaunchRefused(number, f"registration {found.id} ({found.name}) {words.format(found.id)}")
    near = [one for one in known if one.issuer.rstrip("/") == issuer.rstrip("/")]
    others = "".join(f"; number {one.id} has {one.issuer} with client {one.client_id}" for one in near[:3])
    client = f" with client {shown(client_id)}" if client_id else ""
    return LaunchRefused(2, f"no registration has the issuer {shown(issuer)}{client}{others}")


def under(url: str, address: str) -> bool:
    """Say whether an address lies under another."""
    return origin_of(url) == origin_of(address) and (url == address or url.startswith(f"{address}/"))


def read_launch(
    store: Store, state: str, token: str, browser: str, *, address: str, keys: KeySets, now: float
) -> Launch:
    """Return what a launch says once everything about it was checked; its state is used up whatever comes of it.

    Raises
    ------
    LaunchRefused, NoCookie, NotInstalled
    """
    with store.writing():
        begun = lti_queries.take_state(store, digest(state)) if state else None
    if begun is None or begun.until <= now:
        raise LaunchRefused(4, "a state that is not known, was used or has run out")
    registration = lti_queries.registration_of_id(store, begun.registration)
    if registration is None or registration.state != "active":
        raise LaunchRefused(18, f"registration {begun.registration} is off")
    origins = origins_of(registration)
    if not browser:
        raise NoCookie(begun.parameters, origins)
    if not hmac.compare_digest(digest(browser), begun.browser):
        raise LaunchRefused(5, "another browser's cookie", origin=origins)
    try:
        claims = read_token(token, registration, keys, begun=begun.until - STATE_HOLDS_S, now=now)
    except ClockOff as error:
        by = counted(error.minutes, "minute")
        raise LaunchRefused(16, f"{registration.issuer}: {error}", origin=origins, by=by) from None
    except TooOld as error:
        raise LaunchRefused(4, f"a token of {registration.issuer}: {error}", origin=origins) from None
    except BadToken as error:
        raise LaunchRefused(6, f"a token of {registration.issuer}: {error}", origin=origins) from None
    except (NoAnswer, BadUrl) as error:
        raise LaunchRefused(15, f"the keys of {registration.issuer}: {error}", origin=origins) from None
    nonce = claims["nonce"]
    if not (isinstance(nonce, str) and hmac.compare_digest(digest(nonce), begun.nonce)):
        raise LaunchRefused(6, f"a token of {registration.issuer} for another launch (nonce)", origin=origins)
    return _as_launch(store, registration, claims, address)


def _as_launch(store: Store, registration: Registration, claims: Mapping[str, Any], address: str) -> Launch:
    origin = origins_of(registration)
    back = _way_back(registration, _part(claims, "launch_presentation").get("return_url"))

    def refused(number: int, reason: str) -> LaunchRefused:
        return LaunchRefused(number, f"{registration.issuer}: {reason}", origin=origin, back=back)

    if claims.get(f"{CLAIM}version") != "1.3.0":
        raise refused(7, "another version than 1.3.0")
    kind = claims.get(f"{CLAIM}message_type")
    if kind not in (RESOURCE_LINK, DEEP_LINK):
        raise refused(7, "another type of message")
    subject, deployment_id = claims["sub"], claims.get(f"{CLAIM}deployment_id")
    if not (_is_name(subject) and _is_name(deployment_id)):
        raise refused(7, "no subject or no deployment")
    if not under(str(claims.get(f"{CLAIM}target_link_uri", address)), address):
        raise refused(3, "a target outside the public address")
    deployment = _deployment(store, registration, str(deployment_id))
    if deployment.state != "active":
        words = f"deployment {shown(deployment.deployment_id)} of registration {registration.id} waits to be approved"
        raise refused(8, f"{words}: python -m quiz lti approve {registration.id}")
    context = _part(claims, "context")
    if not _is_name(context.get("id")):
        raise refused(10, "no context")
    role = role_in(claims.get(f"{CLAIM}roles"))
    if role is None:
        raise refused(9, "no role in the course")
    names, grades = _found(claims, MEMBERS), _found(claims, GRADES)
    common: dict[str, Any] = {
        "registration": registration,
        "deployment": deployment,
        "subject": subject,
        "role": role,
        "name": _text(claims.get("name")),
        "context_id": context["id"],
        "context_title": _text(context.get("title")) or _text(context.get("label")),
        "members_url": _url(names.get("context_memberships_url")),
        "lineitems_url": _url(grades.get("lineitems")),
        "back": back,
    }
    if kind == DEEP_LINK:
        if role != "teacher":
            raise refused(14, "a learner asks to choose a drill")
        settings = _found(claims, f"{DEEP_LINKING}deep_linking_settings")
        types, answer_to = settings.get("accept_types"), _url(settings.get("deep_link_return_url"))
        if not isinstance(types, list) or "ltiResourceLink" not in types or answer_to is None:
            raise refused(7, "a choice that takes no links, or has nowhere to go back to")
        data = settings.get("data")
        request = {"back": answer_to, **({"data": data} if isinstance(data, str) else {})}
        return Launch(**common, request=request)
    link = _part(claims, "resource_link")
    if not _is_name(link.get("id")):
        raise refused(7, "no resource link")
    return Launch(
        **common,
        resource_link_id=link["id"],
        link_title=_text(link.get("title")),
        drill=_text(_part(claims, "custom").get("drill")),
        lineitem_url=_url(grades.get("lineitem")),
    )


def _deployment(store: Store, registration: Registration, deployment_id: str) -> Deployment:
    """Return a deployment; one that is not known is kept as pending, for the administrator to approve."""
    with store.writing():
        for one in lti_queries.deployments_of(store, registration.id):
            if one.deployment_id == deployment_id:
                return one
        lti_queries.keep_deployment(store, registration.id, deployment_id, "pending")
        return lti_queries.deployments_of(store, registration.id)[-1]


def role_in(roles: object) -> str | None:
    """Return what somebody is in a course by their roles in this very course; None: neither learner nor teacher.

    Roles come as addresses of the membership vocabulary, or short. Those of a person in the institution or in the
    system say nothing here.
    """
    listed = {one for one in roles if isinstance(one, str)} if isinstance(roles, Sequence) else set()
    for role, words in (("teacher", ("Instructor",)), ("learner", ("Learner",))):
        for word in words:
            beneath = f"{MEMBERSHIP}/{word}#"
            if listed & {word, f"{MEMBERSHIP}#{word}"} or any(one.startswith(beneath) for one in listed):
                return role
    return None


def _is_name(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= 255


def _text(value: object) -> str:
    return " ".join(value.split())[:200] if isinstance(value, str) else ""


def _found(claims: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    value = claims.get(name)
    return value if isinstance(value, Mapping) else {}


def _part(claims: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    return _found(claims, f"{CLAIM}{name}")


def _way_back(registration: Registration, value: object) -> str:
    """Return where a platform takes people back to; "" where that is no page of its own by https, or too long."""
    url = _url(value) or ""
    return url if len(url) <= LONGEST_BACK and origin_of(url) in origins_of(registration).split() else ""


def _url(value: object) -> str | None:
    """Return an address of a service that may be asked; None for any other, which is then not asked."""
    try:
        return check_url(value) if isinstance(value, str) else None
    except BadUrl:
        return None
