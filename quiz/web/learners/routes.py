"""Who is practising: pick a name, add one, change one, remove one."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.practice import learners as people
from quiz.practice.names import BadName
from quiz.storage.store import Learner
from quiz.web import request_context
from quiz.web.confirming import not_ticked, sure

pages = Blueprint("people", __name__, url_prefix="/people")


@pages.before_request
def _only_here() -> Response | None:
    """Let nobody pick a name who came in through the door: they are who they are."""
    away = request_context.beyond() or request_context.joined_learner() is not None
    return redirect(url_for("classes.show"), 303) if away else None


@dataclass(frozen=True)
class Person:
    """One learner in the list."""

    id: int
    name: str
    here: bool
    answers: int


@dataclass(frozen=True)
class PeoplePage:
    """What the template receives."""

    people: tuple[Person, ...]
    here: Person | None
    name_problem: str | None = None
    rename_problem: str | None = None
    remove_problem: str | None = None
    typed: str = ""


def _page(**more: str | None) -> str:
    known = request_context.known_learner()
    everyone = tuple(
        Person(
            one.id, one.name, known is not None and one.id == known.id, request_context.store().count_answers(one.id)
        )
        for one in request_context.store().local_learners()
    )
    here = next((one for one in everyone if one.here), None)
    return render_template("people.html", page=PeoplePage(everyone, here, **more))  # type: ignore[arg-type]


@pages.get("")
def show() -> str:
    """List everyone."""
    if not request_context.store().local_learners():
        request_context.learner()
    return _page()


@pages.post("")
def add() -> Response:
    """Add a name, and be that person."""
    typed = request.form.get("name", "")
    try:
        who = people.add(request_context.store(), typed, now=request_context.now())
    except BadName as error:
        return make_response(_page(name_problem=str(error), typed=typed), 422)
    return _be(who)


def _be(who: Learner) -> Response:
    """Let this browser be another person, who has nobody else's rights: a preceptor who was signed in is no more."""
    request_context.sign_out()
    request_context.be(who)
    return redirect(url_for("desk.show"), 303)


@pages.post("/<int:learner_id>/pick")
def pick(learner_id: int) -> Response:
    """Be another person."""
    return _be(people.local(request_context.store(), learner_id))


@pages.post("/rename")
def rename() -> Response:
    """Change one's own name."""
    typed = request.form.get("name", "")
    try:
        people.rename(request_context.store(), request_context.learner().id, typed)
    except BadName as error:
        return make_response(_page(rename_problem=str(error), typed=typed), 422)
    return redirect(url_for("people.show"), 303)


@pages.post("/remove")
def remove() -> Response:
    """Remove oneself with every answer."""
    who = request_context.learner()
    if not sure():
        return make_response(_page(remove_problem=not_ticked()), 422)
    people.remove(request_context.store(), who.id, now=request_context.now())
    request_context.be_nobody()
    return redirect(url_for("people.show"), 303)
