"""What is done with a class as a whole: its preceptors, handing it over, its name, the archive."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.classroom import classes, keeping, preceptors
from quiz.classroom.preceptors import ROLES, UnknownPreceptor
from quiz.exports import own_data
from quiz.practice import learners
from quiz.practice.forms import BadText, Day, Moment
from quiz.practice.names import BadName
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.organisation import school_queries
from quiz.web import request_context
from quiz.web.classroom.ownership import own_class
from quiz.web.confirming import not_ticked, sure
from quiz.web.downloads import download

pages = Blueprint("keeping", __name__, url_prefix="/class/<int:class_id>/keeping")


@pages.get("")
def show(class_id: int) -> Response:
    """Show who looks after a class, and what its owner can do with it."""
    return keeping_page(own_class(class_id, owner=True, archived=True))


def keeping_page(what: Class, code: int = 200, problem: str | None = None, at: str = "") -> Response:
    """Show what can be done with a class, and why something was not done, and where."""
    store = request_context.store()
    teachers = roster_queries.teachers_of(store, what.id)
    page = render_template(
        "keeping.html",
        what=what,
        teachers=teachers,
        others=[one for one in school_queries.preceptors_of_school(store, what.school) if one.id != what.preceptor],
        roles=ROLES,
        problem=problem,
        at=at,
        elsewhere=len(roster_queries.in_other_classes(store, what.id)),
        learners=len(roster_queries.members_of(store, what.id)),
    )
    return make_response(page, code)


def _back(class_id: int) -> Response:
    return redirect(url_for("keeping.show", class_id=class_id), 303)


@pages.post("/name")
def rename(class_id: int) -> Response:
    """Give a class another name."""
    what = own_class(class_id, owner=True)
    try:
        classes.rename(request_context.store(), what, request.form.get("name", ""))
    except BadName as error:
        return keeping_page(what, 422, str(error), "name")
    return _back(class_id)


@pages.post("/teachers")
def keep_teacher(class_id: int) -> Response:
    """Let a preceptor be a co-teacher or a reader, or have no more to do with the class."""
    what, store = own_class(class_id, owner=True), request_context.store()
    by, now = request_context.preceptor().name, request_context.now()
    try:
        who = preceptors.of_its_school(store, what, request.form.get("preceptor", type=request_context.whole))
        if request.form.get("act") == "remove":
            preceptors.take_role(store, what, who, by=by, now=now)
        else:
            preceptors.give_role(store, what, who, request.form.get("role", ""), by=by, now=now)
    except (BadName, UnknownPreceptor) as error:
        return keeping_page(what, 422, str(error), "teachers")
    return _back(class_id)


@pages.post("/hand-over")
def hand_over(class_id: int) -> Response:
    """Give a class to another owner, once the box beside the button is ticked."""
    what, store = own_class(class_id, owner=True), request_context.store()
    if not sure():
        return keeping_page(what, 422, not_ticked("handed over"), "hand-over")
    try:
        to = preceptors.of_its_school(store, what, request.form.get("preceptor", type=request_context.whole))
    except UnknownPreceptor as error:
        return keeping_page(what, 422, str(error), "hand-over")
    stay = request.form.get("stay") == "yes"
    by = request_context.preceptor().name
    preceptors.hand_over(store, what, to, by=by, now=request_context.now(), stay=stay)
    return redirect(url_for("classes.one", class_id=class_id) if stay else url_for("classes.show"), 303)


@pages.get("/retention")
def retention(class_id: int) -> Response:
    """Show the form that deletes old answers."""
    what = own_class(class_id, owner=True, archived=True)
    return make_response(render_template("retention.html", what=what, before="", found=None, problem=None))


@pages.post("/retention")
def retain(class_id: int) -> Response:
    """Show answers given before a date, and delete them when the box beside that button was ticked."""
    what, store = own_class(class_id, owner=True, archived=True), request_context.store()
    typed = request.form.get("before", "")
    try:
        before = Moment().read(Day().read(typed).isoformat())
    except BadText as error:
        page = render_template("retention.html", what=what, before=typed[:20], found=None, problem=str(error))
        return make_response(page, 422)
    if sure():
        keeping.delete_older(store, what, before)
        return redirect(url_for("keeping.retention", class_id=class_id), 303)
    found = keeping.older(store, what, before)
    return make_response(render_template("retention.html", what=what, before=typed, found=found, problem=None))


@pages.get("/learner/<int:learner_id>/everything.jsonl")
def everything(class_id: int, learner_id: int) -> Response:
    """Give all that is kept of one learner, for them or for the person who may lawfully ask."""
    what, store = own_class(class_id, owner=True, archived=True), request_context.store()
    held = classes.member(store, what, learner_id)
    learner = learners.get(store, held.learner)
    return download(own_data.json_lines(store, learner), "application/x-ndjson", f"{held.name}-everything.jsonl")


@pages.post("/archive")
def archive(class_id: int) -> Response:
    """Put a class away, or take it out of the archive."""
    what = own_class(class_id, owner=True, archived=True)
    if request.form.get("act") == "take-out":
        classes.take_out(request_context.store(), what)
        return redirect(url_for("classes.one", class_id=class_id), 303)
    classes.archive(request_context.store(), what, now=request_context.now())
    return redirect(url_for("classes.show"), 303)
