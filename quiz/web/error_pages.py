"""Pages for what went wrong: what was asked, why it is not available, and the way on."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, Response, current_app, jsonify, make_response, render_template
from werkzeug.exceptions import HTTPException, SecurityError

from cases.curriculum.case_list import NotTheseCases
from cases.errors import CaseError
from cases.recall.prompts import UnknownPrompt
from quiz.classroom.classes import Archived, NotYours, RosterClosed, UnknownClass, UnknownMember
from quiz.classroom.drills import NotNow, NotReadable, UnknownDrill
from quiz.classroom.own_cases import UnknownOwnCase
from quiz.classroom.preceptors import NotAdministrator, UnknownPreceptor
from quiz.classroom.roster import UnknownGroup
from quiz.classroom.schools import UnknownSchool
from quiz.classroom.set_patients import UnknownSet
from quiz.errors import QuizError
from quiz.lti.courses import NotOfCourse
from quiz.lti.registering import UnknownRegistration
from quiz.practice.dealt_cases import UnknownCase
from quiz.practice.examining.examinations import UnknownExamination
from quiz.practice.learners import UnknownLearner
from quiz.practice.recall_prompts import UnknownRecall
from quiz.practice.sittings import UnknownSitting
from quiz.practice.what_to_practise import UnknownChoice
from quiz.practice.worked_examples import NoExample
from quiz.storage.datafile import Away, Busy, Damaged, NotKept
from quiz.web import layout, request_context
from quiz.web.csrf import ByAnotherServer

NOT_FOUND = (
    UnknownCase,
    UnknownSitting,
    UnknownLearner,
    UnknownPrompt,
    UnknownRecall,
    UnknownClass,
    UnknownMember,
    UnknownDrill,
    UnknownChoice,
    UnknownExamination,
    NoExample,
    UnknownGroup,
    UnknownPreceptor,
    UnknownOwnCase,
    UnknownSet,
    NotOfCourse,
    UnknownRegistration,
    UnknownSchool,
)
NOT_AS_IT_WAS = (NotTheseCases, NotReadable, Archived, RosterClosed, NotNow)
NOT_THEIRS = (NotYours, NotAdministrator)


@dataclass(frozen=True)
class Trouble:
    """What the error page receives."""

    code: int
    title: str
    why: str
    way_on: str


_TITLES = {
    400: ("This request cannot be read", "Go back, and send the form from its page."),
    403: ("Not from here", "Open the page in this window and send the form again."),
    404: ("Nothing here", "Today goes on with your case; Look up finds a page or a term."),
    405: ("Not in this way", "Open the page from a link, and use the form on it."),
    413: ("Too long", "An answer is a line, not a file: shorten it."),
    500: (
        "A fault of ours",
        "What you had answered is kept. Go back to Today; if it happens again, tell the person who set this up.",
    ),
    507: (
        "This could not be kept",
        "Tell the person who looks after this computer. Then go back: what you typed is still there. Send it again.",
    ),
    503: ("The data file is busy", "Wait a moment and send the page again; nothing of what was marked is lost."),
}
_FOR_PRECEPTORS = {
    404: "Your classes are under Class, the drills of a class under Drills.",
    500: "What was saved before is kept. Go back to Class; if it happens again, tell the person who runs the server.",
}
"""Where a preceptor goes on, who has no page of the day."""
_AWAY = (
    "The database is away",
    "What was marked is saved. Wait a moment, then go back and send the page again; it is counted once.",
)
_TELL = (
    "Tell the person who looks after this computer. A backup can be put in its place; nothing is written until then."
)


def set_up(app: Flask) -> None:
    """Map causes to pages."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(CaseError, _ours)
    app.register_error_handler(QuizError, _ours)
    app.register_error_handler(Exception, _fault)


def _http(error: HTTPException) -> Response | HTTPException:
    if isinstance(error, SecurityError):
        # A name that is not ours: no page of ours is to be read under it, nor can links be written.
        return Response(
            "This app does not answer to that host name. Open the address that it printed.\n",
            400,
            mimetype="text/plain",
        )
    if error.code is None or error.code < 400:
        return error
    why = {
        404: "There is no page of that address.",
        405: "The page is there, but it does not take this kind of request.",
    }.get(error.code, error.description or "")
    if isinstance(error, ByAnotherServer):
        request_context.forget()
        return _page(error.code, why, (error.title, error.way_on))
    try:
        return _page(error.code, why)
    except (Away, Busy, Damaged, NotKept) as met:
        # Even a page that says that there is none asks the data file who reads it.
        return _ours(met)


def _ours(error: QuizError | CaseError) -> Response:
    if isinstance(error, Busy):
        request_context.forget()
        return _page(503, "Another program is writing to the data file.")
    if isinstance(error, Away):
        request_context.forget()
        current_app.logger.error("%s", error)
        return _page(503, "The database cannot be reached.", _AWAY)
    if isinstance(error, Damaged):
        request_context.forget()
        current_app.logger.error("%s", error)
        way_out = _TELL if request_context.beyond() else f"{error.way_out[:1].upper()}{error.way_out[1:]}."
        return _page(503, error.what, ("The data file is damaged", way_out))
    if isinstance(error, NotKept):
        request_context.forget()
        return _page(507, f"The data file could not be written: {error.why}. Nothing that was kept before is lost.")
    if isinstance(error, NOT_THEIRS):
        return _page(403, str(error), ("Not for you to do", "Go back: nothing was changed."))
    code = 404 if isinstance(error, NOT_FOUND) else 409 if isinstance(error, NOT_AS_IT_WAS) else 400
    return _page(code, str(error))


def _fault(error: Exception) -> Response:
    current_app.logger.error("while answering a request", exc_info=error)
    request_context.forget()
    return _page(500, "Something went wrong that should not have.")


def _page(code: int, why: str, titled: tuple[str, str] | None = None) -> Response:
    title, way_on = titled or _TITLES.get(code, ("This cannot be done", "Go back and try another way."))
    for_preceptor = layout.for_a_preceptor()
    if titled is None and code in _FOR_PRECEPTORS and for_preceptor:
        way_on = _FOR_PRECEPTORS[code]
    trouble = Trouble(code, title, _sentence(why), way_on)
    if request_context.wants_json():
        return make_response(jsonify(error=trouble.why, way_on=trouble.way_on), code)
    return make_response(render_template("error.html", trouble=trouble, for_preceptor=for_preceptor), code)


def _sentence(words: str) -> str:
    words = words[:1].upper() + words[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."
