"""A class's app behind https, registered with the small platform."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import sign_in
from quiz.lti import registering
from quiz.lti.registering import Platform
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.front.public_address import PublicAddress
from quiz.web.lti.platform_state import PlatformState
from tests.conftest import Clock
from tests.quiz.class_people import DRILL
from tests.quiz.lti.small_platform import HERE, TEACHER, SmallPlatform, Visitor


@dataclass
class School:
    """The app, a platform, and what stands between them."""

    app: Flask
    store: Store
    clock: Clock
    platform: SmallPlatform
    registration: int

    @property
    def state(self) -> PlatformState:
        kept: PlatformState = self.app.extensions["lti"]
        return kept

    def visitor(self) -> Visitor:
        return Visitor(self.app, self.platform)

    def teacher(self) -> Visitor:
        """Let a teacher come and make a class for the course."""
        came = self.visitor()
        to = came.enter(**TEACHER).location
        if to.startswith("/course/"):
            came.post(to, {"do": "make"})
        return came

    def drill(self, teacher: Visitor, class_id: int = 1, **other: object) -> int:
        """Let a teacher set a drill and open it."""
        made = teacher.post(f"/class/{class_id}/drill", {**DRILL, "cases": "2", **other})
        assert made.status_code == 303, made.text
        assert teacher.post(f"{made.location}/open").status_code == 303
        return int(made.location.rsplit("/", 1)[1])


def platform_given(platform: SmallPlatform, **other: str) -> Platform:
    at = platform.issuer
    given = {
        "issuer": at,
        "client_id": platform.client_id,
        "auth_login_url": f"{at}/auth",
        "auth_token_url": f"{at}/token",
        "key_set_url": f"{at}/keys",
        "deployment_id": "1",
        **other,
    }
    return Platform(**given)


@pytest.fixture
def school(data_file: DataFile, store: Store, clock: Clock) -> School:
    return made_school(data_file, store, clock)


def made_school(data_file: DataFile, store: Store, clock: Clock) -> School:
    """Put an app and a platform together."""
    public = PublicAddress("https", "school.example", "", 1)
    app = create_app(data_file, clock=clock, hosts=None, beyond=True, public=public)
    platform = SmallPlatform(clock)
    state: PlatformState = app.extensions["lti"]
    state.keys.ask = state.services.ask = platform.ask
    sign_in.add_preceptor(store, "Server", "a streak at ninety", now=clock())
    number = registering.add(store, platform_given(platform), school=1, now=clock())
    platform.tool_keys = lambda: app.test_client().get("/lti/jwks.json", base_url=HERE).json
    return School(app, store, clock, platform, number)
