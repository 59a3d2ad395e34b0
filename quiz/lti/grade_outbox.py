"""Grades on their way to platforms (LTI Assignment and Grade Services 2.0).

A grade is due from the transaction in which a run ends. What is sent, and its time stamp, are kept before it is sent:
after a kill in between, the same is sent again under the same stamp, and the platform, which has it, says so.

What platforms do, as seen with a general course platform: a score without a number wipes the grade that was there; a
stamp that is not newer, in whole seconds, is refused (409), and one in the future blocks all that follow; more than the
maximum is taken; a score out of another maximum is scaled.
"""

from __future__ import annotations

import json
import logging
import math
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from urllib.parse import quote, urlsplit, urlunsplit

from cases.procedure.vocabulary import CREDITED
from quiz.classroom import drills
from quiz.classroom.drills import Outcome
from quiz.errors import QuizError
from quiz.lti.fetching import BadUrl, NoAnswer, Reply
from quiz.lti.services import RESULTS, SCORES, Services
from quiz.storage import class_queries, result_queries
from quiz.storage.class_queries import Drill
from quiz.storage.engines.seam import Engine
from quiz.storage.platform import earlier_runs, lti_queries, outcome_queries
from quiz.storage.platform.lti_queries import CourseLink, CourseUser, Registration
from quiz.storage.platform.outcome_queries import DueGrade
from quiz.storage.store import Store

AGAIN_S = (60.0, 300.0, 1800.0, 7200.0, 43200.0)
"""After how many seconds each further try comes; after the last there is none."""
LOOK_S, SWEEP_S = 3.0, 60.0
MOST_AT_ONCE = 200
"""Grades sent before other work has its turn."""
STAMP_STEP_S = 1.0
HELD_S = 60.0
"""Seconds for which one process has a grade to itself: longer than a token, a score and a reading of it may take."""


HELD_BACK = {
    "deleted": "they had a grade for this drill before and deleted those answers since; the grade in the course stands",
    "restored": "a grade was sent after the backup was made that has been put back; the grade in the course stands",
}
"""Why a grade is not sent that would take the place of an earlier one, by what became of the earlier run."""


def is_graded(drill: Drill) -> bool:
    """Say whether a drill has a score out of a number; one of minutes without a least number has none."""
    none: Outcome = drills.outcome(drill, 0, 0)
    return none.asked is not None


def score(store: Store, drill: Drill, learner_id: int) -> tuple[float, float, str] | None:
    """Return a learner's score in a drill: right, of how many, and a sentence; None where there is none."""
    run = class_queries.run_of(store, drill.id, learner_id)
    if run is None:
        return None
    accepted = result_queries.accepted_of(store, learner_id)
    counted = [one for one in store.answers_in(run.id) if not one.late or one.dealt in accepted]
    out = drills.outcome(drill, len(counted), sum(one.verdict in CREDITED for one in counted))
    if not out.asked:
        return None
    words = f"{out.right} of {out.asked} right ({out.per_cent} %)."
    if out.passed is not None:
        reached = "reached" if out.passed else "not reached"
        words += f" Pass mark {out.pass_mark} %: {reached}."
    return float(min(out.right, out.asked)), float(out.asked), words


def service_url(lineitem_url: str, service: str) -> str:
    """Return the address of a service of a line item: its path longer by a part, its query as it was."""
    parts = urlsplit(lineitem_url)
    return urlunsplit(parts._replace(path=f"{parts.path.rstrip('/')}/{service}"))


def time_stamp(at: float) -> str:
    """Write a moment as platforms take it: UTC with milliseconds and Z."""
    return datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def send_next(store: Store, services: Services, *, now: float) -> bool:
    """Send the grade that has been due the longest; False where none is due."""
    due = outcome_queries.next_due(store, now)
    if due is None:
        return False
    with store.writing():
        if not outcome_queries.claim(store, due, now + HELD_S):
            return True  # another process has it, or it fell due again
    link = lti_queries.link_of_id(store, due.link)
    registration = None if link is None else lti_queries.registration_of_course(store, link.context)
    user = None if link is None else _user(store, link, due.learner)
    drill = None if link is None or link.drill is None else class_queries.drill_of_id(store, link.drill)
    if link is None or registration is None or user is None or drill is None or link.lineitem_url is None:
        with store.writing():
            outcome_queries.forget(store, due)
        return True
    earlier = earlier_runs.earlier_run(store, drill.id, due.learner)
    if earlier is not None:
        with store.writing():
            outcome_queries.hold(store, due, HELD_BACK[earlier.why])
        return True
    settled = _settled(store, due, drill, now)
    if settled is None:
        return True
    if registration.state != "active":
        _failed(store, settled, "this platform is turned off here", None)
        return True
    try:
        to = _Recipient(services, registration, link.lineitem_url, user.subject)
        _take(store, to, settled, _post(store, to, settled, now), now)
    except (NoAnswer, BadUrl) as error:
        _failed(store, settled, str(error), _again_at(settled, now))
    return True


@dataclass(frozen=True)
class _Recipient:
    """Where a grade goes: the platform, the column of its grade book and the learner as the platform knows them."""

    services: Services
    registration: Registration
    lineitem_url: str
    subject: str


def _user(store: Store, link: CourseLink, learner_id: int) -> CourseUser | None:
    users = lti_queries.users_of(store, link.context, "learner")
    return next((one for one in users if one.learner == learner_id), None)


