"""A preceptor's drills: set in one short form, tried, opened, closed, copied; its results and worksheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.casetype import LEVELS
from cases.errors import CaseError
from cases.kinds import Distance
from cases.register import all_families, all_skills, all_slips, all_types
from quiz import class_store, classes, drills, folding, memory, results
from quiz.class_store import Class, Drill, Member
from quiz.drills import BadPlan, NotNow, Plan
from quiz.learner import SlipKey
from quiz.pages import visit
from quiz.pages.classes import own_class
from quiz.pages.drill_views import length_words, moment, state_words
from quiz.pages.settings import FORMS
from quiz.pages.settings import LEVELS as LEVEL_WORDS
from quiz.results import LearnerSum
from quiz.store import Sitting

pages = Blueprint("drills", __name__, url_prefix="/class/<int:class_id>/drill")

FEEDBACK = (("once", "at once, with the working"), ("end", "at the end of the drill"))
SAME = (("same", "the same for all"), ("own", "each learner their own"))


@dataclass(frozen=True)
class TypeBox:
    """One type that can be ticked."""

    id: str
    title: str
    level: str


@dataclass(frozen=True)
class FamilyBoxes:
    """One family, to be ticked whole or type by type."""

    id: str
    title: str
    types: tuple[TypeBox, ...]
    chosen: int


@dataclass(frozen=True)
class FormPage:
    """What the form receives."""

    class_id: int
    class_name: str
    drill_id: int | None
    texts: Mapping[str, str]
    chosen: frozenset[str]
    families: tuple[FamilyBoxes, ...]
    slips: tuple[tuple[str, str], ...]
    """Keys and words of the slips that the cases are to show."""
    learner: str | None
    for_learner: int | None
    problems: Mapping[str, str] = field(default_factory=dict)
    levels: tuple[tuple[str, str], ...] = LEVEL_WORDS
    forms: tuple[tuple[str, str], ...] = FORMS
    feedback: tuple[tuple[str, str], ...] = FEEDBACK
    same: tuple[tuple[str, str], ...] = SAME


USUAL = {
    "title": "",
    "level": "competent",
    "form": "minus",
    "distance_cm": "67",
    "fixed": "",
    "cases": "10",
    "minutes": "",
    "same": "same",
    "opens_at": "",
    "closes_at": "",
    "feedback": "once",
    "pass_mark": "",
    "notes": "",
}


# --- the form ----------------------------------------------------------------------------------------------------


@pages.get("/new")
def new(class_id: int) -> Response:
    """Show the form with its usual values; for a learner's standing slips where one is named."""
    what = own_class(class_id)
    number = request.args.get("learner", type=visit.whole)
    if number is None:
        return _form(what, USUAL, frozenset())
    learner = classes.member(visit.store(), what, number)
    state = folding.states_of(visit.store(), learner.id).cases
    slips = tuple(memory.standing(state, visit.now()))
    texts = {**USUAL, "title": f"{learner.name}: what slips" if slips else "", "same": "own"}
    return _form(what, texts, frozenset(drills.types_for(slips, texts["level"])), slips=slips, for_learner=number)


def _form(
    what: Class,
    texts: Mapping[str, str],
    chosen: frozenset[str],
    *,
    slips: tuple[SlipKey, ...] = (),
    for_learner: int | None = None,
    problems: Mapping[str, str] | None = None,
    drill_id: int | None = None,
) -> Response:
    learner = None if for_learner is None else visit.store().learner(for_learner)
    types = all_types().values()
    page = FormPage(
        class_id=what.id,
        class_name=what.name,
        drill_id=drill_id,
        texts=texts,
        chosen=chosen,
        families=tuple(
            FamilyBoxes(
                family.id,
                family.title,
                tuple(TypeBox(one.id, one.title, one.level) for one in types if one.family == family),
                sum(one.family == family and one.id in chosen for one in types),
            )
            for family in all_families()
        ),
        slips=tuple((f"{step} {slip}", _slip_words(step, slip)) for step, slip in slips),
        learner=learner.name if learner else None,
        for_learner=for_learner,
        problems=problems or {},
    )
    return make_response(render_template("drill_form.html", page=page), 422 if problems else 200)


