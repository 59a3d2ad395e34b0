"""What stands round every page: the four places of a role, what is behind the name, the theme and the caution line."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from flask import Flask, request

from cases.worksheet import CAUTION
from quiz.practice import learners
from quiz.storage.store import Learner
from quiz.web import request_context
from quiz.web.links import link

Role = Literal["student", "preceptor", "clinician"]


@dataclass(frozen=True)
class Place:
    """One entry of the navigation, and the blueprints whose pages are under it."""

    endpoint: str
    label: str
    blueprints: tuple[str, ...]


TODAY = Place("desk.show", "Today", ("desk", "practise", "drilling"))
BENCH = Place("bench.explore", "Bench", ("bench", "examination"))
PROGRESS = Place("progress.show", "Progress", ("progress", "own_data"))
LOG = Place("accuracy.show", "Log", ("accuracy",))
LOOK_UP = Place("look_up.show", "Look up", ("look_up", "work", "reference", "recall"))
CLASS = Place(
    "classes.show",
    "Class",
    ("classes", "roster", "roster_file", "keeping", "preceptors", "courses", "schools", "installation", "platforms"),
)
DRILLS = Place(
    "classes.drills", "Drills", ("drills", "trying", "extensions", "own_cases", "paper", "set_examinations", "sets")
)
RESULTS = Place("classes.results", "Results", ("results", "drill_results", "exports"))
SETTINGS = Place("settings.show", "Settings", ("settings",))
WHO = Place("people.show", "Who is practising", ("people",))
OWN_DATA = Place("progress.data", "Own data", ())
PLACES: dict[Role, tuple[Place, ...]] = {
    "student": (TODAY, BENCH, PROGRESS, LOOK_UP),
    "preceptor": (CLASS, DRILLS, RESULTS, LOOK_UP),
    "clinician": (TODAY, LOG, BENCH, LOOK_UP),
}
"""The four places of each role: in the head, and at the foot of a telephone."""
BEHIND: dict[Role, tuple[Place, ...]] = {
    "student": (Place("classes.show", "Class and drills", CLASS.blueprints), LOG, SETTINGS, OWN_DATA, WHO),
    "preceptor": (Place("desk.show", "Practise myself", TODAY.blueprints), SETTINGS),
    "clinician": (PROGRESS, CLASS, SETTINGS, OWN_DATA, WHO),
}
"""What is behind the name."""
OUT_OF_A_CLASS = (Place("door.show", "Sign in or join", ("door",)),)
"""Behind the name of a preceptor in class mode, who has no learner here: where one is joined as."""
PRACTISING = {*TODAY.blueprints, *BENCH.blueprints, *PROGRESS.blueprints, "people"}
"""Where a preceptor practises themselves, and has a student's places."""
OF_A_LEARNER = (PRACTISING | {*LOG.blueprints, *SETTINGS.blueprints}) - {"people"}
"""Pages that show what one learner did or set."""


@dataclass(frozen=True)
class Link:
    """One entry of the navigation on this page."""

    url: str
    label: str
    here: bool


@dataclass(frozen=True)
class Frame:
    """What the base template receives."""

    places: tuple[Link, ...]
    behind: tuple[Link, ...]
    name: str
    theme: str
    home: str
    """Where Leave leads."""
    key: str | None = None
    """Names the learner to scripts, so that what one wrote is never sent for another."""
    practising_as: str = ""
    """The learner at this computer whose page this is, where a preceptor is signed in; else nothing."""
    shared: bool = False
    """Whether others use this device too, so that a sign-in ends with its tab."""
    caution: str = CAUTION
    inside: bool = True
    """Whether the pages of the app are open to who asks, so that a link to them leads somewhere."""


def set_up(app: Flask) -> None:
    """Hand every template its frame."""
    app.context_processor(_frame)


def key_of(who: Learner) -> str:
    """Return what names a learner to scripts: a number that is given to nobody else."""
    return f"{who.id}-{who.created_at:.0f}"


def _frame() -> dict[str, Any]:
    who = request_context.known_learner()
    preceptor = request_context.known_preceptor()
    settings = learners.settings_of(who) if who else None
    blueprint = request.blueprint or ""
    role: Role = getattr(settings, "role", "student")
    if preceptor is not None:
        role = "student" if who and blueprint in PRACTISING else "preceptor"
    places, behind = (_links(request.root_path, blueprint, one[role]) for one in (PLACES, BEHIND))
    if preceptor is not None and who is None and request_context.beyond():
        # Who practises in a class comes in by a code or a phrase, which signs the preceptor out of this browser.
        behind = _links(request.root_path, blueprint, OUT_OF_A_CLASS)
    name = who.name if who else preceptor.name if preceptor else "Menu"
    shared = request_context.on_shared_device()
    key = key_of(who) if who else None
    practising = bool(who and preceptor) and blueprint in OF_A_LEARNER
    theme, home = settings.theme if settings else "auto", link(TODAY.endpoint)
    inside = bool(who or preceptor) or not request_context.beyond()
    frame = Frame(places, behind, name, theme, home, key, name if practising else "", shared, inside=inside)
    return {"frame": frame}


def for_a_preceptor() -> bool:
    """Say whether a page is a signed-in preceptor's own, and none on which they practise; asks no data file."""
    return request_context.says_preceptor() and request.blueprint not in PRACTISING


@lru_cache(256)
def _links(_root: str, blueprint: str, places: tuple[Place, ...]) -> tuple[Link, ...]:
    """Return the places as they stand on the pages of a blueprint, served below a root."""
    return tuple(Link(link(one.endpoint), one.label, blueprint in one.blueprints) for one in places)
