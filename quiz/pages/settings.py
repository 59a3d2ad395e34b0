"""Settings: the cylinder form, the usual distance, the level, the theme, a sitting's length and the clinic's norms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.errors import CaseError
from cases.kinds import Distance
from cases.norms import NORMS
from quiz import people
from quiz.pages import visit
from quiz.settings import LENGTHS, BadSetting, LearnerSettings, read_day, read_norm, write_norm

pages = Blueprint("settings", __name__, url_prefix="/settings")

FORMS = (("minus", "minus cylinder"), ("plus", "plus cylinder"))
LEVELS = (
    ("novice", "novice: one step or two at a time"),
    ("competent", "competent: whole results, the distances in common use"),
    ("expert", "expert: every type, odd distances, single degrees"),
)
THEMES = (("auto", "as this computer is set"), ("light", "light: paper"), ("dark", "dark: for a dim room"))


@dataclass(frozen=True)
class NormInput:
    """A clinic's own value, as the form shows it."""

    name: str
    label: str
    text: str
    usual: str
    unit: str
    source: str
    problem: str | None


@dataclass(frozen=True)
class SettingsPage:
    """What the template receives."""

    form: str
    distance: str
    level: str
    theme: str
    sitting: str
    exam_day: str
    norms: tuple[NormInput, ...]
    problems: Mapping[str, str]
    kept: bool
    forms: tuple[tuple[str, str], ...] = FORMS
    levels: tuple[tuple[str, str], ...] = LEVELS
    themes: tuple[tuple[str, str], ...] = THEMES
    lengths: tuple[tuple[str, str], ...] = tuple((one.id, one.label) for one in LENGTHS)


def _page(settings: LearnerSettings, texts: Mapping[str, str], problems: Mapping[str, str], *, kept: bool) -> str:
    page = SettingsPage(
        form=texts.get("form", settings.form),
        distance=texts.get("distance_cm", f"{settings.distance_cm:g}"),
        level=texts.get("level", settings.level),
        theme=texts.get("theme", settings.theme),
        sitting=texts.get("sitting", settings.sitting),
        exam_day=texts.get("exam_day", settings.exam_day),
        norms=tuple(
            NormInput(
                f"norm-{one.id}",
                one.label,
                texts.get(f"norm-{one.id}", write_norm(one, settings.norm(one.id))),
                write_norm(one, one.usual),
                one.unit,
                one.source,
                problems.get(f"norm-{one.id}"),
            )
            for one in NORMS
        ),
        problems=problems,
        kept=kept,
    )
    return render_template("settings.html", page=page)


@pages.get("")
def show() -> str:
    """Show the settings."""
    return _page(people.settings_of(visit.learner()), {}, {}, kept=request.args.get("kept") == "yes")


@pages.post("")
def keep() -> Response:
    """Keep the settings, or say which of them cannot be."""
    learner = visit.learner()
    settings, problems = _read(people.settings_of(learner))
    if settings is None:
        page = _page(people.settings_of(learner), request.form, problems, kept=False)
        return make_response(page, 422)
    people.keep_settings(visit.store(), learner.id, settings)
    return redirect(url_for("settings.show", kept="yes"), 303)


def _read(before: LearnerSettings) -> tuple[LearnerSettings | None, dict[str, str]]:
    form, problems = request.form, dict[str, str]()
    distance, norms = before.distance_cm, dict(before.norms)
    try:
        distance = Distance().read(form.get("distance_cm", f"{distance:g}"))
    except CaseError as error:
        problems["distance_cm"] = str(error)
    exam_day = form.get("exam_day", before.exam_day).strip()
    try:
        _exam_ahead(exam_day, before.exam_day)
    except BadSetting as error:
        problems[error.name] = str(error)
    for one in NORMS:
        name = f"norm-{one.id}"
        if name not in form:
            continue
        try:
            value = read_norm(one, form[name])
            norms.pop(one.id, None)
            if value != one.usual:
                norms[one.id] = value
        except BadSetting as error:
            problems[name] = str(error)
    if problems:
        return None, problems
    try:
        return (
            LearnerSettings(
                form=form.get("form", before.form),
                distance_cm=distance,
                level=form.get("level", before.level),
                theme=form.get("theme", before.theme),
                sitting=form.get("sitting", before.sitting),
                norms=norms,
                exam_day=exam_day,
            ),
            {},
        )
    except BadSetting as error:
        return None, {error.name: str(error)}


def _exam_ahead(given: str, before: str) -> None:
    if given in ("", before):
        return
    if read_day(given) < datetime.fromtimestamp(visit.now(), UTC).date():
        raise BadSetting("exam_day", f"exam day {given}: that day is over; give one that lies ahead, or leave it empty")