def _settled(store: Store, due: DueGrade, drill: Drill, now: float) -> DueGrade | None:
    """Return what is to be sent, kept with its stamp: as it was kept before, where that was done already."""
    if due.given is not None:
        return due
    with store.writing():
        came = score(store, drill, due.learner)
        if came is None:
            outcome_queries.forget(store, due)
            return None
        stamp = now if due.stamp is None else max(now, due.stamp + STAMP_STEP_S)
        given, maximum, comment = came
        settled = replace(due, given=given, maximum=maximum, comment=comment, stamp=stamp)
        outcome_queries.settle(store, settled)
    return settled


def _post(store: Store, to: _Recipient, grade: DueGrade, now: float) -> Reply:
    body = {
        "userId": to.subject,
        "scoreGiven": grade.given,
        "scoreMaximum": grade.maximum,
        "comment": grade.comment,
        "timestamp": time_stamp(grade.stamp or now),
        "activityProgress": "Completed",
        "gradingProgress": "FullyGraded",
    }
    return to.services.call(
        store,
        to.registration,
        SCORES,
        "POST",
        service_url(to.lineitem_url, "scores"),
        headers={"Content-Type": "application/vnd.ims.lis.v1.score+json"},
        body=json.dumps(body).encode(),
        now=now,
    )


def _take(store: Store, to: _Recipient, grade: DueGrade, reply: Reply, now: float) -> None:
    if 200 <= reply.status < 300 or (reply.status == 409 and _is_there(store, to, grade, now)):
        with store.writing():
            outcome_queries.keep_sent(store, grade, now)
    elif reply.status == 409:
        _failed(store, grade, "the platform has a later grade", _again_at(grade, now), restamp=True)
    elif reply.status in (401, 408, 429) or reply.status >= 500:
        _failed(store, grade, f"the platform answered {reply.status}", _again_at(grade, now))
    else:
        refused = f"the platform refused the grade ({reply.status})"
        _failed(store, grade, "; ".join(filter(None, (refused, _REFUSED.get(reply.status)))), None)


NO_COLUMN = "its column was deleted in the course"
_REFUSED = {
    400: "the learner may have left the course there, or be its teacher",
    403: "this app may not send grades there",
    404: NO_COLUMN,
}


def _is_there(store: Store, to: _Recipient, grade: DueGrade, now: float) -> bool:
    """Say whether the platform has this very grade."""
    url = service_url(to.lineitem_url, "results")
    url += f"{'&' if urlsplit(url).query else '?'}user_id={quote(to.subject, safe='')}"
    accept = {"Accept": "application/vnd.ims.lis.v2.resultcontainer+json"}
    reply = to.services.call(store, to.registration, RESULTS, "GET", url, headers=accept, now=now)
    listed = reply.json() if reply.status == 200 else []
    own = [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []
    for one in own:
        has, of = one.get("resultScore"), one.get("resultMaximum")
        if str(one.get("userId")) == to.subject and all(isinstance(each, int | float) for each in (has, of)) and of:
            return math.isclose(has / of, (grade.given or 0.0) / (grade.maximum or 1.0), abs_tol=1e-4)
    return False


def _again_at(grade: DueGrade, now: float) -> float | None:
    return now + AGAIN_S[grade.tries] if grade.tries < len(AGAIN_S) else None


def _failed(store: Store, grade: DueGrade, why: str, next_at: float | None, *, restamp: bool = False) -> None:
    link = lti_queries.link_of_id(store, grade.link)
    course = None if link is None else lti_queries.course_of_id(store, link.context)
    where = f"“{link.title}” in {course.title}" if link and course else f"link {grade.link}"
    logging.getLogger("quiz").warning("a grade of %s was not sent: %s", where, why)
    with store.writing():
        outcome_queries.keep_failed(store, grade, why, next_at, restamp=restamp)


def sweep(store: Store, *, now: float) -> None:
    """Let the grades of runs be sent that nobody will go on with, because their drill is closed."""
    for link in lti_queries.graded_links(store):
        drill = class_queries.drill_of_id(store, link.drill or 0)
        if drill is None:
            continue
        given = class_queries.allowances_in(store, drill.id)
        for run in class_queries.runs_of(store, drill.id):
            if run.ended_at is not None or drill.is_open(now, given.get(run.learner)):
                continue
            kept = outcome_queries.grade(store, link.id, run.learner)
            new = kept is None or (kept.sent_at is not None and (run.last_dealt_at or 0.0) > kept.sent_at)
            if new and _user(store, link, run.learner) is not None:
                with store.writing():
                    outcome_queries.make_due(store, link.id, run.learner, now)


def send_all(store: Store, services: Services, *, now: float) -> int:
    """Send what is due, up to `MOST_AT_ONCE`; return how many were looked at."""
    for number in range(MOST_AT_ONCE):
        if not send_next(store, services, now=now):
            return number
    return MOST_AT_ONCE


def run(
    file: Engine, services: Services, *, clock: Callable[[], float], also: Callable[[Store], None]
) -> threading.Event:
    """Send grades as they fall due, in a thread of its own, until the event that is returned is set.

    also: more that is done in that thread, with a connection to the data file.
    """
    stop = threading.Event()

    def work() -> None:
        swept = 0.0
        while not stop.wait(LOOK_S):
            try:
                with closing(Store(file)) as store:
                    if not lti_queries.registrations(store):
                        continue
                    also(store)
                    if clock() - swept > SWEEP_S:
                        swept = clock()
                        sweep(store, now=swept)
                    send_all(store, services, now=clock())
            except (QuizError, OSError) as error:
                logging.getLogger("quiz").error("grades wait: %s", error)  # noqa: TRY400 - one line says it
            except Exception:  # a fault of ours with one grade must not end the sending of all
                logging.getLogger("quiz").exception("while sending grades")

    threading.Thread(target=work, daemon=True, name="grades").start()
    return stop
