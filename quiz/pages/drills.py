"""A preceptor's drills: set in one short form, opened, closed, copied, changed; who did what in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.casetype import Settings
from cases.errors import CaseError
from quiz import class_store, classes, drill_runs, drills, folding, memory, qti, results
from quiz.class_store import Class, Drill, Member
from quiz.drills import BadPlan, NotNow, NotReadable
from quiz.pages import visit
from quiz.pages.classes import own_class
from quiz.pages.drill_forms import FEEDBACK, USUAL, Filled, filled_in, filled_with, form_page, read_plan
from quiz.pages.drill_views import moment, state_words
from quiz.results import LearnerSum
from quiz.spellings import LEFT_OUT
from quiz.store import Sitting
from quiz.titles import slip_at_step, type_title

pages = Blueprint("drills", __name__, url_prefix="/class/<int:class_id>/drill")

# --- setting one -------------------------------------------------------------------------------------------------


@pages.get("/new")
def new(class_id: int) -> Response:
    """Show the form with its usual values; for a learner's standing slips where one is named."""
    what = own_class(class_id)
    number = request.args.get("learner", type=visit.whole)
    if number is None:
        return _form(what, Filled(USUAL, frozenset()))
    learner = classes.member(visit.store(), what, number)
    state = folding.states_of(visit.store(), learner.id).cases
    slips = tuple(memory.standing(state, visit.now()))
    texts = {**USUAL, "title": f"{learner.name}: what slips" if slips else ""}
    types = drills.types_for(slips, Settings(level=texts["level"]))
    return _form(what, Filled(texts, frozenset(types), slips, number))


def _form(what: Class, filled: Filled, **more: Any) -> Response:
    learner = None if filled.for_learner is None else visit.store().learner(filled.for_learner)
    page = form_page(what, filled, learner=learner.name if learner else None, **more)
    return make_response(render_template("drill_form.html", page=page), 422 if page.problems else 200)


def _sent(what: Class) -> Filled:
    """Return the form that was sent; a learner whom it names must be of the class."""
    filled = filled_in(request.form)
    if filled.for_learner is not None:
        classes.member(visit.store(), what, filled.for_learner)
    return filled


@pages.post("")
def make(class_id: int) -> Response:
    """Set a drill as a draft."""
    what, now = own_class(class_id), visit.now()
    filled = _sent(what)
    try:
        number = drills.make(visit.store(), what, read_plan(filled, now=now), now=now, lots=visit.lots())
    except BadPlan as error:
        return _form(what, filled, problems=error.faults)
    return redirect(url_for("drills.one", class_id=class_id, drill_id=number), 303)


# --- one drill ---------------------------------------------------------------------------------------------------


def own_drill(class_id: int, drill_id: int) -> tuple[Class, Drill]:
    """Return a drill, and its class, of the preceptor who is asking."""
    what = own_class(class_id)
    return what, drills.own(visit.store(), what, drill_id)


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
    begun: bool
    runs: tuple[RunRow, ...]
    not_begun: tuple[str, ...]
    digest: str | None
    """Of the cases that are printed; None where this version cannot print them, and `unprintable` says why."""
    unprintable: str
    not_in_packages: str
    """Which cases a package leaves out because no list holds their answers, in words; empty where none is."""
    left_out_because: str
    packages: bool
    """Whether there is any case for a package."""
    on_paper: int
    """How many cases can be printed."""
    at_the_bench: int
    """How many cannot."""
    same: bool
    """Whether all learners get the cases that are printed."""
    problem: str | None = None


@pages.get("/<int:drill_id>")
def one(class_id: int, drill_id: int) -> Response:
    """Show a drill: what it is, how it stands, who did what in it."""
    return _drill(*own_drill(class_id, drill_id))


def _drill(what: Class, drill: Drill, status: int = 200, problem: str | None = None) -> Response:
    store, now = visit.store(), visit.now()
    members = [one for one in class_store.members_of(store, what.id) if drill.for_learner in (None, one.learner)]
    runs = {run.learner: run for run in class_store.runs_of(store, drill.id)}
    sums = {one.learner: one for one in results.learner_sums(store, what.id, "all", drill=drill.id)}
    bench = drills.at_the_bench(drill)
    late = results.late_answers(store, drill.id, drill.closes_at)
    page = DrillPage(
        class_id=what.id,
        class_name=what.name,
        id=drill.id,
        title=drill.title,
        state="open" if drill.state == "open" and (drill.closes_at or now + 1) > now else drill.state,
        words=state_words(drill, now),
        facts=tuple(_facts(drill)),
        notes=drill.notes,
        begun=bool(runs),
        runs=tuple(
            _run(drill, one, runs[one.learner], sums.get(one.learner), late.get(one.learner, 0), now)
            for one in members
            if one.learner in runs
        ),
        not_begun=tuple(one.name for one in members if one.learner not in runs),
        left_out_because=LEFT_OUT,
        **_paper(drill, drills.places_on_paper(drill) - bench),
        on_paper=drills.places_on_paper(drill) - bench,
        at_the_bench=bench,
        same=drill.same,
        problem=problem,
    )
    return make_response(render_template("drill.html", page=page), status)


