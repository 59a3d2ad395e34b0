"""A preceptor's drills: set in one short form, opened, closed, copied, changed; who did what in each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum import case_list
from cases.curriculum.case_list import CaseList
from cases.errors import CaseError
from cases.patients.population import EUROPE
from cases.procedure.settings import Settings
from quiz.classroom import classes, drills, on_paper, roster
from quiz.classroom.drills import FEEDBACK, PLAN, Audience, BadPlan, NotNow, NotReadable, joined_after
from quiz.exports import moodle_xml
from quiz.exports.carried import anything, left_out_lines, sorted_out
from quiz.exports.numeric_fields import Questions
from quiz.learning import model
from quiz.practice.forms import BadText, Moment, written
from quiz.practice.settings import REGIONS_SAID
from quiz.practice.titles import slip_at_step, type_title
from quiz.storage import class_queries, projection, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.classroom import own_case_queries, paper_queries
from quiz.storage.classroom.paper_queries import PaperRun
from quiz.storage.platform import earlier_runs, lti_queries
from quiz.storage.result_queries import LearnerSum
from quiz.storage.roster_queries import Member
from quiz.storage.store import Sitting
from quiz.web import request_context
from quiz.web.classroom.drill_forms import FilledPlan, filled_in, filled_with, form_page, read_plan, read_settled
from quiz.web.classroom.ownership import may_change, own_class, own_drill
from quiz.web.drill_views import (
    allowance_words,
    day,
    day_of,
    deletion_words,
    moment,
    per_cent_words,
    score_words,
    state_words,
)

pages = Blueprint("drills", __name__, url_prefix="/class/<int:class_id>/drill")

# --- setting one -------------------------------------------------------------------------------------------------


@pages.get("/new")
def new(class_id: int) -> Response:
    """Show the form with its usual values; for a learner's standing slips where one is named, for groups or people."""
    what = own_class(class_id)
    number = request.args.get("learner", type=request_context.whole)
    if number is None:
        groups, people, own = (
            frozenset(request.args.getlist(one, type=request_context.whole)) for one in ("group", "person", "own")
        )
        audience = _audience(what, Audience(groups, people))
        return _form(what, FilledPlan(_usual(what), frozenset(), audience=audience, own_cases=tuple(sorted(own))))
    classes.member(request_context.store(), what, number)
    state = projection.states_of(request_context.store(), number).cases
    slips = tuple(model.standing(state, request_context.now()))
    # Without the name: a title stays where the learner may be deleted. Whom it is for stands beside it in the list.
    texts = {**_usual(what), "title": "Recurring mistakes" if slips else ""}
    types = drills.types_for(slips, Settings(level=texts["level"]))
    return _form(what, FilledPlan(texts, frozenset(types), slips, number))


def _usual(what: Class) -> dict[str, str]:
    """Return the form's usual values, with the class's own region."""
    return {**written(PLAN, {}), "region": what.region}


def _form(what: Class, filled: FilledPlan, **more: Any) -> Response:
    number = filled.for_learner
    learner = None if number is None else roster_queries.member_of(request_context.store(), what.id, number)
    page = form_page(what, filled, learner=learner.name if learner else None, **more)
    return make_response(render_template("drill_form.html", page=page), 422 if page.problems else 200)


def _sent(what: Class) -> FilledPlan:
    """Return the form that was sent; whom it names must be of the class."""
    filled = filled_in(request.form)
    if filled.for_learner is not None:
        classes.member(request_context.store(), what, filled.for_learner)
    _audience(what, filled.audience)
    return filled


def _audience(what: Class, given: Audience) -> Audience:
    """See that groups and people are of the class."""
    for group in given.groups:
        roster.group(request_context.store(), what, group)
    for person in given.people:
        classes.member(request_context.store(), what, person)
    return given


