"""The form of a drill: what its template receives, and the plan read from what was sent, with every fault at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from werkzeug.datastructures import MultiDict

from cases.curriculum.register import all_families, all_types
from cases.procedure.vocabulary import LEVELS
from quiz.classroom import drills
from quiz.classroom.drills import EVERYONE, PLAN, Audience, BadPlan, Plan
from quiz.learning.state import SlipKey
from quiz.practice.forms import Shown, made, read, shown, written
from quiz.practice.titles import slip_at_step, type_title
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.classroom import own_case_queries
from quiz.web import request_context

Form = MultiDict[str, str]


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
    form: Mapping[str, Shown]
    chosen: frozenset[str]
    families: tuple[FamilyBoxes, ...]
    slips: tuple[tuple[str, str], ...]
    """Keys and words of the slips that the cases are to show."""
    learner: str | None
    for_learner: int | None
    problems: Mapping[str, str]
    groups: tuple[tuple[int, str, bool], ...] = ()
    """Groups of the class: number, name with how many are in it, and whether the drill is for it."""
    people: tuple[tuple[int, str], ...] = ()
    """People whom the drill names."""
    fixed: tuple[tuple[str, str], ...] = ()
    """Of a drill that someone has begun: what cannot be changed any more, and how it is."""
    settled: tuple[str, ...] = drills.SETTLED
    aids: Mapping[str, str] = field(default_factory=lambda: drills.AIDS)
    chosen_aids: tuple[str, ...] = ()
    """What stays open beside a test."""
    own: tuple[tuple[int, str, bool], ...] = ()
    """Own cases of the class: number, name with its type, and whether it is ticked."""


@dataclass(frozen=True)
class FilledPlan:
    """A form as it is filled in, by a preceptor or to begin with."""

    texts: Mapping[str, str]
    chosen: frozenset[str]
    """Types that are ticked."""
    slips: tuple[SlipKey, ...] = ()
    for_learner: int | None = None
    audience: Audience = EVERYONE
    aids: tuple[str, ...] = ()
    own_cases: tuple[int, ...] = ()


def form_page(
    what: Class,
    filled: FilledPlan,
    *,
    learner: str | None,
    drill_id: int | None = None,
    problems: Mapping[str, str] | None = None,
    fixed: tuple[tuple[str, str], ...] = (),
) -> FormPage:
    """Show a form; learner names the one whom the drill is for, if it is for one."""
    types, problems = all_types().values(), problems or {}
    form = shown(PLAN, filled.texts, problems)
    if "types" in problems:  # they come first and have the focus
        form = {name: replace(one, focus=False) for name, one in form.items()}
    return FormPage(
        class_id=what.id,
        class_name=what.name,
        drill_id=drill_id,
        form=form,
        chosen=filled.chosen,
        families=tuple(
            FamilyBoxes(
                family.id,
                family.title,
                tuple(TypeBox(one.id, one.title, one.level) for one in types if one.family == family),
                sum(one.family == family and one.id in filled.chosen for one in types),
            )
            for family in all_families()
        ),
        slips=tuple((f"{step} {slip}", slip_at_step(step, slip)) for step, slip in filled.slips),
        learner=learner,
        for_learner=filled.for_learner,
        problems=problems,
        groups=tuple(
            (one.id, f"{one.name} ({one.people})", one.id in filled.audience.groups)
            for one in roster_queries.groups_of(request_context.store(), what.id)
        ),
        people=tuple(
            (one.learner, one.name)
            for one in roster_queries.members_of(request_context.store(), what.id)
            if one.learner in filled.audience.people
        ),
        fixed=fixed,
        chosen_aids=filled.aids,
        own=tuple(
            (one.id, f"{one.title} ({type_title(one.type)})", one.id in filled.own_cases)
            for one in own_case_queries.cases_of(request_context.store(), what.id)
        ),
    )


def filled_with(drill: Drill) -> FilledPlan:
    """Fill the form with a drill as it was set."""
    audience = drills.audience_of(request_context.store(), drill)
    return FilledPlan(
        written(PLAN, drill),
        frozenset(drill.types),
        drill.slips,
        drill.for_learner,
        audience,
        drill.aids,
        drill.own_cases,
    )


# --- what was sent -----------------------------------------------------------------------------------------------


def filled_in(form: Form) -> FilledPlan:
    """Take what was sent, as it stands: families stand for their types up to the level."""
    texts = {one.name: form.get(one.name, "") for one in PLAN}
    ticked, families, level = set(form.getlist("type")), set(form.getlist("family")), texts["level"]
    highest = LEVELS.index(level) if level in LEVELS else len(LEVELS) - 1
    chosen = frozenset(
        one.id
        for one in all_types().values()
        if one.id in ticked or (one.family.id in families and LEVELS.index(one.level) <= highest)
    )
    known = {(ref.step, ref.slip) for one in all_types().values() for ref in one.slips}
    given = [tuple(text.split(" ", 1)) for text in form.getlist("slip")]
    slips = tuple((one[0], one[1]) for one in given if one in known)
    return FilledPlan(
        texts,
        chosen,
        slips,
        form.get("for_learner", type=request_context.whole),
        Audience(
            frozenset(form.getlist("group", type=request_context.whole)),
            frozenset(form.getlist("person", type=request_context.whole)),
        ),
        tuple(one for one in drills.AIDS if one in form.getlist("aid")),
        tuple(sorted(set(form.getlist("own", type=request_context.whole)))),
    )


def read_settled(filled: FilledPlan) -> dict[str, Any]:
    """Read what can be changed of a drill that someone has begun.

    Raises
    ------
    BadPlan
    """
    inputs = tuple(one for one in PLAN if one.name in drills.SETTLED)
    values, faults = read(inputs, filled.texts)
    if faults:
        raise BadPlan(faults)
    return values


def read_plan(filled: FilledPlan, *, now: float, was: float | None = None) -> Plan:
    """Read the plan from a form; was is the time to close that the drill has so far.

    Raises
    ------
    BadPlan
        With every field that cannot be read or cannot be so, at once.
    """
    types = tuple(one for one in all_types() if one in filled.chosen)
    texts = {**filled.texts, "title": filled.texts["title"].strip() or _named(types, len(filled.own_cases))}
    more: dict[str, Any] = {
        "types": types,
        "slips": filled.slips,
        "for_learner": filled.for_learner,
        "aids": filled.aids,
        "own_cases": filled.own_cases,
    }
    if filled.own_cases and not types and not texts["minutes"].strip():
        texts["cases"] = str(len(filled.own_cases))  # own cases alone: there are this many
    values, _ = read(PLAN, texts)
    passed_over = {"least"}
    if texts["minutes"].strip():
        # Where minutes are given, they count, and the number of cases does not.
        more["cases"] = None if "minutes" in values else Plan.cases
        passed_over = {"cases"} if "minutes" in values else {"cases", "least"}
    inputs = tuple(one for one in PLAN if one.name not in passed_over)
    late = drills.too_late(values.get("closes_at"), now, was)
    return made(Plan, inputs, texts, refuse=BadPlan, faults=late, **more)


def _named(types: tuple[str, ...], own: int) -> str:
    """Name a drill for what is in it, where the preceptor gave no title: its families, or its number of types."""
    if own and not types:
        return "Own case" if own == 1 else "Own cases"
    families = list(dict.fromkeys(all_types()[one].family.title for one in types))
    named = ", ".join(families)
    return named if 0 < len(named) <= drills.LONGEST_TITLE else f"{len(types)} types" if types else "Drill"
