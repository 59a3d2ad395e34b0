"""Settings: every one that quiz/practice/settings.py describes, shown and kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.practice import learners
from quiz.practice.forms import Shown, shown, written
from quiz.practice.settings import ENTRIES, SETTINGS, BadSetting, read_settings
from quiz.web import request_context

pages = Blueprint("settings", __name__, url_prefix="/settings")


@dataclass(frozen=True)
class SettingsPage:
    """What the template receives."""

    entries: tuple[tuple[str, tuple[Shown, ...]], ...]
    """Names of entries, each with its settings."""
    faulty: bool
    kept: bool


def _page(texts: Mapping[str, str], faults: Mapping[str, str], *, kept: bool) -> str:
    form = shown(SETTINGS, texts, faults)
    entries = tuple((name, tuple(one for one in form.values() if one.input.entry == name)) for name in ENTRIES)
    return render_template("settings.html", page=SettingsPage(entries, bool(faults), kept))


@pages.get("")
def show() -> str:
    """Show the settings."""
    texts = written(SETTINGS, learners.settings_of(request_context.learner()))
    return _page(texts, {}, kept=request.args.get("kept") == "yes")


@pages.post("")
def keep() -> Response:
    """Keep the settings, or say which of them cannot be."""
    learner = request_context.learner()
    before = learners.settings_of(learner)
    try:
        learners.keep_settings(
            request_context.store(), learner.id, read_settings(before, request.form, today=request_context.today())
        )
    except BadSetting as error:
        return make_response(_page({**written(SETTINGS, before), **request.form}, error.faults, kept=False), 422)
    return redirect(url_for("settings.show", kept="yes"), 303)
