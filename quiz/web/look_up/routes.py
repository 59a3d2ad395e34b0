"""Look up: one field that reads findings, a term or a prompt, and below it the lists."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from cases.recall.prompts import all_groups
from quiz.practice import learners
from quiz.practice.settings import LearnerSettings
from quiz.web import request_context
from quiz.web.look_up.matches import CHAPTERS, matches
from quiz.web.work.line_view import line_view

pages = Blueprint("look_up", __name__, url_prefix="/look-up")


@pages.get("")
def show() -> str:
    """Show what the line in the address names, then the lists of what can be worked out, read and recalled."""
    who = request_context.known_learner()
    form = (learners.settings_of(who) if who else LearnerSettings()).form
    text = request.args.get("line", "")
    line = line_view(text, form)
    found = matches(text) if text and not line.readings else None
    return render_template("look_up.html", line=line, found=found, chapters=CHAPTERS, groups=all_groups())
