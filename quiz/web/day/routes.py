"""The table of a clinic day. The server works rows out and keeps none: the browser keeps them (static/js/day.js)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, jsonify, make_response, render_template, request
from werkzeug.wrappers import Response

from cases.optics.vergence import DISTANCE_RULE
from cases.worksheet import CAUTION
from quiz.accuracy.day_table import (
    COLUMNS,
    MOST_EYES,
    BadDayFile,
    DayEye,
    TypedEye,
    day_eyes,
    read_day,
    typed_eye,
    write_day,
)
from quiz.accuracy.importing import BadTable, decode, write_table
from quiz.practice import learners
from quiz.web import request_context
from quiz.web.downloads import download

pages = Blueprint("day", __name__, url_prefix="/day")

LEAST_ROWS = 8
"""Rows that the page shows, empty ones among them."""
SPARE_ROWS = 2
"""Empty rows below the last typed one."""


@dataclass(frozen=True)
class DayPage:
    """What the template receives."""

    eyes: tuple[DayEye, ...]
    on: str
    problem: str
    complete: int
    """Rows that the accuracy log can take."""
    table: str
    """Those rows as the accuracy log reads them."""
    most: int = MOST_EYES
    caution: str = CAUTION
    rule: str = DISTANCE_RULE


@pages.get("")
def show() -> str:
    """Show an empty table; the browser fills in what it kept."""
    return _page([])


@pages.post("")
def fill() -> Response:
    """Work out the rows that were sent, or those of a file; for browsers without scripts, and for files."""
    file = request.files.get("file")
    if not file:
        return make_response(_page(_typed()))
    try:
        return make_response(_page(read_day(decode(file.read()))))
    except (BadDayFile, BadTable) as error:
        return make_response(_page(_typed(), str(error)), 422)


@pages.post("/read")
def read() -> Response:
    """Work out the rows that were sent, as JSON for the page's script."""
    eyes = _eyes(_typed())
    rows = [{"net": one.net, "difference": one.difference, "note": one.note} for one in eyes]
    return jsonify(rows=rows, complete=_complete(eyes), table=_for_log(eyes))


@pages.post("/table.csv")
def export() -> Response:
    """Give the table as a file that can be brought in again."""
    text = write_day(_eyes(_typed()))
    return download([text.encode("utf-8-sig")], "text/csv", f"day-{request_context.today().isoformat()}.csv")


def _page(typed: Sequence[TypedEye], problem: str = "") -> str:
    rows = [*typed, *[TypedEye()] * max(LEAST_ROWS - len(typed), SPARE_ROWS)][:MOST_EYES]
    eyes = _eyes(rows)
    page = DayPage(eyes, request_context.today().isoformat(), problem, _complete(eyes), _for_log(eyes))
    return render_template("day.html", page=page)


def _typed() -> list[TypedEye]:
    """Return the rows of the form, without the empty ones at its end."""
    columns = {name: request.form.getlist(name)[:MOST_EYES] for name in COLUMNS}
    count = max(map(len, columns.values()))
    rows = [typed_eye({name: texts[at] for name, texts in columns.items() if at < len(texts)}) for at in range(count)]
    while rows and rows[-1].blank:
        rows.pop()
    return rows


def _eyes(typed: Sequence[TypedEye]) -> tuple[DayEye, ...]:
    return day_eyes(typed, on=request_context.today(), form=learners.settings_of(request_context.learner()).form)


def _complete(eyes: Sequence[DayEye]) -> int:
    return sum(one.entry is not None for one in eyes)


def _for_log(eyes: Sequence[DayEye]) -> str:
    return write_table([one.entry for one in eyes if one.entry is not None])