@pages.post("")
def make(class_id: int) -> Response:
    """Set a drill as a draft."""
    what, now = own_class(class_id), request_context.now()
    filled = _sent(what)
    try:
        number = drills.make(
            request_context.store(),
            what,
            read_plan(filled, now=now),
            now=now,
            lots=request_context.lots(),
            audience=filled.audience,
        )
    except BadPlan as error:
        return _form(what, filled, problems=error.faults)
    return redirect(url_for("drills.one", class_id=class_id, drill_id=number), 303)


# --- one drill ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class RunRow:
    """One learner's run."""

    learner: int
    name: str
    answered: int
    right: int
    score: str
    seconds: str
    state: str
    late: int
    """Answers that came after the time: counted nowhere else here."""
    joined_after: str
    """The day on which they joined, if that was after the drill had opened."""


@dataclass(frozen=True)
class Barred:
    """A learner who has to be let into a drill that counts: they joined after it opened, or had begun it before."""

    learner: int
    name: str
    joined: str
    """The day on which they joined."""
    deleted: str = ""
    """The day on which their earlier run was deleted; "" where there was none."""


@dataclass(frozen=True)
class Package:
    """Questions for another platform in one format."""

    kind: str
    cases: int
    left_out: tuple[str, ...]
    """A sentence for each reason for which cases are left out."""


@dataclass(frozen=True)
class DrillPage:
    """What the page of one drill receives."""

    class_id: int
    class_name: str
    id: int
    title: str
    state: str
    words: str
    facts: tuple[tuple[str, str], ...]
    notes: str
    courses: tuple[str, ...]
    """Courses of a platform that have a link to it."""
    begun: bool
    runs: tuple[RunRow, ...]
    not_begun: tuple[str, ...]
    barred: tuple[Barred, ...]
    deletions: tuple[str, ...]
    digest: str | None
    """Of the cases that are printed; None where this version cannot print them, and `unprintable` says why."""
    versions: tuple[tuple[str, str], ...]
    """Orders of the same cases, each with its digest."""
    unprintable: str
    packages: tuple[Package, ...]
    """The formats that another platform takes questions in, and what each cannot mark as the app does."""
    on_paper: int
    """How many cases can be printed."""
    at_the_bench: int
    """How many cannot."""
    same: bool
    """Whether all learners get the cases that are printed."""
    to_type_in: bool
    """Whether answers from paper can be typed in."""
    may: bool
    """Whether this preceptor may change anything."""
    to_start: bool
    """Whether it waits for its preceptor to start it for all."""
    passed: bool
    """Whether its time to close has passed, so that opening it again asks for another."""
    late: int
    """How many answers came after the time, whatever was decided about them."""
    allowances: tuple[str, ...]
    """What single learners have beyond the others, in words."""
    problem: str | None = None
    problem_at: str = ""


@pages.get("/<int:drill_id>")
def one(class_id: int, drill_id: int) -> Response:
    """Show a drill: what it is, how it stands, who did what in it."""
    return _drill(*own_drill(class_id, drill_id))


def _earlier_runs(drill: Drill, learners: Iterable[int]) -> dict[int, str]:
    """Return the learners who had begun a drill that counts before they were deleted, each with that day."""
    if not drill.counts:
        return {}
    store = request_context.store()
    found = {one: earlier_runs.earlier_run(store, drill.id, one) for one in learners}
    return {one: day(date.fromisoformat(had.on_day)) for one, had in found.items() if had is not None}


