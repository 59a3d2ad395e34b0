"""The web app put together: the data file, the guard, the pages. Nothing else lives here."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from flask import Flask

from quiz.datafile import DataFile
from quiz.lots import Lots
from quiz.pages import (
    accuracy,
    assets,
    bench,
    classes,
    cookies,
    door,
    drilling,
    drills,
    errors,
    exports,
    frame,
    guard,
    lettering,
    links,
    people,
    practise,
    progress,
    recall,
    reference,
    removing,
    request_log,
    results,
    settings,
    trying,
    visit,
    work,
)
from quiz.store import Store

LOOPBACK = visit.LOOPBACK
BIGGEST_REQUEST = 64 * 1024
PAGES = (
    practise,
    bench,
    work,
    recall,
    progress,
    accuracy,
    reference,
    settings,
    people,
    door,
    classes,
    drills,
    trying,
    results,
    removing,
    exports,
    drilling,
)
"""Each module has a blueprint `pages`; what stands in the navigation is frame.NAV's business."""


def static_folder() -> Path:
    """Return where the style sheets and scripts are: inside the installed package, else beside it in a checkout."""
    here = Path(__file__).resolve().parent
    installed = here / "static"
    return installed if installed.is_dir() else here.parent / "static"


def create_app(
    file: DataFile,
    *,
    clock: Callable[[], float] = time.time,
    lots: Lots | None = None,
    hosts: Sequence[str] | None = LOOPBACK,
    beyond: bool = False,
    reached_at: str = "",
) -> Flask:
    """Make the app over an open data file.

    clock gives seconds since 1970; lots is where chance comes from; hosts are the names under which it may be asked,
    None for any; beyond says that other computers are served too, so that only those who are known get in;
    reached_at is the address by which they reach this one ("http://192.0.2.7:8067"), where it is known.
    """
    app = Flask("quiz", static_folder=static_folder(), static_url_path="/static")
    app.session_interface = cookies.Cookies()
    with closing(Store(file)) as store:
        app.secret_key = store.secret()
    app.config.update(
        MAX_CONTENT_LENGTH=BIGGEST_REQUEST,
        PERMANENT_SESSION_LIFETIME=timedelta(days=365),
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_NAME="two-meridians",
        SESSION_COOKIE_SAMESITE="Lax",
        # Set when it changes, not with every page: signing it anew costs as much as a question to the data file.
        SESSION_REFRESH_EACH_REQUEST=False,
        TRUSTED_HOSTS=None if hosts is None else list(hosts),
    )
    request_log.set_up(app)
    visit.set_up(app, visit.Desk(file, clock, lots or Lots(), beyond, reached_at))
    guard.set_up(app)
    door.set_up(app)
    frame.set_up(app)
    assets.set_up(app)
    drilling.set_up(app)
    links.set_up(app)
    lettering.set_up(app)
    errors.set_up(app)
    for page in PAGES:
        app.register_blueprint(page.pages)
    return app
