"""Who practises on this computer: adding, naming and removing learners, and their settings."""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache

from quiz.errors import QuizError
from quiz.practice.names import tidy_name
from quiz.practice.settings import LearnerSettings
from quiz.storage import class_queries, projection
from quiz.storage.platform import earlier_runs
from quiz.storage.rows import read_json
from quiz.storage.store import Learner, Store


class UnknownLearner(QuizError):
    """No learner has this number: removed, perhaps, or of another data file."""

    def __init__(self) -> None:
        super().__init__("that learner is not in this data file: pick one of the names below")


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
    with store.writing():
        for one in learner_ids:
            get(store, one)
            earlier_runs.keep_of_learner(store, one, on_day=class_queries.own_day(now))
            class_queries.remove_learner(store, one, on_day=class_queries.own_day(now), by_whom=by_whom)
    store.wipe()


def settings_of(learner: Learner) -> LearnerSettings:
    """Return a learner's settings."""
    return _settings(learner.settings)


@lru_cache(500)
def _settings(text: str) -> LearnerSettings:
    return LearnerSettings.from_json(read_json(text))


def keep_settings(store: Store, learner_id: int, settings: LearnerSettings) -> None:
    """Keep a learner's settings."""
    with store.writing(learner_id):
        store.keep_settings(learner_id, settings)