def _drill(what: Class, drill: Drill, status: int = 200, problem: str | None = None, at: str = "") -> Response:
    store, now = request_context.store(), request_context.now()
    members = drills.members_for(store, drill, roster_queries.members_of(store, what.id))
    given = class_queries.allowances_in(store, drill.id)
    runs = {run.learner: run for run in class_queries.runs_of(store, drill.id)}
    sums = {one.learner: one for one in result_queries.learner_sums(store, what.id, "all", drill=drill.id)}
    bench = drills.at_the_bench(store, drill)
    late = result_queries.late_answers(store, drill.id)
    paper = paper_queries.runs_in(store, drill.id)
    opened_at = drill.open_from or class_queries.first_begun(store, drill.id)
    after = {one.learner: day_of(one.joined_at) for one in members if joined_after(opened_at, one.joined_at)}
    let_in = class_queries.were_let_in(store, drill.id)
    barred = {number for number in after if drill.counts and number not in runs and number not in let_in}
    earlier = _earlier_runs(drill, [one.learner for one in members if one.learner not in runs])
    barred |= earlier.keys()
    page = DrillPage(
        class_id=what.id,
        class_name=what.name,
        id=drill.id,
        title=drill.title,
        state="open" if drill.state == "open" and (drill.closes_at or now + 1) > now else drill.state,
        courses=tuple(lti_queries.courses_with_drill(store, what.id, drill.id)),
        may=may_change(what),
        late=result_queries.count_late(store, drill.id),
        to_start=drill.awaited(now) and drill.opens_at is None,
        passed=drill.closes_at is not None and drill.closes_at <= now,
        allowances=tuple(
            f"{one.name}: {allowance_words(given[one.learner])}" for one in members if one.learner in given
        ),
        problem_at=at,
        words=state_words(drill, now),
        facts=tuple(_facts(drill)),
        notes=drill.notes,
        begun=bool(runs),
        runs=tuple(
            _run(
                drill,
                one,
                runs[one.learner],
                sums.get(one.learner),
                drill.is_open(now, given.get(one.learner)),
                late=late,
                after=after,
                paper=paper.get(one.learner),
            )
            for one in members
            if one.learner in runs
        ),
        not_begun=tuple(
            f"{one.name} (joined after it opened, on {after[one.learner]})" if one.learner in after else one.name
            for one in members
            if one.learner not in runs and one.learner not in barred
        ),
        barred=tuple(
            Barred(one.learner, one.name, after.get(one.learner, ""), earlier.get(one.learner, ""))
            for one in members
            if one.learner in barred
        ),
        deletions=tuple(map(deletion_words, class_queries.deletions_in(store, drill.id))),
        **_paper(drill, drills.places_on_paper(drill) - bench),
        on_paper=drills.places_on_paper(drill) - bench,
        at_the_bench=bench,
        same=drill.same,
        to_type_in=not on_paper.why_not(store, drill),
        problem=problem,
    )
    return make_response(render_template("drill.html", page=page), status)


def _paper(drill: Drill, printed: int) -> dict[str, Any]:
    """Return what the page says of a drill's worksheet and packages."""
    try:
        listed = drills.cases_on_paper(request_context.store(), drill)
    except (CaseError, NotReadable) as error:
        return {"digest": None, "versions": (), "unprintable": str(error), "packages": ()}
    packages = tuple(_package(listed, kind, check) for kind, check in PACKAGES) if printed else ()
    versions = tuple((one, case_list.in_version(listed, one).digest) for one in case_list.VERSIONS)
    return {"digest": listed.digest, "versions": versions, "unprintable": "", "packages": packages}


PACKAGES = (("QTI", anything), ("Moodle XML", moodle_xml.check))


def _package(listed: CaseList, kind: str, check: Callable[[Questions], None]) -> Package:
    found, left_out = sorted_out(listed.cases, check)
    return Package(kind, len(found), left_out_lines(left_out))


def _run(
    drill: Drill,
    who: Member,
    run: Sitting,
    found: LearnerSum | None,
    is_open: bool,
    *,
    late: Mapping[int, int],
    after: Mapping[int, str],
    paper: PaperRun | None,
) -> RunRow:
    answered, right = (found.answered, found.right) if found else (0, 0)
    came = drills.outcome(drill, answered, right)
    unfinished = "under way" if is_open else "not finished when it closed"
    state = "finished" if run.ended_at is not None else unfinished
    if came.passed is not None and run.ended_at is not None:
        state += ", passed" if came.passed else ", not passed"
    if paper is not None:
        state += f", from paper, typed in by {paper.preceptor}"
    mean = found.mean_seconds if found else None
    return RunRow(
        learner=who.learner,
        name=who.name,
        answered=answered,
        right=right,
        score=score_words(drill, came) if came.per_cent is None else per_cent_words(came),
        seconds="not known" if mean is None else f"{mean:.0f} s",
        state=state,
        late=late.get(who.learner, 0),
        joined_after=after.get(who.learner, ""),
    )


