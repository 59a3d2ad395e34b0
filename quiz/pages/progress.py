"""Progress: how firmly each step is held, what fades when, which slips stand, and one's own data to take or delete."""

from __future__ import annotations

from flask import Blueprint, render_template

from quiz import folding, schedule
from quiz.catalogue import catalogue
from quiz.pages import visit

pages = Blueprint("progress", __name__, url_prefix="/progress")


@pages.get("")
def show() -> str:
    """Show how every step and type that was met stands, what fades first coming first."""
    states = folding.states_of(visit.store(), visit.learner().id)
    rows = schedule.forward_look(states.cases, catalogue(), visit.now())
    return render_template("progress.html", rows=rows)
