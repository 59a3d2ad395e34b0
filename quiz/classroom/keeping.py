"""For how long answers are kept: answers before a day, learner by learner, and deleting them."""

from __future__ import annotations

from dataclasses import dataclass

from quiz.practice import learners
from quiz.storage import retention_queries, roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.store import Store


@dataclass(frozen=True)
class OldAnswers:
    """What would be deleted of a class."""

    answers: int
    recall_marks: int
    learners: int
    """Of how many."""
    elsewhere: int
    """Learners who are in another class too, and keep theirs."""


def _alone(store: Store, one: Class) -> list[int]:
    elsewhere = roster_queries.in_other_classes(store, one.id)
    return [each.learner for each in roster_queries.members_of(store, one.id) if each.learner not in elsewhere]


def older(store: Store, one: Class, before: float) -> OldAnswers:
    """Say what learners of a class answered before a moment."""
    found = [retention_queries.older(store, each, before) for each in _alone(store, one)]
    return OldAnswers(
        sum(each.answers for each in found),
        sum(each.recall_marks for each in found),
        sum(bool(each.answers or each.recall_marks) for each in found),
        len(roster_queries.in_other_classes(store, one.id)),
    )


def delete_older(store: Store, one: Class, before: float) -> None:
    """Delete what learners of a class answered before a moment, and what memory had of it; no trace is left.

    Learners of another class keep theirs: those answers are that class's too.
    """
    for each in _alone(store, one):
        if retention_queries.older(store, each, before) != retention_queries.Old(0, 0):
            with store.writing():
                retention_queries.remove_older(store, learners.get(store, each), before)
    store.wipe()