def _facts(drill: Drill) -> list[tuple[str, str]]:
    store = request_context.store()
    reached = len(drill.types) if drill.cases is None else drill.cases - len(drill.own_cases)
    own = own_case_queries.cases_numbered(store, drill.own_cases)
    facts = [("Own cases", "; ".join(f"{one.title} ({type_title(one.type)})" for one in own))] if own else []
    if drill.types[:reached]:
        facts.append(("Cases of", "; ".join(map(type_title, drill.types[:reached]))))
    if drill.types[reached:]:
        facts.append(
            ("No case of, there being fewer cases than types", "; ".join(map(type_title, drill.types[reached:])))
        )
    facts += [
        ("Length", drill.length if drill.least is None else f"{drill.length}, at least {drill.least} cases"),
        ("Level", drill.level),
        ("Cylinder form", f"{drill.form} cylinder"),
        ("Distance", f"{drill.distance_cm:g} cm {'in every case' if drill.fixed_distance else 'in two cases of five'}"),
        *([] if drill.region == EUROPE else [("Refractions as in", dict(REGIONS_SAID)[drill.region])]),
        ("Cases", "the same for all" if drill.same else "each learner their own"),
        ("Marks", dict(FEEDBACK)[drill.feedback]),
    ]
    if drill.slips:
        facts.append(("To show", "; ".join(slip_at_step(step, slip) for step, slip in drill.slips)))
    if drill.pass_mark is not None:
        unused = drill.minutes is not None and drill.least is None
        words = "%, not used: the drill sets no least number of cases" if unused else "%"
        facts.append(("Pass mark", f"{drill.pass_mark} {words}"))
    if drill.test:
        beside = ", ".join(drills.AIDS[one] for one in drill.aids)
        facts.append(
            (
                "A test",
                f"learners may also open: {beside}" if beside else "learners can open nothing else until they finish",
            )
        )
    if drill.may_return:
        facts.append(("Returning", "learners may leave a case and return to it later"))
    if drill.shuffled:
        facts.append(("Order", "another one for each learner"))
    if drill.together:
        at = "when you start it" if drill.starts_at is None else moment(drill.starts_at)
        facts.append(("Start", f"the same for all: {at}"))
    if drill.counts:
        late = "a learner who joins the class after it opens begins only when you let them in"
        if lti_queries.courses_of_class(store, drill.class_id):
            late += ". One who comes by a link of the course begins at once, unless they had begun it before"
        facts.append(("Graded", late))
    if drill.opens_at is not None:
        facts.append(("Opens", moment(drill.opens_at)))
    if drill.closes_at is not None:
        facts.append(("Closes", moment(drill.closes_at)))
    if drill.chosen:
        groups = [one.name for one in roster_queries.groups_in_drill(request_context.store(), drill.id)]
        named = roster_queries.people_in_drill(request_context.store(), drill.id)
        members = roster_queries.members_of(request_context.store(), drill.class_id)
        people = [one.name for one in members if one.learner in named]
        facts.append(("For", ", ".join([*groups, *people]) or "nobody any more"))
    if drill.for_learner is not None:
        learner = roster_queries.member_of(request_context.store(), drill.class_id, drill.for_learner)
        facts.append(("For", learner.name if learner else "a learner who has left"))
    return facts


