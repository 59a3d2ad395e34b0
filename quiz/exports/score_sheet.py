"""A class's score sheet as CSV (RFC 4180): a learner a row, a drill a column."""

from __future__ import annotations

from collections.abc import Iterator

from quiz.exports.answers import BYTE_ORDER_MARK, csv_line, no_formula
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.classroom import paper_queries
from quiz.storage.store import Store


def score_sheet(store: Store, one: Class, *, now: float) -> Iterator[str]:
    """Write the number right in each drill for each learner, line by line, with a heading line.

    The heading says of how many cases. A cell is empty where a learner has not begun a drill, is not at its end, or is
    not one of those whom it is for. Where anyone worked on paper, a last column names their drills.
    """
    members = roster_queries.members_of(store, one.id)
    groups = roster_queries.groups_by_learner(store, one.id)
    set_here = [each for each in class_queries.drills_of(store, one.id) if each.state != "draft"][::-1]
    cells: list[dict[int, int]] = []
    for drill in set_here:
        given = class_queries.allowances_in(store, drill.id)
        sums = {each.learner: each for each in result_queries.learner_sums(store, one.id, "all", drill=drill.id)}
        cells.append(
            {
                run.learner: sums[run.learner].right if run.learner in sums else 0
                for run in class_queries.runs_of(store, drill.id)
                if run.ended_at is not None or not drill.is_open(now, given.get(run.learner))
            }
        )
    headings = (no_formula(f"{drill.title} ({_of(drill)})") for drill in set_here)
    paper = paper_queries.drills_on_paper(store, one.id)
    last = ("from paper",) if paper else ()
    yield BYTE_ORDER_MARK + csv_line(("learner", "number", "groups", *headings, *last))
    for who in members:
        row = (no_formula(who.name), no_formula(who.number or ""), no_formula("; ".join(groups.get(who.learner, ()))))
        titles = (no_formula("; ".join(paper.get(who.learner, ()))),) if paper else ()
        yield csv_line((*row, *(each.get(who.learner, "") for each in cells), *titles))


def _of(drill: Drill) -> str:
    """Say of what a number right is."""
    if drill.cases is not None:
        return f"of {drill.cases}"
    return drill.length if drill.least is None else f"{drill.length}, of {drill.least} at least"
