"""Answers from paper: a preceptor types in what a learner wrote on a sheet, and it is marked and counted as any answer.

They are marked as from paper wherever they are shown. When each was written is not known: memory takes the moment when
they were typed in, their time is left out of every mean, and none is late. What was typed in wrongly is taken back as a
whole and typed again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cases.curriculum.case_list import in_version
from cases.procedure.case_type import Case
from cases.procedure.marking import Mark
from cases.worksheet import on_paper
from quiz.classroom import drills
from quiz.classroom.drills import NotNow
from quiz.practice import dealing
from quiz.practice.dealt_cases import SentBack
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Drill, Preceptor
from quiz.storage.classroom import paper_queries
from quiz.storage.classroom.paper_queries import PaperRun
from quiz.storage.store import Learner, Store


class UnreadableSheet(SentBack):
    """Answers that cannot be read; `faults` has the reasons by case and by what is asked, None for the whole case."""

    def __init__(self, faults: Mapping[int, Mapping[str | None, str]]) -> None:
        super().__init__("some answers cannot be read", None)
        self.faults = faults


@dataclass(frozen=True)
class PaperAnswer:
    """One case of a sheet, and what was written; `mark` is None where nothing was."""

    number: int
    """On the sheet."""
    case: Case
    given: Mapping[str, str]
    mark: Mark | None


def sheet(store: Store, drill: Drill, version: str) -> list[tuple[int, Case]]:
    """Return the cases of a drill's sheet with their numbers on it; raises CaseError, NotReadable."""
    return on_paper(in_version(drills.cases_on_paper(store, drill), version).cases)


def why_not(store: Store, drill: Drill) -> str:
    """Say why nothing can be typed in for a drill; "" where it can."""
    if drill.state == "draft":
        return "this drill is a draft: open it first, so that its learners see their marks"
    if not drill.same:
        return "each learner has their own cases on the screen, and the sheet has none of theirs"
    if bench := drills.at_the_bench(store, drill):
        cases = "one of its cases is" if bench == 1 else f"{bench} of its cases are"
        return f"{cases} at the bench, which no sheet has: a run on paper could not be finished"
    return ""


def check_free(store: Store, drill: Drill, learner_id: int) -> None:
    """See that answers of a learner can be typed in.

    Raises
    ------
    NotNow
        With the reason.
    """
    reason = why_not(store, drill)
    if reason:
        raise NotNow(reason)
    run = class_queries.run_of(store, drill.id, learner_id)
    if run is not None and paper_queries.run_of(store, run.id):
        raise NotNow("this learner's sheet was typed in already: take it back to type it again")
    if run is not None:
        raise NotNow("this learner has begun the drill on the screen: those answers count")
    if drills.is_barred(store, drill, learner_id):
        raise NotNow("this learner joined after the drill had opened, and it counts: let them in first")


def read(
    store: Store,
    learner: Learner,
    cases: Sequence[tuple[int, Case]],
    texts: Mapping[int, Mapping[str, str]],
    *,
    now: float,
) -> list[PaperAnswer]:
    """Read and mark what was typed, by number of case and name of what is asked; nothing is kept.

    A case without any text was not answered.

    Raises
    ------
    UnreadableSheet
        With every text at fault.
    """
    found, faults = list[PaperAnswer](), dict[int, dict[str | None, str]]()
    for number, case in cases:
        given = {ask.name: texts.get(number, {}).get(ask.name, "").strip() for ask in case.type.asks}
        mark = None
        if any(given.values()):
            try:
                mark = dealing.mark_written(store, learner, case, given, now=now)
            except SentBack as error:
                faults[number] = {error.ask: str(error)}
        found.append(PaperAnswer(number, case, given, mark))
    if faults:
        raise UnreadableSheet(faults)
    return found


def keep(
    store: Store,
    drill: Drill,
    learner: Learner,
    who: Preceptor,
    version: str,
    answers: Sequence[PaperAnswer],
    *,
    now: float,
    lots: Lots,
) -> None:
    """Save a learner's sheet as their run through a drill, which is then at its end.

    Raises
    ------
    NotNow
        When the learner has begun the drill meanwhile.
    """
    with store.writing():
        check_free(store, drill, learner.id)
        run = store.begin_sitting(learner.id, now=now, cases=drill.cases, minutes=drill.minutes, drill=drill.id)
        for one in answers:
            dealt = drills.as_dealt(drill, run, learner.id, one.case, now, lots)
            store.deal(dealt)
            if one.mark is None:
                store.close_case(dealt.id, now=now)
            else:
                dealing.keep_written(store, learner, dealt, one.mark, one.given, now=now)
        store.end_sitting(run, now=now)
        paper_queries.keep(store, PaperRun(run, who.name, version))


def take_back(store: Store, drill: Drill, learner: Learner) -> None:
    """Remove what was typed in for a learner, so that it can be typed again.

    Raises
    ------
    NotNow
        When nothing was.
    """
    with store.writing():
        run = paper_queries.runs_in(store, drill.id).get(learner.id)
        if run is None:
            raise NotNow("nothing from paper was typed in for this learner")
        paper_queries.take_back(store, learner, run)
