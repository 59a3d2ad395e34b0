"""Look up: one page from which everything that is not practice is found."""

from __future__ import annotations

from flask import Blueprint, render_template

from cases.recall.prompts import all_groups

pages = Blueprint("look_up", __name__, url_prefix="/look-up")


@pages.get("")
def show() -> str:
    """Show the lists of what can be worked out, read and recalled."""
    return render_template("look_up.html", groups=all_groups())
