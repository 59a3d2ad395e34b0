"""Who practises on this computer: adding, naming and removing learners, and their settings."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection
from datetime import datetime
from functools import lru_cache

from quiz.errors import QuizError
from quiz.practice.settings import LearnerSettings
from quiz.storage import class_queries, projection
from quiz.storage.rows import read_json
from quiz.storage.store import Learner, Store

LONGEST_NAME = 60


class BadName(QuizError):
    """A name that cannot be taken."""


class UnknownLearner(QuizError):
    """No learner has this number: removed, perhaps, or of another data file."""

    def __init__(self) -> None:
        super().__init__("that learner is not in this data file: pick one of the names below")


_JOINERS = "\u200c\u200d"
"""They belong to the spelling of names in Persian and in Indian scripts."""


def tidy_name(text: str, others: list[Learner]) -> str:
    """Return a name with its spaces tidied.

    Raises
    ------
    BadName
        When it is empty, too long, holds characters that do not print, or is another learner's.
    """
    name = " ".join(text.split())
    # Putting accents in order takes the square of their number, so the length comes first: four marks a letter at most.
    if len(name) <= 4 * LONGEST_NAME:
        name = unicodedata.normalize("NFC", name)
    if not name:
        raise BadName("no name was given: write the name that you go by here")
    if len(name) > LONGEST_NAME:
        raise BadName(f"a name of {len(name)} characters: {LONGEST_NAME} is the most")
    if any(unicodedata.category(mark) in ("Cc", "Cf", "Cs", "Co", "Cn") for mark in name if mark not in _JOINERS):
        raise BadName("the name holds characters that do not print: write it again")
    if any(one.name.casefold() == name.casefold() for one in others):
        raise BadName(f"“{name}” is taken: pick it from the list, or add a letter")
    return name


def add(store: Store, name: str, *, now: float) -> Learner:
    """Add a learner of this name.

    Raises
    ------
    BadName
        See `tidy_name`.
    """
    with store.writing():
        return added(store, tidy_name(name, store.local_learners()), now)


def added(store: Store, name: str, now: float) -> Learner:
    """Add a learner of a name that was tidied; in `writing()`."""
    states = projection.States.new()
    number = store.add_learner(
        name,
        now=now,
        settings=LearnerSettings(),
        state=states.cases.to_json(),
        recall_state=states.recall.to_json(),
        folded_with=projection.FOLDED_WITH,
    )
    return get(store, number)


def get(store: Store, learner_id: int) -> Learner:
    """Return a learner.

    Raises
    ------
    UnknownLearner
        When there is none of this number.
    """
    learner = store.learner(learner_id)
    if learner is None:
        raise UnknownLearner
    return learner


def local(store: Store, learner_id: int) -> Learner:
    """Return a learner who practises at this computer.

    Raises
    ------
    UnknownLearner
        When there is none of this number, or they joined a class: nobody else may pick their name.
    """
    found = store.learner(learner_id)
    if found is None or found.joined:
        raise UnknownLearner
    return found


def only_one(store: Store, *, now: float) -> Learner | None:
    """Return the only learner there is, made now if there is none; None when someone has to say who they are."""
    learners = store.local_learners()
    if not learners:
        with store.writing():
            learners = store.local_learners() or [added(store, "Learner 1", now)]
    return learners[0] if len(learners) == 1 else None


def rename(store: Store, learner_id: int, name: str) -> None:
    """Give a learner another name.

    Raises
    ------
    BadName, UnknownLearner
        See `tidy_name` and `get`.
    """
    with store.writing():
        get(store, learner_id)
        others = [one for one in store.local_learners() if one.id != learner_id]
        store.rename_learner(learner_id, tidy_name(name, others))


def remove(store: Store, learner_id: int, *, now: float, by_whom: str = "owner") -> None:
    """Remove a learner with every answer, so that no trace of them stands in the data file or the log beside it.

    A drill that they had begun keeps that a learner was deleted, on which day, and by whom ("owner" or "preceptor").

    Raises
    ------
    UnknownLearner
        When there is none of this number.
    """
    remove_many(store, (learner_id,), now=now, by_whom=by_whom)


def remove_many(store: Store, learner_ids: Collection[int], *, now: float, by_whom: str) -> None:
    """Remove learners, all or none, as `remove` does one.

    Raises
    ------
    UnknownLearner
        When there is none of one of these numbers.
    """
    day = datetime.fromtimestamp(now).astimezone().date().isoformat()
    with store.writing():
        for one in learner_ids:
            get(store, one)
            class_queries.remove_learner(store, one, on_day=day, by_whom=by_whom)
    store.wipe()


def settings_of(learner: Learner) -> LearnerSettings:
    """Return a learner's settings."""
    return _settings(learner.settings)


@lru_cache(500)
def _settings(text: str) -> LearnerSettings:
    return LearnerSettings.from_json(read_json(text))


def keep_settings(store: Store, learner_id: int, settings: LearnerSettings) -> None:
    """Keep a learner's settings."""
    with store.writing():
        store.keep_settings(learner_id, settings)
