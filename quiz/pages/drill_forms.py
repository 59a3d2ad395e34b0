"""The form of a drill: what its template receives, and the plan read from what was sent, with every fault at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from werkzeug.datastructures import MultiDict

from cases.casetype import LEVELS
from cases.errors import CaseError
from cases.kinds import Distance
from cases.register import all_families, all_types
from quiz import drills
from quiz.class_store import Class, Drill
from quiz.drills import BadPlan, Plan
from quiz.learner import SlipKey
from quiz.pages import visit
from quiz.pages.settings import FORMS
from quiz.pages.settings import LEVELS as LEVEL_WORDS
from quiz.titles import slip_at_step

FEEDBACK = (("once", "at once, with the working"), ("end", "at the end of the drill"))
SAME = (("same", "the same for all"), ("own", "each learner their own"))
ORDER = ("types", "level", "length", "least", "title", "distance_cm", "opens_at", "closes_at", "pass_mark", "notes")
"""Of the fields as they stand on the page."""

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

    @property
    def first_problem(self) -> str | None:
        """Which field is to have the focus."""
        return next((one for one in ORDER if one in self.problems), None)


USUAL = {
    "title": "",
    "level": "competent",
    "form": "minus",
    "distance_cm": "67",
    "fixed": "",
    "cases": "10",
    "minutes": "",
    "least": "",
    "same": "same",
    "opens_at": "",
    "closes_at": "",
    "feedback": "once",
    "pass_mark": "",
    "counts": "",
    "notes": "",
}


@dataclass(frozen=True)
class Filled:
    """A form as it is filled in, by a preceptor or to begin with."""

    texts: Mapping[str, str]
    chosen: frozenset[str]
    """Types that are ticked."""
    slips: tuple[SlipKey, ...] = ()
    for_learner: int | None = None


def form_page(
    what: Class,
    filled: Filled,
    *,
    learner: str | None,
    drill_id: int | None = None,
    problems: Mapping[str, str] | None = None,
) -> FormPage:
    """Show a form; learner names the one whom the drill is for, if it is for one."""
    types = all_types().values()
    return FormPage(
        class_id=what.id,
        class_name=what.name,
        drill_id=drill_id,
        texts=filled.texts,
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
        problems=problems or {},
    )


def filled_with(drill: Drill) -> Filled:
    """Fill the form with a drill as it was set."""
    texts = {
        "title": drill.title,
        "level": drill.level,
        "form": drill.form,
        "distance_cm": f"{drill.distance_cm:g}",
        "fixed": "yes" if drill.fixed_distance else "",
        "cases": "" if drill.cases is None else str(drill.cases),
        "minutes": "" if drill.minutes is None else f"{drill.minutes:g}",
        "least": "" if drill.least is None else str(drill.least),
        "same": "same" if drill.same else "own",
        "opens_at": _local(drill.opens_at),
        "closes_at": _local(drill.closes_at),
        "feedback": drill.feedback,
        "pass_mark": "" if drill.pass_mark is None else str(drill.pass_mark),
        "counts": "yes" if drill.counts else "",
        "notes": drill.notes,
    }
    return Filled(texts, frozenset(drill.types), drill.slips, drill.for_learner)


def _local(at: float | None) -> str:
    return "" if at is None else f"{datetime.fromtimestamp(at).astimezone():%Y-%m-%dT%H:%M}"


# --- what was sent -----------------------------------------------------------------------------------------------


def filled_in(form: Form) -> Filled:
    """Take what was sent, as it stands: families stand for their types up to the level."""
    texts = {name: form.get(name, "") for name in USUAL}
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
    return Filled(texts, chosen, slips, form.get("for_learner", type=visit.whole))


def read_plan(filled: Filled, *, now: float) -> Plan:
    """Read the plan from a form.

    Raises
    ------
    BadPlan
        With every field that cannot be read or cannot be so, at once.
    """
    texts, faults = filled.texts, dict[str, str]()
    distance = Plan.distance_cm
    try:
        distance = Distance().read(texts["distance_cm"])
    except CaseError as error:
        faults["distance_cm"] = str(error)
    minutes = _number(texts, "minutes", "minutes", faults)
    # Where minutes are given, they count, and the number of cases does not.
    timed = bool(texts["minutes"].strip())
    cases = None if timed else _number(texts, "cases", "cases", faults)
    least = _number(texts, "least", "least number of cases", faults) if timed else None
    if "length" in faults:
        cases, minutes, least = Plan.cases, None, None
    types = tuple(one for one in all_types() if one in filled.chosen)
    asked: dict[str, Any] = {
        "title": " ".join(texts["title"].split()) or _named(types),
        "types": types,
        "slips": filled.slips,
        "level": texts["level"],
        "form": texts["form"],
        "distance_cm": distance,
        "fixed_distance": texts["fixed"] == "yes",
        "cases": cases,
        "minutes": minutes,
        "same": texts["same"] != "own",
        "opens_at": _time(texts, "opens_at", faults),
        "closes_at": _time(texts, "closes_at", faults),
        "feedback": texts["feedback"],
        "pass_mark": _number(texts, "pass_mark", "pass mark", faults),
        "notes": texts["notes"].strip(),
        "for_learner": filled.for_learner,
        "least": least,
        "counts": texts["counts"] == "yes",
    }
    faults |= drills.too_late(asked["closes_at"], now)
    try:
        plan = Plan(**asked)
    except BadPlan as error:
        raise BadPlan({**error.faults, **faults}) from error
    if faults:
        raise BadPlan(faults)
    return plan


def _number(texts: Mapping[str, str], name: str, what: str, faults: dict[str, str]) -> int | None:
    text = texts[name].strip().removesuffix("%").rstrip()
    if not text:
        return None
    if not text.isdecimal() or len(text) > 6:
        faults["length" if name in ("cases", "minutes") else name] = f"{what} “{text[:20]}”: give a whole number"
        return None
    return int(text)


def _time(texts: Mapping[str, str], name: str, faults: dict[str, str]) -> float | None:
    text = texts[name].strip()
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError):
        faults[name] = f"“{text[:30]}”: write the day and time like 2026-03-03T14:00"
        return None


def _named(types: tuple[str, ...]) -> str:
    """Name a drill for what is in it, where the preceptor gave no title: its families, or its number of types."""
    families = list(dict.fromkeys(all_types()[one].family.title for one in types))
    named = ", ".join(families)
    return named if 0 < len(named) <= drills.LONGEST_TITLE else f"{len(types)} types" if types else "Drill"
