"""What the app keeps in memory of course platforms: their keys, access tokens, and course lists to be fetched."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from flask import current_app

from quiz.errors import QuizError
from quiz.lti.services import Services
from quiz.lti.signing import KeySets, NotInstalled, installed
from quiz.web import request_context


class NotServed(QuizError):
    """Course platforms cannot come in as the app is served; the words say why."""


@dataclass
class PlatformState:
    """One for an app."""

    keys: KeySets = field(default_factory=KeySets)
    services: Services = field(default_factory=Services)
    lists_wanted: deque[int] = field(default_factory=deque)
    """Courses whose list is to be fetched in the thread that sends grades."""


def state() -> PlatformState:
    """Return what this app keeps."""
    kept: PlatformState = current_app.extensions["lti"]
    return kept


def address() -> str:
    """Return the public address that platforms know.

    Raises
    ------
    NotServed
        Where no class is served by https behind another web server: then there is no LTI.
    """
    found = request_context.public_url()
    if not found.startswith("https://"):
        raise NotServed("the app must be served to a class by https: serve --class --behind-proxy 1, with --address")
    if not installed():
        raise NotServed(str(NotInstalled()))
    return found
