"""The worked example before a new type: read with every line, then with one line left out, then the case alone."""

from __future__ import annotations

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quiz.practice import dealing, worked_examples
from quiz.practice.dealt_cases import Waiting
from quiz.practice.worked_examples import PARTS, Example, NoExample
from quiz.web import request_context
from quiz.web.pictures import picture

pages = Blueprint("worked", __name__, url_prefix="/worked")


def worked_page(dealt_id: str, found: Example, *, typed: str = "", problem: str = "", done: str = "") -> str:
    """Show one part of a worked example; done says how the line that was left out was found."""
    case = found.case
    return render_template(
        "worked.html",
        dealt_id=dealt_id,
        example=found,
        parts=PARTS,
        title=case.type.title,
        found=case.type.found(case.findings),
        question=case.type.question(case.findings),
        picture=picture(case.type.figure(case.findings, "found")),
        typed=typed,
        problem=problem,
        done=done,
    )


@pages.get("/<dealt_id>")
def show(dealt_id: str) -> Response:
    """Lead on to the part that a learner is at."""
    dealing.own(request_context.store(), request_context.learner(), dealt_id)
    return redirect(url_for("practise.show"), 303)


@pages.post("/<dealt_id>")
def go_on(dealt_id: str) -> Response:
    """Go on from the example that was read, check the line that was left out, or pass over the rest."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    dealt = dealing.own(store, learner, dealt_id)
    found = None
    if dealt.closed_at is None:
        found = worked_examples.wanted(store, learner, Waiting(dealt, dealing.case_of(dealt)), now=now)
    if found is None:
        raise NoExample
    if request.form.get("skip"):
        worked_examples.passed(store, learner, dealt, PARTS - 1, now=now)
    elif found.blank is None:
        worked_examples.passed(store, learner, dealt, found.part, now=now)
    else:
        typed = request.form.get("line", "")[:40]
        problem = "" if request.form.get("show") else worked_examples.checked(found, typed)
        if problem:
            return make_response(worked_page(dealt_id, found, typed=typed, problem=problem), 422)
        worked_examples.passed(store, learner, dealt, found.part, now=now)
        whole = worked_examples.filled(found)
        done = "Here is that line." if request.form.get("show") else "That line is right."
        return make_response(worked_page(dealt_id, whole, done=done))
    return redirect(url_for("practise.show"), 303)


def before(one: Waiting) -> str | None:
    """Return the page of the worked example that comes before a case; None where the case is asked at once."""
    found = worked_examples.wanted(request_context.store(), request_context.learner(), one, now=request_context.now())
    return None if found is None else worked_page(one.dealt.id, found)
