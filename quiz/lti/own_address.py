"""The public address of this app, which platforms are given: kept by `serve`, tried, and what keeps platforms out."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

from cases.notation.plurals import counted
from quiz.errors import QuizError
from quiz.lti.fetching import BadUrl, NoAnswer, Reply, check_url, fetch
from quiz.lti.signing import BadToken, NotInstalled, installed, read_key_set
from quiz.storage.platform import lti_queries
from quiz.storage.store import Store

_ADDRESS = "public-address"


class BadRegistration(QuizError):
    """A registration that cannot be made; the words say what is wrong, for a command and for a page.

    field: what of a registration is to be corrected; on_page: the words beside its field, else the same.
    """

    def __init__(self, words: str, *, field: str = "", on_page: str = "") -> None:
        super().__init__(words)
        self.field = field
        self.on_page = on_page or words


def check_address(address: str) -> str:
    """Return the address of this app that platforms are given; raises BadRegistration where it is not https."""
    try:
        found = check_url(address.rstrip("/"))
    except BadUrl:
        raise BadRegistration(
            "platforms need this app's public address, by https: give --address https://… as `serve` has it"
        ) from None
    if urlsplit(found).path.endswith("/lti"):
        raise BadRegistration(f"address {found}: leave /lti out, as `serve` does: {found.removesuffix('/lti')}")
    return found


def keep_address(store: Store, address: str) -> None:
    """Keep the address at which the app is served, for the commands that print it."""
    if store.app_value(_ADDRESS) != address:
        with store.writing():
            store.keep_app_value(_ADDRESS, address)


def public_address(store: Store, given: str | None) -> tuple[str, str]:
    """Return the address that platforms are given, and a warning where `serve` had another; "" where it had none.

    given: what the command was given; None: the address that the app was last served at.

    Raises
    ------
    BadRegistration
    """
    served = store.app_value(_ADDRESS) or ""
    address = check_address(given or served)
    differs = f"Warning: the app was last served at {served}; this is {address}." if served not in ("", address) else ""
    return address, differs


def try_address(store: Store, address: str, *, ask: Callable[..., Reply] | None = None) -> str:
    """Ask whether this very app answers at an address; return a warning, "" where it does."""
    url = f"{address}/lti/jwks.json"
    try:
        reply = (ask or fetch)("GET", url)
        own = {one.kid for one in lti_queries.keys(store)}  # read afterwards: the first who asks has one made
        if reply.status == 200 and own & read_key_set(url, reply).keys():
            return ""
        why = f"it answered {reply.status}" if reply.status != 200 else "another app answered"
    except (NoAnswer, BadUrl, BadToken) as error:
        why = str(error)
    return f"Warning: {url} did not answer as this app ({why}). Is the app served there?"


def wrong_set_up(store: Store, address: str) -> str:
    """Return what keeps the platforms that are registered from coming in, "" where nothing does.

    address: at which the app is served, "" where it has no public one.
    """
    number = sum(one.state == "active" for one in lti_queries.registrations(store))
    if not number:
        return ""
    have = f"{counted(number, 'course platform')} registered, but "
    if not address.startswith("https://"):
        why = f"this address is {address}" if address else "the app has no public address"
        return f"{have}platforms need https and {why}: serve with --class --behind-proxy 1 --address https://…"
    return "" if installed() else f"{have}{NotInstalled()}"
