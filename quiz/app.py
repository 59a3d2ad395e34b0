"""The web app put together: the data file, the guard, the pages. Nothing else lives here."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from flask import Flask
from jinja2 import FileSystemLoader
from werkzeug.utils import import_string

from quiz.classroom.throttle import Tries
from quiz.practice.randomness import Lots
from quiz.storage.engines.opening import read_where
from quiz.storage.engines.seam import Engine
from quiz.storage.safekeeping.timetable import Timetable
from quiz.storage.store import Store
from quiz.web import cookies, request_context
from quiz.web.front import processes
from quiz.web.front.class_file import open_for_class
from quiz.web.front.public_address import LOOPBACK, PublicAddress, behind, read_address

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

BIGGEST_REQUEST = 64 * 1024
EVERY_PAGE = ("csrf", "compression", "layout", "assets", "links", "typography", "uploads", "error_pages")
"""Modules of quiz.web that set up what all pages share."""
AREAS = (
    *("accuracy.routes", "bench.routes", "classroom.drill_preview", "classroom.drill_routes"),
    *("classroom.routes", "classroom.sign_in_routes", "classroom.take_drill_routes", "day.routes"),
    *("desk.routes", "examination.routes", "examination.set_routes", "front.health", "learners.routes"),
    *("lti.course_routes", "lti.registration_routes", "lti.routes"),
    *("look_up.routes", "own_cases.routes", "own_cases.drill_set_routes", "paper.routes"),
    *("practise.routes", "progress.own_data_routes", "progress.routes", "recall.routes", "reference.routes"),
    *("results.drill_results_routes", "results.export_routes", "results.routes", "roster.extension_routes"),
    *("roster.file_routes", "roster.keeping_routes", "roster.preceptor_routes", "roster.routes"),
    *("schools.routes", "schools.installation_routes", "schools.invitation_routes", "settings.routes", "work.routes"),
)
"""Modules of quiz.web, each with a blueprint `pages`; what stands in the navigation is layout.PLACES's business."""


def static_folder() -> Path:
    """Return where the style sheets and scripts are: inside the installed package, else beside it in a checkout."""
    here = Path(__file__).resolve().parent
    installed = here / "static"
    return installed if installed.is_dir() else here.parent / "static"


def template_folders() -> list[Path]:
    """Return where templates stand: those of every page, then each area's beside its routes. No two have one name."""
    web = Path(__file__).resolve().parent / "web"
    return [web / "templates", *sorted({web / area.split(".")[0] for area in AREAS})]


def create_app(
    file: Engine,
    *,
    clock: Callable[[], float] = time.time,
    lots: Lots | None = None,
    hosts: Sequence[str] | None = LOOPBACK,
    beyond: bool = False,
    reached_at: str = "",
    public: PublicAddress | None = None,
    timetable: Timetable | None = None,
    tries: Tries | None = None,
) -> Flask:
    """Make the app over an open data file or database.

    clock gives seconds since 1970; lots is where chance comes from; hosts are the names under which it may be asked,
    None for any; beyond says that other computers are served too, so that only those who are known get in;
    reached_at is the address by which they reach this one ("http://192.0.2.7:8067"), where it is known; public is the
    address of the web server before this one, where there is one; timetable makes backups, and preceptors are told;
    tries counts failed tries to come in, by default for this process alone.
    """
    app = Flask("quiz", static_folder=static_folder(), static_url_path="/static")
    app.jinja_loader = FileSystemLoader(template_folders())
    app.session_interface = cookies.Cookies()
    with closing(Store(file)) as store:
        app.secret_key = store.secret()
    app.config.update(
        MAX_CONTENT_LENGTH=BIGGEST_REQUEST,
        PERMANENT_SESSION_LIFETIME=timedelta(days=365),
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_PATH=(public.prefix if public else "") or "/",
        SESSION_COOKIE_SECURE=public is not None and public.is_secure,
        SESSION_COOKIE_NAME="two-meridians",
        SESSION_COOKIE_SAMESITE="Lax",
        # Set when it changes, not with every page: signing it again costs as much as a question to the data file.
        SESSION_REFRESH_EACH_REQUEST=False,
        TRUSTED_HOSTS=None if hosts is None else list(hosts),
    )
    import_string("quiz.web.front.request_log").set_up(app)
    url = public.url if public else ""
    desk = request_context.Desk(
        file, clock, lots or Lots(), beyond, reached_at, bool(url), url, timetable, tries=tries or Tries()
    )
    request_context.set_up(app, desk)
    for name in (*EVERY_PAGE, *AREAS):
        module = import_string(f"quiz.web.{name}")
        if hasattr(module, "set_up"):
            module.set_up(app)
        if hasattr(module, "pages"):
            app.register_blueprint(module.pages)
    return app


def class_app(data: str, address: str = "", hops: int = 1) -> WSGIApplication:
    """Return the app (WSGI) for a class over a data file or a database, for another web server of one process to serve.

    address: by which learners come through `hops` servers before that one; without it they come straight.

    Raises
    ------
    BadAddress, NoPreceptor, Refused
    """
    public = read_address(address, hops) if address else None
    file = open_for_class(read_where(data), look=processes.LOOK_S)
    processes.look_on(file)
    app = create_app(file, hosts=None, beyond=True, public=public)
    for begin in app.extensions["beside"]:
        begin()
    return behind(app, public) if public else app