def _paper(drill: Drill, on_paper: int) -> dict[str, Any]:
    """Return what the page says of a drill's worksheet and packages."""
    try:
        listed = drills.cases_on_paper(visit.store(), drill)
    except (CaseError, NotReadable) as error:
        return {"digest": None, "unprintable": str(error), "not_in_packages": "", "packages": False}
    without = qti.left_out(listed) if on_paper else []
    titles = dict.fromkeys(f"“{listed.cases[number - 1].type.title}”" for number in without)
    words = f"{len(without)} of {on_paper} ({', '.join(titles)})" if without else ""
    more = {"not_in_packages": words, "packages": len(without) < on_paper}
    return {"digest": listed.digest, "unprintable": "", **more}


def _run(drill: Drill, who: Member, run: Sitting, found: LearnerSum | None, late: int, now: float) -> RunRow:
    answered, right = (found.answered, found.right) if found else (0, 0)
    came = drill_runs.outcome(drill, answered, right)
    unfinished = "under way" if drill.is_open(now) else "not finished when it closed"
    state = "at its end" if run.ended_at is not None else unfinished
    if came.passed is not None and run.ended_at is not None:
        state += ", passed" if came.passed else ", not passed"
    if late:
        state += f", {late} after closing"
    mean = found.mean_seconds if found else None
    return RunRow(
        learner=who.learner,
        name=who.name,
        answered=answered,
        right=right,
        score=f"{came.per_cent} %" if came.asked else "",
        seconds="not known" if mean is None else f"{mean:.0f} s",
        state=state,
    )


def _facts(drill: Drill) -> list[tuple[str, str]]:
    reached = len(drill.types) if drill.cases is None else drill.cases
    facts = [("Cases of", "; ".join(map(type_title, drill.types[:reached])))]
    if drill.types[reached:]:
        facts.append(
            ("No case of, there being fewer cases than types", "; ".join(map(type_title, drill.types[reached:])))
        )
    facts += [
        ("Length", drill.length),
        ("Level", drill.level),
        ("Cylinder form", f"{drill.form} cylinder"),
        ("Distance", f"{drill.distance_cm:g} cm {'in every case' if drill.fixed_distance else 'in two cases of five'}"),
        ("Cases", "the same for all" if drill.same else "each learner their own"),
        ("Marks", dict(FEEDBACK)[drill.feedback]),
    ]
    if drill.slips:
        facts.append(("To show", "; ".join(slip_at_step(step, slip) for step, slip in drill.slips)))
    if drill.pass_mark is not None:
        facts.append(("Pass mark", f"{drill.pass_mark} %"))
    if drill.opens_at is not None:
        facts.append(("Opens", moment(drill.opens_at)))
    if drill.closes_at is not None:
        facts.append(("Closed" if drill.state == "closed" else "Closes", moment(drill.closes_at)))
    if drill.for_learner is not None:
        learner = visit.store().learner(drill.for_learner)
        facts.append(("For", learner.name if learner else "a learner who has left"))
    return facts


@pages.post("/<int:drill_id>/open")
def open_(class_id: int, drill_id: int) -> Response:
    """Open a drill, or open it again."""
    drills.open_(visit.store(), own_drill(class_id, drill_id)[1], now=visit.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/close")
def close(class_id: int, drill_id: int) -> Response:
    """Close a drill."""
    drills.close(visit.store(), own_drill(class_id, drill_id)[1], now=visit.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/copy")
def copy(class_id: int, drill_id: int) -> Response:
    """Set a drill once more."""
    what, drill = own_drill(class_id, drill_id)
    number = drills.copy(visit.store(), what, drill, now=visit.now(), lots=visit.lots())
    return redirect(url_for("drills.edit", class_id=class_id, drill_id=number), 303)


@pages.post("/<int:drill_id>/remove")
def remove(class_id: int, drill_id: int) -> Response:
    """Remove a drill that nobody has begun."""
    what, drill = own_drill(class_id, drill_id)
    try:
        drills.remove(visit.store(), drill)
    except NotNow as error:
        return _drill(what, drill, 409, str(error))
    return redirect(url_for("classes.one", class_id=class_id), 303)


@pages.get("/<int:drill_id>/edit")
def edit(class_id: int, drill_id: int) -> Response:
    """Show the form of a drill that nobody has begun."""
    what, drill = own_drill(class_id, drill_id)
    return _form(what, filled_with(drill), drill_id=drill.id)


@pages.post("/<int:drill_id>/edit")
def keep(class_id: int, drill_id: int) -> Response:
    """Give a drill that nobody has begun other values."""
    what, drill = own_drill(class_id, drill_id)
    filled, now = _sent(what), visit.now()
    try:
        drills.change(visit.store(), drill, read_plan(filled, now=now), now=now)
    except BadPlan as error:
        return _form(what, filled, problems=error.faults, drill_id=drill_id)
    except NotNow as error:
        return _drill(what, drill, 409, str(error))
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)
