"""Answers to the cases that a drill keeps, case by case: what is analysed is made from them.

Late answers are left out unless a preceptor let them count, as in every other number of a drill.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from cases.procedure.vocabulary import CREDITED
from quiz.storage.result_queries import IS_LATE
from quiz.storage.store import Store

_OF_CASES = (
    "FROM answers a JOIN drill_cases c ON c.drill = a.drill AND c.type = a.type AND c.seed = a.seed "
    f"WHERE a.drill = ? AND NOT {IS_LATE}"
)
_RIGHT = ", ".join(f"'{one}'" for one in CREDITED)


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
    sql = f"SELECT a.learner, c.place, a.verdict IN ({_RIGHT}), a.seconds {_OF_CASES}"
    return [CaseAnswer(row[0], row[1], bool(row[2]), row[3]) for row in store.fetch(sql, drill)]


def wrong_answers(store: Store, drill: int, learners: Iterable[int]) -> list[WrongAnswer]:
    """Return the wrong answers of some learners that count, alike ones together, the commonest of a place first."""
    sql = (
        "SELECT c.place, count(*) AS learners, min(a.dealt) AS dealt, a.type, min(a.given) AS given, "  # noqa: S608
        f"min(a.explanations) AS explanations, a.did_not_know {_OF_CASES} AND a.verdict NOT IN ({_RIGHT}) "
        "AND a.learner IN (SELECT value FROM json_each(?)) "
        "GROUP BY c.place, a.did_not_know, CASE a.read_as WHEN 'null' THEN a.given ELSE a.read_as END "
        "ORDER BY c.place, learners DESC, given"
    )
    return store.fetch_as(WrongAnswer, sql, drill, json.dumps(list(learners)))


def could_show(store: Store, drill: int) -> dict[tuple[str, str], int]:
    """Count, for each slip at its step, the answers of a drill that it would have changed."""
    sql = (
        f"SELECT j.value, count(*) FROM answers a, json_each(a.could_show) j "  # noqa: S608 - words from here
        f"WHERE a.drill = ? AND NOT {IS_LATE} GROUP BY j.value"
    )
    found: dict[tuple[str, str], int] = {}
    for value, count in store.fetch(sql, drill):
        key: Any = json.loads(value)
        found[key[0], key[1]] = count
    return found
