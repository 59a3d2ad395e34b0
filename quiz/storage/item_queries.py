"""Answers to the cases that a drill keeps, case by case: what is analysed is made from them.

Late answers are left out unless a preceptor let them count, as in every other number of a drill.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from cases.procedure.vocabulary import CREDITED
from quiz.storage.result_queries import IS_LATE, OF_MEMBERS
from quiz.storage.store import Store

_COUNTS = f"FROM answers a WHERE a.drill = ? AND NOT {IS_LATE}"
_ONE = "SELECT ?1 AS place, ?2 AS learners, dealt, type, given, explanations, did_not_know FROM answers WHERE id = ?3"
_RIGHT = ", ".join(f"'{one}'" for one in CREDITED)


LISTED = 2
"""Wrong answers of each case."""


@dataclass(frozen=True, slots=True)
class CaseAnswer:
    """One learner's answer to the case at a place."""

    learner: int
    place: int
    right: bool
    seconds: float | None


@dataclass(frozen=True)
class WrongAnswer:
    """An answer that several gave to the case at a place, and that was not right."""

    place: int
    learners: int
    """How many gave it."""
    dealt: str
    """The case of one of them, for the way to its mark."""
    type: str
    given: dict[str, str]
    explanations: tuple[tuple[tuple[str, str], ...], ...]
    did_not_know: bool


def answers_by_case(store: Store, drill: int) -> list[CaseAnswer]:
    """Return the answers that count to the cases that a drill keeps."""
    # Which place a case has is looked up here: a join would look through all cases for each of many thousand answers.
    at = _places(store, drill)
    rows = store.fetch(f"SELECT a.learner, a.type, a.seed, a.verdict, a.seconds {_COUNTS}", drill)
    return [
        CaseAnswer(learner, at[type_id, seed], verdict in CREDITED, seconds)
        for learner, type_id, seed, verdict, seconds in rows
        if (type_id, seed) in at
    ]


def _places(store: Store, drill: int) -> dict[tuple[str, int], int]:
    rows = store.fetch("SELECT type, seed, place FROM drill_cases WHERE drill = ?", drill)
    return {(type_id, seed): place for type_id, seed, place in rows}


def wrong_answers(store: Store, drill: int, learners: Iterable[int]) -> list[WrongAnswer]:
    """Return the wrong answers of some learners that count, alike ones together, the commonest of a place first."""
    at, among = _places(store, drill), frozenset(learners)
    rows = store.fetch(
        f"SELECT a.id, a.learner, a.type, a.seed, a.read_as, a.did_not_know {_COUNTS} AND a.verdict NOT IN ({_RIGHT})",
        drill,
    )
    alike: dict[tuple[int, str, int], list[int]] = {}
    for number, learner, type_id, seed, read_as, did_not_know in rows:
        if learner in among and (type_id, seed) in at:
            alike.setdefault((at[type_id, seed], read_as, did_not_know), []).append(number)
    commonest: dict[int, list[tuple[int, int]]] = {}
    for (place, _, _), numbers in alike.items():
        commonest.setdefault(place, []).append((-len(numbers), numbers[0]))
    found = []
    for place in sorted(commonest):
        for count, number in sorted(commonest[place])[:LISTED]:
            found += store.fetch_as(WrongAnswer, _ONE, place, -count, number)
    return found


def state_of(store: Store, drill: int) -> tuple[int, int, int]:
    """Return what changes with every answer to a drill, one that is deleted, and a decision about a late one."""
    # Numbers of answers are never given again, so that no other answers have the same count and the same last number.
    (row,) = store.fetch("SELECT count(*), coalesce(max(id), 0) FROM answers WHERE drill = ?", drill)
    (decided,) = store.fetch("SELECT coalesce(max(id), 0) FROM late_decisions")
    return int(row[0]), int(row[1]), int(decided[0])


def could_show(store: Store, drill: int) -> dict[tuple[str, str], int]:
    """Count, for each slip at its step, the answers of a drill that it would have changed."""
    # Answers to one case have one list of slips: lists are counted first, and each is read once.
    sql = (
        f"SELECT a.could_show, count(*) FROM {OF_MEMBERS} "  # noqa: S608 - words from here
        f"WHERE a.drill = ? AND NOT {IS_LATE} GROUP BY a.could_show"
    )
    found: Counter[tuple[str, str]] = Counter()
    for text, count in store.fetch(sql, drill):
        # No slip stands twice in a list.
        for step, slip in json.loads(text or "[]"):
            found[step, slip] += count
    return found
