"""What can be taken away: worksheets, answers as CSV and as xAPI statements, questions as QTI and Moodle XML."""

from __future__ import annotations

from collections.abc import Iterable

from flask import Blueprint, Response, request
from werkzeug.exceptions import NotFound

from cases import worksheet as sheets
from cases.curriculum import case_list
from quiz.classroom import drills
from quiz.exports import answers as sharing
from quiz.exports import doubts_file, moodle_xml, qti
from quiz.exports import score_sheet as sheet_of_scores
from quiz.storage import doubt_queries, result_queries, roster_queries
from quiz.storage.class_queries import Drill
from quiz.storage.result_queries import EVERYTHING
from quiz.storage.store import Answer
from quiz.web import request_context
from quiz.web.classroom.ownership import own_class, own_drill
from quiz.web.downloads import download
from quiz.web.printed_sheets import on_paper

pages = Blueprint("exports", __name__, url_prefix="/class/<int:class_id>")


def _answers(class_id: int, drill: Drill | None) -> Iterable[Answer]:
    store = request_context.store()
    members = [one.learner for one in roster_queries.members_of(store, class_id)]
    return result_queries.answers_for_export(store, members, drill=drill.id if drill else EVERYTHING)


def _of_drill(class_id: int) -> tuple[str, Drill | None]:
    what = own_class(class_id)
    number = request.args.get("drill", type=request_context.whole)
    drill = None if number is None else drills.own(request_context.store(), what, number)
    return drill.title if drill else what.name, drill


@pages.get("/answers.csv")
def csv(class_id: int) -> Response:
    """Give every answer of a class, or of one drill, as CSV."""
    name, drill = _of_drill(class_id)
    answers = _answers(class_id, drill)
    return download(
        sharing.answers_csv(request_context.store(), (class_id,), answers), "text/csv", f"{name}-answers.csv"
    )


@pages.get("/scores.csv")
def score_sheet(class_id: int) -> Response:
    """Give the scores of a class as CSV, a learner a row and a drill a column."""
    what = own_class(class_id)
    lines = sheet_of_scores.score_sheet(request_context.store(), what, now=request_context.now())
    return download(lines, "text/csv", f"{what.name}-scores.csv")


@pages.get("/statements.jsonl")
def statements(class_id: int) -> Response:
    """Give every answer of a class, or of one drill, as xAPI statements."""
    name, drill = _of_drill(class_id)
    answers = _answers(class_id, drill)
    text = sharing.statements(request_context.store(), answers)
    return download(text, "application/x-ndjson", f"{name}-statements.jsonl")


@pages.get("/doubts.jsonl")
def doubts(class_id: int) -> Response:
    """Give the cases that a class's learners reported as doubtful, under nobody's name."""
    what, store = own_class(class_id), request_context.store()
    members = [one.learner for one in roster_queries.members_of(store, class_id)]
    text = doubts_file.doubts_jsonl(store, doubt_queries.doubts_of(store, members))
    return download(text, "application/x-ndjson", f"{what.name}-doubts.jsonl")


@pages.get("/drill/<int:drill_id>/sheet")
def sheet(class_id: int, drill_id: int) -> Response:
    """Give a drill's cases on paper, with the key or without; refuse a digest that is not theirs."""
    _, drill = own_drill(class_id, drill_id)
    args = request.args
    version = args.get("version", "") if args.get("version") in case_list.VERSIONS else ""
    listed = case_list.in_version(drills.cases_on_paper(request_context.store(), drill), version)
    if "digest" in args:
        case_list.check_digest(args["digest"], listed.digest)
    kind = args.get("key")
    page = sheets.worksheet(listed, key=kind == "yes", brief=kind == "brief", version=version, title=drill.title)
    return on_paper(page)


@pages.get("/drill/<int:drill_id>/cases.json")
def cases(class_id: int, drill_id: int) -> Response:
    """Give a drill's cases as the file from which `python -m cases sheet --cases` prints."""
    _, drill = own_drill(class_id, drill_id)
    listed = drills.cases_on_paper(request_context.store(), drill)
    return download([case_list.write(listed)], "application/json", f"{drill.title}-cases.json")


@pages.get("/drill/<int:drill_id>/qti-<version>.zip")
def items(class_id: int, drill_id: int, version: str) -> Response:
    """Give a drill's cases as QTI items in one package."""
    _, drill = own_drill(class_id, drill_id)
    if version not in qti.VERSIONS:
        raise NotFound
    package = qti.package(drill.title, drills.cases_on_paper(request_context.store(), drill), version)
    return download([package], "application/zip", f"{drill.title}-qti-{version}.zip")


@pages.get("/drill/<int:drill_id>/moodle.xml")
def questions(class_id: int, drill_id: int) -> Response:
    """Give a drill's cases as one file of questions in Moodle XML."""
    _, drill = own_drill(class_id, drill_id)
    file = moodle_xml.moodle_xml(drill.title, drills.cases_on_paper(request_context.store(), drill))
    return download([file], "application/xml", f"{drill.title}-moodle.xml")