def _slip_words(step: str, slip: str) -> str:
    skill, name = all_skills().get(step), all_slips().get(slip)
    return f"{name.title if name else slip}, in {skill.title if skill else step}"


def _chosen(level: str) -> frozenset[str]:
    """Return the types ticked: families stand for their types up to the level."""
    ticked, families = set(request.form.getlist("type")), set(request.form.getlist("family"))
    highest = LEVELS.index(level) if level in LEVELS else len(LEVELS) - 1
    return frozenset(
        one.id
        for one in all_types().values()
        if one.id in ticked or (one.family.id in families and LEVELS.index(one.level) <= highest)
    )


def _slips() -> tuple[SlipKey, ...]:
    known = {(ref.step, ref.slip) for one in all_types().values() for ref in one.slips}
    given = [tuple(text.split(" ", 1)) for text in request.form.getlist("slip")]
    return tuple((one[0], one[1]) for one in given if one in known)


def _number(texts: Mapping[str, str], name: str, what: str) -> int | None:
    text = texts[name].strip().removesuffix("%").rstrip()
    if not text:
        return None
    if not text.isdecimal() or len(text) > 6:
        raise BadPlan("length" if name in ("cases", "minutes") else name, f"{what} “{text[:20]}”: give a whole number")
    return int(text)


def _time(texts: Mapping[str, str], name: str) -> float | None:
    text = texts[name].strip()
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError) as error:
        raise BadPlan(name, f"“{text[:30]}”: write the day and time like 2026-03-03T14:00") from error


def _plan(what: Class, texts: Mapping[str, str], chosen: frozenset[str]) -> Plan:
    try:
        distance = Distance().read(texts["distance_cm"])
    except CaseError as error:
        raise BadPlan("distance_cm", str(error)) from error
    for_learner = request.form.get("for_learner", type=visit.whole)
    if for_learner is not None:
        classes.member(visit.store(), what, for_learner)
    minutes = _number(texts, "minutes", "minutes")
    cases = None if minutes is not None else _number(texts, "cases", "cases")
    types = tuple(one for one in all_types() if one in chosen)
    return Plan(
        title=" ".join(texts["title"].split()) or _named(types),
        types=types,
        slips=_slips(),
        level=texts["level"],
        form=texts["form"],
        distance_cm=distance,
        fixed_distance=texts["fixed"] == "yes",
        cases=cases,
        minutes=minutes,
        same=texts["same"] != "own",
        opens_at=_time(texts, "opens_at"),
        closes_at=_time(texts, "closes_at"),
        feedback=texts["feedback"],
        pass_mark=_number(texts, "pass_mark", "pass mark"),
        notes=texts["notes"].strip(),
        for_learner=for_learner,
    )


def _named(types: tuple[str, ...]) -> str:
    """Name a drill for what is in it, where the preceptor gave no title: its families, or its number of types."""
    families = list(dict.fromkeys(all_types()[one].family.title for one in types))
    named = ", ".join(families)
    return named if 0 < len(named) <= drills.LONGEST_TITLE else f"{len(types)} types" if types else "Drill"


def _texts() -> dict[str, str]:
    return {name: request.form.get(name, "") for name in USUAL}


@pages.post("")
def make(class_id: int) -> Response:
    """Set a drill as a draft."""
    what, texts = own_class(class_id), _texts()
    chosen = _chosen(texts["level"])
    try:
        number = drills.make(visit.store(), what, _plan(what, texts, chosen), now=visit.now(), lots=visit.lots())
    except BadPlan as error:
        who = request.form.get("for_learner", type=visit.whole)
        return _form(what, texts, chosen, slips=_slips(), for_learner=who, problems={error.name: str(error)})
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
    seed: int
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
    members = [
        one for one in class_store.members_of(store, what.id) if drill.for_learner in (None, one.learner)
    ]
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
        seed=drill.seed,
        on_paper=drills.places_on_paper(drill) - bench,
        at_the_bench=bench,
        same=drill.same,
        problem=problem,
    )
    return make_response(render_template("drill.html", page=page), status)


