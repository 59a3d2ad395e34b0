"""A set of drills and own cases as one JSON file, to be taken from one data file to another.

The file holds each case whole (type, findings, words), the answer that it had where it was saved, and a digest of all.
On the way in every case is worked out and marked again: what this version answers otherwise, or would not take as an
own case, is refused with the reason, and so is the drill that has it. People, classes, times and groups stay behind.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from cases.curriculum.case_list import LONGEST_WORDS
from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.patients.population import EUROPE
from cases.procedure.case_type import Case
from cases.procedure.marking import mark_fields
from quiz.classroom import drills, own_cases
from quiz.classroom.drills import LONGEST_TITLE, OWN_SEEDS, BadPlan, Plan
from quiz.classroom.own_cases import MOST_CASES, CaseInUse, NotUsable
from quiz.errors import QuizError
from quiz.learning.state import SlipKey
from quiz.practice.forms import form_text
from quiz.practice.titles import type_title
from quiz.storage import class_queries
from quiz.storage.class_queries import Class, Drill, KeptCase, Preceptor
from quiz.storage.classroom import own_case_queries
from quiz.storage.classroom.own_case_queries import NewCase
from quiz.storage.rows import read_json, write_json
from quiz.storage.store import Store

FORMAT = "two-meridians set, version 1"
MOST_DRILLS = 50
"""Drills in one file."""


class BadSet(QuizError):
    """A file that is no set, or was changed after it was saved."""


@dataclass(frozen=True)
class SavedCase:
    """A case as the file has it."""

    type: str
    findings: dict[str, Any]
    answer: Any
    """The right answer, as the version that saved it has it."""
    words: str = ""
    title: str = ""
    """Of an own case."""
    seed: int = 0
    """Of a drawn case."""


@dataclass(frozen=True)
class SavedDrill:
    """A drill as the file has it; `own` counts own cases of the file from 0."""

    title: str
    types: tuple[str, ...]
    slips: tuple[SlipKey, ...]
    level: str
    form: str
    distance_cm: float
    fixed_distance: bool
    cases: int | None
    minutes: float | None
    least: int | None
    same: bool
    feedback: str
    pass_mark: int | None
    counts: bool
    test: bool
    limit_minutes: float | None
    may_return: bool
    shuffled: bool
    together: bool
    aids: tuple[str, ...]
    notes: str
    seed: int
    own: tuple[int, ...]
    saved: tuple[SavedCase, ...]
    """The drawn cases that it keeps, in their order after the own ones."""
    region: str = EUROPE
    """Files written before there was a choice leave it out."""


PLANNED = tuple(name for name in SavedDrill.__dataclass_fields__ if name not in ("seed", "own", "saved"))
"""What of a drill is its plan."""


@dataclass(frozen=True)
class SavedSet:
    """What a file holds."""

    format: str
    digest: str
    cases: tuple[SavedCase, ...]
    drills: tuple[SavedDrill, ...]


# --- out -----------------------------------------------------------------------------------------------------------


def write(store: Store, what: Class, drill_ids: Collection[int], case_ids: Collection[int]) -> str:
    """Write drills and own cases of a class as one file; own cases of these drills are in it too.

    Raises
    ------
    CaseError, NotReadable
        When this version cannot read a case of them.
    """
    chosen = [one for one in class_queries.drills_of(store, what.id)[::-1] if one.id in drill_ids]
    wanted = {*case_ids, *(number for one in chosen for number in one.own_cases)}
    own = [one for one in own_case_queries.cases_of(store, what.id) if one.id in wanted]
    at = {one.id: place for place, one in enumerate(own)}
    cases = [_saved(own_cases.again(all_types()[one.type], one.findings, one.words), title=one.title) for one in own]
    listed = [_saved_drill(store, one, at) for one in chosen]
    body = {"cases": cases, "drills": listed}
    return write_json({"format": FORMAT, "digest": _digest(body), **body}) + "\n"


def _digest(body: object) -> str:
    # Written and read by way of plain JSON, so that it is the same for a file that was laid out otherwise.
    plain = msgspec.json.encode(msgspec.to_builtins(body), order="sorted")
    return hashlib.sha256(plain).hexdigest()


def _saved(case: Case, *, title: str = "") -> SavedCase:
    findings = case.type.findings.to_json(case.findings)
    seed = 0 if title else case.seed or 0
    return SavedCase(case.type.id, findings, case.type.answer_json(case.truth), case.words, title, seed)


def _saved_drill(store: Store, drill: Drill, at: dict[int, int]) -> SavedDrill:
    kept = drills.cases_on_paper(store, drill).cases[len(drill.own_cases) :]
    plan = {name: getattr(drill, name) for name in PLANNED}
    own = tuple(at[number] for number in drill.own_cases)
    return SavedDrill(**plan, seed=drill.seed, own=own, saved=tuple(map(_saved, kept)))


# --- in ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CaseRead:
    """An own case of a file, worked out here."""

    title: str
    type: str
    """Its title."""
    answer: str
    problem: str
    """Why it is refused; "" where it can be taken."""


@dataclass(frozen=True)
class DrillRead:
    """A drill of a file, its cases worked out here."""

    title: str
    cases: int
    """How many were marked again."""
    own: tuple[str, ...]
    """Titles of its own cases."""
    problem: str


@dataclass(frozen=True)
class SetRead:
    """A file as it is read here."""

    cases: tuple[CaseRead, ...]
    drills: tuple[DrillRead, ...]
    marked: int
    """Cases that were worked out and marked again."""


def read(text: str) -> SetRead:
    """Read a file and mark every case of it again; nothing is kept.

    Raises
    ------
    BadSet
    """
    return _worked_out(_parsed(text))


def _worked_out(found: SavedSet) -> SetRead:
    cases = tuple(map(_case_read, found.cases))
    listed = tuple(_drill_read(one, cases) for one in found.drills)
    return SetRead(cases, listed, len(found.cases) + sum(len(one.saved) for one in found.drills))


def _parsed(text: str) -> SavedSet:
    try:
        given = read_json(text.removeprefix("\ufeff"), type=dict[str, Any])
        if given.get("format") != FORMAT:
            raise BadSet(f"the file does not say that it is “{FORMAT}”: give one that was saved here as a set")
        found = msgspec.convert(given, SavedSet)
    except (ValueError, RecursionError) as error:
        raise BadSet(f"the file cannot be read as a set ({str(error)[:120]}): give one that was saved here") from error
    if _digest({"cases": given.get("cases"), "drills": given.get("drills")}) != found.digest:
        raise BadSet("the file was changed after it was saved: use an unchanged copy, or save the set again")
    if len(found.cases) > MOST_CASES or len(found.drills) > MOST_DRILLS:
        raise BadSet(f"the file has more than {MOST_CASES} own cases or {MOST_DRILLS} drills: save fewer at once")
    if not (found.cases or found.drills):
        raise BadSet("the set is empty: choose drills or own cases before you save it")
    return found


def _case_read(one: SavedCase) -> CaseRead:
    answer, problem = "", _problem(one)
    if not problem and not 1 <= len(one.title) <= LONGEST_TITLE:
        problem = f"its name has {len(one.title)} characters, and 1 to {LONGEST_TITLE} are possible"
    if not problem:
        case = _again(one)
        answer = "; ".join(ask.kind.write(case.truth[ask.name]) for ask in case.type.asks)
    return CaseRead(one.title[:LONGEST_TITLE] or "(no name)", type_title(one.type[:40]), answer, problem)


def _again(one: SavedCase) -> Case:
    return own_cases.again(all_types()[one.type], one.findings, one.words)


def _problem(one: SavedCase) -> str:
    """Say why a case is refused here: it cannot be read, is answered otherwise, or hides a slip."""
    if one.type not in all_types():
        return f"this version has no type “{one.type[:40]}”"
    if len(one.words) > LONGEST_WORDS:
        return f"its words have {len(one.words)} characters, and {LONGEST_WORDS} are the most"
    try:
        case = _again(one)
        asks, given = case.type.asks, case.type.answer_from_json(one.answer)
        mark = mark_fields(case, {ask.name: form_text(ask.kind, given[ask.name]) for ask in asks})
        if mark.sent_back or not (mark.credited and case.type.same(given, case.truth)):
            theirs, ours = (
                "; ".join(ask.kind.write(values[ask.name]) for ask in asks) for values in (given, case.truth)
            )
            return f"this version answers {ours}, and the file {theirs}"
        own_cases.check(case)
    except (CaseError, NotUsable) as error:
        return str(error)
    return ""


def _plan(one: SavedDrill, own: Sequence[int]) -> Plan:
    """Return the plan of a drill whose own cases have these numbers; raises BadPlan."""
    values = {name: getattr(one, name) for name in PLANNED}
    if len(one.notes) > drills.LONGEST_NOTES or not one.title.strip():
        raise BadPlan({"title": "its title or its notes cannot be used"})
    return Plan(**values, own_cases=tuple(own))


def _drill_read(one: SavedDrill, cases: Sequence[CaseRead]) -> DrillRead:
    problem = next(_drill_problems(one, cases), "")
    own = tuple(cases[place].title for place in one.own if 0 <= place < len(cases))
    return DrillRead(one.title[:LONGEST_TITLE], len(one.saved), own, problem)


def _drill_problems(one: SavedDrill, cases: Sequence[CaseRead]) -> Iterator[str]:
    if len(set(one.own)) != len(one.own) or not all(0 <= place < len(cases) for place in one.own):
        yield "it names an own case that is not in the file"
        return
    try:
        plan = _plan(one, [place + 1 for place in one.own])
    except BadPlan as error:
        yield str(error)
        return
    if not 0 <= one.seed < drills.SEEDS:
        yield f"its seed {one.seed} is none of a drill"
    if len(one.own) + len(one.saved) != drills.places_on_paper(plan):
        yield f"it has {len(one.own) + len(one.saved)} cases, and should have {drills.places_on_paper(plan)}"
    if len({(case.type, case.seed) for case in one.saved}) < len(one.saved):
        yield "two of its cases have one seed"
    for number, case in enumerate(one.saved, len(one.own) + 1):
        why = _problem(case)
        if why:
            yield f"case {number} ({type_title(case.type[:40])}): {why}"
    for place in one.own:
        if cases[place].problem:
            yield f"own case “{cases[place].title}”: {cases[place].problem}"


@dataclass(frozen=True)
class TakenSet:
    """What was taken out of a file."""

    drills: int
    cases: int
    """Own cases that were not here already."""


def take(
    store: Store,
    what: Class,
    who: Preceptor,
    text: str,
    chosen_drills: Collection[int],
    chosen_cases: Collection[int],
    *,
    now: float,
) -> TakenSet:
    """Take drills (as drafts) and own cases of a file, by their places in it from 0; what is refused stays out.

    An own case that is here already is not doubled; what a drill needs comes with it.

    Raises
    ------
    BadSet
        Also where nothing that can be taken is chosen.
    CaseInUse
        When the class would have more own cases than it may.
    """
    found = _parsed(text)
    seen = _worked_out(found)
    listed = [place for place in range(len(found.drills)) if place in chosen_drills and not seen.drills[place].problem]
    needed = {place for at in listed for place in found.drills[at].own}
    needed |= {place for place in range(len(found.cases)) if place in chosen_cases and not seen.cases[place].problem}
    if not (listed or needed):
        raise BadSet("nothing was chosen that can be taken: tick a drill or an own case")
    with store.writing():
        here = {_identity(one): one.id for one in own_case_queries.cases_of(store, what.id)}
        before, numbers = len(here), dict[int, int]()
        for place in sorted(needed):
            one = found.cases[place]
            new = NewCase(one.title, one.words, one.type, one.findings, who.name)
            number = here.get(_identity(new))
            if number is None:
                number = here[_identity(new)] = own_case_queries.add(store, what.id, new, now)
            numbers[place] = number
        if len(here) > MOST_CASES:
            raise CaseInUse(f"this class would have {len(here)} own cases: {MOST_CASES} are the most")
        for at in listed:
            _take_drill(store, what, found.drills[at], found.cases, numbers, now)
    return TakenSet(len(listed), len(here) - before)


def _identity(one: NewCase) -> str:
    return write_json((one.type, sorted(one.findings.items()), one.words))


def _take_drill(
    store: Store, what: Class, one: SavedDrill, cases: Sequence[SavedCase], numbers: dict[int, int], now: float
) -> None:
    own = [(numbers[place], place) for place in one.own]
    plan = replace(_plan(one, [number for number, _ in own]), for_learner=None)
    drill = class_queries.add_drill(store, what.id, plan, seed=one.seed, now=now)
    kept = [
        KeptCase(at, cases[place].type, OWN_SEEDS + number, cases[place].findings, cases[place].words)
        for at, (number, place) in enumerate(own)
    ]
    kept += [
        KeptCase(at, case.type, case.seed, case.findings, case.words) for at, case in enumerate(one.saved, len(own))
    ]
    class_queries.keep_cases(store, drill, kept)
