"""Answers to the cases that a drill keeps, case by case: what is analysed is made from them.

Late answers are left out unless a preceptor let them count, as in every other number of a drill.
"""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import NamedTuple

from cases.procedure.vocabulary import CREDITED
from quiz.lru_cache import LockedCache
from quiz.storage import result_queries
from quiz.storage.store import Store

# By the drill's index alone, whose entries have the number: with the table's own it would look through all drills.
_RIGHT = ", ".join(f"'{one}'" for one in CREDITED)
_SINCE = (
    f"SELECT id, learner, type, seed, verdict, seconds, CASE WHEN verdict IN ({_RIGHT}) THEN '' ELSE read_as END, "  # noqa: S608
    "did_not_know, could_show, late, dealt FROM answers WHERE drill = ? AND +id > ?"
)
_ONE = "SELECT ?1 AS place, ?2 AS learners, dealt, type, given, explanations, did_not_know FROM answers WHERE id = ?3"

LISTED = 2
"""Wrong answers of each case."""


class CaseAnswer(NamedTuple):
    """One learner's answer to one case."""

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


class _DrillAnswers:
    """The answers that count to one drill, held in memory: each view reads only those that came since the last.

    In a class they come every second, and reading fifty thousand takes a fifth of a second.
    """

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self._start(frozenset())

    def _start(self, accepted: frozenset[str]) -> None:
        self.accepted = accepted
        """Late answers that a preceptor let count."""
        self.read = 0
        """How many were read, those that do not count among them."""
        self.last = 0
        self.last_dealt = ""
        self.cases: dict[tuple[int, int], CaseAnswer] = {}
        """By learner and place."""
        self.wrong: dict[tuple[int, str, int], list[tuple[int, int]]] = {}
        """By place, what was read, and whether it was “I don't know”: learner and number of each."""
        self.could_show: dict[str, dict[int, int]] = {}
        """By list of slips, as it is kept: how many answers of each learner it could have shown in."""

    def catch_up(self, store: Store, drill: int) -> None:
        """Read what came since; all of it again where something was deleted, or decided about a late answer."""
        accepted = result_queries.accepted_in(store, drill)
        if accepted != self.accepted:
            self._start(accepted)
        self._extend(store, drill)
        if not self._complete(store, drill):
            self._start(accepted)
            self._extend(store, drill)

    def _complete(self, store: Store, drill: int) -> bool:
        """Say whether what was read is still there, and all that there is up to the last of it."""
        if not self.last:
            return True
        # Numbers are never given again in one data file; a backup that was put back may have others under them.
        there = store.fetch("SELECT 1 FROM answers WHERE id = ? AND dealt = ?", self.last, self.last_dealt)
        (row,) = store.fetch("SELECT count(*) FROM answers WHERE drill = ? AND id <= ?", drill, self.last)
        return bool(there) and int(row[0]) == self.read

    def _extend(self, store: Store, drill: int) -> None:
        rows = store.fetch(_SINCE, drill, self.last)
        if not rows:
            return
        at, accepted, could_show = _places(store, drill), self.accepted, self.could_show
        for number, learner, type_id, seed, verdict, seconds, read_as, did_not_know, could, late, dealt in rows:
            if number > self.last:
                self.last, self.last_dealt = number, dealt
            if late and dealt not in accepted:
                continue
            by_learner = could_show.get(could)
            if by_learner is None:
                by_learner = could_show[could] = {}
            by_learner[learner] = by_learner.get(learner, 0) + 1
            place = at.get((type_id, seed))
            if place is not None:
                right = verdict in CREDITED
                self.cases[learner, place] = CaseAnswer(right, seconds)
                if not right:
                    self.wrong.setdefault((place, read_as, did_not_know), []).append((learner, number))
        self.read += len(rows)


_HELD = LockedCache[tuple[str, int], _DrillAnswers](8)
"""Drills whose answers are held: some 10 MB for fifty thousand."""


@contextmanager
def _answers(store: Store, drill: int) -> Iterator[_DrillAnswers]:
    """Give the answers that count to a drill, as of now, to look at while no other thread extends them."""
    key = store.secret(), drill
    held = _HELD.get(key)
    if held is None:
        held = _DrillAnswers()
        _HELD.keep(key, held)
    with held.lock:
        held.catch_up(store, drill)
        yield held


def answers_by_case(store: Store, drill: int) -> dict[tuple[int, int], CaseAnswer]:
    """Return the answers that count to the cases that a drill keeps, by learner and place."""
    with _answers(store, drill) as held:
        return held.cases.copy()


def _places(store: Store, drill: int) -> dict[tuple[str, int], int]:
    rows = store.fetch("SELECT type, seed, place FROM drill_cases WHERE drill = ?", drill)
    return {(type_id, seed): place for type_id, seed, place in rows}


def wrong_answers(store: Store, drill: int, learners: Iterable[int]) -> list[WrongAnswer]:
    """Return the wrong answers of some learners that count, alike ones together, the commonest of a place first."""
    among = frozenset(learners)
    commonest: dict[int, list[tuple[int, int]]] = {}
    with _answers(store, drill) as held:
        for (place, _, _), given in held.wrong.items():
            numbers = [number for learner, number in given if learner in among]
            if numbers:
                commonest.setdefault(place, []).append((-len(numbers), min(numbers)))
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
    """Count, for each slip at its step, the answers of a drill in which it would have shown."""
    # Of who left the class its preceptor is shown none.
    sql = "SELECT m.learner FROM members m JOIN drills d ON d.class = m.class WHERE d.id = ?"
    members = {row[0] for row in store.fetch(sql, drill)}
    found: Counter[tuple[str, str]] = Counter()
    with _answers(store, drill) as held:
        # Answers to one case have one list of slips, which is read once, and no slip stands twice in it.
        for text, by_learner in held.could_show.items():
            count = sum(answers for learner, answers in by_learner.items() if learner in members)
            for step, slip in json.loads(text or "[]") if count else ():
                found[step, slip] += count
    return found