@pages.post("/<int:drill_id>/open")
def open_(class_id: int, drill_id: int) -> Response:
    """Open a drill, or open it again: where its time to close has passed, with the new one that was asked for."""
    (what, drill), form = own_drill(class_id, drill_id), request.form
    try:
        drills.open_(
            request_context.store(),
            drill,
            now=request_context.now(),
            closes_at=_moment(form["closes_at"]) if form.get("closes_at") else None,
            asked="closes_at" in form,
        )
    except (NotNow, BadPlan) as error:
        return _drill(what, drill, 409 if isinstance(error, NotNow) else 422, str(error), "open")
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


def _moment(text: str) -> float:
    """Read a time to close.

    Raises
    ------
    BadPlan
    """
    try:
        return Moment().read(text)
    except BadText as error:
        raise BadPlan({"closes_at": str(error)}) from error


@pages.post("/<int:drill_id>/close")
def close(class_id: int, drill_id: int) -> Response:
    """Close a drill."""
    drills.close(request_context.store(), own_drill(class_id, drill_id)[1], now=request_context.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/start")
def start(class_id: int, drill_id: int) -> Response:
    """Start a drill for all at once."""
    drills.start(request_context.store(), own_drill(class_id, drill_id)[1], now=request_context.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/late")
def decide_late(class_id: int, drill_id: int) -> Response:
    """Let a late answer count, or not."""
    _, drill = own_drill(class_id, drill_id)
    drills.decide_late(
        request_context.store(),
        drill,
        request.form.get("case", ""),
        request_context.preceptor().name,
        counts=request.form.get("counts") == "yes",
        now=request_context.now(),
    )
    return redirect(url_for("results.late", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/let-in")
def let_in(class_id: int, drill_id: int) -> Response:
    """Let a learner into a drill that counts, although they joined after it opened."""
    what, drill = own_drill(class_id, drill_id)
    learner = classes.member(request_context.store(), what, request.form.get("learner", 0, type=request_context.whole))
    drills.let_in(request_context.store(), drill, learner.learner, now=request_context.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/copy")
def copy(class_id: int, drill_id: int) -> Response:
    """Set a drill once more."""
    what, drill = own_drill(class_id, drill_id)
    number = drills.copy(request_context.store(), what, drill, now=request_context.now(), lots=request_context.lots())
    return redirect(url_for("drills.edit", class_id=class_id, drill_id=number), 303)


@pages.post("/<int:drill_id>/remove")
def remove(class_id: int, drill_id: int) -> Response:
    """Remove a drill that nobody has begun."""
    what, drill = own_drill(class_id, drill_id)
    try:
        drills.remove(request_context.store(), drill)
    except NotNow as error:
        return _drill(what, drill, 409, str(error))
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.get("/<int:drill_id>/edit")
def edit(class_id: int, drill_id: int) -> Response:
    """Show the form of a drill: all of it, or once someone has begun it what can still be changed."""
    what, drill = own_drill(class_id, drill_id)
    return _form(what, filled_with(drill), drill_id=drill.id, fixed=_fixed(drill))


def _fixed(drill: Drill) -> tuple[tuple[str, str], ...]:
    """Return what cannot be changed of a drill, for someone has begun it."""
    if not class_queries.is_begun(request_context.store(), drill.id):
        return ()
    changeable = ("Pass mark", "Graded", "Opens", "Closes", "For", "Start")
    return tuple((name, words) for name, words in _facts(drill) if name not in changeable)


@pages.post("/<int:drill_id>/edit")
def keep(class_id: int, drill_id: int) -> Response:
    """Give a drill other values: all that can be changed."""
    what, drill = own_drill(class_id, drill_id)
    filled, now, store = _sent(what), request_context.now(), request_context.store()
    fixed = _fixed(drill)
    try:
        if fixed:
            drills.settle(store, drill, read_settled(filled), now=now, audience=filled.audience)
        else:
            plan = read_plan(filled, now=now, was=drill.closes_at)
            drills.change(store, drill, plan, now=now, audience=filled.audience)
    except BadPlan as error:
        return _form(what, filled, problems=error.faults, drill_id=drill_id, fixed=fixed)
    except NotNow as error:
        return _drill(what, drill, 409, str(error))
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)
