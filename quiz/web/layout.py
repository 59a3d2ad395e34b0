"""What stands round every page: the navigation, who is practising, the theme and the caution line."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from flask import Flask, request

from cases.worksheet import CAUTION
from quiz.practice import learners
from quiz.web import request_context
from quiz.web.links import link


@dataclass(frozen=True)
class Nav:
    """One entry of the navigation."""

    endpoint: str
    label: str


NAV = (
    Nav("desk.show", "Today"),
    Nav("bench.explore", "Bench"),
    Nav("work.show", "Work one out"),
    Nav("recall.show", "Recall"),
    Nav("progress.show", "Progress"),
    Nav("accuracy.show", "Accuracy log"),
    Nav("reference.show", "Reference"),
    Nav("settings.show", "Settings"),
    Nav("classes.show", "Class"),
)


WITHIN = dict.fromkeys(("drills", "trying", "results", "removing", "exports"), "classes") | {
    "drilling": "desk",
    "practise": "desk",
    "worked": "desk",
}
"""Pages that stand under another's entry in the navigation."""


@dataclass(frozen=True)
class Link:
    """One entry of the navigation on this page."""

    url: str
    label: str
    here: bool


@dataclass(frozen=True)
class Frame:
    """What the base template receives."""

    links: tuple[Link, ...]
    learner: str | None
    theme: str
    key: str | None = None
    """Names the learner to scripts, so that what one wrote is never sent for another."""
    caution: str = CAUTION


def set_up(app: Flask) -> None:
    """Hand every template its frame."""
    app.context_processor(_frame)


def _frame() -> dict[str, Any]:
    who = request_context.known_learner()
    links = _links(request.root_path, request.blueprint or "")
    theme = learners.settings_of(who).theme if who else "auto"
    return {"frame": Frame(links, who.name if who else None, theme, f"{who.id}-{who.created_at:.0f}" if who else None)}


@lru_cache(256)
def _links(_root: str, blueprint: str) -> tuple[Link, ...]:
    """Return the navigation as it stands on the pages of a blueprint, served below a root."""
    here = WITHIN.get(blueprint, blueprint)
    return tuple(Link(link(one.endpoint), one.label, one.endpoint.split(".")[0] == here) for one in NAV)
