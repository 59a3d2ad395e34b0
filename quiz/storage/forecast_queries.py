"""How forecasts came true on this data file: chances given a night or more ahead, by tenths, with what came.

Kept with each answer, so that the desk need not replay a log of a million answers; folding again counts them again.
Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quiz.storage.store import Store


@dataclass(frozen=True)
class Tenth:
    """Forecasts whose chance lay in one tenth: 0 stands for below .1, 9 for .9 and more."""

    tenth: int
    answers: int
    given: float
    """Sum of the chances."""
    came: int
    """Right answers."""


def tenths(store: Store) -> list[Tenth]:
    """Return the forecasts of everyone in this data file, those of a low chance first."""
    sql = "SELECT tenth, sum(answers) AS answers, sum(given) AS given, sum(came) AS came FROM forecasts GROUP BY tenth"
    return store.fetch_as(Tenth, sql)


def keep(store: Store, learner_id: int, found: Iterable[Tenth]) -> None:
    """Keep a learner's forecasts in place of those that were kept."""
    store.change("DELETE FROM forecasts WHERE learner = ?", learner_id)
    add(store, learner_id, found)


def add(store: Store, learner_id: int, found: Iterable[Tenth]) -> None:
    """Add forecasts to those that are kept of a learner."""
    for one in found:
        store.change(
            "INSERT INTO forecasts (learner, tenth, answers, given, came) VALUES (?1, ?2, ?3, ?4, ?5) "
            "ON CONFLICT (learner, tenth) DO UPDATE SET answers = forecasts.answers + ?3, "
            "given = forecasts.given + ?4, came = forecasts.came + ?5",
            learner_id,
            one.tenth,
            one.answers,
            one.given,
            one.came,
        )