def _run(drill: Drill, who: Member, run: Sitting, found: LearnerSum | None, late: int, now: float) -> RunRow:
    answered, right = (found.answered, found.right) if found else (0, 0)
    came = drills.outcome(drill, answered, right)
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
    facts = [("Cases of", _titles(drill.types[:reached]))]
    if drill.types[reached:]:
        facts.append(("No case of, there being fewer cases than types", _titles(drill.types[reached:])))
    facts += [
        ("Length", length_words(drill)),
        ("Level", drill.level),
        ("Cylinder form", f"{drill.form} cylinder"),
        ("Distance", f"{drill.distance_cm:g} cm {'in every case' if drill.fixed_distance else 'in two cases of five'}"),
        ("Cases", "the same for all" if drill.same else "each learner their own"),
        ("Marks", dict(FEEDBACK)[drill.feedback]),
    ]
    if drill.slips:
        facts.append(("To show", "; ".join(_slip_words(step, slip) for step, slip in drill.slips)))
    if drill.pass_mark is not None:
        facts.append(("Pass mark", f"{drill.pass_mark} %"))
    if drill.opens_at is not None:
        facts.append(("Opens", moment(drill.opens_at)))
    if drill.closes_at is not None:
        facts.append(("Closes", moment(drill.closes_at)))
    if drill.for_learner is not None:
        learner = visit.store().learner(drill.for_learner)
        facts.append(("For", learner.name if learner else "a learner who has left"))
    return facts


def _titles(types: Sequence[str]) -> str:
    known = all_types()
    return "; ".join(known[one].title if one in known else one for one in types)


@pages.post("/<int:drill_id>/open")
def open_(class_id: int, drill_id: int) -> Response:
    """Open a drill, or open it again."""
    drills.open_(visit.store(), own_drill(class_id, drill_id)[1], now=visit.now())
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)


@pages.post("/<int:drill_id>/close")
def close(class_id: int, drill_id: int) -> Response:
    """Close a drill."""
    drills.close(visit.store(), own_drill(class_id, drill_id)[1])
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
    texts = {
        "title": drill.title,
        "level": drill.level,
        "form": drill.form,
        "distance_cm": f"{drill.distance_cm:g}",
        "fixed": "yes" if drill.fixed_distance else "",
        "cases": "" if drill.cases is None else str(drill.cases),
        "minutes": "" if drill.minutes is None else f"{drill.minutes:g}",
        "same": "same" if drill.same else "own",
        "opens_at": _local(drill.opens_at),
        "closes_at": _local(drill.closes_at),
        "feedback": drill.feedback,
        "pass_mark": "" if drill.pass_mark is None else str(drill.pass_mark),
        "notes": drill.notes,
    }
    chosen = frozenset(drill.types)
    return _form(what, texts, chosen, slips=drill.slips, for_learner=drill.for_learner, drill_id=drill.id)


def _local(at: float | None) -> str:
    return "" if at is None else f"{datetime.fromtimestamp(at).astimezone():%Y-%m-%dT%H:%M}"


@pages.post("/<int:drill_id>/edit")
def keep(class_id: int, drill_id: int) -> Response:
    """Give a drill that nobody has begun other values."""
    (what, drill), texts = own_drill(class_id, drill_id), _texts()
    chosen = _chosen(texts["level"])
    try:
        drills.change(visit.store(), drill, _plan(what, texts, chosen), now=visit.now())
    except BadPlan as error:
        who = request.form.get("for_learner", type=visit.whole)
        problems = {error.name: str(error)}
        return _form(what, texts, chosen, slips=_slips(), for_learner=who, problems=problems, drill_id=drill_id)
    except NotNow as error:
        return _drill(what, drill, 409, str(error))
    return redirect(url_for("drills.one", class_id=class_id, drill_id=drill_id), 303)
