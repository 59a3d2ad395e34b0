"""A learner's own data to take away: answers as CSV, and everything that is kept as JSON lines.

The JSON lines hold whole rows of the logs, so that the memory of a learner can be worked out from them again. Answers
of a drill whose marks are shown at its end are left out until it has ended.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from quiz.accuracy.entries import Entry
from quiz.exports import answers
from quiz.storage import (
    accuracy_queries,
    desk_queries,
    doubt_queries,
    progress_queries,
    recall_queries,
    roster_queries,
)
from quiz.storage.examining import examination_queries
from quiz.storage.platform import lti_queries
from quiz.storage.rows import as_json, read_json, write_json
from quiz.storage.store import Answer, Learner, Store

FORMAT = "two-meridians own data, version 1"


def answers_csv(store: Store, learner: Learner) -> Iterator[str]:
    """Write the answers as CSV (RFC 4180), line by line, in the columns of a class's export."""
    of = [one.id for one in roster_queries.classes_with(store, learner.id)]
    yield from answers.answers_csv(store, of, _answers(store, learner))


def json_lines(store: Store, learner: Learner) -> Iterator[str]:
    """Write who it is, every answer, every recall mark and the accuracy log, one JSON document a line.

    `kind` says what a line is; times are seconds since 1970 (UTC), distances cm, powers D.
    """
    about = {
        "format": FORMAT,
        "name": learner.name,
        "created_at": learner.created_at,
        "settings": read_json(learner.settings),
    }
    yield _line("learner", about)
    for answer in _answers(store, learner):
        yield _line("answer", _without_whose(vars(answer)))
    for retyped in store.retyped_of(learner.id).values():
        if retyped.dealt in {one.dealt for one in _answers(store, learner)}:
            yield _line("answer meant", _without_whose(vars(retyped)))
    for doubt in doubt_queries.doubts_of(store, [learner.id]):
        yield _line("doubt", _without_whose(vars(doubt)))
    for remark in doubt_queries.remarks_for(store, learner.id):
        if remark.dealt in {one.dealt for one in _answers(store, learner)}:
            yield _line("remark", vars(remark))
    for mark in recall_queries.recall_marks_of(store, learner.id):
        yield _line("recall mark", _without_whose(vars(mark)))
    for worked in desk_queries.worked_of(store, learner.id).values():
        yield _line("worked example", vars(worked))
    for examination in examination_queries.all_of(store, learner.id):
        row = _without_whose(as_json(vars(examination)))
        row["acts"] = [_without_whose(vars(one)) for one in examination_queries.acts_of(store, examination.id)]
        shown = examination_queries.mark_of(store, examination.id)
        row["mark"] = None if shown is None else _without_whose(vars(shown))
        yield _line("examination", row)
    for at_platform in lti_queries.known_of(store, learner.id):
        yield _line("course platform", vars(at_platform))
    for kept in accuracy_queries.entries_of(store, learner.id, Entry):
        yield _line("eye", vars(kept.entry))


def _answers(store: Store, learner: Learner) -> list[Answer]:
    held_back = progress_queries.held_back(store, learner.id)
    return [one for one in store.answers_of(learner.id) if one.dealt not in held_back]


def _without_whose(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name != "learner"}


def _line(kind: str, row: dict[str, Any]) -> str:
    return write_json({"kind": kind, **row}) + "\n"
